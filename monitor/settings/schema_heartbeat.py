"""The section `heartbeat` of `monitor.yaml`."""

from __future__ import annotations

import re

from pydantic import Field, ValidationInfo, field_validator

from monitor.settings.model import Model
from monitor.settings.secrets import Secret
from monitor.settings.units import DurationS, FileContext


class HeartbeatSettings(Model):
    """A dead man's switch outside that is told now and then that the monitor is well."""

    url: Secret = Field(
        description="Its address (http or https), by reference; a GET of it is a beat."
    )
    every_s: DurationS = Field(
        default=300.0, ge=30, le=86400, description="How often; the switch must wait for longer."
    )

    @field_validator("url")
    @classmethod
    def _url(cls, url: Secret, info: ValidationInfo) -> Secret:
        read = not isinstance(info.context, FileContext) or info.context.outside
        if read and not re.match(r"https?://[^/\s@]+(/\S*)?$", url.reveal()):
            raise ValueError("what it refers to should look like `https://…`")
        return url
