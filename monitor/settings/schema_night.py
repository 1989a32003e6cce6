"""The section `night` of `monitor.yaml`: which hours are a night, and the morning message."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field, model_validator

from monitor.settings.model import Model, Name, raise_faults
from monitor.settings.units import MinuteOfDay


class NightSettings(Model):
    """The night review."""

    at_minute: MinuteOfDay | None = Field(
        default=None,
        ge=0,
        le=1439,
        description='When the review goes out as a message, such as "07:00"; left out, never.',
    )
    from_minute: MinuteOfDay = Field(
        default=1200, ge=0, le=1439, description="When a night begins."
    )
    until_minute: MinuteOfDay = Field(default=480, ge=0, le=1439, description="When it ends.")
    to: tuple[Name, ...] = Field(
        default=(), max_length=64, description="Recipients who get the message; left out, all."
    )
    picture: Literal["attached", "none"] = Field(
        default="attached",
        description="Whether a picture follows the message, in one of its own.",
    )

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.from_minute == self.until_minute:
            raise_faults([(("until",), "until must differ from from")])
        return self
