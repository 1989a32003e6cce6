"""What growers say of their rooms, put on the whole road in °F with the strains as shipped.

Every figure here is common practice in the trade, no source.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from monitor.assemble import build_road, plan_of
from monitor.book.events import BY_WORD, noted
from monitor.replay import settings_for
from monitor.review.curves import expected_of, full_run_h
from monitor.review.outcomes import End, endings
from monitor.runner import Step, run, with_closes
from monitor.settings.load import load_strains
from monitor.sources.units import to_si
from monitor.terms import DAY_S, HOUR_S, AlarmKind, Quantity, Reason, Transition
from monitor.thermal.growth import curve
from monitor.values import AlarmEvent, Bag, BookEntry, Probe, Reading
from monitor.words import sentences

CONFIG = Path(__file__).resolve().parent.parent / "config"
STRAINS = load_strains(CONFIG)
START_S = 1_768_176_000.0
AIR_F = 71.5
LAG_H = 2.5
HOT = "B06"  # the sixth at the hood, the third on the upper shelf
OF_BAGS = {AlarmKind.HOT_BAG, AlarmKind.STALLED_BAG, AlarmKind.OVERHEATING, AlarmKind.LOT_APART}
#: °F over the air of its shelf, by the age in hours.
Warmth = Callable[[float], float]


def air_f(age_h: float, lag_h: float = 0.0) -> float:
    """The room's day, or what is left of it behind a lag."""
    turn = 2.0 * np.pi / 24.0
    swing_f = 0.5 / np.hypot(1.0, turn * lag_h)
    return AIR_F + float(swing_f * np.sin(turn * age_h - np.arctan(turn * lag_h)))


@dataclass(frozen=True)
class Grown:
    """What grows in a bag of the room."""

    strain: str
    warmth_f: Warmth

    def read_f(self, age_h: float) -> float:
        return air_f(age_h, LAG_H) + self.warmth_f(age_h)


def bell(peak_f: float, peak_h: float, offset_f: float, wide_h: float = 20.0) -> Warmth:
    """A bell with a plateau behind it; not the judge's curve."""

    def warmth_f(age_h: float) -> float:
        z = (age_h - peak_h) / wide_h
        plateau = 0.22 * 0.5 * (1.0 + math.erf(z / math.sqrt(2.0)))
        return offset_f + peak_f * (math.exp(-0.5 * z * z) + plateau)

    return warmth_f


def grown_of(
    strain: str, peak_f: float, peak_h: float, wide_h: float = 20.0, seed: int = 2
) -> list[Grown]:
    """Twelve bags that differ as those of one session do."""
    random = np.random.default_rng(seed)
    return [
        Grown(
            strain,
            bell(
                peak_f * random.normal(1.0, 0.07),
                peak_h * random.normal(1.0, 0.05),
                random.normal(0.9, 0.12),
                wide_h,
            ),
        )
        for _ in range(12)
    ]


def named(grown: Iterable[Grown]) -> dict[str, Grown]:
    return {f"B{place:02d}": one for place, one in enumerate(grown, start=1)}


def bags_of(grown: Mapping[str, Grown]) -> dict[str, Bag]:
    """One after the other at the hood, in turn onto two shelves."""
    return {
        code: Bag(
            code, "b", grown[code].strain, "", START_S, 2.3, "R1",
            1 + place % 2, 1 + place // 2, "p-" + code, sequence=place,
        )
        for place, code in enumerate(grown)
    }  # fmt: skip


def readings(grown: Mapping[str, Grown], hours: int, by_hand: bool = False) -> Iterator[Reading]:
    """Each ten minutes by probes; by hand at eight and at twenty o'clock."""
    random = np.random.default_rng(9)
    for at in range(6 * hours):
        at_s = START_S + 600.0 * at + 60.0

        def one(probe: str, read_f: float, bag: str = "", at_s: float = at_s) -> Reading:
            value_c = to_si(read_f, "degF", Quantity.TEMPERATURE)
            return Reading(probe, Quantity.TEMPERATURE, value_c, at_s, at_s, bag=bag)

        for shelf in (1, 3):
            yield one(f"air-{shelf}", air_f(at / 6.0) + random.normal(0.0, 0.05))
        if by_hand and at % 144 in (48, 120):
            drift_f = random.normal(0.0, 0.4)
            for code, bag in grown.items():
                yield one("", bag.read_f(at / 6.0) + drift_f + random.normal(0.0, 0.4), code)
        elif not by_hand:
            for code, bag in grown.items():
                yield one("p-" + code, bag.read_f(at / 6.0) + random.normal(0.0, 0.08))


def called(grown: Mapping[str, Grown], hours: int, by_hand: bool = False) -> list[AlarmEvent]:
    """What is called of bags by the strains as they ship; asking to look again is no call."""
    probes = {f"air-{shelf}": Probe(f"air-{shelf}", "", "R1", shelf) for shelf in (1, 3)}
    found: list[AlarmEvent] = []

    def sink(step: Step) -> None:
        found.extend(step.outcome.events if step.outcome else ())

    road = build_road(settings_for(CONFIG), plan_of(bags_of(grown), probes))
    run(road, with_closes(readings(grown, hours, by_hand), 600.0), sink)
    return [
        one
        for one in found
        if one.kind in OF_BAGS
        and one.transition in (Transition.RAISED, Transition.URGENCY_CHANGED)
        and one.reason is not Reason.LOOK_AGAIN
    ]


def hotter(bag: Grown) -> Grown:
    """With heat that sets in on the fifth day: 5.2 °F once it stands."""
    return Grown(
        bag.strain,
        lambda age_h: bag.warmth_f(age_h) + 5.2 / (1.0 + math.exp((112.0 - age_h) / 5.0)),
    )


@cache
def with_one_hot(by_hand: bool = False) -> tuple[dict[str, Grown], list[AlarmEvent]]:
    grown = named(grown_of("GO-12", 3.3, 96.0))
    grown[HOT] = hotter(grown[HOT])
    return grown, called(grown, 156, by_hand)


@pytest.mark.parametrize("by_hand", [False, True])
def test_colonising_bags_of_72_to_77_f_at_the_surface_are_left_in_peace(by_hand: bool) -> None:
    grown = named(grown_of("GO-12", 3.5, 96.0))
    read_f = [bag.read_f(hour) for bag in grown.values() for hour in range(12, 240)]
    assert (min(read_f), max(read_f)) == pytest.approx((72.0, 77.0), abs=0.25)
    assert called(grown, 240, by_hand) == []


@pytest.mark.parametrize("by_hand", [False, True])
def test_a_bag_of_79_to_80_f_among_mates_of_75_is_called_and_no_other(by_hand: bool) -> None:
    """By hand twice a day a walk comes up to twelve hours later."""
    grown, found = with_one_hot(by_hand)
    hot_f = [grown[HOT].read_f(hour) for hour in range(120, 132)]
    mates_f = [bag.read_f(126) for code, bag in grown.items() if code != HOT]
    assert min(hot_f) > 78.8 and 79.4 < max(hot_f) < 80.0
    assert float(np.median(mates_f)) == pytest.approx(75.0, abs=0.5)
    assert {(one.kind, one.facts.bag) for one in found} == {(AlarmKind.HOT_BAG, HOT)}
    assert found[0].at_s <= START_S + (144.0 if by_hand else 132.0) * HOUR_S


def test_the_bags_beside_it_and_inoculated_right_after_it_are_suspects_though_less_warm() -> None:
    grown, (first, *_) = with_one_hot()
    suspects = {*first.facts.next_slot, *first.facts.next_inoculated[:1]}
    assert suspects == {"B04", "B08", "B07"}
    assert all(grown[code].read_f(126) < 76.0 for code in suspects)
    body = sentences(first, "F", UTC)[1]
    assert "B04 and B08 (next slot)" in body and "B07" in body.split("(next inoculated)")[0]


def test_an_oyster_fully_run_in_10_to_12_days_is_expected() -> None:
    grey = STRAINS.lookup("GO-12")
    assert grey.run_days[0] <= 10.0 and grey.run_days[1] >= 12.0
    days = full_run_h(expected_of(grey).draws(2000)) / 24.0
    assert float(np.mean((days > 10.0) & (days < 12.0))) > 0.05


def test_a_fast_strain_shows_its_growth_by_day_3_and_a_slow_one_does_not() -> None:
    """As settings expect it; a bag of the fast strain that shows none is called by day 4."""

    def worth_walks(name: str) -> float:
        """Warmth on day 3 in what is worth a walk."""
        strain, prior = STRAINS.lookup(name), STRAINS.lookup(name).prior
        warmth_k = curve(72.0, prior.peak_k, prior.peak_h, prior.rise_h, prior.keep)
        return float(warmth_k) / strain.least_excess_k

    assert worth_walks("AM-3") > 2.0 and worth_walks("SH-7") < 0.5
    grown = named(grown_of("AM-3", 4.0, 90.0))
    grown["B05"] = Grown("AM-3", lambda age_h: 0.9)
    found = called(grown, 120)
    assert {(one.kind, one.facts.bag) for one in found} == {(AlarmKind.STALLED_BAG, "B05")}
    assert found[0].reason is Reason.NEVER_WARMED
    assert found[0].at_s <= START_S + 4 * DAY_S


@pytest.mark.parametrize("by_hand", [False, True])
def test_a_slow_strain_beside_a_fast_one_on_day_6_is_no_fault(by_hand: bool) -> None:
    fast, slow = grown_of("AM-3", 4.0, 90.0), grown_of("SH-7", 1.6, 430.0, 130.0, 4)
    warmest_f = [float(np.median([bag.read_f(90) for bag in lot])) for lot in (fast, slow)]
    assert warmest_f[0] - warmest_f[1] > 3.5
    mixed = [bag for pair in zip(fast, slow, strict=True) for bag in pair]
    assert called(named(mixed), 150, by_hand) == []


@pytest.mark.parametrize("cause", ["yeast", "bacteria"])
def test_what_points_to_yeast_or_bacteria_can_be_written_and_counts_as_lost_to_it(
    cause: str,
) -> None:
    """Growth that stops at the bottom of a warm bag, a sour smell, a greasy exudate."""
    seen = noted(BY_WORD["inspected"], {"smell": "sour", "look": "bare bottom", "run": "60"})
    assert seen.detail == "smell sour; look bare bottom; run 60 %"
    gone = noted(BY_WORD["pulled"], {"cause": cause, "smell": "sour", "look": "greasy"}, True)
    entry = BookEntry(START_S + 6 * DAY_S, HOT, gone.event, gone.detail, gone.facts)
    bags = bags_of(named(grown_of("GO-12", 3.5, 96.0)))
    assert endings(bags, [entry], START_S + 9 * DAY_S, 30 * DAY_S)[HOT].end is End.BAD
