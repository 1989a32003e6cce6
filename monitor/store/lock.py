"""The lock that lets one daemon alone write a store; it ends with the process."""

from __future__ import annotations

import fcntl
import os
from pathlib import Path
from typing import TextIO

from monitor.errors import StoreError, StoreUnwritable
from monitor.store.database import refused
from monitor.store.spare_place import spare_path


def lock_store(path: Path) -> TextIO:
    """Hold the store for this daemon alone; the lock ends with the process.

    Two daemons with one store and one client id would throw each other off the broker.
    Raises StoreError where another one holds it, or its folder can't be written.
    """
    handle = _open_lock(path)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        handle.close()
        what = "another `bagwatt watch` has this store open"
        raise StoreError(str(path), what, "stop it first (`systemctl stop bagwatt`)") from error
    return handle


def _for_us_alone(path: Path) -> int:
    """Who may open the file may hold the lock, and so keep the daemon from starting."""
    return os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)


def _open_lock(path: Path) -> TextIO:
    """The file that is locked; beside the spare in memory where the disk takes none."""
    lock = path.with_name(path.name + ".lock")
    try:
        return os.fdopen(_for_us_alone(lock), "a", encoding="ascii")
    except OSError as error:
        refusal = refused(lock, error, "see its folder")
        beside = spare_path(path)
        if not isinstance(refusal, StoreUnwritable) or beside is None:
            raise refusal from error
    return os.fdopen(_for_us_alone(beside.with_suffix(".lock")), "a", encoding="ascii")
