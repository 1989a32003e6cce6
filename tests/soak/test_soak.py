"""A small soak: the file stops growing and memory stays where it is; the long one is a command."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.soak.run import soak

pytestmark = pytest.mark.on_disk


def test_memory_and_file_stop_growing_once_the_oldest_readings_are_thrown_away(
    tmp_path: Path,
) -> None:
    """Three days at six bags, raw readings kept for one; `python -m tests.soak.run` does ninety."""
    days = list(soak(tmp_path, days=3, bags=6, every_s=300.0, retention=1.0))
    assert days[-1].resident_mib - days[0].resident_mib < 10.0
    assert days[-1].file_mib < 1.25 * days[1].file_mib
