"""Rules that tell a probe at fault from a bag or a room that is as it reads."""

from __future__ import annotations

import math
from dataclasses import dataclass

from monitor.judge.tracks import Track


@dataclass(frozen=True, slots=True)
class FaultParams:
    """When a probe is named. Times [s], temperature differences [K].

    `silent_intervals`: three lost messages in a row happen on a radio link, four hardly.
    `stuck_log_odds`: natural log of how unlikely an unchanged run must be (14: 1 in 10⁶).
    `copies`: share of the air's quick ticks a fallen probe shows; a taped one shows 0.05 to
    0.35 (contact factor 0.75 to 0.95 and the bag's own lag).
    `most_excess_k`: a bag surface this far over its air would need several W/kg, which no
    spawn run reaches; it is the probe.
    """

    silent_intervals: float = 4.0
    silent_least_s: float = 1800.0
    first_word_s: float = 7200.0
    stuck_least_s: float = 9000.0
    stuck_log_odds: float = 14.0
    stuck_room_moved_k: float = 0.5
    humidity_stuck_s: float = 43200.0
    window: int = 36
    least_pairs: int = 9
    air_moved_k2: float = 1.2
    least_air_moved_k2: float = 0.5
    copies: float = 0.62
    copies_no_more: float = 0.4
    copies_over_peers: float = 0.35
    fallen_near_k: float = 1.5
    jump_frames: int = 3
    jump_spread_k: float = 3.0
    jump_stands_s: float = 7200.0
    most_excess_k: float = 8.0


def silent_since(track: Track, end_s: float, began_s: float, params: FaultParams) -> float | None:
    """Since when a probe has been silent; None while it is not.

    `began_s` is when listening began: nobody is silent for the time nobody listened.
    """
    usual_s = track.usual_interval_s()
    if usual_s is None or track.last_s is None:
        since_s = began_s if track.last_s is None else max(began_s, track.last_s)
        return since_s if end_s - since_s > params.first_word_s else None
    since_s = max(began_s, track.last_s)
    allowed_s = max(params.silent_least_s, params.silent_intervals * usual_s)
    return track.last_s if end_s - since_s > allowed_s else None


@dataclass(frozen=True, slots=True)
class Company:
    """What the other probes of one kind did, for telling stuck from quiet.

    `change_share` is the median share of readings that differ from the one before;
    `room` the common course of all of them, (time [s], level [K]) per frame.
    """

    change_share: float
    room: tuple[tuple[float, float], ...]
    count: int


def is_stuck(
    track: Track, end_s: float, company: Company, humid: bool, params: FaultParams
) -> bool:
    """Whether an unchanged run is too long to be a quiet bag.

    Two roads to yes: so many readings without the usual flicker of the last digit that
    chance can't do it; or the room moved by more than one step of the probe meanwhile and
    the probe did not follow, which also catches coarse probes that seldom flicker.
    """
    held_s = (track.last_s or 0.0) - track.held_since_s
    if track.held is None or held_s < params.stuck_least_s or track.held_count < 8:
        return False
    if humid:
        # humidity rests at 100 % for hours in a room that is misted
        return held_s >= params.humidity_stuck_s and track.held < 99.0
    shares = [company.change_share] if company.count else []
    if track.changes_seen >= 30 and track.change_share is not None:
        shares.append(track.change_share)
    if shares:
        share = min(0.9, 0.75 * min(shares))
        if -(track.held_count - 1) * math.log1p(-share) >= params.stuck_log_odds:
            return True
    levels = [level for at_s, level in company.room if track.held_since_s <= at_s <= end_s]
    if company.count < 5 or not levels or track.smallest_step is None:
        return False
    return max(levels) - min(levels) > track.smallest_step + params.stuck_room_moved_k


def copied_share(track: Track, frame_s: float, params: FaultParams) -> float | None:
    """How much of the air's quick ticks a bag probe shows: 0 none, 1 all.

    Slope of the probe's frame-to-frame changes on those of its shelf air, both without
    their mean, so that a bag which follows a slow warming of the room does not look fallen.
    Frames are taken back in time until the air has moved enough. None where it hasn't.
    """
    count, sum_y, sum_a, sum_ya, sum_aa, moved = 0, 0.0, 0.0, 0.0, 0.0, 0.0
    rows = track.history
    for index in range(len(rows) - 1, 0, -1):
        now, before = rows[index], rows[index - 1]
        air, air_before = now[2], before[2]
        if air is None or air_before is None or now[0] - before[0] > 2.5 * frame_s:
            continue
        y, a = now[1] - before[1], air - air_before
        count, sum_y, sum_a = count + 1, sum_y + y, sum_a + a
        sum_ya, sum_aa = sum_ya + y * a, sum_aa + a * a
        moved = sum_aa - sum_a * sum_a / count
        if count >= params.window or (count >= params.least_pairs and moved >= params.air_moved_k2):
            break
    if count < params.least_pairs or moved < params.least_air_moved_k2:
        return None
    return (sum_ya - sum_y * sum_a / count) / moved


def near_air(track: Track, frames: int = 6) -> float | None:
    """Mean of probe less shelf air over the last frames [K]."""
    gaps = [value - air for _, value, air in track.history[-frames:] if air is not None]
    return math.fsum(gaps) / len(gaps) if gaps else None


def fell_since(track: Track, frame_s: float) -> float:
    """When a probe now known to hang in the air left its bag: the start of the run of frames
    in which it keeps its present distance from the air."""
    level = near_air(track) or 0.0
    since_s, strange = track.history[-1][0], 0
    for at_s, value, air in reversed(track.history):
        if air is None:
            continue
        if abs(value - air - level) <= 0.3:
            since_s, strange = at_s - frame_s, 0
        else:
            strange += 1
            if strange > 1:
                break
    return since_s


def impossible_since(track: Track, params: FaultParams) -> float | None:
    """Since when the last three frames have been further over the air than a bag can be."""
    last = track.history[-3:]
    if len(last) < 3:
        return None
    for _, value, air in last:
        if air is None or value - air <= params.most_excess_k:
            return None
    return last[0][0]
