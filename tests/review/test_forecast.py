"""A forecast made on day 5 of an invented room against what came, and the command on a store."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from datetime import UTC
from pathlib import Path

import numpy as np
import pytest

from monitor.cli import main
from monitor.cli.exits import Exit
from monitor.errors import SettingsError
from monitor.review.curves import expected_of
from monitor.review.forecast import RoomLimits, Span, forecast
from monitor.review.forecast_words import forecast_lines
from monitor.review.runs import forecast_of
from monitor.settings.load import load_settings
from monitor.store import Store
from monitor.thermal.room import steady_ppm
from monitor.values import Bag, Estimate
from tests.review.forecast_rooms import DAY_S, STRAINS, Played, on_day_five, play, score
from tests.review.storing import settings_folder

START_S = 1_767_600_000.0


@pytest.fixture(scope="module")
def rooms() -> tuple[Played, Played]:
    """One room that is finished, and another on its day 5."""
    return play(100), play(1)


def test_forecast_of_day_five_comes_true_after_one_finished_run(
    rooms: tuple[Played, Played],
) -> None:
    """Full run within a day, coming peaks within 18 h, cores within 1.5 K; most spans hold."""
    before, now = rooms
    found = score([(now, on_day_five(now, [before]))])
    assert len(found.full_run_h) == 4
    assert max(map(abs, found.full_run_h)) < 24.0
    assert found.peak_h
    assert max(map(abs, found.peak_h)) < 18.0
    assert max(map(abs, found.core_k)) < 1.5
    assert float(np.sqrt(np.mean(np.square(found.heat_share)))) < 0.35
    held = [one for spans in found.held.values() for one in spans]
    assert sum(held) >= 0.6 * len(held)


def test_a_finished_run_makes_the_forecast_better(rooms: tuple[Played, Played]) -> None:
    """Settings alone put full run days off; one run of the strain halves that at least."""
    before, now = rooms
    alone = score([(now, on_day_five(now, []))]).full_run_h
    taught = score([(now, on_day_five(now, [before]))]).full_run_h
    assert max(map(abs, taught)) < 0.5 * max(map(abs, alone))


def test_co2_settles_at_what_the_heat_says_and_lags_with_the_volume(
    rooms: tuple[Played, Played],
) -> None:
    """Bags under way in 30 m³/h; a huge room follows slowly, so its peak is lower."""
    _, now = rooms
    bags = [replace(bag, standing=True, full_run_s=None) for bag in now.bags]
    expected = {name: expected_of(strain) for name, strain in STRAINS.items()}

    def days(volume_m3: float | None) -> list[float]:
        limits = RoomLimits(None, volume_m3, 30.0 / 3600.0)
        found = forecast(
            bags, {}, expected, STRAINS.__getitem__, lambda place: 21.0, limits, now.now_s
        )
        assert all(day.co2_ppm is not None for day in found.days)
        heats.append([day.heat_w.middle for day in found.days])
        return [day.co2_ppm.middle for day in found.days if day.co2_ppm]

    heats: list[list[float]] = []
    small = days(None)
    assert small == pytest.approx(
        [steady_ppm(watts, 30.0 / 3600.0) for watts in heats[0]], rel=1e-6
    )
    assert max(days(5000.0)) < max(small)


def room_on_day_four(folder: Path) -> None:
    """Twelve GO-12 bags on a cool and a warm shelf, four days of estimates, no run before."""
    bags = [
        Bag(f"GO12-{i:03d}", "QL-1", "GO-12", "J1", START_S, 2.4, "R1", 1 if i < 6 else 4, i)
        for i in range(12)
    ]
    now_s = START_S + 4 * DAY_S
    with Store.open(folder / "bagwatt.db", now_s) as store:
        store.add_book(START_S, bags, [])
        for hours in range(1, 97):
            at_s = START_S + hours * 3600.0
            watts = float(1.2 * math.exp(-(((hours - 110.0) / 40.0) ** 2)))
            seen = [
                (Estimate(bag.bag, at_s, None, 20.5 if bag.shelf == 1 else 26.5, None, watts), None)
                for bag in bags
            ]
            store.close_frame(at_s, at_s, 0, 0, estimates=seen)


def test_the_command_names_the_hot_shelf_and_what_to_do(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Warm top shelf, 30 W of cooling: spread, move down, lower the room, put off the next."""
    folder = settings_folder(tmp_path, ", cooling: 30 W, volume: 60 m3, fresh_air: 2 m3/h")
    room_on_day_four(folder)
    assert main(["forecast", "--config", str(folder)]) == Exit.FOUND
    said = capsys.readouterr().out
    assert "QL-1 GO-12: 12 bags; hottest" in said
    assert "HOT: rack R1 shelf 4" in said
    assert "keeps: rack R1 shelf 1" in said
    assert "Spread the bags on rack R1 shelf 4" in said
    assert "move some down to rack R1 shelf 1" in said
    assert "Lower the room by 1 to 2 °C" in said
    assert "against 30 W of cooling: put off the next batch" in said
    assert "ventilate before you work in it" in said
    assert main(["forecast", "--config", str(folder), "--json"]) == Exit.FOUND
    found = json.loads(capsys.readouterr().out)
    assert found["hot_shelves"] == ["R1/4"]
    assert len(found["days"]) == 7
    assert found["batches"][0]["readings"] > 8


def test_one_bag_and_one_look_are_one(tmp_path: Path) -> None:
    """A shelf with a single bag, a batch that was looked at once."""
    settings = load_settings(settings_folder(tmp_path), {})
    room_on_day_four(tmp_path)
    with Store.open(settings.store.path, START_S) as store:
        found = forecast_of(store, settings, START_S + 4 * DAY_S)
    single = replace(
        found,
        batches=(replace(found.batches[0], bags=1, readings=1, runs=1),),
        shelves=(replace(found.shelves[0], bags=1),),
    )
    said = "\n".join(forecast_lines(single, "C", UTC))
    assert "QL-1 GO-12: 1 bag; hottest" in said
    assert "from 1 finished run and 1 look at this batch" in said
    assert "shelf 4, 1 bag, most heat" in said


def test_what_the_room_can_take_is_read_in_the_units_people_write(tmp_path: Path) -> None:
    """Kilowatts and cubic metres; litres are refused with what to write."""
    room = load_settings(
        settings_folder(tmp_path, ", cooling: 1.2 kW, volume: 60 m3, fresh_air: 30 m³/h"), {}
    ).room
    assert (room.cooling_w, room.volume_m3, room.fresh_air_m3_per_h) == (1200.0, 60.0, 30.0)
    with pytest.raises(SettingsError) as refused:
        load_settings(settings_folder(tmp_path, ", volume: 60 l"), {})
    assert "write a volume such as `60 m3`" in refused.value.problems[0]


def test_an_empty_book_forecasts_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """No bag, no number made up."""
    folder = settings_folder(tmp_path)
    with Store.open(folder / "bagwatt.db", START_S):
        pass
    assert main(["forecast", "--config", str(folder)]) == Exit.DONE
    assert "nothing to forecast" in capsys.readouterr().out


def test_a_shelf_that_may_get_hot_is_not_said_to_be(rooms: tuple[Played, Played]) -> None:
    """Only the end of its range reaches the limit: that is a reason to look, and no finding."""
    found = on_day_five(rooms[1], [])
    shelf = found.shelves[0]
    limit_c = shelf.limit.core_c
    doubtful = replace(shelf, core_c=Span(limit_c - 5.0, limit_c - 8.0, limit_c + 0.1))
    told = forecast_lines(replace(found, shelves=(doubtful,)), "C", UTC)
    assert any(line.startswith(f"  MAY GET HOT: rack {shelf.rack}") for line in told)
