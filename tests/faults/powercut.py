"""Every write of the store fails, tears or is cut off in turn; nothing acknowledged is lost.

python -m tests.faults.powercut [--every 1]

A child works on a store under the shim and says over a pipe what is committed. At its Nth file
operation the disk fails (once, or for good) or the power goes, with what no sync had confirmed
taken back. Then the store must be sound and hold all that was said, once.
"""

from __future__ import annotations

import argparse
import ctypes
import errno
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from collections import Counter
from pathlib import Path

from demo.command import parser_for
from monitor.errors import StoreError
from monitor.store import Store
from tests.faults.shim import CUT, FOR_GOOD, ONCE, TORN, build_shim
from tests.store.samples import arrival, delivery, event, reading

BATCHES = 12
NO_COMPILER = 77
#: Set in the environment the store does not sync: to see that the harness would notice.
CARELESS = "FAULT_CARELESS"
#: A sync costs nothing in memory, and the shim does not ask what lies under it.
MEMORY = Path("/dev/shm")
CASES = {
    "error once": (ONCE, errno.EIO),
    "disk full once": (ONCE, errno.ENOSPC),
    "error for good": (FOR_GOOD, errno.EIO),
    "disk full for good": (FOR_GOOD, errno.ENOSPC),
    "power cut": (CUT, 0),
    "torn write": (TORN, 0),
}


def _batch(store: Store, number: int) -> None:
    """What a minute of a watch writes: readings, a close with its alarm, a saved state, pruning."""
    store.add_batch([arrival(reading(number, number), dedup=f"d{number}")])
    store.close_frame(
        number,
        number,
        store.last_reading_id(),
        0,
        events=[event(number, alarm_id=f"a{number}")],
        messages=[delivery(number)],
    )
    if number % 4 == 0:
        store.save_checkpoint(number, "state " * 3000)
        store.prune(number - 6.0)


def work(path: Path, say: int) -> None:
    """Do every batch, a refused one once more; say each that is committed."""
    store = Store.open(path, 0.0)
    if CARELESS in os.environ:
        store.connection.execute("PRAGMA synchronous = OFF")
    for number in range(1, BATCHES + 1):
        for _ in range(2):
            try:
                _batch(store, number)
            except StoreError:
                continue
            os.write(say, bytes([number]))
            break


def _child(shim: ctypes.CDLL, path: Path, at: int, case: tuple[int, int], say: int) -> None:
    """Work until the end or the fault; never returns."""
    code = 1
    try:
        shim.fault_arm(ctypes.c_long(at), *case)
        work(path, say)
        code = 0
    except StoreError:
        code = 2  # it could not even be opened
    finally:
        # What the count needs is the number of operations of an undisturbed run.
        os.write(say, b"\0" + int(shim.fault_calls()).to_bytes(4, "big"))
        os._exit(code)


def run_case(
    shim: ctypes.CDLL, base: Path, folder: Path, at: int, case: tuple[int, int]
) -> tuple[set[int], int]:
    """One run with a fault at an operation: what was said to be committed, operations done."""
    shutil.rmtree(folder, ignore_errors=True)
    shutil.copytree(base, folder)
    hears, says = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(hears)
        _child(shim, folder / "store.db", at, case, says)
    os.close(says)
    with os.fdopen(hears, "rb") as pipe:
        heard = pipe.read()
    os.waitpid(child, 0)
    said, _, calls = heard.partition(b"\0")
    return set(said), int.from_bytes(calls, "big")


def faults_of(path: Path, said: set[int]) -> list[str]:
    """What is wrong with a store after a fault."""
    wrong = []
    with Store.open(path, 0.0) as store:
        checked = store.connection.execute("PRAGMA integrity_check").fetchone()[0]
        if checked != "ok":
            wrong.append(f"integrity: {checked}")
        rows = Counter(int(one.value) for _, one in store.readings_after(0, 999))
        rolled = {int(one.at_s) for one in store.rollups(0.0, 1e9)}
        events = {one.alarm_id for one in store.events()}
        messages = {row.delivery.message.message_id for row in store.outbox()}
    wrong += [
        f"reading {number} is there {times} times" for number, times in rows.items() if times > 1
    ]
    wrong += [f"reading {number} is lost" for number in said if number not in rows and not rolled]
    wrong += [f"event {number} is lost" for number in said if f"a{number}" not in events]
    wrong += [f"message {number} is lost" for number in said if f"m{number}:Mara" not in messages]
    return wrong


def sweep(folder: Path, every: int) -> tuple[dict[str, int], list[str]]:
    """Faults injected by case, and what was wrong; runs in a process with the shim loaded."""
    shim = ctypes.CDLL(None)
    base = folder / "base"
    base.mkdir()
    os.environ["FAULT_PATH"] = str(folder)
    Store.open(base / "store.db", 0.0).close()
    _, calls = run_case(shim, base, folder / "run", 10**6, (ONCE, 0))
    wrong: list[str] = []
    done = dict.fromkeys(CASES, 0)
    for name, case in CASES.items():
        for at in range(1, calls + 1, every):
            said, _ = run_case(shim, base, folder / "run", at, case)
            done[name] += 1
            try:
                found = faults_of(folder / "run" / "store.db", said)
            except (StoreError, sqlite3.Error) as error:
                found = [f"can't be opened: {error}"]
            wrong += [f"{name} at operation {at}: {one}" for one in found]
    return done, wrong


def run_shimmed(every: int, *, careless: bool = False) -> tuple[int, str]:
    """Build the shim and run the sweep under it; exit code (77 without a compiler) and words."""
    with tempfile.TemporaryDirectory(dir=MEMORY if MEMORY.is_dir() else None) as name:
        folder = Path(name)
        shim = build_shim(folder)
        if shim is None:
            return NO_COMPILER, "no C compiler"
        return _run(folder, shim, every, {CARELESS: "1"} if careless else {})


def _run(folder: Path, shim: Path, every: int, more: dict[str, str]) -> tuple[int, str]:
    done = subprocess.run(
        [
            sys.executable,
            "-m",
            "tests.faults.powercut",
            "--sweep",
            str(folder),
            "--every",
            str(every),
        ],
        env={**os.environ, "LD_PRELOAD": str(shim), **more},
        capture_output=True,
        text=True,
        check=False,
    )
    return done.returncode, done.stdout + done.stderr


def main() -> int:
    parser = parser_for("tests.faults.powercut", __doc__)
    parser.add_argument("--every", type=int, default=1, help="try each so manieth operation")
    parser.add_argument("--sweep", type=Path, help=argparse.SUPPRESS)
    words = parser.parse_args()
    if words.sweep is None:
        code, text = run_shimmed(words.every)
        print(text, end="")
        return code
    done, wrong = sweep(words.sweep, words.every)
    counts = ", ".join(f"{count} × {name}" for name, count in done.items())
    print(f"{sum(done.values())} faults ({counts}), {len(wrong)} wrong")
    print("\n".join(wrong[:20]), end="\n" if wrong else "")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
