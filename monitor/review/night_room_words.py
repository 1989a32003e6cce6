"""A night's room in words: level, happenings, drift, rhythm, layers, water. Pure."""

from __future__ import annotations

from monitor.review.night_nouns import (
    Compared,
    Drift,
    Happening,
    Layers,
    Level,
    Moist,
    Night,
    Rhythm,
    Seen,
)
from monitor.review.night_wall import Wall
from monitor.review.nights import Window
from monitor.values import Reason
from monitor.words import difference, duration, temperature

#: Nearer than this in swing, two nights are alike [K].
ALIKE_K = 0.5
_SMALL = ("", "one", "two", "three", "four", "five", "six", "seven")
_HAPPENED = {
    Reason.HEATER_STUCK: "the room climbed as if a heater were stuck on",
    Reason.COOLER_STUCK: "the room fell as if a cooler were stuck on",
    Reason.NO_COOLING: "the room warmed as if cooling were lost",
    Reason.NO_HEATING: "the room cooled as if heating were lost",
    Reason.DOOR: "the room cooled as if a door stood open",
    Reason.ROOM_HIGH: "the room stood above its band",
    Reason.ROOM_LOW: "the room stood below its band",
    Reason.DRIFT: "the room left its usual course",
    Reason.POWER_CUT: "every probe silent, as in a power cut",
    Reason.WAS_DARK: "bagwatt itself was off",
    Reason.MANY_AT_ONCE: "many bags apart at once",
}


def room_words(night: Night, units: str, wall: Wall) -> list[str]:
    level = night.level
    if level is None:
        return ["no air probe was heard"]
    lines = [_level(level, units, wall)]
    band = f"{temperature(night.band_c[0], units)} to {temperature(night.band_c[1], units)}"
    outside = [
        f"{duration(length_s)} {way}"
        for length_s, way in ((night.above_s, "above"), (night.below_s, "below"))
        if length_s
    ]
    lines.append(
        f"{' and '.join(outside)} its band of {band}"
        if outside
        else f"in its band of {band} all night"
    )
    if night.compared:
        lines.append(_compared(night.compared, units))
    return lines


def _level(level: Level, units: str, wall: Wall) -> str:
    return (
        f"mean {temperature(level.mean_c, units)}, low {temperature(level.low_c, units)} at"
        f" {wall.time(level.low_s)}, high {temperature(level.high_c, units)} at"
        f" {wall.time(level.high_s)}"
    )


def _compared(compared: Compared, units: str) -> str:
    many = compared.nights > 1
    count = _SMALL[compared.nights] if compared.nights < len(_SMALL) else str(compared.nights)
    nights = f"the last {count} nights" if many else "the night before"
    apart = difference(abs(compared.warmer_k), units)
    if apart.startswith("0.0"):
        said = f"as warm as {nights}"
    else:
        said = f"{apart} {'warmer' if compared.warmer_k > 0 else 'colder'} than {nights}"
    swing = difference(abs(compared.swing_k), units)
    if abs(compared.swing_k) < ALIKE_K:
        return said
    return f"{said}, low to high {swing} {'more' if compared.swing_k > 0 else 'less'}"


def drift_words(drift: Drift | None, units: str, wall: Wall) -> list[str]:
    lines: list[str] = []
    if drift is None:
        return lines
    if drift.slope is not None:
        slope = drift.slope
        ends = [f"{_rate(k_per_h, units)}" for k_per_h in (slope.low, slope.high)]
        interval = f"{_rate(slope.slope, units)} °{units} an hour, 95 % {ends[0]} to {ends[1]}"
        way = {1: "warming", -1: "cooling", 0: "steady"}[slope.sign]
        lines.append(f"{way}: {interval}")
    if drift.set_back_k is not None and drift.lowered_s and drift.raised_s:
        lines.append(
            f"set back by {difference(drift.set_back_k, units)} from about"
            f" {wall.time(drift.lowered_s)} to {wall.time(drift.raised_s)}, taken out of the slope"
        )
    return lines


def _rate(k_per_h: float, units: str) -> str:
    value = k_per_h * 1.8 if units == "F" else k_per_h
    return f"{round(value, 2) + 0.0:+.2f}".replace("+0.00", "0.00").replace("-", "−")


def rhythm_words(night: Night, units: str, wall: Wall) -> list[str]:
    rhythm = night.rhythm
    if rhythm is None:
        if night.spacing_s is not None and night.spacing_s > 300.0:
            return [f"readings every {duration(night.spacing_s)} are too far apart to see it tick"]
        return ["no regular rhythm"] if night.level else []
    lines = [_ticks(rhythm, units)]
    if rhythm.was is not None:
        lines.append(f"it changed: in the first half it {_ticks(rhythm.was, units)}")
    if rhythm.stopped is not None:
        stopped = rhythm.stopped
        lines.append(f"no tick {wall.from_to(stopped.start_s, stopped.end_s, night.window)}")
    return lines


def _ticks(rhythm: Rhythm, units: str) -> str:
    return (
        f"ticks every {duration(rhythm.period_s)}, swings {difference(rhythm.swing_k, units)},"
        f" rising {round(100 * rhythm.duty)} % of the time"
    )


def layers_words(layers: Layers | None, units: str, wall: Wall) -> list[str]:
    if layers is None:
        return []
    shelves = ", ".join(
        f"shelf {one.shelf} {temperature(one.mean_c, units)}" for one in layers.shelves
    )
    way = "warmer" if layers.step_k >= 0 else "colder"
    return [
        f"{shelves}: the top {difference(abs(layers.step_k), units)} {way} than the bottom,"
        f" {difference(abs(layers.widest_k), units)} at most, at {wall.time(layers.widest_s)}"
    ]


def moist_words(moist: Moist | None, units: str, wall: Wall) -> list[str]:
    if moist is None:
        return []
    lines = [
        f"humidity {moist.mean:.0f} % ({moist.low:.0f} to {moist.high:.0f} %), dew point"
        f" {temperature(moist.dew_c, units)}, {temperature(moist.dew_high_c, units)} at most"
    ]
    where = f"{moist.wet} at {wall.time(moist.closest_s)}"
    if moist.wet_s:
        lines.append(f"at or below the dew point for {duration(moist.wet_s)}, worst {where}")
    else:
        lines.append(
            f"no dew on what has a probe; nearest {difference(moist.spare_k, units)} above it:"
            f" {where}. A wall colder than that is wet"
        )
    return lines


def happening_words(
    one: Happening, units: str, wall: Wall, window: Window, whole: bool = False
) -> str:
    said = f"{_HAPPENED.get(one.reason, one.reason.value)}"
    when = wall.from_to(one.start_s, one.end_s, window)
    peak = "" if one.peak_c is None else f", air to {temperature(one.peak_c, units)}"
    if not whole:
        return f"{said} {when}{peak}"
    seen = "an alarm told of it" if one.seen is Seen.ALARM else "no alarm, seen afterwards"
    return f"{when}: {said}{peak} ({seen})"
