"""A room of coarse probes, stepped by hand."""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterator

HOUR_S, FRAME_S = 3600.0, 600.0
BAGS = 12
FELL_H = 48.0
Hours = Callable[[float], bool]
Frame = tuple[float, list[str], list[float], list[float], list[bool]]


def never(hour: float) -> bool:
    return False


def room(
    hours: float,
    lag_s: float = 9000.0,
    off_bag: Hours = never,
    stalled: Hours = never,
    unheard: Hours = never,
    swing_k: float = 0.5,
    digit_k: float = 0.5,
    noise_k: float = 0.15,
    first_k: float | None = None,
    warm_k: tuple[float, float] = (0.6, 2.0),
    wild: Hours = never,
    air_noise_k: float = 0.06,
    seed: int = 4,
) -> Iterator[Frame]:
    """Frames of bags with coarse probes, two readings a frame, in a thermostat's air with a
    night and a door: the first one's probe hangs in the air where `off_bag(hour)`, its bag makes
    no heat where `stalled(hour)`, and nothing is heard of it where `unheard(hour)`. `first_k` is
    how far its bag is over the air, `warm_k` the least and most for the others. Where `wild(hour)`
    the heater is stuck and the air climbs 6 K; the air is read to within `air_noise_k`."""
    draw = random.Random(seed)
    heat_k = [draw.uniform(*warm_k) for _ in range(BAGS)]
    heat_k[0] = heat_k[0] if first_k is None else first_k
    contact = [draw.uniform(0.7, 0.9) for _ in range(BAGS)]
    bags_c, drawn_k, wild_k = [21.0 + warmth_k for warmth_k in heat_k], 0.0, 0.0
    for frame in range(round(hours * HOUR_S / FRAME_S)):
        hour = frame * FRAME_S / HOUR_S
        drawn_k += draw.gauss(0.0, 0.35 * swing_k) - drawn_k / 6.0
        night_k = -2.0 * swing_k if hour % 24 < 7 else 0.0
        tick_k = swing_k * math.sin(2 * math.pi * hour / 0.64)
        wild_k += ((6.0 if wild(hour) else 0.0) - wild_k) * 0.3
        air_c = 21.0 + night_k + tick_k + drawn_k + wild_k
        values_c = []
        for number, warmth_k in enumerate(heat_k):
            makes_k = 0.0 if number == 0 and stalled(hour) else warmth_k
            share = 1.0 - math.exp(-FRAME_S / lag_s)
            bags_c[number] += (air_c + makes_k - bags_c[number]) * share
            on_bag = 0.0 if number == 0 and off_bag(hour) else contact[number]
            true_c = air_c + on_bag * (bags_c[number] - air_c)
            said = [round((true_c + draw.gauss(0, noise_k)) / digit_k) * digit_k for _ in "ab"]
            values_c.append(sum(said) / len(said))
        heard = [number for number in range(BAGS) if number or not unheard(hour)]
        yield (
            (frame + 1) * FRAME_S,
            [f"b{number}" for number in heard],
            [values_c[number] for number in heard],
            [air_c + draw.gauss(0, air_noise_k) for _ in heard],
            [True] * len(heard),
        )
