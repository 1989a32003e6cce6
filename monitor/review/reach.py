"""Which cores an account keeps: those near enough to a limit that some limit might turn on them."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Mapping

from monitor.judge.strain import Strain
from monitor.review.account import FrameAccount

#: A bag is in reach from the first core this far below its strain's lowest limit [K] …
NEAR_K = 4.0
#: … until it has been below that for as long as it was above, and this much longer [s]: by then
#: `judge.overheat` has forgotten whatever it had counted over any limit that is higher.
TAIL_S = 6 * 3600.0
#: Longer without a core, and no time is counted down (`OverheatParams.longest_gap_s`).
LONGEST_GAP_S = 3600.0
#: One that climbs is in reach sooner: `judge.overheat` draws its rise of the last hours on by half
#: a day, and must have seen all of that rise.
PACE_S, LEAST_PACE_S, AHEAD_S = 6 * 3600.0, 2 * 3600.0, 18 * 3600.0


def near_c(strain: Strain) -> float:
    """From which core on a bag of the strain is in reach [°C]."""
    return min(limit.core_c for limit in strain.core_limits) - NEAR_K


class Reach:
    """Keeps each bag that came near a limit, or climbs towards it, for as long as it may matter."""

    def __init__(self) -> None:
        self._bags: dict[str, tuple[float, float]] = {}
        self._recent: dict[str, deque[tuple[float, float]]] = {}

    def step(
        self, end_s: float, cores_c: Mapping[str, float], floor_c: Callable[[str], float]
    ) -> dict[str, float]:
        """The cores of the frame that are kept; `floor_c` of a bag as `near_c` gives it."""
        return {
            bag: core_c
            for bag, core_c in cores_c.items()
            if self._in_reach(bag, end_s, core_c, floor_c(bag), self._climb_k(bag, end_s, core_c))
        }

    def _in_reach(
        self, bag: str, end_s: float, core_c: float, floor_c: float, climb_k: float
    ) -> bool:
        warm, climbs = core_c >= floor_c, core_c + climb_k >= floor_c
        if bag not in self._bags and not climbs:
            return False
        left_s, seen_s = self._bags.get(bag, (TAIL_S, end_s))
        passed_s = end_s - seen_s
        if warm:
            left_s += passed_s
        elif passed_s <= LONGEST_GAP_S:
            left_s -= passed_s
        if climbs:
            left_s = max(left_s, TAIL_S)
        if left_s <= 0:
            del self._bags[bag]
            return False
        self._bags[bag] = (left_s, end_s)
        return True

    def _climb_k(self, bag: str, end_s: float, core_c: float) -> float:
        """How far the bag would climb in `AHEAD_S` at the pace of the last hours [K]."""
        recent = self._recent.setdefault(bag, deque())
        recent.append((end_s, core_c))
        while end_s - recent[0][0] > PACE_S:
            recent.popleft()
        began_s, began_c = recent[0]
        if end_s - began_s < LEAST_PACE_S:
            return 0.0
        return max(0.0, AHEAD_S * (core_c - began_c) / (end_s - began_s))

    def forget(self, bag: str) -> None:
        """The bag left the room."""
        self._bags.pop(bag, None)
        self._recent.pop(bag, None)

    @staticmethod
    def after(frames: Iterable[FrameAccount], strain_of: Callable[[str], Strain]) -> Reach:
        """As it was after these frames, so that an account can go on."""
        reach = Reach()
        floors: dict[str, float] = {}
        last: Mapping[str, float] = {}
        for frame in frames:
            for bag in frame.gone:
                reach.forget(bag)
            for name, bag_now in frame.bags.items():
                floors[name] = near_c(strain_of(bag_now.strain))
            for name, core_c in frame.core_c.items():  # what was kept was in reach
                reach._bags.setdefault(name, (TAIL_S, frame.end_s))
                climb_k = reach._climb_k(name, frame.end_s, core_c)
                reach._in_reach(name, frame.end_s, core_c, floors[name], climb_k)
            last = frame.core_c
        for name in reach._bags.keys() - last.keys():
            if reach._bags[name][0] <= LONGEST_GAP_S:  # it had run out, and was kept no more
                reach.forget(name)
        return reach
