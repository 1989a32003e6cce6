"""Faults found by the models, told as `file:line:column: key: text: what is wrong; the fix`."""

from __future__ import annotations

import re
from typing import Any

from pydantic import BaseModel, ValidationError

from monitor.settings.model import FaultsError, Way, did_you_mean
from monitor.settings.secrets import MASK, Secret
from monitor.settings.shape import annotation_at, bare, file_keys, parts_of
from monitor.settings.tree import Spot, Trap, Tree
from monitor.settings.units import Kind

_SHOWN = 60
_CREDENTIALS = re.compile(r"://[^\s/@]*@")
_LIMITS = {
    "greater_than_equal": ("at least", "ge"),
    "greater_than": ("above", "gt"),
    "less_than_equal": ("at most", "le"),
    "less_than": ("below", "lt"),
}
_HIDDEN_TRAP = "YAML may not read this as it is written; put texts in quotes, and no secret here"
_PLAIN_WORDS = {
    "union_tag_not_found": "`kind` is missing; it says what sort of block this is",
    "string_type": "a text is wanted here; put it in quotes",
    "tuple_type": "write a list here: each entry on its own line after `- `, or [a, b]",
    "dict_type": "write a block of `key: value` lines here",
    "model_type": "write a block of `key: value` lines here",
    "too_short": "at least {min_length} wanted here, not {actual_length}",
    "too_long": "at most {max_length} allowed here, not {actual_length}",
    "string_too_short": "at least {min_length} characters wanted here",
    "string_too_long": "at most {max_length} characters allowed here",
    "string_pattern_mismatch": "no control characters, and no blank at either end",
}


class Teller:
    """Tells the faults of one file, checked against one model."""

    def __init__(self, file: str, tree: Tree, model: type[BaseModel]) -> None:
        self._file = file
        self._tree = tree
        self._model = model

    def traps(self) -> list[tuple[Spot, str]]:
        """What is wrong with the text itself."""
        return [self._trap(trap) for trap in self._tree.traps]

    def doubts(self) -> list[tuple[Spot, str]]:
        """What is allowed but worth a second look."""
        return [self._trap(trap) for trap in self._tree.doubts]

    def faults(self, error: ValidationError) -> list[tuple[Spot, str]]:
        """What is wrong with the values; a value already told of as a trap is left out."""
        trapped = {trap.way for trap in self._tree.traps}
        told: list[tuple[Spot, str]] = []
        for one in error.errors(include_url=False):
            way, at_key = self._way(one["loc"], one["type"])
            if one["type"] == "too_short" and len(one["input"]) >= one["ctx"]["min_length"]:
                continue  # pydantic counts sound entries only; the unsound ones are told already
            if one["type"] == "union_tag_invalid":
                way = (*way, "kind")
            cause = one.get("ctx", {}).get("error")
            if isinstance(cause, FaultsError):
                parts = [((*way, *more), text, False) for more, text in cause.items]
            else:
                parts = [(way, *self._says(way, one, at_key))]
            told += [self.line(*part) for part in parts if part[2] or part[0] not in trapped]
        return told

    def _trap(self, trap: Trap) -> tuple[Spot, str]:
        text, says = "", trap.says
        if trap.text:
            masked = self._masked(trap.way, trap.text)
            text = f"`{masked}`: "
            says = _HIDDEN_TRAP if masked == MASK else says + self._wanted(trap.way)
        return trap.spot, self._where(trap.spot, trap.way) + text + says

    def line(self, way: Way, says: str, at_key: bool = False) -> tuple[Spot, str]:
        """One fault as it is told, with its place for sorting."""
        spot = self._tree.spot(way, at_key)
        written = self._tree.text.get(way)
        text = "" if written is None or at_key else f"`{self._masked(way, written)}`: "
        return spot, self._where(spot, way) + text + says

    def _wanted(self, way: Way) -> str:
        annotation = annotation_at(self._model, self._tree.data, way)
        kind = next((part.says for part in parts_of(annotation) if isinstance(part, Kind)), "")
        return f"; a {kind} is wanted here" if kind else ""

    def _where(self, spot: Spot, way: Way) -> str:
        key = dotted(way)
        return f"{self._file}:{spot.line}:{spot.column}: " + (f"{key}: " if key else "")

    def _masked(self, way: Way, text: str) -> str:
        """The text as it may be shown: nothing of a secret, nor of what might be one."""
        for length in range(1, len(way) + 1):
            annotation = annotation_at(self._model, self._tree.data, way[:length])
            unforeseen = annotation is None and way[length - 1] != "kind"
            if unforeseen or bare(annotation) is Secret:
                return MASK
        return shown(text)

    def _way(self, loc: tuple[int | str, ...], kind: str) -> tuple[Way, bool]:
        """The way in the file that pydantic's location means, and whether its key is meant."""
        way: Way = ()
        data = self._tree.data
        for index, step in enumerate(loc):
            if step == "[key]":
                return way, True
            if isinstance(data, dict) and step in data:
                data = data[str(step)]
            elif isinstance(data, tuple) and isinstance(step, int) and step < len(data):
                data = data[step]
            elif index < len(loc) - 1 or kind != "missing":
                continue  # the tag of a union, which the file doesn't have
            way = (*way, step)
        return way, False

    def _says(self, way: Way, one: Any, at_key: bool) -> tuple[str, bool]:
        """What is wrong and what is allowed; and whether it is the key that is wrong."""
        kind: str = one["type"]
        if kind == "extra_forbidden":
            return self._unknown_key(way), True
        if kind == "missing":
            return f"this key is missing; {self._description(way)}", True
        if kind in _LIMITS:
            return self._limit(way, kind, one["ctx"], one["input"]), at_key
        return _plain_words(kind, one), at_key

    def _unknown_key(self, way: Way) -> str:
        holder = annotation_at(self._model, self._tree.data, way[:-1])
        keys = list(file_keys(bare(holder))) if holder is not None else []
        allowed = ", ".join(keys)
        return f"unknown key; allowed here: {allowed}{did_you_mean(str(way[-1]), keys)}"

    def _description(self, way: Way) -> str:
        holder = bare(annotation_at(self._model, self._tree.data, way[:-1]))
        found = file_keys(holder).get(str(way[-1])) if holder is not None else None
        return (found.description or "write it") if found else "write it"

    def _limit(self, way: Way, kind: str, ctx: dict[str, Any], value: object) -> str:
        words, key = _LIMITS[kind]
        annotation = annotation_at(self._model, self._tree.data, way)
        unit = next((part.unit for part in parts_of(annotation) if isinstance(part, Kind)), "")
        says = f"must be {words} {ctx[key]:g}{' ' + unit if unit else ''}"
        if unit == "°C" and isinstance(value, int | float) and value > ctx[key]:
            says += f"; write `{value:g} F` if °F is meant"
        return says


def _allowed(text: str, expected: str) -> str:
    names = re.findall(r"'([^']*)'", expected)
    return f"allowed: {expected.replace(chr(39), '')}{did_you_mean(text, names)}"


def _plain_words(kind: str, one: Any) -> str:
    """Pydantic's other messages in words for someone who edits a file."""
    ctx: dict[str, Any] = one.get("ctx", {})
    if kind == "value_error":
        return str(ctx["error"])
    if kind == "union_tag_invalid":
        return _allowed(str(ctx["tag"]), ctx["expected_tags"])
    if kind in ("literal_error", "enum"):
        return _allowed(str(one["input"]), ctx["expected"])
    if kind == "string_type" and isinstance(one["input"], dict | tuple):
        return "write one text here, not a list or a block of keys"
    words = _PLAIN_WORDS.get(kind)
    return str(one["msg"]) if words is None else words.format(**ctx)


def printable(text: str) -> str:
    """Text on one line, without characters that a terminal would act on."""
    return "".join(char if char.isprintable() else "\N{REPLACEMENT CHARACTER}" for char in text)


def shown(text: str) -> str:
    """Text fit for an error: short, printable, without credentials in a URL."""
    clean = printable(_CREDENTIALS.sub(f"://{MASK}@", text))
    return clean if len(clean) <= _SHOWN else clean[: _SHOWN - 1] + "…"


def dotted(way: Way) -> str:
    """`sources[0].topics[1].topic`."""
    text = ""
    for step in way:
        text += f"[{step}]" if isinstance(step, int) else f".{shown(step)}"
    return text.removeprefix(".")
