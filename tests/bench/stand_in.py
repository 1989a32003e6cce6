"""A stand-in for a Pi where none is at hand: the benches on a part of one core, in little memory.

python -m tests.bench.stand_in [--share 25] [--memory 512] [COMMAND …]

Everything runs pinned to one core, under a quota of processor time (a cgroup's; through
systemd-run where systemd runs, else one of our own where we may make one) and a limit of
memory (MemoryMax, else RLIMIT_DATA for each process). It is a stand-in: it has the speed of a
slow core, not its caches, its card or its bus. 25 % of a present server's core is about a
Pi 4's, 10 % a Pi 3's (from memory, no source). Says what of it could be had. Without a command
it runs the benches one after the other.
"""

from __future__ import annotations

import argparse
import os
import resource
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from demo.command import parser_for

CGROUPS = Path("/sys/fs/cgroup/cpu")
PERIOD_US = 100_000
MIB = 2**20
BENCHES = (
    ("watch", "--bags", "1000", "--minutes", "4", "--starts", "3"),
    ("ingest", "--count", "5000", "--lines", "5000", "--rounds", "2"),
    ("size", "--readings", "4000"),
)


@contextmanager
def quota(share: int) -> Iterator[Path | None]:
    """A cgroup (version 1) of our own with that share of a core in per cent; None without one."""
    place = CGROUPS / f"bagwatt-{os.getpid()}"
    try:
        place.mkdir()
        (place / "cpu.cfs_period_us").write_text(str(PERIOD_US), "ascii")
        (place / "cpu.cfs_quota_us").write_text(str(PERIOD_US * share // 100), "ascii")
    except OSError:
        yield None
        return
    try:
        yield place
    finally:
        place.rmdir()


def run_held(words: Sequence[str], share: int, memory_mib: int) -> int:
    """Run a command so and say what holds it."""
    core = min(os.sched_getaffinity(0))
    systemd = shutil.which("systemd-run")
    if systemd and Path("/run/systemd/system").is_dir():
        print(f"core {core}, {share} % of it, {memory_mib} MiB in all, by systemd", flush=True)
        limits = (f"CPUQuota={share}%", f"MemoryMax={memory_mib}M", f"AllowedCPUs={core}")
        options = [part for limit in limits for part in ("-p", limit)]
        return subprocess.run([systemd, "--scope", "-q", *options, *words], check=False).returncode

    with quota(share) as place:

        def hold() -> None:
            os.sched_setaffinity(0, {core})
            resource.setrlimit(resource.RLIMIT_DATA, (memory_mib * MIB, memory_mib * MIB))
            if place is not None:
                (place / "cgroup.procs").write_text(str(os.getpid()), "ascii")

        told = f"{share} % of it" if place else "all of it: no cgroup may be made here"
        print(f"core {core}, {told}, {memory_mib} MiB for each process", flush=True)
        return subprocess.run(words, check=False, preexec_fn=hold).returncode


def main() -> int:
    """A command, or the benches."""
    parser = parser_for("tests.bench.stand_in", __doc__)
    parser.add_argument("--share", type=int, default=25, help="per cent of a core")
    parser.add_argument("--memory", type=int, default=512, help="MiB")
    parser.add_argument("command", nargs=argparse.REMAINDER)
    words = parser.parse_args()
    if words.command:
        command = [word for word in words.command if word != "--"]
        return run_held(command, words.share, words.memory)
    failed = 0
    with tempfile.TemporaryDirectory(prefix="bagwatt-bench-") as folder:
        write = [sys.executable, "-m", "demo.folder", "first", "7", folder]
        subprocess.run(write, check=True)
        for bench, *options in (*BENCHES, ("replay", folder, "--rounds", "1")):
            print(f"\n{bench} {' '.join(options)}", flush=True)
            command = [sys.executable, "-m", f"tests.bench.{bench}", *options]
            failed += run_held(command, words.share, words.memory) != 0
    return failed


if __name__ == "__main__":
    sys.exit(main())
