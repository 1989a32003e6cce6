"""How fast readings come in: MQTT at QoS 1 and serial lines to committed rows, beside floors.

python -m tests.bench.ingest [--count 20000] [--rounds 3] [--lines 10000]

Each round runs, one after the other: a bare paho callback that acknowledges, a bare SQLite
insert in the same batches, and `bagwatt watch`, every one as its own process with a mosquitto of
its own. Rates are readings per second of the process's own processor time (user and system,
which other work on the machine hardly touches) and per second of wall. Nothing is asserted.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import threading
import time
import tty
from collections import defaultdict
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from statistics import median

from demo.command import parser_for
from demo.stage import Broker
from monitor.settings.schema import StoreSettings
from tests.air_room import readings_in, write_air_room
from tests.bench.flood import PROBES
from tests.bench.meter import cpu_s, middle, needed_broker, started, wait_for

SETTINGS = """\
room: {{name: Quarry Lane, folder: room, timezone: Europe/London, band_low: 10 C, band_high: 30 C}}
sources:
  - {source}
channels: none
store: {{path: bagwatt.db}}
"""
MQTT = """{{kind: mqtt, name: broker, host: 127.0.0.1, port: {port},
     topics: [{{topic: "quarry/{{probe}}/temp"}}]}}"""
SERIAL = r"""{{kind: serial, name: bench, port: {port}, baud: 115200,
     line: {{pattern: '(?P<probe>\S+) (?P<value>-?\d+\.\d+)'}}}}"""


@dataclass(frozen=True, slots=True)
class Took:
    """Seconds of wall and of processor from the first reading to the last committed one."""

    wall_s: float
    cpu_s: float


def write_room(folder: Path, source: str) -> None:
    """Settings, and a book of fifty air probes."""
    names = (f"p{number}" for number in range(PROBES))
    write_air_room(folder, names, SETTINGS.format(source=source))


def of_floor(words: list[str], go: Callable[[], None] = lambda: None) -> Took:
    """What a floor took; `go` is called once it is ready."""
    command = [sys.executable, "-m", "tests.bench.floors", *words]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as floor:
        assert floor.stdout is not None
        if floor.stdout.readline().strip() != "ready":
            raise RuntimeError(f"{words[0]} did not begin")
        go()
        return Took(**json.loads(floor.stdout.readline()))


def of_watch(
    folder: Path, ready: Callable[[str], bool], go: Callable[[], None], count: int
) -> Took:
    """What `bagwatt watch` took for so many readings that `go` sends once it is `ready`."""
    log = folder / "log"
    words = ["-m", "monitor", "watch", "--config", str(folder)]
    with started(words, log) as watch:
        wait_for(lambda: ready(log.read_text("utf-8")), "watching")
        time.sleep(1.0)  # subscribed, and nothing left to import
        go()
        wall_s, spent_s = time.perf_counter(), cpu_s(watch.pid)
        wait_for(lambda: readings_in(folder) >= count, f"{count} stored, see {log}", 0.1)
        return Took(time.perf_counter() - wall_s, cpu_s(watch.pid) - spent_s)


def send(port: int, count: int) -> None:
    subprocess.Popen([sys.executable, "-m", "tests.bench.flood", str(port), str(count)]).wait()


def of_mqtt(program: str, folder: Path, count: int, batch: int) -> dict[str, Took]:
    """One round of MQTT: both floors, then the product."""
    took = {}
    for name in ("callback", "watch"):
        place = folder / name
        place.mkdir()
        with closing(Broker(program, place)) as broker:

            def go(port: int = broker.port) -> None:
                threading.Thread(target=send, args=(port, count), daemon=True).start()

            if name == "callback":
                took[name] = of_floor(["callback", str(broker.port), str(count)], go)
                continue
            write_room(place, MQTT.format(port=broker.port))
            took[name] = of_watch(place, lambda said: "watching" in said, go, count)
    took["insert"] = of_floor(["insert", str(folder / "bare.db"), str(count), str(batch)])
    return took


def of_serial(folder: Path, count: int) -> dict[str, Took]:
    """One round of serial lines through a pseudo-terminal."""
    took = {}
    for name in ("read", "watch"):
        place = folder / f"serial-{name}"
        place.mkdir()
        ours, theirs = os.openpty()
        tty.setraw(theirs)
        port = os.ttyname(theirs)

        def go(end: int = ours) -> None:
            lines = "".join(f"p{n % PROBES} {20 + n % 977 / 200:.3f}\n" for n in range(count))
            left = memoryview(("rest\n" + lines).encode())

            def write(left: memoryview = left) -> None:
                while left:
                    left = left[os.write(end, left) :]

            threading.Thread(target=write, daemon=True).start()

        if name == "read":
            took[name] = of_floor(["serial", port, str(count + 1)], go)
        else:
            write_room(place, SERIAL.format(port=port))
            took[name] = of_watch(place, lambda said: "watching" in said, go, count)
        os.close(ours)
        os.close(theirs)
    return took


def tell(title: str, rounds: list[dict[str, Took]], count: int, floors: tuple[str, ...]) -> None:
    """Rates by part, and the product's as a share of the lower of its floors, by round."""
    print(title)
    for kind in ("cpu_s", "wall_s"):
        rates: dict[str, list[float]] = defaultdict(list)
        for took in rounds:
            for name, one in took.items():
                rates[name].append(count / getattr(one, kind))
        for name, values in rates.items():
            print(f"  {name:10s} {middle(values)} readings per second of {kind[:-2]}")
        if not floors:
            continue
        shares = [
            watch / min(rates[floor][number] for floor in floors)
            for number, watch in enumerate(rates["watch"])
        ]
        print(f"  share of the lower floor by {kind[:-2]}: {100 * median(shares):.0f} %")


def main() -> int:
    """So many rounds of both."""
    parser = parser_for("tests.bench.ingest", __doc__)
    parser.add_argument("--count", type=int, default=20_000, help="messages in a round")
    parser.add_argument("--lines", type=int, default=10_000, help="serial lines in a round")
    parser.add_argument("--rounds", type=int, default=3)
    words = parser.parse_args()
    program = needed_broker()
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    batch = StoreSettings.model_fields["commit_count"].default
    mqtt, lines = [], []
    for _ in range(words.rounds):
        with tempfile.TemporaryDirectory(prefix="bagwatt-bench-") as folder:
            mqtt.append(of_mqtt(program, Path(folder), words.count, batch))
            lines.append(of_serial(Path(folder), words.lines))
    tell(f"MQTT at QoS 1, {words.count} messages", mqtt, words.count, ("callback", "insert"))
    tell(f"serial, {words.lines} lines; 115200 baud bring about 700", lines, words.lines, ())
    return 0


if __name__ == "__main__":
    sys.exit(main())
