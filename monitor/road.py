"""The whole road from a reading to alarm events, pure: state is plain data, time is handed in.

    reading → quality flags → frame → local air → cohort and evidence → conditions → alarm life

Live, replay and tuning are three drivers of this one road.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from typing import Any

from monitor.judge.alarm_state import AlarmParams
from monitor.judge.alarms import Alarms
from monitor.judge.arrivals import Arrivals
from monitor.judge.calls import Calls
from monitor.judge.evidence import Judge, JudgeParams
from monitor.judge.frames import Frames, without
from monitor.judge.local_air import LagBank, interpolate_air
from monitor.judge.overheat import Overheat
from monitor.judge.probe_faults import ProbeFault, distrusted, misled
from monitor.judge.quality import Quality, QualityParams
from monitor.judge.room import RoomParams, RoomWatch
from monitor.judge.strain import Strain
from monitor.judge.sunlight import Sunlight
from monitor.judge.verdicts import thermal
from monitor.terms import COMES_BACK, LEAVES
from monitor.values import (
    AlarmCommand,
    AlarmEvent,
    Bag,
    BookEntry,
    Condition,
    Estimate,
    Evidence,
    Flagged,
    Frame,
    Probe,
    Reading,
)

#: A longer gap between closes means that nobody listened.
GAP_FRAMES = 1.5
Verdicts = Mapping[str, tuple[Estimate, Evidence]]


@dataclass(frozen=True, slots=True)
class Plan:
    """The bags and probes of the room as the book has them now."""

    bags: Mapping[str, Bag] = field(default_factory=dict)
    probes: Mapping[str, Probe] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class RoadParams:
    """Parameters of every stage, each a record beside the stage it serves."""

    frame_s: float = 600.0
    quality: QualityParams = field(default_factory=QualityParams)
    judge: JudgeParams = field(default_factory=JudgeParams)
    room: RoomParams = field(default_factory=RoomParams)
    alarms: AlarmParams = field(default_factory=AlarmParams)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a closed frame gave: the frame, verdicts by bag, probes at fault, alarm events."""

    frame: Frame
    verdicts: Verdicts
    faults: tuple[ProbeFault, ...]
    conditions: tuple[Condition, ...]
    events: tuple[AlarmEvent, ...]


class Road:
    """The road of one room. Feed readings, note the book, close frames; nothing else moves it."""

    def __init__(
        self,
        params: RoadParams,
        plan: Plan,
        strain_of: Callable[[str], Strain] = lambda name: Strain(name=name),
    ) -> None:
        self._params = params
        self._strain_of = strain_of
        self._plan = plan
        self._gone: set[str] = set()
        self._closed_s: float | None = None
        self._frames = Frames(params.frame_s)
        self._quality = Quality(
            replace(params.quality, frame_s=params.frame_s), plan.probes, plan.bags
        )
        self._arrivals = Arrivals()
        self._sunlight = Sunlight()
        self._lags = LagBank()
        self._lag_s = {name: thermal(bag).lag_s for name, bag in plan.bags.items()}
        self._judge = Judge(params.judge, strain_of)
        self._room = RoomWatch(params.room)
        self._overheat = Overheat()
        self._calls = Calls()
        self._alarms = Alarms(params.alarms)

    def replan(self, plan: Plan) -> None:
        """Take the book as it is now: bags and probes come, go and move."""
        self._plan = plan
        self._quality.plan(plan.probes, plan.bags)
        self._lag_s = {name: thermal(bag).lag_s for name, bag in plan.bags.items()}

    def feed(self, reading: Reading) -> Flagged:
        """Flag a reading and keep it for its frame if it is usable."""
        flagged = self._quality.check(reading)
        self._frames.add(flagged)
        return flagged

    def note(self, entry: BookEntry) -> None:
        """Take an entry of the book: what was done to a bag or seen of it."""
        if entry.event in LEAVES:
            self._gone.add(entry.bag)
        elif entry.event == COMES_BACK:
            self._gone.discard(entry.bag)
        self._judge.note(entry)

    def command(self, command: AlarmCommand) -> tuple[AlarmEvent, ...]:
        """What a person asks of an alarm."""
        return self._alarms.command(command)

    def close(self, end_s: float, house: tuple[Condition, ...] = ()) -> Outcome:
        """Close the frame that ends at `end_s`; `house` is what the monitor says of itself."""
        self._mind_gap(end_s)
        plan, bags = self._plan, self._live_bags(end_s)
        raw = self._frames.close(end_s, plan.probes)
        shelf_air_c = _air_at(raw, plan)
        aside = self._aside(raw, shelf_air_c)
        faults = self._quality.close(
            end_s,
            {
                name: air_c
                for name, probe in plan.probes.items()
                if (air_c := shelf_air_c(probe.shelf)) is not None
            },
            self._judge.handled(end_s),
            aside,
        )
        probes, apart = distrusted(faults, plan.probes)
        frame = without(raw, probes, apart | aside)
        sound_air_c = _air_at(frame, plan)
        local_air_c = {
            name: air_c
            for name, bag in bags.items()
            if (air_c := sound_air_c(bag.shelf)) is not None
        }
        lagged_air_c = self._lags.step(end_s, local_air_c, self._lag_s)
        verdicts = self._judge.step(frame, bags, local_air_c, lagged_air_c, misled(faults, apart))
        for name in aside & verdicts.keys() & raw.surface_c.keys():
            # not judged, but people see what its probe reads
            estimate, evidence = verdicts[name]
            seen = replace(estimate, surface_c=raw.surface_c[name].mean)
            verdicts[name] = (seen, evidence)
        conditions = self._conditions(frame, bags, verdicts, faults)
        events = self._alarms.step((*conditions, *house), end_s)
        self._closed_s = end_s
        return Outcome(frame, verdicts, faults, conditions, events)

    def _aside(
        self, raw: Frame, shelf_air_c: Callable[[int | None], float | None]
    ) -> frozenset[str]:
        """The bags whose surface tells of where they were, or of the sun, and not of the bag."""
        plan = self._plan
        surface_c = {name: mean.mean for name, mean in raw.surface_c.items()}
        air_c = {
            name: one_c
            for name, bag in plan.bags.items()
            if (one_c := shelf_air_c(bag.shelf)) is not None
        }
        arriving = self._arrivals.step(raw.end_s, surface_c, air_c, plan.bags)
        settled_c = {name: one_c for name, one_c in surface_c.items() if name not in arriving}
        return arriving | self._sunlight.step(raw.end_s, settled_c, air_c)

    def _conditions(
        self,
        frame: Frame,
        bags: Mapping[str, Bag],
        verdicts: Verdicts,
        faults: tuple[ProbeFault, ...],
    ) -> tuple[Condition, ...]:
        excess_k = {
            name: estimate.excess_k
            for name, (estimate, _) in verdicts.items()
            if estimate.excess_k is not None
        }
        estimates = {name: estimate for name, (estimate, _) in verdicts.items()}
        return (
            *self._room.step(
                frame, self._plan.probes, excess_k, self._arrivals.load_k(frame.end_s)
            ),
            *self._overheat.step(frame.end_s, estimates, bags, self._strain_of),
            *self._calls.step(frame.end_s, verdicts, bags, self._strain_of, faults),
            *self._judge.findings(),
        )

    def _live_bags(self, end_s: float) -> dict[str, Bag]:
        """Bags in their spawn run: inoculated, and not taken out."""
        return {
            name: bag
            for name, bag in self._plan.bags.items()
            if bag.inoculated_s < end_s and name not in self._gone
        }

    def _mind_gap(self, end_s: float) -> None:
        """After a gap in the frames nobody may call the probes silent for it."""
        if (
            self._closed_s is not None
            and end_s - self._closed_s > GAP_FRAMES * self._params.frame_s
        ):
            self._quality.was_dark(end_s - self._params.frame_s)

    def state(self) -> dict[str, Any]:
        """Everything `restore` needs to go on exactly, as plain data. The plan is not in it."""
        return {
            "gone": sorted(self._gone),
            "closed_s": self._closed_s,
            "frames": self._frames.state(),
            "quality": self._quality.state(),
            "arrivals": self._arrivals.state(),
            "sunlight": self._sunlight.state(),
            "lags": self._lags.state(),
            "judge": self._judge.state(),
            "room": self._room.state(),
            "overheat": self._overheat.state(),
            "calls": self._calls.state(),
            "alarms": self._alarms.state(),
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Go on from what `state` gave, under the plan this road was made with."""
        self._gone = set(state["gone"])
        self._closed_s = state["closed_s"]
        self._frames.restore(state["frames"])
        self._quality.restore(state["quality"])
        self._arrivals.restore(state["arrivals"])
        self._sunlight.restore(state["sunlight"])
        self._lags.restore(state["lags"])
        self._judge.restore(state["judge"])
        self._room.restore(state["room"])
        self._overheat.restore(state["overheat"])
        self._calls.restore(state["calls"])
        self._alarms.restore(state["alarms"])


def _air_at(frame: Frame, plan: Plan) -> Callable[[int | None], float | None]:
    """The frame's air by shelf."""
    points = [
        (None if (place := plan.probes[name]).shelf is None else float(place.shelf), mean.mean)
        for name, mean in sorted(frame.air_c.items())
        if name in plan.probes
    ]
    return cache(lambda shelf: interpolate_air(points, shelf))
