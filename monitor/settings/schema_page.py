"""The page for a phone in the grow room: where it listens, who may look and who may act."""

from __future__ import annotations

import ipaddress
import re
from typing import Literal, Self

from pydantic import Field, ValidationInfo, field_validator, model_validator

from monitor.settings.model import Model, Name, Way, raise_faults
from monitor.settings.schema_metrics import MetricsSettings
from monitor.settings.secrets import Secret
from monitor.settings.units import ConfigPath, DurationS, FileContext, Whole

PASSWORD_FORM = re.compile(
    r"scrypt:(?P<n>\d{4,6}):(?P<r>\d{1,2}):(?P<p>\d):(?P<salt>[0-9a-f]{32}):(?P<key>[0-9a-f]{64})"
)
LINK_FORM = re.compile(r"link:[0-9a-f]{64}")
#: scrypt takes 128·n·r bytes; a hash that asks for more than this would stall a Pi.
MOST_SCRYPT_BYTES = 64 * 2**20


class PersonSettings(Model):
    """Someone who may open the page."""

    name: Name = Field(description="Who it is; stands beside what they do.")
    password: Secret | None = Field(
        default=None, description="Hash of a password, from `bagwatt page --password`."
    )
    link: Secret | None = Field(
        default=None, description="Hash of a link for one device, from `bagwatt page --link`."
    )
    may: Literal["act", "look"] = Field(
        default="act", description="`look` neither answers alarms nor enters readings."
    )
    units: Literal["C", "F"] | None = Field(
        default=None, description="Degrees on this person's pages; left out, the room's."
    )

    @field_validator("password")
    @classmethod
    def _password(cls, value: Secret | None, info: ValidationInfo) -> Secret | None:
        if value is not None and _read(info) and not usable_password(value.reveal()):
            text = "what it refers to is no password hash; `bagwatt page --password` makes one"
            raise ValueError(text)
        return value

    @field_validator("link")
    @classmethod
    def _link(cls, value: Secret | None, info: ValidationInfo) -> Secret | None:
        if value is not None and _read(info) and not LINK_FORM.fullmatch(value.reveal()):
            text = "what it refers to is no hash of a link; `bagwatt page --link` makes one"
            raise ValueError(text)
        return value


class PageSettings(Model):
    """The page. Beyond this machine it needs a login."""

    listen: str = Field(
        default="127.0.0.1",
        max_length=45,
        description="Address to listen on: `127.0.0.1` this machine only, `0.0.0.0` the network.",
    )
    port: Whole = Field(default=8423, ge=1, le=65535, description="Port to listen on.")
    hosts: tuple[Name, ...] = Field(
        default=(),
        max_length=16,
        description="Further names it is called by in a browser; others are refused.",
    )
    certificate: ConfigPath | None = Field(
        default=None, description="File with its certificate (PEM), to be served over https."
    )
    key: ConfigPath | None = Field(
        default=None, description="File with the key of that certificate (PEM)."
    )
    people: tuple[PersonSettings, ...] = Field(
        default=(), max_length=64, description="Who may log in."
    )
    guests: Literal["none", "look"] = Field(
        default="none", description="Whether anybody may look without a login."
    )
    session_s: DurationS = Field(
        default=43200.0,
        ge=300,
        le=2592000,
        description="Logged out after this long without a request.",
    )
    metrics: MetricsSettings | None = Field(
        default=None,
        description="The monitor's own numbers for another program at `/metrics`; left out, none.",
    )

    @field_validator("listen")
    @classmethod
    def _listen(cls, value: str) -> str:
        try:
            ipaddress.ip_address(value)
        except ValueError:
            text = "must be an IP address: 127.0.0.1, 0.0.0.0 or one of this machine's"
            raise ValueError(text) from None
        return value

    @model_validator(mode="after")
    def _check(self, info: ValidationInfo) -> Self:
        faults: list[tuple[Way, str]] = []
        if not self.loopback and not any(one.password or one.link for one in self.people):
            text = "on a network the page needs a login: name a person with a password or a link"
            faults.append((("people",), text))
        if not self.loopback and self.metrics is not None and self.metrics.token is None:
            text = "on a network the numbers need a token: `metrics: {token: {file: PATH}}`"
            faults.append((("metrics",), text))
        if (self.certificate is None) != (self.key is None):
            faults.append((("certificate",), "certificate and key belong together"))
        for part in ("certificate", "key"):
            path = getattr(self, part)
            if path is not None and _read(info) and not path.is_file():
                faults.append(((part,), f"there is no file {path}"))
        names = [one.name for one in self.people]
        faults += [
            (("people", index, "name"), "another one has this name already")
            for index, name in enumerate(names)
            if name in names[:index]
        ]
        raise_faults(faults)
        return self

    @property
    def loopback(self) -> bool:
        """Whether only this machine can reach it."""
        return ipaddress.ip_address(self.listen).is_loopback

    def url(self, host: str) -> str:
        """Its address under a name or an IP address."""
        scheme = "https" if self.certificate else "http"
        return f"{scheme}://{f'[{host}]' if ':' in host else host}:{self.port}/"

    @property
    def for_others(self) -> str:
        """Where others in the network open it; empty where none can, or its name isn't known."""
        if self.loopback:
            return ""
        if not ipaddress.ip_address(self.listen).is_unspecified:
            return self.url(self.listen)
        return self.url(self.hosts[0]) if self.hosts else ""

    @property
    def needs_login(self) -> bool:
        """Whether somebody may log in; without anybody, who sits at the machine may act."""
        return bool(self.people)


def usable_password(text: str) -> bool:
    """Whether it is a password hash that this machine can and should check."""
    form = PASSWORD_FORM.fullmatch(text)
    if form is None:
        return False
    n, r = int(form["n"]), int(form["r"])
    return n & (n - 1) == 0 and r > 0 and int(form["p"]) > 0 and 128 * n * r <= MOST_SCRYPT_BYTES


def _read(info: ValidationInfo) -> bool:
    """Whether secrets and files are looked at: a replay wants the settings without them."""
    return not isinstance(info.context, FileContext) or info.context.outside
