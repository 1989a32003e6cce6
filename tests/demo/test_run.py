"""How the demo is started, without what it sets up and plays."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

from demo.rooms import START_S
from monitor.cli.watch import build_clock
from monitor.store import open_reader

ROOT = Path(__file__).resolve().parent.parent.parent


def stub(path: Path, text: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(f"#!/bin/sh\n{text}\n", encoding="utf-8")
    path.chmod(0o755)


def test_a_folder_to_keep_is_meant_from_where_its_user_stands(tmp_path: Path) -> None:
    """Called from elsewhere, also where something else is called `demo`."""
    clone, elsewhere = tmp_path / "a clone", tmp_path / "elsewhere"
    (clone / "demo").mkdir(parents=True)
    shutil.copy(ROOT / "demo" / "run", clone / "demo" / "run")
    stub(clone / "demo" / "environment", "true")
    stub(clone / ".venv" / "bin" / "python", f'exec "{sys.executable}" "$@"')
    for place, word in ((clone, "ours"), (elsewhere, "theirs")):
        (place / "demo").mkdir(parents=True, exist_ok=True)
        (place / "demo" / "__init__.py").touch()
        shown = f"import sys\nfrom pathlib import Path\nprint('{word}', Path.cwd(), sys.argv[1:])\n"
        (place / "demo" / "show.py").write_text(shown, encoding="utf-8")
    done = subprocess.run(
        ["sh", "../a clone/demo/run", "--keep", "kept"],
        cwd=elsewhere, capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert done.stdout == f"ours {elsewhere} ['--keep', 'kept']\n"


def test_a_folder_that_is_there_is_refused_before_the_demo_plays(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "demo.show", "--keep", str(tmp_path)],
        cwd=ROOT, capture_output=True, text=True, check=False, timeout=60,
    )  # fmt: skip
    assert done.returncode == 2 and f"{tmp_path} is there already" in done.stderr


def test_a_slow_start_is_no_silence_of_the_room(tmp_path: Path) -> None:
    """A disk takes three seconds to find what opens the port, more than an hour of the room."""
    slow = "import sys, time\n"
    slow += "class Slow:\n    def find_spec(self, name, *_):\n"
    slow += "        if name == 'serial': time.sleep(3.0)\n"
    slow += "sys.meta_path.insert(0, Slow())\n"
    (tmp_path / "sitecustomize.py").write_text(slow, encoding="utf-8")
    words = ["--days", "0.1", "--factor", "1500", "--keep", str(tmp_path / "kept")]
    done = subprocess.run(
        [sys.executable, "-m", "demo.show", *words],
        cwd=ROOT, capture_output=True, text=True, check=False, timeout=120,
        env=os.environ | {"PYTHONPATH": f"{ROOT}:{tmp_path}", "PYTHONUNBUFFERED": "1"},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "delivered" not in done.stdout and " today: " not in done.stdout, done.stdout
    with open_reader(tmp_path / "kept" / "bagwatt.db") as store:
        heard = [one for _, one in store.readings_after(0, store.last_reading_id())]
    assert {one.source for one in heard if one.measured_s == START_S} >= {"rack line"}
    assert len({one.probe for one in heard}) >= 24


def test_the_rehearsals_clock_stands_until_it_is_let_go(tmp_path: Path) -> None:
    """At its start until the file holds the origin; then wall and intervals go alike."""
    origin = tmp_path / "origin"
    clock = build_clock(f"2026-03-02T00:00:00Z,1000,@{origin}")
    stood_s = clock.monotonic_s()
    time.sleep(0.05)
    assert (clock.wall_s(), clock.monotonic_s()) == (START_S, stood_s)
    origin.write_text(f"{time.time() - 2.0:.3f}", encoding="ascii")
    gone_s = clock.wall_s() - START_S
    assert gone_s >= 1_990.0
    assert clock.monotonic_s() - stood_s == pytest.approx(gone_s, abs=500.0)
