"""Where an account is kept: beside the store, `STORE.evidence/NAME.jsonl.gz` and its state.

Frames are appended as members of one gzip file (RFC 1952 allows several); the state file names
how many bytes of it count, so that a cut-off append is as if it never was.
"""

from __future__ import annotations

import fcntl
import gzip
import json
import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from monitor.errors import BagwattError, StoreError
from monitor.review.account import FrameAccount
from monitor.review.account_text import from_line, to_line

FORMAT = 2


@dataclass(frozen=True, slots=True)
class Kept:
    """What the files hold: frames and, where the account can go on, the road's state after
    the last one."""

    frames: tuple[FrameAccount, ...] = ()
    end_s: float | None = None
    state: Any = None


def evidence_folder(store: Path) -> Path:
    """Where what was told again of a store is kept."""
    return store.with_name(store.name + ".evidence")


class RecountFile:
    """The two files of one account. `key` says what the evidence hangs on."""

    def __init__(self, store: Path, name: str, key: str) -> None:
        self._store = store
        self._folder = evidence_folder(store)
        self._frames = self._folder / f"{name}.jsonl.gz"
        self._state = self._folder / f"{name}.state.gz"
        self._key = key
        self._bytes = 0
        self._fits = False

    @contextmanager
    def alone(self) -> Iterator[None]:
        """Nobody else tells this account again meanwhile.

        Raises StoreError where somebody does.
        """
        try:
            self._folder.mkdir(exist_ok=True)
            lock = (self._folder / "lock").open("a", encoding="ascii")
        except OSError:  # read-only: `append` says so, should there be anything to keep
            yield
            return
        with lock:
            try:
                fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except OSError as error:
                what = "another `bagwatt tune` works on it"
                raise StoreError(str(self._folder), what, "wait until it is done") from error
            owned_like(self._folder, self._store)
            owned_like(self._folder / "lock", self._store)
            yield

    def read(self) -> Kept:
        """What is kept; nothing where there is nothing or it can't be understood."""
        try:
            saved = json.loads(gzip.decompress(self._state.read_bytes()))
            with self._frames.open("rb") as file:
                raw = file.read(saved["bytes"])
            if saved["format"] != FORMAT or len(raw) != saved["bytes"]:
                return Kept()
            lines = gzip.decompress(raw).decode("utf-8").splitlines()
            frames = tuple(from_line(line) for line in lines)
        except (OSError, EOFError, ValueError, LookupError, TypeError, BagwattError):
            return Kept()
        self._fits = saved["key"] == self._key
        self._bytes = saved["bytes"]
        return Kept(frames, saved["end_s"], saved["state"] if self._fits else None)

    def append(
        self,
        before: Sequence[FrameAccount],
        new: Sequence[FrameAccount],
        end_s: float,
        state: str,
    ) -> None:
        """Keep `new` after `before`, which is what `read` gave, or what of it still counts.

        Raises StoreError where the folder can't be written.
        """
        try:
            self._folder.mkdir(exist_ok=True)
            at = self._bytes if self._fits else 0
            lines = [to_line(frame) for frame in (new if self._fits else [*before, *new])]
            with self._frames.open("r+b" if self._frames.exists() else "wb") as file:
                file.truncate(at)
                file.seek(at)
                file.write(gzip.compress("".join(f"{line}\n" for line in lines).encode(), 3))
                self._bytes = file.tell()
                file.flush()
                os.fsync(file.fileno())
            self._write_state(end_s, state)
            self._fits = True
            for path in (self._folder, self._frames, self._state):
                owned_like(path, self._store)
        except OSError as error:
            raise StoreError(
                str(self._folder), f"can't be written ({error.strerror})", "see who owns it"
            ) from error

    def _write_state(self, end_s: float, state: str) -> None:
        saved = {
            "format": FORMAT,
            "key": self._key,
            "bytes": self._bytes,
            "end_s": end_s,
            "state": json.loads(state),
        }
        fresh = self._state.with_name(self._state.name + ".new")
        fresh.write_bytes(gzip.compress(json.dumps(saved).encode(), 3))
        fresh.replace(self._state)


def owned_like(path: Path, store: Path) -> None:
    """As root: what is written beside the store is its owner's, who writes there next."""
    owner = store.stat()
    if path.stat().st_uid != owner.st_uid:
        os.chown(path, owner.st_uid, owner.st_gid)
