"""Folders made of folders for the bench: the same bags as read on walks, with weaker heat, or by
probes that speak on change."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.bench import as_changes, as_walks, as_weak
from tests.bench.folders import read_room, rows


def test_walks_read_what_the_probes_read_and_the_share_of_air_in_it(
    small_room: Path, tmp_path: Path
) -> None:
    """The film is warmer than a taped probe by 1 / contact: 1.1 to 1.3 of what is above the air."""
    as_walks.main([str(small_room), str(tmp_path), "--seed", "3"])
    by_probe, by_hand = read_room(small_room), read_room(tmp_path)
    assert len(by_hand.walks) >= 9 and not by_hand.surface_c[np.isfinite(by_hand.surface_c)].size
    assert [truth.probe_fault for truth in by_hand.truths] == [""] * len(by_hand.truths)
    broken = [place for place, truth in enumerate(by_probe.truths) if truth.probe_fault]
    apart_k = []
    for walk in by_hand.walks[4:]:
        frame = int(np.searchsorted(by_probe.ends_s, walk.at_s))
        near = by_probe.surface_c[:, max(0, frame - 3) : frame + 3]
        apart_k.append(np.delete(walk.surface_c - np.nanmean(near, axis=1), broken))
    assert 0.0 < float(np.nanmean(np.concatenate(apart_k))) < 1.0
    assert float(np.nanstd(np.concatenate(apart_k))) < 0.8


def test_a_probe_at_fault_is_read_on_no_walk(small_room: Path, tmp_path: Path) -> None:
    as_walks.main([str(small_room), str(tmp_path)])
    before, after = read_room(small_room), read_room(tmp_path)
    fell = next(place for place, one in enumerate(before.truths) if one.probe_fault == "fell")
    since_s = before.truths[fell].probe_fault_s
    assert since_s is not None
    late = [walk.surface_c[fell] for walk in after.walks if walk.at_s > since_s]
    assert late and np.isnan(late).all()
    early = [walk.surface_c[fell] for walk in after.walks[1:] if walk.at_s < since_s - 3600.0]
    assert early and np.isfinite(early).all()


def test_weaker_heat_brings_every_reading_nearer_to_its_air(
    small_room: Path, tmp_path: Path
) -> None:
    as_weak.main([
        str(small_room), str(tmp_path), "--heat", "0.5", "--noise", "0", "--resolution", "0.001",
    ])  # fmt: skip
    before, after = as_walks.read_probes(small_room), as_walks.read_probes(tmp_path)
    air = as_weak.air_of(small_room, before)
    for bag in rows(small_room / "bags.csv"):
        read, weak = before[bag["probe"]], after[bag["probe"]]
        for at_s, read_c in read[::60]:
            here_c = as_weak.air_about(air, float(bag["shelf"]), at_s)
            weak_c = weak[weak[:, 0] == at_s, 1]
            assert len(weak_c)
            assert weak_c == pytest.approx(0.5 * (read_c + here_c), abs=1e-3)


def test_lagged_air_reaches_63_per_cent_of_a_step_after_one_time_constant() -> None:
    """1 - 1/e: the first-order lag of any textbook of control, from memory."""
    times_s = np.arange(0.0, 12 * 3600.0, 60.0)
    step = np.column_stack([times_s, np.where(times_s > 0.0, 1.0, 0.0)])
    assert np.interp(as_weak.LAG_S, *as_weak.lagged(step).T) == pytest.approx(0.632, abs=0.005)


def test_coarse_probes_say_only_multiples_of_their_resolution(
    small_room: Path, tmp_path: Path
) -> None:
    as_weak.main([str(small_room), str(tmp_path), "--resolution", "0.5"])
    values = as_walks.read_probes(tmp_path)
    on_bags = {truth.probe for truth in read_room(tmp_path).truths}
    assert on_bags and values.keys() - on_bags
    for probe in on_bags:
        assert np.allclose(values[probe][:, 1] % 0.5, 0.0)
    kept = as_walks.read_probes(small_room)
    for probe in values.keys() - on_bags:
        assert np.array_equal(values[probe], kept[probe])


def test_on_change_is_said_what_moved_by_a_step_or_was_due(
    small_room: Path, tmp_path: Path
) -> None:
    as_changes.main(
        [str(small_room), str(tmp_path / "out"), "--step", "0.25", "--heartbeat-h", "2"]
    )
    before, after = as_walks.read_probes(small_room), as_walks.read_probes(tmp_path / "out")
    gaps_s = {probe: np.diff(said[:, 0]) for probe, said in after.items()}
    for probe, said in after.items():
        moved = np.abs(np.diff(said[:, 1])) > 0.2499
        assert np.all(moved | (gaps_s[probe] >= 7200.0))
        assert 1 < len(said) < len(before[probe])
    assert max(gap_s.max() for gap_s in gaps_s.values()) >= 7200.0


def test_said_at_once_is_what_was_read_on_the_hour(small_room: Path, tmp_path: Path) -> None:
    as_changes.main([str(small_room), str(tmp_path / "out"), "--every-s", "3600"])
    after = as_walks.read_probes(tmp_path / "out")
    assert after and all(not (said[:, 0] % 3600.0).any() for said in after.values())
