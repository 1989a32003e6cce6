"""Changes single values in `strains.yaml` in place: comments, order and everything else stay.

The text is cut at the places the YAML parser gives, the result is read again and compared
before it takes the old file's place; what was there is kept as `strains.yaml.bak`.
"""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml

from monitor.errors import SettingsError, WordError
from monitor.settings.load import STRAINS_FILE, load_strains
from monitor.settings.model import Way
from monitor.settings.tree import read_tree

LIMITS = "core_limits"
#: What `tune` may set, by its key in the file.
THRESHOLDS = ("least_excess", "false_calls_per_100", "hold", LIMITS)
_PLAIN_NAME = re.compile(r"[A-Za-z][\w.-]*")
_WORDS_YAML_TURNS = frozenset(("y", "n", "yes", "no", "on", "off", "true", "false", "null"))


@dataclass(frozen=True, slots=True)
class Snapshot:
    """`strains.yaml` as it was read: later changes by others are noticed against it."""

    path: Path
    raw: bytes


def snapshot(config_dir: Path) -> Snapshot:
    """The file as it is now. Raises SettingsError where it can't be read."""
    path = (config_dir / STRAINS_FILE).resolve()
    try:
        return Snapshot(path, path.read_bytes())
    except OSError as error:
        raise _refused(path, f"cannot be read ({error.strerror})", "copy the sample") from error


def backup_of(path: Path) -> Path:
    """Where the file before the last change is kept."""
    return path.with_name(path.name + ".bak")


def apply(
    before: Snapshot,
    strain: str,
    values: Mapping[str, str],
    limits: Sequence[tuple[str, str]] = (),
) -> None:
    """Write `values` (text by key, such as `0.5 K`) into the block of one strain, and `limits`
    (`32 C`, `4 d` of each core limit, coolest first) where there are any.

    All of them or none. Raises SettingsError where the file changed since `before`, where the
    result does not read back as meant, or where it can't be written; the file then stays.
    """
    after = edited(before.raw, strain, values, limits)
    _check_meant(before, after, strain, values, limits)
    _swap(before, after)


def undo(config_dir: Path) -> tuple[tuple[Way, Any, Any], ...]:
    """Put the file before the last change back; what was applied becomes the kept one.

    Returns (where, what stood there, what stands there now). Raises WordError where there is
    nothing to take back, SettingsError where more than thresholds were changed by hand since.
    """
    now = snapshot(config_dir)
    kept = backup_of(now.path)
    if not kept.exists():
        hint = "there is no .bak beside it to put back"
        raise WordError(str(now.path), "nothing was applied", hint)
    old = kept.read_bytes()
    changes = differences(read_tree(now.raw).data, read_tree(old).data)
    others = [way for way, _, _ in changes if not _is_threshold(way)]
    if others:
        where = ".".join(str(step) for step in others[0])
        what = f"{where} was changed by hand since: taking back would undo that too"
        raise _refused(now.path, what, f"edit it by hand; the old file is {kept.name}")
    _swap(now, old)
    return tuple(changes)


def edited(
    raw: bytes, strain: str, values: Mapping[str, str], limits: Sequence[tuple[str, str]] = ()
) -> bytes:
    """The file's bytes with the values in place; raises SettingsError where it is no such file."""
    text = raw.decode("utf-8-sig")
    mark = raw[:3] if raw.startswith(b"\xef\xbb\xbf") else b""
    for key, value in values.items():
        text = _with_value(text, strain, key, value)
    if limits:
        text = _with_limits(text, strain, limits)
    return mark + text.encode("utf-8")


def _with_value(text: str, strain: str, key: str, value: str) -> str:
    root = yaml.compose(text, Loader=yaml.SafeLoader)
    strains = _child(root, "strains")
    block = _child(strains, strain)
    node = _child(block, key)
    if node is not None:
        return text[: node.start_mark.index] + value + text[node.end_mark.index :]
    if _filled(block):
        return _inserted(text, block, f"{key}: {value}")
    line = f"{_quoted(strain)}: {{{key}: {value}}}"
    if block is not None:  # `GO-12: {}`
        new = f"{{{key}: {value}}}"
        return text[: block.start_mark.index] + new + text[block.end_mark.index :]
    if _filled(strains):
        return _inserted(text, strains, line)
    if strains is not None:
        begin, end = strains.start_mark.index, strains.end_mark.index
        return f"{text[:begin]}\n  {line}{text[end:]}"
    newline = _newline(text)
    gap = "" if not text or text.endswith(("\n", "\r")) else newline
    return f"{text}{gap}strains:{newline}  {line}{newline}"


def _with_limits(text: str, strain: str, limits: Sequence[tuple[str, str]]) -> str:
    """Each core and duration in its place, where the strain has as many limits of its own; else
    all of them as a value of the strain."""
    root = yaml.compose(text, Loader=yaml.SafeLoader)
    own = _child(_child(_child(root, "strains"), strain), LIMITS)
    if not isinstance(own, yaml.SequenceNode) or len(own.value) != len(limits):
        parts = ", ".join(f"{{core: {core}, duration: {lasts}}}" for core, lasts in limits)
        return _with_value(text, strain, LIMITS, f"[{parts}]")
    for entry, said in reversed(list(zip(own.value, limits, strict=True))):
        places = zip((_child(entry, key) for key in ("core", "duration")), said, strict=True)
        for node, value in sorted(places, key=lambda one: -int(one[0].start_mark.index)):
            if node.value != value:
                text = text[: node.start_mark.index] + value + text[node.end_mark.index :]
    return text


def _child(node: Any, name: str) -> Any:
    if not isinstance(node, yaml.MappingNode):
        return None
    return next((value for key, value in node.value if key.value == name), None)


def _filled(node: Any) -> bool:
    return isinstance(node, yaml.MappingNode) and bool(node.value)


def _inserted(text: str, block: Any, entry: str) -> str:
    """One more entry after the last of a block, written as the block is."""
    first, last = block.value[0][0], block.value[-1][1]
    at = _end_of(last)
    if block.flow_style:
        return f"{text[:at]}, {entry}{text[at:]}"
    line_end = re.compile(r"\r\n|\n|\r|$").search(text, at)
    at = line_end.start() if line_end else len(text)
    return f"{text[:at]}{_newline(text)}{' ' * first.start_mark.column}{entry}{text[at:]}"


def _end_of(node: Any) -> int:
    """Where a node's own text ends: a block's end mark lies behind the comments after it."""
    while isinstance(node, yaml.CollectionNode) and not node.flow_style and node.value:
        last = node.value[-1]
        node = last[1] if isinstance(last, tuple) else last
    return int(node.end_mark.index)


def _newline(text: str) -> str:
    return "\r\n" if "\r\n" in text else "\n"


def _quoted(name: str) -> str:
    plain = _PLAIN_NAME.fullmatch(name) and name.lower() not in _WORDS_YAML_TURNS
    return name if plain else '"' + name.replace("\\", "\\\\").replace('"', '\\"') + '"'


def differences(before: Any, after: Any, way: Way = ()) -> list[tuple[Way, Any, Any]]:
    """Every place at which two trees differ, with what stands there; None where nothing does."""
    if all(side is None or isinstance(side, dict) for side in (before, after)):
        left, right = before or {}, after or {}
        return [
            change
            for key in dict.fromkeys([*left, *right])
            for change in differences(left.get(key), right.get(key), (*way, key))
        ]
    return [] if before == after else [(way, before, after)]


def _is_threshold(way: Way) -> bool:
    return len(way) == 3 and way[0] == "strains" and way[2] in THRESHOLDS


def _check_meant(
    before: Snapshot,
    after: bytes,
    strain: str,
    values: Mapping[str, str],
    limits: Sequence[tuple[str, str]],
) -> None:
    """The result differs from what was there in these values, and in nothing else."""
    tree = read_tree(after)
    changed = differences(read_tree(before.raw).data, tree.data)
    unmeant = [way for way, _, _ in changed if way[:2] != ("strains", strain) or len(way) != 3]
    meant = {*values, LIMITS} if limits else set(values)
    unmeant += [way for way, _, _ in changed if way[-1] not in meant]
    stands = {key: tree.text.get(("strains", strain, key)) for key in values}
    wrong = stands != dict(values)
    if limits and not (tree.traps or wrong or unmeant):
        stand = tree.data["strains"][strain].get(LIMITS, ())
        wrong = [(one["core"], one["duration"]) for one in stand] != list(limits)
    if tree.traps or unmeant or wrong:
        what = f"{strain} could not be changed without changing something else"
        raise _refused(before.path, what, "write it by hand")


def _swap(before: Snapshot, after: bytes) -> None:
    """Put `after` in the file's place, durable and whole, and keep what was there."""
    path = before.path
    fresh = path.with_name(path.name + ".new")
    try:
        _write_durably(fresh, after, path)
        load_strains_of(fresh)
        if path.read_bytes() != before.raw:
            what = "it changed while this was being worked out; nothing was written"
            raise _refused(path, what, "run it again")
        kept = backup_of(path)
        spare = kept.with_name(kept.name + ".new")
        _write_durably(spare, before.raw, path)
        spare.replace(kept)
        fresh.replace(path)
        _sync_folder(path.parent)
    except OSError as error:
        what = f"cannot be written ({error.strerror})"
        raise _refused(path, what, "see who owns the folder") from error
    finally:
        fresh.unlink(missing_ok=True)


def load_strains_of(path: Path) -> None:
    """Read a file as `strains.yaml` would be, beside its real place. Raises SettingsError."""
    load_strains(path.parent, path.name)


def _write_durably(path: Path, raw: bytes, like: Path) -> None:
    with path.open("wb") as handle:
        handle.write(raw)
        handle.flush()
        os.fsync(handle.fileno())
    shutil.copymode(like, path)
    facts = like.stat()
    if facts.st_uid != path.stat().st_uid:
        try:  # as root: the file stays its owner's
            os.chown(path, facts.st_uid, facts.st_gid)
        except PermissionError:
            return


def _sync_folder(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _refused(path: Path, what: str, next_step: str) -> SettingsError:
    problem = f"{path}: {what}" + (f"; {next_step}" if next_step else "")
    return SettingsError(str(path), (problem,))
