"""`strains.yaml` while the daemon runs: read again when it changed, or when somebody asks."""

from __future__ import annotations

from pathlib import Path

from monitor.errors import SettingsError
from monitor.settings.load import STRAINS_FILES, load_strains
from monitor.settings.strains import StrainBook

LOOK_EVERY_S = 10.0


class StrainsFile:
    """Gives the strains anew once the file moved on; without a folder it never does."""

    def __init__(self, config_dir: Path | None) -> None:
        self._config_dir = config_dir
        self._seen = self._stamps()
        self._next_s = 0.0
        self._asked = False

    def ask(self) -> None:
        """Read it at the next look, changed or not; may be called from a signal handler."""
        self._asked = True

    def changed(self, life_s: float) -> StrainBook | None:
        """The strains if the file changed since the last look, at most every ten seconds [s of
        life], else None. Raises SettingsError where they can't be used, once for each change."""
        if self._config_dir is None or (not self._asked and life_s < self._next_s):
            return None
        self._next_s = life_s + LOOK_EVERY_S
        asked, self._asked = self._asked, False
        stamps = self._stamps()
        if stamps == self._seen and not asked:
            return None
        self._seen = stamps
        if not (self._config_dir / STRAINS_FILES[0]).exists():
            problem = f"{self._config_dir / STRAINS_FILES[0]} is gone"
            raise SettingsError(str(self._config_dir), (problem,))
        return load_strains(self._config_dir)

    def _stamps(self) -> tuple[tuple[int, int], ...]:
        if self._config_dir is None:
            return ()
        found = []
        for name in STRAINS_FILES:
            try:
                facts = (self._config_dir / name).stat()
            except OSError:
                found.append((0, 0))
            else:
                found.append((facts.st_mtime_ns, facts.st_size))
        return tuple(found)
