"""A night in words: one line that says whether all is quiet, then a few short sections. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import tzinfo
from textwrap import fill

from monitor.review.night_bag_words import (
    alarm_briefly_words,
    alarms_words,
    cohort_words,
    mover_words,
    probes_words,
)
from monitor.review.night_nouns import Night
from monitor.review.night_room_words import (
    drift_words,
    happening_words,
    layers_words,
    moist_words,
    rhythm_words,
    room_words,
)
from monitor.review.night_wall import Wall
from monitor.review.nights import clock_change_s
from monitor.values import AlarmKind, Reason
from monitor.words import duration
from monitor.words.quantities import counted, unbroken

QUIET = "All quiet."
#: Many services cut a longer text.
LONGEST_MESSAGE = 3000
#: How many lines of a section a message has; the others are looked up.
_IN_MESSAGE = {"Room": 3, "Happened": 6, "Cohorts": 8, "Moved most": 2, "Probes": 6, "Alarms": 8}
#: As many things as a first line can hold.
MOST_SAID = 4
#: Outside the band for less than this is the thermostat's own business.
OUTSIDE_TOLD_S = 1800.0


@dataclass(frozen=True, slots=True)
class Section:
    """A part of the night: its name and its lines."""

    name: str
    lines: tuple[str, ...]


def title(night: Night, zone: tzinfo) -> str:
    """Which night it is, what the clocks did in it, and whether its readings are still there."""
    window, wall = night.window, Wall.of(night.window, zone)
    begin, end = window.start_s, window.end_s
    said = f"{wall.day(begin)} {wall.time(begin)} to {wall.day(end)} {wall.time(end)}"
    change_s = clock_change_s(window, zone)
    if change_s:
        way = "forward" if change_s > 0 else "back"
        said += f" (the clocks went {way}: {duration(window.length_s)})"
    return f"{said}, from ten-minute means" if night.rolled else said


def headline(night: Night, units: str, zone: tzinfo) -> str:
    """The first line: all quiet, or what was not, the worst first."""
    told = [*_concerns(night, units, Wall.of(night.window, zone))]
    if night.level is None and not night.bags_heard:
        return "Nothing was heard in this night: no air probe, no bag."
    if not told:
        return QUIET
    more = f"; and {len(told) - MOST_SAID} more" if len(told) > MOST_SAID else ""
    return f"Not quiet: {'; '.join(told[:MOST_SAID])}{more}."


def _concerns(night: Night, units: str, wall: Wall) -> list[str]:
    """What a grower must know, worst first."""
    told = [
        happening_words(one, units, wall, night.window)
        for one in sorted(night.happenings, key=lambda one: one.reason is Reason.DOOR)
    ]
    bags = [one for one in night.alarms if one.stands and not one.state]
    told += [
        alarm_briefly_words(one)
        for one in bags
        if one.kind not in (AlarmKind.ROOM, AlarmKind.PROBE)
    ]
    outside_s = night.above_s + night.below_s
    if outside_s >= OUTSIDE_TOLD_S and not night.happenings:
        told.append(f"air outside its band for {duration(outside_s)}")
    gone = [one for one in night.probes if one.silent_s and not one.back]
    if gone:
        first = f"probe {gone[0].probe} silent"
        if gone[0].longest:
            first += f" since {wall.time(gone[0].longest.start_s)}"
        told.append(first + (f" and {len(gone) - 1} more" if len(gone) > 1 else ""))
    odd = [one for one in night.probes if one.doubts and one not in gone]
    if odd:
        told.append(counted(len(odd), "probe not believed", "probes not believed"))
    if night.moist is not None and night.moist.wet_s:
        told.append(f"dew for {duration(night.moist.wet_s)} on {night.moist.wet}")
    return told


def happening_labels(night: Night, units: str, zone: tzinfo) -> list[str]:
    """A few words for each happening, for a chart."""
    wall = Wall.of(night.window, zone)
    return [happening_words(one, units, wall, night.window) for one in night.happenings]


def sections(night: Night, units: str, zone: tzinfo) -> tuple[Section, ...]:
    """Everything the review tells, in the order in which one asks."""
    wall, window = Wall.of(night.window, zone), night.window
    told = (
        ("Room", room_words(night, units, wall)),
        (
            "Happened",
            [happening_words(one, units, wall, window, whole=True) for one in night.happenings],
        ),
        ("Drift", drift_words(night.drift, units, wall)),
        ("Thermostat", rhythm_words(night, units, wall)),
        ("Layers", layers_words(night.layers, units, wall)),
        ("Water", moist_words(night.moist, units, wall)),
        ("Cohorts", [cohort_words(one, night, wall) for one in night.cohorts]),
        ("Moved most", [mover_words(one, night, units, wall) for one in night.movers]),
        ("Probes", probes_words(night, wall)),
        ("Alarms", alarms_words(night, units, zone)),
    )
    return tuple(Section(name, tuple(lines)) for name, lines in told if lines)


def night_text(night: Night, room: str, units: str, zone: tzinfo, width: int = 100) -> str:
    """The whole night for a terminal or a message: the headline first.

    `width` is where lines are broken, 0 for nowhere.
    """
    told = sections(night, units, zone)
    indent = max((len(one.name) for one in told), default=0) + 2
    lines = [(headline(night, units, zone), ""), (f"{room}, {title(night, zone)}", ""), ("", "")]
    for section in told:
        for number, line in enumerate(section.lines):
            name = "" if number else section.name
            lines.append((f"{name:<{indent}}{line}", " " * (indent + 2)))
    if not width:
        return "\n".join(text for text, _ in lines)
    return "\n".join(
        fill(unbroken(text), width, subsequent_indent=further, break_on_hyphens=False)
        for text, further in lines
    ).replace("\u00a0", " ")


def night_message(night: Night, room: str, units: str, zone: tzinfo) -> tuple[str, str]:
    """Title (at most 70 characters) and body of the morning message, without columns."""
    day = Wall(zone).day(night.window.start_s)
    first = headline(night, units, zone)
    quiet = first == QUIET
    heading = f"Night of {day}: {'all quiet' if quiet else 'not quiet, please read'}"
    lines = [first, f"{room}, {title(night, zone)}"]
    for section in sections(night, units, zone):
        kept = section.lines[: _IN_MESSAGE.get(section.name, 0)]
        lines += [f"{section.name}: {line}" for line in kept]
    body = "\n".join(lines)
    if len(body) > LONGEST_MESSAGE:
        body = body[: LONGEST_MESSAGE - 30].rsplit("\n", 1)[0] + "\nMore: `bagwatt night`"
    return heading, body
