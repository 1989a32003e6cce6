"""What the book keeps beside bags and probes: strains, cultures, spawn lots, loads and the rest.

Every kind has a short list of fields. A record refers to others by their names, which gives the
lineage both ways.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from monitor.book.codes import suggestion
from monitor.book.moments import parse_moment
from monitor.errors import BookError
from monitor.values import Record

STRAIN, CULTURE, LOT, LOAD = "strain", "culture", "lot", "load"
SESSION, RECIPE, BAG_KIND = "session", "recipe", "bag-kind"


@dataclass(frozen=True, slots=True)
class FieldKind:
    """One field: what it is, the kind of record it names (several with `;`), or its values."""

    help: str
    names: str = ""
    words: tuple[str, ...] = ()
    number: bool = False
    day: bool = False


_NOTE = {"note": FieldKind("free words")}
FIELDS: Mapping[str, Mapping[str, FieldKind]] = {
    STRAIN: {
        "species": FieldKind("species or group"),
        "parents": FieldKind("strains a hybrid comes from, with `;` between", names=STRAIN),
        "source": FieldKind("where it came from"),
        **_NOTE,
    },
    CULTURE: {
        "strain": FieldKind("its strain", names=STRAIN),
        "parent": FieldKind("the culture it was transferred from", names=CULTURE),
        "transfer": FieldKind("number of the transfer", number=True),
        "on": FieldKind("what it grows on", words=("plate", "slant", "liquid")),
        "made": FieldKind("day of the transfer", day=True),
        **_NOTE,
    },
    LOT: {
        "strain": FieldKind("its strain", names=STRAIN),
        "generation": FieldKind("G1 from culture, G2 and G3 from grain", words=("G1", "G2", "G3")),
        "parent": FieldKind("the jar or lot of grain it was made from", names=LOT),
        "culture": FieldKind("the culture it was made from", names=CULTURE),
        "carrier": FieldKind("what holds it", words=("jar", "bag", "sawdust")),
        "made": FieldKind("day it was made", day=True),
        "supplier": FieldKind("who sold it, where it was bought"),
        "state": FieldKind("whether it may be used", words=("held", "released")),
        "why": FieldKind("why it is held"),
        **_NOTE,
    },
    LOAD: {
        "vessel": FieldKind("which steriliser"),
        "made": FieldKind("day of the cycle", day=True),
        "hours": FieldKind("hours at temperature", number=True),
        "core": FieldKind("core reached, °C", number=True),
        "person": FieldKind("who ran it"),
        **_NOTE,
    },
    SESSION: {
        "made": FieldKind("day of inoculation", day=True),
        "person": FieldKind("who inoculated"),
        "hood": FieldKind("which hood or box"),
        **_NOTE,
    },
    RECIPE: {
        "mix": FieldKind("what is in it"),
        "moisture": FieldKind("water, per cent", number=True),
        "supplier": FieldKind("whose pellets or bran"),
        **_NOTE,
    },
    BAG_KIND: {
        "film": FieldKind("film and patch"),
        "mass": FieldKind("usual mass, kg", number=True),
        **_NOTE,
    },
}


def lot_name(lot: str, jar: str) -> str:
    """A jar of a lot as a lot of its own: `LOT/JAR`."""
    return f"{lot}/{jar}" if jar else lot


def parents_of(record: Record) -> list[tuple[str, str]]:
    """(kind, name) of everything a record comes from, the nearest first."""
    found: list[tuple[str, str]] = []
    if record.kind == LOT and "/" in record.name:
        found.append((LOT, record.name.rpartition("/")[0]))
    for name, kind in FIELDS.get(record.kind, {}).items():
        if kind.names and record.fields.get(name):
            found += [(kind.names, part) for part in names_in(record.fields[name])]
    return list(dict.fromkeys(found))


def names_in(text: str) -> list[str]:
    """The names in a field, `;` between them."""
    return [part.strip() for part in text.split(";") if part.strip()]


def checked(record: Record, known: Mapping[str, Mapping[str, object]], zone: str = "UTC") -> Record:
    """The record with its fields checked and blank ones left out.

    known   what the book holds: names by kind
    Raises  BookError for an unknown kind, field, word or name, or one that is its own forebear
    """
    fields = FIELDS.get(record.kind)
    if fields is None:
        raise BookError(record.kind, "no such kind of record", f"kinds are {', '.join(FIELDS)}")
    if not record.name.strip() or len(record.name) > 64:
        raise BookError(record.kind, "has no name", "name it, in up to 64 letters")
    where = f"{record.kind} {record.name}"
    kept: dict[str, str] = {}
    for name, raw in record.fields.items():
        text = str(raw).strip()
        if name not in fields:
            hint = suggestion(name, fields) or f"fields are {', '.join(fields)}"
            raise BookError(where, f"there is no field {name}", hint)
        if text:
            kept[name] = _field(where, name, text, fields[name], known, zone)
    if (record.kind, record.name) in parents_of(Record(record.kind, record.name, kept)):
        raise BookError(where, "can't come from itself", "name what it was made from")
    return Record(record.kind, record.name.strip(), kept)


def _field(
    where: str,
    name: str,
    text: str,
    kind: FieldKind,
    known: Mapping[str, Mapping[str, object]],
    zone: str,
) -> str:
    if kind.words and text not in kind.words:
        raise BookError(where, f"{name} is {text}", f"write {', '.join(kind.words)}")
    if kind.number:
        try:
            return f"{float(text):g}"
        except ValueError as error:
            raise BookError(where, f"{name} is {text}, no number", "write digits only") from error
    if kind.day:
        parse_moment(text, zone)
        return text
    if kind.names:
        parts = names_in(text)
        for part in parts:
            if part not in known.get(kind.names, {}):
                hint = suggestion(part, known.get(kind.names, {}))
                first = f"or write it down first: bagwatt book add {kind.names} {part}"
                what = f"{name}: the book has no {kind.names} {part}"
                raise BookError(where, what, f"{hint} {first}".strip())
        return ";".join(parts)
    return text
