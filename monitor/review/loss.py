"""The farm's background loss: rates with intervals, what they cost, and whether they changed.

Only bags old enough for their strain's longest run are counted, whatever became of them:
counting the decided ones would count early losses before their sound mates.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo

from monitor.review.exact import (
    Table,
    adjusted,
    differently_lost,
    differently_lost_within,
    odds_interval,
    odds_ratio,
)
from monitor.review.rates import wilson
from monitor.review.records import UNKNOWN, BagRecord

SEASONS = ("winter", "winter", "spring", "spring", "spring", "summer", "summer", "summer",
           "autumn", "autumn", "autumn", "winter")  # fmt: skip


@dataclass(frozen=True, slots=True)
class Rate:
    """Lost bags of a group; the interval is Wilson's, 95 %."""

    group: str
    lost: int
    bags: int
    low: float
    high: float

    @property
    def share(self) -> float:
        return self.lost / self.bags if self.bags else 0.0


@dataclass(frozen=True, slots=True)
class Change:
    """A group beside all others: whether its loss differs, two-sided and exact.

    `adjusted` allows for all changes looked at. `beside` is the chance with the other
    question (season for a supplier, supplier for a season) held fixed, 1 where the records
    can't tell the two apart.
    """

    question: str
    group: str
    inside: Rate
    outside: Rate
    chance: float
    adjusted: float
    odds: float
    odds_low: float
    odds_high: float
    beside: float
    beside_what: str


@dataclass(frozen=True, slots=True)
class Loss:
    """Everything about the background loss; `young` bags are not counted yet."""

    total: Rate
    by: Mapping[str, tuple[Rate, ...]]
    changes: tuple[Change, ...]
    young: int
    undecided: int


def season_of(at_s: float, zone: tzinfo) -> str:
    """The meteorological season of the north, with the year it began in: `spring 2026`."""
    local = datetime.fromtimestamp(at_s, zone)
    year = local.year - 1 if local.month < 3 else local.year
    return f"{SEASONS[local.month - 1]} {year}"


def month_of(at_s: float, zone: tzinfo) -> str:
    """`2026-03`."""
    return datetime.fromtimestamp(at_s, zone).strftime("%Y-%m")


def loss(
    records: Iterable[BagRecord],
    now_s: float,
    zone: tzinfo,
    longest_run_s: Callable[[str], float],
) -> Loss:
    """The background loss of bags whose run is over.

    now_s          the moment it is asked
    longest_run_s  of a strain, by name [s]: younger bags are left out
    """
    every = list(records)
    ripe = [bag for bag in every if now_s - bag.inoculated_s >= longest_run_s(bag.strain)]
    parts: dict[str, Callable[[BagRecord], str]] = {
        "strain": lambda bag: bag.strain,
        "spawn lot": lambda bag: bag.spawn_lot,
        "load": lambda bag: bag.load,
        "supplier": lambda bag: bag.supplier,
        "month": lambda bag: month_of(bag.inoculated_s, zone),
        "season": lambda bag: season_of(bag.inoculated_s, zone),
    }
    by = {name: _rates(ripe, key) for name, key in parts.items()}
    return Loss(
        total=_rate("all", ripe),
        by=by,
        changes=_changes(ripe, parts["season"], parts["supplier"]),
        young=len(every) - len(ripe),
        undecided=sum(bag.outcome == UNKNOWN for bag in ripe),
    )


def _rate(name: str, bags: Sequence[BagRecord]) -> Rate:
    lost = sum(bag.lost for bag in bags)
    return Rate(name, lost, len(bags), *wilson(lost, len(bags)))


def _rates(bags: Sequence[BagRecord], key: Callable[[BagRecord], str]) -> tuple[Rate, ...]:
    """A rate for each named group, in order of its first bag."""
    groups: dict[str, list[BagRecord]] = {}
    for bag in sorted(bags, key=lambda one: one.inoculated_s):
        if name := key(bag):
            groups.setdefault(name, []).append(bag)
    return tuple(_rate(name, members) for name, members in groups.items())


def _changes(
    bags: Sequence[BagRecord],
    season: Callable[[BagRecord], str],
    supplier: Callable[[BagRecord], str],
) -> tuple[Change, ...]:
    """Each season and each supplier beside the others."""
    asked = [("season", name, season, supplier) for name in _levels(bags, season)]
    asked += [("supplier", name, supplier, season) for name in _levels(bags, supplier)]
    tables = [_table(bags, key, name) for _, name, key, _ in asked]
    chances = [differently_lost(table) for table in tables]
    changes = []
    rows = zip(asked, tables, chances, adjusted(chances), strict=True)
    for (question, name, key, other), table, chance, allowed in rows:
        strata = [
            _table([bag for bag in bags if other(bag) == level], key, name)
            for level in dict.fromkeys(other(bag) for bag in bags)
        ]
        low, high = odds_interval(table)
        changes.append(
            Change(
                question=question,
                group=name,
                inside=_rate(name, [bag for bag in bags if key(bag) == name]),
                outside=_rate("others", [bag for bag in bags if key(bag) not in ("", name)]),
                chance=chance,
                adjusted=allowed,
                odds=odds_ratio(table),
                odds_low=low,
                odds_high=high,
                beside=differently_lost_within(strata),
                beside_what="supplier" if question == "season" else "season",
            )
        )
    return tuple(changes)


def _levels(bags: Sequence[BagRecord], key: Callable[[BagRecord], str]) -> list[str]:
    """Named levels, none where there is only one: nothing to compare."""
    names = [name for name in dict.fromkeys(key(bag) for bag in bags) if name]
    return names if len(names) > 1 else []


def _table(bags: Sequence[BagRecord], key: Callable[[BagRecord], str], name: str) -> Table:
    inside = [bag for bag in bags if key(bag) == name]
    outside = [bag for bag in bags if key(bag) not in ("", name)]
    lost_in, lost_out = sum(bag.lost for bag in inside), sum(bag.lost for bag in outside)
    return Table(lost_in, len(inside) - lost_in, lost_out, len(outside) - lost_out)
