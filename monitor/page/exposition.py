"""Numbers as text another program reads: the Prometheus text format, version 0.0.4. Pure."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

MEDIA_TYPE = "text/plain; version=0.0.4; charset=utf-8"

_NAME = re.compile(r"[a-zA-Z_:][a-zA-Z0-9_:]*")
_LABEL = re.compile(r"(?!__)[a-zA-Z_][a-zA-Z0-9_]*")
_IN_LABEL = str.maketrans({"\\": r"\\", '"': r"\"", "\n": r"\n"})
_IN_HELP = str.maketrans({"\\": r"\\", "\n": r"\n"})


@dataclass(frozen=True, slots=True)
class Sample:
    """One value with the labels that tell it from its sisters."""

    value: float
    labels: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Family:
    """Values of one name; a counter's name ends in `_total`, a unit is the last word before it."""

    name: str
    kind: Literal["counter", "gauge"]
    help: str
    samples: tuple[Sample, ...]

    def __post_init__(self) -> None:
        assert _NAME.fullmatch(self.name), self.name
        assert self.name.endswith("_total") == (self.kind == "counter"), self.name
        assert all(_LABEL.fullmatch(key) for one in self.samples for key in one.labels)
        seen = {tuple(sorted(one.labels.items())) for one in self.samples}
        assert len(seen) == len(self.samples), f"{self.name} has a value twice"


def one(value: float | None, **labels: str) -> tuple[Sample, ...]:
    """A single value; nothing at all where there is none, as a missing number is not 0."""
    return () if value is None else (Sample(float(value), labels),)


def exposition(families: Iterable[Family]) -> str:
    """The text of all that have a value, in the order given."""
    return "".join(f"{line}\n" for family in families for line in _lines(family))


def _lines(family: Family) -> Iterator[str]:
    if not family.samples:
        return
    yield f"# HELP {family.name} {family.help.translate(_IN_HELP)}"
    yield f"# TYPE {family.name} {family.kind}"
    for sample in family.samples:
        labels = ",".join(f'{key}="{_label(value)}"' for key, value in sample.labels.items())
        yield f"{family.name}{f'{{{labels}}}' if labels else ''} {_number(sample.value)}"


def _label(value: str) -> str:
    """A label's value; a lone surrogate, which no UTF-8 can carry, becomes `?`."""
    return value.translate(_IN_LABEL).encode("utf-8", "replace").decode("utf-8")


def _number(value: float) -> str:
    if math.isnan(value):
        return "NaN"
    if math.isinf(value):
        return "+Inf" if value > 0 else "-Inf"
    return str(int(value)) if value == int(value) and abs(value) < 2**53 else repr(float(value))
