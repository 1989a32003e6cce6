"""The settings as the program sees them; `monitor.yaml` and `strains.yaml` are their files.

`Settings` is everything; `MonitorFile` is what stands in `monitor.yaml`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache
from typing import Annotated, Any, Literal, Self
from zoneinfo import ZoneInfo, available_timezones

from pydantic import Field, ValidationInfo, field_validator, model_validator

from monitor.settings.model import Model, Name, Way, did_you_mean, raise_faults
from monitor.settings.schema_book import BookSettings, WalkSettings
from monitor.settings.schema_broker import TlsSettings
from monitor.settings.schema_costs import CostSettings
from monitor.settings.schema_heartbeat import HeartbeatSettings
from monitor.settings.schema_mirror import MirrorSettings
from monitor.settings.schema_neighbours import NeighbourSettings
from monitor.settings.schema_night import NightSettings
from monitor.settings.schema_page import PageSettings, PersonSettings
from monitor.settings.schema_payload import FieldSettings, LineSettings, PayloadSettings
from monitor.settings.schema_sources import (
    MqttSettings,
    OneWireSettings,
    SerialSettings,
    SourceSettings,
    TopicSettings,
)
from monitor.settings.schema_store import StoreSettings
from monitor.settings.secrets import Secret
from monitor.settings.strains import StrainBook
from monitor.settings.units import (
    ConfigPath,
    Day,
    DifferenceK,
    DurationS,
    FileContext,
    FlowM3PerH,
    Kind,
    MinuteOfDay,
    PowerW,
    SlopeKPerH,
    TemperatureC,
    VolumeM3,
    Whole,
)
from monitor.values import AlarmKind, Urgency

__all__ = [
    "BookSettings",
    "FieldSettings",
    "FrameSettings",
    "HeartbeatSettings",
    "LineSettings",
    "MirrorSettings",
    "MonitorFile",
    "MqttSettings",
    "NeighbourSettings",
    "NightSettings",
    "OneWireSettings",
    "PageSettings",
    "PayloadSettings",
    "PersonSettings",
    "ProbeSettings",
    "QuietSettings",
    "RecipientSettings",
    "RoomSettings",
    "Secret",
    "SerialSettings",
    "Settings",
    "SourceSettings",
    "StoreSettings",
    "TlsSettings",
    "TopicSettings",
    "WalkSettings",
    "WatchSettings",
]

Degrees = Literal["C", "F"]


_zones = cache(available_timezones)  # it walks some 600 files


def _known_zone(name: str) -> str:
    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError) as error:
        text = "no such time zone; write it as in the IANA list, such as Europe/London"
        raise ValueError(text + did_you_mean(name, _zones())) from error
    return name


class RoomSettings(Model):
    """The incubation room."""

    name: Name = Field(description="The room's name, as messages call it.")
    folder: ConfigPath | None = Field(
        default=None,
        description="Folder with bags.csv and probes.csv (walks.csv and book.csv if kept); left "
        "out, the book's commands alone say what is in the room.",
    )
    timezone: Annotated[str, Kind("time zone")] = Field(
        description="The room's time zone (IANA), such as Europe/London."
    )
    units: Degrees = Field(default="C", description="Degrees in messages and pages: C or F.")
    band_low_c: TemperatureC = Field(
        ge=-5, le=45, description="The room's air should not be colder than this."
    )
    band_high_c: TemperatureC = Field(
        ge=-5, le=45, description="The room's air should not be warmer than this."
    )
    band_hold_s: DurationS = Field(
        default=1800.0,
        ge=0,
        le=86400,
        description="How long the air must be outside the band before an alarm.",
    )
    slope_limit_k_per_h: SlopeKPerH = Field(
        default=0.8,
        gt=0,
        le=20,
        description="A lasting slope of the whole room beyond this is an alarm at any level.",
    )
    cooling_w: PowerW | None = Field(
        default=None,
        alias="cooling",
        ge=0,
        le=1_000_000,
        description="Heat the room's cooling can take out; `bagwatt forecast` holds the bags' "
        "heat against it.",
    )
    volume_m3: VolumeM3 | None = Field(
        default=None, alias="volume", gt=0, le=100_000, description="The room's air."
    )
    fresh_air_m3_per_h: FlowM3PerH | None = Field(
        default=None,
        alias="fresh_air",
        gt=0,
        le=1_000_000,
        description="Fresh air brought in; with it `bagwatt forecast` tells the CO2 to expect.",
    )

    @field_validator("timezone")
    @classmethod
    def _zone(cls, name: str) -> str:
        return _known_zone(name)

    @model_validator(mode="after")
    def _check(self, info: ValidationInfo) -> Self:
        faults: list[tuple[Way, str]] = []
        if not self.band_low_c < self.band_high_c:
            faults.append((("band_high",), "band_high must be above band_low"))
        in_file = isinstance(info.context, FileContext) and info.context.outside
        if in_file and self.folder is not None and not self.folder.is_dir():
            faults.append((("folder",), f"there is no folder {self.folder}"))
        raise_faults(faults)
        return self


class ProbeSettings(Model):
    """What is known of one probe."""

    offset_k: DifferenceK = Field(
        default=0.0,
        ge=-5,
        le=5,
        description="Added to every reading of the probe (from a comparison in one water bath).",
    )
    calibrated: Day | None = Field(
        default=None, description="When that comparison was made, such as 2026-02-11."
    )


class QuietSettings(Model):
    """Hours in which only urgency `now` is sent."""

    from_minute: MinuteOfDay = Field(ge=0, le=1439, description='Begin, such as "22:00".')
    until_minute: MinuteOfDay = Field(ge=0, le=1439, description='End, such as "06:30".')

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.from_minute == self.until_minute:
            raise_faults(
                [(("until",), "until must differ from from; leave quiet out for no quiet hours")]
            )
        return self


class RecipientSettings(Model):
    """A person who is told."""

    name: Name = Field(description="Who it is.")
    urls: tuple[Secret, ...] = Field(
        min_length=1,
        max_length=16,
        description="Apprise URLs, each by reference, as they hold passwords.",
    )
    least_urgency: Urgency = Field(
        default=Urgency.TODAY, description="Tell only what is at least this urgent."
    )
    kinds: tuple[AlarmKind, ...] = Field(
        default=(), description="Tell only these kinds of alarm; left out, all."
    )
    quiet: QuietSettings | None = Field(
        default=None, description="Quiet hours; urgency now breaks them."
    )
    units: Degrees | None = Field(
        default=None, description="Degrees in this person's messages; left out, the room's."
    )
    morning_minute: MinuteOfDay = Field(
        default=420,
        ge=0,
        le=1439,
        description="When the morning message with all that is `later` goes out.",
    )

    @field_validator("urls")
    @classmethod
    def _urls(cls, urls: tuple[Secret, ...], info: ValidationInfo) -> tuple[Secret, ...]:
        read = not isinstance(info.context, FileContext) or info.context.outside
        raise_faults(
            [
                ((index,), "what it refers to is no URL: it should look like `scheme://…`")
                for index, url in enumerate(urls)
                if read and not re.match(r"[A-Za-z][A-Za-z0-9+.-]*://\S+$", url.reveal())
            ]
        )
        return urls


class FrameSettings(Model):
    """The step in which the judge works."""

    length_s: DurationS = Field(
        default=600.0, ge=60, le=3600, description="Length of a frame; a whole part of an hour."
    )
    grace_s: DurationS = Field(
        default=20.0, ge=0, le=600, description="How long a closed frame waits for late readings."
    )

    @model_validator(mode="after")
    def _check(self) -> Self:
        faults: list[tuple[Way, str]] = []
        if 3600 % self.length_s:
            faults.append((("length",), "must divide an hour: 5, 10, 15, 20, 30 or 60 min"))
        if self.grace_s >= self.length_s:
            faults.append((("grace",), "must be shorter than the frame"))
        raise_faults(faults)
        return self


class WatchSettings(Model):
    """Limits of the daemon itself."""

    queue_length: Whole = Field(
        default=20_000,
        ge=100,
        le=1_000_000,
        description="Messages that may wait between the sources and the store.",
    )


def recipients_of(data: Mapping[str, Any]) -> list[dict[str, Any]]:
    """The recipients' blocks as far as they are blocks."""
    entries = data.get("recipients")
    return [one for one in entries if isinstance(one, dict)] if isinstance(entries, tuple) else []


def monitor_faults(data: Mapping[str, Any]) -> list[tuple[Way, str]]:
    """What can be said of the file only as a whole; `data` may be faulty elsewhere."""
    faults: list[tuple[Way, str]] = []
    for part in ("sources", "recipients"):
        names: set[str] = set()
        entries = data.get(part)
        for index, entry in enumerate(entries if isinstance(entries, tuple) else ()):
            name = entry.get("name") if isinstance(entry, dict) else None
            if isinstance(name, str) and name in names:
                faults.append(((part, index, "name"), "another one has this name already"))
            elif isinstance(name, str):
                names.add(name)
    # a list, as a faulty name need not be hashable
    night, known = data.get("night"), [one.get("name") for one in recipients_of(data)]
    wanted = night.get("to") if isinstance(night, dict) else ()
    for index, name in enumerate(wanted if isinstance(wanted, tuple) else ()):
        if name not in known:
            faults.append((("night", "to", index), "there is no recipient of that name"))
    if "channels" not in data or data["channels"] is None:
        if not data.get("recipients"):
            text = "nobody would be told: name a recipient, or say `channels: none` on purpose"
            faults.append((("recipients",), text))
    elif data.get("recipients"):
        text = "`none` contradicts the recipients; leave one of them out"
        faults.append((("channels",), text))
    return faults


class MonitorFile(Model):
    """`monitor.yaml`: the room, where readings come from and who is told."""

    room: RoomSettings = Field(description="The incubation room.")
    sources: tuple[SourceSettings, ...] = Field(
        default=(), max_length=32, description="Where readings come from."
    )
    probes: dict[Name, ProbeSettings] = Field(
        default_factory=dict, max_length=4096, description="Offsets of probes, by name."
    )
    recipients: tuple[RecipientSettings, ...] = Field(
        default=(), max_length=64, description="Who is told."
    )
    channels: Literal["none"] | None = Field(
        default=None, description="`none` says on purpose that nobody is told."
    )
    store: StoreSettings = Field(description="Where everything is kept.")
    book: BookSettings = Field(
        default_factory=BookSettings, description="How this farm keeps its book."
    )
    costs: CostSettings | None = Field(
        default=None,
        description="What `bagwatt tune` weighs; left out, it proposes nothing.",
    )
    walk: WalkSettings = Field(
        default_factory=WalkSettings, description="The infrared thermometer of the walk."
    )
    frames: FrameSettings = Field(
        default_factory=FrameSettings, description="The step in which the judge works."
    )
    heartbeat: HeartbeatSettings | None = Field(
        default=None, description="A dead man's switch outside; left out, none is told."
    )
    mirror: MirrorSettings | None = Field(
        default=None, description="A copy at a server of time series; left out, there is none."
    )
    neighbours: NeighbourSettings | None = Field(
        default=None,
        description="A broker where other rooms and programs read how the room stands; left out, "
        "nothing is told.",
    )
    page: PageSettings | None = Field(
        default=None, description="The page for a phone; left out, none is served."
    )
    night: NightSettings = Field(
        default_factory=NightSettings, description="The night review and its morning message."
    )
    watch: WatchSettings = Field(
        default_factory=WatchSettings, description="Limits of the daemon itself."
    )

    @model_validator(mode="after")
    def _check(self) -> Self:
        raise_faults(monitor_faults(self.model_dump(by_alias=True)))
        return self

    @property
    def page_for_others(self) -> str:
        """Where others in the network open the page; empty where none can."""
        if self.page is None:
            return ""
        return self.book.page_url or self.page.for_others

    @property
    def channels_none(self) -> bool:
        """Whether the grower said on purpose that nobody is told."""
        return self.channels == "none"


class Settings(MonitorFile):
    """Everything the program was told: `monitor.yaml` and the strains of `strains.yaml`.

    `notes` are what is allowed but worth a second look.
    """

    strains: StrainBook = Field(default_factory=StrainBook, description="From strains.yaml.")
    notes: tuple[str, ...] = Field(default=(), description="Worth a second look.")
