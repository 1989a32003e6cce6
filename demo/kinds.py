"""Rooms that are each of a kind of their own: a family drawn anew with every seed.

What is chosen on the two families alone may hold for them alone. Spans are wide but such as a
grower might meet: bags of 0.8 to 3.2 kg, cohorts of 8 to 15, probes of 0.06 to 0.5 °C, a
thermometer that repeats to 0.18 to 0.35 K.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from demo.rooms import (
    FAMILIES,
    GOLDEN,
    GREY,
    HYBRID,
    PIOPPINO,
    SHIITAKE,
    Line,
    Probes,
    Room,
    RoomSpec,
    Trouble,
    make_room,
)

#: By name, whether bags are read on walks.
ANY_KIND = {"anykind": False, "anykindwalk": True}
NAMES = (*FAMILIES, *ANY_KIND)
_STREAM = 77  # apart from the streams that `make_room` draws from


def draw_room(name: str, seed: int) -> Room:
    """One room of the family of that name (`NAMES`); the same seed gives the same room."""
    if name in ANY_KIND:
        return make_room(any_kind(seed, ANY_KIND[name]), seed)
    return make_room(FAMILIES[name], seed)


def any_kind(seed: int, hand_walks: bool) -> RoomSpec:
    """A family of its own for `seed`; the same bags by probes and on walks."""
    rng = np.random.default_rng([_STREAM, seed])

    resolution_k = float(rng.choice([0.0625, 0.1, 0.25, 0.5]))
    cohorts, size = int(rng.integers(3, 5)), int(rng.choice([8, 10, 12, 15]))
    strains = [GREY, GOLDEN, PIOPPINO, SHIITAKE, HYBRID]
    picked = rng.choice(len(strains), cohorts, replace=False)
    slower, heat = rng.uniform(0.85, 1.35), rng.uniform(0.6, 1.1)

    def line(of: Line) -> Line:
        return replace(
            of,
            peak_h=of.peak_h * slower,
            rate_per_h=of.rate_per_h / slower * rng.uniform(0.9, 1.1),
            keep=rng.uniform(0.12, 0.3),
        )

    probes = _probes(rng, resolution_k)
    return RoomSpec(
        "anykind",
        lines=tuple(line(strains[one]) for one in picked),
        bags_per_cohort=size,
        mass_kg=rng.uniform(0.8, 3.2),
        mass_sd_kg=0.06,
        heat=heat,
        vigour_sd=rng.uniform(0.07, 0.12),
        timing_sd_h=rng.uniform(4.0, 7.5),
        crowding=(rng.uniform(0.05, 0.2), rng.uniform(0.3, 0.55)),
        slot_sd_k=rng.uniform(0.1, 0.3),
        draught_k=rng.uniform(0.03, 0.13),
        draught_h=rng.uniform(4.0, 8.0),
        set_back_k=(rng.uniform(0.3, 0.7), rng.uniform(0.8, 1.5)),
        probes=probes,
        hand_walks=hand_walks,
        trouble=Trouble(
            contaminated=0.055,
            lot_chance=0.03,
            added_k=(rng.uniform(1.0, 1.8), rng.uniform(3.0, 5.0)),
            added_rise_h=(4.0, rng.uniform(9.0, 16.0)),
            heater_stuck_chance=0.15,
        ),
    )


def _probes(rng: np.random.Generator, resolution_k: float) -> Probes:
    coarse = resolution_k > 0.3
    return Probes(
        every_s=float(rng.choice([300, 600])),
        resolution_k=resolution_k,
        noise_k=rng.uniform(0.08, 0.2) if coarse else rng.uniform(0.03, 0.08),
        offset_sd_k=rng.uniform(0.1, 0.3),
        contact=(rng.uniform(0.6, 0.75), rng.uniform(0.82, 0.95)),
        lag_s=rng.uniform(60, 400),
        missing=rng.uniform(0.0, 0.05),
        air_resolution_k=float(rng.choice([0.0625, 0.125, 0.25])),
        air_noise_k=rng.uniform(0.03, 0.1),
        hand_noise_k=rng.uniform(0.18, 0.35),
        hand_drift_k=rng.uniform(0.2, 0.5),
        hand_patch_sd_k=rng.uniform(0.05, 0.2),
        hand_unit="Cel",
    )
