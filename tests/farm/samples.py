"""Messages of invented rooms at Quarry Lane."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from monitor.farm.gather import Farm, Message, Moment
from monitor.neighbours.topics import Topics
from monitor.room_messages import RoomClaim
from monitor.room_summary import (
    VERSION,
    AlarmSummary,
    BagCounts,
    LotSummary,
    MonitorHealth,
    RoomAir,
    RoomSummary,
    to_json,
)
from monitor.terms import AlarmKind, Reason, Urgency
from tests.broker import Broker

NOW_S = 1_796_000_400.0
TOPICS = Topics()


def lot(
    name: str = "L-7", bags: int = 8, warm: int = 0, cold: int = 0, strain: str = "GO-12"
) -> LotSummary:
    return LotSummary(name, strain, "S1", bags, bags, 0, warm + cold, warm, cold, 0.25, False)


def alarm(
    urgency: Urgency = Urgency.TODAY, answered: bool = False, bag: str = "B-1"
) -> AlarmSummary:
    return AlarmSummary(
        f"a-{bag}-{urgency}", AlarmKind.HOT_BAG, bag, urgency, Reason.ADDED_HEAT,
        NOW_S - 3600.0, answered,
    )  # fmt: skip


def summary(
    room: str = "North",
    at_s: float = NOW_S,
    alarms: Sequence[AlarmSummary] = (),
    lots: Sequence[LotSummary] = (),
    instance: str = "",
) -> RoomSummary:
    called = len(alarms)
    return RoomSummary(
        version=VERSION,
        site="Quarry Lane",
        room=room,
        instance=instance or f"store of {room}",
        at_s=at_s,
        air=RoomAir(21.5, 20.0, 23.25, 20.0, 24.0, 71.0),
        bags=BagCounts(total=24, now=0, today=called, later=0, calm=24 - called, unheard=0),
        alarms=tuple(alarms),
        alarms_left_out=0,
        lots=tuple(lots),
        lots_left_out=0,
        monitor=MonitorHealth((), 0, 20.0),
    )


def claim(room: str = "North", instance: str = "", host: str = "pi-north") -> RoomClaim:
    return RoomClaim(
        version=VERSION,
        site="Quarry Lane",
        room=room,
        instance=instance or f"store of {room}",
        run="r1",
        since_s=NOW_S - 86_400.0,
        host=host,
        keepalive_s=30.0,
    )


class Heard:
    """A farm that is told things at a time that the test moves."""

    def __init__(self) -> None:
        self.farm = Farm(TOPICS)
        self.wall_s = NOW_S
        self.monotonic_s = 500.0

    @property
    def now(self) -> Moment:
        return Moment(self.monotonic_s, self.monotonic_s + 7.0, self.wall_s)

    def pass_s(self, seconds: float) -> None:
        self.wall_s += seconds
        self.monotonic_s += seconds

    def raw(self, topic: str, payload: bytes, retained: bool = False) -> None:
        self.farm.take(Message(topic, payload, retained, self.now))

    def summary(self, told: RoomSummary, retained: bool = False) -> None:
        self.raw(TOPICS.summary(told.room), told.to_json(), retained)

    def claim(self, told: RoomClaim, retained: bool = False) -> None:
        self.raw(TOPICS.claim(told.room, told.instance), to_json(RoomClaim, told), retained)

    def room(self, name: str = "North", **parts: object) -> None:
        """A watched room tells how it stands, just now."""
        self.claim(claim(name))
        self.summary(replace(summary(name, self.wall_s - 20.0), **parts))  # type: ignore[arg-type]


def told(broker: Broker, *rooms: RoomSummary, claimed: bool = True) -> None:
    """What the broker keeps of these rooms."""
    for one in rooms:
        who = claim(one.room)
        payload = to_json(RoomClaim, who)
        broker.publish((TOPICS.summary(one.room), one.to_json()), retain=True)
        if claimed:
            broker.publish((TOPICS.claim(one.room, who.instance), payload), retain=True)
