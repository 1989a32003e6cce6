"""The section `mirror` of `monitor.yaml`: the server of time series that is sent a copy."""

from __future__ import annotations

import re
from typing import Annotated

from pydantic import Field, field_validator

from monitor.settings.model import Model, Name, raise_faults
from monitor.settings.secrets import Secret
from monitor.settings.units import ConfigPath, DurationS, Whole

#: Tags that bagwatt itself gives a point.
OWN_TAGS = (
    "site", "room", "rack", "shelf", "bag", "strain", "probe", "kind", "subject", "transition",
)  # fmt: skip
_TAG = re.compile(r"[A-Za-z][A-Za-z0-9_]*")

_Word = Annotated[str, Field(max_length=200, pattern=r"^[^\x00-\x1f]*$")]


class MirrorSettings(Model):
    """A copy of readings, estimates and alarms at a server of time series."""

    url: _Word = Field(
        description="Its address (InfluxDB v2 write protocol), such as http://barn.example:8428."
    )
    org: _Word = Field(default="-", description="Organisation there; `-` where it has none.")
    bucket: Annotated[str, Field(min_length=1, max_length=200, pattern=r"^[^\x00-\x1f]*$")] = Field(
        default="bagwatt", description="Bucket or database there; it must exist."
    )
    token: Secret | None = Field(
        default=None, description="Token that may write into it, by reference."
    )
    ca: ConfigPath | None = Field(
        default=None,
        description="File with the certificates to trust (PEM); left out, those of the system.",
    )
    site: Name = Field(description="The farm's name: every point bears it as the tag `site`.")
    tags: dict[Name, Name] = Field(
        default_factory=dict, max_length=16, description="Further tags for every point."
    )
    every_s: DurationS = Field(
        default=10.0, ge=1, le=3600, description="How often what is new is sent."
    )
    batch: Whole = Field(default=1000, ge=1, le=20_000, description="Points in one request.")
    timeout_s: DurationS = Field(
        default=20.0, ge=1, le=300, description="How long one request may take in all."
    )

    @field_validator("url")
    @classmethod
    def _url(cls, url: str) -> str:
        if re.match(r"https?://[^/\s]*@", url):
            raise ValueError("a secret does not belong in an address; give it as token")
        if not re.fullmatch(r"https?://[^/\s?#]+(/[^\s?#]*)?", url):
            raise ValueError("an address looks like http://host:8428 or https://host/path")
        return url.rstrip("/")

    @field_validator("token")
    @classmethod
    def _token(cls, token: Secret | None) -> Secret | None:
        if token is not None and not re.fullmatch(r"[\x20-\x7e]*", token.reveal()):
            raise ValueError("what it refers to holds signs that no header may have")
        return token

    @field_validator("tags")
    @classmethod
    def _tags(cls, tags: dict[str, str]) -> dict[str, str]:
        faults: list[tuple[tuple[str | int, ...], str]] = []
        for name in tags:
            if name in OWN_TAGS:
                faults.append(((name,), "bagwatt gives this tag itself; name yours otherwise"))
            elif not _TAG.fullmatch(name):
                faults.append(((name,), "a tag's name has letters, digits and _ only"))
        raise_faults(faults)
        return tags

    @property
    def target(self) -> str:
        """What is copied to: another server or bucket is copied to from the start."""
        return f"{self.url} {self.org} {self.bucket}"
