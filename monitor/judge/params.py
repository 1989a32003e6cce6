"""Everything the judge is set by; one set for every room."""

from __future__ import annotations

from dataclasses import dataclass, field

from monitor.judge.cohort import Spread
from monitor.judge.filters import Noise
from monitor.judge.looks import LookParams
from monitor.judge.lots import LotParams
from monitor.judge.verdicts import VerdictParams
from monitor.terms import HOUR_S


@dataclass(frozen=True)
class JudgeParams:
    """Everything the judge is set by; one set for every room.

    `row_s` length of a row, `most_rows` kept, `rows_ahead` foretold for what the room shares;
    `warm_up_s` after a bag is first met its lagged air means nothing; `take_back_s` before a
    probe is named faulty its values are not believed; `probe` and `hand` are the noise to
    begin with; `slow_h` see `spread.shared_course`, of which bags differ by a share `unlike`;
    `hand.white_k`, the noise of a reading by hand to begin with, weighs as much as
    `known_by_hand` readings of the room, which tell no less than `least_by_hand_k`: written to
    the whole degree, most don't move at all from walk to walk;
    `search_h` hours between searches of the whole grid, later a share `search_share` of the
    cohort's age, which look at `thin_rows` at most; `learn_rows` rows between learning the noise
    anew; a bag with `set_aside_nats` of evidence for added heat tells its mates nothing of what
    was read from `set_aside_h` before the heat set in; `forget_s` after its last reading a bag
    that left is forgotten.
    """

    row_s: float = 3.0 * HOUR_S
    most_rows: int = 240
    rows_ahead: int = 9
    warm_up_s: float = 5.0 * HOUR_S
    take_back_s: float = 8.0 * HOUR_S
    probe: Noise = field(default_factory=Noise)
    hand: Noise = field(default_factory=lambda: Noise(0.1, 12.0, 0.3))
    slow_h: float = 12.0
    unlike: float = 0.15
    learning: float = 0.5
    most_scale: float = 6.0
    known_bags: float = 10.0
    known_by_hand: float = 60.0
    least_by_hand_k: float = 0.15
    search_h: float = 12.0
    search_share: float = 0.16
    learn_rows: int = 4
    thin_rows: int = 48
    set_aside_nats: float = 4.0
    set_aside_h: float = 6.0
    forget_s: float = 10.0 * 24.0 * HOUR_S
    spread: Spread = field(default_factory=Spread)
    look: LookParams = field(default_factory=LookParams)
    verdict: VerdictParams = field(default_factory=VerdictParams)
    lot: LotParams = field(default_factory=LotParams)
