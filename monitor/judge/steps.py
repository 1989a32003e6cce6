"""A bag moved with nothing in the book: a step too fast for its own heat.

A bag set on another shelf goes to its new air by its lag of a few hours and stays there. Heat of
its own grows for half a day and more. Both are weighed for every bag that seems hot or stalled.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class StepParams:
    """How a move is recognised.

    `odds` that a bag is moved unbooked in a run, one moment in `planned_moments`; `size_k` (1 sd)
    between two places of a room; `lag_h` of a bag and `contact`, the share of it in its probe's
    reading, the rest being air; moments `every_h` back to `reach_h`, after which a move must
    have been recognised: its odds are then `surely` nats, and as many above those of heat. It is
    looked for in bags with `worth` nats for added or lost heat.
    """

    odds: float = 0.01
    planned_moments: float = 200.0
    size_k: float = 0.8
    lag_h: float = 2.5
    contact: float = 0.85
    every_h: float = 1.5
    reach_h: float = 30.0
    surely: float = 3.0
    worth: float = 2.0

    @property
    def log_prior(self) -> float:
        """Log prior odds of a move at one moment."""
        return float(np.log(self.odds / self.planned_moments))


def moments(last_h: float, row_h: float, params: StepParams) -> Array:
    """Moments at which a bag may have been moved [h], up to the end of the row at `last_h`."""
    end_h = last_h + 0.5 * row_h
    return end_h - np.arange(params.reach_h, 0.0, -params.every_h)


def step_shapes(hours: Array, at_h: Array, row_h: float, params: StepParams) -> Array:
    """A step of 1 K at each moment `at_h`, as the rows at `hours` of length `row_h` hold it: their
    means of 1 - contact exp(-t / lag) from the moment on; (rows, moments)."""
    first = hours[:, None] - 0.5 * row_h - at_h
    since, until = np.maximum(first, 0.0), np.maximum(first + row_h, 0.0)
    short = np.exp(-since / params.lag_h) - np.exp(-until / params.lag_h)
    return np.asarray((until - since - params.contact * params.lag_h * short) / row_h)
