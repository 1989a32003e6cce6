"""`bagwatt farm` against a real mosquitto: what it prints, what its end says to a script."""

from __future__ import annotations

import json
import time
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from demo.farm import messages, rooms
from monitor.cli import main
from monitor.cli.exits import Exit
from monitor.farm.gather import Farm, Message, Moment
from monitor.farm.listener import Heard, Line
from monitor.farm.lots import lots_over_rooms
from monitor.neighbours.topics import DEFAULT_PREFIX
from monitor.room_messages import RoomClaim
from monitor.room_summary import (
    AlarmSummary,
    LotSummary,
    MonitorHealth,
    RoomAir,
    RoomSummary,
    to_json,
)
from monitor.terms import Urgency
from tests.broker import Broker
from tests.farm.samples import TOPICS, alarm, claim, lot, summary, told
from tests.readme_examples import missing
from tests.waiting import free_port

SETTINGS = """\
room: {{name: North, timezone: Europe/London, band_low: 18 C, band_high: 26 C}}
channels: none
store: {{path: bagwatt.db}}
"""
NEIGHBOURS = "neighbours: {{host: 127.0.0.1, port: {port}}}\n"


def settings(folder: Path, text: str = "", port: int = 0) -> str:
    (folder / "monitor.yaml").write_text((SETTINGS + text).format(port=port), encoding="utf-8")
    return str(folder)


def test_all_rooms_are_printed_in_the_order_to_go_and_a_bad_lot_once(
    broker: Broker, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    now_s = time.time()
    north = summary("North", now_s - 120.0, lots=[lot("L-7", 9, 4), lot("L-1", 30, 1)])
    south = replace(
        summary("South", now_s - 60.0, [alarm(Urgency.NOW)], [lot("L-7", 8, 3), lot("L-2", 30)]),
        air=RoomAir(17.25, 16.0, 18.0, 18.0, 24.0, None),
        monitor=MonitorHealth(("bench",), 2, 20.0),
    )
    told(broker, north, south)
    told(broker, summary("East", now_s - 7200.0), claimed=False)
    code = main(["farm", "--config", settings(tmp_path, NEIGHBOURS, broker.port)])
    text = capsys.readouterr().out
    assert code == Exit.FOUND
    rows = text.splitlines()
    assert [row.split()[0] for row in rows[:4]] == ["ROOM", "South", "East", "North"]
    assert "17.2 °C, under its 18.0 °C" in rows[1]
    assert "silent: bench; 2 messages wait to be delivered" in rows[1]
    assert "nobody watches it; last heard" in rows[2]
    assert "2 min ago" in rows[3] and rows[3].endswith("well")
    assert text.count("Lot L-7 of GO-12 is warmer than the other lots in 2 rooms.") == 1
    assert "4 of 9 bags in North, 3 of 8 bags in South" in text
    assert "Hold the lot" in text


def test_the_farm_in_the_readme_is_told_so(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The rooms of its picture; the loft's monitor is gone, and the east has a silent source."""
    now_s = datetime(2026, 3, 7, 21, 10, tzinfo=UTC).timestamp()
    now, farm = Moment(500.0, 500.0, now_s), Farm(TOPICS)
    loft = next(one for one in rooms(now_s) if one.room == "Loft")
    health = MonitorHealth(("bench",), 0, 20.0)
    east = replace(loft, room="East", instance="store of East", monitor=health)
    kept = [*messages(now_s, DEFAULT_PREFIX), (TOPICS.summary("East"), east.to_json())]
    kept.append((TOPICS.claim("East", east.instance), to_json(RoomClaim, claim("East"))))
    for topic, payload in kept:
        if topic != TOPICS.claim("Loft", loft.instance):
            farm.take(Message(topic, payload, True, now))
    view = farm.look(now, True)
    heard = Heard(now_s, Line("", True, now_s, True, ""), view, lots_over_rooms(view.room_lots()))
    monkeypatch.setattr("monitor.cli.farm._listen", lambda _: heard)
    assert main(["farm", "--config", settings(tmp_path, NEIGHBOURS, 1)]) == Exit.FOUND
    assert missing("The farm at a glance", capsys.readouterr().out) == []


def test_json_is_whole_and_all_well_ends_with_0(
    broker: Broker, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    told(broker, summary("North", time.time() - 120.0, lots=[lot()]), summary("South", time.time()))
    words = ["farm", "--json", "--config", settings(tmp_path, NEIGHBOURS, broker.port)]
    assert main(words) == Exit.DONE
    found = json.loads(capsys.readouterr().out)
    assert [one["room"] for one in found["rooms"]] == ["North", "South"]
    assert {one["hearing"] for one in found["rooms"]} == {"heard"}
    assert RoomSummary.from_json(json.dumps(found["rooms"][0]["summary"]).encode()).lots == (lot(),)
    assert found["broker"]["connected"] and found["broker"]["problem"] == ""
    assert main(words[:1] + words[2:]) == Exit.DONE
    assert "no spawn lot is bad in two rooms" in capsys.readouterr().out


def test_a_message_of_another_version_is_shown_and_wants_a_person(
    broker: Broker, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    told(broker, summary("North", time.time()))
    body = json.loads(summary("South").to_json()) | {"version": 3}
    broker.publish((TOPICS.summary("South"), json.dumps(body)), retain=True)
    broker.publish((TOPICS.claim("South", "x"), "?"), retain=True)
    assert main(["farm", "--config", settings(tmp_path, NEIGHBOURS, broker.port)]) == Exit.FOUND
    text = capsys.readouterr().out
    assert "unknown version: version 3; 1 is known" in text
    assert "not understood: bagwatt/rooms/South/claim/x: not JSON" in text


@pytest.mark.parametrize(
    ("alarms", "lots", "claimed", "more", "code"),
    [
        ([], [], True, b"", Exit.DONE),
        ([alarm(Urgency.LATER), alarm(Urgency.NOW, answered=True)], [], True, b"", Exit.DONE),
        ([alarm(Urgency.TODAY)], [], True, b"", Exit.FOUND),
        ([alarm(Urgency.NOW)], [], True, b"", Exit.FOUND),
        ([], [lot("L-7", 9, 4), lot("L-1", 30)], True, b"", Exit.FOUND),
        ([], [], False, b"", Exit.FOUND),
        ([], [], True, b"?", Exit.FOUND),
    ],
    ids=["well", "answered", "today", "now", "a bad lot", "nobody watches", "not understood"],
)
def test_its_end_says_whether_something_wants_a_person(
    broker: Broker,
    tmp_path: Path,
    alarms: list[AlarmSummary],
    lots: list[LotSummary],
    claimed: bool,
    more: bytes,
    code: Exit,
) -> None:
    now_s = time.time()
    told(broker, summary("North", now_s, alarms, lots), claimed=claimed)
    told(broker, summary("South", now_s, [], lots))
    if more:
        broker.publish((TOPICS.claim("South", "x"), more), retain=True)
    assert main(["farm", "--config", settings(tmp_path, NEIGHBOURS, broker.port)]) == code


def test_no_broker_no_room_and_no_block_are_told_apart(
    broker: Broker, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["farm", "--config", settings(tmp_path)]) == Exit.UNUSABLE
    assert "no block `neighbours`" in capsys.readouterr().err
    assert main(["farm", "--config", settings(tmp_path, NEIGHBOURS, free_port())]) == Exit.FAILED
    assert "can't be reached; see that it runs" in capsys.readouterr().err
    began_s = time.monotonic()
    assert main(["farm", "--config", settings(tmp_path, NEIGHBOURS, broker.port)]) == Exit.FAILED
    assert time.monotonic() - began_s < 5.0
    err = capsys.readouterr().err
    assert "no room is heard under bagwatt/rooms" in err and "ACL" in err
