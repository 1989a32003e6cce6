"""The scalar filter as a control chart: NIST's example and the table of run lengths.

A local level whose filter has settled moves by one share of each surprise: it is an exponentially
weighted moving average (Muth 1960), whose charts others have worked out.
"""

from __future__ import annotations

import numpy as np
import pytest

from monitor.judge.filters import Array, filter_level


def averages(columns: Array, share: float) -> Array:
    """The filter's level after each row, beginning at 0, where it moves by `share` from the
    first row on: by the variances of a local level that has settled there."""
    rows = len(columns)
    process = share**2 / (1.0 - share)  # of noise of 1
    done = filter_level(columns, np.ones(rows), np.full(rows, process), np.ones(rows), share)
    before = columns - done.innovations * np.sqrt(done.variances)[:, None]
    return before + share * (columns - before)


def test_the_settled_filter_is_the_moving_average_of_nists_example() -> None:
    """NIST/SEMATECH e-Handbook, 6.3.2.4: lambda 0.3, target 50, sd 2.0539, no alarm."""
    read = np.array(
        [
            52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5,
            49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1,
        ]
    )  # fmt: skip
    printed = [
        50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33,
        50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
    ]  # fmt: skip
    found = 50.0 + averages(read[:, None] - 50.0, 0.3)[:, 0]
    assert found == pytest.approx(printed, abs=0.0051)
    limit = 3.0 * 2.0539 * np.sqrt(0.3 / (2.0 - 0.3))
    assert limit == pytest.approx(2.5884, abs=1e-4)
    assert np.abs(found - 50.0).max() < limit


@pytest.mark.parametrize(
    ("share", "limit", "shift", "length"),
    [
        (0.25, 2.998, 0.0, 499.8),
        (0.25, 2.998, 0.5, 48.3),
        (0.25, 2.998, 1.0, 11.1),
        (0.25, 2.998, 2.0, 3.6),
        (0.10, 2.814, 0.0, 499.6),
        (0.10, 2.814, 0.5, 31.3),
        (0.10, 2.814, 1.0, 10.3),
        (0.10, 2.814, 2.0, 4.4),
    ],
)
def test_run_lengths_are_those_of_the_table(
    share: float, limit: float, shift: float, length: float
) -> None:
    """Mean readings until an alarm (Lucas and Saccucci 1990), by 1,200 drawn runs, four sigma;
    a run that raised none counts as far as it went."""
    runs, rows = 1200, int(8 * length) + 40
    drawn = np.random.default_rng(21).normal(shift, 1.0, (rows, runs))
    over = np.abs(averages(drawn, share)) > limit * np.sqrt(share / (2.0 - share))
    lengths = np.where(over.any(axis=0), over.argmax(axis=0) + 1, rows)
    error = lengths.std() / np.sqrt(runs)
    assert error < 0.04 * length
    assert lengths.mean() == pytest.approx(length, abs=4.0 * error + 0.05)
