"""From a look at a cohort to what is said of one bag: its evidence with one named reason."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from monitor.judge.looks import FEWEST_ROWS, Look, Panel
from monitor.judge.odds import needed_log_odds
from monitor.judge.strain import Strain
from monitor.terms import HOUR_S
from monitor.thermal.bag import BagThermal, describe_bag
from monitor.thermal.substrate import substrate_in
from monitor.values import Bag, Evidence, Reason

Array = NDArray[np.float64]
#: Earlier looks that must agree before heat counts as added in a cohort not risen yet, or as lost.
HELD = 2


@dataclass(frozen=True)
class VerdictParams:
    """How log odds become verdicts and how sure the estimates are.

    `hot_prior_odds`, `stalled_prior_odds` a bag of a hundred or so goes wrong in a run;
    the margins [nats] set the bars beside Ville's bound, by simulation (DEVELOPERS.md, "The bars"):
    a call from walks, so few and noisy, overshoots the bound by more than one from probes, and one
    walk alone needs `alone_by_hand` more in a cohort that has not risen yet; the
    worths [nats] are what lost heat counts at most beyond its factor, whose onsets are spread wider
    than stalls set in: only as far as it speaks louder than added heat, and by probes only from
    `stalled_least` nats on and of a bag that has at most the share `stalled_left` of its cohort's
    usual warmth left;
    `contact` the share of bag in a taped probe's reading, with its spread (a hand reading sees
    the surface itself, with an error all readings share, `hand_bias_k` or `hand_bias_per_drift`
    of what walks differ by);
    `lag_sd`, `loss_sd` shares by which a bag's lag and loss are unknown; `open_view` the share of
    its side that sees no neighbour, with its spread: between bags that stand free, 1, and a row
    with hand-wide gaps, 0.75 (`film.open_view_in_row`); `reading_k` the least error of a reading
    (by hand it is larger, and known from the room); `learning_rows` before a bag is said to be
    like its cohort.
    """

    hot_prior_odds: float = 0.05
    stalled_prior_odds: float = 0.03
    hot_margin_by_probe: float = -0.4
    hot_margin_by_hand: float = -1.7
    alone_by_hand: float = 2.5
    stalled_worth_by_probe: float = 8.0
    stalled_worth_by_hand: float = 2.0
    stalled_least: float = 0.5
    stalled_left: float = 0.55
    contact: float = 0.85
    contact_sd: float = 0.05
    hand_bias_k: float = 0.2
    hand_bias_per_drift: float = 0.7
    lag_sd: float = 0.25
    open_view: float = 0.88
    open_view_sd: float = 0.12
    loss_sd: float = 0.1
    reading_k: float = 0.12
    learning_rows: int = 8
    fewest_peers: int = 3
    look_again: float = 2.0

    def contact_by(self, by_hand: bool) -> tuple[float, float]:
        """The share of bag in a reading by these means, with its spread."""
        return (1.0, 0.0) if by_hand else (self.contact, self.contact_sd)


@dataclass(frozen=True, slots=True)
class Around:
    """What stands around a bag: the most that hot bags beside it may lend it, the usual warmth of
    its cohort, and by how much readings of the room usually drift from row to row [K]."""

    lent_k: float
    warmth_k: float
    drift_k: float


@dataclass(frozen=True)
class Standing:
    """How a bag stood at the last look: plain numbers, log Bayes factors in nats."""

    at_s: float
    hot: float
    stalled: float
    hot_before: tuple[float, ...]
    stalled_before: tuple[float, ...]
    hottest: float
    added_k: float
    lost_k: float
    onset_h: float
    lost_h: float
    strength: float
    shift_h: float
    offset_k: float
    fit_sd_k: float
    warmth_k: float | None
    slope_k_per_h: float
    row_h: float
    by_hand: bool
    reading_k: float
    rate_k_per_h: float | None
    rows: int
    peers: int
    rising_h: float
    lent_k: float
    around_k: float
    drift_k: float

    def hot_for_long(self, alone: float) -> float:
        """The evidence of added heat; of a cohort that has not risen yet the least at the last
        looks: until it rises, a bag that leads it by a day looks hot for some hours. Walks are
        half a day apart: there two looks do, or one alone by what it has over `alone` nats."""
        if self.row_h >= self.rising_h:
            return self.hot
        if self.by_hand:
            return max(min((self.hot, *self.hot_before[:1])), self.hot - alone)
        return min((self.hot, *self.hot_before))

    @property
    def stalled_for_long(self) -> float:
        """The least evidence of lost heat at the last looks: a stall is slow, a fallen probe
        is not. A hand reading falls off nothing."""
        return self.stalled if self.by_hand else min((self.stalled, *self.stalled_before))

    @staticmethod
    def of(
        before: Standing | None,
        at_s: float,
        found: Look,
        place: int,
        panel: Panel,
        seen: NDArray[np.bool_],
        around: Around,
    ) -> Standing:
        """The bag at `place` of a look at `panel`; `seen` which bags were read lately."""
        now = len(panel.hours) - 1
        column = panel.excess[:, place]
        rows = np.flatnonzero(np.isfinite(column))
        last = rows[-4:]
        recent = len(last) > 1 and panel.hours[-1] - panel.hours[last[0]] < 30.0
        rate = None
        if recent:
            span = panel.hours[last[-1]] - panel.hours[last[0]]
            rate = float(column[last[-1]] - column[last[0]]) / float(span)
        hot_before = (before.hot, *before.hot_before) if before else (0.0,)
        stalled_before = (before.stalled, *before.stalled_before) if before else (0.0,)
        return Standing(
            at_s=at_s,
            hot=float(found.hot[place]),
            stalled=float(found.stalled[place]),
            hot_before=hot_before[:HELD],
            stalled_before=stalled_before[:HELD],
            hottest=max(float(found.hot[place]), before.hottest if before else 0.0),
            added_k=float(found.added_k[place]),
            lost_k=float(found.lost_k[place]),
            onset_h=float(found.onset_h[place]),
            lost_h=float(found.lost_h[place]),
            strength=float(found.strength[place]),
            shift_h=float(found.course.peak_h - found.peak_h[place]),
            offset_k=float(found.offset_k[place]),
            fit_sd_k=float(found.fit_sd_k[place]),
            warmth_k=float(found.fit[now, place]) if len(rows) else None,
            slope_k_per_h=_slope(panel.times, found.fit[:, place], now),
            row_h=float(panel.hours[now]),
            by_hand=bool(len(rows)) and bool(panel.read_by_hand(int(rows[-1]), place)),
            reading_k=float(panel.white[rows[-1], place]) if len(rows) else 0.0,
            rate_k_per_h=rate,
            rows=len(rows) if bool(seen[place]) else 0,
            peers=int(seen.sum()) - int(seen[place]),
            rising_h=panel.begun_h + found.course.peak_h - 2.0 * found.course.rise_h,
            lent_k=around.lent_k,
            around_k=around.warmth_k,
            drift_k=around.drift_k,
        )

    @property
    def over_air_k(self) -> float | None:
        """The bag's warmth over its air by the fit, without that of slot and probe [K]; None before
        its first reading."""
        return None if self.warmth_k is None else self.warmth_k - self.offset_k

    @property
    def own_k(self) -> float:
        """What of the added warmth is the bag's own [K]: nothing up to what may be lent to it, all
        from one and a half times that on."""
        if self.added_k >= 1.5 * self.lent_k:
            return self.added_k
        return max(0.0, 3.0 * (self.added_k - self.lent_k))

    def plain(self) -> dict[str, Any]:
        """As data."""
        before = {name: list(getattr(self, name)) for name in _BEFORE}
        return {**asdict(self), **before}

    @staticmethod
    def from_plain(data: Mapping[str, Any]) -> Standing:
        """From what `plain` gave."""
        return Standing(**{**data, **{name: tuple(data[name]) for name in _BEFORE}})


_BEFORE = ("hot_before", "stalled_before")


def _slope(times: Array, fit: Array, row: int) -> float:
    """How fast the fit moves at a row, from the rows on either side [K/h]."""
    before, after = max(0, row - 1), min(len(times) - 1, row + 1)
    return float((fit[after] - fit[before]) / (times[after] - times[before]))


@lru_cache(maxsize=4096)
def thermal_of(mass_kg: float, kind: str) -> BagThermal:
    """The thermal constants of a bag of `mass_kg`, its filling told from the book's words."""
    return describe_bag(round(mass_kg, 2), substrate_in(kind))


def thermal(bag: Bag) -> BagThermal:
    """The thermal constants of a bag of the book."""
    return thermal_of(bag.mass_kg, f"{bag.bag_kind} {bag.recipe}")


def weigh_bag(
    bag: Bag,
    standing: Standing | None,
    handled: bool,
    strain: Strain,
    params: VerdictParams,
) -> Evidence:
    """A bag's evidence as of its last look; as of inoculation for one not looked at yet."""
    hot_prior = math.log(params.hot_prior_odds)
    stalled_prior = math.log(params.stalled_prior_odds)
    by_hand = standing is not None and standing.by_hand
    margin = params.hot_margin_by_hand if by_hand else params.hot_margin_by_probe
    budget = strain.false_calls_per_100
    hot_needed = needed_log_odds(budget, params.hot_prior_odds, margin)
    stalled_needed = needed_log_odds(budget, params.stalled_prior_odds, 0.0)
    if standing is None or standing.rows == 0:
        reason = Reason.NO_SIGNAL if standing is not None else Reason.LEARNING
        at_s = bag.inoculated_s if standing is None else standing.at_s
        return Evidence(
            bag.bag, bag.cohort, at_s, hot_prior, stalled_prior, hot_needed, stalled_needed,
            0 if standing is None else standing.peers, None, reason,
        )  # fmt: skip
    warm = standing.hot >= standing.stalled
    # Each against both other accounts of the bag: healthy, or the opposite fault.
    hot = standing.hot_for_long(params.alone_by_hand) + hot_prior
    hot -= max(0.0, standing.stalled + stalled_prior)
    stalled = standing.stalled_for_long + _worth(standing, params) + stalled_prior
    stalled -= max(0.0, standing.hottest + hot_prior)
    excess_k = standing.own_k if warm else -standing.lost_k
    added_w = thermal(bag).loss_w_per_k * excess_k / params.contact_by(by_hand)[0]
    reason = _reason(standing, warm, hot, stalled, hot_needed, stalled_needed, strain, params)
    if handled:
        reason = Reason.HANDLED
    onset_h = standing.onset_h if warm else standing.lost_h
    return Evidence(
        bag=bag.bag,
        cohort=bag.cohort,
        at_s=standing.at_s,
        hot=hot,
        stalled=stalled,
        hot_needed=hot_needed,
        stalled_needed=stalled_needed,
        peers=standing.peers,
        excess_k=excess_k,
        reason=reason,
        added_w=added_w,
        added_w_per_kg=added_w / bag.mass_kg,
        scale=standing.strength,
        shift_h=standing.shift_h,
        onset_s=onset_h * HOUR_S,
        clears_at=f"it clears once it is under {strain.least_excess_k:.1f} K off its cohort",
        walk_s=standing.row_h * HOUR_S if standing.by_hand else None,
    )


def _worth(standing: Standing, params: VerdictParams) -> float:
    """What lost heat counts beyond its factor [nats]."""
    louder = max(0.0, standing.stalled_for_long - standing.hot)
    if standing.by_hand:
        return min(params.stalled_worth_by_hand, louder)
    if standing.stalled_for_long < params.stalled_least:
        return 0.0
    left_k, mates = standing.over_air_k, standing.peers >= params.fewest_peers
    if mates and left_k is not None and left_k > params.stalled_left * standing.around_k:
        return 0.0
    return min(params.stalled_worth_by_probe, louder)


def _reason(
    standing: Standing,
    warm: bool,
    hot: float,
    stalled: float,
    hot_needed: float,
    stalled_needed: float,
    strain: Strain,
    params: VerdictParams,
) -> Reason:
    """The single reason of a verdict."""
    if standing.rows < FEWEST_ROWS:
        return Reason.LEARNING
    alone = standing.peers < params.fewest_peers
    if warm and hot >= hot_needed and standing.added_k >= strain.least_excess_k:
        own = standing.own_k >= strain.least_excess_k
        called = Reason.EARLIER_RUNS if alone else Reason.ADDED_HEAT
        return called if own else Reason.BESIDE_HOT
    if not warm and stalled >= stalled_needed and standing.lost_k >= strain.least_excess_k:
        cold = Reason.NEVER_WARMED if standing.lost_h < standing.rising_h else Reason.COLDER
        return Reason.EARLIER_RUNS if alone else cold
    if hot >= hot_needed - params.look_again or stalled >= stalled_needed - params.look_again:
        return Reason.LOOK_AGAIN
    if alone:
        return Reason.FEW_PEERS
    return Reason.LIKE_ITS_COHORT if standing.rows >= params.learning_rows else Reason.LEARNING
