"""What is done to a bag or seen of it, in the words of the trade.

Short lists for what is said often, free words beside them. `event` is what the road reads.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from monitor.book.codes import suggestion
from monitor.errors import BookError
from monitor.terms import CAUSES, COMES_BACK, LEAVES

SMELLS = (
    "mushroom", "none", "sour", "beer", "bread", "fruit", "rotten", "musty", "earthy", "sweet",
)  # fmt: skip
LOOKS = (
    "white", "thin", "patchy", "bare bottom", "ropy", "cottony", "stroma", "wet spots", "slime",
    "greasy", "pin mould", "exudate", "sweating", "popcorning", "browning", "pinning", "torn",
    "burnt centre",
)  # fmt: skip
COLOURS = (
    "white", "cream", "yellow", "amber", "brown", "grey", "pink", "orange", "red", "green",
    "blue-green", "black",
)  # fmt: skip
LIQUIDS = ("none", "clear", "milky", "amber")


@dataclass(frozen=True, slots=True)
class EventKind:
    """One event: the command's word, what the book calls it, and the facts it may carry."""

    word: str
    event: str
    help: str
    facts: tuple[str, ...] = ()
    needed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class FactKind:
    """One fact: its option's help, the short list it comes from, or the range of its number."""

    help: str
    words: tuple[str, ...] = ()
    least: float | None = None
    most: float | None = None
    unit: str = ""


FACTS: Mapping[str, FactKind] = {
    "run": FactKind("per cent of the bag that is run", least=0, most=100, unit=" %"),
    "smell": FactKind("smell at the patch", SMELLS),
    "look": FactKind("what it looks like", LOOKS),
    "colour": FactKind("colour of what should not be there", COLOURS),
    "liquid": FactKind("free liquid", LIQUIDS),
    "cause": FactKind("suspected cause", CAUSES),
    "flush": FactKind("which flush", least=1, most=9),
    "kg": FactKind("fresh weight picked [kg]", least=0.001, most=20, unit=" kg"),
    "photo": FactKind("path of a photo"),
    "words": FactKind("free words"),
}
_SEEN = ("run", "smell", "look", "colour", "liquid", "photo", "words")
EVENTS: tuple[EventKind, ...] = (
    EventKind("shaken", "shaken", "broken and shaken", ("run", "words")),
    EventKind("re-taped", "re-taped", "its probe taped anew, or a hole closed", ("words",)),
    EventKind("inspected", "inspected", "looked at", _SEEN),
    EventKind("isolated", "isolated", "taken apart from the others", ("cause", *_SEEN)),
    EventKind("pulled", "pulled", "taken out for good", ("cause", *_SEEN), ("cause",)),
    EventKind("returned", "returned", "back in the room", ("words",)),
    EventKind("full-run", "full run", "white all over", ("run", "look", "photo", "words")),
    EventKind("to-fruiting", "to fruiting", "taken to the fruiting room", ("words",)),
    EventKind("yield", "yield", "a flush was picked", ("flush", "kg", "words"), ("kg",)),
    EventKind("composted", "composted", "retired", ("words",)),
)
BY_WORD: Mapping[str, EventKind] = {kind.word: kind for kind in EVENTS}


@dataclass(frozen=True, slots=True)
class Noted:
    """An event with its facts checked: what goes into the book."""

    event: str
    detail: str = ""
    facts: Mapping[str, str] = field(default_factory=dict)


def noted(kind: EventKind, given: Mapping[str, str | None], surely: bool | None = None) -> Noted:
    """An event out of what was typed. Raises BookError with a suggestion.

    given   the facts by name, None or left out where nothing was said
    surely  for `pulled`: whether the cause is sure; None where nobody said
    """
    facts = {name: _checked(name, text) for name, text in given.items() if text is not None}
    missing = next((name for name in kind.needed if name not in facts), None)
    if missing:
        wanted = FACTS[missing]
        some = f"one of: {', '.join(wanted.words)}" if wanted.words else _range(wanted)
        raise BookError(kind.word, f"--{missing} is missing", f"say --{missing}, {some}")
    if kind.event == "pulled":
        facts["sure"] = "maybe" if surely is None else ("surely" if surely else "maybe")
    return Noted(kind.event, _in_words(facts), facts)


def _checked(name: str, text: str) -> str:
    kind = FACTS[name]
    if kind.words and text not in kind.words:
        hint = suggestion(text, kind.words) or f"one of: {', '.join(kind.words)}"
        raise BookError(f"--{name} {text}", "not in the list", f"{hint}; free words go to --words")
    if kind.least is None or kind.most is None:
        return text.strip()
    try:
        number = float(text.removesuffix("%"))
    except ValueError:
        number = float("nan")
    if not kind.least <= number <= kind.most:
        raise BookError(f"--{name} {text}", "can't be", f"write {_range(kind)}")
    return f"{number:g}"


def _range(kind: FactKind) -> str:
    return f"a number from {kind.least:g} to {kind.most:g}{kind.unit}"


def _in_words(facts: Mapping[str, str]) -> str:
    parts = []
    if "cause" in facts:
        parts.append(" ".join(filter(None, (facts.get("sure", ""), facts["cause"]))))
    for name, text in facts.items():
        if name not in ("cause", "sure", "words"):
            unit = FACTS[name].unit
            parts.append(f"{text}{unit}" if unit.strip() == name else f"{name} {text}{unit}")
    return "; ".join([*parts, *([facts["words"]] if "words" in facts else [])])


def gone_after(events: Sequence[str]) -> bool:
    """Whether a bag is out of its spawn run after these events, oldest first."""
    gone = False
    for event in events:
        if event in LEAVES:
            gone = True
        elif event == COMES_BACK:
            gone = False
    return gone
