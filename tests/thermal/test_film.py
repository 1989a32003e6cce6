"""Loss off a bag's skin beside the `ht` library, textbook examples and ISO 6946."""

from __future__ import annotations

import math

import pytest
from CoolProp.CoolProp import PropsSI
from ht.conv_free_immersed import (
    Nu_horizontal_cylinder_Churchill_Chu,
    Nu_vertical_plate_Churchill,
)

from monitor.thermal.film import (
    Films,
    Standing,
    air_properties,
    bag_films,
    convection_film,
    loss_w_per_k,
    nusselt_horizontal_cylinder,
    nusselt_plate,
    nusselt_plate_laminar,
    open_view_in_row,
    radiation_film,
    rayleigh,
)
from monitor.thermal.substrate import Cylinder

BAG = Cylinder(0.075, 0.30)


def test_glass_door_of_the_textbook_has_its_nusselt_number_film_and_loss() -> None:
    # Incropera, example 9.2 (from memory): 0.71 × 1.02 m at 232 °C in 23 °C, h 7.0, q 1060 W;
    # Nu 147.16 is printed in the docstring of ht's function
    nusselt = nusselt_plate(1.8147e9, 0.69)
    assert nusselt == pytest.approx(147.162, abs=0.01)
    film = nusselt * 0.0338 / 0.71
    assert film == pytest.approx(7.0, rel=5e-3)
    assert film * 0.71 * 1.02 * 209 == pytest.approx(1060, rel=5e-3)


@pytest.mark.parametrize(
    ("ra", "plate", "laminar", "cylinder"),
    [
        (1e4, 5.433, 5.822, 4.373),
        (1e5, 9.213, 9.825, 7.778),
        (1e6, 16.558, 16.942, 14.537),
        (1e7, 31.213, 29.598, 28.257),
        (1e9, 122.857, 92.127, 115.771),
    ],
)
def test_nusselt_numbers_match_the_table(
    ra: float, plate: float, laminar: float, cylinder: float
) -> None:
    # Churchill and Chu 1975 at Pr 0.71, computed
    assert nusselt_plate(ra, 0.71) == pytest.approx(plate, abs=1e-3)
    assert nusselt_plate_laminar(ra, 0.71) == pytest.approx(laminar, abs=1e-3)
    assert nusselt_horizontal_cylinder(ra, 0.71) == pytest.approx(cylinder, abs=1e-3)


@pytest.mark.parametrize("pr", [0.69, 0.707, 0.72])
@pytest.mark.parametrize("ra", [1e4, 1e6, 7.7e6, 1e9])
def test_nusselt_numbers_agree_with_ht_when_it_is_given_grashof(pr: float, ra: float) -> None:
    # ht takes (Pr, Gr): handing it Rayleigh would be 10 % off and is what the last line shows
    gr = ra / pr
    assert nusselt_plate(ra, pr) == pytest.approx(Nu_vertical_plate_Churchill(pr, gr), rel=1e-9)
    assert nusselt_horizontal_cylinder(ra, pr) == pytest.approx(
        Nu_horizontal_cylinder_Churchill_Chu(pr, gr), rel=1e-9
    )
    assert abs(nusselt_plate(ra, pr) / Nu_vertical_plate_Churchill(pr, ra) - 1) > 0.04


@pytest.mark.parametrize("temp_c", [0, 10, 24, 35, 50])
def test_air_properties_agree_with_coolprop_within_a_per_cent(temp_c: float) -> None:
    air = air_properties(temp_c)
    state = ("T", temp_c + 273.15, "P", 101325.0, "Air")
    viscosity = PropsSI("V", *state) / PropsSI("D", *state)
    k = PropsSI("L", *state)
    diffusivity = k / PropsSI("D", *state) / PropsSI("C", *state)
    assert air.conductivity_w_per_m_k == pytest.approx(k, rel=0.01)
    assert air.viscosity_m2_per_s == pytest.approx(viscosity, rel=0.01)
    assert air.diffusivity_m2_per_s == pytest.approx(diffusivity, rel=0.01)
    assert air.prandtl == pytest.approx(viscosity / diffusivity, rel=0.01)


@pytest.mark.parametrize(
    ("surface_c", "height_m", "convection", "total"),
    [
        (24.5, 0.30, 1.553, 7.22),
        (25, 0.30, 1.873, 7.56),
        (27, 0.30, 2.539, 8.28),
        (29, 0.30, 2.931, 8.73),
        (27, 0.20, 2.717, 8.46),
    ],
)
def test_film_of_a_bag_in_air_of_24_matches_the_table(
    surface_c: float, height_m: float, convection: float, total: float
) -> None:
    # computed with CoolProp's air, emissivity 0.95
    moved = convection_film(surface_c, 24, height_m)
    assert moved == pytest.approx(convection, rel=0.02)
    assert moved + radiation_film(surface_c, 24) == pytest.approx(total, rel=0.02)


def test_film_of_a_lying_bag_matches_the_table() -> None:
    assert convection_film(27, 24, 0.15, lying=True) == pytest.approx(2.519, rel=0.02)


def test_rayleigh_of_a_bag_matches_the_table_and_is_the_same_for_a_colder_one() -> None:
    air = air_properties(25.5)
    assert rayleigh(27, 24, 0.30, air) == pytest.approx(7.706e6, rel=0.02)
    assert rayleigh(24, 27, 0.30, air) == rayleigh(27, 24, 0.30, air)


@pytest.mark.parametrize(("temp_c", "film"), [(10, 5.149), (20, 5.714), (24, 5.951)])
def test_radiation_between_equals_is_four_sigma_t_cubed(temp_c: float, film: float) -> None:
    # ISO 6946, table of radiative coefficients
    assert radiation_film(temp_c, temp_c, 1.0) == pytest.approx(film, abs=1e-3)


def test_radiation_over_six_kelvin_is_its_linear_form_within_a_hundredth_per_cent() -> None:
    assert radiation_film(30, 24, 1.0) == pytest.approx(6.1338, abs=2e-4)
    assert radiation_film(27, 27, 1.0) == pytest.approx(6.1332, abs=2e-4)


@pytest.mark.parametrize(
    ("convection", "resistance", "printed"),
    [(2.5, 0.1308, 0.13), (5.0, 0.0986, 0.10), (0.7, 0.1712, 0.17)],
)
def test_still_air_resistance_matches_the_building_standard(
    convection: float, resistance: float, printed: float
) -> None:
    # ISO 6946: 0.13 across, 0.10 up, 0.17 down; its convection coefficients from memory
    found = 1 / (radiation_film(20, 20, 0.9) + convection)
    assert found == pytest.approx(resistance, abs=1e-3)
    assert found == pytest.approx(printed, abs=2e-3)


def test_touching_neighbours_hide_what_crossed_strings_say() -> None:
    # Hottel: two touching cylinders see 1/2 - 1/π of each other
    assert open_view_in_row(0, 0.15, 1) == pytest.approx(0.5 + 1 / math.pi)
    assert open_view_in_row(0, 0.15, 4) == pytest.approx(1 - 4 * (0.5 - 1 / math.pi))
    assert open_view_in_row(0.065, 0.15, 2) == pytest.approx(0.77, abs=0.01)
    assert open_view_in_row(5, 0.15, 4) > 0.97


def test_warm_neighbours_take_the_radiation_off_the_side_and_leave_the_ends() -> None:
    free = bag_films(BAG, Standing(open_view=1), 3, 24)
    hidden = bag_films(BAG, Standing(open_view=0), 3, 24)
    assert free.side_w_per_m2_k == pytest.approx(8.28, rel=0.01)
    assert hidden.side_w_per_m2_k == pytest.approx(2.54, rel=0.02)
    assert hidden.end_w_per_m2_k == free.end_w_per_m2_k


def test_a_base_on_a_warm_shelf_loses_nothing() -> None:
    standing = bag_films(BAG, Standing(floor_contact=1), 3, 24)
    free = bag_films(BAG, Standing(), 3, 24)
    assert standing.end_w_per_m2_k == pytest.approx(free.end_w_per_m2_k / 2)


def test_loss_is_film_times_skin() -> None:
    assert loss_w_per_k(BAG, Films(8, 8)) == pytest.approx(1.4137, abs=1e-4)


def test_thin_air_moves_less_heat() -> None:
    assert convection_film(27, 24, 0.3, pressure_pa=89875) < convection_film(27, 24, 0.3)


def test_nonsense_is_refused() -> None:
    with pytest.raises(ValueError, match="Rayleigh"):
        nusselt_plate(-1, 0.7)
    with pytest.raises(ValueError, match="Rayleigh"):
        nusselt_plate_laminar(1e6, 0)
    with pytest.raises(ValueError, match="emissivity"):
        radiation_film(20, 20, 1.1)
    with pytest.raises(ValueError, match="shares"):
        Standing(open_view=1.5)
    with pytest.raises(ValueError, match="neighbours"):
        open_view_in_row(0.1, 0.15, 7)
    with pytest.raises(ValueError, match="no air"):
        air_properties(24, 0)
