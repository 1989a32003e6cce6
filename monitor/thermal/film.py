"""Loss of heat off a bag's skin: natural convection and radiation to the room."""

from __future__ import annotations

import math
from dataclasses import dataclass

from monitor.thermal.substrate import Cylinder

GRAVITY_M_PER_S2 = 9.80665
STEFAN_BOLTZMANN = 5.670374419e-8  # W/(m² K⁴), CODATA 2018
STANDARD_PA = 101325.0
KELVIN = 273.15


@dataclass(frozen=True, slots=True)
class AirProperties:
    """Dry air: k [W/(m K)], kinematic viscosity and diffusivity [m²/s], Prandtl number."""

    conductivity_w_per_m_k: float
    viscosity_m2_per_s: float
    diffusivity_m2_per_s: float
    prandtl: float


def air_properties(temp_c: float, pressure_pa: float = STANDARD_PA) -> AirProperties:
    """Properties of dry air.

    Source  U.S. Standard Atmosphere 1976, equations 51 (viscosity, Sutherland) and 53
            (conductivity); ideal gas; cp 1006 J/(kg K)
    Valid   -20 to 300 °C, within 1 % of CoolProp from 0 to 50 °C
    Check   24 °C: k 0.0262, viscosity 1.55e-5, Prandtl 0.707 (CoolProp)
    Raises  ValueError outside -60 to 400 °C or for pressure not above 0
    """
    if not -60 <= temp_c <= 400 or pressure_pa <= 0:
        raise ValueError(f"no air properties at {temp_c:g} °C, {pressure_pa:g} Pa")
    kelvin = temp_c + KELVIN
    dynamic = 1.458e-6 * math.pow(kelvin, 1.5) / (kelvin + 110.4)
    k = 2.64638e-3 * math.pow(kelvin, 1.5) / (kelvin + 245.4 * math.pow(10.0, -12.0 / kelvin))
    density = pressure_pa / (287.05 * kelvin)
    viscosity = dynamic / density
    diffusivity = k / (density * 1006.0)
    return AirProperties(k, viscosity, diffusivity, viscosity / diffusivity)


def rayleigh(surface_c: float, air_c: float, length_m: float, air: AirProperties) -> float:
    """Rayleigh number g β |ΔT| L³/(ν α), with β = 1/T at film temperature.

    Check   27 °C in 24 °C, 0.30 m: 7.706e6; a colder surface gives the same number
    """
    beta = 1.0 / ((surface_c + air_c) / 2.0 + KELVIN)
    buoyancy = GRAVITY_M_PER_S2 * beta * abs(surface_c - air_c) * length_m**3
    return buoyancy / (air.viscosity_m2_per_s * air.diffusivity_m2_per_s)


def _churchill_chu(ra: float, pr: float, at_rest: float, prandtl_scale: float) -> float:
    if ra < 0 or pr <= 0:
        raise ValueError("Churchill-Chu needs a Rayleigh number of 0 or more, Prandtl above 0")
    damping = math.pow(1.0 + math.pow(prandtl_scale / pr, 9.0 / 16.0), 8.0 / 27.0)
    root = at_rest + 0.387 * math.pow(ra, 1.0 / 6.0) / damping
    return root * root


def nusselt_plate(ra: float, pr: float) -> float:
    """Mean Nusselt number of a vertical plate, laminar and turbulent.

    Source  Churchill and Chu 1975, the all-Rayleigh form (0.825, 0.387, 0.492)
    Valid   Ra up to 1e12; scatter 15 to 25 %. Takes Rayleigh, not Grashof.
    Check   Pr 0.69, Ra 1.8147e9: 147.162
    Raises  ValueError for Ra below 0 or Pr not above 0
    """
    return _churchill_chu(ra, pr, 0.825, 0.492)


def nusselt_plate_laminar(ra: float, pr: float) -> float:
    """Mean Nusselt number of a vertical plate, laminar only.

    Source  Churchill and Chu 1975 (0.68, 0.670); valid Ra up to 1e9
    Check   Pr 0.71, Ra 1e6: 16.942
    Raises  ValueError for Ra below 0 or Pr not above 0
    """
    if ra < 0 or pr <= 0:
        raise ValueError("Churchill-Chu needs a Rayleigh number of 0 or more, Prandtl above 0")
    damping = math.pow(1.0 + math.pow(0.492 / pr, 9.0 / 16.0), 4.0 / 9.0)
    return 0.68 + 0.670 * math.pow(ra, 0.25) / damping


def nusselt_horizontal_cylinder(ra: float, pr: float) -> float:
    """Mean Nusselt number of a lying cylinder, on its diameter.

    Source  Churchill and Chu 1975 (0.60, 0.387, 0.559); valid Ra up to 1e12
    Check   Pr 0.71, Ra 1e6: 14.537
    Raises  ValueError for Ra below 0 or Pr not above 0
    """
    return _churchill_chu(ra, pr, 0.60, 0.559)


def radiation_film(surface_c: float, surround_c: float, emissivity: float = 0.95) -> float:
    """Radiation between a surface and what surrounds it, as a film [W/(m² K)].

    Exact: εσ(T1² + T2²)(T1 + T2); at equal temperatures the linear 4εσT³.
    Check   emissivity 1: both 20 °C 5.714; both 24 °C 5.951; 30 in 24 °C 6.1338
    Raises  ValueError for an emissivity outside 0 to 1
    """
    if not 0 <= emissivity <= 1:
        raise ValueError(f"an emissivity of {emissivity:g} is outside 0 to 1")
    warm, cool = surface_c + KELVIN, surround_c + KELVIN
    return emissivity * STEFAN_BOLTZMANN * (warm**2 + cool**2) * (warm + cool)


def convection_film(
    surface_c: float,
    air_c: float,
    length_m: float,
    *,
    lying: bool = False,
    pressure_pa: float = STANDARD_PA,
) -> float:
    """Natural convection off an upright bag `length_m` high, or a lying one that thick.

    Returns W/(m² K); check 27 °C in 24 °C, 0.30 m upright: 2.54
    """
    air = air_properties((surface_c + air_c) / 2.0, pressure_pa)
    ra = rayleigh(surface_c, air_c, length_m, air)
    nusselt = nusselt_horizontal_cylinder if lying else nusselt_plate
    return nusselt(ra, air.prandtl) * air.conductivity_w_per_m_k / length_m


def open_view_in_row(gap_m: float, diameter_m: float, neighbours: int) -> float:
    """Share of a round bag's side that sees the room and not an equally warm neighbour.

    neighbours  how many stand that near, 0 to 4 (two in a row, four inside a block)
    Source  view factor of two equal parallel cylinders, crossed strings (Hottel):
            F = (sqrt(X² - 1) + asin(1/X) - X)/π, X = 1 + gap/diameter; long cylinders
    Check   touching: F = 1/2 - 1/π = 0.1817, so two touching neighbours leave 0.637
    Raises  ValueError for a gap below 0, a diameter not above 0, or over 4 neighbours
    """
    if gap_m < 0 or diameter_m <= 0 or not 0 <= neighbours <= 4:
        raise ValueError("open view needs gap >= 0, diameter > 0 and 0 to 4 neighbours")
    x = 1.0 + gap_m / diameter_m
    each = (math.sqrt(x * x - 1.0) + math.asin(1.0 / x) - x) / math.pi
    return 1.0 - neighbours * each


@dataclass(frozen=True, slots=True)
class Standing:
    """How a bag stands.

    `open_view` share of its side's view that is not an equally warm neighbour, 0 to 1: those
    give back what they take. A row with hand-wide gaps is 0.75 (see `open_view_in_row`).
    `floor_contact` share of its base that loses nothing to a warm or solid shelf, 0 to 1.
    """

    open_view: float = 1.0
    floor_contact: float = 0.0
    emissivity: float = 0.95
    pressure_pa: float = STANDARD_PA

    def __post_init__(self) -> None:
        shares = (self.open_view, self.floor_contact, self.emissivity)
        if not all(0 <= share <= 1 for share in shares):
            raise ValueError("open view, floor contact and emissivity are shares from 0 to 1")


@dataclass(frozen=True, slots=True)
class Films:
    """Film coefficient of the side, and the mean of both ends [W/(m² K)]."""

    side_w_per_m2_k: float
    end_w_per_m2_k: float


def bag_films(shape: Cylinder, standing: Standing, excess_k: float, air_c: float) -> Films:
    """Films of an upright bag whose skin is `excess_k` over its air.

    Neighbours hide the side; the top sees the shelf or lid above it and is taken as open,
    with the side's convection. The base loses through the share that does not touch.
    Valid   excess within 30 K either way; convection good to 15 to 25 %
    Check   3 K over 24 °C, 0.30 m high, open view 1: 8.28 on every face
    """
    surface_c = air_c + excess_k
    moved = convection_film(surface_c, air_c, shape.height_m, pressure_pa=standing.pressure_pa)
    shone = radiation_film(surface_c, air_c, standing.emissivity)
    end = (moved + shone) * (2.0 - standing.floor_contact) / 2.0
    return Films(moved + standing.open_view * shone, end)


def loss_w_per_k(shape: Cylinder, films: Films) -> float:
    """Loss of a bag whose whole skin is equally warm [W/K]: Σ h A.

    Check   0.15 × 0.30 m at h 8: 1.4137
    """
    return films.side_w_per_m2_k * shape.side_m2 + films.end_w_per_m2_k * 2.0 * shape.end_m2
