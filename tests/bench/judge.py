"""How good the judge is: product and simple rules on the same rooms, in one run.

    python -m tests.bench.judge FOLDER... [--rooms first:20 second:20] [--jobs 2]

Folders are in the replay format with `truth.json` beside. `--rooms FAMILY:COUNT[:SEED]` draws
invented rooms (see demo/rooms.py), from seed 1000 on unless told. `--keep DIR` keeps rooms and
what replay wrote; `--config DIR` are settings for the replay; `--rules-only` leaves it out.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from time import perf_counter

from demo.command import parser_for, some_folder
from demo.folder import write_folder
from demo.kinds import NAMES, draw_room
from tests.bench.folders import Room, estimates, read_calls, read_room
from tests.bench.rules import ON_PROBES, ON_WALKS
from tests.bench.scoring import Call, Interval, Score, score_room

PRODUCT = "bagwatt"
FIRST_SEED = 1000
LEAST_HEAT_W_PER_KG = 0.15
ONE_HOUR_IN = 6


@dataclass(frozen=True)
class Job:
    """One room to judge: a folder that is there, or one to be drawn first."""

    group: str
    folder: Path
    out: Path
    family: str = ""
    seed: int = 0
    config: Path | None = None
    replay: bool = True


@dataclass
class Result:
    """What one room, or a group of them, came to."""

    scores: dict[str, Score] = field(default_factory=dict)
    heat: Interval = field(default_factory=Interval)
    core: Interval = field(default_factory=Interval)
    rooms: int = 0
    seconds: float = 0.0
    blamed: list[str] = field(default_factory=list)

    def __iadd__(self, other: Result) -> Result:
        for name, score in other.scores.items():
            self.scores.setdefault(name, Score()).__iadd__(score)
        self.heat += other.heat
        self.core += other.core
        self.rooms += other.rooms
        self.seconds += other.seconds
        self.blamed += other.blamed
        return self


def compare_estimates(result: Result, folder: Path, out: Path, room: Room) -> None:
    """Heat and core beside the truth, every sixth hour of bags whose probe was sound.

    Heat below 0.15 W/kg is left out: a share of next to nothing tells nothing.
    """
    if not (folder / "truth_hourly.csv.gz").exists():
        return
    sound = {truth.bag for truth in room.truths if not truth.probe_fault}
    true = {
        (at_s, bag): (float(row["heat_w_per_kg"]), float(row["core_c"]))
        for at_s, bag, row in estimates(folder / "truth_hourly.csv.gz")
        if at_s // 3600 % ONE_HOUR_IN == 0
    }
    for at_s, bag, row in estimates(out / "estimates.csv.gz"):
        if bag not in sound or (at_s, bag) not in true or not row["heat_w_per_kg"]:
            continue
        heat, core_c = true[at_s, bag]
        if heat < LEAST_HEAT_W_PER_KG:
            continue
        estimate, low, high = (float(row[n]) for n in ("heat_w_per_kg", "heat_low", "heat_high"))
        result.heat.add(estimate, low, high, heat, relative=True)
        if row["core_c"]:
            estimate, low, high = (float(row[n]) for n in ("core_c", "core_low_c", "core_high_c"))
            result.core.add(estimate, low, high, core_c, relative=False)


def blame(room: Room, calls: Sequence[Call], score: Score) -> list[str]:
    """Good bags called and bad ones missed, by name, for those who look for the reason."""
    kinds = {truth.bag: truth for truth in room.truths}
    named = sorted(
        f"{call.subject} called {call.what} at {call.at_s:.0f}"
        for call in calls
        if call.subject in kinds and kinds[call.subject].healthy
    )
    return named + [f"{bag} missed" for bag in score.missed]


def judge_room(job: Job) -> Result:
    """Draw the room if it is an invented one, replay it, score product and simple rules."""
    from monitor.replay import replay_folder  # the rules alone need nothing of the product

    if job.family:
        write_folder(draw_room(job.family, job.seed), job.folder)
    room = read_room(job.folder)
    result = Result(rooms=1)
    if job.replay:
        began_s = perf_counter()
        replay_folder(job.folder, job.out, job.config)
        result.seconds = perf_counter() - began_s
        calls = read_calls(job.out / "alarms.csv")
        score = result.scores[PRODUCT] = score_room(room.truths, calls)
        result.blamed = [f"{job.folder.name}: {line}" for line in blame(room, calls, score)]
        compare_estimates(result, job.folder, job.out, room)
    for name, rule in (ON_WALKS if room.walks else ON_PROBES).items():
        result.scores[name] = score_room(room.truths, rule(room))
    return result


def table(group: str, result: Result) -> str:
    """The group's table in Markdown."""
    any_score = next(iter(result.scores.values()))
    lines = [
        f"### {group}: {result.rooms} rooms, {any_score.healthy} healthy bags, "
        f"{any_score.with_heat} with added heat, {any_score.stalled} stalled",
        "",
        "| detector | false per 100 | found | median delay | called too early |",
        "|---|---|---|---|---|",
    ]
    for name, score in result.scores.items():
        delay = f"{score.median_delay_h:.1f} h" if score.delays_h else "–"
        lines.append(
            f"| {name} | {score.false_per_100:.2f} | {score.found_percent:.0f} % "
            f"| {delay} | {score.called_early} |"
        )
    if PRODUCT in result.scores:
        lines += ["", *product_lines(result, result.scores[PRODUCT])]
    return "\n".join(lines)


def product_lines(result: Result, score: Score) -> list[str]:
    """What only the product does: stalls, probes, stated intervals."""

    def share(part: int, whole: int) -> str:
        return f"{part} of {whole}" + (f" ({100 * part / whole:.0f} %)" if whole else "")

    lines = [
        f"- stalled bags found within 48 h: {share(score.stalls_found, score.stalled)}, "
        f"ever: {len(score.stall_delays_h)}; false per 100: {score.stall_false_per_100:.2f}",
        f"- probe faults named within 6 h: {share(score.probes_named, score.probe_faults)}; "
        f"their bags called hot or stalled: {score.probes_called_bag}",
        f"- replay: {result.seconds / max(result.rooms, 1):.1f} s a room",
    ]
    if result.heat.errors:
        lines += [
            f"- heat: median error {100 * result.heat.median_error:.0f} %, the 80 % interval "
            f"holds {result.heat.coverage_percent:.0f} % ({len(result.heat.errors)} bag-hours)",
            f"- core: median error {result.core.median_error:.2f} K, the 80 % interval "
            f"holds {result.core.coverage_percent:.0f} %",
        ]
    return lines


def plan(arguments: argparse.Namespace, keep: Path) -> list[Job]:
    """The jobs of a call; raises ValueError on a family nobody knows."""
    jobs = []
    for folder in arguments.folders:
        kind = "walks" if (folder / "walks.csv").exists() else "probes"
        group = f"{folder.resolve().parent.name}, {kind}"
        out = keep / "out" / folder.resolve().parent.name / folder.name
        jobs.append(Job(group, folder, out, config=arguments.config, replay=arguments.replay))
    for wanted in arguments.rooms:
        family, count, *rest = wanted.split(":")
        if family not in NAMES:
            raise ValueError(f"no family {family!r}; there are {', '.join(NAMES)}")
        first = int(rest[0]) if rest else FIRST_SEED
        for seed in range(first, first + int(count)):
            folder, out = keep / family / f"{seed}", keep / "out" / family / f"{seed}"
            jobs.append(Job(family, folder, out, family, seed, arguments.config, arguments.replay))
    return jobs


def parse(arguments: Sequence[str]) -> argparse.Namespace:
    parser = parser_for("tests.bench.judge", __doc__)
    parser.add_argument("folders", nargs="*", type=some_folder, metavar="FOLDER")
    parser.add_argument("--rooms", nargs="*", default=[], metavar="FAMILY:COUNT[:SEED]")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--config", type=Path)
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--rules-only", dest="replay", action="store_false")
    parser.add_argument("--names", action="store_true", help="name bags wrongly called or missed")
    told = parser.parse_args(arguments)
    if not told.folders and not told.rooms:
        parser.error("a FOLDER, or --rooms")
    return told


def judge_all(jobs: Sequence[Job], at_once: int) -> dict[str, Result]:
    """Results by group, in the order of the jobs; `at_once` of them in processes of their own."""
    groups: dict[str, Result] = {}
    with ExitStack() as stack:
        each = stack.enter_context(ProcessPoolExecutor(at_once)).map if at_once > 1 else map
        for job, result in zip(jobs, each(judge_room, jobs), strict=True):
            groups.setdefault(job.group, Result()).__iadd__(result)
    return groups


def main(arguments: Sequence[str]) -> int:
    """Judge all rooms and print a table for each group; exit code 2 on a wrong call."""
    told = parse(arguments)
    with tempfile.TemporaryDirectory(prefix="bagwatt-bench-") as scratch:
        try:
            jobs = plan(told, told.keep or Path(scratch))
        except ValueError as error:
            print(error, file=sys.stderr)
            return 2
        groups = judge_all(jobs, told.jobs)
    for group, result in groups.items():
        print(table(group, result), end="\n\n")
        if told.names:
            print("\n".join(result.blamed), end="\n\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
