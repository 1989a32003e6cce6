"""What happened to the room in a night: from its alarms, and from a look of our own.

An alarm waits until it is sure; by the morning the whole course lies open, so that a door of
five minutes and a short silence are found that no alarm told of.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from statistics import median

from monitor.review.night_nouns import Happening, Heard, Seen, Series
from monitor.review.nights import Window
from monitor.review.room_air import GRID_S, binned
from monitor.terms import HOUR_S
from monitor.values import AlarmEvent, AlarmKind, Reason, Transition


@dataclass(frozen=True, slots=True)
class HappeningParams:
    """What is worth a name.

    A door: the air falls by `door_k` (and `door_swings` of the thermostat's swings) below its
    middle, most of it within `door_falls_s`, and is back within `door_back_s`; five minutes
    in winter drop it by 3 to 6 °C and it is back in 10 to 20 min (common practice, no source).
    A climb or fall without the thermostat: half-hour means move on through every step by
    `run_k` in all, at `run_k_per_h` or faster, to `beyond_k` past where they stood in the day
    before (`early_beyond_k` where less than that is known, as a set-back may be new);
    `driven_k_per_h` only a heater or cooler gives (see `judge.room`).
    A silence of all probes for `silence_s`, and for `silence_gaps` times what is usual between two
    of their readings, as far as `silence_most_s`: of a cut all night long little was read.
    """

    door_k: float = 1.2
    door_swings: float = 1.3
    door_falls_s: float = 900.0
    door_back_s: float = 3600.0
    run_k: float = 1.8
    run_k_per_h: float = 0.8
    beyond_k: float = 1.0
    early_beyond_k: float = 4.0
    known_s: float = 20 * HOUR_S
    driven_k_per_h: float = 3.0
    silence_s: float = 900.0
    silence_gaps: float = 1.5
    silence_most_s: float = 7200.0


_UP = frozenset({Reason.HEATER_STUCK, Reason.NO_COOLING, Reason.ROOM_HIGH, Reason.DRIFT})
_DOWN = frozenset(
    {Reason.COOLER_STUCK, Reason.NO_HEATING, Reason.ROOM_LOW, Reason.DOOR, Reason.DRIFT}
)
#: Reasons of an alarm that a look at the whole course may sharpen.
_SOFT = frozenset(
    {
        Reason.NO_COOLING,
        Reason.NO_HEATING,
        Reason.ROOM_HIGH,
        Reason.ROOM_LOW,
        Reason.DRIFT,
        Reason.HEATER_STUCK,
        Reason.COOLER_STUCK,
    }
)
_SILENT = frozenset({Reason.POWER_CUT, Reason.WAS_DARK})


def find_happenings(
    events: Sequence[AlarmEvent],
    fine: Series,
    heard: Mapping[str, Heard],
    window: Window,
    swing_k: float,
    params: HappeningParams,
) -> tuple[Happening, ...]:
    """What happened, in order of time: alarms first, then what only the review sees.

    `fine` is the room's level in small steps, from some hours before the window on;
    `swing_k` how far the thermostat moves the air.
    """
    told = _from_alarms(events, window)
    dark = [one for one in told if one.reason in _SILENT]
    silent = [one for one in _silences(heard, window, params) if not _known(one, dark)]
    doors, runs = _doors(fine, window, swing_k, params), _runs(fine, window, params)
    told = [_sharpened(one, runs) for one in told]
    climbs = [one for one in (*told, *runs) if one.reason in _UP]
    doors = [door for door in doors if not _heater_ended(door, climbs)]
    found = [*told, *silent]
    for one in (*doors, *runs):
        if not _known(one, found):
            found.append(one)
    found = [_with_extreme(one, fine, window) for one in found]
    return tuple(sorted(found, key=lambda one: one.start_s))


def _known(one: Happening, others: Sequence[Happening]) -> bool:
    return any(_same(one, other) for other in others)


def _sharpened(alarm: Happening, runs: Sequence[Happening]) -> Happening:
    """An alarm with what the whole course tells of it: when it began, and what drove it.

    An alarm waits until the room has left its usual range, and its reason is that of then.
    """
    for run in runs:
        if alarm.reason in _SOFT and _same(run, alarm):
            begun_s = min(alarm.start_s, run.start_s)
            driven = run.reason in (Reason.HEATER_STUCK, Reason.COOLER_STUCK)
            return replace(alarm, start_s=begun_s, reason=run.reason if driven else alarm.reason)
    return alarm


def _same(one: Happening, other: Happening) -> bool:
    """Whether two tell of the same thing: they overlap and move the room the same way."""
    kinds = next((way for way in (_SILENT, _UP, _DOWN) if one.reason in way), frozenset())
    return other.reason in kinds and _overlap(one, other)


def _overlap(one: Happening, other: Happening) -> bool:
    endless = float("inf")
    one_end = endless if one.end_s is None else one.end_s
    other_end = endless if other.end_s is None else other.end_s
    return one.start_s <= other_end + GRID_S and other.start_s <= one_end + GRID_S


def _heater_ended(door: Happening, climbs: Sequence[Happening]) -> bool:
    """A heater that is stopped lets the air fall as a door does."""
    return any(
        climb.end_s is not None and climb.start_s < door.start_s < climb.end_s + HOUR_S
        for climb in climbs
    )


def _from_alarms(events: Sequence[AlarmEvent], window: Window) -> list[Happening]:
    """Room alarms (and times in which bagwatt was dark) that stood in the window.

    A reason may sharpen while the alarm stands: the last one holds.
    """
    alarms: dict[str, list[AlarmEvent]] = {}
    for event in events:
        dark = event.reason is Reason.WAS_DARK
        if event.kind is AlarmKind.ROOM or dark:
            alarms.setdefault(event.alarm_id, []).append(event)
    found = []
    for life in alarms.values():
        raised = next((e for e in life if e.transition is Transition.RAISED), life[0])
        back = next((e for e in life if e.transition is Transition.RETURNED), None)
        last = [e for e in life if e.transition is not Transition.RETURNED] or life
        start_s = raised.at_s if raised.facts.since_s is None else raised.facts.since_s
        end_s = None if back is None else back.at_s
        if raised.reason is Reason.WAS_DARK:
            start_s, end_s = raised.at_s - (raised.facts.silent_for_s or 0.0), raised.at_s
        if start_s < window.end_s and (end_s is None or end_s > window.start_s):
            if end_s is not None and end_s >= window.end_s:
                end_s = None
            found.append(Happening(last[-1].reason, start_s, end_s, Seen.ALARM))
    return found


def _with_extreme(one: Happening, fine: Series, window: Window) -> Happening:
    end_s = window.end_s if one.end_s is None else one.end_s
    course = [temp_c for at_s, temp_c in fine if one.start_s <= at_s <= end_s]
    if not course or one.reason in _SILENT:
        return one
    peak_c = min(course) if one.reason in _DOWN - _UP else max(course)
    return replace(one, peak_c=peak_c)


def _silences(
    heard: Mapping[str, Heard], window: Window, params: HappeningParams
) -> list[Happening]:
    """Times in which no probe at all was heard."""
    voices = [one for one in heard.values() if one.count]
    if len(voices) < 3:
        return []
    usual_s = median(window.length_s / one.count for one in voices)
    longer_s = min(params.silence_most_s, params.silence_gaps * usual_s)
    least_s = max(params.silence_s, longer_s)
    common = [(gap.start_s, gap.end_s) for gap in voices[0].silences]
    for voice in voices[1:]:
        common = [
            (max(a, gap.start_s), min(b, gap.end_s))
            for a, b in common
            for gap in voice.silences
            if min(b, gap.end_s) - max(a, gap.start_s) >= least_s
        ]
    return [
        Happening(Reason.POWER_CUT, a, None if b >= window.end_s else b, Seen.REVIEW)
        for a, b in common
        if b - a >= least_s
    ]


def _doors(
    fine: Series, window: Window, swing_k: float, params: HappeningParams
) -> list[Happening]:
    """Falls to below the thermostat's course that are over within the hour."""
    needed_k = max(params.door_k, params.door_swings * swing_k)
    found: list[Happening] = []
    for at_s, temp_c in fine:
        if not window.holds(at_s) or (found and at_s < (found[-1].end_s or at_s)):
            continue
        around = [t for s, t in fine if abs(s - at_s) <= HOUR_S]
        middle_c = median(around)
        if len(around) < 6 or middle_c - temp_c < needed_k:
            continue
        door = _door(fine, at_s, middle_c, params)
        if door is not None:
            found.append(door)
    return found


def _door(fine: Series, at_s: float, middle_c: float, params: HappeningParams) -> Happening | None:
    """The whole of a fall that is deep at `at_s`; None where it was slow or did not end."""
    near = [one for one in fine if abs(one[0] - at_s) <= params.door_back_s]
    low_s, low_c = min(near, key=lambda one: one[1])
    line_c = middle_c - (middle_c - low_c) / 3
    before = [s for s, t in near if s < low_s and t >= line_c]
    after = [s for s, t in near if s > low_s and t >= line_c]
    if not before or not after or low_s - before[-1] > params.door_falls_s + GRID_S:
        return None
    return Happening(Reason.DOOR, before[-1], after[0], Seen.REVIEW, low_c)


def _runs(fine: Series, window: Window, params: HappeningParams) -> list[Happening]:
    """Climbs and falls of the half-hour mean through every step, past where it had stood."""
    smooth = _smooth(fine)
    found = []
    for sign in (1, -1):
        for run in _monotone(smooth, sign):
            moved_k = sign * (run[-1][1] - run[0][1])
            rate = moved_k / ((run[-1][0] - run[0][0]) / HOUR_S)
            if moved_k < params.run_k or rate < params.run_k_per_h:
                continue
            if not _goes_beyond(smooth, run, sign, params):
                continue
            one = _run_happening(smooth, run, sign, params)
            ended = one.end_s is not None and one.end_s <= window.start_s
            if not ended and one.start_s < window.end_s:
                found.append(one)
    return found


def _goes_beyond(
    smooth: Sequence[tuple[float, float]],
    run: Sequence[tuple[float, float]],
    sign: int,
    params: HappeningParams,
) -> bool:
    """Whether a run ends past all that stood in the day before it."""
    stood = [(s, sign * t) for s, t in smooth if s < run[0][0]]
    if not stood:
        return False
    known = run[0][0] - stood[0][0] >= params.known_s
    needed_k = params.beyond_k if known else params.early_beyond_k
    return sign * run[-1][1] - max(t for _, t in stood) >= needed_k


def _run_happening(
    smooth: Sequence[tuple[float, float]],
    run: Sequence[tuple[float, float]],
    sign: int,
    params: HappeningParams,
) -> Happening:
    """A run with its name; it lasts until half of it is undone."""
    steepest = max(sign * (b[1] - a[1]) / ((b[0] - a[0]) / HOUR_S) for a, b in pairwise(run))
    driven = steepest >= params.driven_k_per_h
    half_c = (run[0][1] + run[-1][1]) / 2
    end_s = next((s for s, t in smooth if s > run[-1][0] and sign * (t - half_c) < 0), None)
    last_s = end_s if end_s is not None else smooth[-1][0]
    peak_c = sign * max(sign * t for s, t in smooth if run[0][0] <= s <= last_s)
    up, down = (
        (Reason.HEATER_STUCK, Reason.COOLER_STUCK)
        if driven
        else (Reason.NO_COOLING, Reason.NO_HEATING)
    )
    return Happening(up if sign > 0 else down, run[0][0], end_s, Seen.REVIEW, peak_c)


def _smooth(fine: Series) -> list[tuple[float, float]]:
    """Means over half an hour in steps of ten minutes, at their middles."""
    grid = binned(fine, GRID_S)
    return [
        ((n + 0.5) * GRID_S, (grid[n - 1] + grid[n] + grid[n + 1]) / 3)
        for n in sorted(grid)
        if n - 1 in grid and n + 1 in grid
    ]


def _monotone(smooth: Sequence[tuple[float, float]], sign: int) -> list[list[tuple[float, float]]]:
    """Longest runs that move one way through every step."""
    runs: list[list[tuple[float, float]]] = []
    run: list[tuple[float, float]] = []
    for one in smooth:
        if run and (sign * (one[1] - run[-1][1]) <= 0 or one[0] - run[-1][0] > 1.5 * GRID_S):
            runs.append(run)
            run = []
        run.append(one)
    runs.append(run)
    return [one for one in runs if len(one) >= 3]
