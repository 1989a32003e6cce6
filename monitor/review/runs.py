"""Runs out of the store: the heat of each batch by age, and what the strains learned of it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence

import numpy as np

from monitor.judge.strain import Strain
from monitor.review.curves import Curves, Run, expected_of, is_finished, learned, mixed
from monitor.review.forecast import Forecast, Place, RoomLimits, batch_key, forecast
from monitor.review.records import BagRecord, bag_records
from monitor.settings.schema import Settings
from monitor.store import Reader
from monitor.terms import DAY_S, HOUR_S
from monitor.values import Estimate

#: One look in six hours tells a curve that moves over days.
EVERY_S = 6 * HOUR_S
#: A bag brought in cold or warm says nothing of its heat at first.
SETTLED_H = 12.0
AIR_OVER_S = 2 * DAY_S
#: No strain's heat is worth following longer.
LONGEST_RUN_S = 100 * DAY_S
#: Finished runs older than this teach nothing: cultures age, recipes change.
LEARN_FROM_S = 200 * DAY_S


def forecast_of(store: Reader, settings: Settings, now_s: float) -> Forecast:
    """The forecast of what stands in the store's book at `now_s`."""
    room, strains = settings.room, settings.strains
    records = [one for one in bag_records(store) if one.inoculated_s >= now_s - LEARN_FROM_S]
    since_s = min((one.inoculated_s for one in records), default=now_s)
    seen = list(looks(store, since_s, now_s))
    standing = [one for one in records if one.standing]
    runs = runs_of(records, seen)
    expected = strains_learned(
        [one.strain for one in standing], strains.before_learning, strains.parents, records, runs
    )
    fresh_air = room.fresh_air_m3_per_h
    limits = RoomLimits(
        room.cooling_w, room.volume_m3, None if fresh_air is None else fresh_air / 3600.0
    )
    lately = [one for one in seen if one.at_s > now_s - AIR_OVER_S]
    air_c = air_of(standing, lately, (room.band_low_c + room.band_high_c) / 2)
    return forecast(standing, runs, expected, strains.lookup, air_c, limits, now_s)


def looks(store: Reader, since_s: float, until_s: float) -> Iterable[Estimate]:
    """The estimates of every sixth hour."""
    first = int(since_s // EVERY_S) + 1
    for number in range(first, int(until_s // EVERY_S) + 1):
        at_s = number * EVERY_S
        yield from (one for one, _ in store.estimates(at_s, at_s))


def runs_of(records: Sequence[BagRecord], estimates: Iterable[Estimate]) -> dict[str, Run]:
    """The run of each batch: its bags' mean heat by age; lost and alarmed bags are not in it.

    The mean, as bags peak at different hours: their sum is flatter than a middling bag.
    """
    sound = {one.bag: one for one in records if not one.lost and not one.alarmed}
    heats: dict[str, dict[float, list[float]]] = {}
    for one in estimates:
        bag = sound.get(one.bag)
        if bag is None or one.heat_w_per_kg is None:
            continue
        if not SETTLED_H * HOUR_S <= one.at_s - bag.inoculated_s <= LONGEST_RUN_S:
            continue
        if bag.full_run_s is not None and one.at_s > bag.full_run_s + 3 * DAY_S:
            continue
        heats.setdefault(batch_key(bag), {}).setdefault(one.at_s, []).append(one.heat_w_per_kg)
    return {
        name: _run([bag for bag in sound.values() if batch_key(bag) == name], rows)
        for name, rows in heats.items()
    }


def _run(bags: Sequence[BagRecord], rows: Mapping[float, Sequence[float]]) -> Run:
    inoculated_s = float(np.median([bag.inoculated_s for bag in bags]))
    noted = [bag.full_run_s - bag.inoculated_s for bag in bags if bag.full_run_s is not None]
    times = sorted(rows)
    return Run(
        ages_h=(np.array(times) - inoculated_s) / HOUR_S,
        heat_w_per_kg=np.array([float(np.mean(rows[at_s])) for at_s in times]),
        full_run_h=float(np.median(noted)) / HOUR_S if 2 * len(noted) >= len(bags) else None,
    )


def strains_learned(
    strains: Iterable[str],
    lookup: Callable[[str], Strain],
    parents: Mapping[str, Sequence[str]],
    records: Sequence[BagRecord],
    runs: Mapping[str, Run],
) -> dict[str, Curves]:
    """What to expect of each strain's batches, from settings and its own finished runs.

    A hybrid without a run of its own, whose parents have some, borrows what they learned.
    """
    strain_of_batch = {batch_key(one): one.strain for one in records}
    standing = {batch_key(one) for one in records if one.standing and one.full_run_s is None}
    done: dict[str, Curves] = {}

    def of(name: str) -> Curves:
        if name not in done:
            done[name] = expected_of(lookup(name))
            own = [
                run
                for batch, run in sorted(runs.items())
                if strain_of_batch.get(batch) == name
                and batch not in standing
                and is_finished(done[name], run)
            ]
            family = [of(parent) for parent in parents.get(name, ())]
            if any(one.runs for one in family):
                done[name] = mixed(family)
            done[name] = learned(done[name], own)
        return done[name]

    return {name: of(name) for name in dict.fromkeys(strains)}


def air_of(
    records: Sequence[BagRecord], estimates: Iterable[Estimate], otherwise_c: float
) -> Callable[[Place], float]:
    """Mean air of each place by the estimates of its bags; of a place without, the room's."""
    where = {one.bag: (one.rack, one.shelf) for one in records}
    seen: dict[Place, list[float]] = {}
    for one in estimates:
        if one.local_air_c is not None and one.bag in where:
            seen.setdefault(where[one.bag], []).append(one.local_air_c)
    means = {place: float(np.mean(values)) for place, values in seen.items()}
    room_c = float(np.mean(list(means.values()))) if means else otherwise_c
    return lambda place: means.get(place, room_c)
