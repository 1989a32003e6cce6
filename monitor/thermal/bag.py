"""One bag in four numbers: what it loses, holds, how slowly it follows, how warm its core is."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

from monitor.thermal.conduction import core_and_side
from monitor.thermal.film import Films, Standing, bag_films, convection_film
from monitor.thermal.substrate import SUBSTRATES, Cylinder, Substrate, bag_shape, mixture_cp

#: Warmth at which the natural convection is taken [K]; from 0.5 to 3 K the loss moves by 8 %.
TYPICAL_EXCESS_K = 1.5
TYPICAL_AIR_C = 24.0
#: Standard normal bounds of a central 80 %.
Z80 = 1.2816
#: Relative spread (1 sd) of the film coefficient: convection ±15 to 25 %, and the view.
FILM_SPREAD = 0.12


@dataclass(frozen=True, slots=True)
class BagThermal:
    """A bag's thermal constants; surface means its side at mid-height, ranges hold 80 %.

    loss_w_per_k         heat over the surface's steady excess: W = loss · excess
    loss_low, loss_high  the same, from the spread of the film coefficient
    heat_capacity_j_per_k
    lag_s                heat capacity / loss: the mean delay with which the surface follows air
    core_lag_s           the core's mean delay behind air
    core_per_surface     steady core excess over surface excess, with low and high from the
                         range of the conductivity and the spread of the film
    """

    mass_kg: float
    kind: str
    shape: Cylinder
    films: Films
    loss_w_per_k: float
    loss_low_w_per_k: float
    loss_high_w_per_k: float
    heat_capacity_j_per_k: float
    lag_s: float
    core_lag_s: float
    core_per_surface: float
    core_per_surface_low: float
    core_per_surface_high: float

    @property
    def heat_lag_s(self) -> float:
        """The side's mean delay behind heat made inside, longer than behind air by what the inside
        is warmer than the side: the mid-height section's mean over its side, of a parabola.

        Source  energy balance of a section with uniform generation
        Check   the modes of 1 to 5 kg (`transient.lag_modes`, Σ w τ² / Σ w τ) within 7 %
        """
        return self.lag_s * (1.0 + self.core_per_surface) / 2.0


@lru_cache(maxsize=4096)
def describe_bag(
    mass_kg: float,
    kind: str = "sawdust",
    open_view: float = 1.0,
    floor_contact: float = 0.0,
    excess_k: float = TYPICAL_EXCESS_K,
) -> BagThermal:
    """The thermal constants of a bag from its mass, filling and standing.

    mass_kg        fresh mass, 0.05 to 50
    kind           a key of `substrate.SUBSTRATES`; `substrate.substrate_in` reads free text
    open_view      share of its side that sees no equally warm neighbour, 0 to 1; the default
                   lets a fan's stirring make up for what the neighbours of a row hide
    floor_contact  share of its base that loses nothing, 0 to 1
    excess_k       warmth at which natural convection is taken

    The loss is heat over *mid-height side* excess, not Σ hA: the side there is warmer than
    the mean of the skin. With it, heat capacity / loss is exactly the first moment of the
    surface's response to a step in air (Σ weight · time constant), so one number serves the
    balance and the lag.
    Check   2.651 kg sawdust, films of 8: loss 1.182 W/K, lag 1.87 h, ratio 1.99
    Raises  ValueError for a mass, share or kind that is none
    """
    if kind not in SUBSTRATES:
        raise ValueError(f"unknown filling {kind!r}: known are {', '.join(SUBSTRATES)}")
    substrate = SUBSTRATES[kind]
    shape = bag_shape(mass_kg, substrate)
    standing = Standing(open_view=open_view, floor_contact=floor_contact)
    films = bag_films(shape, standing, excess_k, TYPICAL_AIR_C)
    side_k, ratio, low, high = _side_and_ratio(shape, films, substrate)
    loss = shape.volume_m3 / side_k
    capacity = mass_kg * mixture_cp(substrate.water_share)
    spread = math.exp(Z80 * FILM_SPREAD)
    return BagThermal(
        mass_kg=mass_kg,
        kind=kind,
        shape=shape,
        films=films,
        loss_w_per_k=loss,
        loss_low_w_per_k=loss / spread,
        loss_high_w_per_k=loss * spread,
        heat_capacity_j_per_k=capacity,
        lag_s=capacity / loss,
        core_lag_s=capacity / loss * ratio,
        core_per_surface=ratio,
        core_per_surface_low=low,
        core_per_surface_high=high,
    )


def _side_and_ratio(
    shape: Cylinder, films: Films, substrate: Substrate
) -> tuple[float, float, float, float]:
    """Side rise for 1 W/m³, and core over side with its 80 % range: conductivity and film,
    added in quadrature."""
    scale = math.exp(Z80 * FILM_SPREAD)
    windy = Films(films.side_w_per_m2_k * scale, films.end_w_per_m2_k * scale)
    k = substrate.conductivity_w_per_m_k
    core, side = core_and_side(
        shape,
        (k, k, substrate.conductivity_high_w_per_m_k, substrate.conductivity_low_w_per_m_k),
        (films, windy, films, films),
    )
    ratio, film, dense, loose = (core / side).tolist()
    down = math.hypot(math.log(dense / ratio), math.log(film / ratio))
    up = math.hypot(math.log(loose / ratio), math.log(film / ratio))
    return float(side[0]), ratio, ratio * math.exp(-down), ratio * math.exp(up)


def loss_at(bag: BagThermal, excess_k: float) -> float:
    """Loss of the bag [W/K] where its side is `excess_k` over or under its air.

    Natural convection grows with the warmth itself, radiation hardly.
    Valid   excess within 30 K either way
    Check   2.4 kg sawdust: 0.93 of the loss at 1.5 K where it is 0.5 K warm, 1.09 at 4 K
    """
    height_m = bag.shape.height_m
    moved = convection_film(TYPICAL_AIR_C + excess_k, TYPICAL_AIR_C, height_m)
    usual = convection_film(TYPICAL_AIR_C + TYPICAL_EXCESS_K, TYPICAL_AIR_C, height_m)
    return bag.loss_w_per_k * (1.0 + (moved - usual) / bag.films.side_w_per_m2_k)


def from_neighbours_w_per_k(bag: BagThermal, open_view: float) -> float:
    """What the bags beside it give a bag that was described as free, for each kelvin that their
    sides are over the air [W/K].

    Equally warm neighbours make its loss that of `open_view`; cold ones take nothing from it.
    Check   2.4 kg sawdust, open view 0.75: 0.17 of its loss
    """
    return bag.loss_w_per_k - describe_bag(bag.mass_kg, bag.kind, open_view).loss_w_per_k


def with_lag(bag: BagThermal, lag_s: float) -> BagThermal:
    """The bag as its own lag shows it: a learned lag tells the loss, as heat capacity / lag.

    lag_s     first-order lag of its surface behind local air, found from how it follows the
              room (thermostat, night set-back) [s], within a third to three times the described
    Returns   loss, its range, the core's lag and its ratio, with the films scaled to match
    Check     the bag's own lag gives the bag back
    Raises    ValueError for a lag outside that range: it then says more of the probe
    """
    factor = bag.lag_s / lag_s if lag_s > 0 else 0.0
    if not 1 / 3 <= factor <= 3:
        raise ValueError(f"a lag of {lag_s:g} s is no bag's whose shape says {bag.lag_s:.0f} s")
    films = Films(bag.films.side_w_per_m2_k * factor, bag.films.end_w_per_m2_k * factor)
    _, ratio, low, high = _side_and_ratio(bag.shape, films, SUBSTRATES[bag.kind])
    return replace(
        bag,
        films=films,
        loss_w_per_k=bag.loss_w_per_k * factor,
        loss_low_w_per_k=bag.loss_low_w_per_k * factor,
        loss_high_w_per_k=bag.loss_high_w_per_k * factor,
        lag_s=lag_s,
        core_lag_s=lag_s * ratio,
        core_per_surface=ratio,
        core_per_surface_low=low,
        core_per_surface_high=high,
    )
