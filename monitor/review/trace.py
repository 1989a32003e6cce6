"""What lost bags share: jar, load and its corner, session, order, person, shelf, recipe, supplier.

Every group of bags that could tell anything is tested once, exactly, and the chances allow
for how many were looked at. What another group explains is set aside, and what the records
can't tell apart is said to be so.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from monitor.review.exact import (
    Table,
    adjusted,
    count_runs,
    least_chance,
    longest_run,
    more_lost,
    more_lost_within,
    odds_interval,
    odds_ratio,
    run_as_long,
    runs_as_few,
)
from monitor.review.rates import Beta, between_groups
from monitor.review.records import HEALTHY, UNKNOWN, BagRecord

#: Adjusted chance from which on a group counts as found; a stricter one finds less, later.
LEVEL = 0.05
ORDER = "order of inoculation"


def _shelf(bag: BagRecord) -> tuple[str, ...]:
    return (f"{bag.rack}/{bag.shelf}",) if bag.rack and bag.shelf is not None else ()


def _corner(bag: BagRecord) -> tuple[str, ...]:
    return (f"{bag.load}, {bag.load_position}",) if bag.load and bag.load_position else ()


def _one(level: str) -> tuple[str, ...]:
    return (level,) if level else ()


#: What is looked at; each gives the levels a bag belongs to. The order breaks ties of names.
FACTORS: Mapping[str, Callable[[BagRecord], tuple[str, ...]]] = {
    "spawn lot": lambda bag: _one(bag.spawn_lot),
    "spawn from": lambda bag: bag.spawn_parents,
    "part of load": _corner,
    "load": lambda bag: _one(bag.load),
    "load position": lambda bag: _one(bag.load_position),
    "session": lambda bag: _one(bag.session),
    "person": lambda bag: _one(bag.person),
    "shelf": _shelf,
    "recipe": lambda bag: _one(bag.recipe),
    "supplier": lambda bag: _one(bag.supplier),
    "strain": lambda bag: _one(bag.strain),
}


@dataclass(frozen=True, slots=True)
class Group:
    """Bags that share something; `names` are (factor, level), more than one where the very
    same bags share several things and no data could tell those apart."""

    names: tuple[tuple[str, str], ...]
    bags: frozenset[str]

    @property
    def in_order(self) -> bool:
        """Whether it is a stretch of the order of inoculation rather than a level."""
        return self.names[0][0] == ORDER


@dataclass(frozen=True, slots=True)
class Risk:
    """What a group's losses say of its bags that still stand; intervals hold 80 %."""

    mean: float
    low: float
    high: float
    least_lost: int
    most_lost: int


@dataclass(frozen=True, slots=True)
class Finding:
    """A group that lost more bags than chance explains.

    `chance` is the exact one-sided one, `adjusted` allows for all groups looked at. The odds
    ratio has a 95 % interval; for a stretch of the order it is that beside the rest of the
    session, and flatters as the stretch was chosen for its losses. `same_as` are other names
    of the very same bags, `not_told_from` findings that the data can't tell from this one.
    """

    group: Group
    table: Table
    chance: float
    adjusted: float
    odds: float
    odds_low: float
    odds_high: float
    lost: tuple[str, ...]
    standing: tuple[str, ...]
    risk: Risk | None = None
    not_told_from: tuple[Group, ...] = ()
    explained_by: Group | None = None

    @property
    def factor(self) -> str:
        return self.group.names[0][0]

    @property
    def level(self) -> str:
        return self.group.names[0][1]


@dataclass(frozen=True, slots=True)
class Trace:
    """All that a trace found; `set_aside` are groups that a finding explains."""

    bags: int
    lost: tuple[str, ...]
    looked_at: int
    findings: tuple[Finding, ...]
    set_aside: tuple[Finding, ...] = ()


def counts_as_lost(bag: BagRecord) -> bool:
    """Lost, or alarmed and nobody has yet said what became of it."""
    return bag.lost or (bag.alarmed and bag.outcome == UNKNOWN)


def trace(records: Sequence[BagRecord], asked: Collection[str] = (), level: float = LEVEL) -> Trace:
    """What the lost bags among `records` share.

    records  the bags to compare, lost and others; those that stand count as sound so far
    asked    bags to take for lost, in place of those that are
    level    adjusted chance at or below which a group is found, 0 to 1
    Raises   ValueError for a bag asked for that is not among the records
    """
    known = {bag.bag: bag for bag in records}
    if strangers := sorted(set(asked) - set(known)):
        raise ValueError(f"no record of {', '.join(strangers)}")
    lost = frozenset(asked) or frozenset(bag.bag for bag in records if counts_as_lost(bag))
    work = _Work(known, lost)
    groups = work.groups(level)
    chances = [work.chance(group) for group in groups]
    found = [
        (chance, allowed, group)
        for chance, allowed, group in zip(chances, adjusted(chances), groups, strict=True)
        if allowed <= level
    ]
    found.sort(key=lambda one: (one[0], len(one[2].bags)))
    told = [work.finding(group, chance, allowed) for chance, allowed, group in found]
    kept, aside = work.sift(told, level)
    in_order = tuple(sorted(lost, key=lambda name: (known[name].inoculated_s, name)))
    return Trace(len(known), in_order, len(groups), tuple(kept), tuple(aside))


class _Work:
    """The bags of one trace, and which are lost."""

    def __init__(self, bags: Mapping[str, BagRecord], lost: frozenset[str]) -> None:
        self.bags = bags
        self.lost = lost
        self.sessions = _sessions(bags.values())

    def groups(self, level: float) -> list[Group]:
        """Groups that could be found at all, each set of bags once with all its names.

        Which ones could is told by their sizes alone, never by where the losses fell.
        """
        shared: dict[frozenset[str], list[tuple[str, str]]] = {}
        for factor, levels_of in FACTORS.items():
            members: dict[str, set[str]] = {}
            for bag in self.bags.values():
                for one in levels_of(bag):
                    members.setdefault(one, set()).add(bag.bag)
            for one, names in members.items():
                shared.setdefault(frozenset(names), []).append((factor, one))
        lost, total = len(self.lost), len(self.bags)
        least = {size: least_chance(size, lost, total) for size in {len(one) for one in shared}}
        found = [
            Group(tuple(names), bags) for bags, names in shared.items() if least[len(bags)] <= level
        ]
        return found + [
            group
            for session in self.sessions.values()
            if (group := self._stretch(session)) and self._order_could_tell(session, level)
        ]

    def _order_could_tell(self, session: Sequence[str], level: float) -> bool:
        lost = sum(name in self.lost for name in session)
        return 2.0 * run_as_long(max(lost, 1), lost, len(session)) <= level if lost > 1 else False

    def _stretch(self, session: Sequence[str]) -> Group | None:
        """The longest unbroken run of lost bags of a session."""
        start, length = longest_run([name in self.lost for name in session])
        if length == 0:
            return None
        ends = session[start], session[start + length - 1]
        of = self.bags[ends[0]].session
        name = f"{ends[0]} to {ends[1]}" + (f" of session {of}" if of else "")
        return Group(((ORDER, name),), frozenset(session[start : start + length]))

    def chance(self, group: Group, beside: Sequence[Group] = ()) -> float:
        """One-sided exact chance of so many lost in the group, within strata of others."""
        if group.in_order:
            out = frozenset().union(*(other.bags for other in beside))
            return self._chance_of_order(group, out)
        if not beside:
            return more_lost(self.table(group))
        return more_lost_within(self._strata(group, beside))

    def _chance_of_order(self, group: Group, without: frozenset[str]) -> float:
        """The longest run and the number of runs, the rarer of the two counted twice."""
        session = next(one for one in self.sessions.values() if not group.bags.isdisjoint(one))
        lost = [name in self.lost for name in session if name not in without]
        count, length = sum(lost), longest_run(lost)[1]
        if length < 2:
            return 1.0
        long = run_as_long(length, count, len(lost))
        few = runs_as_few(count_runs(lost), count, len(lost) - count)
        return min(1.0, 2.0 * min(long, few))

    def table(self, group: Group) -> Table:
        """Lost and sound inside the group and outside; a stretch is beside its session."""
        among: Iterable[str] = self.bags
        if group.in_order:
            among = next(one for one in self.sessions.values() if not group.bags.isdisjoint(one))
        return self._counts(group, among)

    def _counts(self, group: Group, among: Iterable[str]) -> Table:
        everyone = frozenset(among)
        lost = everyone & self.lost
        inside, lost_in = len(everyone & group.bags), len(lost & group.bags)
        lost_out = len(lost) - lost_in
        return Table(lost_in, inside - lost_in, lost_out, len(everyone) - inside - lost_out)

    def _strata(self, group: Group, beside: Sequence[Group]) -> list[Table]:
        parts: dict[tuple[bool, ...], list[str]] = {}
        for name in self.bags:
            parts.setdefault(tuple(name in other.bags for other in beside), []).append(name)
        return [self._counts(group, names) for names in parts.values()]

    def finding(self, group: Group, chance: float, allowed: float) -> Finding:
        table = self.table(group)
        low, high = odds_interval(table)
        members = sorted(group.bags, key=lambda name: (self.bags[name].inoculated_s, name))
        standing = tuple(n for n in members if self.bags[n].standing and n not in self.lost)
        return Finding(
            group=group,
            table=table,
            chance=chance,
            adjusted=allowed,
            odds=odds_ratio(table),
            odds_low=low,
            odds_high=high,
            lost=tuple(name for name in members if name in self.lost),
            standing=standing,
            risk=self._risk(group, len(standing)),
        )

    def _risk(self, group: Group, standing: int) -> Risk | None:
        """What to expect of the group's standing bags, from its own and its like's decided."""
        if group.in_order or not standing:
            return None
        levels_of = FACTORS[group.names[0][0]]
        decided: dict[str, tuple[int, int]] = {}
        for bag in self.bags.values():
            lost = bag.bag in self.lost
            if lost or bag.outcome == HEALTHY:
                for one in levels_of(bag):
                    bad, good = decided.get(one, (0, 0))
                    decided[one] = (bad + lost, good + (not lost))
        beta: Beta = between_groups(decided.values()).after(*decided[group.names[0][1]])
        low, high = beta.interval()
        return Risk(beta.mean, low, high, *beta.among_interval(standing))

    def sift(
        self, findings: Sequence[Finding], level: float
    ) -> tuple[list[Finding], list[Finding]]:
        """Findings that stand beside each other, and those that another one explains."""
        kept: list[Finding] = []
        aside: list[Finding] = []
        for one in findings:
            others = [other.group for other in kept]
            if not others or self.chance(one.group, others) <= level:
                kept.append(one)
                continue
            near = max(range(len(kept)), key=lambda i: len(set(kept[i].lost) & set(one.lost)))
            if self.chance(kept[near].group, [one.group]) > level:
                twins = (*kept[near].not_told_from, one.group)
                kept[near] = replace(kept[near], not_told_from=twins)
            else:
                aside.append(replace(one, explained_by=kept[near].group))
        return self._back(kept, aside, level)

    def _back(
        self, kept: list[Finding], aside: list[Finding], level: float
    ) -> tuple[list[Finding], list[Finding]]:
        """Take out what was found first and is explained by what was found later."""
        for one in list(kept):
            others = [other for other in kept if other is not one]
            if others and self.chance(one.group, [other.group for other in others]) > level:
                near = max(others, key=lambda other: len(set(other.lost) & set(one.lost)))
                kept.remove(one)
                aside.append(replace(one, explained_by=near.group))
        return kept, aside


def _sessions(bags: Iterable[BagRecord]) -> dict[str, tuple[str, ...]]:
    """Bags of each session in the order they were inoculated, where the order is known."""
    found: dict[str, list[tuple[int, str]]] = {}
    for bag in bags:
        if bag.sequence is not None:
            found.setdefault(bag.session or bag.batch, []).append((bag.sequence, bag.bag))
    return {key: tuple(name for _, name in sorted(rows)) for key, rows in found.items()}
