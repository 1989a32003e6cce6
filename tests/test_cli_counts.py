"""Of one thing a command speaks as of one."""

from __future__ import annotations

from pathlib import Path

import pytest

from monitor.cli import main
from monitor.store import Arrival, Store
from monitor.values import Decoded, Quantity, Reading

SETTINGS = """\
room: {name: Quarry Lane spawn run, timezone: Europe/London, band_low: 20 C, band_high: 25 C}
channels: none
store: {path: bagwatt.db}
"""
START_S = 1_772_409_600.0


def test_a_store_with_one_reading(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "monitor.yaml").write_text(SETTINGS, encoding="utf-8")
    reading = Reading("air", Quantity.TEMPERATURE, 21.0, START_S, START_S, "wire")
    with Store.open(tmp_path / "bagwatt.db", START_S) as store:
        store.add_batch([Arrival("wire", "", START_S, 0.0, "boot", True, Decoded((reading,)))])
    assert main(["backup", str(tmp_path / "copy.db"), "--config", str(tmp_path)]) == 0
    assert "copy.db: 1 reading, " in capsys.readouterr().out
    main(["check", "--config", str(tmp_path)])
    assert "1 reading, 0 frames, 0 alarms standing" in capsys.readouterr().out


def test_a_replay_of_one_bag(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for name, text in (
        (
            "bags",
            "bag,batch,strain,spawn_lot,inoculated,mass_kg,rack,shelf,slot,probe\n"
            "B1,Q1,GO-12,G1,2026-03-01T00:00:00Z,2.3,R1,1,1,p1\n",
        ),
        ("probes", "probe,place,rack,shelf\np1,bag:B1,R1,1\n"),
        ("readings", "time,probe,quantity,value,unit\n2026-03-02T00:01Z,p1,temperature,22.5,C\n"),
    ):
        (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
    assert main(["replay", str(tmp_path), "--out", str(tmp_path / "out")]) == 0
    assert "1 reading of 1 bag in 1 cohort, 1 frame, " in capsys.readouterr().out
