"""The room's folder while the daemon runs: read again when a file in it changes."""

from __future__ import annotations

from pathlib import Path

from monitor.errors import FolderError
from monitor.sources.folder import Folder, find_file, read_folder

FILES = ("bags.csv", "probes.csv", "walks.csv", "book.csv")


class RoomFolder:
    """Watches the four files; `changed` gives the folder anew when one of them moved on.

    Without a path there is no folder: the book's commands say what is in the room.
    """

    def __init__(self, path: Path | None) -> None:
        self.path = path
        self._seen: tuple[tuple[int, int], ...] | None = None

    def changed(self) -> Folder | None:
        """The folder if it changed since the last call, else None. Raises FolderError."""
        if self.path is None:
            return None
        stamps = self._stamps(self.path)
        if stamps == self._seen:
            return None
        self._seen = stamps
        return read_folder(self.path)

    def again(self) -> None:
        """What was given could not be stored: give it once more."""
        self._seen = None

    @staticmethod
    def _stamps(path: Path) -> tuple[tuple[int, int], ...]:
        stamps = []
        for name in FILES:
            try:
                found = find_file(path, name)
                facts = found.stat() if found else None
            except (OSError, FolderError):
                facts = None
            # Of the change of its mode too: it may not have been ours to read.
            stamps.append((facts.st_ctime_ns, facts.st_size) if facts else (0, 0))
        return tuple(stamps)
