"""Read the files of a settings folder, or say everything that is wrong with them at once."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

from monitor.errors import SettingsError
from monitor.settings.explain import Teller, printable
from monitor.settings.learned import LEARNED_FILE, LearnedFile, LearnedStrain
from monitor.settings.model import Way
from monitor.settings.schema import MonitorFile, Settings, monitor_faults
from monitor.settings.schema_strains import StrainsFile, strains_faults
from monitor.settings.strains import StrainBook
from monitor.settings.tree import MAX_BYTES, Spot, read_tree
from monitor.settings.units import FileContext

MONITOR_FILE = "monitor.yaml"
STRAINS_FILE = "strains.yaml"
#: Every file the strains come from.
STRAINS_FILES = (STRAINS_FILE, LEARNED_FILE)


def load_settings(config_dir: Path, env: Mapping[str, str], *, outside: bool = True) -> Settings:
    """The settings in `config_dir`, with secrets read from `env` and from files.

    config_dir  folder with monitor.yaml and, if wanted, strains.yaml
    env         environment the secrets are looked up in
    outside     False reads no secret and asks for no file beside the two, as a replay wants it
    Raises      SettingsError whose `problems` are all faults of both files, each
                `file:line:column: key: text: what is wrong; what to write`
    """
    _enter(config_dir)
    context = FileContext(config_dir, env, outside)
    monitor = _File(config_dir / MONITOR_FILE, MonitorFile, monitor_faults, context)
    strains = _strains(config_dir, context)
    learned, faults = _learned(config_dir, context)
    problems = monitor.problems + (strains.problems if strains else []) + faults
    if problems or not isinstance(monitor.model, MonitorFile):
        raise SettingsError(str(config_dir), tuple(problems))
    book = StrainBook()
    notes = monitor.notes
    if strains is None:
        notes.append(f"there is no {config_dir / STRAINS_FILE}: every strain gets generic values")
    elif isinstance(strains.model, StrainsFile):
        book = strains.model.book(learned)
        notes += strains.notes
    parts = {name: getattr(monitor.model, name) for name in MonitorFile.model_fields}
    return Settings(**parts, strains=book, notes=tuple(notes))


def _enter(config_dir: Path) -> None:
    """Refuse a folder that is none, or that this user may not look into. Raises SettingsError."""
    try:
        (config_dir / MONITOR_FILE).stat()
    except FileNotFoundError:
        if config_dir.exists():
            return  # the file is missed where it is read
        what = "there is no such folder; --config names the one with monitor.yaml in it"
    except NotADirectoryError:
        what = f"this is no folder; --config names the one it lies in: --config {config_dir.parent}"
    except PermissionError:
        what = "this user may not look into it; run as its owner: `sudo -u bagwatt bagwatt …`"
    else:
        return
    raise SettingsError(str(config_dir), (f"{config_dir}: {what}",))


def load_strains(config_dir: Path, name: str = STRAINS_FILE) -> StrainBook:
    """The strains alone, for a replay that has no monitor.yaml; generic values without a file.

    Raises SettingsError as `load_settings` does.
    """
    context = FileContext(config_dir, {}, outside=False)
    file = _strains(config_dir, context, name)
    learned, faults = _learned(config_dir, context)
    problems = (file.problems if file else []) + faults
    if problems:
        raise SettingsError(str(config_dir), tuple(problems))
    if file is None or not isinstance(file.model, StrainsFile):
        return StrainBook()
    return file.model.book(learned)


def load_learned(config_dir: Path) -> dict[str, LearnedStrain]:
    """What `learned.yaml` holds by strain; nothing without the file. Raises SettingsError."""
    learned, faults = _learned(config_dir, FileContext(config_dir, {}, outside=False))
    if faults:
        raise SettingsError(str(config_dir), tuple(faults))
    return learned


def _strains(config_dir: Path, context: FileContext, name: str = STRAINS_FILE) -> _File | None:
    path = config_dir / name
    return _File(path, StrainsFile, strains_faults, context) if path.exists() else None


def _learned(config_dir: Path, context: FileContext) -> tuple[dict[str, LearnedStrain], list[str]]:
    path = config_dir / LEARNED_FILE
    if not path.exists():
        return {}, []
    file = _File(path, LearnedFile, lambda _: [], context)
    return (file.model.strains if isinstance(file.model, LearnedFile) else {}), file.problems


class _File:
    """One file, read and checked: its model, or its problems in the order of its lines."""

    def __init__(
        self,
        path: Path,
        model: type[BaseModel],
        as_a_whole: Callable[[Any], list[tuple[Way, str]]],
        context: FileContext,
    ) -> None:
        self.model: BaseModel | None = None
        self.problems: list[str] = []
        self.notes: list[str] = []
        raw = self._read(path)
        if raw is None:
            return
        tree = read_tree(raw)
        teller = Teller(str(path), tree, model)
        found: list[tuple[Spot, str]] = teller.traps()
        if tree.data is not None:
            try:
                self.model = model.model_validate(
                    tree.data, context=context, by_alias=True, by_name=False
                )
            except ValidationError as error:
                found += teller.faults(error)
                found += [teller.line(way, says) for way, says in as_a_whole(tree.data)]
        found = sorted(set(found), key=lambda one: (one[0].line, one[0].column, one[1]))
        self.problems = [printable(text) for _, text in found]
        self.notes = [printable(text) for _, text in teller.doubts()]

    def _read(self, path: Path) -> bytes | None:
        """The file's bytes, one more than allowed at most; None and a problem where it can't be."""
        try:
            if path.is_file():
                with path.open("rb") as file:
                    return file.read(MAX_BYTES + 1)
            what = "this is no plain file" if path.exists() else "there is no such file"
            hint = "copy the sample from the project's config folder"
        except OSError as error:
            what = f"cannot be read ({error.strerror or type(error).__name__})"
            hint = "run as its owner: `sudo -u bagwatt bagwatt …`"
        self.problems.append(f"{path}:1:1: {what}; {hint}")
        return None
