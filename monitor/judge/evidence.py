"""The judge: every bag beside its cohort without itself, for added heat and for lost heat.

Frames gather into rows of three hours. When a row closes, what the whole room shares is taken
off and each cohort is looked at anew (`panel`), a few cohorts a frame so that no frame is
slow. Between looks the last verdicts stand and only the estimates move.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Container, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from monitor.judge.curve import Grid, make_grid
from monitor.judge.flanks import lent_k, usually_lent_k
from monitor.judge.gathering import Gathering
from monitor.judge.handling import Handling
from monitor.judge.history import BY_HAND, BY_PROBE, History
from monitor.judge.kept import KeptCohort
from monitor.judge.looks import STRETCHES, Beliefs, Look, Panel
from monitor.judge.lots import judge_lot
from monitor.judge.neighbours import Places
from monitor.judge.outlook import Outlook, estimate_bag
from monitor.judge.panel import look, search
from monitor.judge.params import JudgeParams
from monitor.judge.room_noise import RoomNoise
from monitor.judge.sessions import Session, sessions
from monitor.judge.shared import lots_of, mostly_by, room_share
from monitor.judge.shelf_air import ShelfAir
from monitor.judge.spread import typical
from monitor.judge.strain import HeatPrior, Strain
from monitor.judge.verdicts import Around, Standing, weigh_bag
from monitor.terms import HOUR_S
from monitor.values import Bag, BookEntry, Condition, Estimate, Evidence, Frame

__all__ = ["Judge", "JudgeParams"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class _Said:
    """What follows of a bag from how it stands, for as long as that is so."""

    bag: Bag
    standing: Standing | None
    handled: bool
    evidence: Evidence
    outlook: Outlook | None

    def still(self, bag: Bag, standing: Standing | None, handled: bool) -> bool:
        """Whether nothing about the bag is new."""
        return self.standing is standing and self.handled is handled and self.bag is bag


class Judge:
    """Judges the bags of one room; `step` at every frame's close, `note` for the book."""

    def __init__(
        self, params: JudgeParams | None = None, strain_of: Callable[[str], Strain] | None = None
    ) -> None:
        self._params = params or JudgeParams()
        self._strain_of = strain_of or (lambda name: Strain(name=name))
        self._history = History(self._params.row_s, self._params.most_rows, self._params.rows_ahead)
        self._handling = Handling()
        self._gathering = Gathering(self._params.row_s, self._params.warm_up_s)
        self._shelves = ShelfAir()
        self._misled: set[str] = set()
        self._noise = RoomNoise(self._params)
        self._shared: Array = np.zeros(0)
        self._pending: list[str] = []
        self._cohorts: dict[str, KeptCohort] = {}
        self._standing: dict[str, Standing] = {}
        self._carried: dict[str, float] = {}
        self._said: dict[str, _Said] = {}
        self._grids: dict[tuple[float, float, float], Grid] = {}

    def note(self, entry: BookEntry) -> None:
        """Take what was done to a bag; a handled bag's offset starts anew, its evidence stays."""
        shaken_s = self._handling.shaken_s.get(entry.bag)
        if self._handling.note(entry):
            self._gathering.drop(entry.bag, by_hand=True)
        if self._handling.shaken_s.get(entry.bag) != shaken_s and entry.bag in self._standing:
            # what is read from now on can't show what was there before
            self._carried[entry.bag] = max(0.0, self._standing[entry.bag].hot)

    def handled(self, now_s: float) -> set[str]:
        """Bags that were handled a short while ago."""
        return self._handling.handled(now_s)

    def findings(self) -> tuple[Condition, ...]:
        """What stands about whole cohorts: a lot apart, a cohort that looks like two."""
        found = (kept.finding(cohort) for cohort, kept in sorted(self._cohorts.items()))
        return tuple(condition for condition in found if condition is not None)

    def step(
        self,
        frame: Frame,
        bags: Mapping[str, Bag],
        local_air_c: Mapping[str, float],
        lagged_air_c: Mapping[str, float],
        misled_s: Mapping[str, float],
    ) -> dict[str, tuple[Estimate, Evidence]]:
        """Take a closed frame; the verdict on every bag of `bags` at its end.

        `local_air_c`, `lagged_air_c` by bag [°C]; `misled_s` since when [s] the probes of
        bags told what was never so: that, and what came shortly before it, is taken back.
        """
        self._doubt(misled_s, frame.end_s)
        self._shelves.take(lagged_air_c)
        self._gathering.gather(frame, bags, lagged_air_c, self._handling)
        self._close_row(frame, bags)
        self._look_some(frame, bags)
        surface_c = {hand.bag: hand.surface_c for hand in frame.hand}
        surface_c.update((name, mean.mean) for name, mean in frame.surface_c.items())
        handled = self.handled(frame.end_s)
        verdicts = {}
        for name, bag in bags.items():
            said = self._say(bag, name in handled)
            estimate = estimate_bag(
                name,
                frame.end_s,
                surface_c.get(name),
                local_air_c.get(name),
                lagged_air_c.get(name),
                said.outlook,
            )
            verdicts[name] = (estimate, said.evidence)
        return verdicts

    def _say(self, bag: Bag, handled: bool) -> _Said:
        """What is said of the bag; made anew only when something about it is new."""
        standing = self._standing.get(bag.bag)
        said = self._said.get(bag.bag)
        if said is None or not said.still(bag, standing, handled):
            params = self._params.verdict
            said = self._said[bag.bag] = _Said(
                bag,
                standing,
                handled,
                weigh_bag(bag, standing, handled, self._strain_of(bag.strain), params),
                Outlook.of(bag, standing, params),
            )
        return said

    def _doubt(self, misled_s: Mapping[str, float], end_s: float) -> None:
        """Take back what probes at fault told; a verdict that leans on it goes with it."""
        for bag in sorted(misled_s.keys() - self._misled):
            since_s = min(misled_s[bag], end_s) - self._params.take_back_s
            self._history.take_back_probe(bag, since_s)
            self._gathering.drop(bag, by_hand=False)
            self._standing.pop(bag, None)
        for bag in sorted(self._misled - misled_s.keys()):
            self._handling.restart(bag, end_s)
        self._misled = set(misled_s)

    def _close_row(self, frame: Frame, bags: Mapping[str, Bag]) -> None:
        """Close the open row once its time is over, and put every cohort read in it on the list."""
        closed = self._gathering.close(frame.end_s)
        if closed is None or not closed[1]:
            return
        number, values = closed
        self._history.append(number, values)
        sessions_now = self._sessions(bags)
        self._forget(frame.end_s, bags, sessions_now)
        self._shared = self._share(bags)
        self._noise.row_closed(self._history, self._shared)
        warmth = {
            cohort: [values[name][0] for name in session.bags if name in values]
            for cohort, session in sessions_now.items()
        }
        # Neither names nor their order may matter, so cohorts queue by what was read of them.
        read = [cohort for cohort, warm_k in warmth.items() if warm_k]
        self._pending = sorted(read, key=lambda cohort: sorted(warmth[cohort]))

    def _forget(self, end_s: float, bags: Mapping[str, Bag], live: Container[str]) -> None:
        """Drop bags that left long ago, and what is kept of cohorts that are not `live`."""
        history = self._history
        old = history.hours * HOUR_S < end_s - self._params.forget_s
        recent = np.asarray(np.isfinite(history.excess[~old]).any(axis=0)).tolist()
        gone = [
            bag
            for bag, seen in zip(history.bags, recent, strict=True)
            if not seen and bag not in bags
        ]
        history.forget(gone)
        for bag in gone:
            self._gathering.forget(bag)
            self._standing.pop(bag, None)
            self._carried.pop(bag, None)
            self._said.pop(bag, None)
            self._noise.forget(bag)
            self._handling.forget(bag)
        self._shelves.keep(bags)
        self._cohorts = {name: kept for name, kept in self._cohorts.items() if name in live}

    def _share(self, bags: Mapping[str, Bag]) -> Array:
        """What all bags of the room share in each row [K]."""
        means = mostly_by(self._history)
        noise, slow_h = self._noise.of(means), self._params.slow_h
        level_k = float(np.hypot(noise.white_k, noise.wander_k))
        return room_share(self._history, lots_of(self._history, bags), means, level_k, slow_h)

    def _look_some(self, frame: Frame, bags: Mapping[str, Bag]) -> None:
        """Look at the next cohorts on the list, a tenth of the room's bags at most a frame."""
        if not self._pending:
            return
        sessions_now = self._sessions(bags)
        frames = max(1.0, self._params.row_s / frame.length_s - 2.0)
        quota = max(12.0, len(bags) / frames)
        places = Places(bags)
        while self._pending and quota > 0:
            session = sessions_now.get(self._pending.pop(0))
            if session is not None:
                self._look_at(session, bags, places, frame.end_s)
                quota -= len(session.bags)

    def _sessions(self, bags: Mapping[str, Bag]) -> dict[str, Session]:
        return sessions(bags, self._handling.shaken_s)

    def _look_at(
        self, session: Session, bags: Mapping[str, Bag], places: Places, end_s: float
    ) -> None:
        history, members = self._history, session.bags
        strain = self._strain_of(bags[members[0]].strain)
        prior = session.prior(strain.prior)
        kept = self._cohorts.setdefault(session.name, KeptCohort.begun(prior))
        kept.members, kept.strain = members, strain.name
        columns = history.columns(members)
        lent = usually_lent_k(history, members, bags, places)
        panel = self._panel(session, columns, lent, kept.course.peak_h)
        by_hand = bool((history.means[:, columns] == BY_HAND).any())
        means = BY_HAND if by_hand else BY_PROBE
        spread = session.spread(self._params.spread)
        beliefs = Beliefs(prior, spread, self._noise.of(means), kept.course)
        points = self._points(kept, panel, self._grid(strain.prior), beliefs)
        found = look(panel, points, beliefs, self._params.look)
        carried = [self._carried.get(name, 0.0) for name in members]
        lent_too = np.pad(lent, ((0, len(panel.ahead)), (0, 0)), mode="edge")
        found = replace(found, hot=found.hot + carried, fit=found.fit + lent_too)
        kept.course = found.course
        since = int(np.searchsorted(panel.hours, panel.begun_h)) if session.shaken else 0
        history.predicted[since:, columns] = found.fit[since : len(panel.hours)]
        history.ahead[:, columns] = found.fit[len(panel.hours) :]
        seen = np.asarray(np.isfinite(panel.excess[-9:]).any(axis=0))
        for place in np.flatnonzero(seen) if means == BY_PROBE else ():
            self._noise.surprised(members[place], found.surprise[place])
        self._stand(members, bags, places, end_s, panel, found, seen)
        self._recognise_moves(members, found)
        kept.said = "" if session.shaken else self._said_of_lot(kept, panel, strain)

    def _points(self, kept: KeptCohort, panel: Panel, grid: Grid, beliefs: Beliefs) -> Grid:
        """The points of the grid worth a close look; the whole is searched now and then."""
        params, now_h = self._params, float(panel.hours[-1])
        due_h = max(params.search_h, params.search_share * (now_h - panel.begun_h))
        if not kept.points or now_h - kept.searched_h >= due_h:
            found = search(panel.thinned(params.thin_rows), grid, beliefs, params.look)
            kept.points, kept.searched_h = [int(point) for point in found], now_h
        return grid.subset(np.array(kept.points))

    def _stand(
        self,
        members: list[str],
        bags: Mapping[str, Bag],
        places: Places,
        end_s: float,
        panel: Panel,
        found: Look,
        seen: NDArray[np.bool_],
    ) -> None:
        """How each bag stands after a look at its cohort."""
        lent = {
            name: lent_k(bags[name], places, self._standing)
            for name, hot in zip(members, found.hot, strict=True)
            if hot > 0.0
        }
        warm_k = (found.fit[len(panel.hours) - 1] - found.offset_k)[seen]
        usual_k = float(np.median(warm_k)) if len(warm_k) else 0.0
        drift_k = typical(self._shared)
        for place, name in enumerate(members):
            before = self._standing.get(name)
            if before and self._handling.rests(name, end_s):
                continue  # what stood before it was shaken stands until it grows again
            around = Around(lent.get(name, 0.0), usual_k, drift_k)
            self._standing[name] = Standing.of(before, end_s, found, place, panel, seen, around)

    def _said_of_lot(self, kept: KeptCohort, panel: Panel, strain: Strain) -> str:
        """What is said of the whole cohort, empty if nothing."""
        standings = [self._standing[name] for name in kept.members]
        warm = [one.over_air_k for one in standings if one.over_air_k is not None]
        age_h = float(panel.hours[-1]) - panel.begun_h
        level_k = float(np.median(warm)) if warm else 0.0
        reason = judge_lot(kept.course, standings, age_h, level_k, strain, self._params.lot)
        return reason.value if reason else ""

    def _recognise_moves(self, members: list[str], found: Look) -> None:
        """Begin the offset of bags anew that were moved for sure, as if the book had said so."""
        surely, verdict = self._params.look.move.surely, self._params.verdict
        hot = found.hot + math.log(verdict.hot_prior_odds)
        stalled = found.stalled + math.log(verdict.stalled_prior_odds)
        sure = (found.moved >= surely) & (np.maximum(hot, stalled) <= -surely)
        for place in np.flatnonzero(sure):
            bag, at_s = members[place], float(found.moved_h[place]) * HOUR_S
            self._history.take_back_probe(bag, at_s, self._handling.recognise_move(bag, at_s))

    def _panel(self, session: Session, columns: list[int], lent: Array, peak_h: float) -> Panel:
        history, members = self._history, session.bags
        hours = history.hours
        row_h = self._params.row_s / HOUR_S
        excess = history.excess[:, columns] - self._shared[:, None] - lent
        if session.shaken:
            excess[hours * HOUR_S < session.begun_s] = np.nan
        means = history.means[:, columns].astype(np.int64)
        stretch = means * STRETCHES + np.stack(
            [self._handling.stretches(name, hours * HOUR_S) for name in members], axis=1
        )
        return Panel(
            hours=hours,
            ahead=hours[-1] + row_h * np.arange(1.0, self._params.rows_ahead + 1.0),
            begun_h=session.begun_s / HOUR_S,
            excess=excess,
            white=self._noise.white(history.means[:, columns], self._shared),
            stretch=stretch,
            lead_h=self._shelves.lead_h(members, peak_h),
            counts_until_h=np.array([self._counts_until_h(name) for name in members]),
        )

    def _counts_until_h(self, bag: str) -> float:
        """Up to when what is read of the bag tells what its mates should be like [h]."""
        standing, params = self._standing.get(bag), self._params
        if standing is None or standing.hot < params.set_aside_nats:
            return math.inf
        return standing.onset_h - params.set_aside_h

    def _grid(self, prior: HeatPrior) -> Grid:
        """The curve grid of a strain: wide enough for its slowest run."""
        last_h = max(360.0, prior.peak_h + 3.0 * prior.peak_h_sd)
        step_h = max(4.0, last_h / 90.0)
        key = (last_h, step_h, prior.most_rise_share)
        if key not in self._grids:
            self._grids[key] = make_grid(last_h=last_h, step_h=step_h, most_share=key[2])
        return self._grids[key]

    def state(self) -> dict[str, Any]:
        """Plain data from which `restore` goes on exactly."""
        return {
            "history": self._history.state(),
            "handling": self._handling.state(),
            "gathering": self._gathering.state(),
            "shelves": self._shelves.state(),
            "misled": sorted(self._misled),
            "noise": self._noise.state(),
            "shared": [float(value) for value in self._shared],
            "pending": list(self._pending),
            "cohorts": {name: kept.plain() for name, kept in self._cohorts.items()},
            "carried": dict(self._carried),
            "standing": {name: one.plain() for name, one in self._standing.items()},
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Go on from what `state` gave."""
        self._history.restore(state["history"])
        self._handling.restore(state["handling"])
        self._gathering.restore(state["gathering"])
        self._shelves.restore(state["shelves"])
        self._misled = set(state["misled"])
        self._noise.restore(state["noise"])
        self._shared = np.array(state["shared"], dtype=np.float64)
        self._pending = list(state["pending"])
        self._cohorts = {
            name: KeptCohort.from_plain(kept) for name, kept in state["cohorts"].items()
        }
        self._carried = dict(state["carried"])
        self._standing = {name: Standing.from_plain(one) for name, one in state["standing"].items()}
