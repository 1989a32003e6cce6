"""What `strains.yaml` amounts to: every strain with what it inherited."""

from __future__ import annotations

from dataclasses import replace

from pydantic import Field

from monitor.judge.strain import Strain
from monitor.settings.model import Model


class StrainBook(Model):
    """The strains by name; one nobody wrote down gets the generic values and `known` False."""

    generic: Strain = Field(default_factory=Strain, description="Values for any strain.")
    strains: dict[str, Strain] = Field(default_factory=dict, description="Strains by name.")
    bands_c: dict[str, tuple[float, float]] = Field(
        default_factory=dict, description="Room band a strain likes, where its group says so."
    )
    parents: dict[str, tuple[str, ...]] = Field(
        default_factory=dict, description="What a hybrid comes from."
    )

    unlearned: dict[str, Strain] = Field(
        default_factory=dict, description="Strains as they were before anything was learned."
    )

    def before_learning(self, name: str) -> Strain:
        """The strain as `lookup` gives it, without what `learned.yaml` says of it."""
        return self.unlearned.get(name) or self.lookup(name)

    def lookup(self, name: str) -> Strain:
        """The strain of that name, or the generic one under that name."""
        found = self.strains.get(name)
        return found if found is not None else replace(self.generic, name=name, known=False)

    def thresholds(self) -> dict[str, tuple[float | tuple[float, float], ...]]:
        """What the grower set of each strain, "" any other: least excess [K], false calls per
        100 bags and run, hold [s], and each core limit [°C] with its duration [s]."""
        return {
            name: (
                one.least_excess_k,
                one.false_calls_per_100,
                one.hold_s,
                *((limit.core_c, limit.duration_s) for limit in one.core_limits),
            )
            for name, one in (*self.strains.items(), ("", self.generic))
        }


def changes(old: StrainBook, new: StrainBook) -> list[str]:
    """What differs between two books of strains, a line for each strain."""
    lines = []
    for name in dict.fromkeys([*old.strains, *new.strains, ""]):
        before, after = ((book.lookup(name) if name else book.generic) for book in (old, new))
        parts = [
            f"{word} {getattr(before, field):g} -> {getattr(after, field):g}{unit}"
            for field, word, unit in _SAID
            if getattr(before, field) != getattr(after, field)
        ]
        if before.core_limits != after.core_limits:
            parts.append(f"core_limits {_limits(before)} -> {_limits(after)}")
        if any(getattr(before, field) != getattr(after, field) for field in _EXPECTED):
            parts.append("run, or the heat to expect")
        if parts:
            lines.append(f"{name or 'any other strain'}: {', '.join(parts)}")
    return lines


def _limits(strain: Strain) -> str:
    return ", ".join(f"{one.core_c:g} C {one.duration_s / 3600:g} h" for one in strain.core_limits)


_SAID = (
    ("least_excess_k", "least_excess", " K"),
    ("false_calls_per_100", "false_calls_per_100", ""),
    ("hold_s", "hold", " s"),
)
_EXPECTED = ("run_days", "prior")
