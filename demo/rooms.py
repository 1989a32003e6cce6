"""Invented rooms: families of them, and one room drawn from a family with a seed."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from demo.faults import ProbeFault, RoomFault
from demo.house import SHELVES, House
from demo.physics import LOSS_AREA_PER_SIDE_AREA, Array, Bags, Crop

HOUR_S = 3600.0
DAY_S = 24 * HOUR_S
START_S = 1_772_409_600.0  # 2026-03-02T00:00:00Z, a Monday
NEVER = float("inf")
Span = tuple[float, float]


@dataclass(frozen=True)
class Line:
    """A strain: its crop's cardinal temperatures and how it runs at its best temperature."""

    name: str
    crop: Crop
    peak_w_per_kg: float
    peak_h: float
    rate_per_h: float
    keep: float = 0.2


OYSTER = Crop(5.0, 26.0, 35.0)
WOOD = Crop(5.0, 25.0, 34.0)
GREY = Line("GO-12", OYSTER, 1.11, 72.0, 0.105)
GOLDEN = Line("AM-3", Crop(8.0, 27.0, 37.0), 1.77, 51.0, 0.155)
PIOPPINO = Line("PI-2", WOOD, 0.75, 100.0, 0.085)
SHIITAKE = Line("SH-7", WOOD, 0.67, 88.0, 0.090)
HYBRID = Line("HX-5", OYSTER, 0.91, 70.0, 0.100)


@dataclass(frozen=True)
class Probes:
    """How surface probes and hand readings err; spans are uniform, `_sd` normal."""

    every_s: float = 600.0
    resolution_k: float = 0.0625
    noise_k: float = 0.045
    offset_sd_k: float = 0.15
    contact: Span = (0.73, 0.90)
    lag_s: float = 60.0
    missing: float = 0.010
    blips: float = 1.5
    air_resolution_k: float = 0.0625
    air_noise_k: float = 0.035
    hand_noise_k: float = 0.22
    hand_drift_k: float = 0.35
    hand_unit: str = "degF"
    hand_hours: tuple[float, ...] = (8.0, 20.0)
    hand_patch_sd_k: float = 0.12


@dataclass(frozen=True)
class Trouble:
    """What goes wrong with bags and probes of a room, and how often."""

    contaminated: float = 0.05
    run_chance: float = 0.25
    lot_chance: float = 0.04
    added_k: Span = (2.0, 5.8)
    added_age_h: Span = (50.0, 155.0)
    added_rise_h: Span = (4.0, 14.0)
    added_hold_h: Span = (60.0, 130.0)
    added_fade_h: float = 28.0
    stalled: float = 0.02
    stall_age_h: Span = (32.0, 78.0)
    stall_fade_h: Span = (6.0, 18.0)
    yeast: float = 0.0
    fell: int = 2
    stuck: int = 1
    silent: int = 1
    silent_h: Span = (9.0, 28.0)
    heater_stuck_chance: float = 0.17
    moved: int = 0
    shaken_cohorts: int = 0


@dataclass(frozen=True)
class RoomSpec:
    """A family of rooms; `make_room` draws one of them."""

    name: str
    lines: tuple[Line, ...] = (GREY, GOLDEN, PIOPPINO, SHIITAKE)
    bags_per_cohort: int = 12
    days: float = 12.0
    mass_kg: float = 2.4
    mass_sd_kg: float = 0.065
    heat: float = 1.0
    vigour_sd: float = 0.10
    timing_sd_h: float = 6.5
    lot_vigour_sd: float = 0.06
    lot_timing_sd_h: float = 5.0
    session_days: tuple[float, ...] = (0.25, 1.0 + 2 / 24, 2.0 + 2 / 24)
    conductivity: Span = (0.24, 0.38)
    crowding: Span = (0.15, 0.45)
    slot_sd_k: float = 0.20
    draught_k: float = 0.05
    draught_h: float = 5.0
    setpoint_c: Span = (20.0, 22.6)
    set_back_k: Span = (0.7, 1.1)
    shelf_step_k: Span = (0.15, 0.55)
    outside_c: Span = (2.0, 8.0)
    hand_walks: bool = False
    probes: Probes = field(default_factory=Probes)
    trouble: Trouble = field(default_factory=Trouble)


FIRST = RoomSpec("first")
SECOND = RoomSpec(
    "second",
    lines=(GREY, PIOPPINO, HYBRID),
    bags_per_cohort=15,
    mass_kg=1.0,
    mass_sd_kg=0.05,
    heat=0.7,
    vigour_sd=0.10,
    timing_sd_h=5.5,
    slot_sd_k=0.15,
    draught_k=0.12,
    draught_h=6.0,
    probes=Probes(
        every_s=300.0,
        resolution_k=0.5,
        noise_k=0.15,
        offset_sd_k=0.15,
        contact=(0.65, 0.9),
        lag_s=240.0,
        missing=0.03,
        air_resolution_k=0.125,
        air_noise_k=0.08,
        hand_noise_k=0.28,
        hand_drift_k=0.5,
        hand_unit="Cel",
    ),
    trouble=Trouble(contaminated=0.055, added_k=(0.9, 3.1), added_rise_h=(4.0, 13.0)),
)
FIRST_WALKED = replace(FIRST, name="firstwalk", hand_walks=True)
SECOND_WALKED = replace(SECOND, name="secondwalk", hand_walks=True)
#: Not for the table: what people do to bags, and yeast, which warms a bag and then kills it.
HANDLED = replace(
    FIRST,
    name="handled",
    trouble=replace(FIRST.trouble, moved=3, shaken_cohorts=1, yeast=0.5),
)
FAMILIES = {spec.name: spec for spec in (FIRST, SECOND, FIRST_WALKED, SECOND_WALKED, HANDLED)}


@dataclass(frozen=True)
class Move:
    """Bag number `bag` goes to another shelf and slot at `at_s`."""

    bag: int
    at_s: float
    shelf: int
    slot: int
    slot_offset_k: float


@dataclass(frozen=True)
class Room:
    """One drawn room; arrays run over bags, their last entries are the twins.

    Each bag with added heat has a twin without it that stands in the same place and gives
    nothing to the room: the two together tell when the added heat shows at the surface.
    """

    spec: RoomSpec
    seed: int
    house: House
    bags: Bags
    lines: tuple[Line, ...]
    kinds: tuple[str, ...]
    session_s: tuple[float, ...]
    shelf: Array
    slot_offset_k: Array
    contact: Array
    probe_offset_k: Array
    hand_patch_k: Array
    hot: tuple[int, ...]
    room_faults: tuple[RoomFault, ...]
    probe_faults: tuple[ProbeFault, ...]
    moves: tuple[Move, ...] = ()
    shaken: tuple[int, ...] = ()

    @property
    def count(self) -> int:
        """Bags in the room, without the twins."""
        return len(self.kinds)

    def cohort(self, bag: int) -> int:
        return bag // self.spec.bags_per_cohort


def pick_contaminated(spec: RoomSpec, rng: np.random.Generator) -> npt.NDArray[np.bool_]:
    """Which bags carry something else: singles, runs in order of inoculation, whole lots."""
    count, size = len(spec.lines) * spec.bags_per_cohort, spec.bags_per_cohort
    hit = rng.random(count) < spec.trouble.contaminated
    if rng.random() < spec.trouble.run_chance:
        first = int(rng.integers(0, count - 4))
        hit[first : first + int(rng.integers(2, 5))] = True
    if rng.random() < spec.trouble.lot_chance:
        lot = int(rng.integers(0, len(spec.lines)))
        hit[lot * size : (lot + 1) * size] = True
    return hit


def draw_kinds(spec: RoomSpec, rng: np.random.Generator) -> tuple[str, ...]:
    """`healthy`, `contaminated` or `stalled` for every bag."""
    hit = pick_contaminated(spec, rng)
    stalled = rng.random(len(hit)) < spec.trouble.stalled
    return tuple(
        "contaminated" if bad else "stalled" if dead else "healthy"
        for bad, dead in zip(hit, stalled, strict=True)
    )


def draw_probe_faults(spec: RoomSpec, rng: np.random.Generator) -> tuple[ProbeFault, ...]:
    """One lasting fault for each of some bags, and a few single 85.0 readings anywhere."""
    trouble, count = spec.trouble, len(spec.lines) * spec.bags_per_cohort
    kinds = ["fell"] * trouble.fell + ["stuck"] * trouble.stuck + ["silent"] * trouble.silent
    victims = rng.choice(count, len(kinds), replace=False)
    faults = []
    for kind, bag in zip(kinds, victims, strict=True):
        from_s = START_S + rng.uniform(2.5, 0.82 * spec.days) * DAY_S
        silent_s = rng.uniform(*trouble.silent_h) * HOUR_S
        faults.append(ProbeFault(kind, int(bag), from_s, silent_s if kind == "silent" else NEVER))
    for _ in range(rng.poisson(spec.probes.blips)):
        at_s = START_S + rng.uniform(0.0, spec.days) * DAY_S
        faults.append(ProbeFault("blip", int(rng.integers(count)), at_s, DAY_S))
    return tuple(faults)


def draw_house(spec: RoomSpec, rng: np.random.Generator) -> House:
    setpoint_c, outside_c = rng.uniform(*spec.setpoint_c), rng.uniform(*spec.outside_c)
    return House(
        setpoint_c=setpoint_c,
        set_back_k=rng.uniform(*spec.set_back_k),
        shelf_step_k=rng.uniform(*spec.shelf_step_k),
        outside_c=outside_c,
        stuck_heater_w=House.loss_w_k * (setpoint_c + rng.uniform(6.0, 8.5) - outside_c),
        doors_per_day=rng.uniform(2.0, 7.0),
    )


def draw_bags(
    spec: RoomSpec,
    kinds: tuple[str, ...],
    lines: tuple[Line, ...],
    session_s: Array,
    rng: np.random.Generator,
) -> Bags:
    """Constants of every bag; bags of one cohort share a lot's vigour and timing."""
    count, size, trouble = len(kinds), spec.bags_per_cohort, spec.trouble
    lot_vigour = np.repeat(rng.normal(1.0, spec.lot_vigour_sd, len(spec.lines)), size)
    lot_shift_h = np.repeat(rng.normal(0.0, spec.lot_timing_sd_h, len(spec.lines)), size)
    vigour = np.clip(lot_vigour * rng.normal(1.0, spec.vigour_sd, count), 0.5, 1.6)
    rate_h = np.array([line.rate_per_h for line in lines]) * rng.normal(1.0, 0.04, count)
    peak_h = np.array([line.peak_h for line in lines]) + lot_shift_h
    peak_h = np.maximum(peak_h + rng.normal(0.0, spec.timing_sd_h, count), 20.0)
    mass = np.maximum(rng.normal(spec.mass_kg, spec.mass_sd_kg, count), 0.6 * spec.mass_kg)
    hot = np.array([kind == "contaminated" for kind in kinds])
    stalled = np.array([kind == "stalled" for kind in kinds])
    yeast = hot & (rng.random(count) < trouble.yeast)
    added_from_s = session_s + rng.uniform(*trouble.added_age_h, count) * HOUR_S
    added_k = rng.uniform(*trouble.added_k, count)
    hold_s = rng.uniform(*trouble.added_hold_h, count) * HOUR_S
    stall_s = np.where(
        stalled, session_s + rng.uniform(*trouble.stall_age_h, count) * HOUR_S, NEVER
    )
    never = np.full(count, NEVER)
    bags = Bags(
        mass_kg=mass,
        conductivity_w_m_k=rng.uniform(*spec.conductivity, count),
        crowding=rng.uniform(*spec.crowding, count),
        inoculated_s=session_s,
        peak_w_per_kg=vigour * spec.heat * np.array([line.peak_w_per_kg for line in lines]),
        rate_per_s=rate_h / HOUR_S,
        inoculum=1.0 / (1.0 + np.exp(rate_h * peak_h)),
        keep=np.array([line.keep for line in lines]) * rng.normal(1.0, 0.1, count),
        added_w=np.zeros(count),
        added_from_s=np.where(hot, added_from_s, START_S),
        added_rise_s=rng.uniform(*trouble.added_rise_h, count) * HOUR_S,
        added_hold_s=np.where(yeast, 36 * HOUR_S, hold_s),
        added_fade_s=np.full(count, trouble.added_fade_h * HOUR_S),
        stall_from_s=np.where(yeast, added_from_s + 30 * HOUR_S, stall_s),
        stall_fade_s=rng.uniform(*trouble.stall_fade_h, count) * HOUR_S,
        shaken_s=never,
        shake_pause_s=np.zeros(count),
    )
    return replace(bags, added_w=np.where(hot, added_k * nominal_loss_w_k(bags), 0.0))


def nominal_loss_w_k(bags: Bags) -> Array:
    """Loss of a bag 2 K over its air with crowded neighbours, for sizing the added heat [W/K]."""
    film = 1.42 * (2.0 / bags.height_m) ** 0.25 + 0.8 + 5.6 * (1.0 - 0.7 * bags.crowding)
    return np.asarray(film * 2.0 * np.pi * bags.radius_m * bags.height_m * LOSS_AREA_PER_SIDE_AREA)


def draw_handling(
    spec: RoomSpec, bags: Bags, rng: np.random.Generator
) -> tuple[Bags, tuple[Move, ...], tuple[int, ...]]:
    """Moves of single bags, and break and shake of whole cohorts with its pause of 24 to 72 h."""
    count, size = len(bags.mass_kg), spec.bags_per_cohort
    moves = tuple(
        Move(
            int(bag),
            START_S + float(rng.integers(3, 10)) * DAY_S + 12 * HOUR_S,
            int(rng.integers(1, SHELVES + 1)),
            count + index,
            float(rng.normal(0.0, spec.slot_sd_k)),
        )
        for index, bag in enumerate(rng.choice(count, spec.trouble.moved, replace=False))
    )
    cohorts = rng.choice(len(spec.lines), spec.trouble.shaken_cohorts, replace=False)
    shaken = tuple(int(c) * size + i for c in cohorts for i in range(size))
    shaken_s, pause_s = bags.shaken_s.copy(), bags.shake_pause_s.copy()
    for bag in shaken:
        shaken_s[bag] = bags.inoculated_s[bag] + 60 * HOUR_S
        pause_s[bag] = rng.uniform(24.0, 60.0) * HOUR_S
    return replace(bags, shaken_s=shaken_s, shake_pause_s=pause_s), moves, shaken


def with_twins(bags: Bags, hot: tuple[int, ...]) -> Bags:
    """The bags, then a twin of each hot one that has no added heat and does not die of it."""
    rows = np.concatenate([np.arange(len(bags.mass_kg)), np.array(hot, dtype=int)])
    doubled = Bags(**{name: value[rows] for name, value in vars(bags).items()})
    twin = np.arange(len(rows)) >= len(bags.mass_kg)
    return replace(
        doubled,
        added_w=np.where(twin, 0.0, doubled.added_w),
        stall_from_s=np.where(twin, NEVER, doubled.stall_from_s),
    )


def make_room(spec: RoomSpec, seed: int) -> Room:
    """Draw one room of the family; the same seed gives the same room and the same readings."""
    rng = np.random.default_rng([seed, 0])
    size, count = spec.bags_per_cohort, len(spec.lines) * spec.bags_per_cohort
    lines = tuple(line for line in spec.lines for _ in range(size))
    sessions = rng.choice(len(spec.session_days), len(spec.lines))
    session_days = np.repeat([spec.session_days[session] for session in sessions], size)
    session_s = START_S + session_days * DAY_S
    kinds = draw_kinds(spec, rng)
    bags = draw_bags(spec, kinds, lines, session_s, rng)
    bags, moves, shaken = draw_handling(spec, bags, rng)
    hot = tuple(i for i, kind in enumerate(kinds) if kind == "contaminated")
    stuck_s = START_S + rng.uniform(3.0, 10.0) * DAY_S
    stuck = RoomFault("heater stuck", stuck_s, 9.0 * HOUR_S)
    rows = np.concatenate([np.arange(count), np.array(hot, dtype=int)])
    return Room(
        spec=spec,
        seed=seed,
        house=draw_house(spec, rng),
        bags=with_twins(bags, hot),
        lines=lines,
        kinds=kinds,
        session_s=tuple(float(s) for s in session_s),
        shelf=rng.integers(1, SHELVES + 1, count).astype(float)[rows],
        slot_offset_k=rng.normal(0.0, spec.slot_sd_k, count)[rows],
        contact=rng.uniform(*spec.probes.contact, count),
        probe_offset_k=rng.normal(0.0, spec.probes.offset_sd_k, count),
        hand_patch_k=rng.normal(0.0, spec.probes.hand_patch_sd_k, count),
        hot=hot,
        room_faults=(stuck,) if rng.random() < spec.trouble.heater_stuck_chance else (),
        probe_faults=draw_probe_faults(spec, rng),
        moves=moves,
        shaken=shaken,
    )
