"""What the tuning commands share: rooms gathered from the store and folders, plain data out."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, fields, is_dataclass
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from monitor.cli.asking import open_card
from monitor.errors import StoreError
from monitor.judge.strain import Strain
from monitor.recount import of_folder, of_store
from monitor.review.account import Account, bags_of
from monitor.review.tune import Room
from monitor.review.tune_rooms import (
    Book,
    book_of,
    changed_midway,
    no_history,
    renamed,
    room_of,
)
from monitor.settings.schema import Settings
from monitor.sources.folder import read_folder

Progress = Callable[[float], None]


@dataclass
class Gathered:
    """Rooms with their books; `problem` says why there is nothing to tune by."""

    rooms: list[Room] = field(default_factory=list)
    strains: Mapping[str, Strain] = field(default_factory=dict)
    strangers: tuple[str, ...] = ()
    notes: list[str] = field(default_factory=list)
    problem: str = ""


def gather(
    settings: Settings, strain: str | None, folders: Sequence[Path], progress: Progress
) -> Gathered:
    """Everything the store and the folders know, recounted where it was not yet.

    strain  what is to be tuned, for the notes; None for all
    Raises  StoreError, FolderError
    """
    parts = 2 * (len(folders) + 1)
    accounts: list[tuple[Account, Book]] = []
    found = Gathered()
    if settings.store.path.exists():
        with open_card(settings) as store:
            account = of_store(store, settings, _part(progress, 0, parts))
            accounts.append((account, book_of(store)))
            if strain is not None:
                zone = ZoneInfo(settings.room.timezone)
                found.notes += changed_midway(strain, store, account, zone)
    elif not folders:
        raise StoreError(
            str(settings.store.path), "there is no store yet", "start `bagwatt watch`, or --folder"
        )
    for number, folder in enumerate(folders, start=1):
        account = of_folder(folder, settings, _part(progress, number, parts))
        accounts.append((account, _book_of_folder(folder, account)))
    every = [account for account, _ in accounts]
    names = {bag.strain for versions in bags_of(every).values() for bag in versions}
    found.strains = {name: settings.strains.lookup(name) for name in names}
    if strain is not None:
        found.problem = no_history(strain, every)
        if found.problem:
            return found
        found.notes += renamed(strain, every)
        if not found.strains[strain].known:
            found.notes.append(f"{strain} is not in strains.yaml: --apply writes it there")
    for number, (account, book) in enumerate(accounts):
        at = len(folders) + 1 + number
        room, strange = room_of(account, book, settings.strains.lookup, _part(progress, at, parts))
        found.rooms.append(room)
        found.strangers += strange
    return found


def _book_of_folder(path: Path, account: Account) -> Book:
    folder = read_folder(path)
    last = max((entry.at_s for entry in folder.book), default=0.0)
    span = account.span_s
    now_s = max(last, span[1] if span else 0.0)
    return Book(folder.bags, tuple(folder.book), {}, now_s)


def _part(progress: Progress, number: int, parts: int) -> Progress:
    return lambda share: progress((number + share) / parts)


def plain(value: Any) -> Any:
    """Dataclasses, enums, tuples and numbers as JSON has them; what is no number is null."""
    if is_dataclass(value) and not isinstance(value, type):
        return {one.name: plain(getattr(value, one.name)) for one in fields(value)}
    if isinstance(value, Mapping):
        return {str(key): plain(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [plain(inner) for inner in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
