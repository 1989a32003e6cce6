"""What goes into one look at a cohort, and what comes out."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from monitor.judge.cohort import Spread
from monitor.judge.filters import Noise
from monitor.judge.history import BY_HAND
from monitor.judge.steps import StepParams
from monitor.judge.strain import HeatPrior

Array = NDArray[np.float64]
Rows = NDArray[np.intp]

#: Stretches are numbered within their means of reading, so many to each.
STRETCHES = 1000
#: Fewest rows of a bag before anything is said of it.
FEWEST_ROWS = 3


@dataclass(frozen=True)
class AlikeParams:
    """How what most bags of a cohort do alike is told from what one does.

    All but a share `apart` of a bag's mates, `fewest` at least, must have it; `smooth_h` over how
    long it is averaged; a bag counts as at most `most_late_h` earlier or later than its cohort;
    It is asked only where the log Bayes factor of a bag's added heat is `worth` or more, and less
    than `least_k` is left alone.
    """

    apart: float = 0.1
    fewest: int = 6
    smooth_h: float = 6.0
    most_late_h: float = 24.0
    worth: float = 2.0
    least_k: float = 0.05


@dataclass(frozen=True)
class LookParams:
    """How a cohort is looked at; the same for every room.

    `onset_step_h` between onsets considered, `onset_thinning` times as much beyond
    `onset_recent_h`, back to `onset_reach_h`; `rise_h` and `loss_h` logistic time constants of
    added and of lost heat; `planned_onsets` prior chances of one onset is one in so
    many; `added_k` width of the half-normal prior of added heat [K]; `lost_share`,
    `lost_share_sd` the share of its heat a stalled bag loses by its readings, as neighbours lend
    it some, and `lost_width` the width of a half-normal by which it is estimated; `pull` see
    `cohort.expect`; `misfit` share of the heat by which bags stray from the curve; `points` grid
    points kept between searches of the whole grid, `entries` of them looked at for a bag; `move`
    how a move that is not in the book is recognised; `alike` what is taken for the cohort's.
    """

    onset_step_h: float = 6.0
    onset_recent_h: float = 72.0
    onset_thinning: float = 4.0
    onset_reach_h: float = 240.0
    rise_h: float = 6.0
    loss_h: float = 10.0
    loss_recall_h: float = 48.0
    planned_onsets: float = 60.0
    added_k: float = 1.5
    lost_share: float = 0.9
    lost_share_sd: float = 0.15
    lost_width: float = 0.5
    pull: float = 4.0
    misfit: float = 0.06
    points: int = 40
    entries: int = 24
    move: StepParams = field(default_factory=StepParams)
    alike: AlikeParams = field(default_factory=AlikeParams)


@dataclass(frozen=True)
class Course:
    """The course of a cohort's heat: surface warmth at the peak [K], its age and the logistic
    time constant [h]."""

    peak_k: float
    peak_h: float
    rise_h: float


@dataclass(frozen=True)
class Panel:
    """A cohort's rows: `hours` and `ahead` [h] on one clock, `begun_h` on the same, when the
    cohort began.

    `excess` (rows, bags) [K], NaN where there is no reading, what the room shares taken off;
    `white` (rows, bags) the readings' white noise [K]; `stretch` (rows, bags) counts up where
    a bag was handled or read by another means; `lead_h` (bags) how much earlier than its cohort
    each is expected to peak, for the air it stands in [h]; `counts_until_h` (bags) up to when
    what is read of it tells what its mates should be like: until its added heat set in [h].
    """

    hours: Array
    ahead: Array
    begun_h: float
    excess: Array
    white: Array
    stretch: NDArray[np.int64]
    lead_h: Array
    counts_until_h: Array

    def read_by_hand(self, row: int | Rows, bag: int | Rows) -> NDArray[np.bool_]:
        """Whether the row's value of a bag was read by hand."""
        return np.asarray(self.stretch[row, bag] // STRETCHES == BY_HAND)

    def last_by_probe(self) -> NDArray[np.bool_]:
        """Which bags' newest value is a probe's: (bags)."""
        read = np.isfinite(self.excess)
        last = len(read) - 1 - read[::-1].argmax(axis=0)
        by_hand = self.read_by_hand(last, np.arange(read.shape[1]))
        return np.asarray(read.any(axis=0) & ~by_hand)

    def thinned(self, most_rows: int) -> Panel:
        """Every second, third … row, `most_rows` at most, the newest among them."""
        stride = math.ceil(len(self.hours) / most_rows)
        rows = np.arange(len(self.hours))[::-1][::stride][::-1]
        return replace(
            self,
            hours=self.hours[rows],
            excess=self.excess[rows],
            white=self.white[rows],
            stretch=self.stretch[rows],
        )

    @property
    def times(self) -> Array:
        """Rows and the hours ahead [h]."""
        return np.concatenate([self.hours, self.ahead])

    @property
    def row_h(self) -> float:
        """Length of a row [h]."""
        return float(self.ahead[0] - self.hours[-1])


@dataclass(frozen=True)
class Beliefs:
    """What the judge believes before it looks: priors, spreads, noise, the course so far."""

    prior: HeatPrior
    spread: Spread
    noise: Noise
    course: Course


@dataclass(frozen=True)
class Look:
    """Verdicts on a cohort's bags, each (bags): log Bayes factors of added and of lost heat,
    the heat added or lost now [K] and since when [h], strength against the cohort, peak
    age [h], the bag's own offset and how far its fitted warmth is unknown [K]. `surprise` (bags,
    onsets) is each onset's amplitude over its standard deviation, standard normal if the healthy
    model is right. `fit` (times, bags) at rows and ahead. `moved` log odds of a move that is not
    in the book, -inf where none was looked for, and `moved_h` its moment [h]."""

    hot: Array
    stalled: Array
    added_k: Array
    onset_h: Array
    lost_k: Array
    lost_h: Array
    strength: Array
    peak_h: Array
    offset_k: Array
    fit_sd_k: Array
    surprise: Array
    fit: Array
    course: Course
    moved: Array
    moved_h: Array
