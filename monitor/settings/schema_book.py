"""Settings of the grower's book and of the walk with the infrared thermometer."""

from __future__ import annotations

import re
from typing import Literal

from pydantic import Field, field_validator

from monitor.settings.model import Model
from monitor.settings.units import Number, TemperatureC


class BookSettings(Model):
    """How this farm keeps its book."""

    bag_code: str = Field(
        default="",
        max_length=200,
        description="Regular expression every bag code matches whole, such as `GO12-\\d{3}`; "
        "left out, any code.",
    )
    bag_price: Number | None = Field(
        default=None, gt=0, le=100_000, description="What a lost bag costs the farm."
    )
    currency: str = Field(default="", max_length=8, description="Put before prices, such as £.")
    page_url: str = Field(
        default="",
        max_length=200,
        description="Where phones find the page; the code on a label opens `page_url/bag/CODE`,"
        " and the farm's view links to it.",
    )

    @field_validator("bag_code")
    @classmethod
    def _pattern(cls, pattern: str) -> str:
        try:
            re.compile(pattern)
        except re.error as error:
            raise ValueError(f"not a regular expression: {error}") from error
        return pattern

    @field_validator("page_url")
    @classmethod
    def _url(cls, url: str) -> str:
        if url and not re.fullmatch(r"https?://[^\s\"<>\\]+", url):
            raise ValueError("should look like `http://bagwatt.local:8423`")
        return url.rstrip("/")


class WalkSettings(Model):
    """The infrared thermometer of the walk, and what its readings mean."""

    units: Literal["C", "F"] | None = Field(
        default=None, description="What a reading without a unit is in; left out, the room's."
    )
    emissivity: Number = Field(
        default=0.95,
        ge=0.1,
        le=1,
        description="Emissivity of what is aimed at: 0.95 paper or opaque film, 0.96 vinyl tape.",
    )
    thermometer_emissivity: Number = Field(
        default=0.95, ge=0.1, le=1, description="What the thermometer itself is set to."
    )
    reflected_c: TemperatureC | None = Field(
        default=None,
        ge=-10,
        le=60,
        description="What the bags mirror (walls, other bags); left out, the middle of the "
        "room's band.",
    )
