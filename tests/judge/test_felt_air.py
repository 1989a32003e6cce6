"""The air as a probe would feel it, and coarse probes told by it: rooms stepped by hand."""

from __future__ import annotations

import json
import random
from collections.abc import Iterator

import numpy as np

from monitor.judge.fallen import FallenParams, Follows
from monitor.judge.felt_air import FeltAir, FeltParams
from tests.judge.coarse_room import BAGS, HOUR_S, Frame, room

FRAME_S, FELL_H = 600.0, 57.0
DEAF_TO_FELT = FallenParams(felt_named_at=1e9)
SOUND = np.ones(BAGS, dtype=bool)


def off_bag_h(
    frames: Iterator[Frame], params: FallenParams | None = None
) -> dict[str, list[float]]:
    """By probe, the hours in which it was said to be off its bag."""
    follows, said = Follows(params or FallenParams()), dict[str, list[float]]()
    for end_s, probes, *rest in frames:
        for probe, fell_s in zip(probes, follows.step(end_s, probes, *rest)[1], strict=True):
            if fell_s is not None:
                said.setdefault(probe, []).append(end_s / HOUR_S)
    return said


def falls(hour: float) -> bool:
    """By day, when no set-back moves the air for hours to come."""
    return hour >= FELL_H


def rough(seed: int) -> Iterator[Frame]:
    """A probe of 0.5 °C falls off a bag 0.7 K over an air that is read as roughly."""
    hours = FELL_H + 8
    return room(hours, off_bag=falls, first_k=0.7, swing_k=0.3, air_noise_k=0.25, seed=seed)


def test_mates_tell_a_swing_that_the_air_probe_is_too_rough_to_tell() -> None:
    draw, felt = random.Random(3), FeltAir(FeltParams(over_bags=2.5))
    names, swing_k, off_felt, off_read = [f"b{i}" for i in range(40)], 0.0, list[float](), []
    for frame in range(600):
        swing_k += draw.gauss(0, 0.3) - swing_k / 2
        air_c = 21.0 + swing_k
        values_c = np.array([22.0 + 0.4 * swing_k + draw.gauss(0, 0.2) for _ in names])
        read_c = np.full(40, air_c + draw.gauss(0, 0.3))
        sound = np.ones(40, dtype=bool)
        told_c = felt.step((frame + 1) * FRAME_S, names, values_c, read_c, sound)
        if frame > 100:
            off_felt.append(float(told_c[0]) - air_c)
            off_read.append(float(read_c[0]) - air_c)
    assert np.std(off_felt) < 0.6 * np.std(off_read)


def test_no_probe_tells_of_the_air_by_its_own_reading() -> None:
    frames = list(room(30.0))
    for changed in (0, 5):
        plain, other = FeltAir(FeltParams()), FeltAir(FeltParams())
        for end_s, probes, values_c, airs_c, _ in frames[:-1]:
            for felt in (plain, other):
                felt.step(end_s, probes, np.array(values_c), np.array(airs_c), SOUND)
        end_s, probes, values_c, airs_c, _ = frames[-1]
        before = plain.step(end_s, probes, np.array(values_c), np.array(airs_c), SOUND)
        values_c = [value + 0.5 * (i == changed) for i, value in enumerate(values_c)]
        after = other.step(end_s, probes, np.array(values_c), np.array(airs_c), SOUND)
        moved = ~np.isclose(before, after, atol=0.01)
        assert not moved[changed] and moved.sum() == BAGS - 1


def test_without_mates_it_is_the_slow_air() -> None:
    felt = FeltAir(FeltParams())
    alone = np.ones(1, dtype=bool)
    for frame in range(6):
        told = felt.step(FRAME_S * frame, ["b0"], np.array([25.0]), np.array([21.0]), alone)
    assert told[0] == 21.0
    told = felt.step(FRAME_S * 6, ["b0"], np.array([25.0]), np.array([22.0]), alone)
    assert 21.2 < told[0] < 21.4


def test_a_coarse_probe_that_falls_off_a_warm_bag_is_named_within_hours_and_no_other() -> None:
    late = 0
    for seed in range(6):
        frames = list(rough(seed))
        named = off_bag_h(iter(frames))
        assert set(named) == {"b0"}
        assert FELL_H < named["b0"][0] < FELL_H + 6
        late += "b0" not in off_bag_h(iter(frames), DEAF_TO_FELT)
    assert late >= 3, "by the air as it is read half of them are not seen at all"


def test_coarse_probes_of_bags_no_warmer_than_their_air_are_on_their_bags() -> None:
    """They fit the air as well as the bag: what tells them apart is how they swing."""
    for seed in range(4):
        assert not off_bag_h(room(96.0, warm_k=(0.0, 0.2), seed=seed))


def test_a_heater_that_runs_wild_names_nobody() -> None:
    for seed in range(4):
        assert not off_bag_h(room(FELL_H + 24, wild=falls, warm_k=(0.0, 0.5), seed=seed))


def test_a_coarse_probe_that_rests_is_held_to_be_no_better_than_its_mates() -> None:
    """Its bag stands between two steps for hours; the first flicker afterwards is no fall."""
    follows, names = Follows(FallenParams()), [f"b{number}" for number in range(BAGS)]
    draw = random.Random(1)
    for frame in range(200):
        flicker = [draw.choice((0.0, 0.5)) for _ in names]
        values_c = [21.0 + (k if i or frame >= 150 else 0.0) for i, k in enumerate(flicker)]
        airs_c = [21.0 + draw.gauss(0, 0.2)] * BAGS
        said = follows.step((frame + 1) * FRAME_S, names, values_c, airs_c, [True] * BAGS)[1]
        assert said == [None] * BAGS


def test_too_few_mates_tell_nothing_of_the_air() -> None:
    def said(params: FallenParams | None) -> dict[str, list[float]]:
        few = ((end_s, *(part[:7] for part in rest)) for end_s, *rest in rough(0))
        return off_bag_h(few, params)  # type: ignore[arg-type]

    assert said(None) == said(DEAF_TO_FELT)


def test_what_was_saved_goes_on_exactly() -> None:
    frames = list(rough(1))
    for cut in (1, 200, len(frames) - 20):
        whole, resumed = Follows(FallenParams()), Follows(FallenParams())
        for frame in frames[:cut]:
            whole.step(*frame)
        resumed.restore(json.loads(json.dumps(whole.state())))
        for frame in frames[cut:]:
            assert resumed.step(*frame) == whole.step(*frame)
        assert resumed.state() == whole.state()
