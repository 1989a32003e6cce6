"""A drawn room as it runs: advance it, and hear what its probes and its walker say."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from demo.faults import ProbeBoard
from demo.house import Weather
from demo.physics import Array, Bodies
from demo.rooms import DAY_S, HOUR_S, START_S, Room

STEP_S = 60.0
SECONDS_PER_BAG_ON_WALK = 8.0
HALF_DEGREE_K = 0.5


class ProbeReading(NamedTuple):
    """What one probe says: °C for `temperature`, per cent for `humidity`."""

    time_s: float
    probe: str
    quantity: str
    value: float


class HandReading(NamedTuple):
    """What the infrared thermometer says of one bag [°C]."""

    time_s: float
    bag: str
    value_c: float


class TruthHour(NamedTuple):
    """What is so in one bag at the end of an hour, and no instrument sees."""

    time_s: float
    bag: str
    heat_w_per_kg: float
    core_c: float
    surface_c: float
    local_air_c: float


AIR_SHELVES = (1.0, 3.0, 5.0)


def bag_name(bag: int) -> str:
    return f"B{bag:03d}"


def probe_name(bag: int) -> str:
    return f"p{bag:03d}"


@dataclass
class LiveRoom:
    """The room from midnight of its first day on; time only goes forward, in steps of 60 s.

    `walk` collects hand readings when the spec has walks, `truth` one row per bag and hour
    when `keep_truth`. A running `advance` costs about 0.1 ms for every minute of the room.
    """

    room: Room
    keep_truth: bool = True
    now_s: float = START_S
    walk: list[HandReading] = field(default_factory=list)
    truth: list[TruthHour] = field(default_factory=list)
    half_degree_s: dict[int, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        room = self.room
        self.rng = np.random.default_rng([room.seed, 1])
        self.weather = Weather(room.house, np.random.default_rng([room.seed, 2]), room.room_faults)
        self.board = ProbeBoard(room.probe_faults)
        self.shelf = room.shelf.copy()
        self.slot_offset_k = room.slot_offset_k.copy()
        self.slot = np.arange(room.count)
        self.draught_k = np.zeros(room.count)
        self._stands_with = np.concatenate([np.arange(room.count), np.array(room.hot, dtype=int)])
        self._moves = sorted(room.moves, key=lambda move: move.at_s)
        self._find_neighbours()
        start_c = self._local_air_c()
        crops = [line.crop for line in room.lines]
        self.bodies = Bodies(room.bags, [crops[i] for i in self._stands_with], start_c)
        self.probe_c = start_c[: room.count].copy()

    def advance(self, to_s: float) -> list[ProbeReading]:
        """Run the room up to `to_s` [s since 1970]; gives what the probes said on the way."""
        said: list[ProbeReading] = []
        while self.now_s + STEP_S <= to_s:
            if self.now_s % self.room.spec.probes.every_s == 0.0:
                said += self._sample()
            self._step()
            if self.room.spec.hand_walks and self._walk_is_due():
                self.walk += self._hand_readings()
            if self.keep_truth and self.now_s % HOUR_S == 0.0:
                self.truth += self._truth_rows()
        return said

    def _find_neighbours(self) -> None:
        """Left and right neighbour on the same shelf by slot; an end looks at itself."""
        count = self.room.count
        self._left, self._right = np.arange(count), np.arange(count)
        for shelf in np.unique(self.shelf[:count]):
            order = [i for i in np.argsort(self.slot) if self.shelf[i] == shelf]
            self._right[order[:-1]] = order[1:]
            self._left[order[1:]] = order[:-1]

    def _local_air_c(self) -> Array:
        here = self.weather.at_shelf(self.shelf) + self.slot_offset_k
        return np.asarray(here + self.draught_k[self._stands_with])

    def _apply_moves(self) -> None:
        while self._moves and self._moves[0].at_s <= self.now_s:
            move = self._moves.pop(0)
            stands_here = self._stands_with == move.bag
            self.shelf[stands_here] = move.shelf
            self.slot_offset_k[stands_here] = move.slot_offset_k
            self.slot[move.bag] = move.slot
            self._find_neighbours()

    def _step(self) -> None:
        spec, count = self.room.spec, self.room.count
        self._apply_moves()
        share = STEP_S / (spec.draught_h * HOUR_S)
        jolt = spec.draught_k * np.sqrt(2.0 * share) * self.rng.standard_normal(count)
        self.draught_k += jolt - share * self.draught_k
        air_c = self._local_air_c()
        film_c = self.bodies.surface_c
        sides_c = 0.5 * (film_c[self._left] + film_c[self._right])
        loss_w = self.bodies.step(self.now_s, STEP_S, air_c, sides_c[self._stands_with])
        self.weather.step(self.now_s, STEP_S, float(loss_w[:count].sum()))
        self.now_s += STEP_S
        self._follow(air_c[:count])
        self._note_half_degrees()

    def _follow(self, air_c: Array) -> None:
        """Each probe drifts towards its mix of film and air; a fallen one towards the air."""
        contact = self.room.contact
        if fallen := self.board.fallen(self.now_s):
            contact = contact.copy()
            contact[fallen] = 0.0
        sees_c = air_c + contact * (self.bodies.surface_c[: self.room.count] - air_c)
        self.probe_c += (sees_c - self.probe_c) * min(STEP_S / self.room.spec.probes.lag_s, 1.0)

    def _note_half_degrees(self) -> None:
        for twin, bag in enumerate(self.room.hot, start=self.room.count):
            more_k = self.bodies.surface_c[bag] - self.bodies.surface_c[twin]
            if more_k >= HALF_DEGREE_K and bag not in self.half_degree_s:
                self.half_degree_s[bag] = self.now_s

    def _sample(self) -> list[ProbeReading]:
        probes, weather, now_s = self.room.spec.probes, self.weather, self.now_s
        if not weather.powered(now_s):
            return []
        air_c = weather.at_shelf(np.array(AIR_SHELVES)) + probes.air_noise_k * (
            self.rng.standard_normal(len(AIR_SHELVES))
        )
        said = [
            ProbeReading(now_s, f"air{i}", "temperature", _rounded(value, probes.air_resolution_k))
            for i, value in enumerate(air_c)
        ]
        said.append(ProbeReading(now_s, "rh0", "humidity", round(weather.humidity, 1)))
        return said if self.room.spec.hand_walks else said + self._sample_bags()

    def _sample_bags(self) -> list[ProbeReading]:
        probes, count = self.room.spec.probes, self.room.count
        value_c = self.probe_c + self.room.probe_offset_k
        value_c = value_c + probes.noise_k * self.rng.standard_normal(count)
        heard = self.rng.random(count) >= probes.missing
        said = []
        for bag in range(count):
            value: float | None = _rounded(value_c[bag], probes.resolution_k)
            if bag in self.board.affected and value is not None:
                value = self.board.spoil(self.now_s, bag, value)
            if heard[bag] and value is not None:
                said.append(ProbeReading(self.now_s, probe_name(bag), "temperature", value))
        return said

    def _walk_is_due(self) -> bool:
        hour = self.now_s % DAY_S / HOUR_S
        return any(abs(hour - at) < STEP_S / HOUR_S / 2 for at in self.room.spec.probes.hand_hours)

    def _hand_readings(self) -> list[HandReading]:
        """A walk along the shelves from the lowest; the gun's drift is the same for all of it."""
        probes, count = self.room.spec.probes, self.room.count
        drift_k = float(self.rng.normal(0.0, probes.hand_drift_k))
        air_c, film_c = self._local_air_c()[:count], self.bodies.surface_c[:count]
        sees_c = film_c + 0.05 * (air_c - film_c) + self.room.hand_patch_k + drift_k
        sees_c = sees_c + self.rng.normal(0.0, probes.hand_noise_k, count)
        order = [
            int(i)
            for i in np.lexsort((self.slot, self.shelf[:count]))
            if self.room.session_s[int(i)] <= self.now_s
        ]
        return [
            HandReading(self.now_s + SECONDS_PER_BAG_ON_WALK * k, bag_name(i), float(sees_c[i]))
            for k, i in enumerate(order)
        ]

    def _truth_rows(self) -> list[TruthHour]:
        bodies, air_c = self.bodies, self._local_air_c()
        heat, core_c = bodies.heat_w_per_kg, bodies.core_c
        return [
            TruthHour(
                self.now_s,
                bag_name(i),
                float(heat[i]),
                float(core_c[i]),
                float(bodies.surface_c[i]),
                float(air_c[i]),
            )
            for i in range(self.room.count)
        ]


def _rounded(value: float, step: float) -> float:
    return float(round(value / step) * step)
