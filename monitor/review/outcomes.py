"""What became of each bag by the book: the truth that thresholds are held against.

Only what somebody wrote down counts. A bag of which nothing was said is unknown, never
healthy; what contradicts itself is set aside and named.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum

from monitor.review.records import CONTAMINATED_MAYBE, CONTAMINATED_SURELY, HEALTHY, outcome_word
from monitor.terms import CAUSES, COMES_BACK, DAY_S, LEAVES, NO_ORGANISM
from monitor.values import Bag, BookEntry

#: Words of an outcome that say the heat did it.
_HEAT_WORDS = ("heat", "cooked", "overheated")
_CAME_THROUGH = frozenset({"full run", "to fruiting", "yield"})


class End(StrEnum):
    """What became of a bag, as far as thresholds care."""

    BAD = "contaminated surely"
    MAYBE = "contaminated maybe"
    HEALTHY = "healthy"
    COOKED = "cooked"
    COOKED_MAYBE = "cooked maybe"
    OTHERWISE = "lost otherwise"
    UNKNOWN = "unknown"
    RUNNING = "still running"
    CONTRADICTED = "contradicted"


@dataclass(frozen=True, slots=True)
class Ending:
    """A bag's end; `found_s` when somebody first said it was bad or cooked, `left_s` when it was
    taken out of the spawn run, `why` what contradicts, in words."""

    bag: str
    end: End
    found_s: float | None = None
    left_s: float | None = None
    why: str = ""

    @property
    def bad(self) -> bool:
        return self.end in (End.BAD, End.MAYBE)

    @property
    def cooked(self) -> bool:
        return self.end in (End.COOKED, End.COOKED_MAYBE)


@dataclass(frozen=True, slots=True)
class _Said:
    """One statement of the book on a bag's end."""

    at_s: float
    end: End
    by: str


def endings(
    bags: Mapping[str, Bag], entries: Iterable[BookEntry], now_s: float, longest_run_s: float
) -> dict[str, Ending]:
    """The end of every bag of `bags`; one within its longest run of which nothing was said is
    still running."""
    by_bag: dict[str, list[BookEntry]] = defaultdict(list)
    for entry in sorted(entries, key=lambda one: one.at_s):
        by_bag[entry.bag].append(entry)
    return {
        name: _ending(bag, by_bag.get(name, []), now_s, longest_run_s) for name, bag in bags.items()
    }


def strangers(bags: Iterable[str], entries: Iterable[BookEntry]) -> tuple[str, ...]:
    """Bags that entries name and the book does not have."""
    return tuple(sorted({entry.bag for entry in entries} - set(bags)))


def _ending(bag: Bag, entries: list[BookEntry], now_s: float, longest_run_s: float) -> Ending:
    said = [one for entry in entries if (one := _said(entry)) is not None]
    left_s: float | None = None
    for entry in entries:
        if entry.event in LEAVES and left_s is None:
            left_s = entry.at_s
        elif entry.event == COMES_BACK:
            left_s = None
    found_s = min((one.at_s for one in said if one.end in _HARMED), default=None)
    if why := _contradiction(bag, entries, said):
        return Ending(bag.bag, End.CONTRADICTED, found_s, left_s, why)
    if said:
        told = [one for one in said if one.by == "outcome"] or said
        return Ending(bag.bag, told[-1].end, found_s, left_s)
    running = left_s is None and now_s < bag.inoculated_s + longest_run_s
    return Ending(bag.bag, End.RUNNING if running else End.UNKNOWN, None, left_s)


def _said(entry: BookEntry) -> _Said | None:
    """What an entry says of its bag's end, if anything."""
    if entry.event == "outcome":
        return _Said(entry.at_s, _of_outcome(entry.detail), "outcome")
    if entry.event == "pulled":
        return _Said(entry.at_s, _of_pull(entry), "pulled")
    if entry.event in _CAME_THROUGH:
        return _Said(entry.at_s, End.HEALTHY, entry.event)
    return None


def _of_outcome(detail: str) -> End:
    word = outcome_word(detail)
    known = {
        CONTAMINATED_SURELY: End.BAD,
        CONTAMINATED_MAYBE: End.MAYBE,
        HEALTHY: End.HEALTHY,
    }
    if word in known:
        return known[word]
    if any(one in word for one in _HEAT_WORDS):
        return End.COOKED_MAYBE if "maybe" in word else End.COOKED
    return End.OTHERWISE if any(cause in word for cause in NO_ORGANISM) else End.UNKNOWN


def _of_pull(entry: BookEntry) -> End:
    """Pulled for an organism, surely or maybe; for something else; or nobody said for what."""
    words = entry.detail.lower()
    cause = entry.facts.get("cause") or next((one for one in CAUSES if one in words), "")
    if cause == "heat":
        return (
            End.COOKED_MAYBE
            if "maybe" in (entry.facts.get("sure", ""), *words.split())
            else End.COOKED
        )
    if cause in NO_ORGANISM:
        return End.OTHERWISE
    if cause in ("", "unknown") and "contaminated" not in words:
        return End.UNKNOWN
    sure = entry.facts.get("sure") or ("surely" if "surely" in words else "maybe")
    return End.BAD if sure == "surely" else End.MAYBE


def _contradiction(bag: Bag, entries: list[BookEntry], said: list[_Said]) -> str:
    """What in the book can't all be so, in words; empty where all of it can."""
    early = next((one for one in entries if one.at_s < bag.inoculated_s), None)
    if early is not None:
        days = (bag.inoculated_s - early.at_s) / DAY_S
        return f"`{early.event}` is written {days:.1f} days before it was inoculated"
    ends = {one.end for one in said if one.by == "outcome"}
    if End.HEALTHY in ends and ends & _HARMED:
        other = "contaminated" if ends & {End.BAD, End.MAYBE} else "cooked"
        return f"its outcome is written both as healthy and as {other}"
    surely = next((one for one in said if one.end in (End.BAD, End.COOKED)), None)
    if surely is None:
        return ""
    what = "contaminated" if surely.end is End.BAD else "cooked"
    if End.HEALTHY in ends:
        return f"it was pulled as surely {what}, and its outcome is written as healthy"
    later = next((one for one in said if one.by in _CAME_THROUGH and one.at_s > surely.at_s), None)
    return f"it is {what}, and `{later.by}` is written after that" if later else ""


_HARMED = frozenset({End.BAD, End.MAYBE, End.COOKED, End.COOKED_MAYBE})
