"""Rooms with a known truth of what heat does, drawn as cores without the model."""

from __future__ import annotations

import numpy as np

from monitor.judge.strain import CoreLimit, Strain
from monitor.review.account import Account, FrameAccount
from monitor.review.outcomes import endings
from monitor.review.reach import Reach
from monitor.review.tune import Room
from monitor.values import Bag, BookEntry, Evidence, Reason

DAY_S, HOUR_S, FRAME_S = 86400.0, 3600.0, 600.0
START_S = 1_767_600_000.0
LIMITS = (
    CoreLimit(31.5, 96 * HOUR_S),
    CoreLimit(36.0, 24 * HOUR_S),
    CoreLimit(40.0, 0.5 * HOUR_S),
)


class AnyStrain(dict[str, Strain]):
    """Every strain has these limits."""

    def __init__(self, limits: tuple[CoreLimit, ...]) -> None:
        super().__init__()
        self.limits = limits

    def __missing__(self, name: str) -> Strain:
        return Strain(name, core_limits=self.limits)


def frame(
    end_s: float, cores_c: dict[str, float], come: dict[str, Bag], gone: tuple[str, ...] = ()
) -> FrameAccount:
    """A frame in which nothing but the heat matters."""
    said = {
        name: Evidence(name, "c", end_s, -3.0, -3.0, 5.0, 5.0, 5, 0.0, Reason.LIKE_ITS_COHORT)
        for name in come
    }
    return FrameAccount(end_s, said, core_c=cores_c, bags=come, gone=gone)


def bag(name: str, inoculated_s: float = START_S) -> Bag:
    return Bag(name, "b", "GO-12", "lot", inoculated_s, 2.3, "R1", 1, 1)


#: The truth of the drawn strain: a day over this harms it; its present lowest limit is too low.
TRUE_C, TRUE_S = 34.0, 24 * HOUR_S


def season(
    seed: int, runs: int, bags: int, limits: tuple[CoreLimit, ...], book: bool = True
) -> tuple[list[Room], dict[str, float]]:
    """Rooms whose bags peak somewhere between 28 and 37 °C for some days; those that were over
    `TRUE_C` for `TRUE_S` are booked as cooked two days after. Nobody was told of any."""
    draw = np.random.default_rng(seed)
    rooms, tops = [], {}
    for run in range(runs):
        start_s = START_S + run * 20 * DAY_S
        warm_c = 30.0 + 6.5 * run / max(runs - 1, 1)
        names = [f"R{run}B{number}" for number in range(bags)]
        courses, entries = {}, []
        hours = np.arange(1, 12 * 24 * 6 + 1) / 6.0
        for name in names:
            top_c = warm_c + draw.normal(0.0, 1.0)
            at_h, wide_h = draw.uniform(90.0, 120.0), draw.uniform(28.0, 36.0)
            course = 22.0 + (top_c - 22.0) * np.exp(
                -((np.abs(hours - at_h) / wide_h) ** draw.choice([2, 4]))
            )
            over = np.flatnonzero(course >= TRUE_C)
            cooked = len(over) * FRAME_S >= TRUE_S
            courses[name], tops[name] = course, top_c
            end_h = hours[over[-1]] + 48.0 if cooked else 280.0
            event, detail = ("pulled", "surely heat") if cooked else ("outcome", "healthy")
            entries.append(BookEntry(start_s + end_h * HOUR_S, name, event, detail))
        reach = Reach()
        frames = []
        for number in range(len(hours)):
            end_s = start_s + (number + 1) * FRAME_S
            now = {name: float(course[number]) for name, course in courses.items()}
            kept = reach.step(end_s, now, lambda name: min(one.core_c for one in limits) - 4.0)
            come = {n: bag(n, start_s) for n in names} if number == 0 else {}
            frames.append(frame(end_s, kept, come))
        ends = endings(
            {n: bag(n, start_s) for n in names}, entries if book else [], start_s + 13 * DAY_S,
            12 * DAY_S,
        )  # fmt: skip
        rooms.append(Room(Account(f"run {run}", tuple(frames)), ends, {}))
    return rooms, tops
