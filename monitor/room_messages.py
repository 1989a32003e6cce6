"""What a room tells besides its summary: its claim to its name, each standing alarm, each bag.

Their JSON is as the summary's (`room_summary.py`): names of fields, moments as `at` and `since`
in UTC, an unknown `version` is refused. Missing numbers are null.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, ClassVar

from pydantic import ConfigDict, Field

from monitor.room_summary import STRICT, At, Name, Since, Version
from monitor.terms import AlarmKind, Reason, Urgency

LONGEST_WORDS = 4_000
#: A claim that was not told again for so many of its intervals has lapsed; an interval counts as
#: no longer than this [s].
CLAIM_INTERVALS, LONGEST_INTERVAL_S = 3.0, 3600.0
_Words = Annotated[str, Field(max_length=LONGEST_WORDS)]


@dataclass(frozen=True, slots=True)
class RoomClaim:
    """Who watches the room of this name: a monitor, by the id of its store.

    Told again every `keepalive_s` [s] and emptied when the monitor is gone. `since` is when this
    store first claimed the name: of two the older keeps it. `run` tells two runs on copies of one
    store apart, and sorts by when they started.
    """

    __pydantic_config__: ClassVar[ConfigDict] = STRICT

    version: Version
    site: Name
    room: Name
    instance: Name
    run: Name
    since_s: Since
    host: Name
    keepalive_s: Annotated[float, Field(gt=0)]

    @property
    def rank(self) -> tuple[float, str, str]:
        """The lowest of several claims to one name keeps it."""
        return self.since_s, self.instance, self.run

    @property
    def lasts_s(self) -> float:
        """How long it stands unless told again [s of life]."""
        return CLAIM_INTERVALS * min(self.keepalive_s, LONGEST_INTERVAL_S)


@dataclass(frozen=True, slots=True)
class Figures:
    """The numbers an alarm rests on; null where one does not apply.

    °C, K, W/kg fresh mass, K/h, s. `evidence` is natural log odds that the heat is real, `peers`
    the bags it was compared with, `affected` how many one cause explains.
    """

    __pydantic_config__: ClassVar[ConfigDict] = STRICT

    surface_c: float | None = None
    air_c: float | None = None
    excess_k: float | None = None
    added_w_per_kg: float | None = None
    rate_k_per_h: float | None = None
    evidence: float | None = None
    peers: int | None = None
    core_c: float | None = None
    limit_c: float | None = None
    reached_in_s: float | None = None
    silent_for_s: float | None = None
    affected: int | None = None


@dataclass(frozen=True, slots=True)
class RoomAlarm:
    """One alarm that stands, told when something happens to it and emptied when it ends.

    `answered` once somebody acknowledged or shelved it; `told_s` is when it last changed. `title`
    and `text` are for people, in the room's own degrees and time.
    """

    __pydantic_config__: ClassVar[ConfigDict] = STRICT

    version: Version
    site: Name
    room: Name
    instance: Name
    id: Name
    kind: AlarmKind
    subject: Name
    urgency: Urgency
    reason: Reason
    since_s: Since
    told_s: At
    answered: bool
    bag: Name
    probe: Name
    rack: Name
    shelf: int | None
    title: _Words
    text: _Words
    figures: Figures


@dataclass(frozen=True, slots=True)
class BagStanding:
    """How one bag stands; told when that changes and each hour, emptied when the bag leaves.

    `called` is the urgency of the gravest alarm on the bag itself and `kind` which; both null
    while it is calm. `reason` is the judge's own word on it, null until it has one. Surface and
    core [°C], `excess_k` surface warmth beyond its cohort's [K], `heat_w_per_kg` [W/kg].
    """

    __pydantic_config__: ClassVar[ConfigDict] = STRICT

    version: Version
    site: Name
    room: Name
    instance: Name
    bag: Name
    strain: Name
    batch: Name
    session: Name
    spawn_lot: Name
    rack: Name
    shelf: int | None
    slot: int | None
    called: Urgency | None
    kind: AlarmKind | None
    reason: Reason | None
    surface_c: float | None
    excess_k: float | None
    heat_w_per_kg: float | None
    core_c: float | None
    at_s: At
