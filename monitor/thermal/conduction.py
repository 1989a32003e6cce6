"""Steady warmth inside a body that makes heat everywhere: slab, cylinder, sphere, bag.

Heat `generation_w_per_m3` is uniform; rises are over the surrounding air [K].
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from monitor.thermal.film import Films
from monitor.thermal.substrate import Cylinder

#: Axial terms of the bag's series; they fall as n⁻⁴, so this many leave about 1e-7.
TERMS = 40

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


def slab_eigenvalues(biot: float, count: int) -> NDArray[np.float64]:
    """First roots of ζ tan ζ = Bi, one in each (nπ, nπ + π/2).

    Source  Carslaw and Jaeger 1959; check Bi 1: 0.8603
    Raises  ValueError for a Biot number not above 0
    """
    _positive(biot=biot)
    whole = np.pi * np.arange(count)
    root = whole + np.pi / 2.0
    # ζ - nπ - atan(Bi/ζ) is rising and concave: Newton stays positive and closes in from below
    for _ in range(60):
        step = (root - whole - np.arctan(biot / root)) / (1.0 + biot / (root**2 + biot**2))
        root = root - step
        if np.max(np.abs(step)) < 1e-13 * count:
            break
    return np.asarray(root, dtype=np.float64)


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
    Check   x = 1: 0.446398; good to 1e-9
    """
    near = np.minimum(x, 40.0)
    ratio = np.zeros_like(near)
    for order in range(50, 0, -1):
        ratio = near / (2.0 * order + near * ratio)
    v = 1.0 / np.maximum(x, 40.0)
    far = 1.0 - v * (1 / 2 + v * (1 / 8 + v * (1 / 8 + v * (25 / 128 + v * 13 / 32))))
    return np.where(x > 40.0, far, ratio)


def bag_rise(
    shape: Cylinder, generation_w_per_m3: float, conductivity_w_per_m_k: float, films: Films
) -> BagRise:
    """Steady rises in a finite cylinder with uniform generation and a film on every face.

    The generation is expanded in the axial eigenfunctions; each term leaves a modified Bessel
    equation in the radius:  T(r, z) = Σ q C L²/(k ζ²) · (1 - B I0(ζ r/L)) · cos(ζ z/L),
    B = Bi/(x I1(x) + Bi I0(x)),  x = ζ R/L,  Bi = h R/k,  L = half the height.

    Source  separation of variables (Carslaw and Jaeger 1959, chapter 8)
    Valid   any proportions; both ends alike; series cut at about 1e-7 of the rise
    Check   0.15 × 0.30 m, q 500, k 0.30, h 8: core 4.465, side 2.242, mean 2.909 K
            (a finite-volume solution, converged to 1e-3)
    Raises  ValueError for a conductivity or film not above 0
    """
    k = conductivity_w_per_m_k
    _positive(conductivity_w_per_m_k=k, side=films.side_w_per_m2_k, end=films.end_w_per_m2_k)
    half_m = shape.height_m / 2.0
    zeta = slab_eigenvalues(films.end_w_per_m2_k * half_m / k, TERMS)
    biot = films.side_w_per_m2_k * shape.radius_m / k
    x = zeta * shape.radius_m / half_m
    ratio = bessel_ratio(x)
    part = generation_w_per_m3 * slab_coefficients(zeta) * half_m**2 / (k * zeta**2)
    share = biot / (x * ratio + biot)
    # np.i0 overflows past 700, where the core no longer feels that term: 1/inf is right
    with np.errstate(over="ignore"):
        at_axis = part * (1.0 - share / np.i0(x))
    at_side = part * (1.0 - share)
    over_radius = part * (1.0 - share * 2.0 * ratio / x)
    over_height = np.sin(zeta) / zeta
    return BagRise(
        core_k=float(np.sum(at_axis)),
        side_k=float(np.sum(at_side)),
        mean_k=float(np.sum(over_radius * over_height)),
        side_mean_k=float(np.sum(at_side * over_height)),
        end_mean_k=float(np.sum(over_radius * np.cos(zeta))),
    )
