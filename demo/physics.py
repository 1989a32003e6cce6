"""What happens inside bags: growth, heat, conduction in shells, and loss off the film.

Richer than the monitor's model on purpose: each bag is a cylinder of concentric shells, its
mycelium grows at each shell's own temperature, and its film radiates to its neighbours.
All arrays run over bags in their last axis; shells are the first, the core is shell 0.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

SHELLS = 8
SUBSTRATE_DENSITY_KG_M3 = 500.0
SUBSTRATE_CP_J_KG_K = 3000.0  # 60 % water: 0.4·1.25 + 0.6·4.18 kJ/(kg K)
FILM_EMISSIVITY = 0.95
STEFAN_BOLTZMANN = 5.670374419e-8
HEIGHT_PER_DIAMETER = 2.0
#: What the ends add to the loss felt at mid-height: a finite volume solution of a bag 0.15 m by
#: 0.30 m, h 8 all round, 1 W/kg, gives 2.24 K at its side, an endless one 2.34 K.
LOSS_AREA_PER_SIDE_AREA = 1.045


@dataclass(frozen=True)
class Crop:
    """A strain's cardinal temperatures [°C]; growth is zero outside the outer two."""

    lowest_c: float = 5.0
    best_c: float = 26.0
    highest_c: float = 35.0


def cardinal(temperature_c: Array, crop: Crop) -> Array:
    """Growth rate as a share of the best, 0 to 1 (Rosso and others 1993, CTMI)."""
    low, best, high = crop.lowest_c, crop.best_c, crop.highest_c
    t = np.clip(temperature_c, low, high)
    top = (t - high) * (t - low) ** 2
    slope = (best - low) * (t - best) - (best - high) * (best + low - 2.0 * t)
    return np.asarray(np.clip(top / ((best - low) * slope), 0.0, 1.0))


@dataclass(frozen=True)
class Bags:
    """Constants of each bag, arrays of shape (bags,).

    `peak_w_per_kg` is the growth heat at half colonisation and best temperature, `rate_per_s`
    the logistic rate, `inoculum` the colonised share at inoculation, `keep` the maintenance
    heat of a full run as a share of the peak. The added heat rises as a logistic around
    `added_from_s` with time constant `added_rise_s` to `added_w`, holds for `added_hold_s`
    and fades with `added_fade_s`. From `stall_from_s` on (inf for never) the crop's heat dies
    with time constant `stall_fade_s`. For `shake_pause_s` after `shaken_s` growth rests.
    """

    mass_kg: Array
    conductivity_w_m_k: Array
    crowding: Array
    inoculated_s: Array
    peak_w_per_kg: Array
    rate_per_s: Array
    inoculum: Array
    keep: Array
    added_w: Array
    added_from_s: Array
    added_rise_s: Array
    added_hold_s: Array
    added_fade_s: Array
    stall_from_s: Array
    stall_fade_s: Array
    shaken_s: Array
    shake_pause_s: Array

    @property
    def radius_m(self) -> Array:
        volume = self.mass_kg / SUBSTRATE_DENSITY_KG_M3
        return np.asarray((volume / (2.0 * np.pi * HEIGHT_PER_DIAMETER)) ** (1.0 / 3.0))

    @property
    def height_m(self) -> Array:
        return np.asarray(2.0 * HEIGHT_PER_DIAMETER * self.radius_m)


def film_w_m2_k(surface_c: Array, air_c: Array, height_m: Array) -> Array:
    """Laminar natural convection off an upright film, W/(m² K).

    McAdams' simplified plate for air, h = 1.42 (ΔT/L)^¼, with a floor for room draughts.
    """
    return np.asarray(1.42 * (np.abs(surface_c - air_c) / height_m) ** 0.25 + 0.8)


def added_share(bags: Bags, now_s: float) -> Array:
    """How much of each bag's added heat is there at `now_s`, 0 to 1."""
    age_s = now_s - bags.added_from_s
    rise = 1.0 / (1.0 + np.exp(np.clip(-age_s / bags.added_rise_s, -60.0, 60.0)))
    past_s = np.maximum(age_s - bags.added_hold_s, 0.0)
    return np.asarray(rise * np.exp(-past_s / bags.added_fade_s))


class Bodies:
    """The changing state of the bags: shell temperatures and colonised share per shell.

    `step` must be called with steps of at most 100 s: the conduction is explicit, and the
    shells of a 0.9 kg bag allow no more.
    """

    GROWTH_EVERY = 5

    def __init__(self, bags: Bags, crops: list[Crop], start_c: Array) -> None:
        self.bags = bags
        self.count = len(bags.mass_kg)
        self.temperature_c = np.tile(start_c, (SHELLS, 1))
        self.colonised = np.tile(bags.inoculum, (SHELLS, 1))
        self.surface_c = start_c.copy()
        self.heat_w = np.zeros((SHELLS, self.count))
        self._groups = [
            (crop, np.array([other is crop for other in crops]))
            for crop in {id(crop): crop for crop in crops}.values()
        ]
        self._steps = 0
        self._measure_bodies()

    def _measure_bodies(self) -> None:
        radius, height, k = self.bags.radius_m, self.bags.height_m, self.bags.conductivity_w_m_k
        ring = np.arange(SHELLS)
        self._share = ((2 * ring + 1) / SHELLS**2)[:, None]
        self._capacity_j_k = self._share * self.bags.mass_kg * SUBSTRATE_CP_J_KG_K
        # neighbouring shells: area at their border over the distance of their middles
        self._between_w_k = 2.0 * np.pi * k * height * (ring[1:, None])
        self._outermost_w_k = 4.0 * np.pi * k * height * SHELLS
        self._area_m2 = 2.0 * np.pi * radius * height * LOSS_AREA_PER_SIDE_AREA

    def grow(self, now_s: float, step_s: float) -> None:
        """Move growth on by `step_s` and set each shell's heat [W] from it."""
        bags = self.bags
        vigour = np.zeros_like(self.temperature_c)
        for crop, mine in self._groups:
            vigour[:, mine] = cardinal(self.temperature_c[:, mine], crop)
        alive = np.exp(-np.maximum(now_s - bags.stall_from_s, 0.0) / bags.stall_fade_s)
        since_shaken_s = now_s - bags.shaken_s
        resting = (since_shaken_s >= 0.0) & (since_shaken_s < bags.shake_pause_s)
        active = np.where(now_s >= bags.inoculated_s, alive, 0.0) * np.where(resting, 0.15, 1.0)
        x = self.colonised
        room_left = 4.0 * x * (1.0 - x)
        x += 0.25 * bags.rate_per_s * vigour * active * room_left * step_s
        specific = bags.peak_w_per_kg * active * vigour * (room_left + bags.keep * x)
        own_w = specific * bags.mass_kg * self._share
        self.heat_w = own_w + self._share * bags.added_w * added_share(bags, now_s)

    def step(self, now_s: float, step_s: float, air_c: Array, neighbours_c: Array) -> Array:
        """Move all bags on; gives each bag's loss to the room [W].

        `air_c` is the air at each bag, `neighbours_c` the film its flanks look at; a share
        `crowding` of its radiation goes there, the rest to the room's air and walls.
        """
        if self._steps % self.GROWTH_EVERY == 0:
            self.grow(now_s, step_s * self.GROWTH_EVERY)
        self._steps += 1
        convective = film_w_m2_k(self.surface_c, air_c, self.bags.height_m) * self._area_m2
        mean_k = 273.15 + 0.5 * (self.surface_c + air_c)
        radiant = 4.0 * FILM_EMISSIVITY * STEFAN_BOLTZMANN * mean_k**3 * self._area_m2
        crowding = self.bags.crowding
        loss_w_k = convective + radiant
        around_c = air_c + radiant * crowding * (neighbours_c - air_c) / loss_w_k
        outer_c = self.temperature_c[-1]
        inside = self._outermost_w_k
        self.surface_c = (inside * outer_c + loss_w_k * around_c) / (inside + loss_w_k)
        outflow_w = inside * (outer_c - self.surface_c)
        inward_w = self._between_w_k * np.diff(self.temperature_c, axis=0)
        flow_w = self.heat_w.copy()
        flow_w[:-1] += inward_w
        flow_w[1:] -= inward_w
        flow_w[-1] -= outflow_w
        self.temperature_c += flow_w * (step_s / self._capacity_j_k)
        return np.asarray(outflow_w)

    @property
    def core_c(self) -> Array:
        return np.asarray(self.temperature_c[0])

    @property
    def heat_w_per_kg(self) -> Array:
        return np.asarray(self.heat_w.sum(axis=0) / self.bags.mass_kg)
