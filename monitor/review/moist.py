"""Water in the air: humidity, dew point, and where it came down."""

from __future__ import annotations

from collections.abc import Mapping
from statistics import fmean

from monitor.review.night_nouns import Moist, Series
from monitor.review.nights import Window
from monitor.review.room_air import GRID_S, binned, within
from monitor.thermal.air import dew_point_c
from monitor.values import Probe

#: Drier than this a humidity probe is not believed to have a dew point of use.
LEAST_HUMIDITY = 5.0


def dew_points(
    humidity: Mapping[str, Series],
    air_c: Mapping[str, Series],
    probes: Mapping[str, Probe],
) -> dict[int, tuple[float, float]]:
    """(humidity [%], dew point [°C]) by ten-minute step: each humidity probe with the air of
    its own shelf, or else of the room; the mean of the probes."""
    air = {probe: binned(series, GRID_S) for probe, series in air_c.items()}
    found: dict[int, list[tuple[float, float]]] = {}
    for probe, series in humidity.items():
        near = _near(probe, air, probes)
        for number, level in binned(series, GRID_S).items():
            temps = [bins[number] for bins in near if number in bins]
            if temps and LEAST_HUMIDITY <= level <= 100.0:
                dew_c = dew_point_c(fmean(temps), level)
                found.setdefault(number, []).append((level, dew_c))
    return {
        number: (fmean(one[0] for one in both), fmean(one[1] for one in both))
        for number, both in found.items()
    }


def _near(
    probe: str, air: Mapping[str, dict[int, float]], probes: Mapping[str, Probe]
) -> list[dict[int, float]]:
    """The air beside a humidity probe: its own, that of its shelf, that of the room."""
    if probe in air:
        return [air[probe]]
    place = probes.get(probe)
    shelf = [
        bins
        for name, bins in air.items()
        if place is not None
        and place.shelf is not None
        and (other := probes.get(name)) is not None
        and (other.rack, other.shelf) == (place.rack, place.shelf)
    ]
    return shelf or list(air.values())


def find_moist(
    dew: Mapping[int, tuple[float, float]],
    air_c: Mapping[str, Series],
    surface_c: Mapping[str, Series],
    window: Window,
) -> Moist | None:
    """How moist the air was and where it came down; None without a humidity probe.

    Water settles on what is as cold as the dew point: a shelf's air that cold makes mist and
    wets what stands there, a bag's film below it is wet outside. Walls have no probe: how much
    colder than the air they may be is what `spare_k` tells.
    """
    inside = {number: both for number, both in dew.items() if window.holds((number + 0.5) * GRID_S)}
    if not inside:
        return None
    known = {f"the air at {probe}": series for probe, series in air_c.items()}
    known |= {f"bag {bag}": series for bag, series in surface_c.items()}
    coldest: dict[int, tuple[float, str]] = {}
    for name, series in known.items():
        for number, temp_c in binned(within(series, window), GRID_S).items():
            coldest[number] = min(coldest.get(number, (temp_c, name)), (temp_c, name))
    spare = {
        number: (coldest[number][0] - dew_c, coldest[number][1])
        for number, (_, dew_c) in inside.items()
        if number in coldest
    }
    closest = min(spare, key=lambda number: spare[number][0])
    levels = [level for level, _ in inside.values()]
    return Moist(
        mean=fmean(levels),
        low=min(levels),
        high=max(levels),
        dew_c=fmean(dew_c for _, dew_c in inside.values()),
        dew_high_c=max(dew_c for _, dew_c in inside.values()),
        wet_s=GRID_S * sum(gap_k <= 0.0 for gap_k, _ in spare.values()),
        spare_k=spare[closest][0],
        closest_s=(closest + 0.5) * GRID_S,
        wet=spare[closest][1],
    )
