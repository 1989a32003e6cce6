"""What a watch of a big room costs: share of a core, memory, time to the first stored reading.

python -m tests.bench.watch [--bags 1000] [--minutes 4] [--frame 60] [--starts 3]

A real mosquitto, a reading a minute from each bag's probe at its true rate, `bagwatt watch` as
its own process. The share is its processor time over wall, told apart for the seconds in which
no frame closes; with `--frame 600` and 11 minutes or more it is what a room sees. With shorter
frames the closes are dearer than they are in a room, so the share is put together from both parts.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path
from statistics import median

import paho.mqtt.client as mqtt

from demo.command import parser_for
from demo.stage import Broker
from monitor.store import open_reader
from tests.air_room import readings_in
from tests.bench.meter import (
    cpu_s,
    disk_bytes,
    middle,
    needed_broker,
    resident_mib,
    started,
    wait_for,
)

PER_RACK, SHELVES, SESSION = 50, 5, 50
ROOM_FRAME_S = 600.0
SETTINGS = """\
room: {{name: Quarry Lane, folder: room, timezone: Europe/London, band_low: 10 C, band_high: 30 C}}
sources:
  - {{kind: mqtt, name: broker, host: 127.0.0.1, port: {port},
     topics: [{{topic: "quarry/{{probe}}/temp"}}]}}
channels: none
store: {{path: bagwatt.db}}
frames: {{length: {frame} s, grace: 2 s}}
"""


@dataclass(frozen=True, slots=True)
class Second:
    """Where the watch stood after a second: seconds of wall and processor, frames closed."""

    wall_s: float
    cpu_s: float
    frames: int


def write_room(folder: Path, port: int, bags: int, frame_s: int) -> None:
    """Bags of four days in sessions of fifty, each with a probe, and an air probe a shelf."""
    (folder / "room").mkdir()
    day = datetime.fromtimestamp(time.time() - 4 * 86400, UTC).strftime("%Y-%m-%d")
    rows = ["bag,batch,strain,spawn_lot,inoculated,mass_kg,rack,shelf,slot,probe,session"]
    probes = ["probe,place,rack,shelf"]
    probes += [f"air-{shelf},air,R1,{shelf}" for shelf in range(1, SHELVES + 1)]
    for bag in range(bags):
        rack, shelf, session = bag // PER_RACK + 1, bag % SHELVES + 1, bag // SESSION
        rows.append(
            f"GO12-{bag:04d},QL-{session:04d},GO-12,L{session},{day}T10:00:00Z,2.3,R{rack},{shelf},"
            f"{bag % PER_RACK + 1},p{bag},S{session}"
        )
        probes.append(f"p{bag},bag:GO12-{bag:04d},R{rack},{shelf}")
    (folder / "room" / "bags.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    (folder / "room" / "probes.csv").write_text("\n".join(probes) + "\n", encoding="utf-8")
    (folder / "monitor.yaml").write_text(SETTINGS.format(port=port, frame=frame_s), "utf-8")


class Probes:
    """All probes of the room, each heard once a minute, one after the other."""

    def __init__(self, port: int, bags: int) -> None:
        self.names = [*(f"air-{shelf}" for shelf in range(1, SHELVES + 1))]
        self.names += [f"p{bag}" for bag in range(bags)]
        self._sent = 0
        self._began_s = time.monotonic()
        self._client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, "probes")
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()

    def speak(self) -> None:
        """Send what is due by now."""
        due = (time.monotonic() - self._began_s) * len(self.names) / 60.0
        while self._sent < due:
            at = self._sent % len(self.names)
            value = 21.0 + at % 7 / 10 + self._sent % 13 / 100
            self._client.publish(f"quarry/{self.names[at]}/temp", f"{value:.2f}", qos=1)
            self._sent += 1

    def heard_by(self, folder: Path, before: int) -> Callable[[], bool]:
        """Goes on speaking; whether the store has more readings than `before`."""

        def heard() -> bool:
            self.speak()
            return readings_in(folder) > before

        return heard

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


def frames_closed(folder: Path) -> int:
    """How many frames were closed so far."""
    with open_reader(folder / "bagwatt.db") as store:
        return store.mark()[0]


def first_reading_s(folder: Path, probes: Probes) -> tuple[float, float]:
    """Seconds of wall and of processor from the start of the process to a stored reading."""
    before = readings_in(folder)
    began_s = time.perf_counter()
    with started(["-m", "monitor", "watch", "--config", str(folder)], folder / "log") as watch:
        wait_for(probes.heard_by(folder, before), "the first reading is stored")
        return time.perf_counter() - began_s, cpu_s(watch.pid)


def watched(folder: Path, probes: Probes, minutes: float) -> list[Second]:
    """A watch by the second; says its memory and what it wrote."""
    seconds = []
    with started(["-m", "monitor", "watch", "--config", str(folder)], folder / "log") as watch:
        before = readings_in(folder)
        wait_for(probes.heard_by(folder, before), "watching")
        written, readings = disk_bytes(watch.pid), readings_in(folder)
        began_s = time.monotonic()
        while time.monotonic() < began_s + 60.0 * minutes:
            probes.speak()
            time.sleep(1.0)
            now_s = time.monotonic() - began_s
            seconds.append(Second(now_s, cpu_s(watch.pid), frames_closed(folder)))
        readings = readings_in(folder) - readings
        written = disk_bytes(watch.pid) - written
        print(
            f"  resident {resident_mib(watch.pid):.0f} MiB,"
            f" at most {resident_mib(watch.pid, 'VmHWM'):.0f} MiB"
        )
        print(f"  {readings} readings, {written / max(readings, 1):.0f} bytes written for each")
    return seconds


def tell_share(seconds: list[Second], frame_s: int) -> None:
    """The share of a core: all told, between closes, and for a room with frames of ten minutes."""
    steps = list(pairwise(seconds))
    wall_s, spent_s = (
        seconds[-1].wall_s - seconds[0].wall_s,
        seconds[-1].cpu_s - seconds[0].cpu_s,
    )
    closes = [two.cpu_s - one.cpu_s for one, two in steps if two.frames > one.frames]
    quiet_s = spent_s - sum(closes)
    between = quiet_s / (wall_s - sum(b.wall_s - a.wall_s for a, b in steps if b.frames > a.frames))
    print(f"  {100 * spent_s / wall_s:.1f} % of a core with frames of {frame_s} s,", end=" ")
    print(f"{100 * between:.1f} % while none closes")
    if closes:
        share = between + median(closes) / ROOM_FRAME_S
        print(f"  a close {middle(closes)} s; with frames of ten minutes {100 * share:.1f} %")


def main() -> int:
    """Starts first, then a longer watch."""
    parser = parser_for("tests.bench.watch", __doc__)
    parser.add_argument("--bags", type=int, default=1000)
    parser.add_argument("--minutes", type=float, default=4.0)
    parser.add_argument("--frame", type=int, default=60, help="seconds of a frame")
    parser.add_argument("--starts", type=int, default=3)
    words = parser.parse_args()
    program = needed_broker()
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    with tempfile.TemporaryDirectory(prefix="bagwatt-bench-") as name:
        folder = Path(name)
        with closing(Broker(program, folder)) as broker:
            write_room(folder, broker.port, words.bags, words.frame)
            with closing(Probes(broker.port, words.bags)) as probes:
                print(f"{words.bags} bags, a reading a minute from each")
                starts = [first_reading_s(folder, probes) for _ in range(words.starts)]
                for kind, place in (("wall", 0), ("processor", 1)):
                    took = middle([one[place] for one in starts])
                    print(f"  first reading stored after {took} s of {kind}")
                tell_share(watched(folder, probes, words.minutes), words.frame)
    return 0


if __name__ == "__main__":
    sys.exit(main())
