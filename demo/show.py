"""Four days in the invented room of Quarry Lane Mushrooms, in about a minute.

The room has its own physics and does not know the judge's. Its probes speak over a
pseudo-terminal into the real serial source, and over MQTT too where a mosquitto is installed;
`bagwatt watch` runs on it with a fast clock; what it sends arrives at a receiver on loopback,
which shows it here. Ctrl-C ends everything that was started.

    python -m demo.show [--factor N] [--days D] [--keep FOLDER]
"""

from __future__ import annotations

import argparse
import math
import shutil
import signal
import subprocess
import sys
import tempfile
import textwrap
import time
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path

from demo.faults import ProbeFault, RoomFault
from demo.folder import BAG_COLUMNS, bag_rows, probe_rows, stamp, write_csv
from demo.live import LiveRoom, ProbeReading
from demo.rooms import DAY_S, GREY, HOUR_S, HYBRID, START_S, Room, RoomSpec, Trouble, make_room
from demo.stage import (
    Broker,
    Receiver,
    SerialLine,
    find_broker,
    free_port,
    with_checksum,
    write_settings,
)

SEED = 20
FALLS_AT_S = START_S + 1.9 * DAY_S
STICKS_AT_S = START_S + 3.75 * DAY_S
FALLEN_BAG = 5
#: Bags of the second cohort speak over MQTT where there is a broker.
BY_RADIO = range(12, 24)
TICK_S = 0.02
#: The one beside this Python, as a fresh clone has it.
BAGWATT = Path(sys.executable).with_name("bagwatt")

ROOM = RoomSpec(
    "quarry lane",
    lines=(GREY, HYBRID),
    session_days=(0.25,),
    setpoint_c=(21.0, 21.5),
    trouble=Trouble(
        contaminated=0.05, run_chance=0.0, lot_chance=0.0, added_k=(3.0, 4.0),
        added_age_h=(50.0, 56.0), stalled=0.0, fell=0, stuck=0, silent=0, heater_stuck_chance=0.0,
    ),
)  # fmt: skip


def draw_room() -> Room:
    """The demo's room: one bag with added heat, a probe that falls, a heater that sticks."""
    room = make_room(ROOM, SEED)
    return replace(
        room,
        probe_faults=(ProbeFault("fell", FALLEN_BAG, FALLS_AT_S),),
        room_faults=(RoomFault("heater stuck", STICKS_AT_S, 3 * HOUR_S),),
    )


def bold(text: str, code: str = "1") -> str:
    return f"\033[{code}m{text}\033[0m" if sys.stdout.isatty() else text


def show_message(title: str, body: str) -> None:
    """What arrived at the grower's phone."""
    lines = [title, *textwrap.wrap(body, 84)] if "\n" not in body else [title, *body.splitlines()]
    print(bold("  ┌─ delivered to the owner's phone", "36"))
    for line in lines:
        for part in textwrap.wrap(line, 84) or [""]:
            print(bold("  │ ", "36") + part)
    print(bold("  └─", "36"), flush=True)


class Probes:
    """Takes what the room's probes say to the serial line and to the broker."""

    def __init__(self, line: SerialLine, broker: Broker | None) -> None:
        self._line, self._broker = line, broker
        self._by_radio = {f"p{bag:03d}" for bag in BY_RADIO} if broker else set()

    def heard(self) -> bool:
        """Whether what they say would be read."""
        return self._line.heard() and (self._broker is None or self._broker.heard())

    def say(self, reading: ProbeReading) -> None:
        at = stamp(reading.time_s)
        if self._broker is not None and reading.probe in self._by_radio:
            text = f'{{"at": "{at}", "t": {reading.value:.4f}}}'
            self._broker.publish(f"quarry/{reading.probe}", text)
        else:
            text = f"{at} {reading.probe} {reading.quantity} {reading.value:.4f}"
            self._line.say(with_checksum(text))


def prepare(folder: Path, room: Room, stack: ExitStack) -> tuple[Probes, list[str]]:
    """Write settings and the room's folder, open the line, start broker and receiver."""
    line = SerialLine(folder / "rack-line")
    stack.callback(line.close)
    receiver = Receiver(show_message)
    stack.callback(receiver.close)
    command = find_broker()
    broker = Broker(command, folder) if command else None
    if broker:
        stack.callback(broker.close)
    (folder / "room").mkdir()
    write_csv(folder / "room" / "bags.csv", BAG_COLUMNS, bag_rows(room))
    write_csv(folder / "room" / "probes.csv", ["probe", "place", "rack", "shelf"], probe_rows(room))
    strains = Path(__file__).resolve().parent.parent / "config" / "strains.yaml"
    write_settings(folder, strains, line.port, broker.port if broker else None, receiver.port)
    with (folder / "monitor.yaml").open("a", encoding="utf-8") as file:
        file.write(f"page: {{port: {free_port()}}}\n")
    ways = ["12 bags over a serial line"]
    ways.append("12 over MQTT" if broker else "the others too (no mosquitto here)")
    return Probes(line, broker), ways


def wait_until_heard(probes: Probes, watch: Watch, limit_s: float = 60.0) -> None:
    """Return once the daemon reads what the probes say, or has ended, or never will.

    At thousands of times life a second of its start would be an hour of silence.
    """
    deadline_s = time.monotonic() + limit_s
    while not probes.heard() and watch.process.poll() is None and time.monotonic() < deadline_s:
        time.sleep(TICK_S)


def play(live: LiveRoom, probes: Probes, watch: Watch, end_s: float) -> None:
    """Run the room in step with the fast clock until its days are over or the daemon ends."""
    while live.now_s < end_s and watch.process.poll() is None:
        for reading in live.advance(min(watch.now_s(), end_s)):
            probes.say(reading)
        time.sleep(TICK_S)


class Watch:
    """`bagwatt watch` as a user would start it, on a fast clock shared with the room."""

    def __init__(self, folder: Path, factor: float) -> None:
        self._origin = folder / "origin"
        self._origin_s = math.inf
        self._factor = factor
        rehearsal = f"{stamp(START_S)},{factor:g},@{self._origin}"
        words = ["--config", str(folder), "--standing", "8 h", "--rehearse", rehearsal]
        self.process = subprocess.Popen([str(BAGWATT), "watch", *words])

    def let_go(self) -> None:
        """The clock goes from now on, for the daemon too."""
        self._origin_s = time.time()
        whole = self._origin.with_suffix(".new")
        whole.write_text(f"{self._origin_s:.3f}", encoding="ascii")
        whole.rename(self._origin)

    def now_s(self) -> float:
        """The time in the room, once it goes."""
        return START_S + (time.time() - self._origin_s) * self._factor

    def end(self) -> None:
        """Stop the daemon as systemd would."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGTERM)
            try:
                self.process.wait(8)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait()


def tell(folder: Path, wanted: argparse.Namespace, stack: ExitStack) -> int:
    """Set the stage, play the story, clear up."""
    room = draw_room()
    probes, ways = prepare(folder, room, stack)
    print(bold("Quarry Lane Mushrooms, a former dairy barn in March: 24 bags on five shelves"))
    print(f"GO-12 grey oyster and hybrid HX-5, inoculated on Monday at 06:00; {', '.join(ways)}")
    print(f"one day passes in {DAY_S / wanted.factor:.0f} s; Ctrl-C ends it\n", flush=True)
    watch = Watch(folder, wanted.factor)
    stack.callback(watch.end)
    wait_until_heard(probes, watch)
    watch.let_go()
    play(LiveRoom(room, keep_truth=False), probes, watch, START_S + wanted.days * DAY_S)
    watch.end()
    if wanted.keep:
        shutil.copytree(folder, wanted.keep, symlinks=True)
        print(f"kept in {wanted.keep}: try `{BAGWATT} alarms --config {wanted.keep}`")
    return 0 if watch.process.returncode == 0 else 1


def main() -> int:
    """Play the story; 0 when it came to its end."""
    parser = argparse.ArgumentParser(
        prog="demo/run", description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--factor", type=float, default=4600.0, help="how much faster than life")
    parser.add_argument("--days", type=float, default=4.1, help="days to play")
    parser.add_argument("--keep", type=Path, help="keep settings and store in this new folder")
    wanted = parser.parse_args()
    if wanted.keep and wanted.keep.exists():
        parser.error(f"argument --keep: {wanted.keep} is there already")
    folder = Path(tempfile.mkdtemp(prefix="bagwatt-demo-"))
    with ExitStack() as stack:
        stack.callback(shutil.rmtree, folder, ignore_errors=True)
        try:
            return tell(folder, wanted, stack)
        except KeyboardInterrupt:
            print("\nended; everything that was started is stopped")
            return 130


if __name__ == "__main__":
    raise SystemExit(main())
