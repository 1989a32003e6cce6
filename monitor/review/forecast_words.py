"""A forecast in a grower's words: what to expect, and what the trade does about it."""

from __future__ import annotations

from datetime import datetime, tzinfo

from monitor.judge.strain import CoreLimit
from monitor.review.forecast import BatchForecast, DayForecast, Forecast, ShelfForecast, Span
from monitor.terms import DAY_S
from monitor.words.quantities import (
    a_degree_or_two,
    counted,
    duration,
    moment,
    temperature,
    temperatures,
)

#: Eight hours' mean at work, the limit in most countries (OSHA, NIOSH, EU list): ppm.
WORKPLACE_PPM = 5000.0
#: A cooler worked above this share has nothing left for a warm day.
NEAR_COOLING = 0.9
_MOST_SHELVES = 6


def forecast_lines(found: Forecast, units: str, zone: tzinfo) -> list[str]:
    """The whole forecast, line by line; ranges hold 80 %."""
    if not found.batches:
        return ["No bag stands in the book: nothing to forecast."]
    lines = ["Batches (ranges hold 80 %; the air stays as it was):"]
    for one in found.batches:
        lines += [f"  {line}" for line in _batch(one, found.at_s, units, zone)]
    lines += ["", "Shelves, those nearest their limit first:"]
    lines += [f"  {_shelf(one, found.at_s, units, zone)}" for one in found.shelves[:_MOST_SHELVES]]
    lines += ["", "Heat of all bags standing now" + _cooling(found) + ":"]
    lines += [f"  {_day(one, zone)}" for one in found.days]
    lines += ["", "Suggested:"]
    return [*lines, *(f"  - {one}" for one in suggestions(found, units, zone))]


def _batch(one: BatchForecast, now_s: float, units: str, zone: tzinfo) -> list[str]:
    learned = counted(one.runs, "finished run", "finished runs") if one.runs else "settings alone"
    if one.hot_until_s < now_s:
        heat = f"its hottest is over since {moment(one.hot_until_s, zone, now_s)}"
    else:
        span = f"{_day_of(one.peak_s.low, zone)} to {_day_of(one.peak_s.high, zone)}"
        heat = (
            f"hottest {moment(one.hot_from_s, zone, now_s)} to "
            f"{moment(one.hot_until_s, zone, now_s)} (peak {span}), core then "
            f"{_temperatures(one.core_c, units)}, {_limit(one.limit, units)}"
        )
    full = "full run noted" if one.full_run_noted else _full_run(one, now_s, zone)
    return [
        f"{one.batch}: {counted(one.bags, 'bag', 'bags')}; {heat}",
        f"    heat back to the air about {_day_of(one.heat_over_s.middle, zone)}; {full}; "
        f"curve from {learned} and {counted(one.readings, 'look', 'looks')} at this batch",
    ]


def _full_run(one: BatchForecast, now_s: float, zone: tzinfo) -> str:
    span = one.full_run_s
    if span.high < now_s:
        return f"full run was to be expected by {_day_of(span.high, zone)}: look at it"
    return (
        f"full run {_day_of(span.middle, zone)} ({_day_of(span.low, zone)} to "
        f"{_day_of(span.high, zone)})"
    )


def _shelf(one: ShelfForecast, now_s: float, units: str, zone: tzinfo) -> str:
    verdict = "MAY GET HOT" if one.hot else "keeps"
    bags = counted(one.bags, "bag", "bags")
    return (
        f"{verdict}: {place(one)}, {bags}, most heat {one.heat_w.middle:.0f} W "
        f"{moment(one.at_s, zone, now_s)}, core up to {_temperatures(one.core_c, units)}, "
        f"{_limit(one.limit, units)}"
    )


def place(one: ShelfForecast) -> str:
    """Rack and shelf in words."""
    parts = [f"rack {one.rack}" if one.rack else "", f"shelf {one.shelf}" if one.shelf else ""]
    return " ".join(part for part in parts if part) or "no place"


def _cooling(found: Forecast) -> str:
    watts = found.limits.cooling_w
    return "" if watts is None else f", against {watts:.0f} W of cooling"


def _day(one: DayForecast, zone: tzinfo) -> str:
    watts = one.heat_w
    text = (
        f"{_day_of(one.from_s, zone)}: {watts.middle:.0f} W ({watts.low:.0f} to {watts.high:.0f})"
    )
    if one.co2_ppm is not None:
        text += f", CO2 {one.co2_ppm.middle:,.0f} ppm (up to {one.co2_ppm.high:,.0f})"
    return text


def suggestions(found: Forecast, units: str, zone: tzinfo) -> list[str]:
    """What the trade does about what is to come; common practice, no source."""
    said: list[str] = []
    hot = [one for one in found.shelves if one.hot]
    said += _about_shelves(found, hot)
    warm = [one for one in found.batches if one.core_c.high >= one.limit.core_c]
    warm = [one for one in warm if one.hot_until_s >= found.at_s]
    most = max(found.days, key=lambda one: one.heat_w.high)
    cooling_w = found.limits.cooling_w
    short = cooling_w is not None and most.heat_w.high > NEAR_COOLING * cooling_w
    if warm or hot:
        from_s = min((one.hot_from_s for one in warm), default=found.at_s)
        until_s = max((one.hot_until_s for one in warm), default=found.at_s + DAY_S)
        said.append(
            f"Lower the room by {a_degree_or_two(units)} from "
            f"{_day_of(max(from_s, found.at_s), zone)} to {_day_of(until_s, zone)}."
        )
    if short and cooling_w is not None:
        said.append(
            f"The bags alone may make {most.heat_w.high:.0f} W on {_day_of(most.from_s, zone)} "
            f"against {cooling_w:.0f} W of cooling: put off the next batch, or take part of "
            "one to a cooler room. Warm days outside come on top."
        )
    airless = [
        one for one in found.days if one.co2_ppm is not None and one.co2_ppm.high > WORKPLACE_PPM
    ]
    if airless:
        said.append(
            f"CO2 may pass {WORKPLACE_PPM:,.0f} ppm from {_day_of(airless[0].from_s, zone)}: "
            "ventilate before you work in it."
        )
    return said or ["Nothing to do: leave the bags as they stand."]


def _about_shelves(found: Forecast, hot: list[ShelfForecast]) -> list[str]:
    said = []
    for one in hot[:3]:
        cooler = [
            other
            for other in found.shelves
            if not other.hot
            and (other.shelf or 0) < (one.shelf or 0)
            and other.air_c < one.air_c - 0.3
        ]
        text = f"Spread the bags on {place(one)}: a hand's breadth between them, fan on."
        if cooler:
            coolest = min(cooler, key=lambda other: other.air_c)
            text += f" Or move some down to {place(coolest)}, where the air is cooler."
        said.append(text)
    return said


def _limit(limit: CoreLimit, units: str) -> str:
    return f"limit {temperature(limit.core_c, units)} for {duration(limit.duration_s)}"


def _temperatures(span: Span, units: str) -> str:
    return f"{temperature(span.middle, units)} ({temperatures(span.low, span.high, units)})"


def _day_of(at_s: float, zone: tzinfo) -> str:
    local = datetime.fromtimestamp(at_s, zone)
    return f"{local:%a} {local.day} {local:%b}"
