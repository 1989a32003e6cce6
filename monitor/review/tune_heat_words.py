"""A tuning of core limits as lines for a terminal, and as `strains.yaml` writes them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import tzinfo

from monitor.judge.strain import CoreLimit
from monitor.review.reach import NEAR_K
from monitor.review.tune_heat import HeatTuning, Limits
from monitor.review.tune_rows import Row
from monitor.review.tune_words import changing_lines, row_cells
from monitor.terms import DAY_S, HOUR_S
from monitor.words.quantities import counted, difference, temperature

HEADER = ("", "CORE LIMITS", "CALLED IN TIME", "FOR NOTHING", "PER 100 (80 %)", "WARNING",
          "COST/100 (80 %)")  # fmt: skip


def heat_rows(heat: HeatTuning, units: str, currency: str) -> list[tuple[str, ...]]:
    """Present, proposed and left out, under `HEADER`."""
    rows = [("present", heat.present)]
    if heat.proposed is not None and heat.proposed.thresholds.moved is not None:
        rows.append(("proposed", heat.proposed))
    cells = [_cells(name, row, units, currency) for name, row in rows]
    if len(rows) > 1 and heat.left_out is not None:
        cells.append(("one run left out", "", *_cells("", heat.left_out, units, currency)[2:]))
    return cells


def _cells(name: str, row: Row[Limits], units: str, currency: str) -> tuple[str, ...]:
    caught, *rest = row_cells(row, currency)
    none = row.caught + row.missed + row.cut_off == 0
    said = ", ".join(limit_words(one, units) for one in row.thresholds.limits)
    return (name, said, "no cooked bag" if none else caught, *rest)


def limit_words(limit: CoreLimit, units: str) -> str:
    """`32.0 °C 4 d`."""
    return f"{temperature(limit.core_c, units)} {lasting(limit.duration_s)}"


def lasting(length_s: float) -> str:
    """A limit's duration, as `strains.yaml` takes it too: whole where it can be."""
    for unit, size_s in (("d", DAY_S), ("h", HOUR_S)):
        if length_s >= size_s and length_s % size_s == 0:
            return f"{length_s / size_s:.0f} {unit}"
    return f"{length_s / 60:g} min"


def file_limits(limits: Sequence[CoreLimit]) -> list[tuple[str, str]]:
    """Core and duration of each limit as `strains.yaml` writes them."""
    return [(f"{one.core_c:g} C", lasting(one.duration_s)) for one in limits]


def heat_lines(heat: HeatTuning, units: str) -> list[str]:
    """What the figures stand on, what is proposed, and why it is no more."""
    near = heat.present.healthy + heat.cooked
    lines = []
    if not near:
        lines.append(
            "no core of a bag with a known end came within"
            f" {difference(NEAR_K, units)} of a limit: nothing speaks for or against them"
        )
    else:
        lines.append(
            f"{heat.cooked} cooked and {heat.present.healthy} healthy bags came near a limit;"
            f" {heat.as_warm} of the healthy ones went as warm as a cooked one"
        )
    if heat.saved:
        lines.append(
            f"{heat.saved} healthy bags were called and did not use a limit up: cooled in time or"
            " never in danger, they count neither way"
        )
    if heat.held:
        lines.append(
            f"the calls of {counted(heat.held, 'healthy bag', 'healthy bags')} were held back"
            " behind the room's alarm: nobody was told, they count neither way"
        )
    lines += [
        f"{bag} is booked as cooked, and no core near a limit was seen: is it the heat?"
        for bag in heat.unseen
    ]
    return [*lines, *_proposal(heat, units)] if near else lines


def _proposal(heat: HeatTuning, units: str) -> list[str]:
    choice, proposed = heat.choice, heat.proposed
    if choice is None or proposed is None:
        return ["without `costs` in monitor.yaml no limit is proposed"]
    if choice.why_little:
        return [f"{choice.why_little}; the present limits stay"]
    if choice.why_kept:
        return [f"the present limits stay: {choice.why_kept}"]
    if proposed.thresholds.moved is None:
        return ["the present limits are the ones to have"]
    index = proposed.thresholds.moved[0]
    old, new = (row.thresholds.limits[index] for row in (heat.present, proposed))
    return [
        f"proposed: {limit_words(new, units)} in place of {limit_words(old, units)}, the other"
        " limits as they are"
    ]


def heat_side_lines(heat: HeatTuning, units: str, zone: tzinfo) -> list[str]:
    """The bags that change sides, each with its little chart of core temperature."""
    if not heat.sides:
        return []
    return changing_lines(heat.sides, zone, lambda top_c: temperature(top_c, units), from_low=True)
