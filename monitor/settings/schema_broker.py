"""What every connection to an MQTT broker is set by, whatever it is for."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal, Protocol, Self

from pydantic import Field, ValidationInfo, model_validator

from monitor.settings.model import Model, Way, raise_faults
from monitor.settings.secrets import Secret
from monitor.settings.units import ConfigPath, DurationS, FileContext, Whole


class TlsSettings(Model):
    """Encryption towards the broker; the server's name is always checked."""

    ca: ConfigPath | None = Field(
        default=None,
        description="File with the certificates to trust (PEM); left out, those of the system.",
    )
    certificate: ConfigPath | None = Field(
        default=None,
        description="File with bagwatt's own certificate (PEM), if the broker asks for one.",
    )
    key: ConfigPath | None = Field(
        default=None, description="File with the key of that certificate (PEM)."
    )

    @model_validator(mode="after")
    def _check(self, info: ValidationInfo) -> Self:
        faults: list[tuple[Way, str]] = []
        if self.key is not None and self.certificate is None:
            faults.append((("key",), "a key needs its certificate beside it"))
        if self.certificate is not None and self.key is None:
            faults.append((("certificate",), "a certificate needs its key beside it"))
        if isinstance(info.context, FileContext) and info.context.outside:
            for name in ("ca", "certificate", "key"):
                path: Path | None = getattr(self, name)
                if path is not None and not path.is_file():
                    faults.append(((name,), f"there is no file {path}"))
        raise_faults(faults)
        return self


Host = Annotated[
    str, Field(min_length=1, max_length=253, description="Name or address of the broker.")
]
Port = Annotated[
    Whole, Field(ge=1, le=65535, description="Port of the broker; usually 8883 with tls.")
]
Version = Annotated[
    Literal["5", "3.1.1"], Field(description="Version of MQTT to speak, in quotes.")
]
Username = Annotated[str | None, Field(description="User name at the broker.")]
Password = Annotated[Secret | None, Field(description="Password, by reference.")]
Tls = Annotated[
    TlsSettings | None,
    Field(description="Encrypt the connection; `tls: {}` trusts the system's certificates."),
]
KeepaliveS = Annotated[
    DurationS,
    Field(ge=5, le=3600, description="Longest silence before the connection is tested."),
]


class BrokerSettings(Protocol):
    """A block of the settings that says how to reach a broker."""

    @property
    def host(self) -> str: ...
    @property
    def port(self) -> int: ...
    @property
    def version(self) -> Literal["5", "3.1.1"]: ...
    @property
    def username(self) -> str | None: ...
    @property
    def password(self) -> Secret | None: ...
    @property
    def tls(self) -> TlsSettings | None: ...
    @property
    def keepalive_s(self) -> float: ...


def broker_faults(settings: BrokerSettings) -> list[tuple[Way, str]]:
    """What can be said of such a block only as a whole."""
    faults: list[tuple[Way, str]] = []
    if "/" in settings.host or " " in settings.host or "@" in settings.host:
        faults.append((("host",), "write the name or address alone; port, user and tls have keys"))
    if settings.password is not None and settings.username is None:
        faults.append((("password",), "a password needs a username beside it"))
    return faults
