"""The settings of the store."""

from __future__ import annotations

from pydantic import Field

from monitor.settings.model import Model
from monitor.settings.units import ConfigPath, DurationD, DurationS, Whole


class StoreSettings(Model):
    """The one file that holds everything."""

    path: ConfigPath = Field(description="The SQLite file; made if it is missing.")
    spare: ConfigPath | None = Field(
        default=None,
        description="Folder on another medium (a USB stick, another disk) that takes what comes "
        "while the store can't be written; left out or not usable, memory does until a power cut.",
    )
    commit_every_s: DurationS = Field(
        default=2.0,
        ge=0.01,
        le=60,
        description="How often readings are committed; they are acknowledged only then.",
    )
    commit_count: Whole = Field(
        default=100, ge=1, le=10_000, description="Or when this many are waiting."
    )
    retention_days: DurationD = Field(
        default=30.0,
        alias="retention",
        ge=1,
        le=3650,
        description="Raw readings older than this may be thinned out.",
    )
