"""`bagwatt check` listens at a real mosquitto beside a real `bagwatt watch`, and takes nothing."""

from __future__ import annotations

import json
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any

import pytest

from monitor.clock import SystemClock
from monitor.errors import StoreError
from monitor.settings.schema_sources import TopicSettings
from monitor.sources import build_source
from monitor.store import open_reader
from tests.bench.meter import started
from tests.broker import Broker
from tests.sources.mqtt_parts import fresh_queue, running, settings, up
from tests.sources.parts import take
from tests.waiting import wait_until

SETTINGS = """\
room: {{name: North, timezone: Europe/London, band_low: 15 C, band_high: 27 C}}
sources:
  - kind: mqtt
    name: broker
    host: 127.0.0.1
    port: {port}
    version: "{version}"
    client_id: bagwatt-north
    topics: [{{topic: "barn/{{probe}}/temp"}}]
neighbours: {{host: 127.0.0.1, port: {port}, keepalive: 5 s}}
channels: none
store: {{path: bagwatt.db, commit_every: 0.2 s}}
"""
NOW = "bagwatt/bagwatt-north/standing"


def check(folder: Path, seconds: float = 2.0) -> dict[str, tuple[str, str]]:
    """State and words of each thing tried."""
    command = [
        sys.executable,
        "-m",
        "monitor",
        "check",
        "--config",
        str(folder),
        "--listen",
        str(seconds),
        "--json",
    ]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    found: list[dict[str, Any]] = json.loads(done.stdout)["findings"]
    return {one["what"]: (one["state"], one["detail"]) for one in found}


def stored(folder: Path) -> list[float]:
    """The values the watch has on disk, in order."""
    try:
        with open_reader(folder / "bagwatt.db") as store:
            return [one.value for _, one in store.readings_after(0, 10_000)]
    except StoreError:
        return []


def standing(broker: Broker) -> str:
    command = ["mosquitto_sub", "-p", str(broker.port), "-t", NOW, "-C", "1", "-W", "2"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    return str(json.loads(done.stdout)["state"]) if done.stdout else ""


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_a_watch_keeps_its_connection_and_every_reading_while_check_listens(
    broker: Broker, tmp_path: Path, version: str
) -> None:
    text = SETTINGS.format(port=broker.port, version=version)
    (tmp_path / "monitor.yaml").write_text(text, encoding="utf-8")
    sent: list[float] = []
    over = threading.Event()

    def speak() -> None:
        while not over.wait(0.05):
            sent.append(15.0 + len(sent) / 100)
            broker.publish(("barn/p1/temp", f"{sent[-1]:.2f}"))

    with started(["-m", "monitor", "watch", "--config", str(tmp_path)], tmp_path / "log"):
        wait_until(lambda: standing(broker) == "watching", 20, "watching")
        speaking = threading.Thread(target=speak)
        speaking.start()
        try:
            wait_until(lambda: stored(tmp_path), 20, "first readings")
            found = check(tmp_path)
        finally:
            over.set()
            speaking.join()
        assert found["source broker"][0] == "ok", found
        assert found["neighbours"][0] == "ok", found
        assert standing(broker) == "watching"
        wait_until(lambda: len(stored(tmp_path)) >= len(sent), 10, "all is stored")
        assert [round(one, 2) for one in stored(tmp_path)] == [round(one, 2) for one in sent]
    log = broker.log()
    assert "already connected" not in log
    assert log.count(" as bagwatt-north (") == 1, "the watch connected once"
    assert "room name taken" not in (tmp_path / "log").read_text(encoding="utf-8")


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_check_neither_takes_nor_leaves_a_queue(
    broker: Broker, tmp_path: Path, version: str
) -> None:
    """What waits for a watch that is away waits on; check hears what comes while it listens."""
    own = settings(broker.port, version=version)
    with running(own, fresh_queue()) as source:
        up(source)
    broker.publish(("barn/a/p1/temp", "21"))
    (tmp_path / "monitor.yaml").write_text(
        SETTINGS.format(port=broker.port, version=version)
        .replace("bagwatt-north", own.client_id)
        .replace("barn/{probe}", "barn/a/{probe}"),
        encoding="utf-8",
    )
    state, detail = check(tmp_path, 1.0)["source broker"]
    assert (state, detail) == ("note", "connected, 0 readings in 1 s")
    sink = fresh_queue()
    with running(own, sink):
        assert take(sink, 1)[0].payload == b"21"
    wait_until(lambda: "Client bagwatt-test-check-" in broker.log(), what="its name in the log")
    broker.stop()  # saves what it keeps
    kept = (broker.folder / "mosquitto.db").read_bytes()
    assert b"bagwatt-test" in kept and b"-check-" not in kept


def test_a_kept_value_is_not_told_as_a_reading_that_came(broker: Broker, tmp_path: Path) -> None:
    text = SETTINGS.format(port=broker.port, version="5")
    (tmp_path / "monitor.yaml").write_text(text, encoding="utf-8")
    broker.publish(("barn/p1/temp", "21"), retain=True)
    assert check(tmp_path, 1.0)["source broker"] == (
        "note",
        "connected, 0 readings in 1 s; 1 old one that the broker keeps (retained)",
    )


def test_two_trials_and_a_watch_that_hears_all_take_nothing_for_a_probe(broker: Broker) -> None:
    own = settings(broker.port, topics=(TopicSettings(topic="{probe}/#"),))
    sinks = [fresh_queue() for _ in range(3)]
    with running(own, sinks[0]) as source:
        up(source)
        trials = [build_source(own, SystemClock(), trial=True) for _ in range(2)]
        for trial, sink in zip(trials, sinks[1:], strict=True):
            trial.start(sink)
        try:
            for trial in trials:
                wait_until(lambda trial=trial: trial.health(0.0).connected, what="connected")
            time.sleep(0.3)
            broker.publish(("barn/a/p1/temp", "21"))
            for sink in sinks:
                assert take(sink, 1)[0].topic == "barn/a/p1/temp"
            assert source.health(0.0).counts["connections"] == 1
            assert [trial.health(0.0).counts["connections"] for trial in trials] == [1, 1]
        finally:
            for trial in trials:
                trial.stop()
        assert all(sink.empty() for sink in sinks)
