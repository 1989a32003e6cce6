"""The road built from settings: parameters, strains, and the plan of bags and probes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from monitor.judge.room import RoomParams
from monitor.road import Plan, Road, RoadParams
from monitor.settings.schema import ProbeSettings, Settings
from monitor.values import Bag, Probe


def build_road(settings: Settings | None, plan: Plan) -> Road:
    """A road at its beginning; without settings every strain is the generic one."""
    if settings is None:
        return Road(RoadParams(), plan)
    room = settings.room
    params = RoadParams(
        frame_s=settings.frames.length_s,
        room=RoomParams(
            band_low_c=room.band_low_c,
            band_high_c=room.band_high_c,
            band_hold_s=room.band_hold_s,
            slope_limit_k_per_h=room.slope_limit_k_per_h,
        ),
    )
    return Road(params, plan, settings.strains.lookup)


def with_offsets(
    probes: Mapping[str, Probe], known: Mapping[str, ProbeSettings]
) -> dict[str, Probe]:
    """The probes with the offset and calibration date that settings give them."""
    return {
        name: replace(
            probe,
            offset_k=known[name].offset_k,
            calibrated=str(known[name].calibrated or ""),
        )
        if name in known
        else probe
        for name, probe in probes.items()
    }


def plan_of(bags: Mapping[str, Bag], probes: Mapping[str, Probe]) -> Plan:
    """A plan with a place for every probe that a bag's own row names."""
    joined = dict(probes)
    for bag in bags.values():
        if bag.probe and bag.probe not in joined:
            joined[bag.probe] = Probe(bag.probe, bag.bag, bag.rack, bag.shelf)
    return Plan(dict(bags), joined)
