"""One connection to the broker of the neighbours to see whether it would do; nothing is kept."""

from __future__ import annotations

import secrets
from collections.abc import Iterator
from zoneinfo import ZoneInfo

from monitor.clock import process_seconds
from monitor.errors import StoreError
from monitor.neighbours.board import EMPTY
from monitor.neighbours.line import Answered, Came, Down, Granted, Line, Up
from monitor.neighbours.talk import CutOffError
from monitor.neighbours.topics import Part, Topics
from monitor.room_messages import RoomClaim
from monitor.room_summary import SummaryRefusedError, from_json
from monitor.settings.schema import Settings
from monitor.settings.schema_neighbours import NeighbourSettings
from monitor.sources.mqtt_client import connect_fault
from monitor.store import claimed, open_reader
from monitor.words import moment

TRIAL_LIMIT_S = 5.0


def try_neighbours(
    settings: Settings, own: NeighbourSettings, now_s: float
) -> Iterator[tuple[str, str]]:
    """What was found, as (ok or wrong, words): the broker, then whether the name is free."""
    where, prefix = f"{own.host}:{own.port}", own.prefix
    try:
        claims = _claims(own, settings.room.name)
    except (CutOffError, OSError, ValueError) as error:
        text = str(error)
        yield "wrong", text if where in text else connect_fault(where, error)
        return
    yield "ok", f"{where} takes what is told under {prefix}/# and gives it back"
    ours = _our_instance(settings, own)
    for claim in claims:
        if ours is not None and claim.instance != ours:
            since = moment(claim.since_s, ZoneInfo(settings.room.timezone), now_s)
            host = claim.host or "unknown"
            yield (
                "wrong",
                f"another monitor watches a room of this name, on host {host}, since {since}: give"
                " one of the two another name (room.name), or stop one if both watch the same room",
            )


def _our_instance(settings: Settings, own: NeighbourSettings) -> str | None:
    """The id of our store; empty where it has none yet, None where it can't be read."""
    if not settings.store.path.exists():
        return ""
    try:
        with open_reader(settings.store.path) as store:
            found = claimed.known(store, own.prefix, settings.room.name)
    except StoreError:  # what is wrong with it is told where the store is looked at
        return None
    return "" if found is None else found.instance


def _claims(own: NeighbourSettings, room: str) -> list[RoomClaim]:
    """Who claims the name. Raises CutOffError, or OSError and ValueError as of a connection."""
    topics = Topics(own.prefix)
    trial = topics.claim(room, f"trial-{secrets.token_hex(6)}")
    line = Line(own, trial)
    try:
        line.open()
        return _heard(line, topics.named_of(room, Part.CLAIM), trial)
    finally:
        line.end()


def _heard(line: Line, claims: str, trial: str) -> list[RoomClaim]:
    """All claims that come before an empty message of our own comes back."""
    allow = "let this login read and write there"
    found: list[RoomClaim] = []
    until_s = process_seconds() + TRIAL_LIMIT_S
    while (left_s := until_s - process_seconds()) > 0.0:
        match line.next(left_s):
            case Up():
                line.subscribe([(claims, 1)])
            case Granted(""):
                line.publish(trial, EMPTY, keep=False)
            case Granted(refusal) | Answered(_, refusal) if refusal:
                raise CutOffError(f"{line.where} refuses {claims}: {refusal}; {allow}", True)
            case Down(detail, refused):
                raise CutOffError(detail, refused)
            case Came(topic) if topic == trial:
                return found
            case Came(_, payload) if payload:
                found += _claim(payload)
    raise CutOffError(f"{line.where} does not give back what is told on {claims}; {allow}")


def _claim(payload: bytes) -> list[RoomClaim]:
    try:
        return [from_json(RoomClaim, payload)]
    except SummaryRefusedError:
        return []
