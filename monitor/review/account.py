"""The evidence of a room as the road weighed it, frame by frame: what thresholds are tried on.

Only what changes is kept. Evidence does not hang on the thresholds, only `hot_needed` and
`stalled_needed` do, and by a law that `shifted` knows; so hundreds of thresholds are tried
without the model.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace

from monitor.judge.probe_faults import ProbeFault
from monitor.judge.strain import Strain
from monitor.values import AlarmCommand, Bag, Condition, Estimate, Evidence


@dataclass(frozen=True, slots=True)
class FrameAccount:
    """What a closed frame gave, as far as it differs from the one before.

    `evidence` of bags whose evidence changed; `core_c` of bags in reach of a limit (`reach.py`)
    [°C]; `warmth_k` over lagged air of every bag, on the hour [K]; `bags` that came or were
    booked anew, `gone` those that left; `others` the conditions that no threshold of a strain
    moves; `commands` what people asked since the frame before. `budgets` [false calls per 100]
    by strain ("" any other) are what the needed evidence is for from this frame on, where they
    are given; such a frame is the first of a recount and says all anew.
    """

    end_s: float
    evidence: Mapping[str, Evidence] = field(default_factory=dict)
    core_c: Mapping[str, float] = field(default_factory=dict)
    warmth_k: Mapping[str, float] = field(default_factory=dict)
    bags: Mapping[str, Bag] = field(default_factory=dict)
    gone: tuple[str, ...] = ()
    faults: tuple[ProbeFault, ...] = ()
    others: tuple[Condition, ...] = ()
    commands: tuple[AlarmCommand, ...] = ()
    budgets: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Account:
    """One room's frames in order."""

    name: str
    frames: tuple[FrameAccount, ...]

    @property
    def span_s(self) -> tuple[float, float] | None:
        return (self.frames[0].end_s, self.frames[-1].end_s) if self.frames else None


Verdicts = dict[str, tuple[Estimate, Evidence]]


def shifted(evidence: Evidence, recorded: float, asked: float) -> Evidence:
    """The evidence with what another budget needs: log odds move by the log of the ratio
    (`judge.odds.needed_log_odds`). Budgets in false calls per 100 bags and run."""
    by = math.log(recorded / asked)
    if not by:
        return evidence
    return replace(
        evidence,
        hot_needed=evidence.hot_needed + by,
        stalled_needed=evidence.stalled_needed + by,
    )


def walk(
    account: Account, strains: Mapping[str, Strain], only: Iterable[str] | None = None
) -> Iterator[tuple[FrameAccount, Verdicts, dict[str, Bag]]]:
    """Each frame with the verdicts and live bags at its end, under the thresholds of `strains`.

    The same dictionaries are handed out again and again. With `only`, verdicts are of those
    bags alone; `bags` always holds all. Of estimates just the core is known, and only where it
    is near a limit.
    """
    wanted = None if only is None else set(only)
    verdicts: Verdicts = {}
    plain: dict[str, Estimate] = {}
    bags: dict[str, Bag] = {}
    with_core: set[str] = set()
    budgets: Mapping[str, float] = {}
    for frame in account.frames:
        if frame.budgets:
            budgets = frame.budgets
            bags.clear()
            verdicts.clear()
        for name in frame.gone:
            bags.pop(name, None)
            verdicts.pop(name, None)
        bags.update(frame.bags)
        for name, evidence in frame.evidence.items():
            if wanted is not None and name not in wanted:
                continue
            strain = bags[name].strain
            asked = strains[strain].false_calls_per_100
            recorded = budgets.get(strain, budgets.get("", asked))
            if name not in plain:
                plain[name] = Estimate(name, frame.end_s, None, None, None)
            verdicts[name] = (plain[name], shifted(evidence, recorded, asked))
        for name in with_core - frame.core_c.keys():
            if name in verdicts:
                verdicts[name] = (plain[name], verdicts[name][1])
        for name, core_c in frame.core_c.items():
            if name in verdicts:
                verdicts[name] = (replace(plain[name], core_c=core_c), verdicts[name][1])
        with_core = set(frame.core_c)
        yield frame, verdicts, bags


def bags_of(accounts: Iterable[Account]) -> dict[str, list[Bag]]:
    """Every version of each bag that the accounts have, oldest first."""
    found: dict[str, list[Bag]] = {}
    for account in accounts:
        for frame in account.frames:
            for name, bag in frame.bags.items():
                found.setdefault(name, []).append(bag)
    return found
