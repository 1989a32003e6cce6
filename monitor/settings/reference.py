"""Every setting in one table and one editor schema, made from the models themselves."""

from __future__ import annotations

import json
from enum import Enum
from pathlib import Path
from typing import Any, Literal, get_args, get_origin

from pydantic.fields import FieldInfo

from monitor.room_messages import BagStanding, RoomAlarm, RoomClaim
from monitor.room_summary import DIALECT, RoomSummary, message_schema
from monitor.settings.model import Model
from monitor.settings.schema import MonitorFile
from monitor.settings.schema_strains import StrainsFile
from monitor.settings.secrets import Secret
from monitor.settings.shape import bare, file_keys, full, is_model, parts_of
from monitor.settings.units import Kind

Row = tuple[str, str, str, str]
_FILES: dict[str, type[Model]] = {"monitor": MonitorFile, "strains": StrainsFile}
#: What bagwatt tells other programs over a broker.
MESSAGES: dict[str, type[Any]] = {
    "standing": RoomSummary,
    "claim": RoomClaim,
    "alarm": RoomAlarm,
    "bag": BagStanding,
}
_SECONDS = {"s": 1.0, "h": 3600.0, "d": 86400.0}
_TIME_UNITS = {"d": 86400.0, "h": 3600.0, "min": 60.0, "s": 1.0, "ms": 1e-3}


def reference_table() -> list[Row]:
    """Rows of (key, type, default, description) for every key of both files."""
    return [row for model in _FILES.values() for row in _rows(model, "")]


def editor_schema(file: Literal["monitor", "strains"]) -> dict[str, Any]:
    """The JSON Schema (2020-12) of one of the two files, for editors."""
    model = _FILES[file]
    schema = {"$schema": DIALECT, "title": f"{file}.yaml of bagwatt"}
    schema |= {key: part for key, part in _schema_of(model).items() if key != "title"}
    return schema


def schema_text(file: Literal["monitor", "strains"]) -> str:
    """That schema as the text of `config/<file>.schema.json`."""
    return json.dumps(editor_schema(file), indent=2, ensure_ascii=False) + "\n"


def written(info: FieldInfo, value: Any) -> str:
    """A value as one would write it into the file."""
    kind = next((part for part in parts_of(full(info)) if isinstance(part, Kind)), Kind(""))
    if kind.says == "duration":
        return _duration(value * _SECONDS[kind.unit])
    if kind.says == "time of day":
        return f'"{value // 60:02d}:{value % 60:02d}"'
    if kind.unit:
        return f"{value:g} {kind.unit.removeprefix('°')}"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, Enum):
        return str(value.value)
    return f"{value:g}" if isinstance(value, float) else str(value)


def _duration(seconds: float) -> str:
    for unit, length_s in _TIME_UNITS.items():
        amount = seconds / length_s
        if amount >= 1 and abs(amount - round(amount)) < 1e-9:
            return f"{round(amount)} {unit}"
    return f"{seconds:g} s"


def _rows(model: Any, prefix: str) -> list[Row]:
    """A row for each key; what a block takes from another one is told there and not again."""
    rows: list[Row] = []
    shared = file_keys(model.__base__)
    for key, info in file_keys(model).items():
        if key in shared:
            continue
        name = f"{prefix}{key}"
        rows.append((name, _type_words(full(info)), _default(info), info.description or ""))
        rows += _rows_inside(full(info), name)
    return rows


def _rows_inside(annotation: Any, name: str) -> list[Row]:
    inner = bare(annotation)
    args = get_args(inner)
    if is_model(inner):
        return _rows(inner, f"{name}.")
    if get_origin(inner) is tuple:
        return _rows_inside(args[0], f"{name}[]")
    if get_origin(inner) is dict:
        return _rows_inside(args[1], f"{name}.NAME")
    return [
        row
        for model in args
        if is_model(model)
        for row in _rows(model, f"{name} ({model.model_fields['kind'].default}).")
    ]


def _default(info: FieldInfo) -> str:
    if info.is_required() or info.alias == "kind":
        return "required"
    value = info.get_default(call_default_factory=True, validated_data={})
    if value in (None, "", (), {}) or isinstance(value, Model):
        return ""
    return written(info, value)


def _type_words(annotation: Any) -> str:
    kind = next((part for part in parts_of(annotation) if isinstance(part, Kind)), None)
    inner = bare(annotation)
    origin, args = get_origin(inner), get_args(inner)
    if origin is Literal:
        return ", ".join(args)
    if kind is not None:
        return kind.says
    if origin in (tuple, dict):
        inside = _type_words(args[0] if origin is tuple else args[1])
        return f"list of {inside}" if origin is tuple else f"{inside} by name"
    if isinstance(inner, type) and issubclass(inner, Enum):
        return ", ".join(str(member.value) for member in inner)
    return {str: "text", Secret: "secret"}.get(inner, "block")


def _schema_of(model: type[Model]) -> dict[str, Any]:
    """Pydantic's schema with defaults as the file writes them, not in SI."""
    schema = model.model_json_schema(by_alias=True)
    parts = {model.__name__: schema, **schema.get("$defs", {})}
    for found in _models_in(model):
        for key, info in file_keys(found).items():
            entry = parts[found.__name__]["properties"][key]
            default = _default(info)
            entry.pop("default", None)
            if default not in ("", "required"):
                entry["default"] = _typed(entry, default.strip('"'))
            if options := entry.pop("anyOf", None):  # a file holds no null: it leaves the key out
                entry |= next(option for option in options if option != {"type": "null"})
        if "kind" in file_keys(found):
            parts[found.__name__]["required"].insert(0, "kind")
    return schema


def _typed(entry: dict[str, Any], text: str) -> Any:
    """A default as the type the editor expects: numbers and switches as such."""
    return json.loads(text) if entry.get("type") in ("integer", "number", "boolean") else text


def _models_in(annotation: Any) -> list[type[Model]]:
    inner = bare(annotation)
    if is_model(inner):
        found: list[type[Model]] = [inner]
        for info in inner.model_fields.values():
            found += _models_in(info.annotation)
        return list(dict.fromkeys(found))
    found = [model for arg in get_args(inner) if arg is not ... for model in _models_in(arg)]
    return list(dict.fromkeys(found))


def message_schema_text(name: str) -> str:
    """The JSON Schema of a message, as the text of `config/room-<name>.schema.json`."""
    schema = message_schema(MESSAGES[name], f"{name} of a room of bagwatt")
    return json.dumps(schema, indent=2, ensure_ascii=False) + "\n"


def write_schemas(folder: Path) -> None:
    """Write both editor schemas, and those of the messages, into `folder`."""
    for name in MESSAGES:
        path = folder / f"room-{name}.schema.json"
        path.write_text(message_schema_text(name), encoding="utf-8")
    for file in ("monitor", "strains"):
        text = schema_text(file)
        (folder / f"{file}.schema.json").write_text(text, encoding="utf-8")
