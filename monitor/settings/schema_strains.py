"""`strains.yaml`: defaults, species groups, strains, and how the three become one.

A strain takes each value from itself, else from its group, else from the defaults, else from
`judge.strain.Strain`. A list of core limits is one value. A hybrid names its parents in
place of a group (see `_from_parents`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from itertools import pairwise
from typing import Any, Protocol, Self

from pydantic import Field, model_validator

from monitor.judge.strain import CoreLimit, HeatPrior, Strain
from monitor.settings.model import Model, Name, Way, did_you_mean, raise_faults
from monitor.settings.strains import StrainBook
from monitor.settings.units import (
    DifferenceK,
    DurationD,
    DurationH,
    DurationS,
    Number,
    TemperatureC,
)


class CoreLimitSettings(Model):
    """A core this warm for this long harms the strain."""

    core_c: TemperatureC = Field(ge=15, le=60, description="Core temperature.")
    duration_s: DurationS = Field(ge=0, le=60 * 86400, description="How long the strain bears it.")


class HeatSettings(Model):
    """What a cohort's surface warmth is expected to do, each with its spread (1 sd)."""

    peak_k: DifferenceK | None = Field(
        default=None, gt=0, le=15, description="Surface warmth over local air at the peak."
    )
    peak_k_sd: DifferenceK | None = Field(default=None, gt=0, le=15, description="Its spread.")
    peak_h: DurationH | None = Field(
        default=None, alias="peak_at", gt=0, le=5000, description="Age of the bag at the peak."
    )
    peak_h_sd: DurationH | None = Field(
        default=None, alias="peak_at_sd", gt=0, le=5000, description="Its spread."
    )
    rise_h: DurationH | None = Field(
        default=None, gt=0, le=2000, description="Time constant of the logistic spawn run."
    )
    rise_h_sd: DurationH | None = Field(default=None, gt=0, le=2000, description="Its spread.")
    keep: Number | None = Field(
        default=None, ge=0, le=1, description="Share of the peak's warmth kept after full run."
    )
    keep_sd: Number | None = Field(default=None, gt=0, le=1, description="Its spread.")


class RunSettings(Model):
    """Days from inoculation to full run."""

    shortest_d: DurationD = Field(gt=0, le=400, description="A fast bag.")
    longest_d: DurationD = Field(gt=0, le=400, description="A slow but sound bag.")

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.shortest_d > self.longest_d:
            raise_faults([(("longest",), "longest must not be below shortest")])
        return self


class BandSettings(Model):
    """Room air the strain likes during the spawn run."""

    low_c: TemperatureC = Field(ge=0, le=40, description="Coldest.")
    high_c: TemperatureC = Field(ge=0, le=40, description="Warmest.")

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.low_c >= self.high_c:
            raise_faults([(("high",), "high must be above low")])
        return self


class StrainValues(Model):
    """What defaults, groups and strains may all say; what is left out is inherited."""

    least_excess_k: DifferenceK | None = Field(
        default=None, gt=0, le=10, description="Least excess over the cohort worth a walk."
    )
    false_calls_per_100: Number | None = Field(
        default=None,
        ge=0.01,
        le=20,
        description="False calls you accept per 100 bags and run.",
    )
    hold_s: DurationS | None = Field(
        default=None, ge=0, le=7 * 86400, description="How long a call must hold before it is made."
    )
    core_limits: tuple[CoreLimitSettings, ...] | None = Field(
        default=None,
        min_length=1,
        max_length=8,
        description="Core temperatures and how long they are borne, coolest first.",
    )
    run: RunSettings | None = Field(default=None, description="Days to full run.")
    band: BandSettings | None = Field(
        default=None,
        description="Room air for the spawn run, for people: alarms go by the room's own band.",
    )
    heat: HeatSettings | None = Field(default=None, description="The heat to expect.")

    @model_validator(mode="after")
    def _limits_fall(self) -> Self:
        faults: list[tuple[Way, str]] = []
        limits = self.core_limits or ()
        for index, (cooler, warmer) in enumerate(pairwise(limits), start=1):
            if warmer.core_c <= cooler.core_c:
                text = "list the limits from coolest to warmest"
                faults.append((("core_limits", index, "core"), text))
            elif warmer.duration_s > cooler.duration_s:
                text = "a warmer core can't be borne for longer than a cooler one"
                faults.append((("core_limits", index, "duration"), text))
        raise_faults(faults)
        return self


class GroupSettings(StrainValues):
    """Values for all strains of a species or of several alike."""

    species: str = Field(default="", max_length=128, description="For people: which species.")


class StrainSettings(StrainValues):
    """One strain, by the code on its bags."""

    group: str | None = Field(default=None, description="The species group it belongs to.")
    parents: tuple[str, ...] = Field(
        default=(),
        max_length=8,
        description="For a hybrid without a group: the strains to expect it between.",
    )


def strains_faults(data: Mapping[str, Any]) -> list[tuple[Way, str]]:
    """Wrong references between strains and groups; `data` may be faulty elsewhere."""
    faults: list[tuple[Way, str]] = []
    groups, strains = _blocks(data.get("groups")), _blocks(data.get("strains"))
    parents = {
        name: [one for one in _listed(strain.get("parents")) if isinstance(one, str)]
        for name, strain in strains.items()
    }
    for name, strain in strains.items():
        way: Way = ("strains", name)
        group = strain.get("group")
        if isinstance(group, str) and group not in groups:
            faults.append(((*way, "group"), _no_such("group", group, groups)))
        if group is not None and parents[name]:
            faults.append(((*way, "parents"), "give a group or parents, not both"))
        for index, parent in enumerate(_listed(strain.get("parents"))):
            if isinstance(parent, str) and parent not in strains:
                text = _no_such("strain", parent, strains)
                faults.append(((*way, "parents", index), text))
            elif _descends(parent, name, parents):
                text = f"{name} would be its own forebear"
                faults.append(((*way, "parents", index), text))
    return faults


def _no_such(what: str, name: str, known: Iterable[str]) -> str:
    hint = did_you_mean(name, known) or f"; write it into this file, under `{what}s`"
    return f"there is no such {what}{hint}"


def _blocks(part: Any) -> dict[str, dict[str, Any]]:
    """The entries of a part of the file, each as a block, whatever stands there."""
    named = part if isinstance(part, dict) else {}
    return {name: entry if isinstance(entry, dict) else {} for name, entry in named.items()}


def _listed(part: Any) -> tuple[Any, ...]:
    return part if isinstance(part, tuple) else ()


def _descends(name: str, forebear: str, parents: Mapping[str, list[str]]) -> bool:
    """Whether `name` is `forebear` or comes from it."""
    seen: set[str] = set()
    waiting = [name]
    while waiting:
        current = waiting.pop()
        if current == forebear:
            return True
        if current not in seen:
            seen.add(current)
            waiting.extend(parents.get(current, ()))
    return False


class Learned(Protocol):
    """What was learned of a strain."""

    @property
    def heat(self) -> HeatSettings: ...
    @property
    def run(self) -> RunSettings | None: ...


class StrainsFile(Model):
    """`strains.yaml`."""

    defaults: StrainValues = Field(
        default_factory=StrainValues, description="Values for every strain."
    )
    groups: dict[Name, GroupSettings] = Field(
        default_factory=dict,
        max_length=200,
        description="Species groups by name; each may say all that defaults says.",
    )
    strains: dict[Name, StrainSettings] = Field(
        default_factory=dict,
        max_length=5000,
        description="Strains by the code on the bags; each may say all that defaults says.",
    )

    @model_validator(mode="after")
    def _check(self) -> Self:
        raise_faults(strains_faults(self.model_dump(by_alias=True)))
        return self

    def book(self, learned: Mapping[str, Learned] | None = None) -> StrainBook:
        """Every strain with what it inherits; what is `learned` of it stands before its group's
        and parents' values and behind its own."""
        plain = self._book({})
        return self._book(learned, plain.strains) if learned else plain

    def _book(
        self, learned: Mapping[str, Learned], unlearned: Mapping[str, Strain] | None = None
    ) -> StrainBook:
        generic = _with_values(Strain(), self.defaults)
        done: dict[str, Strain] = {}
        bands: dict[str, tuple[float, float]] = {}

        def resolve(name: str) -> Strain:
            if name not in done:
                own = self.strains[name]
                base = _from_parents(generic, [resolve(parent) for parent in own.parents])
                band = self.defaults.band
                if own.group is not None:
                    group = self.groups[own.group]
                    base = replace(_with_values(generic, group), group=own.group)
                    band = group.band or band
                if band := own.band or band:
                    bands[name] = (band.low_c, band.high_c)
                if name in learned:
                    seen = learned[name]
                    base = _with_values(base, StrainValues(heat=seen.heat, run=seen.run))
                done[name] = replace(_with_values(base, own), name=name, known=True)
            return done[name]

        for name in self.strains:
            resolve(name)
        parents = {name: own.parents for name, own in self.strains.items() if own.parents}
        return StrainBook(
            generic=generic,
            strains=done,
            bands_c=bands,
            parents=parents,
            unlearned=dict(unlearned or {}),
        )


def _with_values(base: Strain, values: StrainValues) -> Strain:
    """`base` with whatever `values` says in its place."""
    changed: dict[str, Any] = {
        name: value
        for name in ("least_excess_k", "false_calls_per_100", "hold_s")
        if (value := getattr(values, name)) is not None
    }
    if values.core_limits is not None:
        changed["core_limits"] = tuple(
            CoreLimit(limit.core_c, limit.duration_s) for limit in values.core_limits
        )
    if values.run is not None:
        changed["run_days"] = (values.run.shortest_d, values.run.longest_d)
    if values.heat is not None:
        said = values.heat.model_dump(exclude_none=True)
        changed["prior"] = replace(base.prior, **said)
    return replace(base, **changed)


def _from_parents(generic: Strain, parents: list[Strain]) -> Strain:
    """What to expect of a hybrid before its first run.

    Its heat is any parent's alike: mean and variance of the equal mixture of their priors
    (law of total variance), so unlike parents give a wide prior. It is held to every core
    limit of every parent, and may run as fast as the fastest or as slow as the slowest.
    Budgets are the defaults', as they are the grower's choice and not inherited in the blood.
    """
    if not parents:
        return generic
    priors = [parent.prior for parent in parents]

    def mixed(name: str) -> dict[str, float]:
        means = [getattr(prior, name) for prior in priors]
        variances = [getattr(prior, f"{name}_sd") ** 2 for prior in priors]
        mean = sum(means) / len(means)
        spread = sum(variances) / len(means) + sum((one - mean) ** 2 for one in means) / len(means)
        return {name: mean, f"{name}_sd": spread**0.5}

    heat = mixed("peak_k") | mixed("peak_h") | mixed("rise_h") | mixed("keep")
    return replace(
        generic,
        core_limits=_strictest([limit for parent in parents for limit in parent.core_limits]),
        run_days=(
            min(parent.run_days[0] for parent in parents),
            max(parent.run_days[1] for parent in parents),
        ),
        prior=HeatPrior(**heat),
    )


def _strictest(limits: list[CoreLimit]) -> tuple[CoreLimit, ...]:
    """The limits no other one already implies, coolest first."""
    kept: list[CoreLimit] = []
    for limit in sorted(limits, key=lambda one: (one.core_c, one.duration_s)):
        if not kept or limit.duration_s < kept[-1].duration_s:
            kept.append(limit)
    return tuple(kept)
