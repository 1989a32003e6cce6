"""From the warmth of a bag's skin to its heat and its core, each with an 80 % interval."""

from __future__ import annotations

import math
from dataclasses import dataclass

from monitor.thermal.bag import FILM_SPREAD, Z80, BagThermal


@dataclass(frozen=True, slots=True)
class Contact:
    """How much of a surface's warmth over air a probe shows, with an 80 % range.

    Taped probes under a pad show 0.75 to 0.95; an infrared thermometer 1. (Our estimate.)
    """

    share: float = 0.85
    low: float = 0.75
    high: float = 0.95

    def __post_init__(self) -> None:
        if not 0 < self.low <= self.share <= self.high <= 1.1:
            raise ValueError("contact needs 0 < low <= share <= high <= 1.1")


TAPED_PROBE = Contact()
HAND_INFRARED = Contact(1.0, 0.95, 1.05)


@dataclass(frozen=True, slots=True)
class Interval:
    """A best value and the ends of an 80 % interval."""

    value: float
    low: float
    high: float


def heat_from_surface(
    excess_k: float, bag: BagThermal, contact: Contact = TAPED_PROBE, excess_sd_k: float = 0.0
) -> Interval:
    """Heat a bag makes from the excess its probe shows [W]; negative where it draws heat.

    excess_k      probe over lagged local air [K]
    excess_sd_k   what the excess itself may be off by (1 sd) [K], 0 or more
    Valid         steady within a lag; the contact divides: true excess = shown / contact
    """
    gain = bag.loss_w_per_k / contact.share
    up = math.hypot(math.log(contact.share / contact.low), Z80 * FILM_SPREAD)
    down = math.hypot(math.log(contact.high / contact.share), Z80 * FILM_SPREAD)
    return _scaled(excess_k, gain, down, up, excess_sd_k)


def core_from_surface(
    excess_k: float, bag: BagThermal, contact: Contact = TAPED_PROBE, excess_sd_k: float = 0.0
) -> Interval:
    """Core over lagged air from the excess a probe shows [K].

    The air to add is the local air passed through `core_lag_s`. The interval carries the
    conductivity's range (0.20 to 0.45 for sawdust), the film, the contact and the reading.
    Check   2.651 kg, films of 8, contact 1, surface 2.242 K: core 4.465 K
    """
    gain = bag.core_per_surface / contact.share
    up = math.hypot(
        math.log(contact.share / contact.low),
        math.log(bag.core_per_surface_high / bag.core_per_surface),
    )
    down = math.hypot(
        math.log(contact.high / contact.share),
        math.log(bag.core_per_surface / bag.core_per_surface_low),
    )
    return _scaled(excess_k, gain, down, up, excess_sd_k)


def _scaled(excess_k: float, gain: float, down: float, up: float, excess_sd_k: float) -> Interval:
    """gain · excess with log-spreads of the gain and a normal spread of the excess."""
    if excess_sd_k < 0:
        raise ValueError("a standard deviation can't be below 0")
    value = gain * excess_k
    noise = gain * Z80 * excess_sd_k
    far, near = abs(value) * math.expm1(up), abs(value) * -math.expm1(-down)
    above, below = (far, near) if value >= 0 else (near, far)
    return Interval(value, value - math.hypot(below, noise), value + math.hypot(above, noise))
