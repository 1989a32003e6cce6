"""Steady warmth inside a body that makes heat everywhere: slab, cylinder, sphere, bag.

Heat `generation_w_per_m3` is uniform; rises are over the surrounding air [K].
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from monitor.thermal.film import Films
from monitor.thermal.substrate import Cylinder

#: Axial terms of the bag's series; past the Biot number they fall as n⁻⁵ or faster.
TERMS = 80

Form = Literal["slab", "cylinder", "sphere"]
_DIMENSIONS: dict[Form, int] = {"slab": 1, "cylinder": 2, "sphere": 3}


def _positive(**numbers: float) -> None:
    for name, number in numbers.items():
        if not number > 0:
            raise ValueError(f"{name} must be above 0, not {number:g}")


def centre_over_surface_k(
    form: Form, generation_w_per_m3: float, size_m: float, conductivity_w_per_m_k: float
) -> float:
    """Centre over surface: q L²/2k (slab, half-thickness), q r²/4k (cylinder), q r²/6k (sphere).

    Source  Carslaw and Jaeger 1959; Incropera, chapter on conduction with generation
    Check   q 500, k 0.30, size 0.075: 4.6875, 2.34375, 1.5625 K
    Raises  ValueError for a size or conductivity not above 0
    """
    _positive(size_m=size_m, conductivity_w_per_m_k=conductivity_w_per_m_k)
    return generation_w_per_m3 * size_m**2 / (2.0 * _DIMENSIONS[form] * conductivity_w_per_m_k)


def surface_over_air_k(
    form: Form, generation_w_per_m3: float, size_m: float, film_w_per_m2_k: float
) -> float:
    """Surface over air: q L/h (slab, half-thickness), q r/2h (cylinder), q r/3h (sphere).

    Source  energy balance; check q 500, h 8, size 0.075: 4.6875, 2.34375, 1.5625 K
    Raises  ValueError for a size or film not above 0
    """
    _positive(size_m=size_m, film_w_per_m2_k=film_w_per_m2_k)
    return generation_w_per_m3 * size_m / (_DIMENSIONS[form] * film_w_per_m2_k)


def slab_eigenvalues(biot: ArrayLike, count: int) -> NDArray[np.float64]:
    """First roots of ζ tan ζ = Bi, one in each (nπ, nπ + π/2), along a new last axis.

    Source  Carslaw and Jaeger 1959; check Bi 1: 0.8603
    Raises  ValueError for a Biot number not above 0
    """
    bi = np.asarray(biot, dtype=float)[..., np.newaxis]
    if not np.all(bi > 0):
        raise ValueError("a Biot number must be above 0")
    whole = np.pi * np.arange(count)
    root = np.asarray(whole + np.pi / 2.0 + 0.0 * bi)
    # ζ - nπ - atan(Bi/ζ) is rising and concave: Newton stays positive and closes in from below
    for _ in range(60):
        step = (root - whole - np.arctan(bi / root)) / (1.0 + bi / (root**2 + bi**2))
        root = root - step
        if np.max(np.abs(step)) < 1e-11:
            break
    return root


def slab_coefficients(eigenvalues: NDArray[np.float64]) -> NDArray[np.float64]:
    """Weights C that make Σ C cos(ζ z/L) = 1: 4 sin ζ/(2ζ + sin 2ζ). Check Bi 1: 1.1191."""
    return np.asarray(4.0 * np.sin(eigenvalues) / (2.0 * eigenvalues + np.sin(2.0 * eigenvalues)))


@dataclass(frozen=True, slots=True)
class BagRise:
    """Steady rises over air of a bag [K]: core, side at mid-height, mean of the body, and the
    means over its side and over an end."""

    core_k: float
    side_k: float
    mean_k: float
    side_mean_k: float
    end_mean_k: float


def bessel_ratio(x: NDArray[np.float64]) -> NDArray[np.float64]:
    """I1(x)/I0(x), x of 0 or more; never overflows.

    Source  Abramowitz and Stegun: continued fraction from 9.6.26, asymptotic series 9.7.1
    Check   x = 1: 0.446398; good to 3e-8
    """
    near = np.minimum(x, 20.0)
    ratio = np.zeros_like(near)
    for order in range(28, 0, -1):
        ratio = near / (2.0 * order + near * ratio)
    v = 1.0 / np.maximum(x, 20.0)
    far = 1.0 - v * (1 / 2 + v * (1 / 8 + v * (1 / 8 + v * (25 / 128 + v * 13 / 32))))
    return np.where(x > 20.0, far, ratio)


def bag_rise(
    shape: Cylinder, generation_w_per_m3: float, conductivity_w_per_m_k: float, films: Films
) -> BagRise:
    """Steady rises in a finite cylinder with uniform generation and a film on every face.

    Source  separation of variables (Carslaw and Jaeger 1959, chapter 8), see `_unit_rises`
    Valid   height from 1/4 to 4 diameters to 1e-6 of the rise, taller to 1e-3; both ends alike
    Check   0.15 × 0.30 m, q 500, k 0.30, h 8: core 4.465, side 2.242, mean 2.909 K
            (a finite-volume solution, converged to 1e-3)
    Raises  ValueError for a conductivity or film not above 0
    """
    rises = generation_w_per_m3 * _unit_rises(shape, [conductivity_w_per_m_k], [films])
    return BagRise(*(float(rise) for rise in rises[:, 0]))


def core_and_side(
    shape: Cylinder, conductivities_w_per_m_k: Sequence[float], films: Sequence[Films]
) -> NDArray[np.float64]:
    """Core and side rise [K] for 1 W/m³, for each pair of conductivity and films: (2, pairs).

    Check   0.15 × 0.30 m, k 0.30, h 8: their ratio is 1.99
    """
    return _unit_rises(shape, conductivities_w_per_m_k, films)[:2]


def _unit_rises(
    shape: Cylinder, conductivities_w_per_m_k: Sequence[float], films: Sequence[Films]
) -> NDArray[np.float64]:
    """Core, side, mean, side mean and end mean [K] for 1 W/m³: shape (5, cases).

    A slab with the bag's ends, less what the side draws off: its generation, expanded in the
    axial eigenfunctions, leaves a modified Bessel equation in the radius for each term,
        T(r, z) = q (L² - z²)/2k + q L/h - Σ q C L²/(k ζ²) · B I0(ζ r/L) · cos(ζ z/L),
    B = Bi/(x I1(x) + Bi I0(x)),  x = ζ R/L,  Bi = h R/k,  L = half the height.
    """
    k = np.asarray(conductivities_w_per_m_k, dtype=float)[:, np.newaxis]
    side = np.array([[film.side_w_per_m2_k] for film in films])
    end = np.array([[film.end_w_per_m2_k] for film in films])
    if not (np.all(k > 0) and np.all(side > 0) and np.all(end > 0)):
        raise ValueError("conductivity and films must be above 0")
    half_m = shape.height_m / 2.0
    zeta = slab_eigenvalues((end * half_m / k)[:, 0], TERMS)
    x = zeta * (shape.radius_m / half_m)
    ratio = bessel_ratio(x)
    biot = side * (shape.radius_m / k)
    drawn = slab_coefficients(zeta) * half_m**2 / (k * zeta**2) * biot / (x * ratio + biot)
    # past 700 np.i0 overflows, where the core no longer feels the side: 1/inf is right
    with np.errstate(over="ignore"):
        at_axis = drawn / np.i0(x)
    over_radius = drawn * 2.0 * ratio / x
    over_height = np.sin(zeta) / zeta
    skin, middle = half_m / end, half_m**2 / (2.0 * k)
    whole = skin + middle * 2.0 / 3.0
    return np.asarray(
        [
            slab[:, 0] - np.sum(term, axis=-1)
            for slab, term in (
                (skin + middle, at_axis),
                (skin + middle, drawn),
                (whole, over_radius * over_height),
                (whole, drawn * over_height),
                (skin, over_radius * np.cos(zeta)),
            )
        ]
    )
