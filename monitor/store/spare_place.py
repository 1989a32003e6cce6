"""Where a spare of a store lies: on another medium if the grower named one, else in memory."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from hashlib import blake2b
from pathlib import Path
from stat import S_IMODE, S_ISDIR

#: What systemd makes for the daemon (`RuntimeDirectory`); other processes are not told of it.
_RUNTIME = "/run/bagwatt"


@dataclass(frozen=True, slots=True)
class Place:
    """A file for a spare. What lies in a `lasting` one outlives a power cut."""

    path: Path
    lasting: bool


def spare_path(path: Path) -> Path | None:
    """Where the spare of a store is kept in memory; None where no such file system will have it.

    The folder must be ours and closed to others: /dev/shm is open to everybody.
    """
    for folder in _memory_folders(os.getuid()):
        with suppress(OSError):
            folder.mkdir(mode=0o700, exist_ok=True)
            kind = folder.lstat()
            if (
                S_ISDIR(kind.st_mode)
                and kind.st_uid == os.getuid()
                and not S_IMODE(kind.st_mode) & 0o077
            ):
                return folder / _name(path)
    return None


def places(path: Path, medium: Path | None) -> list[Place]:
    """Where a spare of this store can be begun now, the best first."""
    memory = spare_path(path)
    found = (
        [Place(medium / _name(path), lasting=True)] if medium and not doubt(path, medium) else []
    )
    return found if memory is None else [*found, Place(memory, lasting=False)]


def doubt(path: Path, medium: Path) -> str:
    """Why a folder is of no use as the other medium just now; empty if it is.

    A stick that is not mounted leaves an empty folder, which lies on the very card that fails.
    """
    trial = medium / f"bagwatt-trial-{os.getpid()}"
    try:
        if medium.stat().st_dev == path.parent.stat().st_dev:
            return "lies on the same disk as the store: is the medium mounted?"
        handle = os.open(trial, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600)
        try:
            os.fchmod(handle, 0o600)
            os.write(handle, bytes(4096))
            os.fsync(handle)
        finally:
            os.close(handle)
            trial.unlink()
    except OSError as error:
        return error.strerror or str(error)
    return ""


def lying(path: Path, medium: Path | None) -> list[Path]:
    """The files of a spare that are there, whoever runs this: one of the daemon, or what one left.

    The daemon runs as whom the store belongs to.
    """
    found = []
    for one in dict.fromkeys(folder / _name(path) for folder in _folders(path, medium)):
        with suppress(OSError):  # folders of other users are closed to us
            if one.is_file():
                found.append(one)
    return found


def _folders(path: Path, medium: Path | None) -> Iterator[Path]:
    if medium is not None:
        yield medium
    users = [os.getuid()]
    with suppress(OSError):
        users.append(path.stat().st_uid)
    for user in users:
        yield from _memory_folders(user)


def _memory_folders(user: int) -> Iterator[Path]:
    runtime = os.environ.get("RUNTIME_DIRECTORY", "").split(":")[0]
    bases = (runtime, "" if runtime else _RUNTIME, "/dev/shm", tempfile.gettempdir())
    return (Path(base) / f"bagwatt-{user}" for base in bases if base)


def _name(path: Path) -> str:
    return f"{blake2b(str(path.absolute()).encode(), digest_size=8).hexdigest()}.db"
