"""Three more rooms at Quarry Lane, told to a broker as their monitors would: for pictures."""

from __future__ import annotations

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

_MINUTE_S = 60.0


def _alarm(bag: str, urgency: Urgency, since_s: float) -> AlarmSummary:
    return AlarmSummary(
        f"hot-{bag}", AlarmKind.HOT_BAG, bag, urgency, Reason.ADDED_HEAT, since_s, False
    )


def _lot(name: str, bags: int, warm: int = 0) -> LotSummary:
    excess_k = 0.9 if warm > 1 else 0.0
    return LotSummary(name, "GO-12", "S1", bags, bags, 0, warm, warm, 0, excess_k, False)


def _room(
    name: str, at_s: float, air_c: float, alarms: tuple[AlarmSummary, ...], *lots: LotSummary
) -> RoomSummary:
    by = {urgency: sum(one.urgency is urgency for one in alarms) for urgency in Urgency}
    total = sum(lot.bags for lot in lots)
    return RoomSummary(
        version=VERSION,
        site="Quarry Lane Mushrooms",
        room=name,
        instance=f"store of {name}",
        at_s=at_s,
        air=RoomAir(air_c, air_c - 0.6, air_c + 0.8, 18.0, 24.0, 88.0),
        bags=BagCounts(total, by[Urgency.NOW], by[Urgency.TODAY], 0, total - len(alarms), 0),
        alarms=alarms,
        alarms_left_out=0,
        lots=lots,
        lots_left_out=0,
        monitor=MonitorHealth((), 0, 20.0),
        page=f"http://{name.split(maxsplit=1)[0].lower()}.example:8423/",
    )


def rooms(now_s: float) -> list[RoomSummary]:
    """How they stand: one lot is bad in two of them, the third is calm."""
    hour_s = 60 * _MINUTE_S
    north = tuple(_alarm(f"GO12-00{n}", Urgency.TODAY, now_s - n * hour_s) for n in (3, 5, 8, 9))
    south = (
        _alarm("GO12-112", Urgency.NOW, now_s - 9 * hour_s),
        *(_alarm(f"GO12-1{n}", Urgency.TODAY, now_s - hour_s) for n in (15, 17)),
    )
    in_north = _lot("GO12-G7", 9, 4), _lot("GO12-G5", 30)
    in_south = _lot("GO12-G7", 8, 3), _lot("GO12-G6", 30, 1)
    return [
        _room("North", now_s - 2 * _MINUTE_S, 20.9, north, *in_north),
        _room("South", now_s - 7 * _MINUTE_S, 25.1, south, *in_south),
        _room("Loft", now_s - 5 * _MINUTE_S, 21.4, (), _lot("GO12-G4", 48)),
    ]


def messages(now_s: float, prefix: str) -> list[tuple[str, bytes]]:
    """Topics and what the broker keeps under them."""
    topics, found = Topics(prefix), []
    for one in rooms(now_s):
        host = f"pi-{one.room.lower()}"
        claim = RoomClaim(VERSION, one.site, one.room, one.instance, "1", now_s - 9e5, host, 30.0)
        found.append((topics.summary(one.room), one.to_json()))
        found.append((topics.claim(one.room, one.instance), to_json(RoomClaim, claim)))
    return found
