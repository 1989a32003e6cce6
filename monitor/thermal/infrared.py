"""What an infrared thermometer shows and what the surface is: emissivity and reflections.

Opaque target, no air in between: W = ε M(object) + (1 - ε) M(reflected), M ∝ T⁴ in kelvin.
In 8 to 14 µm Planck's law gives M ∝ T^4.6; T⁴ is within 0.01 K near room temperature, and a
wrong emissivity (0.05 is 0.26 K) hurts far more.
"""

from __future__ import annotations

from monitor.thermal.film import KELVIN


def _checked(emissivity: float, *temps_c: float) -> None:
    if not 0.1 <= emissivity <= 1:
        raise ValueError(f"an emissivity of {emissivity:g} is outside 0.1 to 1")
    if min(temps_c) <= -KELVIN:
        raise ValueError("a temperature is below absolute zero")


def true_surface_c(shown_c: float, reflected_c: float, emissivity: float = 0.95) -> float:
    """Surface temperature behind a thermometer that is set to emissivity 1 [°C].

    shown_c      what it shows
    reflected_c  mean temperature of what the surface mirrors: walls, other bags
    emissivity   0.95 for paper and opaque plastic, 0.96 vinyl tape. Clear film shows what is
                 behind it: tape a patch on the bag and read that.
    Source   radiation balance of an opaque grey surface (ASTM E1933 asks for both corrections)
    Check    27.0 shown, 22.0 reflected: 27.256 at 0.95, 27.540 at 0.90
    Raises   ValueError for an emissivity outside 0.1 to 1, or where the reflection alone is
             warmer than what was shown
    """
    _checked(emissivity, shown_c, reflected_c)
    mirrored = (1.0 - emissivity) * (reflected_c + KELVIN) ** 4
    own = ((shown_c + KELVIN) ** 4 - mirrored) / emissivity
    if own <= 0:
        raise ValueError("the reflection alone is more than was shown: check both temperatures")
    return float(own**0.25) - KELVIN


def shown_c(surface_c: float, reflected_c: float, emissivity: float = 0.95) -> float:
    """What a thermometer set to emissivity 1 shows of a surface [°C]; undoes `true_surface_c`.

    Check    27.0 true, 22.0 reflected, 0.95: 26.756
    Raises   ValueError for an emissivity outside 0.1 to 1
    """
    _checked(emissivity, surface_c, reflected_c)
    own = emissivity * (surface_c + KELVIN) ** 4
    mirrored = (1.0 - emissivity) * (reflected_c + KELVIN) ** 4
    return float((own + mirrored) ** 0.25) - KELVIN


def reset_emissivity_c(
    shown_at_set_c: float, reflected_c: float, set_emissivity: float, emissivity: float
) -> float:
    """Surface temperature when the thermometer was set to another emissivity [°C].

    Most are fixed at 0.95 and correct for it with what they take as reflected, here the same
    `reflected_c`. Equal settings give back what was shown.
    """
    seen = shown_c(shown_at_set_c, reflected_c, set_emissivity)
    return true_surface_c(seen, reflected_c, emissivity)
