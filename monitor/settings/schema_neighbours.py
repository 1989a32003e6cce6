"""The section `neighbours` of `monitor.yaml`: the broker where the room tells how it stands."""

from __future__ import annotations

from typing import Annotated, Self

from pydantic import Field, field_validator, model_validator

from monitor.settings.model import Model, Name, raise_faults
from monitor.settings.schema_broker import (
    Host,
    KeepaliveS,
    Password,
    Port,
    Tls,
    Username,
    Version,
    broker_faults,
)
from monitor.settings.units import Switch


def prefix_fault(prefix: str) -> str:
    """Why topics can't begin so (MQTT 5, section 4.7); empty where they can."""
    if any(sign in "+#" or not sign.isprintable() for sign in prefix):
        return "holds no `+`, `#` or unprintable sign, as topics are published under it"
    if prefix.startswith("$") or "" in prefix.split("/"):
        return "looks like `bagwatt/rooms`: levels parted by `/`, none empty, without `$` first"
    return ""


class NeighbourSettings(Model):
    """A broker where the room's standing is published for other rooms and programs."""

    host: Host
    port: Port = 1883
    version: Version = "5"
    username: Username = None
    password: Password = None
    tls: Tls = None
    keepalive_s: KeepaliveS = 30.0
    site: Name | None = Field(default=None, description="The farm's name, as the messages tell it.")
    prefix: Annotated[str, Field(min_length=1, max_length=200)] = Field(
        default="bagwatt/rooms", description="Topics begin so; the same for all rooms of a farm."
    )
    bags: Switch = Field(default=True, description="Whether each bag has a message of its own.")
    senml: Switch = Field(
        default=False, description="Whether readings and estimates go out too, as SenML (RFC 8428)."
    )

    @field_validator("prefix")
    @classmethod
    def _prefix(cls, prefix: str) -> str:
        if fault := prefix_fault(prefix):
            raise ValueError(fault)
        return prefix

    @model_validator(mode="after")
    def _check(self) -> Self:
        raise_faults(broker_faults(self))
        return self
