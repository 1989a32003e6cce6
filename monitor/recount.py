"""The evidence of a store or a folder, told again by putting it on the road once more.

What was told is kept (`recount_file.py`), so the model runs once over each frame.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict
from hashlib import sha256
from pathlib import Path

from monitor.assemble import build_road, plan_of, with_offsets
from monitor.judge.strain import Strain
from monitor.recount_file import Kept, RecountFile
from monitor.replay import followed, merged
from monitor.resume import ROAD_FORMAT, Resumed, beginning, checkpoint_text, taken_up, with_items
from monitor.review.account import Account, FrameAccount
from monitor.review.predict import PREDICTED
from monitor.review.reach import Reach, near_c
from monitor.road import Outcome, Plan
from monitor.runner import Close, Step, take, with_closes
from monitor.settings.schema import Settings
from monitor.sources.folder import read_folder
from monitor.store import Reader
from monitor.terms import HOUR_S
from monitor.values import AlarmCommand, Bag, Evidence

Progress = Callable[[float], None]
StrainOf = Callable[[str], Strain]


class Recorder:
    """The sink of a recount: takes steps of the road, gives frames of an account."""

    def __init__(
        self,
        plan: Plan,
        strain_of: StrainOf,
        budgets: Mapping[str, float],
        before: Iterable[FrameAccount] = (),
    ) -> None:
        """A recount that begins with the bags of `plan`, under these budgets by strain, and
        goes on from the frames `before`."""
        self.frames: list[FrameAccount] = []
        self._plan = plan
        self._strain_of = strain_of
        self._commands: list[AlarmCommand] = []
        self._said: dict[str, Evidence] = {}
        self._bags: dict[str, Bag] = {}
        self._budgets = budgets
        self._reach = Reach.after(before, strain_of)

    def __call__(self, step: Step) -> None:
        """Take what came of one item."""
        if isinstance(step.item, Plan):
            self._plan = step.item
        elif isinstance(step.item, AlarmCommand):
            self._commands.append(step.item)
        elif isinstance(step.item, Close) and step.outcome is not None:
            self._frame(step.item, step.outcome)

    def _frame(self, close: Close, outcome: Outcome) -> None:
        verdicts = outcome.verdicts
        gone = tuple(sorted(self._bags.keys() - verdicts.keys()))
        for name in gone:
            del self._bags[name]
            self._said.pop(name, None)
            self._reach.forget(name)
        bags = {
            name: self._plan.bags[name]
            for name in verdicts
            if self._bags.get(name) != self._plan.bags[name]
        }
        self._bags.update(bags)
        evidence = {
            name: one for name, (_, one) in verdicts.items() if self._said.get(name) is not one
        }
        self._said.update(evidence)
        hourly = close.end_s % HOUR_S == 0
        others = [one for one in outcome.conditions if one.kind not in PREDICTED]
        cores_c = {
            name: estimate.core_c
            for name, (estimate, _) in verdicts.items()
            if estimate.core_c is not None
        }
        self.frames.append(
            FrameAccount(
                close.end_s,
                evidence,
                self._reach.step(close.end_s, cores_c, self._near_c),
                {
                    name: round(estimate.excess_k, 3)
                    for name, (estimate, _) in verdicts.items()
                    if hourly and estimate.excess_k is not None
                },
                bags,
                gone,
                outcome.faults,
                (*others, *close.house),
                tuple(self._commands),
                {} if self.frames else self._budgets,
            )
        )
        self._commands.clear()

    def _near_c(self, name: str) -> float:
        return near_c(self._strain_of(self._bags[name].strain))


def of_store(store: Reader, settings: Settings, progress: Progress = lambda share: None) -> Account:
    """The account of everything the store's log holds, and of what was recounted before.

    Raises StoreError where the store or the file beside it can't be read or written, or where
    another process is at it.
    """
    file = RecountFile(store.path, "room", _key(settings, store.times_put_by()))
    with file.alone():
        return _told_again(store, settings, file, progress)


def _told_again(
    store: Reader, settings: Settings, file: RecountFile, progress: Progress
) -> Account:
    kept = file.read()
    resumed, frames = _go_on(store, settings, kept)
    last = store.last_frame()
    strain_of = settings.strains.lookup
    recorder = Recorder(resumed.book.plan(), strain_of, _budgets(settings), frames)
    after_s = resumed.last_close.end_s if resumed.last_close else None
    end_s = after_s
    for _, items in with_items(store.iter_log(after_s), resumed.book, store):
        for item in items:
            step = take(resumed.road, item)
            recorder(step)
            if isinstance(item, Close):
                end_s = item.end_s
                _tell(progress, recorder, end_s, last.end_s if last else end_s)
                if last is not None and end_s >= last.end_s:
                    break
        if last is not None and end_s == last.end_s:
            break
    if recorder.frames and end_s is not None:
        state = checkpoint_text(resumed.road, resumed.book)
        file.append(frames, recorder.frames, end_s, state)
    return Account("room", (*frames, *recorder.frames))


def _tell(progress: Progress, recorder: Recorder, end_s: float, last_s: float) -> None:
    if len(recorder.frames) % 50 == 0:
        first_s = recorder.frames[0].end_s
        progress((end_s - first_s) / max(last_s - first_s, 1.0))


def _go_on(
    store: Reader, settings: Settings, kept: Kept
) -> tuple[Resumed, tuple[FrameAccount, ...]]:
    """The run where the kept account ends, else at the log's start with what is older."""
    if kept.state and kept.end_s is not None:
        try:
            return taken_up(store, settings, kept.state, kept.end_s), kept.frames
        except (LookupError, TypeError, ValueError, AttributeError):
            pass  # of another make: the log is recounted
    resumed = beginning(store, settings)
    if resumed.last_close is None:
        return resumed, ()
    older_s = resumed.last_close.end_s
    return resumed, tuple(frame for frame in kept.frames if frame.end_s <= older_s)


def of_folder(
    path: Path, settings: Settings | None, progress: Progress = lambda share: None
) -> Account:
    """The account of a folder in the replay format; nothing is kept of it.

    Raises FolderError.
    """
    folder = read_folder(path)
    probes = with_offsets(folder.probes, settings.probes) if settings else folder.probes
    plan = plan_of(folder.bags, probes)
    strain_of: StrainOf = settings.strains.lookup if settings else (lambda name: Strain(name=name))
    road = build_road(settings, plan)
    names = {bag.strain for bag in folder.bags.values()}
    budgets = {name: strain_of(name).false_calls_per_100 for name in names}
    recorder = Recorder(plan, strain_of, budgets)
    frame_s = settings.frames.length_s if settings else 600.0
    for item in followed(with_closes(merged(folder), frame_s), plan, settings):
        recorder(take(road, item))
        if isinstance(item, Close):
            progress(min(0.99, len(recorder.frames) / (len(recorder.frames) + 1000.0)))
    return Account(path.name, tuple(recorder.frames))


def _budgets(settings: Settings) -> dict[str, float]:
    book = settings.strains
    known = {name: one.false_calls_per_100 for name, one in book.strains.items()}
    return known | {"": book.generic.false_calls_per_100}


def _key(settings: Settings, times_put_by: int) -> str:
    """What the evidence hangs on: everything but the thresholds that are tried on it.

    Frames that were put by may be closed a second time, so that their number says nothing.
    """
    book = settings.strains
    strains = [_without_thresholds(one) for _, one in sorted(book.strains.items())]
    parts = (
        ROAD_FORMAT,
        settings.frames.length_s,
        settings.room.model_dump_json(include={"band_low_c", "band_high_c"}),
        _without_thresholds(book.generic),
        strains,
        *([times_put_by] if times_put_by else []),
    )
    return sha256(repr(parts).encode()).hexdigest()[:16]


def _without_thresholds(strain: Strain) -> Iterable[object]:
    """Of core limits only the lowest matters: cores are kept from somewhat below it."""
    tried = ("least_excess_k", "false_calls_per_100", "hold_s", "core_limits")
    parts = [part for name, part in sorted(asdict(strain).items()) if name not in tried]
    return [*parts, near_c(strain)]
