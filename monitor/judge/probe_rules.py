"""Rules that tell a probe at fault from a bag or a room that is as it reads."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from monitor.judge.fallen import FallenParams
from monitor.judge.pace import Pace
from monitor.judge.swings import SwingParams
from monitor.judge.tracks import Track

#: Fewer unchanged readings than this say nothing about a probe.
LEAST_HELD = 8
#: Fewer gaps than this tell no pace.
FEWEST_GAPS = 2


@dataclass(frozen=True, slots=True)
class FaultParams:
    """When a probe is named. Times [s], temperature differences [K].

    `silent_intervals`: three lost messages in a row happen on a radio link, four hardly. A probe
    that speaks on change may rest `silent_longest` times the longest it did of late; but a bag
    that nothing was heard of for `silent_most_s` is unseen at any pace: it missed two of the
    judge's rows, and the one heartbeat of a probe that has one every four hours.
    `stuck_log_odds`: natural log of how unlikely an unchanged run must be (14: 1 in 10⁶).
    `stuck_longest_at_rest`: how many times the longest run of its kind, less
    `stuck_longest_per_step` for every step of the probe that its air moved, but no less than
    `stuck_longest`; `stuck_longest_unknown` more while its kind has been heard less than
    `stuck_readings` times each, as the longest of a few runs says little of the next. Set on
    14 made-up rooms of 0.5 °C probes, where sound runs came to 2.54 by that sum, in the first
    two days to 2.7.
    `most_excess_k`: a bag surface this far over its air would need several W/kg, which no
    spawn run reaches; it is the probe. So is one that climbs `climb_k` beyond its
    surroundings within `climb_least_s`, or `climb_k_per_h` more for every hour beyond, up to
    `climb_s`: the hottest bags of 20 made-up rooms climbed 1.4 K in 4 h, 1.9 K in 8 h and
    2.6 K in 12 h, a bag moved to a warmer place 2.3 K in 4 h.
    """

    silent_intervals: float = 4.0
    silent_least_s: float = 1800.0
    silent_longest: float = 3.0
    silent_most_s: float = 21600.0
    first_word_s: float = 7200.0
    stuck_least_s: float = 9000.0
    stuck_log_odds: float = 14.0
    stuck_longest: float = 1.3
    stuck_longest_at_rest: float = 2.6
    stuck_longest_per_step: float = 1.0
    stuck_longest_unknown: float = 0.4
    stuck_readings: int = 500
    humidity_stuck_s: float = 43200.0
    jump_frames: int = 3
    jump_spread_k: float = 3.0
    jump_stands_s: float = 7200.0
    most_excess_k: float = 8.0
    climb_k: float = 3.5
    climb_least_s: float = 14400.0
    climb_k_per_h: float = 0.25
    climb_s: float = 43200.0
    fallen: FallenParams = field(default_factory=FallenParams)
    swings: SwingParams = field(default_factory=SwingParams)


def silent_since(track: Track, end_s: float, began_s: float, params: FaultParams) -> float | None:
    """Since when a probe has been silent; None while it is not.

    `began_s` is when listening began: nobody is silent for the time nobody listened.
    """
    since_s = began_s if track.last_s is None else max(began_s, track.last_s)
    if end_s - since_s <= min(params.silent_least_s, params.first_word_s):
        return None
    usual_s = track.pace.usual_s()
    if usual_s is None or len(track.pace.gaps_s) < FEWEST_GAPS:
        return since_s if end_s - since_s > params.first_word_s else None
    allowed_s = _allowed_s(track.pace, usual_s, params)
    return track.last_s if end_s - since_s > allowed_s else None


def _allowed_s(pace: Pace, usual_s: float, params: FaultParams) -> float:
    """How long a probe of that pace may rest before it is silent."""
    allowed_s = max(params.silent_least_s, params.silent_intervals * usual_s)
    if pace.ragged:
        allowed_s = max(allowed_s, params.silent_longest * pace.longest_lately_s)
    return min(allowed_s, params.silent_most_s)


@dataclass(frozen=True, slots=True)
class Company:
    """What the other probes of one kind did, for telling stuck from quiet.

    `change_share` is the median share of readings that differ from the one before;
    `longest_s` the longest unchanged run among them, the two longest that still run left
    out because they may be the stuck ones; `readings` how many of each it was told by.
    """

    change_share: float
    longest_s: float
    count: int
    readings: float


def rests_long(track: Track, params: FaultParams) -> bool:
    """Whether a probe has given one value for so long that it may be stuck."""
    return (
        track.held is not None
        and track.held_count >= LEAST_HELD
        and track.held_s >= params.stuck_least_s
    )


def is_stuck(track: Track, company: Company, humid: bool, params: FaultParams) -> bool:
    """Whether an unchanged run that `rests_long` is too long to be a quiet bag.

    So many readings without the usual flicker of the last digit that chance can't do it, and
    longer by far than any run of its kind: a coarse probe rests for hours when its bag is
    between two steps. The further its air went meanwhile, in steps of the probe, the less is
    asked of the run.
    """
    held_s = track.held_s
    if track.held is None:
        return False
    if humid:
        # humidity rests at 100 % for hours in a room that is misted
        return held_s >= params.humidity_stuck_s and track.held < 99.0
    shares = [company.change_share] if company.count else []
    if track.changes_seen >= 30 and track.change_share is not None:
        shares.append(track.change_share)
    if not shares:
        return False
    share = min(0.9, 0.75 * min(shares))
    if -(track.held_count - 1) * math.log1p(-share) < params.stuck_log_odds:
        return False
    asked = params.stuck_longest_at_rest - params.stuck_longest_per_step * _steps_moved(track)
    if company.readings < params.stuck_readings:
        asked += params.stuck_longest_unknown
    return held_s >= max(params.stuck_longest, asked) * company.longest_s


def _steps_moved(track: Track) -> float:
    """How far the bag's lagged air went while the probe held its value, in steps of its last
    digit; 0 where there is no air to tell."""
    if not track.smallest_step or track.lagged_since_s != track.held_since_s:
        return 0.0
    return (track.lagged_high_c - track.lagged_low_c) / track.smallest_step


def impossible_since(track: Track, params: FaultParams) -> tuple[float, str] | None:
    """Since when, and how, the probe of a bag tells what no bag can do; None if it doesn't."""
    if not track.gaps or track.gaps[-1][1] <= min(params.most_excess_k, params.climb_k):
        return None
    last = track.gaps[-3:]
    if len(last) == 3 and min(gap_k for _, gap_k in last) > params.most_excess_k:
        return last[0][0], "further over its surroundings than a bag can be"
    now_s, now_k = last[-1][0], min(gap_k for _, gap_k in last[-2:])
    if now_k <= params.climb_k:
        return None  # so far it can't have climbed, whatever it began from
    for since_s, gap_k in track.gaps[:-2]:
        beyond_h = max(0.0, now_s - since_s - params.climb_least_s) / 3600.0
        # a cold bag brought in warms to its surroundings fast; that much is no heat of its own
        if now_k - max(gap_k, 0.0) > params.climb_k + params.climb_k_per_h * beyond_h:
            return since_s, "climbs faster than a bag can heat itself"
    return None
