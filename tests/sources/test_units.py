"""Units by their many names, to °C and %RH."""

from __future__ import annotations

import pytest

from monitor.sources.units import UnknownUnitError, quantity_named, to_si
from monitor.values import Quantity

T, H = Quantity.TEMPERATURE, Quantity.HUMIDITY


@pytest.mark.parametrize(
    ("number", "unit", "quantity", "value"),
    [
        (21.5, "Cel", T, 21.5),
        (21.5, "°C", T, 21.5),
        (21.5, "\u2103", T, 21.5),  # the one-character degree Celsius
        (212.0, "°F", T, 100.0),
        (-40.0, "degF", T, -40.0),
        (75.2, "f", T, 24.0),
        (273.15, "K", T, 0.0),
        (93.0, "%RH", H, 93.0),
        (93.0, "%", H, 93.0),
        (0.93, "/", H, 93.0),  # RFC 8428: a ratio runs from 0 to 1
    ],
)
def test_a_number_becomes_si(number: float, unit: str, quantity: Quantity, value: float) -> None:
    assert to_si(number, unit, quantity) == pytest.approx(value, abs=1e-9)


@pytest.mark.parametrize(
    ("unit", "quantity"), [("C", H), ("%RH", T), ("W", T), ("furlong", T), ("ppm", H)]
)
def test_a_unit_is_refused_when_unknown_or_of_the_other_quantity(
    unit: str, quantity: Quantity
) -> None:
    with pytest.raises(UnknownUnitError):
        to_si(1.0, unit, quantity)


def test_a_quantity_is_known_by_its_short_names_and_others_are_not() -> None:
    assert quantity_named("Temp") is T
    assert quantity_named("rh") is H
    assert quantity_named("battery") is None
