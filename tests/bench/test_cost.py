"""The bench of cost: parts that add up, and memory that is the child's own."""

from __future__ import annotations

from pathlib import Path

import pytest

from monitor.assemble import plan_of
from monitor.runner import Close, Item
from monitor.values import Bag, Probe, Quantity, Reading
from tests.bench.cost import Cost, in_its_own_process, print_beside, run_of, write_run
from tests.bench.meter import resident_mib


def test_a_run_comes_back_frame_by_frame_and_its_parts_add_up(tmp_path: Path) -> None:
    probes = {"p": Probe("p", bag="B1", shelf=1), "air": Probe("air", shelf=1)}
    plan = plan_of({"B1": Bag("B1", "b", "GO-12", "L1", 0.0, 2.4, "R1", 1, 1, probe="p")}, probes)
    items: list[Item] = []
    for frame in range(1, 30):
        for probe in probes:
            at_s = 600.0 * frame - 60.0
            items.append(Reading(probe, Quantity.TEMPERATURE, 22.0 + frame % 2, at_s, at_s))
        items.append(Close(600.0 * frame))
    write_run(tmp_path / "run", plan, None, items)
    cost = run_of(tmp_path / "run")
    assert len(cost.steps_s) == 29
    assert 0 < cost.judge_s < sum(cost.steps_s) and cost.readings_s > 0
    assert cost.held_mib <= cost.peak_mib


def test_a_fresh_process_has_a_peak_of_its_own_whatever_its_parent_holds() -> None:
    block = bytearray(b"x" * (150 * 2**20))
    mine, childs = resident_mib(what="VmHWM"), in_its_own_process(resident_mib, "self", "VmHWM")
    assert len(block) / 2**20 < mine and childs < 120


def test_the_judge_and_the_whole_road_are_told_apart(capsys: pytest.CaptureFixture[str]) -> None:
    print_beside(Cost(48, readings_s=1.0, judge_s=2.0, steps_s=[3.0, 4.0]), {"a rule": 0.5})
    assert "| a rule | 0.500 | 4 | 16 |" in capsys.readouterr().out
