"""What the judge costs, beside a Kalman filter and the simple rules on the same readings.

    python -m tests.bench.cost [FOLDER] [--bags 48 1000 10000] [--days 12 37 70]

Processor time of one process. FOLDER is in the replay format (without one a room of the first
family is drawn). *Readings* is the checks as they come, *judge* the evidence, *rest* frames,
probes at fault, local air, room and alarms; a step is the close of one frame.

Each run is a fresh process that takes its items from a file, frame by frame, so that its memory
is the road's: *held* is what is resident beyond the interpreter and its modules when the run is
over, *peak* the most there was of it on the way. A run that begins from a saved state has that
state in its peak, as a watch that starts does.

Rooms of more bags are the drawn room with the same bags again under other names, each copy with
cohorts of its own, from the ninth day on: what was remembered is copied, then the frames of
nine hours are closed. The Kalman filter is a local level for each bag, once over its frames.
"""

from __future__ import annotations

import ctypes
import gc
import math
import multiprocessing
import pickle
import sys
import tempfile
import time
import warnings
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import IO, Any

import numpy as np

from demo.command import parser_for, some_folder
from demo.folder import write_folder
from demo.rooms import FIRST, make_room
from monitor.assemble import build_road, plan_of
from monitor.replay import followed, merged
from monitor.road import Plan, Road
from monitor.runner import Close, Item, take, with_closes
from monitor.sources.folder import read_folder
from tests.bench.copies import Copies
from tests.bench.folders import Room, read_room
from tests.bench.meter import resident_mib
from tests.bench.rules import ON_PROBES

FRAME_S, DAY_S = 600.0, 86400.0
SEED = 7
COPIED_AFTER_D, COPIED_FRAMES = 9.0, 54
now_s = time.process_time


@dataclass
class Cost:
    """Processor time of one run [s] by part and of each step, and memory beyond the bare
    process's [MiB]."""

    bags: int
    readings_s: float = 0.0
    judge_s: float = 0.0
    steps_s: list[float] = field(default_factory=list)
    held_mib: float = 0.0
    peak_mib: float = 0.0

    @property
    def total_s(self) -> float:
        return self.readings_s + sum(self.steps_s)

    def row(self, name: str) -> str:
        """The table's row; a step's times are in ms."""
        median, p99 = (1e3 * float(np.percentile(self.steps_s, q)) for q in (50, 99))
        return (
            f"| {name} | {self.readings_s:.2f} | {self.judge_s:.2f} "
            f"| {sum(self.steps_s) - self.judge_s:.2f} | {self.total_s:.2f} "
            f"| {100 * self.judge_s / self.total_s:.0f} % "
            f"| {median:.2f} | {p99:.1f} | {1e3 * max(self.steps_s):.1f} "
            f"| {self.held_mib:.1f} | {self.peak_mib:.1f} |"
        )


HEADER = (
    "| run | readings s | judge s | rest s | all s | judge of all "
    "| step: median ms | p99 | most | held MiB | peak |\n"
    "|---|---|---|---|---|---|---|---|---|---|---|"
)


def drive(road: Road, frames: Iterable[Sequence[Item]], cost: Cost) -> None:
    """Put the items of each frame on the road and add to `cost` what each part took."""
    road._judge.step = timed(road._judge.step, cost)  # type: ignore[method-assign]
    for items in frames:
        began_s = now_s()
        for item in items[:-1]:
            take(road, item)
        closing_s = now_s()
        take(road, items[-1])
        cost.readings_s += closing_s - began_s
        cost.steps_s.append(now_s() - closing_s)


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


def write_run(path: Path, plan: Plan, state: Any, items: Iterable[Item]) -> None:
    """Lay a run down in `path`: its plan, the state it begins from or None, its frames."""
    with path.open("wb") as file:
        pickle.dump((plan, state), file)
        frame: list[Item] = []
        for item in items:
            frame.append(item)
            if isinstance(item, Close):
                pickle.dump(frame, file)
                frame = []


def _frames_in(file: IO[bytes]) -> Iterator[list[Item]]:
    while True:
        try:
            frame: list[Item] = pickle.load(file)
        except EOFError:
            return
        yield frame


def run_of(path: Path) -> Cost:
    """The run that `write_run` laid down, and what it took of time and memory."""
    before_mib = resident_mib()
    with path.open("rb") as file:
        plan, state = pickle.load(file)
        cost = Cost(len(plan.bags))
        road = build_road(None, plan)
        if state is not None:
            road.restore(state)
            del state
        drive(road, _frames_in(file), cost)
    # not ru_maxrss: a child begins with its parent's, kept over the exec
    cost.peak_mib = resident_mib(what="VmHWM") - before_mib
    gc.collect()
    ctypes.CDLL(None).malloc_trim(0)  # what is free but not given back is not held
    cost.held_mib = resident_mib() - before_mib
    return cost


def write_whole(folder: Path, path: Path) -> None:
    """All of a folder as a run."""
    plan, items = read_items(folder)
    write_run(path, plan, None, items)


def write_copied(folder: Path, bags: int, path: Path) -> None:
    """`COPIED_FRAMES` frames of a room with `bags` bags or a few more, after nine days of it."""
    plan, items = read_items(folder)
    road = build_road(None, plan)
    closes = [place for place, item in enumerate(items) if isinstance(item, Close)]
    frames = int(COPIED_AFTER_D * DAY_S / FRAME_S)
    first, last = closes[frames] + 1, closes[frames + COPIED_FRAMES] + 1
    for item in items[:first]:
        take(road, item)
    copies = Copies.of(plan, math.ceil(bags / len(plan.bags)))
    state = copies.state(road.state(), len(plan.bags))
    write_run(path, copies.plan, state, copies.items(items[first:last]))


def in_its_own_process(work: Callable[..., Any], *given: Any) -> Any:
    """What `work` gives in a fresh process, so that no run warms or fills another's memory."""
    with multiprocessing.get_context("spawn").Pool(1) as pool:
        return pool.apply(work, given)


def measured(path: Path, write: Callable[..., None], *given: Any) -> Cost:
    """What the run costs that `write(*given, path)` lays down, each in a process of its own."""
    in_its_own_process(write, *given, path)
    cost: Cost = in_its_own_process(run_of, path)
    path.unlink()
    return cost


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


def print_beside(whole: Cost, others: dict[str, float]) -> None:
    """How many times what each of `others` takes [s] the judge takes alone, and the road."""
    print("\n| on the same room | s | the judge takes so many times that | the whole road |")
    print("|---|---|---|---|")
    for name, cost_s in others.items():
        judge, road = whole.judge_s / cost_s, whole.total_s / cost_s
        print(f"| {name} | {cost_s:.3f} | {judge:.0f} | {road:.0f} |")


def main(arguments: Sequence[str]) -> None:
    """Print the tables."""
    parser = parser_for("tests.bench.cost", __doc__)
    parser.add_argument("folder", nargs="?", type=some_folder, metavar="FOLDER")
    parser.add_argument("--bags", nargs="*", type=int, default=[48, 1000, 10000])
    parser.add_argument("--days", nargs="*", type=float, default=[12.0, 37.0, 70.0])
    told = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory(prefix="bagwatt-cost-") as scratch:
        run = Path(scratch) / "run"
        folder = told.folder or draw(12.0, Path(scratch) / "12")
        print(HEADER)
        whole = measured(run, write_whole, folder)
        print(whole.row(f"{whole.bags} bags, {folder.name}"), flush=True)
        for days in told.days:
            if days != 12.0 or told.folder:
                long = measured(run, write_whole, draw(days, Path(scratch) / f"{days:g}"))
                print(long.row(f"{long.bags} bags, {days:g} days"), flush=True)
        many = []
        for bags in told.bags:
            many.append(measured(run, write_copied, folder, bags))
            print(many[-1].row(f"{many[-1].bags} bags, 9 h of day 10"), flush=True)
        if len(many) > 1:
            print(f"\ntime grows with bags to the power of {exponent(many):.2f}")
        room = read_room(folder)
        print_beside(whole, {"local level by statsmodels": kalman_s(room), **rules_s(room)})


if __name__ == "__main__":
    main(sys.argv[1:])
