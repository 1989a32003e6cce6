"""Gathers what a night is told from: out of the store here, out of a replay by its driver.

Readings are streamed into bins as they come; of a night of a thousand probes no more is held
than when each of them spoke. Of a night whose readings were thrown away the store still has the
means of ten minutes.
"""

from __future__ import annotations

import math
from array import array
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import tzinfo
from itertools import pairwise

from monitor.review.night import level_of
from monitor.review.night_nouns import Heard, Level, NightData, Series
from monitor.review.nights import Window, same_window_before
from monitor.road import Plan
from monitor.settings.schema import Settings
from monitor.store import Reader, Rollup, Version
from monitor.terms import HOUR_S, LEAVES
from monitor.values import AlarmEvent, Bag, BookEntry, Flag, Probe, Quantity

#: Air from before the window, with the night before in it: what a climb is compared with.
LEAD_S = 26 * HOUR_S
COMPARED_NIGHTS = 7
#: How far back a cohort's peak is looked for, and in what steps: those that are kept for a year.
EARLIER_STEPS, EARLIER_STEP_S = 40, 6 * HOUR_S
EVENTS_BACK_S = 14 * 24 * HOUR_S
HANDLED_S = 36 * HOUR_S
#: Late readings arrive after the window's end.
LATE_S = 2 * HOUR_S
_AIR_BIN_S, _SURFACE_BIN_S = 15.0, 600.0
ROLLED_S = 600.0
#: Why a reading was doubted is thrown away with it.
UNNAMED_DOUBT = "for some reason"
_SHORT_SILENCE_S = 300.0
#: A late reading is a true one; any other flag keeps a value out of the numbers.
_SOUND = frozenset({Flag.LATE})
#: What says nothing on when a probe spoke.
_UNTIMED = frozenset({Flag.DUPLICATE, Flag.RETAINED, Flag.FUTURE, Flag.TIME_UNKNOWN})


class _Bins:
    """Running means of one probe."""

    def __init__(self, step_s: float) -> None:
        self._step_s = step_s
        self._sums: dict[int, list[float]] = {}

    def add(self, at_s: float, value: float, weight: float = 1.0) -> None:
        both = self._sums.setdefault(math.floor(at_s / self._step_s), [0.0, 0.0])
        both[0] += value * weight
        both[1] += weight

    def series(self) -> Series:
        """(middle of the bin, mean) in order of time."""
        return tuple(
            ((number + 0.5) * self._step_s, total / count)
            for number, (total, count) in sorted(self._sums.items())
        )


class Gathering:
    """Takes the readings of one window and of the hours before it.

    `rolled`: some are known as means of ten minutes only, so all are taken as such.
    """

    def __init__(
        self, window: Window, plan: Plan, lead_s: float = LEAD_S, *, rolled: bool = False
    ) -> None:
        self.window = window
        self._plan = plan
        self._from_s = window.start_s - lead_s
        step_s = ROLLED_S if rolled else _AIR_BIN_S
        self._air: defaultdict[str, _Bins] = defaultdict(lambda: _Bins(step_s))
        self._humidity: defaultdict[str, _Bins] = defaultdict(lambda: _Bins(step_s))
        self._surface: defaultdict[str, _Bins] = defaultdict(lambda: _Bins(_SURFACE_BIN_S))
        self._times: defaultdict[str, array[float]] = defaultdict(lambda: array("d"))
        self._counts: Counter[str] = Counter()
        self._doubts: dict[str, Counter[str]] = {}

    def take(
        self,
        probe: str,
        quantity: Quantity,
        value: float,
        measured_s: float | None,
        flags: tuple[Flag, ...],
    ) -> None:
        """One reading, its value corrected by the probe's offset; a hand's has no probe."""
        place = self._plan.probes.get(probe)
        if place is None or measured_s is None:
            return
        if not self._from_s <= measured_s < self.window.end_s:
            return
        inside = measured_s >= self.window.start_s
        if inside:
            if not flags or not _UNTIMED.intersection(flags):
                self._times[probe].append(measured_s)
                self._counts[probe] += 1
            if flags:
                self._doubts.setdefault(probe, Counter()).update(flag.value for flag in flags)
        if not flags or _SOUND.issuperset(flags):
            self._add(probe, place, quantity, measured_s, value, 1.0)

    def take_mean(self, slot: Rollup) -> None:
        """Ten minutes of a probe; within them nobody knows any more when it was silent."""
        place = self._plan.probes.get(slot.probe)
        middle_s = slot.at_s - ROLLED_S / 2
        if place is None or not self._from_s <= middle_s < self.window.end_s:
            return
        if middle_s >= self.window.start_s:
            self._counts[slot.probe] += slot.count + slot.doubted
            self._times[slot.probe].extend((slot.at_s - ROLLED_S, middle_s, slot.at_s))
            if slot.doubted:
                self._doubts.setdefault(slot.probe, Counter())[UNNAMED_DOUBT] += slot.doubted
        if slot.mean is not None:
            value = slot.mean + _offset_k(place, slot.quantity)
            self._add(slot.probe, place, slot.quantity, middle_s, value, slot.count)

    def _add(
        self, probe: str, place: Probe, quantity: Quantity, at_s: float, value: float, weight: float
    ) -> None:
        if quantity is Quantity.HUMIDITY:
            self._humidity[probe].add(at_s, value, weight)
        elif place.in_air:
            self._air[probe].add(at_s, value, weight)
        elif at_s >= self.window.start_s:
            self._surface[place.bag].add(at_s, value, weight)

    def air_c(self) -> dict[str, Series]:
        return _told(self._air)

    def humidity(self) -> dict[str, Series]:
        return _told(self._humidity)

    def surface_c(self) -> dict[str, Series]:
        return _told(self._surface)

    def heard(self) -> dict[str, Heard]:
        """When each probe of the plan was heard inside the window."""
        return {
            probe: Heard(
                count=self._counts[probe],
                silences=self._silences(sorted(self._times.get(probe, ()))),
                doubts=dict(sorted(self._doubts.get(probe, Counter()).items())),
            )
            for probe in sorted(self._plan.probes)
        }

    def _silences(self, times: Sequence[float]) -> tuple[Window, ...]:
        marks = (self.window.start_s, *times, self.window.end_s)
        return tuple(
            Window(one, later) for one, later in pairwise(marks) if later - one > _SHORT_SILENCE_S
        )

    def level(self) -> Level | None:
        """The air's level in the window, if it was heard for half of it at least."""
        air = self.air_c()
        found = {math.floor(at_s / HOUR_S) for series in air.values() for at_s, _ in series}
        enough = len(found) * HOUR_S >= self.window.length_s / 2
        return level_of(air, self.window) if enough else None


def _offset_k(place: Probe, quantity: Quantity) -> float:
    return place.offset_k if quantity is Quantity.TEMPERATURE else 0.0


def _told(bins: Mapping[str, _Bins]) -> dict[str, Series]:
    return {name: bins[name].series() for name in sorted(bins)}


def nights_before(window: Window, zone: tzinfo) -> tuple[Window, ...]:
    """The same hours of the seven nights before."""
    return tuple(
        same_window_before(window, nights, zone) for nights in range(1, COMPARED_NIGHTS + 1)
    )


def earlier_hours(window: Window) -> tuple[float, ...]:
    """The full hours before the window whose estimates tell a cohort's peak."""
    last = math.ceil(window.start_s / EARLIER_STEP_S) - 1
    return tuple(number * EARLIER_STEP_S for number in range(last - EARLIER_STEPS + 1, last + 1))


def handled_of(entries: Iterable[BookEntry], window: Window) -> dict[str, str]:
    """By bag, what was last done to it: lately, or for good."""
    handled: dict[str, str] = {}
    for entry in sorted(entries, key=lambda one: one.at_s):
        if entry.at_s < window.end_s:
            lately = entry.at_s >= window.start_s - HANDLED_S
            if lately or entry.event in LEAVES:
                handled[entry.bag] = entry.event
            else:
                handled.pop(entry.bag, None)
    return handled


def gather_night(
    store: Reader, settings: Settings, plan: Plan, window: Window, zone: tzinfo
) -> NightData:
    """Everything of one night that the store holds; readings as re-stamped.

    `plan` are the bags and probes as the book has them now. Raises StoreError.
    """
    air = sorted(name for name, place in plan.probes.items() if place.in_air)
    means = _means(store, window)
    gathering = Gathering(window, plan, rolled=bool(means))
    lead = Window(window.start_s - LEAD_S, window.start_s)
    _stream(store, lead, gathering, plan, _means(store, lead, air), air)
    _stream(store, window, gathering, plan, means)
    before = []
    for night in nights_before(window, zone):
        one = Gathering(night, plan, 0.0)
        _stream(store, night, one, plan, _means(store, night, air), air)
        before.append(one.level())
    room = settings.room
    strains = {bag.strain for bag in plan.bags.values()}
    return NightData(
        window=window,
        band_c=(room.band_low_c, room.band_high_c),
        bags=plan.bags,
        probes=plan.probes,
        air_c=gathering.air_c(),
        humidity=gathering.humidity(),
        surface_c=gathering.surface_c(),
        heard=gathering.heard(),
        estimates=tuple(store.estimates(window.start_s, window.end_s)),
        earlier=tuple(
            judged for hour_s in earlier_hours(window) for judged in store.estimates(hour_s, hour_s)
        ),
        events=_events(store, window),
        peak_h={name: settings.strains.lookup(name).prior.peak_h for name in sorted(strains)},
        before=tuple(level for level in before if level is not None),
        handled=handled_of([one.entry for one in store.entries() if not one.struck], window),
        rolled=bool(means),
    )


def book_then(store: Reader, window: Window) -> tuple[dict[str, Bag], dict[str, Probe]]:
    """Bags and probes as the book had them at the window's end; what was entered later, as then."""
    bags = {name: one for name, one in _then(store, "bag", window) if isinstance(one, Bag)}
    probes = {name: one for name, one in _then(store, "probe", window) if isinstance(one, Probe)}
    return bags, probes


def gather_span(store: Reader, span: Window) -> tuple[Gathering, dict[str, Bag], dict[str, Probe]]:
    """Any stretch of time in means of ten minutes, with bags and probes as the book had them."""
    bags, probes = book_then(store, span)
    plan = Plan(bags, probes)
    gathering = Gathering(span, plan, 0.0, rolled=True)
    _stream(store, span, gathering, plan, _means(store, span))
    return gathering, bags, probes


def _then(store: Reader, kind: str, window: Window) -> list[tuple[str, object]]:
    found: dict[str, Version] = {}
    for version in store.history(kind):
        if version.name not in found or version.at_s <= window.end_s:
            found[version.name] = version
    return [(name, version.now) for name, version in sorted(found.items())]


def _means(store: Reader, stretch: Window, probes: Sequence[str] | None = None) -> list[Rollup]:
    """What is left of readings of the stretch that were thrown away; read before those that
    are not, so that none is taken twice."""
    found = store.rollups(stretch.start_s, stretch.end_s + ROLLED_S, probes)
    return [slot for slot in found if slot.probe and stretch.holds(slot.at_s - ROLLED_S / 2)]


def _stream(
    store: Reader,
    stretch: Window,
    gathering: Gathering,
    plan: Plan,
    means: Sequence[Rollup],
    probes: Sequence[str] | None = None,
) -> None:
    """Put what arrived in a stretch, and shortly after it, into the gathering.

    What was measured outside the stretch is another one's, so that nothing is taken twice.
    """
    for slot in means:
        gathering.take_mean(slot)
    after_id, last_id = store.span(stretch.start_s, stretch.end_s + LATE_S)
    flags = store.span_flags(after_id, last_id)
    for number, probe, _, quantity, value, measured_s in store.span_rows(after_id, last_id, probes):
        place = plan.probes.get(probe)
        if place is not None and measured_s is not None and stretch.holds(measured_s):
            corrected = value + _offset_k(place, quantity)
            gathering.take(probe, quantity, corrected, measured_s, flags.get(number, ()))


def _events(store: Reader, window: Window) -> tuple[AlarmEvent, ...]:
    """Events that tell of the window's alarms, with the beginnings of those that stood long."""
    recent = store.events(window.start_s - EVENTS_BACK_S, until_s=window.end_s)
    ids = {event.event_id for event in recent}
    old = [
        event
        for alarm in store.standing()
        for event in store.alarm_history(alarm.raised.alarm_id)
        if event.event_id not in ids and event.at_s <= window.end_s
    ]
    return (*sorted(old, key=lambda event: event.at_s), *recent)
