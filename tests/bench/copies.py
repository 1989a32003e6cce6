"""A room with every bag several times: plan, saved state and coming items of more bags.

The copies have cohorts of their own; what was remembered of a bag is remembered of each copy.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from monitor.assemble import plan_of
from monitor.road import Plan
from monitor.runner import Item
from monitor.values import BookEntry, Reading


@dataclass(frozen=True)
class Copies:
    """A room with every bag `count` times: names of bags, their probes and cohorts by copy."""

    names: tuple[Mapping[str, str], ...]
    plan: Plan

    @staticmethod
    def of(plan: Plan, count: int) -> Copies:
        """Bags beyond the first copy get other names and spawn lots of their own."""
        bags, probes, names = dict(plan.bags), dict(plan.probes), []
        for copy in range(count):
            mark = f"~{copy}" if copy else ""
            renamed: dict[str, str] = {}
            for bag in plan.bags.values():
                twin = replace(
                    bag,
                    bag=bag.bag + mark,
                    probe=bag.probe + mark if bag.probe else "",
                    spawn_lot=bag.spawn_lot + mark,
                )
                bags[twin.bag] = twin
                renamed |= {bag.bag: twin.bag, bag.cohort: twin.cohort}
                if bag.probe:
                    renamed[bag.probe] = twin.probe
                    probes[twin.probe] = replace(
                        plan.probes[bag.probe], probe=twin.probe, bag=twin.bag
                    )
            names.append(renamed)
        return Copies(tuple(names), plan_of(bags, probes))

    def state(self, value: Any, width: int) -> Any:
        """A road's plain state with everything that is a bag's once for each copy; rows of
        `width` values are a value a bag."""
        return _copied(value, self.names, width)

    def items(self, items: Iterable[Item]) -> list[Item]:
        """Readings and entries of bags once for each copy, others as they are."""
        found: list[Item] = []
        for item in items:
            key = {Reading: "probe", BookEntry: "bag"}.get(type(item), "")
            name = getattr(item, key) if key else ""
            if name in self.names[0]:
                found += [replace(item, **{key: each[name]}) for each in self.names]  # type: ignore[type-var]
            else:
                found.append(item)
        return found


def _copied(value: Any, names: Sequence[Mapping[str, str]], width: int) -> Any:
    known = names[0].keys()
    if isinstance(value, Mapping):
        if value and value.keys() <= known:
            return {
                each[key]: _copied(inner, [each], width)
                for each in names
                for key, inner in value.items()
            }
        return {key: _copied(inner, names, width) for key, inner in value.items()}
    if not isinstance(value, list) or not value:
        return value
    if all(isinstance(one, str) and one in known for one in value):
        return [each[one] for each in names for one in value]
    if len(names) > 1 and len(value) == width and not any(isinstance(o, list) for o in value):
        return value * len(names)
    found: list[Any] = []
    for one in value:
        named = isinstance(one, list) and bool(one) and isinstance(one[0], str) and one[0] in known
        if named and isinstance(one[-1], Mapping):
            found += [[each[one[0]], *_copied(one[1:], [each], width)] for each in names]
        else:
            found.append(_copied(one, names, width))
    return found
