"""`learned.yaml`: what is normal for each strain here, as `bagwatt tune --learn` wrote it.

It stands between the group and the strain: a strain's own `heat` and `run` in `strains.yaml`
are the grower's word and hold against it. The file is the program's; people read it.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from pydantic import Field

from monitor.settings.model import Model, Name
from monitor.settings.schema_strains import HeatSettings, RunSettings
from monitor.settings.units import Day, DurationH, Whole

LEARNED_FILE = "learned.yaml"
_HEAD = """\
# What is normal for each strain in this room, learned from its finished healthy runs by
# `bagwatt tune STRAIN --learn` (or taken from another farm with --import). It is written by the
# program: to have your own say, write `heat` or `run` for the strain into strains.yaml.
"""


class LagSettings(Model):
    """How slowly its bags follow their air, as it was seen; kept to be read and compared."""

    seen_h: DurationH = Field(alias="seen", gt=0, le=100, description="The lag.")
    low_h: DurationH = Field(gt=0, le=100, description="At least this, with 90 % to say so.")
    high_h: DurationH = Field(gt=0, le=100, description="At most this.")


class LearnedStrain(Model):
    """One strain: where the figures are from, and the figures."""

    room: str = Field(default="", max_length=128, description="The room it was learned in.")
    first: Day = Field(description="Day of the first reading it rests on.")
    last: Day = Field(description="Day of the last one.")
    runs: Whole = Field(ge=1, le=100_000, description="Finished runs behind it.")
    bags: Whole = Field(ge=1, le=10_000_000, description="Healthy bags behind it.")
    heat: HeatSettings = Field(description="The heat to expect.")
    run: RunSettings | None = Field(default=None, description="Days to full run.")
    lag: LagSettings | None = Field(default=None, description="Lag behind the air.")


class LearnedFile(Model):
    """`learned.yaml`."""

    strains: dict[Name, LearnedStrain] = Field(
        default_factory=dict, max_length=5000, description="Strains by the code on the bags."
    )


def learned_text(strains: Mapping[str, LearnedStrain]) -> str:
    """The file's text; numbers are written so that they read back as they are shown."""
    lines = [_HEAD.rstrip("\n"), "strains:" if strains else "strains: {}"]
    for name, one in sorted(strains.items()):
        heat = one.heat
        lines += [
            f"  {_quoted(name)}:",
            f"    room: {_quoted(one.room)}",
            f"    first: {one.first.isoformat()}",
            f"    last: {one.last.isoformat()}",
            f"    runs: {one.runs}",
            f"    bags: {one.bags}",
            "    heat:",
            f"      peak: {heat.peak_k or 0.0:.2f} K",
            f"      peak_sd: {heat.peak_k_sd or 0.0:.2f} K",
            f"      peak_at: {heat.peak_h or 0.0:.1f} h",
            f"      peak_at_sd: {heat.peak_h_sd or 0.0:.1f} h",
            f"      rise: {heat.rise_h or 0.0:.1f} h",
            f"      rise_sd: {heat.rise_h_sd or 0.0:.1f} h",
            f"      keep: {heat.keep or 0.0:.3f}",
            f"      keep_sd: {heat.keep_sd or 0.0:.3f}",
        ]
        if one.run is not None:
            shortest, longest = one.run.shortest_d, one.run.longest_d
            lines.append(f"    run: {{shortest: {shortest:.1f} d, longest: {longest:.1f} d}}")
        if one.lag is not None:
            seen, low, high = one.lag.seen_h, one.lag.low_h, one.lag.high_h
            lines.append(f"    lag: {{seen: {seen:.2f} h, low: {low:.2f} h, high: {high:.2f} h}}")
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def write_learned(config_dir: Path, strains: Mapping[str, LearnedStrain]) -> None:
    """Put the file in place whole; the old one stays as `learned.yaml.bak`. Raises OSError."""
    path = config_dir / LEARNED_FILE
    fresh = path.with_name(path.name + ".new")
    fresh.write_text(learned_text(strains), encoding="utf-8")
    if path.exists():
        path.replace(path.with_name(path.name + ".bak"))
    fresh.replace(path)
