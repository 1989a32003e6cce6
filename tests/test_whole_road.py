"""The whole road, from bytes on a wire to a message at a receiver, as a user starts it."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from monitor.errors import StoreError
from monitor.resume import resume
from monitor.settings.load import load_settings
from monitor.store import open_reader
from monitor.values import AlarmKind, Flag, Reason, Refusal, Transition
from tests.broker import running_broker
from tests.waiting import wait_until

ROOT = Path(__file__).resolve().parent.parent
BAGWATT = Path(sys.executable).with_name("bagwatt")
STOP_WITHIN_S = 5.0


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, Path]:
    """The demo played once, a little faster than for people: what it printed, what it kept."""
    kept = tmp_path_factory.mktemp("demo") / "kept"
    done = subprocess.run(
        [sys.executable, "-m", "demo.show", "--factor", "6000", "--keep", str(kept)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=180,
        check=False,
    )
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-2000:]
    return done.stdout, kept


def test_demo_delivers_the_hot_bag_and_the_stuck_heater(demo: tuple[str, Path]) -> None:
    """The receiver on loopback has been told of both, in words that name the bag."""
    told = demo[0].split("delivered to the owner's phone")[1:]
    assert any("B017" in text and "cohort" in text for text in told)
    assert any("heater" in text for text in told)


def test_what_the_demo_proposes_to_try_at_its_end_works(demo: tuple[str, Path]) -> None:
    """As it is printed, also where no `bagwatt` is on the path."""
    words = demo[0].split("try `")[1].split("`")[0].split()
    done = subprocess.run(
        words, env={"PATH": "/usr/bin:/bin"}, capture_output=True, text=True, check=False
    )
    assert done.returncode == 3 and "B017" in done.stdout, done.stderr


def test_demo_tells_a_hot_bag_from_a_fallen_probe(demo: tuple[str, Path]) -> None:
    """One bag has added heat; the bag whose probe fell is called a probe, not a bag."""
    with open_reader(demo[1] / "bagwatt.db") as store:
        raised = [one for one in store.events() if one.transition is Transition.RAISED]
    hot = {one.facts.bag for one in raised if one.kind is AlarmKind.HOT_BAG}
    assert "B017" in hot and "B005" not in hot
    fell = [one for one in raised if one.reason is Reason.PROBE_FELL_OFF]
    assert {one.facts.probe for one in fell} == {"p005"}
    assert len([one for one in raised if one.kind is AlarmKind.ROOM]) == 1


def test_rebuilding_a_recorded_run_gives_the_same_alarm_events(demo: tuple[str, Path]) -> None:
    """Raw readings and the book alone, in the order they came, tell the same story."""
    settings = load_settings(demo[1], {}, outside=False)
    with open_reader(demo[1] / "bagwatt.db") as store:
        recorded = store.events()
        rebuilt = resume(store, settings, from_start=True)
        resumed = resume(store, settings)
    assert [event.event_id for event in rebuilt.events] == [event.event_id for event in recorded]
    assert rebuilt.events == recorded
    assert resumed.road.state() == rebuilt.road.state()


SETTINGS = """\
room:
  name: Quarry Lane spawn run
  folder: room
  timezone: Europe/London
  band_low: 15 C
  band_high: 27 C
sources:
  - kind: mqtt
    name: broker
    host: 127.0.0.1
    port: {port}
    topics:
      - topic: "quarry/{{probe}}/temp"
      - topic: "box/{{probe}}"
        payload:
          shape: json
          fields:
            - {{value: /t, unit: degF, time_at: /at, time_format: iso 8601}}
channels: none
store: {{path: bagwatt.db}}
"""


@contextmanager
def watching(folder: Path) -> Iterator[subprocess.Popen[str]]:
    """`bagwatt watch` as its own process, ended by SIGTERM."""
    process = subprocess.Popen(
        [str(BAGWATT), "watch", "--config", str(folder)],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    try:
        yield process
    finally:
        if process.poll() is None:
            process.send_signal(signal.SIGTERM)
            process.wait(10)


def room(tmp_path: Path, port: int) -> Path:
    shutil.copytree(ROOT / "config" / "room", tmp_path / "room")
    (tmp_path / "monitor.yaml").write_text(SETTINGS.format(port=port), encoding="utf-8")
    return tmp_path


def publish(port: int, topic: str, text: str, *more: str) -> None:
    """One message by mosquitto's own client, QoS 1."""
    subprocess.run(
        ["mosquitto_pub", "-p", str(port), "-t", topic, "-m", text, "-q", "1", *more], check=True
    )


def readings(folder: Path) -> int:
    """How many readings the store holds, 0 where there is none yet."""
    if not (folder / "bagwatt.db").exists():
        return 0
    try:
        with open_reader(folder / "bagwatt.db") as store:
            return store.last_reading_id()
    except StoreError:
        return 0  # just being made


def test_messages_of_mosquitto_pub_become_rows_and_named_refusals(tmp_path: Path) -> None:
    """Sound ones are stored in °C, odd ones are refused by name, and the daemon stops in time."""
    with running_broker(tmp_path) as broker:
        folder = room(tmp_path, broker.port)
        publish(broker.port, "quarry/p-b018/temp", "22.5", "-r")
        with watching(folder) as process:
            wait_until(lambda: readings(folder) == 1, what="the retained message")
            for text in ("23.44", "21,5", "true", "nan"):
                publish(broker.port, "quarry/p-b017/temp", text)
            now = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime())
            publish(broker.port, "box/p-b019", json.dumps({"t": 74.3, "at": now}))
            publish(broker.port, "quarry/stranger/temp", "20.0")

            def arrived() -> bool:
                with open_reader(folder / "bagwatt.db") as store:
                    counts = store.counts()
                return counts.readings >= 4 and sum(counts.refused.values()) >= 3

            wait_until(arrived, what="rows and refusals")
            began_s = time.monotonic()
            process.send_signal(signal.SIGTERM)
            assert process.wait(STOP_WITHIN_S + 5) == 0
            assert time.monotonic() - began_s < STOP_WITHIN_S
        with open_reader(folder / "bagwatt.db") as store:
            rows = {
                reading.probe: (number, reading) for number, reading in store.readings_after(0, 99)
            }
            refused = {reason for _, reason in store.counts().refused}
            assert rows["p-b017"][1].value == 23.44
            assert rows["p-b019"][1].value == pytest.approx(23.5)
            assert store.flags_of(rows["p-b018"][0])[:1] == (Flag.TIME_UNKNOWN,) or (
                Flag.RETAINED in store.flags_of(rows["p-b018"][0])
            )
            assert Flag.UNKNOWN_PROBE in store.flags_of(rows["stranger"][0])
            assert refused == {Refusal.NOT_A_NUMBER, Refusal.BOOLEAN, Refusal.NOT_FINITE}


def test_a_broker_that_is_down_stops_nothing_and_is_told(tmp_path: Path) -> None:
    """`check` names it and says exit code 3; `watch` starts all the same."""
    folder = room(tmp_path, 1)
    done = subprocess.run(
        [str(BAGWATT), "check", "--config", str(folder), "--listen", "1", "--json"],
        capture_output=True, text=True, check=False, timeout=60,
    )  # fmt: skip
    assert done.returncode == 3
    found = {one["what"]: one for one in json.loads(done.stdout)["findings"]}
    assert found["source broker"]["state"] == "wrong"
    assert "broker lost" in found["source broker"]["detail"]
    with watching(folder) as process:
        wait_until((folder / "bagwatt.db").exists, what="a store")
        assert process.poll() is None


def test_faulty_settings_are_told_with_line_and_column_and_exit_2(tmp_path: Path) -> None:
    """Nothing is started on settings that can't be understood."""
    folder = room(tmp_path, 1)
    text = (folder / "monitor.yaml").read_text(encoding="utf-8").replace("band_low", "bandlow")
    (folder / "monitor.yaml").write_text(text, encoding="utf-8")
    done = subprocess.run(
        [str(BAGWATT), "watch", "--config", str(folder)],
        capture_output=True, text=True, check=False, timeout=60,
        env={**os.environ, "NO_COLOR": "1"},
    )  # fmt: skip
    assert done.returncode == 2
    assert "monitor.yaml:1:" in done.stderr and "band_low" in done.stderr
