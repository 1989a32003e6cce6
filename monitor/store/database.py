"""Opening the one SQLite file: checked, migrated, and foreign errors translated here only.

WAL with synchronous=FULL: what is acknowledged to a broker has reached the disk. A second
process may write too (`bagwatt alarms`), so every write begins IMMEDIATE and waits its turn.
"""

from __future__ import annotations

import errno
import os
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path

from monitor.errors import StoreCorrupt, StoreError, StoreTooNew, StoreUnwritable

APPLICATION_ID = 0x62776174  # "bwat", so that no other program's file is taken for ours
BUSY_MS = 5000
WAL_KEPT_BYTES = 16 * 2**20
#: Above this size the big, append-only tables are not read through at every start.
FULL_CHECK_BYTES = 64 * 2**20
_SMALL_TABLES = ("journal", "frames", "events", "checkpoints", "outbox", "seen", "refusals")

_DAMAGED = {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB}
_DISK = {sqlite3.SQLITE_FULL, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_IOERR}
_DISK_ERRORS = {errno.ENOSPC, errno.EROFS, errno.EIO, errno.EDQUOT, errno.EFBIG}
_NEXT_STEP = {
    sqlite3.SQLITE_FULL: "free some space on this disk, or lower store.retention",
    sqlite3.SQLITE_BUSY: "another program holds the file; end it and try again",
    sqlite3.SQLITE_READONLY: "make the file and its folder writable for this user",
    sqlite3.SQLITE_CANTOPEN: "check that the folder exists and that this user may write there",
    sqlite3.SQLITE_PERM: "check the owner and the mode of the file",
    sqlite3.SQLITE_IOERR: "check the disk or SD card; copy the store elsewhere",
}


@contextmanager
def translated(where: str | Path) -> Iterator[None]:
    """Turn sqlite3's errors into StoreError or StoreCorrupt, naming the file."""
    try:
        yield
    except sqlite3.Error as error:
        # An extended code carries its family in the low byte.
        family = (getattr(error, "sqlite_errorcode", None) or 0) & 0xFF
        if family in _DAMAGED:
            raise StoreCorrupt(
                str(where), f"the store is damaged ({error})", "move it aside and start again"
            ) from error
        kind = StoreUnwritable if family in _DISK else StoreError
        raise kind(str(where), str(error), _NEXT_STEP.get(family, "")) from error


def open_database(path: Path, now_s: float, *, check: bool = True) -> sqlite3.Connection:
    """Open or create the store for writing, in its newest shape, mode 0600.

    Raises StoreTooNew when a newer bagwatt wrote it, StoreCorrupt when it is damaged,
    StoreError when it can't be opened or belongs to another program.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        _refuse_folder(path)
        _make(path)
        path.chmod(0o600)  # -wal and -shm take the mode of the main file
    except OSError as error:
        raise refused(path, error, "check the folder and who may write there") from error
    with translated(path):
        connection = _connect(str(path))
        try:
            _refuse_strangers(connection, path)
            if check:
                _check(connection, path)
            connection.execute("PRAGMA journal_mode = WAL")
            migrate(connection, now_s, _migrations())
        except BaseException:
            connection.close()
            raise
    return connection


def _refuse_folder(path: Path) -> None:
    if path.is_dir():
        hint = f"name a file in store.path, such as {path / 'bagwatt.db'}"
        raise StoreError(str(path), "is a folder", hint)


def _make(path: Path) -> None:
    """An empty file for us alone where there is none.

    One that is there is not opened here: closing it would drop the locks SQLite holds on it for
    other connections of this process (POSIX), and the next process to close would take itself
    for the last and delete the WAL under them (sqlite.org/howtocorrupt.html, section 2.2).
    """
    try:
        os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600))
    except FileExistsError:
        return


def refused(path: Path, error: OSError, next_step: str) -> StoreError:
    """The system's refusal as ours: of the disk itself, or of this user."""
    kind = StoreUnwritable if error.errno in _DISK_ERRORS else StoreError
    return kind(str(path), error.strerror or str(error), next_step)


def open_for_reading(path: Path) -> sqlite3.Connection:
    """Open an existing store read-only; raises as `open_database` does."""
    try:
        there = path.exists()
    except OSError as error:
        hint = "run as the watch's user: `sudo -u bagwatt bagwatt …`"
        raise refused(path, error, hint) from error
    if not there:
        raise StoreError(str(path), "no store there yet", "start `bagwatt watch` first")
    _refuse_folder(path)
    with translated(path):
        connection = _connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)
        try:
            _refuse_strangers(connection, path)
            if _version(connection) < len(_migrations()):
                raise StoreError(
                    str(path), "written by an older bagwatt", "start `bagwatt watch` once"
                )
        except BaseException:
            connection.close()
            raise
    return connection


@contextmanager
def write(connection: sqlite3.Connection) -> Iterator[None]:
    """One transaction, all or nothing; inside another one it joins that."""
    if connection.in_transaction:
        yield
        return
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:
        # Some errors (a full disk) have rolled back already.
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def migrate(
    connection: sqlite3.Connection, now_s: float, scripts: Sequence[tuple[str, str]]
) -> None:
    """Run the scripts (name, SQL) this store has not had yet, each in one transaction."""
    for number, (name, script) in enumerate(scripts, start=1):
        if _version(connection) >= number:
            continue
        with write(connection):
            if _version(connection) >= number:  # another process was quicker
                continue
            for statement in _statements(script):
                connection.execute(statement)
            connection.execute(
                "CREATE TABLE IF NOT EXISTS migrations"
                " (number INTEGER PRIMARY KEY, name TEXT NOT NULL, at_s REAL NOT NULL)"
            )
            connection.execute("INSERT INTO migrations VALUES (?, ?, ?)", (number, name, now_s))
            connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            connection.execute(f"PRAGMA user_version = {number}")


def copy_into(connection: sqlite3.Connection, target: Path) -> None:
    """A sound copy of the whole store as a new file, whole or not at all. Raises StoreError."""
    part = target.with_name(target.name + ".part")
    try:
        if target.exists():
            raise FileExistsError(errno.EEXIST, "is there already", str(target))
        part.unlink(missing_ok=True)
        os.close(os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
        connection.execute("VACUUM INTO ?", (str(part),))
        with closing(_connect(str(part))) as copy:
            answer = str(copy.execute("PRAGMA quick_check(1)").fetchone()[0])
        if answer != "ok":
            raise StoreCorrupt(str(part), f"the copy is not sound ({answer})", "look at the disk")
        _sync(part)  # SQLite leaves that to the system here
        part.rename(target)
        _sync(target.parent)
    except OSError as error:
        raise refused(target, error, "name a new file in a folder you own") from error
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)


def _sync(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def set_aside(path: Path, now_s: float, why: str = "damaged") -> Path:
    """Rename a store that is of no use with its -wal and -shm files; returns the new name."""
    stamp = datetime.fromtimestamp(now_s, UTC).strftime("%Y%m%dT%H%M%SZ")
    kept = path.with_name(f"{path.name}.{why}-{stamp}")
    number = 1
    while kept.exists():
        number += 1
        kept = path.with_name(f"{path.name}.{why}-{stamp}-{number}")
    try:
        for suffix in ("", "-wal", "-shm"):
            part = path.with_name(path.name + suffix)
            if part.exists():
                part.rename(kept.with_name(kept.name + suffix))
    except OSError as error:
        raise StoreError(
            str(path), f"can't be moved aside ({error.strerror})", "move it away by hand"
        ) from error
    return kept


def _connect(name: str, *, uri: bool = False) -> sqlite3.Connection:
    connection = sqlite3.connect(name, isolation_level=None, uri=uri, timeout=BUSY_MS / 1000)
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute(f"PRAGMA journal_size_limit = {WAL_KEPT_BYTES}")
    return connection


def _number(connection: sqlite3.Connection, question: str) -> int:
    return int(connection.execute(question).fetchone()[0])


def _version(connection: sqlite3.Connection) -> int:
    return _number(connection, "PRAGMA user_version")


def _refuse_strangers(connection: sqlite3.Connection, path: Path) -> None:
    owner = _number(connection, "PRAGMA application_id")
    empty = not _number(connection, "SELECT count(*) FROM sqlite_master")
    if owner != APPLICATION_ID and not empty:
        raise StoreError(
            str(path), "this is a database of another program", "set store.path to another file"
        )
    version, known = _version(connection), len(_migrations())
    if version > known:
        raise StoreTooNew(
            str(path),
            f"written by a newer bagwatt (shape {version}, this one knows up to {known})",
            "upgrade bagwatt, or set store.path to another file",
        )


def _check(connection: sqlite3.Connection, path: Path) -> None:
    """Look for damage: all of a small store, the tables of decisions of a large one."""
    if path.stat().st_size <= FULL_CHECK_BYTES:
        questions = ["PRAGMA quick_check(1)"]
    else:
        questions = [f"PRAGMA quick_check({table})" for table in _SMALL_TABLES]
    for question in questions:
        answer = str(connection.execute(question).fetchone()[0])
        if answer != "ok":
            raise StoreCorrupt(
                str(path), f"the store is damaged ({answer})", "move it aside and start again"
            )


def _migrations() -> list[tuple[str, str]]:
    """(name, SQL) of every migration, in order; the number in the name is its place."""
    folder = files("monitor.store") / "migrations"
    scripts = sorted(
        (entry for entry in folder.iterdir() if entry.name.endswith(".sql")),
        key=lambda entry: entry.name,
    )
    return [(entry.name.removesuffix(".sql"), entry.read_text("utf-8")) for entry in scripts]


def _statements(script: str) -> Iterator[str]:
    """Split a script: `executescript` would commit after each statement."""
    pending = ""
    for line in script.splitlines(keepends=True):
        pending += line
        if sqlite3.complete_statement(pending):
            yield pending
            pending = ""
    if pending.strip():
        raise ValueError(f"a migration ends inside a statement: {pending.strip()[:60]}")
