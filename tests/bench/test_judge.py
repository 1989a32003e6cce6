"""The bench's command on a small invented room; the simple rules need no replay."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.bench.folders import read_room
from tests.bench.judge import main
from tests.bench.rules import ON_PROBES


def test_the_bench_prints_one_row_for_each_simple_rule(
    small_room: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["--rules-only", "--jobs", "1", str(small_room)]) == 0
    said = capsys.readouterr().out
    assert [name for name in ON_PROBES if f"| {name} |" in said] == list(ON_PROBES)
    assert re.search(r"1 rooms, \d+ healthy bags", said)


def test_the_bench_reads_the_truth_of_a_room(small_room: Path) -> None:
    room = read_room(small_room)
    assert len(room.cohorts) == 2 and not room.walks
    assert [truth.probe_fault for truth in room.truths].count("fell") == 1
    assert any(truth.half_degree_s for truth in room.truths)


def test_an_unknown_family_is_refused_by_name(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--rules-only", "--rooms", "third:1"]) == 2
    assert "no family 'third'" in capsys.readouterr().err
