"""Twenty phones look at the page of a real watch: the readings don't notice."""

from __future__ import annotations

import http.client
import json
import threading
import time
from collections import Counter
from pathlib import Path

from monitor.store import open_reader
from tests.page.conftest import END_S, HOT, Filled
from tests.page.watching import Room, watched_room
from tests.waiting import wait_until

PHONES = 20
#: Two hundred readings a second for six seconds beside those of the room.
TURNS, TURN_S, PROBES = 60, 0.1, 20
VIEWS = ("/", f"/bag/{HOT}", "/alarms", "/night", "/monitor")


class Phone(threading.Thread):
    """Asks for the pulse twenty times as often as a phone does, and for a view at each."""

    def __init__(self, number: int, room: Room, over: threading.Event) -> None:
        super().__init__()
        self._view = VIEWS[number % len(VIEWS)]
        self._room, self._over = room, over
        self.marks: set[str] = set()
        self.answers: Counter[int] = Counter()

    def run(self) -> None:
        line = http.client.HTTPConnection("127.0.0.1", self._room.port, timeout=60.0)
        while not self._over.wait(0.5):
            for path in ("/api/pulse", self._view):
                line.request("GET", path, headers={"accept-encoding": "gzip"})
                answer = line.getresponse()
                body = answer.read()
                self.answers[answer.status] += 1
                if path == "/api/pulse":
                    self.marks.add(json.loads(body)["mark"])
        line.close()


def test_every_reading_is_stored_once_while_twenty_phones_look(
    filled: Filled, tmp_path: Path
) -> None:
    """Each phone sees a new frame come, none is turned away, and what the probes said meanwhile
    is in the store exactly once."""
    with open_reader(filled.folder / "bagwatt.db") as store:
        before_id = store.last_reading_id()
    over = threading.Event()
    with watched_room(filled, tmp_path / "settings") as room:
        phones = [Phone(number, room, over) for number in range(PHONES)]
        for phone in phones:
            phone.start()
        try:
            wait_until(lambda: _stored(room, before_id), limit_s=60.0)
            begun_s = time.time()
            for turn in range(TURNS):
                for probe in range(PROBES):
                    room.say(f"spare{probe}", "temperature", 20.0 + turn / 100, END_S + turn)
                time.sleep(max(0.0, begun_s + (turn + 1) * TURN_S - time.time()))
            wait_until(lambda: all(len(phone.marks) > 1 for phone in phones), limit_s=60.0)
            spoken = len(room.spoken)
            wait_until(
                lambda: set(_heard(room, before_id)[:spoken]) <= set(_stored(room, before_id))
            )
        finally:
            over.set()
            for phone in phones:
                phone.join()
        assert [set(phone.answers) for phone in phones] == [{200}] * PHONES
        heard, stored = _heard(room, before_id), _stored(room, before_id)
    assert spoken > TURNS * PROBES
    assert stored == Counter(heard[: len(stored)])


def _heard(room: Room, before_id: int) -> list[tuple[str, str, float]]:
    """What was spoken since the watch had opened its port: the line it came into is not whole."""
    stored = _stored(room, before_id)
    first = next((at for at, said in enumerate(room.spoken) if said in stored), None)
    return [] if first is None else room.spoken[first:]


def _stored(room: Room, before_id: int) -> Counter[tuple[str, str, float | None]]:
    """How often each reading is in the store that was stored after the room was filled."""
    with open_reader(room.store) as store:
        rows = store.readings_after(before_id, store.last_reading_id())
        return Counter((one.probe, one.quantity.value, one.measured_s) for _, one in rows)
