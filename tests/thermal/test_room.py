"""The room's balance: computed from 460 kJ/mol O2 and 420 ppm outside."""

from __future__ import annotations

import pytest

from monitor.thermal import room

M3_PER_H = 1 / 3600


def test_forty_bags_make_27_w_and_settle_the_room_at_771_ppm() -> None:
    heat = room.total_heat_w([(2.65, 0.26)] * 40)
    assert heat == pytest.approx(27.56, abs=0.01)
    assert room.steady_ppm(heat, 15 * M3_PER_H) == pytest.approx(771, abs=1)


def test_the_room_is_at_642_ppm_after_its_time_constant() -> None:
    constant = room.air_time_constant_s(30, 15 * M3_PER_H)
    assert constant == pytest.approx(7200)
    assert room.ppm_after(420, 771, 7200, constant) == pytest.approx(642, abs=1)


def test_the_heat_of_all_bags_is_read_back_from_ppm() -> None:
    assert room.heat_from_ppm_w(771, 15 * M3_PER_H) == pytest.approx(27.6, abs=0.05)
    there = room.steady_ppm(50, 20 * M3_PER_H, 0.8)
    assert room.heat_from_ppm_w(there, 20 * M3_PER_H, 0.8) == pytest.approx(50)


def test_a_hundred_watts_is_19_litres_of_co2_an_hour() -> None:
    assert room.co2_m3_per_s(100) * 3.6e6 == pytest.approx(19.08, abs=0.02)
    assert room.co2_m3_per_s(100, 0.77) == pytest.approx(0.77 * room.co2_m3_per_s(100))


@pytest.mark.parametrize(
    ("limit_ppm", "m3_per_h"), [(1000, 32.9), (2000, 12.08), (5000, 4.17), (10000, 1.99)]
)
def test_fresh_air_for_a_limit_matches_the_table(limit_ppm: float, m3_per_h: float) -> None:
    found = room.fresh_air_for_limit_m3_per_s(100, limit_ppm)
    assert found * 3600 == pytest.approx(m3_per_h, rel=2e-3)
    assert room.steady_ppm(100, found) == pytest.approx(limit_ppm)


def test_fresh_air_for_co2_hardly_cools() -> None:
    assert room.fresh_air_cooling_w_per_k(M3_PER_H) == pytest.approx(0.332, abs=1e-3)
    flow = room.fresh_air_for_limit_m3_per_s(100, 5000)
    assert room.fresh_air_cooling_w_per_k(flow) == pytest.approx(1.4, abs=0.05)


def test_cooling_carries_off_bags_walls_and_lamps() -> None:
    needed = room.cooling_needed_w(
        1000,
        room_c=24,
        outside_c=30,
        wall_loss_w_per_k=20,
        fresh_air_m3_per_s=0,
        other_heat_w=80,
    )
    assert needed == pytest.approx(1200)
    heating = room.cooling_needed_w(
        100, room_c=24, outside_c=4, wall_loss_w_per_k=20, fresh_air_m3_per_s=0
    )
    assert heating == pytest.approx(-300)


def test_a_ppm_of_co2_is_1_8_mg_a_cubic_metre() -> None:
    # NIOSH prints 1 ppm = 1.80 mg/m³ at 25 °C
    assert room.ppm_to_mg_per_m3(1) == pytest.approx(1.799, abs=1e-3)


def test_nonsense_is_refused() -> None:
    with pytest.raises(ValueError, match="weigh"):
        room.total_heat_w([(-1, 0.3)])
    with pytest.raises(ValueError, match="steady level"):
        room.steady_ppm(27, 0)
    with pytest.raises(ValueError, match="outside has more"):
        room.fresh_air_for_limit_m3_per_s(27, 400)
    with pytest.raises(ValueError, match="volume"):
        room.air_time_constant_s(0, 1)
    with pytest.raises(ValueError, match="time"):
        room.ppm_after(420, 771, -1, 7200)
    with pytest.raises(ValueError, match="below 0"):
        room.cooling_needed_w(
            1, room_c=24, outside_c=30, wall_loss_w_per_k=-1, fresh_air_m3_per_s=0
        )
