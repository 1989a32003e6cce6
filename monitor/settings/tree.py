"""YAML text to plain data with the place of every value, and no surprises.

A strict reading of YAML 1.1: no aliases, anchors, tags, merge keys or second documents; keys
are text as written and unique; a plain scalar that YAML would silently turn into something
else (12:30 into 750, no into false, 0123 into 83) is a fault told with its fix. Dates stay text.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import yaml

from monitor.settings.model import Way

MAX_BYTES = 256 * 1024
MAX_DEPTH = 16
_LONGEST_NUMBER = 18
_WHOLE = re.compile(r"[+-]?(0|[1-9][0-9]*)")
_REAL = re.compile(r"[+-]?(0|[1-9][0-9]*)?\.[0-9]+([eE][+-][0-9]+)?|[+-]?[1-9][0-9]*\.")
_LOOSE_EXPONENT = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)[eE][+-]?\d+")
_GLUED_COMMENT = re.compile(r"[ \t]+#[^\s#]")
_SEXAGESIMAL = re.compile(r"[+-]?\d+(:[0-5]?\d)+(\.\d*)?")
_STANDARD = "tag:yaml.org,2002:"


@dataclass(frozen=True, slots=True)
class Spot:
    """Where something stands, counted from 1."""

    line: int
    column: int


@dataclass(frozen=True, slots=True)
class Trap:
    """A fault in the text itself. `text` is the offending text, which may be a secret."""

    way: Way
    spot: Spot
    text: str
    says: str


@dataclass(slots=True)
class Tree:
    """What one file holds. `keys` and `values` give places; `text` the scalar as written."""

    data: Any = None
    keys: dict[Way, Spot] = field(default_factory=dict)
    values: dict[Way, Spot] = field(default_factory=dict)
    text: dict[Way, str] = field(default_factory=dict)
    traps: list[Trap] = field(default_factory=list)
    doubts: list[Trap] = field(default_factory=list)

    def spot(self, way: Way, at_key: bool = False) -> Spot:
        """The place of `way`, or of the nearest part around it that stands in the file."""
        first, second = (self.keys, self.values) if at_key else (self.values, self.keys)
        while True:
            found = first.get(way) or second.get(way)
            if found is not None:
                return found
            if not way:
                return Spot(1, 1)
            way = way[:-1]


def _spot(mark: Any) -> Spot:
    return Spot(1, 1) if mark is None else Spot(mark.line + 1, mark.column + 1)


def read_tree(raw: bytes) -> Tree:
    """The tree of one file; its faults are in `traps`, never raised."""
    tree = Tree()
    text = _decode(raw, tree)
    if text is None:
        return tree
    try:
        refused = next(_refused_events(text), None)
        node = None if refused else yaml.compose(text, Loader=yaml.SafeLoader)
    except (yaml.YAMLError, ValueError) as error:
        refused = _not_yaml(error, text)
    if refused:
        tree.traps.append(refused)
    elif isinstance(node, yaml.MappingNode):
        tree.data = _Builder(tree, text).build(node, ())
    else:
        holds = "nothing" if node is None else "something else"
        says = f"the file must hold `key: value` lines; it holds {holds}"
        tree.traps.append(Trap((), _spot(getattr(node, "start_mark", None)), "", says))
    return tree


def _not_yaml(error: Exception, text: str) -> Trap:
    """PyYAML's own errors, without the lines it would quote: they may hold a secret."""
    if isinstance(error, yaml.MarkedYAMLError):
        says = error.problem or error.context or "this is not YAML"
        if "tag handle" in says:  # PyYAML would quote a piece of what may be a password
            says = "a plain text can't begin with `!`"
        if "'\\t'" in says:
            says, hint = "a line can't begin with a tab", "indent with spaces"
        else:
            hint = _HINT
        return Trap((), _spot(error.problem_mark), "", f"{says}; {hint}")
    if isinstance(error, yaml.reader.ReaderError):
        line = text.count("\n", 0, error.position) + 1
        column = error.position - text.rfind("\n", 0, error.position)
        return Trap((), Spot(line, column), "", "a character that text never holds")
    return Trap((), Spot(1, 1), "", "this is not YAML; look for a broken \\ escape in quotes")


_HINT = "quote texts that hold `: ` or begin with one of @ % * & ! | > ` { ["


def _decode(raw: bytes, tree: Tree) -> str | None:
    if len(raw) > MAX_BYTES:
        says = f"the file has {len(raw)} bytes; at most {MAX_BYTES} are read"
        tree.traps.append(Trap((), Spot(1, 1), "", says))
        return None
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = raw[: error.start]
        spot = Spot(before.count(b"\n") + 1, error.start - before.rfind(b"\n"))
        tree.traps.append(Trap((), spot, "", "this byte is not UTF-8; save the file as UTF-8"))
        return None


def _refused_events(text: str) -> Iterator[Trap]:
    """What is refused before a tree is built, so that building can't blow up."""
    depth = documents = 0
    for event in yaml.parse(text, Loader=yaml.SafeLoader):
        says = ""
        if isinstance(event, yaml.CollectionStartEvent):
            depth += 1
            if depth > MAX_DEPTH:
                says = f"nested more than {MAX_DEPTH} deep"
        elif isinstance(event, yaml.CollectionEndEvent):
            depth -= 1
        elif isinstance(event, yaml.DocumentStartEvent):
            documents += 1
            if documents > 1:
                says = "a second document begins here; one file holds one"
        if isinstance(event, yaml.AliasEvent):
            says = "aliases (*name) are not read; write the value out"
        elif getattr(event, "anchor", None):
            says = "anchors (&name) are not read; write the value out where it is wanted"
        elif getattr(event, "tag", None):
            says = "tags (!name) are not read; leave it out"
        if says:
            yield Trap((), _spot(event.start_mark), "", says)


class _Builder:
    """Builds plain data out of nodes and notes every place on the way."""

    def __init__(self, tree: Tree, text: str) -> None:
        self._tree = tree
        # The scanner breaks lines at these five and no others, so marks count the same way.
        self._lines = [*re.split("\r\n|[\r\n\x85\u2028\u2029]", text), ""]

    def build(self, node: Any, way: Way) -> Any:
        self._tree.values[way] = _spot(node.start_mark)
        if isinstance(node, yaml.MappingNode):
            return self._mapping(node, way)
        if isinstance(node, yaml.SequenceNode):
            return tuple(self.build(part, (*way, index)) for index, part in enumerate(node.value))
        self._tree.text[way] = node.value
        return self._scalar(node, way)

    def _mapping(self, node: Any, way: Way) -> dict[str, Any]:
        found: dict[str, Any] = {}
        for key_node, value_node in node.value:
            spot = _spot(key_node.start_mark)
            if not isinstance(key_node, yaml.ScalarNode):
                self._trap(way, spot, "", "a key must be a plain text")
                continue
            key = key_node.value
            if key == "<<" and key_node.style is None:
                self._trap(way, spot, "<<", "merge keys are not read; write the values out")
            elif key in found:
                first = self._tree.keys[(*way, key)]
                says = f"this key stands in line {first.line} already; keep one of them"
                self._trap(way, spot, key, says)
            else:
                self._tree.keys[(*way, key)] = spot
                found[key] = self.build(value_node, (*way, key))
        return found

    def _trap(self, way: Way, spot: Spot, text: str, says: str) -> None:
        self._tree.traps.append(Trap(way, spot, text, says))

    def _scalar(self, node: Any, way: Way) -> Any:
        text: str = node.value
        if node.style is not None:
            return text
        if self._cut_short(node):
            says = "what follows ` #` is a comment; quote the whole text if it belongs to it"
            self._tree.doubts.append(Trap(way, _spot(node.start_mark), text, says))
        kind = node.tag.removeprefix(_STANDARD)
        if kind == "bool" and text.lower() in ("true", "false"):
            return text.lower() == "true"
        if kind == "int" and _WHOLE.fullmatch(text):
            return int(text) if len(text) <= _LONGEST_NUMBER else self._told(node, way, kind)
        if kind == "float" and _REAL.fullmatch(text):
            return float(text)
        if kind in ("str", "timestamp") and not _LOOSE_EXPONENT.fullmatch(text):
            return text
        return self._told(node, way, kind)

    def _cut_short(self, node: Any) -> bool:
        """Whether a comment is glued to the value as in `farm #1`, where people mean text."""
        end = node.end_mark
        return _GLUED_COMMENT.match(self._lines[end.line], end.column) is not None

    def _told(self, node: Any, way: Way, kind: str) -> str:
        text: str = node.value
        self._trap(way, _spot(node.start_mark), text, _trap_text(kind, text))
        return text


def _trap_text(kind: str, text: str) -> str:
    """What YAML would make of a treacherous plain scalar, and what to write instead."""
    if kind == "null":
        return (
            "nothing stands here; leave the key out or write a value "
            "(`#` begins a comment: quote a text that holds it)"
        )
    if kind == "bool":
        meant = "true" if text.lower() in ("yes", "on") else "false"
        return f'YAML reads this as {meant}; write {meant}, or "{text}" if the word is meant'
    if len(text) > _LONGEST_NUMBER:
        return "this number is too long"
    if text.lower().lstrip("+-") in (".nan", ".inf"):
        return "not a number that can be used; write a finite one"
    return _number_trap(text)


def _number_trap(text: str) -> str:
    quoted = f'"{text}"'
    if _SEXAGESIMAL.fullmatch(text):
        return f"YAML reads this as the number {yaml.safe_load(text)}; write {quoted} in quotes"
    if _LOOSE_EXPONENT.fullmatch(text):
        size = float(text)
        plain = f"{size:.15g}" if 1e-4 <= abs(size) < 1e15 else "the number out"
        return f"YAML may read this as text; write {plain}, or {quoted} if text is meant"
    if "_" in text:
        return f"write {text.replace('_', '')} without `_`, or {quoted} if text is meant"
    if octal := re.fullmatch(r"([+-]?)0+(\d+)", text):
        plain = octal[1] + octal[2]
        return f"YAML reads a leading 0 as octal; write {plain}, or {quoted} if text is meant"
    return f"write a decimal number, or {quoted} in quotes if text is meant"
