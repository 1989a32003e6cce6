"""A tuning as lines for a terminal: the table, the proposal, the bags that change sides."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime, tzinfo
from typing import Any

from monitor.review.outcomes import End
from monitor.review.scan import Thresholds
from monitor.review.tune import Tuning
from monitor.review.tune_rows import Row, Side
from monitor.terms import HOUR_S
from monitor.words.quantities import counted, difference

_BARS = "▁▂▃▄▅▆▇█"
SPARK_CELLS = 32
#: Bags that change sides which are shown one by one.
SIDES_SHOWN = 20
HEADER = ("", "LEAST", "FALSE/100", "HOLD", "CAUGHT", "FALSE CALLS", "PER 100 (80 %)", "WARNING",
          "COST/100 (80 %)")  # fmt: skip


def headline(tuning: Tuning, zone: tzinfo) -> str:
    """What the figures stand on."""
    first, last = (day(at_s, zone) for at_s in tuning.span_s)
    left = {end: count for end, count in tuning.ends.items() if count}
    parts = [f"{count} {end}" for end, count in sorted(left.items(), key=lambda one: -one[1])]
    bags, runs = counted(tuning.bags, "bag", "bags"), counted(tuning.runs, "run", "runs")
    return f"{tuning.strain}: {bags} in {runs}, {first} to {last}: {', '.join(parts)}"


def table_rows(tuning: Tuning, units: str, currency: str) -> list[tuple[str, ...]]:
    """Shipped, present, proposed and left out, under `HEADER`."""
    rows = [("shipped", tuning.shipped), ("present", tuning.present)]
    if tuning.proposed is not None:
        rows.append(("proposed", tuning.proposed))
    cells = [_cells(name, row, units, currency) for name, row in rows]
    if tuning.left_out is not None:
        one = _cells("one run left out", tuning.left_out, units, currency)
        cells.append((one[0], "", "", "", *one[4:]))
    return cells


def _cells(name: str, row: Row[Thresholds], units: str, currency: str) -> tuple[str, ...]:
    return (name, *threshold_words(row.thresholds, units), *row_cells(row, currency))


def row_cells(row: Row[Any], currency: str) -> tuple[str, str, str, str, str]:
    """Caught, called for nothing, their rate, hours of warning and cost, as a table shows them."""
    known = row.caught + row.missed
    caught = f"{row.caught} of {known}" + (f" + {row.cut_off} cut off" if row.cut_off else "")
    rate = "-"
    if row.healthy:
        rate = (
            f"{100.0 * row.false / row.healthy:.1f} ({row.false_low:.1f} to {row.false_high:.1f})"
        )
    cost = "-"
    if row.cost is not None:
        cost = f"{currency}{row.cost:.0f}"
        if row.cost_low is not None and row.cost_high is not None:
            cost += f" ({row.cost_low:.0f} to {row.cost_high:.0f})"
    return (
        caught if known + row.cut_off else "no bad bag",
        f"{row.false} of {row.healthy}",
        rate,
        "-" if row.warning_h is None else f"{row.warning_h:.0f} h",
        cost,
    )


def threshold_words(one: Thresholds, units: str) -> tuple[str, str, str]:
    """Least excess, budget and hold, as a table shows them."""
    hold_h = one.hold_s / HOUR_S
    return (
        difference(one.least_excess_k, units),
        f"{one.false_calls_per_100:g}",
        f"{hold_h:g} h" if hold_h >= 1 or hold_h == 0 else f"{60 * hold_h:.0f} min",
    )


def file_values(one: Thresholds) -> dict[str, str]:
    """The thresholds as `strains.yaml` writes them."""
    whole_h = one.hold_s % HOUR_S == 0
    hold = f"{one.hold_s / HOUR_S:.0f} h" if whole_h else f"{one.hold_s / 60:g} min"
    return {
        "least_excess": f"{one.least_excess_k:g} K",
        "false_calls_per_100": f"{one.false_calls_per_100:g}",
        "hold": hold,
    }


def proposal_lines(tuning: Tuning, units: str) -> list[str]:
    """What is proposed, how far it may be trusted, and why it is no more."""
    choice, proposed = tuning.choice, tuning.proposed
    if choice is None or proposed is None:
        return [
            "nothing is proposed: say under `costs` in monitor.yaml what a lost bag, a needless"
            " walk and a day beside a bad bag cost you"
        ]
    if choice.why_little:
        return [f"{choice.why_little}; the shipped thresholds are proposed until there is more"]
    if choice.why_kept:
        return [f"the shipped thresholds are proposed: {choice.why_kept}"]
    if proposed.thresholds == tuning.present.thresholds:
        return ["the present thresholds are the ones to have: nothing is to be changed"]
    least, budget, hold = threshold_words(proposed.thresholds, units)
    calls = "call" if budget == "1" else "calls"
    lines = [f"proposed: least excess {least}, {budget} false {calls} per 100, held {hold}"]
    share = f"{100.0 * choice.trust:.0f} %"
    lines.append(
        f"it goes {share} of the way from the shipped thresholds to what fits these runs best"
    )
    if tuning.left_out is not None and tuning.left_out.cost is not None and proposed.cost:
        lines.append(
            "held against runs it was not fitted to, such a choice costs"
            f" {tuning.left_out.cost:.0f} per 100 bags where it promises {proposed.cost:.0f}"
        )
    return lines


def side_lines(tuning: Tuning, units: str, zone: tzinfo) -> list[str]:
    """The bags that change sides, each with its little chart of excess."""
    if tuning.proposed is None or not tuning.sides:
        return []
    return changing_lines(tuning.sides, zone, lambda top_k: difference(top_k, units))


def changing_lines(
    sides: Sequence[Side], zone: tzinfo, in_words: Callable[[float], str], from_low: bool = False
) -> list[str]:
    """Bags that change sides; `in_words` tells the top of a course, which is drawn from nothing
    or, with `from_low`, from its own lowest."""
    some = "1 bag changes sides:" if len(sides) == 1 else f"{len(sides)} bags change sides:"
    width = max(len(f"{one.room} {one.bag}") for one in sides[:SIDES_SHOWN])
    lines = [
        f"  {f'{one.room} {one.bag}'.ljust(width)}  "
        f"{spark(one, min(one.course, default=0.0) if from_low else 0.0)}  "
        f"{side_words(one, zone, in_words)}"
        for one in sides[:SIDES_SHOWN]
    ]
    more = len(sides) - SIDES_SHOWN
    return [some, *lines, *([f"  and {more} more: see --json"] if more > 0 else [])]


def side_words(one: Side, zone: tzinfo, in_words: Callable[[float], str]) -> str:
    """How far a bag went, what became of it, and what would change."""
    top = in_words(max((abs(value) for value in one.course), default=0.0))
    if one.present_s is not None:
        change = f"called {day(one.present_s, zone)} at present, not as proposed"
    else:
        change = f"not called at present, {day(one.proposed_s or 0.0, zone)} as proposed"
    return f"up to {top}, {one.end}: {change}"


def spark(one: Side, foot: float = 0.0) -> str:
    """A course over time in eight heights, from `foot` to its own top."""
    if not one.at_s:
        return " " * SPARK_CELLS
    first, last = one.at_s[0], one.at_s[-1]
    tops = [0.0] * SPARK_CELLS
    for at_s, value in zip(one.at_s, one.course, strict=True):
        place = min(int((at_s - first) / max(last - first, 1.0) * SPARK_CELLS), SPARK_CELLS - 1)
        tops[place] = max(tops[place], abs(value) - foot)
    most = max(*tops, 1e-9)
    return "".join(_BARS[min(int(top / most * len(_BARS)), len(_BARS) - 1)] for top in tops)


def doubt_lines(tuning: Tuning, strangers: Sequence[str]) -> list[str]:
    """What in the book does not count, and why."""
    lines = [f"{bag} is set aside: {why}" for bag, why in tuning.contradictions]
    lines += [f"{bag} is set aside: pulled before it could show" for bag in tuning.too_early]
    if strangers:
        named = ", ".join(strangers[:5])
        bags = counted(len(strangers), "bag", "bags")
        lines.append(f"the book tells of {bags} it does not have: {named}")
    known = sum(count for end, count in tuning.ends.items() if end not in _UNTOLD)
    if not known:
        lines.append(
            "nothing is written of what became of these bags: `bagwatt bag` enters it; until then"
            " nothing can be told"
        )
    elif tuning.ends.get(End.UNKNOWN):
        count = tuning.ends[End.UNKNOWN]
        bags = counted(count, "bag", "bags")
        lines.append(f"what became of {bags} nobody wrote: neither good nor bad is counted there")
    return lines


_UNTOLD = frozenset({End.UNKNOWN, End.RUNNING, End.CONTRADICTED})


def day(at_s: float, zone: tzinfo) -> str:
    """A day as the table writes it."""
    return datetime.fromtimestamp(at_s, zone).strftime("%Y-%m-%d")
