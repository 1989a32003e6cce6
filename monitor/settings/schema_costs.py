"""The section `costs` of `monitor.yaml`: what `bagwatt tune` weighs its faults by."""

from __future__ import annotations

from pydantic import Field

from monitor.settings.model import Model
from monitor.settings.units import Number


class CostSettings(Model):
    """In the farm's own money (`book.currency`)."""

    lost_bag: Number = Field(
        ge=0, le=100_000, description="A bad bag that nothing called, by the time somebody sees it."
    )
    needless_walk: Number = Field(
        ge=0, le=100_000, description="A walk to a sound bag, at night too."
    )
    neighbour_per_day: Number = Field(
        ge=0,
        le=100_000,
        description="What a bad bag does to its neighbours for each day it stands among them.",
    )
