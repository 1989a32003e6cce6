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
        ((-7.3, 20.1), ["\N{MINUS SIGN}5", "0", "5", "10", "15", "20"]),
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


def test_a_course_that_ends_early_ends_before_its_picture_does() -> None:
    """What has no value keeps its time: pictures of the same hours stand one under the other."""
    points = [(0.0, 20.0), (HOUR_S, 21.0), (2 * HOUR_S, None), (3 * HOUR_S, None)]
    drawn = chart("surface", [Line("surface", points)], [], UTC)
    whole = chart("surface", [Line("surface", [(at_s, 20.0) for at_s, _ in points])], [], UTC)
    ends = [float(re.findall(r"points=\"[^\"]* ([\d.]+),", one)[0]) for one in (drawn, whole)]
    begins = [float(re.findall(r"points=\"([\d.]+),", one)[0]) for one in (drawn, whole)]
    assert begins[0] == begins[1]
    assert ends[0] - begins[0] == pytest.approx((ends[1] - begins[1]) / 3, abs=0.2)
