"""Which probes can't be trusted: the rules put to every probe beside the others of its kind."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from statistics import median
from typing import NamedTuple

from monitor.judge.fallen import Follows
from monitor.judge.probe_rules import (
    LEAST_HELD,
    Company,
    FaultParams,
    impossible_since,
    is_stuck,
    rests_long,
    silent_since,
)
from monitor.judge.swings import Swings
from monitor.judge.tracks import Track
from monitor.values import Probe, Quantity, Reason

#: Faults that say what a probe told of its bag was never so; one that fell silent told the truth.
FALSE_WITNESS = frozenset(
    {
        Reason.PROBE_STUCK,
        Reason.PROBE_FELL_OFF,
        Reason.PROBE_JUMPED,
        Reason.PROBE_UNIT_SLIP,
        Reason.PROBE_IMPOSSIBLE,
    }
)
#: A failing battery spoils readings little by little long before they are plainly impossible:
#: the nine motes of the Intel Berkeley lab (2004) were off for 12 to 24 h. So for a day before
#: nothing it told is believed, and for a day after. A loose wire spoils nothing before: what it
#: makes of a reading is flagged from the first and never reached the model.
DYING_S = 86400.0
_Found = tuple[Reason, float, str]


class Watched(NamedTuple):
    """A probe of the plan, one quantity of it, and what is remembered of that."""

    probe: str
    quantity: Quantity
    place: Probe
    track: Track

    @property
    def on_bag(self) -> bool:
        return not self.place.in_air and self.quantity is Quantity.TEMPERATURE


@dataclass(frozen=True, slots=True)
class ProbeFault:
    """A probe that can't be trusted, since when, and in one phrase why.

    `drifted` if it told wrong values as sound ones before, little by little.
    """

    probe: str
    bag: str
    reason: Reason
    since_s: float
    detail: str
    quantity: Quantity = Quantity.TEMPERATURE
    drifted: bool = False


def distrusted(
    faults: Iterable[ProbeFault], plan: Mapping[str, Probe]
) -> tuple[frozenset[str], frozenset[str]]:
    """The probes at fault and the bags that are left without any probe to trust."""
    probes = frozenset(fault.probe for fault in faults)
    sound = {place.bag for name, place in plan.items() if place.bag and name not in probes}
    bags = frozenset(plan[name].bag for name in probes if name in plan and plan[name].bag)
    return probes, bags - sound


def misled(faults: Iterable[ProbeFault], apart: frozenset[str]) -> dict[str, float]:
    """Since when [s] what was read of each bag of `apart` was never so."""
    since_s: dict[str, float] = {}
    for fault in faults:
        if fault.bag in apart and fault.reason in FALSE_WITNESS:
            began_s = fault.since_s
            if fault.drifted:
                began_s -= DYING_S
            since_s[fault.bag] = min(began_s, since_s.get(fault.bag, began_s))
    return since_s


@dataclass(frozen=True, slots=True)
class Moment:
    """What every probe is judged against at a frame's end."""

    end_s: float
    frame_s: float
    began_s: float


def find_faults(
    watched: Sequence[Watched], moment: Moment, params: FaultParams
) -> tuple[ProbeFault, ...]:
    """The probes at fault, in the order of `watched`; notes each standing fault in its track."""

    @cache
    def company(in_air: bool, quantity: Quantity) -> Company:
        """The others of a kind, as they are before any of them moves on."""
        return _company(
            [one.track for one in watched if (one.place.in_air, one.quantity) == (in_air, quantity)]
        )

    faults: dict[str, ProbeFault] = {}
    for one in watched:
        track = one.track
        found = _of_any_probe(one, company, moment, params)
        if found is None and one.on_bag:
            found = _of_bag_probe(track, moment, params)
        if found is None:
            if track.fault:
                track.fault, track.fault_detail = "", ""
            continue
        if track.fault != found[0].value:
            track.fault, track.fault_since_s, track.fault_detail = found
        faults.setdefault(
            one.probe,
            ProbeFault(
                probe=one.probe,
                bag=one.place.bag,
                reason=found[0],
                since_s=track.fault_since_s,
                detail=track.fault_detail,
                quantity=one.quantity,
                drifted=found[0] is Reason.PROBE_IMPOSSIBLE and _drifted(track, moment),
            ),
        )
    return tuple(faults.values())


def _drifted(track: Track, moment: Moment) -> bool:
    """Whether a probe told of late what no bag can do. Where its last sound reading had no
    surroundings to be held against nobody can tell, and the worst is taken."""
    if _lied_lately(track, moment):
        return True
    return bool(track.recent) and (not track.gaps or track.gaps[-1][0] < track.recent[-1][0])


def _lied_lately(track: Track, moment: Moment) -> bool:
    return track.lied_s is not None and moment.end_s - track.lied_s < DYING_S


def note_gaps(tracks: Iterable[Track], end_s: float, params: FaultParams) -> None:
    """Keep how far each bag probe is from its surroundings: the middle of all bag probes,
    or where they are under four the lagged air."""
    seen = [track for track in tracks if track.recent and track.recent[-1][0] == end_s]
    values = [track.recent[-1][1] for track in seen]
    middle_c = median(values) if len(values) >= 4 else None
    for track in seen:
        _, value_c, air_c = track.recent[-1]
        around_c = track.lagged_c if middle_c is None and air_c is not None else middle_c
        if around_c is not None:
            track.gaps.append((end_s, value_c - around_c))
            while track.gaps[0][0] < end_s - params.climb_s:
                del track.gaps[0]


def follow_air(
    follows: Follows,
    swings: Swings,
    bags: Iterable[Watched],
    end_s: float,
    params: FaultParams,
) -> None:
    """Weigh for every bag probe whether it still follows its bag or by now the air: frame by
    frame, and by how it has swung of late."""
    tracks: list[Track] = []
    probes: list[str] = []
    values_c: list[float] = []
    airs_c: list[float] = []
    moves: list[bool] = []
    for one in bags:
        track = one.track
        at_s, value_c, air_c = track.recent[-1] if track.recent else (None, 0.0, None)
        if at_s == end_s and air_c is not None:
            tracks.append(track)
            probes.append(one.probe)
            values_c.append(value_c)
            airs_c.append(air_c)
            moves.append(track.held_count < LEAST_HELD or track.held_s < params.stuck_least_s / 2)
    if tracks:
        lagged_c, fell_s = follows.step(end_s, probes, values_c, airs_c, moves)
        for probe, track, since_s in zip(probes, tracks, fell_s, strict=True):
            if since_s is None and track.fell_s is not None:
                # back on its bag: how it swung while it was off tells nothing of it now
                swings.forget(probe)
        swings_s = swings.step(end_s, probes, values_c, airs_c, moves)
        for place, track in enumerate(tracks):
            track.fell_s, track.swings_s = fell_s[place], swings_s[place]
            track.lagged_c = lagged_c[place]
            track.note_lagged_air(track.lagged_c)


def _company(members: list[Track]) -> Company:
    shares = [
        track.change_share
        for track in members
        if track.changes_seen >= 30 and track.change_share is not None
    ]
    running = sorted(track.held_s for track in members)
    longest_s = max(track.longest_s for track in members)
    if len(running) >= 5:
        longest_s = max(longest_s, running[-3])
    share = median(shares) if shares else 0.0
    readings = median(track.changes_seen for track in members)
    return Company(share, longest_s, len(shares), readings)


def _of_any_probe(
    one: Watched,
    company: Callable[[bool, Quantity], Company],
    moment: Moment,
    params: FaultParams,
) -> _Found | None:
    """Faults any probe may have: silence first, then what its words are worth."""
    track = one.track
    since_s = silent_since(track, moment.end_s, moment.began_s, params)
    if since_s is not None:
        return Reason.PROBE_SILENT, since_s, "no reading"
    if track.slip.full and track.slip.since_s is not None:
        return Reason.PROBE_UNIT_SLIP, track.slip.since_s, "reads like °F taken as °C"
    if track.bad.full and track.bad.since_s is not None:
        return Reason.PROBE_IMPOSSIBLE, track.bad.since_s, "values no room reaches"
    humid = one.quantity is Quantity.HUMIDITY
    if rests_long(track, params) and is_stuck(
        track, company(one.place.in_air, one.quantity), humid, params
    ):
        value = f"{track.held:.1f} {'%RH' if humid else '°C'}"
        return Reason.PROBE_STUCK, track.held_since_s, f"reads {value} unchanged"
    return None


def _of_bag_probe(track: Track, moment: Moment, params: FaultParams) -> _Found | None:
    """Faults of a probe that should follow a bag and not the air."""
    impossible = impossible_since(track, params)
    if impossible is not None:
        track.lied_s = moment.end_s
        return Reason.PROBE_IMPOSSIBLE, *impossible
    if track.lied_s is not None and _lied_lately(track, moment):
        return Reason.PROBE_IMPOSSIBLE, track.lied_s, "told what no bag can do under a day ago"
    if track.fell_s is not None:
        since_s = track.fell_s
        if track.jumped_s is not None and abs(since_s - track.jumped_s) <= 6 * moment.frame_s:
            since_s = min(since_s, track.jumped_s)
        return Reason.PROBE_FELL_OFF, since_s, "follows the air and not the bag"
    if track.swings_s is not None:
        return Reason.PROBE_FELL_OFF, track.swings_s, "has swung with the air as no bag does"
    if track.jumped_s is not None and moment.end_s - track.jumped_s <= params.jump_stands_s:
        moved = f"moved {track.jumped_k:+.1f} K faster than a bag can"
        return Reason.PROBE_JUMPED, track.jumped_s, moved
    return None
