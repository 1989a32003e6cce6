"""Which probes can't be trusted: the rules put to every probe beside the others of its kind."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from statistics import median

from monitor.judge.probe_rules import (
    Company,
    FaultParams,
    copied_share,
    fell_since,
    impossible_since,
    is_stuck,
    near_air,
    silent_since,
)
from monitor.judge.tracks import Track
from monitor.values import Probe, Quantity, Reason

_Found = tuple[Reason, float, str]
Key = tuple[str, Quantity]


@dataclass(frozen=True, slots=True)
class ProbeFault:
    """A probe that can't be trusted, since when, and in one phrase why."""

    probe: str
    bag: str
    reason: Reason
    since_s: float
    detail: str


def distrusted(
    faults: Iterable[ProbeFault], plan: Mapping[str, Probe]
) -> tuple[frozenset[str], frozenset[str]]:
    """The probes at fault and the bags that are left without any probe to trust."""
    probes = frozenset(fault.probe for fault in faults)
    sound = {place.bag for name, place in plan.items() if place.bag and name not in probes}
    bags = frozenset(plan[name].bag for name in probes if name in plan and plan[name].bag)
    return probes, bags - sound


@dataclass(frozen=True, slots=True)
class Moment:
    """What every probe is judged against at a frame's end."""

    end_s: float
    frame_s: float
    began_s: float
    room: tuple[tuple[float, float], ...]


def find_faults(
    tracks: Mapping[Key, Track], plan: Mapping[str, Probe], moment: Moment, params: FaultParams
) -> tuple[ProbeFault, ...]:
    """The probes at fault, sorted by name; notes each standing fault in its track."""
    companies = _companies(tracks, plan, moment)
    shares = {
        key: copied_share(track, moment.frame_s, params)
        for key, track in tracks.items()
        if _on_bag(key, plan)
    }
    known = [share for share in shares.values() if share is not None]
    usual_share = median(known) if len(known) >= 3 else 0.2
    faults: dict[str, ProbeFault] = {}
    for key in sorted(tracks):
        name, quantity = key
        if name not in plan:
            continue
        track = tracks[key]
        company = companies[(plan[name].in_air, quantity)]
        found = _of_any_probe(track, quantity, company, moment, params)
        if found is None and _on_bag(key, plan):
            found = _of_bag_probe(track, shares[key], usual_share, moment, params)
        if found is None:
            track.fault, track.fault_detail = "", ""
            continue
        if track.fault != found[0].value:
            track.fault, track.fault_since_s, track.fault_detail = found
        fault = ProbeFault(name, plan[name].bag, found[0], track.fault_since_s, track.fault_detail)
        faults.setdefault(name, fault)
    return tuple(faults[name] for name in sorted(faults))


def _on_bag(key: Key, plan: Mapping[str, Probe]) -> bool:
    place = plan.get(key[0])
    return place is not None and not place.in_air and key[1] is Quantity.TEMPERATURE


def _companies(
    tracks: Mapping[Key, Track], plan: Mapping[str, Probe], moment: Moment
) -> dict[tuple[bool, Quantity], Company]:
    shares: dict[tuple[bool, Quantity], list[float]] = {
        (in_air, quantity): [] for in_air in (True, False) for quantity in Quantity
    }
    for (name, quantity), track in tracks.items():
        if name in plan and track.changes_seen >= 30 and track.change_share is not None:
            shares[(plan[name].in_air, quantity)].append(track.change_share)
    return {
        kind: Company(median(values) if values else 0.0, moment.room, len(values))
        for kind, values in shares.items()
    }


def _of_any_probe(
    track: Track, quantity: Quantity, company: Company, moment: Moment, params: FaultParams
) -> _Found | None:
    """Faults any probe may have: silence first, then what its words are worth."""
    humid = quantity is Quantity.HUMIDITY
    since_s = silent_since(track, moment.end_s, moment.began_s, params)
    if since_s is not None:
        return Reason.PROBE_SILENT, since_s, "no reading"
    if track.slip.full and track.slip.since_s is not None:
        return Reason.PROBE_UNIT_SLIP, track.slip.since_s, "reads like °F taken as °C"
    if track.bad.full and track.bad.since_s is not None:
        return Reason.PROBE_IMPOSSIBLE, track.bad.since_s, "values no room reaches"
    if is_stuck(track, moment.end_s, company, humid, params):
        value = f"{track.held:.1f} {'%RH' if humid else '°C'}"
        return Reason.PROBE_STUCK, track.held_since_s, f"reads {value} unchanged"
    return None


def _of_bag_probe(
    track: Track, share: float | None, usual_share: float, moment: Moment, params: FaultParams
) -> _Found | None:
    """Faults of a probe that should follow a bag and not the air."""
    since_s = impossible_since(track, params)
    if since_s is not None:
        return Reason.PROBE_IMPOSSIBLE, since_s, "further over the air than a bag can be"
    if _fell(track, share, usual_share, params):
        since_s = fell_since(track, moment.frame_s)
        if track.jumped_s is not None and since_s - track.jumped_s <= 6 * moment.frame_s:
            since_s = min(since_s, track.jumped_s)
        return Reason.PROBE_FELL_OFF, since_s, "follows every tick of the air"
    if track.jumped_s is not None and moment.end_s - track.jumped_s <= params.jump_stands_s:
        moved = f"moved {track.jumped_k:+.1f} K faster than a bag can"
        return Reason.PROBE_JUMPED, track.jumped_s, moved
    return None


def _fell(track: Track, share: float | None, usual_share: float, params: FaultParams) -> bool:
    if track.fault == Reason.PROBE_FELL_OFF.value:
        return share is None or share > params.copies_no_more
    gap = near_air(track)
    return (
        share is not None
        and gap is not None
        and share > params.copies
        and share - usual_share > params.copies_over_peers
        and abs(gap) <= params.fallen_near_k
    )
