"""The rows a look is given."""

from __future__ import annotations

import numpy as np
import pytest

from monitor.judge.looks import Panel


def panel(rows: int) -> Panel:
    """Three bags, each row's values its number."""
    each = np.repeat(np.arange(rows, dtype=float)[:, None], 3, axis=1)
    return Panel(
        hours=3.0 * np.arange(rows),
        ahead=3.0 * np.arange(rows, rows + 2),
        begun_h=0.0,
        excess=each,
        white=each,
        stretch=each.astype(np.int64),
        lead_h=np.zeros(3),
        counts_until_h=np.full(3, np.inf),
    )


@pytest.mark.parametrize("rows", [3, 4, 5, 9, 10, 33])
def test_a_thinned_panel_keeps_its_newest_row_and_no_more_than_asked_for(rows: int) -> None:
    thinned = panel(rows).thinned(4)
    assert thinned.hours[-1] == 3.0 * (rows - 1)
    assert min(rows, 2) <= len(thinned.hours) <= 4
    assert len(set(np.diff(thinned.hours))) <= 1
    for values in (thinned.excess, thinned.white, thinned.stretch):
        assert (values[:, 0] * 3.0 == thinned.hours).all()
    assert (thinned.ahead == panel(rows).ahead).all()
