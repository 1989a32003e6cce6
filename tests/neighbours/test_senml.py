"""Readings and estimates as SenML, read back by our own reader of it and by the rules of names."""

from __future__ import annotations

import json
import re
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from monitor.neighbours.messages import Messages
from monitor.neighbours.picture import Closed
from monitor.neighbours.senml import MOST_BYTES, MOST_RECORDS, Packs, encoded, packs
from monitor.neighbours.topics import Topics
from monitor.sources.senml import Record, resolve
from monitor.store import Arrival, open_reader
from monitor.values import Decoded, Quantity, Reading
from tests.broker import Broker
from tests.neighbours.rooms import END_S, TELLER, bag, picture
from tests.neighbours.telling import ear, telling, write_room
from tests.waiting import wait_until
from tests.watched import NOW_S, Room

NAMES = st.text(st.characters(exclude_categories=("Cs",)), min_size=1, max_size=30)


def read(payload: bytes) -> list[Record]:
    return list(resolve(json.loads(payload)))


@given(NAMES, NAMES)
def test_every_name_is_one_of_senml_and_no_two_are_the_same(one: str, other: str) -> None:
    assert re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*", f"room:{encoded(one)}/")
    assert (encoded(one) == encoded(other)) == (one == other)


def test_many_records_are_split_by_number_and_by_size() -> None:
    short = list(packs("North", END_S, [{"n": f"p{n}", "u": "Cel", "v": 1.0} for n in range(601)]))
    assert [len(json.loads(one)) for one in short] == [MOST_RECORDS, MOST_RECORDS, 1]
    names = [record.name for one in short for record in read(one)]
    assert names == [f"room:North/p{n}" for n in range(601)]
    wide = list(packs("North", END_S, [{"n": "p" * 900, "u": "Cel", "v": 1.0}] * 300))
    assert len(wide) > 1 and max(map(len, wide)) <= MOST_BYTES + 1000
    assert sum(len(read(one)) for one in wide) == 300
    assert list(packs("North", END_S, [{"n": "p" * 3000, "u": "Cel", "v": 1.0}])) == []


def test_readings_go_out_once_with_their_offset_and_the_doubted_do_not(tmp_path: Path) -> None:
    room = Room(write_room(tmp_path / "a", "Halle 2", 1))
    told = Packs("Halle 2")
    bags = {"GO12-001": bag("GO12-001")}

    def close() -> list[Record]:
        end_s = (room.clock.wall_s() // 60.0 + 1) * 60.0
        room.clock.pass_s(end_s - room.clock.wall_s())
        room.log.close(end_s, room.clock.wall_s(), ())
        outcome = picture(bags, end_s=end_s).closed.outcome
        with open_reader(room.settings.store.path) as store:
            made = told.at(store, Closed(outcome, (), "", store.path), bags)
        return [record for one in made for record in read(one)]

    def arrive(value: float, quantity: Quantity = Quantity.TEMPERATURE, probe: str = "k1") -> None:
        room.clock.pass_s(2.0)
        now_s = room.clock.wall_s()
        one = Reading(probe, quantity, value, now_s, now_s, "x", raw=value)
        room.log.keep([Arrival("x", f"d{now_s}", now_s, now_s, "b", True, Decoded((one,)), "s1")])

    arrive(21.5)
    arrive(85.0)  # what such a probe says at power-on: refused by a flag
    arrive(71.0, Quantity.HUMIDITY)
    found = {one.name: one for one in close()}
    hall = "room:Halle_202/"
    assert set(found) == {
        f"{hall}probe:k1/temperature",
        f"{hall}probe:k1/humidity",
        *(f"{hall}bag:GO12-001/{what}" for what in ("surface", "core", "excess")),
    }
    temperature = found[f"{hall}probe:k1/temperature"]
    assert (temperature.unit, temperature.value, temperature.time_s) == ("Cel", 21.5, NOW_S + 2.0)
    assert found[f"{hall}probe:k1/humidity"].unit == "%RH"
    surface = found[f"{hall}bag:GO12-001/surface"]
    assert (surface.unit, surface.value, surface.time_s) == ("Cel", 25.0, NOW_S + 60.0)
    assert found[f"{hall}bag:GO12-001/excess"].unit == "K"
    arrive(22.0)
    probes = [one.value for one in close() if "probe:" in one.name]
    assert probes == [22.0]
    room.log.store.close()


def test_packs_go_out_where_they_are_asked_for_and_are_not_kept(
    broker: Broker, tmp_path: Path
) -> None:
    topic = Topics().senml("North")
    folder = write_room(tmp_path / "a", "North", broker.port, ", senml: true, bags: false")
    with telling(folder) as room, ear(broker) as heard:
        end_s = room.close()
        wait_until(lambda: room.told_all(end_s), 5.0, "all told")
        assert not any("/bags/" in one for one in heard.now())
        end_s = room.close()
        wait_until(lambda: room.told_all(end_s), 5.0, "all told")
        wait_until(lambda: topic in heard.kept, 5.0, "a pack")
        assert {one.name for one in read(heard.kept[topic])} >= {"room:North/probe:k0/temperature"}
        with ear(broker) as newcomer:
            wait_until(lambda: Topics().summary("North") in newcomer.now(), 5.0)
            assert topic not in newcomer.kept


def test_without_the_switch_there_are_no_packs(tmp_path: Path) -> None:
    room = Room(write_room(tmp_path / "a", "North", 1))
    room.send(3)
    outcome = room.log.close(NOW_S + 60.0, NOW_S + 61.0, ())
    closed = Closed(outcome, (), "", room.settings.store.path)
    assert Messages(TELLER, Topics(), bags=True).at(closed, NOW_S + 61.0).packs == []
    assert Messages(TELLER, Topics(), bags=True, senml=True).at(closed, NOW_S + 61.0).packs
    room.log.store.close()
