"""Where each probe stands in tables that grow with the probes met."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray


class Slots:
    """A place for every probe ever met, in the order in which they were met."""

    def __init__(self) -> None:
        self._places: dict[str, int] = {}
        self._asked: tuple[list[str], NDArray[np.intp]] = ([], np.zeros(0, dtype=np.intp))

    def __len__(self) -> int:
        return len(self._places)

    def __iter__(self) -> Iterator[str]:
        return iter(self._places)

    def place(self, probe: str) -> int | None:
        """The place of one probe; None if it was never met."""
        return self._places.get(probe)

    def index(self, probes: Sequence[str]) -> NDArray[np.intp]:
        """The place of each of `probes`; one met for the first time gets the next.

        Frame after frame asks for the same probes, so the last answer is kept.
        """
        if self._asked[0] != probes:
            for probe in probes:
                self._places.setdefault(probe, len(self._places))
            places = [self._places[probe] for probe in probes]
            self._asked = (list(probes), np.array(places, dtype=np.intp))
        return self._asked[1]
