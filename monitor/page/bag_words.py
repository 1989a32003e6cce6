"""A bag's numbers as facts to read, and its courses as pictures, in a person's degrees."""

from __future__ import annotations

from datetime import tzinfo
from typing import Any

from markupsafe import Markup

from monitor.page.bag import BagView, Point
from monitor.page.chart import Band, Line, chart
from monitor.values import AlarmEvent, BookEntry, Estimate, Evidence
from monitor.words import difference, duration, moment, one_line, temperature
from monitor.words.quantities import odds, watts_per_kg

HOURS_LISTED = 24


def bag_values(view: BagView, units: str, zone: tzinfo, now_s: float) -> dict[str, Any]:
    """What the template of a bag needs beside the view."""
    return {
        "facts": _facts(view, units, zone, now_s),
        "picture": Markup(_picture(view.course, units, zone)),  # chart escapes
        "evidence_picture": Markup(_evidence(view, zone)),
        "hours": list(reversed(view.course[-HOURS_LISTED:])),
        "happenings": _happenings(view, units, zone),
    }


def _facts(view: BagView, units: str, zone: tzinfo, now_s: float) -> list[tuple[str, str]]:
    facts: list[tuple[str, str]] = []
    if view.estimate is not None:
        facts += _estimated(view.estimate, units)
    if view.evidence is not None:
        facts += _judged(view.evidence, units)
    bag = view.bag
    place = (("rack", bag.rack), ("shelf", bag.shelf), ("slot", bag.slot))
    told = ", ".join(f"{name} {value}" for name, value in place if value not in (None, ""))
    facts.append(("Stands", told if view.in_room else f"no longer in the room ({told})"))
    facts.append(
        ("Strain and lot", " · ".join(part for part in (bag.strain, bag.spawn_lot) if part))
    )
    age_s = now_s - bag.inoculated_s
    ago = f"{duration(age_s)} ago" if age_s >= 0 else "still to come"
    facts.append(("Inoculated", f"{moment(bag.inoculated_s, zone, now_s)}, {ago}"))
    facts.append(("Mass", f"{bag.mass_kg:g} kg"))
    return facts


def _estimated(estimate: Estimate, units: str) -> list[tuple[str, str]]:
    facts = []
    if estimate.surface_c is not None:
        facts.append(("Surface", temperature(estimate.surface_c, units)))
    if estimate.local_air_c is not None:
        facts.append(("Air beside it", temperature(estimate.local_air_c, units)))
    if estimate.core_c is not None:
        core = f"about {temperature(estimate.core_c, units)}"
        if estimate.core_low_c is not None and estimate.core_high_c is not None:
            low, high = (temperature(t, units) for t in (estimate.core_low_c, estimate.core_high_c))
            core += f", 80 % between {low} and {high}"
        facts.append(("Core, estimated", core))
    if estimate.heat_w_per_kg is not None:
        facts.append(("Heat it makes", watts_per_kg(estimate.heat_w_per_kg)))
    return facts


def _judged(evidence: Evidence, units: str) -> list[tuple[str, str]]:
    facts = []
    if evidence.excess_k is not None:
        side = "over" if evidence.excess_k >= 0 else "under"
        by = difference(abs(evidence.excess_k), units)
        explain = "1 mate explains" if evidence.peers == 1 else f"{evidence.peers} mates explain"
        facts.append(("Beside its cohort", f"{by} {side} what {explain}"))
    facts.append(("The judge says", evidence.reason.value))
    cold = evidence.stalled > evidence.hot
    what = "the missing heat is real" if cold else "the added heat is real"
    facts.append(("Evidence", odds(evidence.stalled if cold else evidence.hot, what)))
    return facts


def _picture(points: tuple[Point, ...], units: str, zone: tzinfo) -> str:
    def course(name: str) -> list[tuple[float, float | None]]:
        return [(point.at_s, _shown(getattr(point, name), units)) for point in points]

    lines = [
        Line("air", course("air_c")),
        Line("explained", course("explained_c")),
        Line("surface", course("surface_c")),
    ]
    band = Band("mates", course("band_low_c"), course("band_high_c"))
    title = f"Surface, air and what the cohort explains over four days in °{units}"
    return chart(title, lines, [band], zone)


def _shown(value_c: float | None, units: str) -> float | None:
    if value_c is None:
        return None
    return value_c * 1.8 + 32.0 if units == "F" else value_c


def _evidence(view: BagView, zone: tzinfo) -> str:
    found = [(point.at_s, point.evidence) for point in view.course]
    lines = [Line("surface", found)]
    if view.evidence is not None and found:
        needed = view.evidence.hot_needed
        lines.append(Line("needed", [(at_s, needed) for at_s, _ in found]))
    return chart("Evidence of added heat, log odds, over four days", lines, [], zone, 6.0)


def _happenings(view: BagView, units: str, zone: tzinfo) -> list[tuple[float, str]]:
    def line(one: AlarmEvent | BookEntry) -> tuple[float, str]:
        if isinstance(one, AlarmEvent):
            return one.at_s, one_line(one, units, zone)
        return one.at_s, f"{one.event}: {one.detail}" if one.detail else one.event

    both: list[AlarmEvent | BookEntry] = [*view.events, *view.entries]
    return sorted((line(one) for one in both), reverse=True)
