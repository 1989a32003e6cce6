"""The tuner's child under a filter of system calls, such as the unit in systemd/ has."""

from __future__ import annotations

import platform
import re
import subprocess
import sys
from pathlib import Path

import pytest

UNIT = Path(__file__).resolve().parent.parent.parent / "systemd" / "bagwatt.service"
#: setpriority by machine (linux/unistd.h).
NUMBER = {"x86_64": 141, "aarch64": 140}.get(platform.machine())

CONFINED = """
import ctypes, struct, sys, time
from pathlib import Path
from monitor.page.tuning import Tuner

EPERM, ALLOW = 0x00050001, 0x7FFF0000
steps = [(0x20, 0, 0, 0), (0x15, 0, 1, int(sys.argv[1])), (0x06, 0, 0, EPERM), (0x06, 0, 0, ALLOW)]
code = ctypes.create_string_buffer(b"".join(struct.pack("HBBI", *step) for step in steps))
program = struct.pack("HxxxxxxP", len(steps), ctypes.addressof(code))
libc = ctypes.CDLL(None, use_errno=True)
assert libc.prctl(38, 1, 0, 0, 0) == 0  # PR_SET_NO_NEW_PRIVS
assert libc.prctl(22, 2, program, 0, 0) == 0  # PR_SET_SECCOMP, a filter
tuner = Tuner(Path(sys.argv[2]))
assert tuner.start("GO-12")
busy = bool(tuner.strain)
while tuner.strain:
    time.sleep(0.05)
print(busy, tuner.trouble("GO-12"))
"""


@pytest.mark.skipif(NUMBER is None, reason="the system call's number is not known here")
def test_a_child_that_may_not_be_made_to_yield_is_waited_for_all_the_same(tmp_path: Path) -> None:
    """It was let go, unseen, and the next click began another beside it."""
    done = subprocess.run(
        [sys.executable, "-c", CONFINED, str(NUMBER), str(tmp_path / "none")],
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("True ") and "1 problem" in done.stdout


def test_the_unit_lets_a_child_be_made_to_yield() -> None:
    """It is one of @resources, which are taken away before."""
    filters = re.findall("(?m)^SystemCallFilter=(.*)$", UNIT.read_text(encoding="utf-8"))
    assert "setpriority" in filters[-1].split()
