"""A secret by reference: `{env: NAME}` or `{file: PATH}`, read once at load, never shown."""

from __future__ import annotations

import re
import stat
from pathlib import Path
from typing import Any

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler, ValidationInfo
from pydantic_core import core_schema

from monitor.settings.units import FileContext

MASK = "***"
_MAX_BYTES = 4096
_ENV_NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_]*")
_HOW = "write {env: NAME} for an environment variable or {file: PATH} for a file with mode 0600"


class Secret:
    """A value that shows itself only to `reveal()`; printed, logged or dumped it is `***`."""

    __slots__ = ("__value", "origin")

    def __init__(self, value: str, origin: str = "") -> None:
        self.__value = value
        self.origin = origin

    def reveal(self) -> str:
        """The secret itself: hand it to the one who needs it and to nobody else."""
        return self.__value

    def __repr__(self) -> str:
        return f"Secret({MASK!r})"

    def __str__(self) -> str:
        return MASK

    def __format__(self, spec: str) -> str:
        return format(MASK, spec)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Secret) and other.reveal() == self.reveal()

    def __hash__(self) -> int:
        return hash((Secret, self.__value))

    def __reduce__(self) -> str:
        raise TypeError("a secret is not pickled")

    @classmethod
    def __get_pydantic_core_schema__(
        cls, source: Any, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        return core_schema.with_info_plain_validator_function(
            read_secret,
            serialization=core_schema.plain_serializer_function_ser_schema(lambda _: MASK),
        )

    @classmethod
    def __get_pydantic_json_schema__(
        cls, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return {
            "type": "object",
            "title": "secret by reference",
            "properties": {
                "env": {"type": "string", "description": "environment variable that holds it"},
                "file": {"type": "string", "description": "file with mode 0600 that holds it"},
            },
            "additionalProperties": False,
            "minProperties": 1,
            "maxProperties": 1,
        }


def read_secret(value: object, info: ValidationInfo) -> Secret:
    """The secret a reference stands for; ValueError with the fix where it can't be had.

    A secret written into the settings themselves is refused, and never repeated in the error.
    """
    if isinstance(value, Secret):
        return value
    if not isinstance(value, dict):
        raise ValueError(f"a secret does not belong in this file; {_HOW}")
    if len(value) != 1 or next(iter(value)) not in ("env", "file"):
        raise ValueError(f"a secret has one key, env or file; {_HOW}")
    (how, where) = next(iter(value.items()))
    if not isinstance(where, str) or not where:
        raise ValueError(f"{how} must be a text; {_HOW}")
    if not isinstance(info.context, FileContext):
        raise ValueError("a reference to a secret is read from the settings file only")
    if not info.context.outside:
        return Secret("", f"{how}:{where}")
    if how == "env":
        return _from_env(where, info.context)
    return _from_file(info.context.config_dir / where)


def _from_env(name: str, context: FileContext) -> Secret:
    if not _ENV_NAME.fullmatch(name):
        raise ValueError("env takes the name of a variable (letters, digits, _), not its value")
    found = context.env.get(name, "")
    if not found:
        raise ValueError(
            f"environment variable {name} is not set; "
            "set it where bagwatt starts, or use {file: PATH}"
        )
    return Secret(found, f"env:{name}")


def _from_file(path: Path) -> Secret:
    try:
        facts = path.stat()
        if not stat.S_ISREG(facts.st_mode):
            raise ValueError(f"{path} is not a plain file; put the secret alone into one")
        mode = stat.S_IMODE(facts.st_mode)
        if mode & 0o077:
            raise ValueError(f"others may read {path} (mode {mode:04o}); run `chmod 600 {path}`")
        if facts.st_size > _MAX_BYTES:
            raise ValueError(f"{path} holds more than {_MAX_BYTES} bytes; one line is wanted")
        lines = path.read_text(encoding="utf-8").strip().splitlines()
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise ValueError(
            f"cannot read {path} ({reason}); make the file or use {{env: NAME}}"
        ) from None
    except UnicodeDecodeError:
        raise ValueError(f"{path} is not UTF-8 text; save it as text") from None
    if len(lines) != 1:
        raise ValueError(f"{path} holds {len(lines)} lines; one line is wanted")
    return Secret(lines[0].strip(), f"file:{path}")
