"""What a bag is filled with: density, conductivity, heat capacity, and the shape it takes."""

from __future__ import annotations

import math
from dataclasses import dataclass

WATER_CP_J_PER_KG_K = 4180.0


@dataclass(frozen=True, slots=True)
class Substrate:
    """A filling: density as packed [kg/m³], conductivity with its likely range [W/(m K)],
    water as a share of fresh mass, and height over diameter of the bag it is sold in."""

    density_kg_per_m3: float
    conductivity_w_per_m_k: float
    conductivity_low_w_per_m_k: float
    conductivity_high_w_per_m_k: float
    water_share: float
    height_per_diameter: float


#: Conductivity: Ahn and others 2009 (bulking materials at 80 % of water capacity) and Phase I
#: compost. Densities and shapes are common practice, no source.
SUBSTRATES: dict[str, Substrate] = {
    "sawdust": Substrate(500.0, 0.30, 0.20, 0.45, 0.60, 2.0),
    "straw": Substrate(320.0, 0.20, 0.10, 0.35, 0.65, 2.0),
    "grain": Substrate(700.0, 0.30, 0.25, 0.35, 0.45, 1.6),
}


def substrate_in(text: str) -> str:
    """The filling a free text names ("5 lb sawdust, filter patch"), else `sawdust`."""
    words = text.casefold()
    return next((kind for kind in SUBSTRATES if kind in words), "sawdust")


def dry_wood_cp(temp_c: float) -> float:
    """Heat capacity of oven-dry wood [J/(kg K)].

    Source  Wood Handbook (Forest Products Laboratory) ch. 4: 0.1031 + 0.003867 T(K) kJ/(kg K)
    Valid   7 to 147 °C; check 1252.2 at 24 °C
    """
    return 103.1 + 3.867 * (temp_c + 273.15)


def wet_wood_cp(temp_c: float, moisture_pct: float) -> float:
    """Heat capacity of wood below fibre saturation [J/(kg K)].

    moisture_pct  water as per cent of dry mass, 0 to 30
    Source  Wood Handbook ch. 4, with the bound-water term x(-0.06191 + 2.36e-4 T - 1.33e-4 x);
            some copies print its first sign wrong
    Check   340 K, 12 %: 1914.6
    Raises  ValueError outside 0 to 30 %
    """
    if not 0 <= moisture_pct <= 30:
        raise ValueError(f"{moisture_pct:g} % of dry mass is outside 0 to 30: use mixture_cp")
    kelvin = temp_c + 273.15
    x = moisture_pct / 100.0
    bound = moisture_pct * (-0.06191 + 2.36e-4 * kelvin - 1.33e-4 * moisture_pct)
    return (dry_wood_cp(temp_c) + WATER_CP_J_PER_KG_K * x) / (1.0 + x) + 1000.0 * bound


def mixture_cp(water_share: float, temp_c: float = 24.0) -> float:
    """Heat capacity of wet substrate from its water, as share of fresh mass [J/(kg K)].

    Source  mixture rule: dry wood (Wood Handbook) and water 4180, by mass
    Valid   0 to 1; within 5 % (Siebel's rule gives 2846 where this gives 3009)
    Check   0.60 at 24 °C: 3009; 0.70: 3302
    Raises  ValueError outside 0 to 1
    """
    if not 0 <= water_share <= 1:
        raise ValueError(f"a water share of {water_share:g} is outside 0 to 1")
    return (1.0 - water_share) * dry_wood_cp(temp_c) + water_share * WATER_CP_J_PER_KG_K


def wood_conductivity(specific_gravity: float, moisture_pct: float) -> float:
    """Conductivity of wood across the grain [W/(m K)].

    moisture_pct  per cent of dry mass, 0 to 25: the handbook gives none for wetter wood
    Source  Wood Handbook ch. 4: G (0.1941 + 0.004064 x) + 0.01864, good to 20 %
    Check   G 0.5, 12 %: 0.1401
    Raises  ValueError outside 0 to 25 %, or for a specific gravity of 0.3 or less
    """
    if not 0 <= moisture_pct <= 25 or specific_gravity <= 0.3:
        raise ValueError("wood conductivity holds for 0 to 25 % moisture and gravity above 0.3")
    return specific_gravity * (0.1941 + 0.004064 * moisture_pct) + 0.01864


@dataclass(frozen=True, slots=True)
class Cylinder:
    """An upright cylinder: the shape a filled bag is near enough to [m]."""

    radius_m: float
    height_m: float

    def __post_init__(self) -> None:
        if not (self.radius_m > 0 and self.height_m > 0):
            raise ValueError("a cylinder needs a radius and a height above 0")

    @property
    def volume_m3(self) -> float:
        return math.pi * self.radius_m**2 * self.height_m

    @property
    def side_m2(self) -> float:
        return 2.0 * math.pi * self.radius_m * self.height_m

    @property
    def end_m2(self) -> float:
        """One of its two ends."""
        return math.pi * self.radius_m**2


def bag_shape(mass_kg: float, substrate: Substrate) -> Cylinder:
    """The cylinder a bag of this mass fills.

    Valid   0.05 to 50 kg; check 2.651 kg of sawdust: 0.150 m across, 0.300 m high
    Raises  ValueError for a mass outside 0.05 to 50 kg
    """
    if not 0.05 <= mass_kg <= 50:
        raise ValueError(f"a bag of {mass_kg:g} kg is outside 0.05 to 50 kg")
    volume_m3 = mass_kg / substrate.density_kg_per_m3
    diameter_m = (4.0 * volume_m3 / (math.pi * substrate.height_per_diameter)) ** (1.0 / 3.0)
    return Cylinder(diameter_m / 2.0, diameter_m * substrate.height_per_diameter)
