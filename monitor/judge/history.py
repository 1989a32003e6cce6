"""What the judge remembers of a room: one row for every three hours, one column for every bag.

A row holds each bag's mean warmth over its lagged local air and by what means it was read.
Rows are few and small, so the judge keeps them whole and draws every conclusion anew.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

#: By what means a row's value was read; 0 is not at all.
BY_PROBE, BY_HAND = 1, 2


class History:
    """Rows of warmth over lagged air [K], newest last; at most `most_rows`.

    `predicted` is what each bag's fit says of the rows, `ahead` (rows_ahead, bags) of the
    rows to come; both are written by whoever fits.
    """

    def __init__(self, row_s: float, most_rows: int, rows_ahead: int) -> None:
        self.row_s = row_s
        self.most_rows = most_rows
        self.bags: list[str] = []
        self.bins: list[int] = []
        self.excess: Array = np.zeros((0, 0))
        self.means: NDArray[np.int8] = np.zeros((0, 0), dtype=np.int8)
        self.predicted: Array = np.zeros((0, 0))
        self.ahead: Array = np.zeros((rows_ahead, 0))
        self._column: dict[str, int] = {}

    @property
    def hours(self) -> Array:
        """The middle of each row [h since 1970]."""
        return (np.array(self.bins, dtype=np.float64) + 0.5) * (self.row_s / 3600.0)

    def columns(self, bags: Iterable[str]) -> list[int]:
        """Column of each bag; a bag not met before gets one."""
        found = []
        for bag in bags:
            if bag not in self._column:
                self._column[bag] = len(self.bags)
                self.bags.append(bag)
                self._widen()
            found.append(self._column[bag])
        return found

    def column(self, bag: str) -> int | None:
        """Column of a bag; None of one not met yet."""
        return self._column.get(bag)

    def _widen(self) -> None:
        blank = np.full((len(self.bins), 1), np.nan)
        self.excess = np.concatenate([self.excess, blank], axis=1)
        self.predicted = np.concatenate([self.predicted, blank], axis=1)
        self.ahead = np.concatenate([self.ahead, np.full((len(self.ahead), 1), np.nan)], axis=1)
        none = np.zeros((len(self.bins), 1), dtype=np.int8)
        self.means = np.concatenate([self.means, none], axis=1)

    def append(self, number: int, values: Mapping[str, tuple[float, int]]) -> None:
        """Close the row `number` with (warmth [K], means) of each bag read in it."""
        columns = self.columns(sorted(values))
        excess = np.full(len(self.bags), np.nan)
        means = np.zeros(len(self.bags), dtype=np.int8)
        for column, bag in zip(columns, sorted(values), strict=True):
            excess[column], means[column] = values[bag]
        step = min(number - self.bins[-1], len(self.ahead)) if self.bins else 1
        expected = self.ahead[step - 1]
        tail = np.repeat(self.ahead[-1:], step, axis=0)
        self.ahead = np.concatenate([self.ahead[step:], tail])
        keep = slice(max(0, len(self.bins) + 1 - self.most_rows), None)
        self.bins = [*self.bins, number][keep]
        self.excess = np.vstack([self.excess, excess])[keep]
        self.means = np.vstack([self.means, means])[keep]
        self.predicted = np.vstack([self.predicted, expected])[keep]

    def take_back_probe(self, bag: str, since_s: float, until_s: float = np.inf) -> None:
        """Forget what a bag's probe told in rows that end after `since_s` and begin before
        `until_s`: it was at fault, or nobody knew yet that the bag was being moved."""
        column = self.column(bag)
        if column is not None:
            begins = np.array(self.bins, dtype=np.float64) * self.row_s
            told = (begins + self.row_s > since_s) & (begins < until_s)
            told &= self.means[:, column] == BY_PROBE
            self.excess[told, column] = np.nan
            self.means[told, column] = 0

    def forget(self, bags: Iterable[str]) -> None:
        """Drop the columns of bags that left long ago."""
        gone = set(bags)
        keep = [column for column, bag in enumerate(self.bags) if bag not in gone]
        if len(keep) == len(self.bags):
            return
        self.bags = [self.bags[column] for column in keep]
        self._column = {bag: column for column, bag in enumerate(self.bags)}
        self.excess = self.excess[:, keep]
        self.means = self.means[:, keep]
        self.predicted = self.predicted[:, keep]
        self.ahead = self.ahead[:, keep]

    def state(self) -> dict[str, Any]:
        """Plain data from which `restore` goes on exactly."""
        return {
            "bags": list(self.bags),
            "bins": list(self.bins),
            "excess": _plain(self.excess),
            "means": self.means.tolist(),
            "predicted": _plain(self.predicted),
            "ahead": _plain(self.ahead),
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Go on from what `state` gave."""
        self.bags = [str(bag) for bag in state["bags"]]
        self._column = {bag: column for column, bag in enumerate(self.bags)}
        self.bins = [int(number) for number in state["bins"]]
        shape = (len(self.bins), len(self.bags))
        self.excess = _array(state["excess"], shape)
        self.predicted = _array(state["predicted"], shape)
        self.ahead = _array(state["ahead"], (len(self.ahead), len(self.bags)))
        self.means = np.array(state["means"], dtype=np.int8).reshape(shape)


def _plain(values: Array) -> list[list[float | None]]:
    return [[None if np.isnan(value) else float(value) for value in row] for row in values]


def _array(rows: list[list[float | None]], shape: tuple[int, int]) -> Array:
    filled = [[np.nan if value is None else value for value in row] for row in rows]
    return np.array(filled, dtype=np.float64).reshape(shape)
