"""The block `page.metrics` of `monitor.yaml`: the monitor's own numbers for another program."""

from __future__ import annotations

import re

from pydantic import Field, ValidationInfo, field_validator

from monitor.settings.model import Model
from monitor.settings.secrets import Secret
from monitor.settings.units import FileContext

#: Signs of a token (RFC 6750, section 2.1); shorter ones could be guessed.
_TOKEN = re.compile(r"[A-Za-z0-9._~+/-]{16,256}=*")


class MetricsSettings(Model):
    """Who may read the monitor's own numbers at `/metrics`."""

    token: Secret | None = Field(
        default=None,
        description="Token a reader must bring (`Authorization: Bearer …`), by reference; may be "
        "left out where the page listens on this machine only.",
    )

    @field_validator("token")
    @classmethod
    def _token(cls, token: Secret | None, info: ValidationInfo) -> Secret | None:
        read = not isinstance(info.context, FileContext) or info.context.outside
        if token is not None and read and not _TOKEN.fullmatch(token.reveal()):
            raise ValueError(
                "what it refers to is no token: 16 to 256 letters, digits or ._~+/-; "
                "`openssl rand -hex 24` makes one"
            )
        return token
