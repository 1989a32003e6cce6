"""Try settings, folder, store, sources, page, mirror, neighbours, channels; say what is wrong.

Every fault of the settings is told at once, each with file, line and column. Sources are
opened for a few seconds as `watch` would open them. Beside a running `watch` a broker is heard
under a client id of its own, and takes nothing from it; a serial port `watch` keeps to itself,
so check before you start it. With --send each recipient gets a test message.
Exit code 0: all well; 2: unusable settings; 3: something wants a person.
"""

from __future__ import annotations

import argparse
import os
import queue
import time
import uuid
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, tzinfo
from pathlib import Path
from zoneinfo import ZoneInfo

from monitor.book.standing import place_of
from monitor.channels import build_channels, usable
from monitor.cli.asking import outage_of, outage_text
from monitor.cli.exits import Exit
from monitor.cli.terminal import GREEN, RED, YELLOW, paint, say, say_json
from monitor.clock import Clock, SystemClock
from monitor.errors import BagwattError
from monitor.mirror.points import tried
from monitor.mirror.server import Server, Word
from monitor.neighbours.trial import try_neighbours
from monitor.settings.load import load_settings
from monitor.settings.schema import Settings
from monitor.sources import build_source
from monitor.sources.folder import Folder, read_folder
from monitor.sources.source import Packet, Source
from monitor.store import open_reader
from monitor.store.spare_place import doubt, places
from monitor.terms import DAY_S
from monitor.values import Flag, Message, Urgency, Verdict
from monitor.words.naming import cohort_in_words
from monitor.words.quantities import counted

LISTEN_S = 3.0
CLOCK_APART_S = 120.0
STILL_CONNECTING_S = 0.1


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing tried: `state` is ok, note or wrong."""

    what: str
    state: str
    detail: str


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of `bagwatt check`."""
    parser.add_argument("--config", type=Path, required=True, help="settings folder")
    parser.add_argument("--send", action="store_true", help="send each recipient a test message")
    parser.add_argument(
        "--listen",
        type=float,
        default=LISTEN_S,
        metavar="SECONDS",
        help=f"how long to listen to each source (default {LISTEN_S:g})",
    )
    parser.add_argument("--json", action="store_true", help="print what was found as JSON")


def run(arguments: argparse.Namespace) -> Exit:
    """Try everything and print what was found."""
    settings = load_settings(arguments.config, os.environ)
    findings = []
    for finding in look(settings, arguments.listen, arguments.send):
        findings.append(finding)
        if not arguments.json:
            colour = {"ok": GREEN, "note": YELLOW, "wrong": RED}[finding.state]
            say(f"{paint(finding.state.ljust(5), colour)}  {finding.what}: {finding.detail}")
    wrong = any(finding.state == "wrong" for finding in findings)
    if arguments.json:
        rows = [{"what": one.what, "state": one.state, "detail": one.detail} for one in findings]
        say_json({"wrong": wrong, "findings": rows})
    return Exit.FOUND if wrong else Exit.DONE


def look(settings: Settings, listen_s: float, send: bool) -> Iterator[Finding]:
    """Everything tried, as it is found."""
    clock = SystemClock()
    yield Finding("settings", "ok", f"{settings.room.name}, all values understood")
    for note in settings.notes:
        yield Finding("settings", "note", note)
    yield of_clock(clock)
    yield from of_folder(settings, clock)
    yield from of_store(settings)
    yield of_spare(settings)
    for one in settings.sources:
        yield of_source(build_source(one, clock, trial=True), clock, listen_s)
    if not settings.sources:
        yield Finding("sources", "note", "none in the settings: only hand readings will come")
    yield from of_page(settings)
    yield from of_mirror(settings, clock)
    yield from of_neighbours(settings, clock)
    yield from of_channels(settings, clock, send)


def of_clock(clock: Clock) -> Finding:
    """Whether the wall clock is known to be right."""
    if clock.synced():
        return Finding("clock", "ok", "synchronised")
    return Finding("clock", "note", "not known to be synchronised: see `timedatectl`")


def of_folder(settings: Settings, clock: Clock) -> Iterator[Finding]:
    """Bags and probes of the room's folder."""
    if settings.room.folder is None:
        yield Finding("room folder", "note", "none: the book's commands say what is in the room")
        return
    try:
        folder = read_folder(settings.room.folder)
    except BagwattError as error:
        yield Finding("room folder", "wrong", str(error))
        return
    strains = sorted({bag.strain for bag in folder.bags.values()})
    unknown = [name for name in strains if not settings.strains.lookup(name).known]
    yield Finding("room folder", "ok", _size(folder))
    for skip in folder.skips.rows:
        detail = f"{skip.file}:{skip.line}: {skip.reason}: {skip.detail}"
        yield Finding("room folder", "wrong", detail)
    now_s, zone = clock.wall_s(), ZoneInfo(settings.room.timezone)
    for text in (*_doubts(folder), *_days_ahead(folder, now_s, zone)):
        yield Finding("room folder", "note", text)
    for name in unknown:
        yield Finding("strains", "note", f"{name} is not in strains.yaml: judged generically")
    sizes = Counter(bag.cohort for bag in folder.bags.values())
    for cohort, size in sorted(sizes.items()):
        if size < 4:
            named = cohort_in_words(cohort, zone, now_s)
            text = f"{named} has {counted(size, 'bag', 'bags')}: under three peers to compare with"
            yield Finding("cohorts", "note", text)


def _days_ahead(folder: Folder, now_s: float, zone: tzinfo) -> Iterator[str]:
    """Bags that are not inoculated yet by what is written of them: nothing is judged of those."""
    for bag in folder.bags.values():
        if bag.inoculated_s > now_s + DAY_S:
            day = datetime.fromtimestamp(bag.inoculated_s, zone).date()
            yield f"bags.csv: {bag.bag} is inoculated on {day}, days ahead: mend the date"


def _doubts(folder: Folder) -> Iterator[str]:
    """What two rows say of each other that can hardly be meant."""
    slots: dict[str, list[str]] = {}
    for bag in folder.bags.values():
        if bag.rack and bag.slot is not None:
            slots.setdefault(str(place_of(bag)), []).append(bag.bag)
    for place, bags in sorted(slots.items()):
        if len(bags) > 1:
            yield f"bags.csv: {', '.join(bags)} stand in one slot, {place}"
    for bag in folder.bags.values():
        there = folder.probes.get(bag.probe)
        if there is not None and there.bag != bag.bag:
            where = f"on {there.bag}" if there.bag else "in the air"
            yield f"bags.csv has {bag.probe} on {bag.bag}, probes.csv {where}: mend one of them"
    for probe in folder.probes.values():
        if probe.bag and probe.bag not in folder.bags:
            yield f"probes.csv: {probe.probe} hangs on {probe.bag}, which bags.csv does not have"


def _size(folder: Folder) -> str:
    bags, probes = len(folder.bags), len(folder.probes)
    return f"{counted(bags, 'bag', 'bags')}, {counted(probes, 'probe', 'probes')}"


def of_store(settings: Settings) -> Iterator[Finding]:
    """The store, if there is one yet."""
    path = settings.store.path
    if not path.exists():
        writable = os.access(path.parent, os.W_OK)
        state, detail = (
            ("ok", "will be made") if writable else ("wrong", "its folder can't be written")
        )
        yield Finding("store", state, f"{path}: {detail}")
        return
    try:
        with open_reader(path) as store:
            counts = store.counts()
    except BagwattError as error:
        yield Finding("store", "wrong", str(error))
        return
    standing = counted(counts.standing, "alarm", "alarms")
    readings = counted(counts.readings, "reading", "readings")
    text = f"{readings}, {counted(counts.frames, 'frame', 'frames')}, {standing} standing"
    yield Finding("store", "ok", f"{text}, {counts.bytes / 1e6:.1f} MB")
    for (source, reason), count in sorted(counts.refused.items()):
        yield Finding("store", "note", f"{source}: {count} refused: {reason}")
    for flag, count in sorted(counts.flags.items()):
        yield Finding("store", "note", f"{counted(count, 'reading', 'readings')} flagged {flag}")


def of_spare(settings: Settings) -> Finding:
    """Where would go what comes while the store can't be written; what lies there now."""
    path, medium = settings.store.path, settings.store.spare
    failing = outage_of(settings)
    if failing is not None:
        return Finding("spare", "wrong", outage_text(failing, settings))
    found = places(path, medium)
    if not found:
        return Finding("spare", "wrong", "no memory takes one: a store that fails stops readings")
    if found[0].lasting:
        return Finding("spare", "ok", f"{medium} takes what comes while the store can't be written")
    if medium is not None:
        text = f"{medium}: {doubt(path, medium)}; memory would do until a power cut"
        return Finding("spare", "wrong", text)
    text = "memory, until a power cut: name a folder on another medium in store.spare"
    return Finding("spare", "note", text)


def of_source(source: Source, clock: Clock, listen_s: float) -> Finding:
    """Open a source as the daemon would and hear what comes; nothing is acknowledged."""
    packets: queue.Queue[Packet] = queue.Queue(10_000)
    source.start(packets)
    deadline_s = clock.monotonic_s() + listen_s
    try:
        while clock.monotonic_s() < deadline_s:
            time.sleep(STILL_CONNECTING_S)
        health = source.health(clock.monotonic_s())
    finally:
        source.stop()
    readings, kept, refusals = 0, 0, Counter[str]()
    while not packets.empty():
        decoded = source.decode(packets.get_nowait())
        fresh = sum(Flag.RETAINED not in one.marks for one in decoded.readings)
        readings, kept = readings + fresh, kept + len(decoded.readings) - fresh
        refusals.update(f"{one.reason} ({one.detail})" for one in decoded.refused)
    what = f"source {source.name}"
    if health.problem is not None:
        return Finding(what, "wrong", f"{health.problem}: {health.detail}")
    heard = f"{counted(readings, 'reading', 'readings')} in {listen_s:g} s"
    if kept:
        heard += f"; {counted(kept, 'old one', 'old ones')} that the broker keeps (retained)"
    refused = "".join(f"; {count} refused: {reason}" for reason, count in refusals.most_common(3))
    state = "note" if refusals or not readings else "ok"
    return Finding(
        what, state, f"connected, {heard}{refused}{'; ' * bool(health.detail)}{health.detail}"
    )


def of_page(settings: Settings) -> Iterator[Finding]:
    """The page, where one is to be served: its port, its certificate, who opens it and where."""
    if settings.page is None:
        return
    from monitor.page.trial import try_page  # noqa: PLC0415  # the web server comes with it

    yield from (Finding("page", state, detail) for state, detail in try_page(settings.page))


def of_mirror(settings: Settings, clock: Clock) -> Iterator[Finding]:
    """Whether the server of the copy takes a point; it says only that it was tried."""
    if settings.mirror is None:
        return
    now_s = clock.wall_s()
    point = tried(settings.mirror.site, settings.room.name, now_s)
    answer = Server(settings.mirror).write([point], now_s)
    if answer.word is not Word.TAKEN:
        detail = answer.detail
        if not answer.reached:
            detail = f"{settings.mirror.url}: {detail}; does the server run there?"
        yield Finding("mirror", "wrong", detail)
        return
    yield Finding("mirror", "ok", f"{settings.mirror.url} takes points")
    if answer.ahead_s is not None and abs(answer.ahead_s) > CLOCK_APART_S:
        where = "ahead of" if answer.ahead_s > 0 else "behind"
        text = f"its clock is {abs(answer.ahead_s) / 60:.0f} min {where} ours"
        yield Finding("mirror", "note", text)


def of_neighbours(settings: Settings, clock: Clock) -> Iterator[Finding]:
    """Whether the broker of the neighbours would do, and whether the room's name is free."""
    if settings.neighbours is None:
        return
    for state, detail in try_neighbours(settings, settings.neighbours, clock.wall_s()):
        yield Finding("neighbours", state, detail)


def of_channels(settings: Settings, clock: Clock, send: bool) -> Iterator[Finding]:
    """Who is told; with `send` whether a test message arrives."""
    if settings.channels_none:
        yield Finding("channels", "note", "`channels: none`: nobody is told of anything")
        return
    try:
        channels = build_channels(settings.recipients)
    except BagwattError as error:
        yield Finding("channels", "wrong", str(error))
        return
    people = counted(len(channels), "recipient", "recipients")
    yield Finding("channels", "ok", f"{usable(channels)} for {people}")
    for name, channel in channels.items() if send else ():
        message = Message(
            message_id=f"test:{uuid.uuid4()}:{name}",
            recipient=name,
            title=f"bagwatt: test message from {settings.room.name}",
            body="This is only a test. Alerts will look like this and say which bag to look at.",
            urgency=Urgency.TODAY,
            created_s=clock.wall_s(),
        )
        answer = channel.send(message)
        good = answer.verdict is Verdict.DELIVERED
        yield Finding(f"recipient {name}", "ok" if good else "wrong", answer.detail)
