"""Whose word holds for a strain: its own, its group's, the defaults'; and units."""

from __future__ import annotations

from pathlib import Path

import pytest

from monitor.settings.load import load_strains
from monitor.settings.units import difference_k, slope_k_per_h, temperature_c

STRAINS = """\
defaults: {band: {low: 10 C, high: 20 C}, least_excess: 0.5 K}
groups:
  warm: {band: {low: 20 C, high: 26 C}, hold: 3 h}
  plain: {hold: 4 h}
strains:
  IN-GROUP: {group: warm}
  OWN-BAND: {group: warm, band: {low: 5 C, high: 8 C}}
  NO-BAND: {group: plain}
"""


def test_a_strains_own_band_stands_before_its_groups_and_that_before_the_defaults(
    tmp_path: Path,
) -> None:
    (tmp_path / "strains.yaml").write_text(STRAINS, encoding="utf-8")
    book = load_strains(tmp_path)
    in_group = book.strains["IN-GROUP"]
    assert (in_group.least_excess_k, in_group.hold_s) == (0.5, 3 * 3600.0)
    assert book.bands_c["IN-GROUP"] == (20.0, 26.0)
    assert book.bands_c["OWN-BAND"] == (5.0, 8.0)
    assert book.bands_c["NO-BAND"] == (10.0, 20.0)


@pytest.mark.parametrize(
    ("text", "temp_c"),
    [("0 C", 0.0), ("212 F", 100.0), ("-40 F", -40.0), ("273.15 K", 0.0), ("300 K", 26.85)],
)
def test_a_temperature_is_read_in_any_of_its_units(text: str, temp_c: float) -> None:
    assert temperature_c(text) == pytest.approx(temp_c)


def test_differences_and_slopes_have_no_32_in_them() -> None:
    assert difference_k("9 F") == pytest.approx(5.0)
    assert difference_k("5 C") == difference_k("5 K") == 5.0
    assert slope_k_per_h("1.8 F/h") == pytest.approx(1.0)
