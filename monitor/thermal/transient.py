"""How a body follows its air: eigenvalues, cooling, and a bag's lag as a sum of exponentials."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from monitor.thermal.bag import BagThermal
from monitor.thermal.conduction import slab_coefficients, slab_eigenvalues
from monitor.thermal.film import Films
from monitor.thermal.substrate import SUBSTRATES, Cylinder


def _bisect(
    rising: Callable[[NDArray[np.float64]], NDArray[np.float64]],
    low: NDArray[np.float64],
    high: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Roots of a function that is below 0 at `low` and above at `high`, all at once."""
    for _ in range(60):
        middle = 0.5 * (low + high)
        below = rising(middle) < 0
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return 0.5 * (low + high)


def _refuse_biot(biot: float) -> None:
    if not biot > 0:
        raise ValueError(f"a Biot number must be above 0, not {biot:g}")


def cylinder_eigenvalues(biot: float, count: int) -> NDArray[np.float64]:
    """First roots of ζ J1(ζ) = Bi J0(ζ).

    Source  Carslaw and Jaeger 1959; Cengel's table of first terms
    Check   Bi 0.1, 1, 2, 10: 0.4417, 1.2558, 1.5995, 2.1795
    Raises  ValueError for a Biot number not above 0
    """
    from scipy.special import j0, j1, jn_zeros  # noqa: PLC0415 - heavy, and seldom needed

    _refuse_biot(biot)
    # each root lies between a zero of J1 and the next zero of J0, where the sign is (-1)^n
    low = np.concatenate(([0.0], jn_zeros(1, count - 1))) if count > 1 else np.zeros(1)
    sign = (-1.0) ** np.arange(count)
    return _bisect(lambda z: sign * (z * j1(z) - biot * j0(z)), low, jn_zeros(0, count))


def cylinder_coefficients(eigenvalues: NDArray[np.float64]) -> NDArray[np.float64]:
    """Weights that make Σ C J0(ζ r/R) = 1: (2/ζ) J1/(J0² + J1²). Check Bi 1: 1.2071."""
    from scipy.special import j0, j1  # noqa: PLC0415 - heavy, and seldom needed

    zero, one = j0(eigenvalues), j1(eigenvalues)
    return np.asarray(2.0 / eigenvalues * one / (zero**2 + one**2))


def sphere_eigenvalues(biot: float, count: int) -> NDArray[np.float64]:
    """First roots of 1 - ζ cot ζ = Bi, one in each (nπ, (n + 1)π).

    Source  Carslaw and Jaeger 1959; check Bi 1: 1.5708
    Raises  ValueError for a Biot number not above 0
    """
    _refuse_biot(biot)
    n = np.arange(count)
    sign = (-1.0) ** n
    # times sin ζ, whose sign alternates: no poles left to trip over
    return _bisect(
        lambda z: sign * ((1.0 - biot) * np.sin(z) - z * np.cos(z)),
        np.asarray(np.pi * n + 1e-12, dtype=np.float64),
        np.asarray(np.pi * (n + 1.0), dtype=np.float64),
    )


def sphere_coefficients(eigenvalues: NDArray[np.float64]) -> NDArray[np.float64]:
    """Weights that make Σ C sin(ζ r/R)/(ζ r/R) = 1. Check Bi 1: 1.2732."""
    z = eigenvalues
    return np.asarray(4.0 * (np.sin(z) - z * np.cos(z)) / (2.0 * z - np.sin(2.0 * z)))


@dataclass(frozen=True, slots=True)
class LagModes:
    """How a point of a bag follows a step of its air: Σ weight · (1 - exp(-t/tau)).

    `tau_s` falls; the weights sum to 1 but for a tail of modes so quick that it follows at once.
    """

    tau_s: NDArray[np.float64]
    weight: NDArray[np.float64]

    @property
    def mean_delay_s(self) -> float:
        """First moment of the response, Σ weight · tau: what one first-order lag should have."""
        return float(np.sum(self.tau_s * self.weight))

    def left(self, seconds: ArrayLike) -> NDArray[np.float64]:
        """Share of a step not yet followed after a time, any shape [s], above 0."""
        t = np.asarray(seconds, dtype=float)[..., np.newaxis]
        return np.asarray(np.sum(self.weight * np.exp(-t / self.tau_s), axis=-1))


@dataclass(frozen=True, slots=True)
class BagModes:
    """The modes of a bag's side at mid-height, of its core, and of its mean."""

    side: LagModes
    core: LagModes
    mean: LagModes


def cylinder_modes(
    shape: Cylinder,
    conductivity_w_per_m_k: float,
    heat_capacity_j_per_m3_k: float,
    films: Films,
    count: int = 12,
) -> BagModes:
    """Modes of a finite cylinder in air, as products of cylinder and slab modes.

    1/tau = α (ζ²/R² + η²/L²), weight = C_i J0(ζ_i r/R) · C_j cos(η_j z/L); L half the height.

    count   modes kept each way, 2 to 40
    Source  product solution (Carslaw and Jaeger 1959; Heisler 1947)
    Check   0.15 × 0.30 m, k 0.30, ρc 1.5e6, h 8: slowest tau 2.641 h; core left 0.6887 at
            2 h, 0.3457 at 4 h, 0.1665 at 6 h, 0.0789 at 8 h; side left 0.3174 at 2 h.
            One mode alone is good only past Fo 0.2 and says 0.7712 at 2 h
    Raises  ValueError for a constant not above 0 or a count outside 2 to 40
    """
    from scipy.special import j0, j1  # noqa: PLC0415 - heavy, and seldom needed

    k, half_m = conductivity_w_per_m_k, shape.height_m / 2.0
    if not (k > 0 and heat_capacity_j_per_m3_k > 0) or not 2 <= count <= 40:
        raise ValueError("modes need conductivity and heat capacity above 0, 2 to 40 of them")
    zeta = cylinder_eigenvalues(films.side_w_per_m2_k * shape.radius_m / k, count)
    eta = slab_eigenvalues(films.end_w_per_m2_k * half_m / k, count)
    across, along = cylinder_coefficients(zeta), slab_coefficients(eta)
    rate = (zeta[:, None] / shape.radius_m) ** 2 + (eta[None, :] / half_m) ** 2
    tau_s = (heat_capacity_j_per_m3_k / k / rate).ravel()
    order = np.argsort(-tau_s)

    def modes(radial: NDArray[np.float64], axial: NDArray[np.float64]) -> LagModes:
        return LagModes(tau_s[order], np.outer(across * radial, along * axial).ravel()[order])

    middle = np.ones(count)
    return BagModes(
        side=modes(j0(zeta), middle),
        core=modes(middle, middle),
        mean=modes(2.0 * j1(zeta) / zeta, np.sin(eta) / eta),
    )


@lru_cache(maxsize=256)
def lag_modes(bag: BagThermal) -> BagModes:
    """Modes of a described bag: the multi-exponential truth behind its `lag_s`.

    Check   the side's mean delay equals `bag.lag_s`, the core's `bag.core_lag_s`
    """
    return cylinder_modes(
        bag.shape,
        SUBSTRATES[bag.kind].conductivity_w_per_m_k,
        bag.heat_capacity_j_per_k / bag.shape.volume_m3,
        bag.films,
        count=40,
    )


def lumped_lag_s(heat_capacity_j_per_k: float, loss_w_per_k: float) -> float:
    """Time constant of a body warm alike throughout: C/(h A) [s].

    Valid   Biot number (on volume over area) below 0.1; a bag's is 0.8, so it misses there
    Check   0.15 × 0.30 m, ρc 1.5e6, h 8: 5625 s, and 30 °C in 24 °C air is 27.164 after 1 h
    Raises  ValueError for a loss not above 0
    """
    if not loss_w_per_k > 0 or heat_capacity_j_per_k < 0:
        raise ValueError("a lag needs a loss above 0 and a heat capacity of 0 or more")
    return heat_capacity_j_per_k / loss_w_per_k


def lumped_step_c(start_c: float, air_c: float, seconds: float, lag_s: float) -> float:
    """A lumped body after a time in steady air [°C]: exact, at any step.

    Check   bead with tau 1 s, 25 °C into 200 °C gas: 199 °C after 5.17 s (Incropera Ex. 5.1)
    Raises  ValueError for a lag not above 0 or a time below 0
    """
    if not lag_s > 0 or seconds < 0:
        raise ValueError("a step needs a lag above 0 and a time of 0 or more")
    return float(air_c + (start_c - air_c) * np.exp(-seconds / lag_s))
