"""The walk: what is typed, on a real terminal, from a file, and how it reaches the road."""

from __future__ import annotations

import os
import pty
import signal
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from monitor.book.walkround import Thermometer, parse_reading
from monitor.clock import SystemClock
from monitor.errors import BookError
from monitor.logbook import Logbook
from monitor.runner import frame_end_s
from monitor.settings.load import load_settings
from monitor.store import Arrival, Store
from monitor.thermal.infrared import reset_emissivity_c
from monitor.values import Decoded, Flag, Quantity, Reading
from tests.book.farm import Farm
from tests.waiting import wait_until


class Terminal:
    """`bagwatt walk` in a process of its own on a pseudo-terminal."""

    def __init__(self, farm: Farm, *words: str) -> None:
        self.master, slave = pty.openpty()
        command = [sys.executable, "-m", "monitor", "walk", "--config", str(farm.path)]
        # a suite that runs under nohup would hand it down that a hang-up is nothing
        before = signal.signal(signal.SIGHUP, signal.SIG_DFL)
        self.process = subprocess.Popen(
            [*command, "--by", "Kim", *words],
            stdin=slave, stdout=slave, stderr=slave, start_new_session=True,
        )  # fmt: skip
        signal.signal(signal.SIGHUP, before)
        os.close(slave)
        self.shown = ""
        self._read_to = 0

    def until(self, text: str) -> None:
        """Read what is shown until a text appears behind what was found before."""
        while text not in self.shown[self._read_to :]:
            try:
                more = os.read(self.master, 4096).decode()
            except OSError:
                more = ""
            assert more, f"the walk ended before it said {text!r}: {self.shown[-500:]}"
            self.shown += more
        self._read_to = self.shown.index(text, self._read_to) + len(text)

    def type(self, text: str) -> None:
        os.write(self.master, text.encode() + b"\n")

    def end(self) -> int:
        code = self.process.wait(timeout=30)
        os.close(self.master)
        return code


def readings(farm: Farm) -> list[Reading]:
    with farm.read() as store:
        return [one for _, one in store.readings_after(0, store.last_reading_id())]


@pytest.mark.parametrize(
    ("typed", "shown_c"),
    [("74.3F", 23.5), ("74.3 f", 23.5), ("23.5", 23.5), ("23,5 C", 23.5), ("23.5 °C", 23.5)],
)
def test_a_reading_may_be_typed_in_either_degrees(typed: str, shown_c: float) -> None:
    assert parse_reading(typed, "C").shown_c == pytest.approx(shown_c, abs=0.001)


@pytest.mark.parametrize(
    ("typed", "unit", "meant"),
    [
        ("240", "C", "24 C"),
        ("7.43", "F", "74.3 F"),
        ("7.43", "C", "74.3 F"),
        ("743", "F", "74.3 F"),
        ("74.3", "C", "74.3 F"),
        ("23.5", "F", "23.5 C"),
        ("hot", "C", "23.5 C"),
    ],
)
def test_what_no_bag_can_read_is_refused_with_what_was_meant(
    typed: str, unit: str, meant: str
) -> None:
    with pytest.raises(BookError, match=meant):
        parse_reading(typed, unit)


def test_emissivity_and_reflection_of_the_settings_are_taken_out(farm: Farm) -> None:
    """By thermal/infrared, which is checked by itself; equal emissivities change nothing."""
    plain = Thermometer(load_settings(farm.path, {}))
    assert plain.surface_c(27.0) == pytest.approx(27.0, abs=1e-9)
    with (farm.path / "monitor.yaml").open("a", encoding="utf-8") as handle:
        handle.write("walk: {emissivity: 0.85, reflected: 68 F, units: F}\n")
    taped = Thermometer(load_settings(farm.path, {}))
    assert taped.unit == "F"
    assert taped.surface_c(27.0) == pytest.approx(reset_emissivity_c(27.0, 20.0, 0.95, 0.85))
    reading = taped.reading("GO12-017", taped.parse("80.6"), 1.0, 2.0)
    assert (reading.raw, reading.raw_unit) == (80.6, "degF")
    assert reading.value > 27.5


def test_a_walk_leads_by_place_asks_the_suspicious_again_and_survives_a_closed_terminal(
    farm: Farm,
) -> None:
    """Killed in the middle: what was typed is in the store, `--resume` goes on."""
    walk = Terminal(farm)
    for place, typed in (("R1/1/1", "22.0"), ("R1/1/2", "22.2"), ("R1/1/3", "22.1")):
        walk.until(place)
        walk.type(typed)
    walk.until("R1/1/4")
    walk.type("GO12-056")  # somebody scanned another bag
    walk.until("GO12-056")
    walk.type("240")
    walk.until("did you mean 24 C?")
    walk.type("22.4")
    walk.until("R1/1/4")  # that was the last one: on from the start
    walk.type("29.9")
    walk.until("asked again at the end")
    walk.until("R1/1/5")
    os.killpg(walk.process.pid, signal.SIGHUP)
    walk.end()
    assert [one.bag[-3:] for one in readings(farm)] == ["017", "018", "019", "056"]

    assert farm.say("walk") == 2  # says that a walk was left open
    again = Terminal(farm, "--resume")
    again.until("4 read")
    for _ in range(35):
        again.until("[Enter, code, or reading]")
        again.type("22.3")
    again.until("again: R1/1/4")
    again.until("29.9 C, +7.8 °C from the others")
    again.type("29.7")
    again.until("done: 40 of 40")
    assert again.end() == 0
    taken = readings(farm)
    assert len(taken) == 40 and taken[-1].value == pytest.approx(29.7)
    assert {one.source for one in taken} == {"walk"}


@pytest.mark.parametrize(
    ("typed", "unit", "meant"),
    [
        ("24", "C", "24.0 C"),
        ("240", "C", "24.0 C"),
        ("743", "C", "74.3 F"),
        ("74", "F", "74.0 F"),
        ("743", "F", "74.3 F"),
        ("9999", "C", ""),
        ("7", "C", ""),
        ("024", "C", ""),
    ],
)
def test_a_number_without_point_or_unit_may_have_been_a_reading(
    farm: Farm, typed: str, unit: str, meant: str
) -> None:
    with (farm.path / "monitor.yaml").open("a", encoding="utf-8") as handle:
        handle.write(f"walk: {{units: {unit}}}\n")
    assert Thermometer(load_settings(farm.path, {})).bare(typed) == meant


def test_a_number_that_is_no_bag_is_answered_with_how_a_temperature_is_typed(farm: Farm) -> None:
    """No bag ends in 240: nothing is kept, and what is asked for can be typed as it is shown."""
    walk = Terminal(farm)
    walk.until("[Enter, code, or reading]")
    walk.type("240")
    walk.until("240: no such bag in the book")
    walk.until("to enter the temperature of GO12-017 type 24.0 C")
    walk.until("R1/1/1  GO12-017  [Enter, code, or reading]")
    walk.type("²")  # a key beside the 1 on some keyboards
    walk.until("no such bag in the book")
    walk.until("R1/1/1")
    walk.type("24.0 C")
    walk.until("R1/1/2")
    walk.type("q")
    walk.until("--resume goes on")
    assert walk.end() == 0
    assert [(one.bag, one.raw) for one in readings(farm)] == [("GO12-017", 24.0)]


def test_no_reading_is_taken_of_a_bag_that_left(farm: Farm) -> None:
    """An old label, or a slip: nothing is kept, and how such a bag comes back is said."""
    assert farm.say("bag", "pulled", "30", "--cause", "yeast") == 0
    walk = Terminal(farm)
    walk.until("R1/1/1")
    walk.type("30")
    walk.until("GO12-030: is no longer in the room; where it is back: bagwatt bag returned")
    walk.until("R1/1/1")
    walk.type("")
    walk.until("GO12-017  °C")
    walk.type("")
    walk.until("'': is no reading; type it such as 74.3")
    walk.until("GO12-017  °C")
    walk.type("22.5")
    walk.until("R1/1/2")
    walk.type("q")
    walk.until("--resume goes on")
    assert walk.end() == 0
    assert [one.bag for one in readings(farm)] == ["GO12-017"]


def test_a_scanned_label_may_hold_the_pages_address(farm: Farm) -> None:
    walk = Terminal(farm)
    walk.until("R1/1/1")
    walk.type("http://bagwatt.local:8765/bag/GO12-030")
    walk.until("GO12-030  °C")
    walk.type("22.5")
    walk.until("R1/2/7")
    walk.type("q")
    walk.until("--resume goes on")
    assert walk.end() == 0
    assert [one.bag for one in readings(farm)] == ["GO12-030"]


def walk_file(path: Path, *rows: str) -> str:
    path.write_text("time,bag,value,unit\n" + "\n".join(rows) + "\n", encoding="utf-8")
    return str(path)


def test_a_logging_thermometers_file_counts_once(
    farm: Farm, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    name = walk_file(
        tmp_path / "log.csv",
        "2026-03-12T07:00,17,74.3,Fahrenheit",
        "2026-03-12T07:01,GO12-018,23.5,degC",
    )
    assert farm.say("walk", "--csv", name) == 0
    assert farm.say("walk", "--csv", name) == 0
    assert "0 of 2 readings are new" in capsys.readouterr().out
    assert [round(one.value, 3) for one in readings(farm)] == [23.5, 23.5]


def test_a_file_of_a_season_counts_once_as_well(
    farm: Farm, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """More rows than a broker's deliveries are remembered."""
    begun = datetime(2026, 3, 12, 7, tzinfo=UTC)
    moments = (begun + timedelta(seconds=number) for number in range(5000))
    rows = (f"{moment.isoformat()},17,23.5,C" for moment in moments)
    name = walk_file(tmp_path / "log.csv", *rows)
    assert farm.say("walk", "--csv", name) == 0
    assert farm.say("walk", "--csv", name) == 0
    assert "0 of 5000 readings are new" in capsys.readouterr().out
    assert len(readings(farm)) == 5000


def test_a_file_of_one_reading_is_told_as_one(
    farm: Farm, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    name = walk_file(tmp_path / "log.csv", "2026-03-12T07:00,17,74.3,F")
    assert farm.say("walk", "--csv", name) == 0
    assert "1 of 1 reading is new" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("2026-03-12T07:01,GO12-071,23.5,C", "did you mean GO12-017?"),
        ("2026-03-12T07:01,17,240,C", "did you mean 24 C?"),
        ("2026-03-01T07:01,17,23.5,C", "before GO12-017 was inoculated"),
        ("at seven,17,23.5,C", "is no time"),
        ("2026-03-12T07:01,17,,", "line 3: '': is no reading"),
        ("2026-03-12T07:01,17,23.5,furlong", "furlong: is no unit of a thermometer; write C or F"),
    ],
)
def test_a_bad_file_is_refused_whole(
    farm: Farm, tmp_path: Path, capsys: pytest.CaptureFixture[str], row: str, told: str
) -> None:
    name = walk_file(tmp_path / "log.csv", "2026-03-12T07:00,17,23.5,C", row)
    assert farm.say("walk", "--csv", name) == 2
    err = capsys.readouterr().err
    assert told in err and "line 3" in err
    assert readings(farm) == []


def test_a_running_watch_takes_bags_and_readings_that_other_processes_wrote(
    farm: Farm, tmp_path: Path
) -> None:
    """The logbook of a watch beside real commands: both come in the store's order."""
    now = datetime.now(UTC)
    now_s = now.timestamp()
    log = Logbook(load_settings(farm.path, {}), SystemClock(), lambda line: None)
    log.read_journal(now_s)
    words = ("--strain", "GO-12", "--mass", "2.3", "--racking", "R8/1/1..1")
    at = (now - timedelta(hours=1)).isoformat()
    assert farm.say("batch", "add", "Q", "GO12-101", *words, "--inoculated", at) == 0
    name = walk_file(tmp_path / "log.csv", f"{now.isoformat()},GO12-101,23.5,C")
    assert farm.say("walk", "--csv", name) == 0
    air = Reading("air", Quantity.TEMPERATURE, 21.0, now_s, now_s)
    # The watch stores something of its own before it looks at the journal again.
    assert log.keep([Arrival("wire", "", now_s, 0.0, "boot", True, Decoded((air,)))])
    assert log.store.flags_of(1) == ()
    end_s = frame_end_s(now_s, 600.0)
    hand = log.close(end_s, end_s, ()).frame.hand
    assert [(one.bag, one.surface_c) for one in hand] == [("GO12-101", pytest.approx(23.5))]
    log.store.close()


def test_the_daemon_itself_hears_of_the_book_within_seconds(farm: Farm, tmp_path: Path) -> None:
    """A real `bagwatt watch`; a reading of a bag nobody entered gets its flag, others none."""
    command = [sys.executable, "-m", "monitor", "watch", "--config", str(farm.path)]
    with (tmp_path / "log.txt").open("w") as out:
        watch = subprocess.Popen(command, stdout=out, stderr=out)
    try:
        wait_until(lambda: "watching" in (tmp_path / "log.txt").read_text(), 30)
        at = datetime.now(UTC).isoformat()
        name = walk_file(tmp_path / "a.csv", f"{at},17,23.5,C")
        assert farm.say("walk", "--csv", name) == 0
        assert farm.say("book", "undo") == 0  # takes the batch back: its bags are unknown now
        stranger = Reading(
            "", Quantity.TEMPERATURE, 23.0, datetime.now(UTC).timestamp(),
            datetime.now(UTC).timestamp(), bag="GO12-018",
        )  # fmt: skip
        with Store.open(farm.db, stranger.received_s, check=False) as store:
            arrival = Arrival("walk", "", stranger.received_s, 0.0, "b", True, Decoded((stranger,)))
            ((number,),) = store.add_batch([arrival])
            unknown = Flag.UNKNOWN_BAG
            wait_until(lambda: unknown in store.flags_of(number), 20, "the daemon looks at it")
            assert store.flags_of(1) == ()
    finally:
        watch.send_signal(signal.SIGTERM)
        watch.wait(timeout=20)
