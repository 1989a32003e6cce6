"""The wall clock boots in 1970, lies a week behind, steps, changes hour or year: nothing is wrong.

A watch is turned by hand on a clock that a test turns; what it closes, stamps and says is told
by its store.
"""

from __future__ import annotations

import queue
from collections.abc import Mapping
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path
from types import MappingProxyType
from typing import Any

import pytest

from monitor.live import WRITTEN_S, Live, Wiring
from monitor.settings.load import load_settings
from monitor.sources.source import Packet, SourceHealth
from monitor.store import open_reader
from monitor.values import Decoded, Flag, Quantity, Reading, Reason, Transition
from tests.clocks import TurnedClock
from tests.faults.kills import write_room

FRAME_S = 60.0
HOUR_S = 3600.0
WEEK_S = 7 * 86400.0
START_S = WRITTEN_S + 60 * 86400.0


class PromptQueue(queue.Queue[Packet]):
    """A queue nobody waits at: time passes when the test says so."""

    def get(self, block: bool = True, timeout: float | None = None) -> Packet:
        return super().get(block=False)


class HandSource:
    """A source whose packets a test makes; the payload is the value in °C."""

    name = "broker"

    def __init__(self, clock: TurnedClock) -> None:
        self._clock = clock
        self._sink: queue.Queue[Packet] = queue.Queue(1)
        self.acknowledged = 0

    def start(self, sink: queue.Queue[Packet]) -> None:
        self._sink = sink

    def decode(self, packet: Packet) -> Decoded:
        return Decoded((
            Reading(
                packet.topic, Quantity.TEMPERATURE, float(packet.payload), packet.received_s,
                packet.received_s, packet.source, raw=float(packet.payload), marks=packet.marks,
            ),
        ))  # fmt: skip

    def acknowledge(self, packet: Packet) -> None:
        self.acknowledged += 1

    def health(self, monotonic_s: float) -> SourceHealth:
        return SourceHealth(self.name, True, monotonic_s, None, "")

    def stop(self) -> None:
        pass

    def send(self, value: float, probe: str = "k0") -> None:
        clock = self._clock
        payload = str(value).encode()
        self._sink.put_nowait(
            Packet(self.name, payload, probe, clock.wall_s(), clock.monotonic_s())
        )


class Watch:
    """A watch on a turned clock."""

    def __init__(
        self, folder: Path, clock: TurnedClock, wiring: Mapping[str, Any] = MappingProxyType({})
    ) -> None:
        self.folder = folder
        self.clock = clock
        self.source = HandSource(clock)
        wired = Wiring(source=lambda *_: self.source, packets=PromptQueue, **wiring)
        settings = load_settings(folder, {"URL": "json://127.0.0.1:9/nobody"})
        self.said: list[str] = []
        self.live = Live(settings, clock, self.said.append, 0.0, wired)
        self.live.begin()

    def minutes(self, count: int, value: float = 20.0) -> None:
        """So many minutes, a reading and a few turns in each."""
        for minute in range(count):
            self.source.send(value + minute * 0.01)
            for _ in range(3):
                self.clock.pass_s(FRAME_S / 3)
                self.live.turn()

    def end(self) -> None:
        self.live.end()

    def killed(self) -> None:
        """As by kill -9: nothing more is written."""
        self.live._sender.stop(0.1)
        self.live._log.store.close()
        self.live._lock.close()

    def closes(self) -> list[float]:
        with open_reader(self.folder / "bagwatt.db") as store:
            return [item.body.end_s for item in store.iter_log() if item.kind == "frame"]

    def readings(self) -> list[tuple[Reading, tuple[Flag, ...]]]:
        with open_reader(self.folder / "bagwatt.db") as store:
            return [(one, store.flags_of(number)) for number, one in store.readings_after(0, 10**6)]

    def raised(self) -> list[Reason]:
        with open_reader(self.folder / "bagwatt.db") as store:
            return [one.reason for one in store.events() if one.transition is Transition.RAISED]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    write_room(tmp_path, 1)
    (tmp_path / "room" / "probes.csv").write_text("probe,place,rack,shelf\nk0,air,R1,1\n")
    return tmp_path


def run_until(folder: Path, wall_s: float, minutes: int = 5) -> None:
    """An earlier boot that watched until a moment."""
    watch = Watch(folder, TurnedClock(wall_s - minutes * FRAME_S, boot="boot-0"))
    watch.minutes(minutes)
    watch.end()


@pytest.mark.parametrize("wrong_s", [0.0, START_S - WEEK_S], ids=["1970", "a week behind"])
def test_a_boot_with_a_wrong_clock_is_stamped_anew_once_it_is_set(
    folder: Path, wrong_s: float
) -> None:
    """Readings before the step carry doubt, get their true time; frames never run backwards."""
    run_until(folder, START_S)
    clock = TurnedClock(wrong_s, synced=False)
    watch = Watch(folder, clock)
    watch.minutes(10, 21.0)
    before = watch.closes()
    clock.step_s(START_S + HOUR_S - clock.wall_s())
    watch.minutes(5, 22.0)
    watch.end()
    closes = watch.closes()
    assert closes[: len(before)] == before and closes == sorted(set(closes))
    assert closes[-1] > START_S + HOUR_S
    mine = [(one, flags) for one, flags in watch.readings() if 21.0 <= one.value < 22.0]
    assert len(mine) == 10
    for one, _ in mine:
        assert one.measured_s is not None
        assert START_S + HOUR_S - 11 * FRAME_S <= one.measured_s <= START_S + HOUR_S
    gaps = [b[0].measured_s - a[0].measured_s for a, b in pairwise(mine)]
    assert gaps == pytest.approx([FRAME_S] * 9)
    assert all(Flag.CLOCK_UNSET in flags for _, flags in mine)
    assert watch.source.acknowledged == 15


@pytest.mark.parametrize("hours", [5.0, -5.0, 0.5])
def test_a_step_of_hours_makes_no_probe_silent_and_no_frame_twice(
    folder: Path, hours: float
) -> None:
    """Nobody was away: neither the probes nor bagwatt may be called silent or dark."""
    clock = TurnedClock(START_S)
    watch = Watch(folder, clock)
    watch.minutes(30)
    clock.step_s(hours * HOUR_S)
    watch.minutes(30)
    watch.end()
    closes = watch.closes()
    assert closes == sorted(set(closes))
    assert not {Reason.PROBE_SILENT, Reason.WAS_DARK, Reason.POWER_CUT} & set(watch.raised())
    assert len(watch.readings()) == 60


def test_a_clock_that_drifts_a_second_in_a_minute_loses_no_frame(folder: Path) -> None:
    """Far worse than any crystal, and slowly put right as by a time daemon."""
    clock = TurnedClock(START_S)
    watch = Watch(folder, clock)
    for drift in (1 / 60, -1 / 60, 0.0):
        clock.drift = drift
        watch.minutes(30)
    watch.end()
    closes = watch.closes()
    steps = {b - a for a, b in pairwise(closes)}
    assert steps == {FRAME_S}
    assert len(watch.readings()) == 90
    assert all(flags == () for _, flags in watch.readings())


@pytest.mark.parametrize(
    "moment",
    [
        datetime(2027, 3, 28, 0, 45, tzinfo=UTC),  # summer time begins in Europe/London
        datetime(2027, 10, 31, 0, 45, tzinfo=UTC),  # and ends
        datetime(2028, 2, 28, 23, 45, tzinfo=UTC),  # into a leap day
        datetime(2028, 2, 29, 23, 45, tzinfo=UTC),  # and out of it
        datetime(2027, 12, 31, 23, 45, tzinfo=UTC),
    ],
    ids=lambda moment: f"{moment:%Y-%m-%d}",
)
def test_a_change_of_hour_day_or_year_is_minutes_like_any_other(
    folder: Path, moment: datetime
) -> None:
    """Frames are of UTC: one a minute, each reading in its own."""
    start_s = moment.timestamp()
    watch = Watch(folder, TurnedClock(start_s))
    watch.minutes(90)
    watch.end()
    closes = watch.closes()
    assert closes == [start_s + FRAME_S * (1 + index) for index in range(len(closes))]
    assert len(closes) >= 89
    assert watch.raised() == []


def test_the_dark_is_measured_in_true_time_after_a_boot_in_1970(folder: Path) -> None:
    """Three hours without power, a clock that starts at nothing, and the true time a bit later."""
    run_until(folder, START_S)
    clock = TurnedClock(0.0, synced=False)
    watch = Watch(folder, clock)
    watch.minutes(2)
    clock.step_s(START_S + 3 * HOUR_S - clock.wall_s())
    watch.minutes(8)
    watch.end()
    with open_reader(folder / "bagwatt.db") as store:
        dark = [one for one in store.events() if one.reason is Reason.WAS_DARK]
    assert dark and dark[0].facts.silent_for_s == pytest.approx(3 * HOUR_S, abs=3 * FRAME_S)
