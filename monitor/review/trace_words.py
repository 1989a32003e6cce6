"""A trace and the background loss in plain words, with what to do next."""

from __future__ import annotations

import math
from collections.abc import Sequence
from shlex import quote

from monitor.review.loss import Change, Loss, Rate
from monitor.review.trace import LEVEL, ORDER, Finding, Group, Risk, Trace
from monitor.words.quantities import counted

_MOST_BAGS = 12
_MOST_GROUPS = 6
_ADVICE = {
    "spawn lot": "Use no sister jar until it is cleared.",
    "spawn from": "Use nothing made from it until it is cleared; look at its other jars first.",
    "part of load": "Read the load's record: air out, time at temperature, and what stood there. "
    "Put a probe into that part next time.",
    "load": "Read the load's record: air out, time at temperature, cooling.",
    "load position": "That part of the vessel may stay cold: put a probe there next time, or "
    "leave it empty.",
    "session": "Look at that day: hood, filter, who came and went, how warm the bags were.",
    "person": "Compare ways of working; who did it is no cause by itself.",
    "shelf": "Look at that shelf: air, drips, what stands beside it.",
    "recipe": "Check its moisture and whether it needs longer at temperature.",
    "supplier": "Split the next batch between suppliers and compare.",
    "strain": "Compare with its background loss: `bagwatt trace --loss`.",
    ORDER: "Look at what happened between the first and the last of them: a jar, a break, a door.",
}


def one_in(chance: float) -> str:
    """A chance as "1 in 40,000", rounded towards the less surprising; "1 in 3" or so at most."""
    if chance > 1 / 3:
        return "better than 1 in 3"
    times = 1.0 / max(chance, 1e-300) * (1 + 1e-9)
    if times < 10:
        return f"1 in {math.floor(times)}"
    if times > 1e9:
        return "under 1 in 1,000,000,000"
    figure = 10 ** math.floor(math.log10(times))
    return f"1 in {math.floor(times / figure) * figure:,}"


def named(group: Group) -> str:
    """The group's name; further names of the very same bags in brackets."""
    first, *rest = [f"{factor} {level}" for factor, level in group.names]
    return first + (f" (the same bags as {', '.join(rest)})" if rest else "")


def trace_lines(found: Trace, config: str = "DIR", *, chosen: bool = False) -> list[str]:
    """The whole trace as a grower reads it; `chosen`: of bags that were named, lost or not."""
    bags = counted(found.bags, "bag", "bags")
    groups = counted(found.looked_at, "group", "groups")
    which = "taken for lost, as you name them" if chosen else "lost or alarmed"
    lines = [f"{len(found.lost)} of {bags} {which}; {groups} of bags looked at"]
    if len(found.lost) < 2:
        return [*lines, "Under two such bags: nothing to compare."]
    if not found.findings:
        lines.append("Nothing is shared by more of them than chance explains.")
    for number, one in enumerate(found.findings, start=1):
        lines += ["", f"{number}. {headline(one)}"]
        lines += [f"   {line}" for line in _body(one, config)]
    if found.set_aside:
        lines += ["", "Set aside, as nothing is left of it once the above is allowed for:"]
        lines += [
            f"   {named(one.group)}: {one.table.lost_in} of {one.table.inside}"
            + (f", explained by {_short(one.explained_by)}" if one.explained_by else "")
            for one in found.set_aside
        ]
    return lines


def headline(one: Finding) -> str:
    """ "7 of 8 bags of spawn lot J4 lost against 3 of 112 others; chance 1 in 40,000"."""
    table = one.table
    others = table.total - table.inside
    if one.factor == ORDER:
        return (
            f"{table.lost_in} bags lost one after another, {one.level}, against {table.lost_out} "
            f"of {others} others of the session; chance {one_in(one.adjusted)}"
        )
    return (
        f"{table.lost_in} of {table.inside} bags of {one.factor} {one.level} lost against "
        f"{table.lost_out} of {others} others; chance {one_in(one.adjusted)}"
    )


def _body(one: Finding, config: str) -> list[str]:
    lines = [
        f"chance by itself {one_in(one.chance)}, above with all groups looked at allowed for; "
        f"odds of loss {_times(one.odds)} (95 %: {_times(one.odds_low)} to {_times(one.odds_high)})"
    ]
    same = [f"{factor} {level}" for factor, level in one.group.names[1:]]
    same += [named(group) for group in one.not_told_from]
    if same:
        lines.append(
            f"These records can't tell it from {'; '.join(same)}: nearly the same bags are lost "
            "in each. Look at each."
        )
    lines.append(f"lost: {_bags(one.lost)}")
    if one.standing:
        lines.append(f"still standing: {_bags(one.standing)}" + _risk(one.risk, len(one.standing)))
    lines.append(_ADVICE[one.factor])
    if one.factor in ("spawn lot", "spawn from"):
        lines.append(f"proposed: {hold_command(one, config)}")
    return lines


def hold_command(one: Finding, config: str) -> str:
    """The command that holds the lot of a finding."""
    why = f"{one.table.lost_in} of {one.table.inside} bags lost"
    return f"bagwatt lot hold {quote(one.level)} --config {quote(config)} --why '{why}'"


def _risk(risk: Risk | None, standing: int) -> str:
    if risk is None:
        return ""
    span = f"{risk.least_lost} to {risk.most_lost}"
    if risk.least_lost == risk.most_lost:
        span = f"{risk.most_lost}"
    return (
        f" (risk of each {_percent(risk.mean)}, 80 %: {_percent(risk.low)} to "
        f"{_percent(risk.high)}; expect {span} of {standing} lost)"
    )


def _short(group: Group) -> str:
    return " ".join(group.names[0])


def _bags(names: Sequence[str]) -> str:
    shown = ", ".join(names[:_MOST_BAGS])
    rest = len(names) - _MOST_BAGS
    return f"{shown} and {rest} more" if rest > 0 else shown


def _times(odds: float) -> str:
    if math.isinf(odds):
        return "without limit"
    return f"{odds:.1f}×" if odds < 10 else f"{odds:,.0f}×"


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"


def loss_lines(found: Loss, price: float | None = None, currency: str = "") -> list[str]:
    """The background loss with its intervals, its cost, and what changed it."""
    total = found.total
    if not total.bags:
        under_way = counted(found.young, "is", "are") if found.young else "none is"
        return [f"No bag is through its strain's longest run yet; {under_way} under way."]
    young = counted(found.young, "younger bag", "younger bags")
    lines = [f"{_rate(total)} lost; {young} not counted yet"]
    if found.undecided:
        lines.append(
            f"no outcome is written down of {found.undecided} of them, taken for sound: "
            "`bagwatt bag full-run` or `pulled` says what became of them"
        )
    if price is not None:
        lines.append(f"cost at {currency}{price:g} a bag: {currency}{total.lost * price:,.0f}")
    for name, rates in found.by.items():
        if rates and not (len(rates) == 1 and name in ("month", "season", "supplier")):
            lines += ["", f"by {name}:"]
            lines += [f"   {one.group}: {_rate(one)}" for one in _shown(name, rates)]
            hidden = len(rates) - len(_shown(name, rates))
            if hidden:
                lines.append(f"   {hidden} more without a loss or with less")
    if found.changes:
        lines += ["", "Did it change?"]
        lines += [f"   {change_words(one)}" for one in found.changes]
    return lines


def _shown(name: str, rates: Sequence[Rate]) -> list[Rate]:
    """All of a few; of many lots and loads those with the most lost."""
    if name not in ("spawn lot", "load") or len(rates) <= _MOST_GROUPS:
        return list(rates)
    worst = sorted(rates, key=lambda one: (-one.low, -one.lost))
    return [one for one in worst[:_MOST_GROUPS] if one.lost]


def _rate(rate: Rate) -> str:
    low, high = 100 * rate.low, 100 * rate.high
    return f"{rate.lost} of {rate.bags}, {100 * rate.share:.1f} % (95 %: {low:.1f} to {high:.1f} %)"


def change_words(one: Change) -> str:
    """Whether a season or a supplier differs, or what the data would still allow."""
    inside, outside = one.inside, one.outside
    sides = (
        f"{one.group}: {100 * inside.share:.1f} % of {inside.bags} against "
        f"{100 * outside.share:.1f} % of {outside.bags} others"
    )
    span = f"odds {_times(one.odds_low)} to {_times(one.odds_high)}"
    if one.adjusted > LEVEL:
        return f"{sides}: no more than chance ({one_in(one.adjusted)}); {span} would fit as well"
    verdict = (
        f"{sides}: {'more' if one.odds > 1 else 'less'}, chance {one_in(one.adjusted)}, {span}"
    )
    if one.beside > LEVEL:
        return f"{verdict}; but with {one.beside_what} held fixed the records can't tell"
    return f"{verdict}; also with {one.beside_what} held fixed ({one_in(one.beside)})"
