"""Three invented seasons at Quarry Lane as evidence with a known truth, without the model.

The judge's evidence is drawn, not judged: a healthy bag's log odds wander low; a strain may
have lively bags that stand off their cohort by up to half a degree for days with evidence
enough for a call under the shipped thresholds; a bad bag's heat grows until somebody pulls it.
For a lively strain the truth is that nothing under `LIVELY_K` is worth a walk.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from monitor.judge.probe_faults import ProbeFault
from monitor.review.account import Account, FrameAccount
from monitor.values import Bag, BookEntry, Evidence, Reason

DAY_S = 86400.0
FRAME_S = 600.0
LOOK_FRAMES = 12
FIRST_S = 1_767_600_000.0  # 2026-01-05T08:00:00Z, a Monday
NEEDED = float(np.log(100.0 / 0.5) + 1.0 + np.log(0.05))
LIVELY_K = 0.55


@dataclass(frozen=True)
class Season:
    """Rooms with the book of each, and what is so by (room, bag)."""

    accounts: list[Account]
    books: list[list[BookEntry]]
    truth: dict[tuple[int, str], str]


@dataclass(frozen=True)
class Plan:
    """How the seasons are drawn."""

    runs: int = 24
    bags: int = 48
    days: float = 12.0
    bad: float = 0.06
    lively: float = 0.25
    strain: str = "GO-12"
    untidy: bool = False
    noted: float = 1.0


@dataclass
class _Course:
    hot: np.ndarray
    excess_k: np.ndarray
    entries: list[BookEntry] = field(default_factory=list)
    kind: str = "healthy"
    left_s: float = np.inf


def season(seed: int, plan: Plan | None = None) -> Season:
    """Runs one after another, each an account of its own."""
    plan = plan or Plan()
    rng = np.random.default_rng(seed)
    accounts, books, truth = [], [], {}
    for run in range(plan.runs):
        start_s = FIRST_S + run * 14 * DAY_S
        looks = int(plan.days * DAY_S / FRAME_S / LOOK_FRAMES)
        courses = {
            f"GO12-{run * 100 + index:04d}": _draw(rng, plan, start_s, looks)
            for index in range(plan.bags)
        }
        for name, course in courses.items():
            truth[run, name] = course.kind
        accounts.append(_account(rng, plan, f"run {run}", start_s, courses))
        books.append(
            [
                BookEntry(one.at_s, name, one.event, one.detail)
                for name, course in courses.items()
                for one in course.entries
                if rng.random() < plan.noted
            ]
        )
    return Season(accounts, books, truth)


def _draw(rng: np.random.Generator, plan: Plan, start_s: float, looks: int) -> _Course:
    step_s = LOOK_FRAMES * FRAME_S
    wander = np.convolve(rng.normal(0.0, 1.0, looks + 11), np.ones(12) / 12**0.5, "valid")[:looks]
    hot = -3.0 + 0.9 * wander
    excess_k = 0.1 * np.abs(wander)
    course = _Course(hot, excess_k)
    hours = np.arange(looks) * 2.0
    done = BookEntry(start_s + plan.days * DAY_S, "", "outcome", "healthy")
    if rng.random() < plan.bad:
        onset_h = rng.uniform(50.0, 150.0)
        grown_k = rng.uniform(1.6, 4.0) / (1.0 + np.exp(-(hours - onset_h - 20.0) / 7.0))
        course.hot = np.maximum(hot, 0.0) * 0.3 + hot + 9.0 * grown_k
        course.excess_k = excess_k + grown_k
        course.kind = "bad"
        seen_s = start_s + (onset_h + rng.uniform(90.0, 160.0)) * 3600.0
        called = np.flatnonzero((course.hot >= NEEDED) & (course.excess_k >= 0.3))
        if len(called) and rng.random() < 0.3:  # somebody goes at once when it is called
            seen_s = min(seen_s, start_s + called[0] * step_s + rng.uniform(4.0, 20.0) * 3600.0)
        course.left_s = min(seen_s, start_s + plan.days * DAY_S)
        done = BookEntry(course.left_s, "", "pulled", "surely green mould")
    elif rng.random() < plan.lively:
        from_look = int(rng.integers(20, looks - 40))
        course.excess_k[from_look : from_look + 30] += rng.uniform(0.3, 0.45)
        course.hot[from_look : from_look + 30] += rng.uniform(8.0, 12.0)
        course.kind = "lively"
    course.entries.append(done)
    return course


def _account(
    rng: np.random.Generator, plan: Plan, name: str, start_s: float, courses: dict[str, _Course]
) -> Account:
    frames = []
    looks = len(next(iter(courses.values())).hot)
    bags = {bag: _bag(bag, plan.strain, start_s) for bag in courses}
    turn = {bag: number % LOOK_FRAMES for number, bag in enumerate(courses)}
    live = set(courses)
    for number in range(looks * LOOK_FRAMES):
        end_s = start_s + (number + 1) * FRAME_S
        gone = tuple(sorted(bag for bag in live if courses[bag].left_s < end_s))
        live -= set(gone)
        look, turns = divmod(number, LOOK_FRAMES)
        evidence = {
            bag: _evidence(rng, plan, bag, end_s, courses[bag], look)
            for bag in courses
            if bag in live and (turn[bag] == turns or number == 0)
        }
        silent = plan.untidy and number % 37 == 0
        faults = (
            (ProbeFault("p", next(iter(courses)), Reason.PROBE_STUCK, end_s, ""),) if silent else ()
        )
        frames.append(
            FrameAccount(
                end_s,
                evidence,
                bags=bags if number == 0 else {},
                gone=gone,
                faults=faults,
                budgets={plan.strain: 0.5} if number == 0 else {},
            )
        )
    return Account(name, tuple(frames))


def _evidence(
    rng: np.random.Generator, plan: Plan, bag: str, at_s: float, course: _Course, look: int
) -> Evidence:
    reason, excess_k = Reason.LIKE_ITS_COHORT, float(course.excess_k[look])
    if plan.untidy:
        reason = rng.choice([reason, Reason.HANDLED, Reason.NO_SIGNAL], p=[0.8, 0.1, 0.1])
    turned = plan.untidy and course.kind == "healthy"
    walked = plan.untidy and rng.random() < 0.3
    return Evidence(
        bag=bag, cohort="c", at_s=at_s,
        hot=float(course.hot[look]), stalled=float(course.hot[look]) if turned else -5.0,
        hot_needed=NEEDED, stalled_needed=NEEDED, peers=11,
        excess_k=None if reason is Reason.NO_SIGNAL else (-excess_k if turned else excess_k),
        reason=Reason(reason),
        walk_s=at_s - float(rng.uniform(0.0, 9000.0)) if walked else None,
    )  # fmt: skip


def _bag(name: str, strain: str, start_s: float) -> Bag:
    return Bag(name, "b", strain, "lot", start_s, 2.3, "R1", 1, 1)
