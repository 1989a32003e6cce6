"""The room's air: thermostat, set-back, doors, weather outside, shelves, and their faults."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from demo.faults import RoomFault
from demo.physics import Array

DAY_S = 86400.0
SHELVES = 5


@dataclass(frozen=True)
class House:
    """A room's fixed properties; one thermostat drives a heater and a cooler.

    Shelf 3 reads the air node itself; the others `shelf_step_k` more or less for each shelf.
    `stuck_heater_w` is what a welded relay leaves on: one of the elements.
    """

    setpoint_c: float = 21.5
    set_back_k: float = 1.0
    set_back_from_h: float = 22.0
    set_back_to_h: float = 6.0
    deadband_k: float = 1.0
    shelf_step_k: float = 0.35
    capacity_j_k: float = 100e3
    loss_w_k: float = 40.0
    heater_w: float = 1500.0
    stuck_heater_w: float = 950.0
    cooler_w: float = 0.0
    cooler_above_k: float = 1.5
    outside_c: float = 5.0
    outside_swing_k: float = 4.0
    outside_drift_k: float = 2.0
    doors_per_day: float = 5.0
    door_w_k: float = 120.0
    humidity: float = 89.5


@dataclass
class Weather:
    """The changing state of the room's air."""

    house: House
    rng: np.random.Generator
    faults: tuple[RoomFault, ...] = ()
    air_c: float = field(init=False)
    heating: bool = False
    cooling: bool = False
    door_shut_s: float = 0.0
    drift_k: float = 0.0
    humidity: float = field(init=False)

    def __post_init__(self) -> None:
        self.air_c = self.house.setpoint_c
        self.humidity = self.house.humidity

    def _state(self, kind: str, now_s: float) -> bool:
        return any(fault.kind == kind and fault.holds(now_s) for fault in self.faults)

    def outside_c(self, now_s: float) -> float:
        hour = now_s % DAY_S / 3600.0
        swing = self.house.outside_swing_k * float(np.cos((hour - 15.0) / 24.0 * 2.0 * np.pi))
        return self.house.outside_c + swing + self.drift_k

    def target_c(self, now_s: float) -> float:
        """The thermostat's setting, lower during the night's set-back."""
        house, hour = self.house, now_s % DAY_S / 3600.0
        night = hour >= house.set_back_from_h or hour < house.set_back_to_h
        return house.setpoint_c - (house.set_back_k if night else 0.0)

    def powered(self, now_s: float) -> bool:
        return not self._state("power cut", now_s)

    def _switch(self, now_s: float) -> None:
        house, over_k = self.house, self.air_c - self.target_c(now_s)
        half = house.deadband_k / 2.0
        self.heating = over_k < (half if self.heating else -half)
        self.cooling = over_k > house.cooler_above_k + (-half if self.cooling else half)
        if self._state("heater stuck", now_s):
            self.heating = True
        if self._state("cooler fails", now_s):
            self.cooling = False
        if not self.powered(now_s):
            self.heating = self.cooling = False

    def _door_open(self, now_s: float, step_s: float) -> bool:
        hour = now_s % DAY_S / 3600.0
        per_day = self.house.doors_per_day * (1.8 if 7.0 <= hour < 19.0 else 0.2)
        if now_s >= self.door_shut_s and self.rng.random() < per_day * step_s / DAY_S:
            self.door_shut_s = now_s + float(self.rng.uniform(60.0, 240.0))
        return now_s < self.door_shut_s or self._state("door open", now_s)

    def step(self, now_s: float, step_s: float, from_bags_w: float) -> None:
        """Move the air on by `step_s` with what the bags give off."""
        house = self.house
        self._switch(now_s)
        self.drift_k += (
            -self.drift_k * step_s / (2.0 * DAY_S)
            + house.outside_drift_k * float(np.sqrt(step_s / DAY_S)) * self.rng.standard_normal()
        )
        door = self._door_open(now_s, step_s)
        stuck = self._state("heater stuck", now_s)
        heater_w = house.stuck_heater_w if stuck else house.heater_w
        power_w = heater_w * self.heating - house.cooler_w * self.cooling
        loss_w_k = house.loss_w_k + (house.door_w_k if door else 0.0)
        gain_w = power_w + from_bags_w - loss_w_k * (self.air_c - self.outside_c(now_s))
        self.air_c += gain_w * step_s / house.capacity_j_k
        pull = (house.humidity - self.humidity) * step_s / 900.0 - (0.6 if door else 0.0)
        self.humidity += pull + 0.35 * float(np.sqrt(step_s / 60.0)) * self.rng.standard_normal()
        self.humidity = float(np.clip(self.humidity, 20.0, 100.0))

    def at_shelf(self, shelf: Array) -> Array:
        """Air temperature at each shelf; shelf 1 is the lowest and coolest."""
        return np.asarray(self.air_c + self.house.shelf_step_k * (shelf - 3.0))
