"""A night out of a folder in the replay format: the road runs over it, the review gathers."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, tzinfo
from pathlib import Path
from zoneinfo import ZoneInfo

from monitor.assemble import build_road, plan_of, with_offsets
from monitor.errors import FolderError
from monitor.judge.room import RoomParams
from monitor.replay import merged, settings_for
from monitor.review.gather import Gathering, earlier_hours, handled_of, nights_before
from monitor.review.night_nouns import NightData
from monitor.review.nights import Window
from monitor.road import Plan
from monitor.runner import Step, run, with_closes
from monitor.settings.schema import Settings
from monitor.sources.folder import Folder, iter_readings, read_folder
from monitor.terms import HOUR_S
from monitor.values import AlarmEvent, BookEntry, Estimate, Evidence, Reading


class Listener:
    """The sink of a replay that keeps what one night, and those before it, are told from."""

    def __init__(self, window: Window, plan: Plan, zone: tzinfo) -> None:
        self.window = window
        self.night = Gathering(window, plan)
        self.before = [Gathering(one, plan, 0.0) for one in nights_before(window, zone)]
        self.estimates: list[tuple[Estimate, Evidence | None]] = []
        self.earlier: list[tuple[Estimate, Evidence | None]] = []
        self.events: list[AlarmEvent] = []
        self._hours = frozenset(earlier_hours(window))

    def __call__(self, step: Step) -> None:
        """Take what came of one item."""
        self.events.extend(step.events)
        if step.flagged is not None and not step.flagged.reading.by_hand:
            one = step.flagged.reading
            for gathering in (self.night, *self.before):
                gathering.take(
                    one.probe,
                    one.quantity,
                    step.flagged.value,
                    one.measured_s,
                    step.flagged.flags,
                )
        if step.outcome is not None and step.outcome.frame.end_s % HOUR_S == 0:
            end_s = step.outcome.frame.end_s
            judged = [step.outcome.verdicts[bag] for bag in sorted(step.outcome.verdicts)]
            if self.window.start_s <= end_s <= self.window.end_s:
                self.estimates.extend(judged)
            elif end_s in self._hours:
                self.earlier.extend(judged)


def newest_reading_s(path: Path) -> float:
    """When the newest reading of a folder was taken. Raises FolderError where there is none."""
    newest_s = max(
        (one.measured_s for one in iter_readings(read_folder(path)) if one.measured_s is not None),
        default=None,
    )
    if newest_s is None:
        raise FolderError(str(path), "there is no reading in it", "name a folder with readings")
    return newest_s


def folder_night(
    path: Path,
    config_dir: Path | None,
    choose: Callable[[float, tzinfo], Window],
) -> tuple[NightData, str, str, tzinfo]:
    """A night of a folder, with the room's name, its degrees and its time zone.

    `choose` picks the window, given when the newest reading was taken. Raises FolderError and
    SettingsError.
    """
    settings = settings_for(config_dir)
    zone: tzinfo = ZoneInfo(settings.room.timezone) if settings else UTC
    window = choose(newest_reading_s(path), zone)
    folder = read_folder(path)
    probes = with_offsets(folder.probes, settings.probes) if settings else folder.probes
    plan = plan_of(folder.bags, probes)
    listener = Listener(window, plan, zone)
    frame_s = settings.frames.length_s if settings else 600.0
    run(build_road(settings, plan), with_closes(_up_to(folder, window), frame_s), listener)
    name = settings.room.name if settings else folder.path.name
    units = settings.room.units if settings else "C"
    return _data(listener, folder, plan, settings), name, units, zone


def _up_to(folder: Folder, window: Window) -> Iterator[Reading | BookEntry]:
    """What had arrived by the end of the window: what came later is another night's."""
    for item in merged(folder):
        arrived_s = item.received_s if isinstance(item, Reading) else item.at_s
        if arrived_s >= window.end_s:
            return
        yield item


def _data(listener: Listener, folder: Folder, plan: Plan, settings: Settings | None) -> NightData:
    band = (RoomParams().band_low_c, RoomParams().band_high_c)
    if settings is not None:
        band = (settings.room.band_low_c, settings.room.band_high_c)
    strains = sorted({bag.strain for bag in folder.bags.values()})
    return NightData(
        window=listener.window,
        band_c=band,
        bags=plan.bags,
        probes=plan.probes,
        air_c=listener.night.air_c(),
        humidity=listener.night.humidity(),
        surface_c=listener.night.surface_c(),
        heard=listener.night.heard(),
        estimates=tuple(listener.estimates),
        earlier=tuple(listener.earlier),
        events=tuple(listener.events),
        peak_h={} if settings is None else _peaks_h(settings, strains),
        before=tuple(level for one in listener.before if (level := one.level()) is not None),
        handled=handled_of(folder.book, listener.window),
    )


def _peaks_h(settings: Settings, strains: list[str]) -> dict[str, float]:
    return {name: settings.strains.lookup(name).prior.peak_h for name in strains}
