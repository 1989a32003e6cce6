"""What the judge costs, beside a Kalman filter and the simple rules on the same readings.

    python -m tests.bench.cost [--bags 48 1000 10000] [--days 12 37 70] [FOLDER]

Processor time of one process. FOLDER is in the replay format (without one a room of the first
family is drawn). *Readings* is the checks as they come, *judge* the evidence, *rest* frames,
probes at fault, local air, room and alarms; a step is the close of one frame.

Rooms of more bags are the drawn room with the same bags again under other names, each copy with
cohorts of its own, from the ninth day on: what was remembered is copied, then the frames of
nine hours are closed. The Kalman filter is a local level for each bag, once over its frames.
"""

from __future__ import annotations

import argparse
import math
import multiprocessing
import sys
import tempfile
import time
import warnings
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from demo.folder import write_folder
from demo.rooms import FIRST, make_room
from monitor.assemble import build_road, plan_of
from monitor.replay import followed, merged
from monitor.road import Plan, Road
from monitor.runner import Close, Item, take, with_closes
from monitor.sources.folder import read_folder
from monitor.values import BookEntry, Reading
from tests.bench.folders import Room, read_room
from tests.bench.meter import resident_mib
from tests.bench.rules import ON_PROBES

FRAME_S, DAY_S = 600.0, 86400.0
SEED = 7
COPIED_AFTER_D, COPIED_FRAMES = 9.0, 54
now_s = time.process_time


@dataclass
class Cost:
    """Processor time of one run [s] by part, and of each step."""

    bags: int
    readings_s: float = 0.0
    judge_s: float = 0.0
    steps_s: list[float] = field(default_factory=list)
    resident_mib: float = 0.0

    @property
    def total_s(self) -> float:
        return self.readings_s + sum(self.steps_s)

    def row(self, name: str) -> str:
        """The table's row; a step's times are in ms."""
        median, p99 = (1e3 * float(np.percentile(self.steps_s, q)) for q in (50, 99))
        return (
            f"| {name} | {self.readings_s:.2f} | {self.judge_s:.2f} "
            f"| {sum(self.steps_s) - self.judge_s:.2f} | {self.total_s:.2f} "
            f"| {median:.2f} | {p99:.1f} | {1e3 * max(self.steps_s):.1f} |"
        )


HEADER = (
    "| run | readings s | judge s | rest s | all s | step: median ms | p99 | most |\n"
    "|---|---|---|---|---|---|---|---|"
)


def drive(road: Road, items: Iterable[Item], bags: int) -> Cost:
    """Put the items on the road and keep what each part took."""
    cost = Cost(bags)
    road._judge.step = timed(road._judge.step, cost)  # type: ignore[method-assign]
    began_s = now_s()
    for item in items:
        if isinstance(item, Close):
            closing_s = now_s()
            cost.readings_s += closing_s - began_s
            take(road, item)
            began_s = now_s()
            cost.steps_s.append(began_s - closing_s)
        else:
            take(road, item)
    return cost


def timed(step: Callable[..., Any], cost: Cost) -> Callable[..., Any]:
    """The judge's step, its time added to `cost`."""

    def timed_step(*given: Any) -> Any:
        began_s = now_s()
        try:
            return step(*given)
        finally:
            cost.judge_s += now_s() - began_s

    return timed_step


def read_items(folder_path: Path) -> tuple[Plan, list[Item]]:
    """The plan of a folder and everything that comes in it, with the closes between."""
    folder = read_folder(folder_path)
    plan = plan_of(folder.bags, folder.probes)
    return plan, list(followed(with_closes(merged(folder), FRAME_S), plan))


@dataclass(frozen=True)
class Copies:
    """A room with every bag `count` times: names of bags, their probes and cohorts by copy."""

    names: tuple[Mapping[str, str], ...]
    plan: Plan

    @staticmethod
    def of(plan: Plan, count: int) -> Copies:
        """Bags beyond the first copy get other names and spawn lots of their own."""
        bags, probes, names = dict(plan.bags), dict(plan.probes), []
        for copy in range(count):
            mark = f"~{copy}" if copy else ""
            renamed: dict[str, str] = {}
            for bag in plan.bags.values():
                twin = replace(
                    bag,
                    bag=bag.bag + mark,
                    probe=bag.probe + mark if bag.probe else "",
                    spawn_lot=bag.spawn_lot + mark,
                )
                bags[twin.bag] = twin
                renamed |= {bag.bag: twin.bag, bag.cohort: twin.cohort}
                if bag.probe:
                    renamed[bag.probe] = twin.probe
                    probes[twin.probe] = replace(
                        plan.probes[bag.probe], probe=twin.probe, bag=twin.bag
                    )
            names.append(renamed)
        return Copies(tuple(names), plan_of(bags, probes))

    def state(self, value: Any, width: int) -> Any:
        """A road's plain state with everything that is a bag's once for each copy; rows of
        `width` values are a value a bag."""
        return _copied(value, self.names, width)

    def items(self, items: Iterable[Item]) -> list[Item]:
        """Readings and entries of bags once for each copy, others as they are."""
        found: list[Item] = []
        for item in items:
            key = {Reading: "probe", BookEntry: "bag"}.get(type(item), "")
            name = getattr(item, key) if key else ""
            if name in self.names[0]:
                found += [replace(item, **{key: each[name]}) for each in self.names]  # type: ignore[type-var]
            else:
                found.append(item)
        return found


def _copied(value: Any, names: Sequence[Mapping[str, str]], width: int) -> Any:
    known = names[0].keys()
    if isinstance(value, Mapping):
        if value and value.keys() <= known:
            return {
                each[key]: _copied(inner, [each], width)
                for each in names
                for key, inner in value.items()
            }
        return {key: _copied(inner, names, width) for key, inner in value.items()}
    if not isinstance(value, list) or not value:
        return value
    if all(isinstance(one, str) and one in known for one in value):
        return [each[one] for each in names for one in value]
    if len(names) > 1 and len(value) == width and not any(isinstance(o, list) for o in value):
        return value * len(names)
    found: list[Any] = []
    for one in value:
        named = isinstance(one, list) and bool(one) and isinstance(one[0], str) and one[0] in known
        if named and isinstance(one[-1], Mapping):
            found += [[each[one[0]], *_copied(one[1:], [each], width)] for each in names]
        else:
            found.append(_copied(one, names, width))
    return found


def copied_room(folder: Path, bags: int) -> Cost:
    """`COPIED_FRAMES` frames of a room with `bags` bags or a few more, after nine days of it."""
    plan, items = read_items(folder)
    road = build_road(None, plan)
    closes = [place for place, item in enumerate(items) if isinstance(item, Close)]
    first = closes[int(COPIED_AFTER_D * DAY_S / FRAME_S)] + 1
    for item in items[:first]:
        take(road, item)
    before_mib = resident_mib()
    copies = Copies.of(plan, math.ceil(bags / len(plan.bags)))
    whole = build_road(None, copies.plan)
    whole.restore(copies.state(road.state(), len(plan.bags)))
    last = closes[int(COPIED_AFTER_D * DAY_S / FRAME_S) + COPIED_FRAMES] + 1
    coming = copies.items(items[first:last])
    before_mib = resident_mib()
    cost = drive(whole, coming, len(copies.plan.bags))
    cost.resident_mib = resident_mib() - before_mib
    return cost


def in_its_own_process(work: Callable[..., Cost], *given: Any) -> Cost:
    """What `work` gives in a fresh process, so that no run warms or fills another's memory."""
    with multiprocessing.get_context("spawn").Pool(1) as pool:
        return pool.apply(work, given)


def whole_room(folder: Path) -> Cost:
    """All of a folder."""
    plan, items = read_items(folder)
    return drive(build_road(None, plan), items, len(plan.bags))


def kalman_s(room: Room) -> float:
    """A local level (statsmodels) for each bag, filtered once over its frames."""
    from statsmodels.tsa.statespace.structural import UnobservedComponents

    models = [
        UnobservedComponents(series, "llevel")
        for series in room.surface_c
        if np.isfinite(series).any()
    ]
    began_s = now_s()
    for model in models:
        model.loglike([0.03**2, 0.02**2])
    return now_s() - began_s


def rules_s(room: Room) -> dict[str, float]:
    """Each simple rule over the whole room."""
    costs = {}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        for name, rule in ON_PROBES.items():
            began_s = now_s()
            rule(room)
            costs[name] = now_s() - began_s
    return costs


def exponent(costs: Sequence[Cost]) -> float:
    """The power of the number of bags that a run's time grows with."""
    bags = np.log([cost.bags for cost in costs])
    return float(np.polyfit(bags, np.log([cost.total_s for cost in costs]), 1)[0])


def draw(days: float, folder: Path) -> Path:
    """A room of 48 bags of the first family that lasts so many days."""
    write_folder(make_room(replace(FIRST, days=days), SEED), folder)
    return folder


def main(arguments: Sequence[str]) -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.cost", description=__doc__)
    parser.add_argument("folder", nargs="?", type=Path, metavar="FOLDER")
    parser.add_argument("--bags", nargs="*", type=int, default=[48, 1000, 10000])
    parser.add_argument("--days", nargs="*", type=float, default=[12.0, 37.0, 70.0])
    told = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory(prefix="bagwatt-cost-") as scratch:
        folder = told.folder or draw(12.0, Path(scratch) / "12")
        print(HEADER)
        room = in_its_own_process(whole_room, folder)
        print(room.row(f"{room.bags} bags, {folder.name}"))
        for days in told.days:
            if days != 12.0 or told.folder:
                long = in_its_own_process(whole_room, draw(days, Path(scratch) / f"{days:g}"))
                print(long.row(f"{long.bags} bags, {days:g} days"), flush=True)
        many = []
        for bags in told.bags:
            many.append(in_its_own_process(copied_room, folder, bags))
            print(many[-1].row(f"{many[-1].bags} bags, 9 h of day 10"), flush=True)
        if len(many) > 1:
            print(f"\ntime grows with bags to the power of {exponent(many):.2f}")
        for cost in many:
            print(f"{cost.bags} bags: {cost.resident_mib:.1f} MiB more while they ran")
        seen = read_room(folder)
        others = {"local level by statsmodels": kalman_s(seen), **rules_s(seen)}
        print("\n| beside the whole run | s | the judge is so many times as dear |\n|---|---|---|")
        for name, cost_s in others.items():
            print(f"| {name} | {cost_s:.3f} | {room.total_s / cost_s:.0f} |")


if __name__ == "__main__":
    main(sys.argv[1:])
