"""The small pictures of the page: what stands at their scales."""

from __future__ import annotations

import re
from datetime import UTC

import pytest

from monitor.page.chart import Line, chart

HOUR_S = 3600.0


@pytest.mark.parametrize(
    ("values", "marks"),
    [
        ((-7.3, 20.1), ["-5", "0", "5", "10", "15", "20"]),
        ((-0.2, 1.6), ["0", "0.5", "1", "1.5"]),
        ((20.4, 25.8), ["21", "22", "23", "24", "25", "26"]),
    ],
)
def test_scale_has_round_values_and_its_zero_has_no_sign(
    values: tuple[float, float], marks: list[str]
) -> None:
    points = [(hour * HOUR_S, value) for hour, value in enumerate(values)]
    drawn = chart("evidence", [Line("hot", points)], [], UTC)
    assert re.findall(r'text-anchor="end">([^<]*)<', drawn) == marks
