"""All that is known of a farm as plain data, for scripts: °C, K, seconds since 1970."""

from __future__ import annotations

import json
from typing import Any

from monitor.farm.listener import Heard
from monitor.farm.lot_nouns import FarmLot
from monitor.farm.standing import RoomStanding


def farm_as_plain(heard: Heard) -> dict[str, Any]:
    """Rooms with the summaries they told, lots in two rooms, what was refused."""
    line = heard.line
    return {
        "at_s": heard.at_s,
        "broker": {"where": line.where, "connected": line.up, "problem": line.problem},
        "rooms": [_room(one) for one in heard.view.rooms],
        "rooms_left_out": heard.view.left_out,
        "lots": [_lot(one) for one in heard.lots.lots],
        "lots_left_out": heard.lots.left_out,
        "refused": [
            {"topic": one.topic, "reason": one.reason, "detail": one.detail, "at_s": one.at_s}
            for one in heard.view.refused
        ],
    }


def _room(room: RoomStanding) -> dict[str, Any]:
    refused = room.refused
    return {
        "room": room.room,
        "hearing": room.hearing,
        "age_s": room.age_s,
        "heard_s": room.heard_s,
        "clock_ahead_s": room.clock_ahead_s,
        "watched_by": [{"host": one.host, "since_s": one.since_s} for one in room.claimants],
        "refused": None if refused is None else f"{refused.reason}: {refused.detail}",
        "summary": None if room.summary is None else json.loads(room.summary.to_json()),
    }


def _lot(lot: FarmLot) -> dict[str, Any]:
    return {
        "spawn_lot": lot.spawn_lot,
        "strain": lot.strain,
        "bad": lot.bad,
        "reason": lot.reason,
        "side": lot.side,
        "chance": lot.chance,
        "adjusted_chance": lot.adjusted,
        "compared_within_rooms": lot.by_room,
        "others_called": lot.others_called,
        "others": lot.others,
        "mean_excess_k": lot.mean_excess_k,
        "rooms": [
            {
                "room": one.room,
                "bags": one.bags,
                "counted": one.of,
                "called_warm": one.warm,
                "called_cold": one.cold,
                "mean_excess_k": one.mean_excess_k,
                "lot_alarm": one.apart,
                "heard": one.heard,
            }
            for one in lot.shares
        ],
    }
