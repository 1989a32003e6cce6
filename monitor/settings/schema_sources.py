"""Where readings come from: MQTT brokers, serial ports, the 1-wire file tree."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from monitor.settings.model import Model, Name, Way, raise_faults
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
from monitor.settings.schema_payload import LineSettings, PayloadSettings
from monitor.settings.units import ConfigPath, DurationS, Whole

_CAPTURES = ("{probe}", "{quantity}")
_ROM = re.compile(r"[0-9a-f]{2}-[0-9a-f]{12}")


def topic_fault(topic: str) -> str:
    """What is wrong with a topic pattern (MQTT 5 section 4.7, plus captures), or an empty text."""
    levels = topic.split("/")
    for index, level in enumerate(levels):
        if "#" in level and (level != "#" or index != len(levels) - 1):
            return "`#` stands alone and last, as in `farm/#`"
        if "+" in level and level != "+":
            return "`+` stands for one whole level, as in `farm/+/temp`"
        if ("{" in level or "}" in level) and level not in _CAPTURES:
            return "a capture is one whole level: {probe} or {quantity}"
    for capture in _CAPTURES:
        if levels.count(capture) > 1:
            return f"{capture} may stand in it once only"
    if "\x00" in topic:
        return "a topic holds no zero character"
    return ""


class TopicSettings(Model):
    """One subscription and what its messages look like."""

    topic: str = Field(
        min_length=1,
        max_length=1024,
        description="Topic to subscribe to, in quotes; `+` and `#` as in MQTT, "
        "{probe} and {quantity} match one level and are read: `barn/+/{probe}/temp`.",
    )
    payload: PayloadSettings = Field(
        default_factory=PayloadSettings, description="What the messages look like."
    )

    @model_validator(mode="after")
    def _check(self) -> Self:
        faults: list[tuple[Way, str]] = []
        if fault := topic_fault(self.topic):
            faults.append((("topic",), fault))
        if "{probe}" not in self.topic:
            if self.payload.shape == "number":
                faults.append(
                    (("topic",), "a bare number has no probe name: put {probe} into the topic")
                )
            for index, part in enumerate(self.payload.fields):
                if part.probe_at is None and not part.probe_suffix:
                    way: Way = ("payload", "fields", index)
                    text = "whose reading is it? put {probe} into the topic, or give probe_at"
                    faults.append((way, text))
        raise_faults(faults)
        return self


class MqttSettings(Model):
    """A broker and the topics to read from it."""

    kind: Literal["mqtt"] = Field(default="mqtt", description="An MQTT broker.")
    name: Name = Field(description="Your name for this source.")
    host: Host
    port: Port = 1883
    version: Version = "5"
    client_id: str = Field(
        default="",
        max_length=65,
        description="Client id at the broker; left out, made from machine and source name.",
    )
    username: Username = None
    password: Password = None
    tls: Tls = None
    keepalive_s: KeepaliveS = 30.0
    session_expiry_s: DurationS = Field(
        default=7 * 86400.0,
        ge=0,
        le=365 * 86400,
        description="How long the broker keeps messages for bagwatt while it is away.",
    )
    receive_maximum: Whole = Field(
        default=500,
        ge=1,
        le=1000,
        description="Messages the broker may send ahead of acknowledgement.",
    )
    topics: tuple[TopicSettings, ...] = Field(
        min_length=1, max_length=256, description="What to subscribe to."
    )

    @model_validator(mode="after")
    def _check(self) -> Self:
        faults = broker_faults(self)
        seen: set[str] = set()
        for index, topic in enumerate(self.topics):
            if topic.topic in seen:
                faults.append((("topics", index, "topic"), "this topic is listed twice"))
            seen.add(topic.topic)
        raise_faults(faults)
        return self


class SerialSettings(Model):
    """A serial port that sends lines."""

    kind: Literal["serial"] = Field(default="serial", description="A serial port.")
    name: Name = Field(description="Your name for this source.")
    port: ConfigPath = Field(
        description="The port by its lasting name, such as `/dev/serial/by-id/usb-…`."
    )
    baud: Whole = Field(default=9600, ge=50, le=4_000_000, description="Bits per second.")
    line: LineSettings = Field(description="What a line looks like.")
    max_line_bytes: Whole = Field(
        default=512, ge=16, le=4096, description="Longer lines are refused whole."
    )


class OneWireSettings(Model):
    """Probes on the 1-wire bus, read from the kernel's file tree."""

    kind: Literal["onewire"] = Field(default="onewire", description="The 1-wire file tree.")
    name: Name = Field(description="Your name for this source.")
    folder: ConfigPath = Field(
        default=Path("/sys/bus/w1/devices"), description="Where the kernel shows the devices."
    )
    every_s: DurationS = Field(
        default=60.0, gt=0, le=3600, description="How often every probe is read."
    )
    probes: dict[str, Name] = Field(
        default_factory=dict,
        max_length=512,
        description="Names for probes by their ROM, such as `28-0316a2795aff: air-low`; "
        "left out, the ROM is the name.",
    )

    @model_validator(mode="after")
    def _check(self) -> Self:
        faults: list[tuple[Way, str]] = []
        named: dict[str, str] = {}
        for rom, probe in self.probes.items():
            if not _ROM.fullmatch(rom):
                text = "a ROM is two hex digits, `-` and twelve more, as its folder is called"
                faults.append((("probes", rom), text))
            if probe in named:
                faults.append((("probes", rom), f"{probe} is already the name of {named[probe]}"))
            named[probe] = rom
        raise_faults(faults)
        return self


SourceSettings = Annotated[
    MqttSettings | SerialSettings | OneWireSettings, Field(discriminator="kind")
]
