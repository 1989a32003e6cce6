"""The mirror into a real VictoriaMetrics, read back through its own HTTP API."""

from __future__ import annotations

import json
import random
import signal
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.mirror import Mirror
from monitor.mirror.points import Points
from monitor.mirror.sending import Sending
from monitor.mirror.server import Server, Word
from monitor.mirror.walk import Walk
from monitor.settings.schema_mirror import MirrorSettings
from monitor.store import copied, mirrored, open_reader
from monitor.store.mirrored import Place
from tests.air_room import readings_in
from tests.broker import Broker, running_broker
from tests.clocks import TurnedClock
from tests.faults.kills import PROBES, write_room
from tests.faults.warm import Start, warm
from tests.mirror.fake import FakeServer
from tests.mirror.rooms import ROOM, SITE, START_S, MirroredRoom
from tests.victoria import Victoria, running_victoria
from tests.waiting import wait_until

DRAIN_LIMIT_S = 90.0
Kept = dict[tuple[str, str, int], float]


@pytest.fixture(scope="module")
def victoria(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Victoria]:
    with running_victoria(tmp_path_factory.mktemp("victoria")) as server:
        yield server


def kept(victoria: Victoria, site: str) -> Kept:
    """What the server keeps of a site, as lines' series and fields would name it."""
    found: Kept = {}
    for series in victoria.series(f'{{site="{site}"}}'):
        measurement, field = series.name.split("_", 1)
        tags = {key: text for key, text in series.labels.items() if key != "__name__"}
        name = ",".join([measurement, *(f"{key}={text}" for key, text in sorted(tags.items()))])
        moments = [at_s for at_s, _ in series.points]
        assert len(moments) == len(set(moments)), f"doubled: {series}"
        found |= {(name, field, round(at_s * 1000)): value for at_s, value in series.points}
    return found


def wanted(room: MirroredRoom, site: str) -> Kept:
    """The same, from the store."""
    book = FakeServer()
    walk = Walk(room.store, Points(site, ROOM, {}), Place())
    book._keep([one.line for one in walk.all(lambda: room.settled) if one.line])
    return {
        (series.replace("\\", ""), field, at_ms): value
        for (series, field, at_ms), value in book.points.items()
    }


def mirror_of(room: MirroredRoom, victoria: Victoria, site: str) -> Mirror:
    settings = MirrorSettings(url=victoria.url, site=site, batch=100, every_s=1.0)
    made = Mirror(settings, ROOM, room.store.path, TurnedClock(START_S), lambda: room.settled)
    made._begin(room.store)
    return made


def test_all_the_store_has_is_read_back_with_its_names_values_and_moments(
    victoria: Victoria, tmp_path: Path
) -> None:
    """Spaces, umlauts, commas and equals signs in tags too."""
    room = MirroredRoom(tmp_path)
    room.day(11, 120)
    mirror = mirror_of(room, victoria, SITE)
    while mirror.turn(room.store) < 1.0:
        pass
    found = kept(victoria, SITE)
    assert found == wanted(room, SITE)
    assert any("bag=ÄÖ 2," in series and ROOM in series for series, _, _ in found)
    assert {series.split(",")[0] for series, _, _ in found} == {"reading", "estimate", "alarm"}
    room.store.close()


def test_sent_twice_from_the_start_nothing_is_doubled(victoria: Victoria, tmp_path: Path) -> None:
    room = MirroredRoom(tmp_path)
    room.day(12)
    for _ in range(2):
        room.store.connection.execute("DELETE FROM mirrors")
        mirror = mirror_of(room, victoria, "Twice")
        while mirror.turn(room.store) < 1.0:
            pass
    assert kept(victoria, "Twice") == wanted(room, "Twice")
    room.store.close()


def test_a_server_that_is_restarted_in_between_lacks_nothing(tmp_path: Path) -> None:
    room = MirroredRoom(tmp_path)
    room.fill(400)
    with running_victoria(tmp_path) as victoria:
        mirror = mirror_of(room, victoria, SITE)
        mirror.turn(room.store)
        victoria.stop()
        assert mirror.turn(room.store) > 1.0
        assert "not reached" in mirror.health().detail
        victoria.start()
        while mirror.turn(room.store) < 1.0:
            pass
        assert kept(victoria, SITE) == wanted(room, SITE)
    room.store.close()


def test_a_point_of_a_check_is_taken_and_the_servers_clock_is_known(victoria: Victoria) -> None:
    now_s = time.time()
    settings = MirrorSettings(url=f"{victoria.url}/", site="Check", timeout_s=20.0)
    answer = Server(settings).write([f"mirror,site=Check tried=1.0 {now_s * 1000:.0f}"], now_s)
    assert answer.word is Word.TAKEN
    assert answer.ahead_s is not None and abs(answer.ahead_s) < 60.0
    elsewhere = MirrorSettings(url=f"{victoria.url}/elsewhere", site="Check")
    sent = Sending(Server(elsewhere), lambda at_s: "m f=1.0").send(["m f=1.0"], now_s)
    assert sent.failed is not None and sent.failed.word in (Word.REFUSED, Word.AGAIN)


UNTIMED = '[{topic: "quarry/{probe}/temp"}]'
FIELD = "{value: /t, probe_at: /p, time_at: /at}"
TIMED = f'[{{topic: "quarry/+", payload: {{shape: json, fields: [{FIELD}]}}}}]'
KILLS, SENT = 4, 250


def _house(folder: Path, broker: Broker, victoria: Victoria) -> None:
    """The room of the kills, its probes with a clock of their own, and a mirror in small steps."""
    write_room(folder, broker.port)
    path = folder / "monitor.yaml"
    text = path.read_text(encoding="utf-8").replace(UNTIMED, TIMED)
    mirror = f"mirror: {{url: {victoria.url}, site: Kills, every: 1 s, batch: 20}}\n"
    path.write_text(text + mirror, encoding="utf-8")


def _message(number: int, now_s: float) -> tuple[str, str]:
    """A reading of the last minutes, at a moment of its own."""
    body = {"p": f"k{number % PROBES}", "t": 15 + number / 1024, "at": now_s - 600 + number / 8}
    return f"quarry/{number}", json.dumps(body)


def _behind(folder: Path) -> int:
    with open_reader(folder / "bagwatt.db") as store:
        row = store.connection.execute("SELECT reading_id FROM mirrors").fetchone()
        return store.last_reading_id() - (row[0] if row else 0)


def _killed(start: Start, folder: Path, draw: random.Random) -> None:
    """Start, and kill while the mirror sends: its place has just moved."""
    before = _behind(folder) if (folder / "bagwatt.db").exists() else 0
    process = start(folder)
    wait_until(
        lambda: readings_in(folder) and _behind(folder) not in (0, before),
        DRAIN_LIMIT_S,
        "it copies",
    )
    time.sleep(draw.uniform(0.0, 0.2))
    process.end(signal.SIGKILL)


def test_a_watch_killed_again_and_again_copies_every_reading_once(
    victoria: Victoria, tmp_path: Path
) -> None:
    """kill -9 of the whole `bagwatt watch` between and in its requests, over real mosquitto."""
    draw = random.Random(1)
    now_s = time.time()
    with running_broker(tmp_path, "max_inflight_messages 500") as broker, warm() as start:
        _house(tmp_path, broker, victoria)
        process = start(tmp_path)
        said = "Sending SUBACK to bagwatt-kills"
        wait_until(lambda: said in broker.log(), DRAIN_LIMIT_S, "subscribed")
        process.end(signal.SIGTERM)
        for kill in range(KILLS):
            first = SENT * kill
            broker.publish(*(_message(number, now_s) for number in range(first, first + SENT)))
            _killed(start, tmp_path, draw)
        process = start(tmp_path)
        wait_until(lambda: readings_in(tmp_path) >= KILLS * SENT, DRAIN_LIMIT_S, "all is stored")
        wait_until(lambda: _behind(tmp_path) == 0, DRAIN_LIMIT_S, "all is copied")
        process.end(signal.SIGTERM)
    found = {
        (series.split("probe=")[1].split(",")[0], at_ms): value
        for (series, field, at_ms), value in kept(victoria, "Kills").items()
        if field == "temperature_c"
    }
    with open_reader(tmp_path / "bagwatt.db") as store:
        rows = list(copied.readings(store, 0, store.last_reading_id()))
        standing = mirrored.standing(store, f"{victoria.url} - bagwatt")
    assert len(rows) == KILLS * SENT
    assert found == {(one.probe, round(one.at_s * 1000)): one.value for one in rows}
    assert standing is not None and standing.refused == standing.lost == 0
    assert standing.sent >= KILLS * SENT
