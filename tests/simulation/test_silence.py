"""How long something may be silent before somebody is told, in a calm simulated room.

Frames of ten minutes, probes that speak every five; `sh tests/run -n 0 -s -k test_silence`
prints the figures.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from monitor.values import Reason, Transition
from tests.simulation.room import Room

USUAL_S = 6 * 3600.0  # until every probe's habit is known
LIMIT_S = 8 * 3600.0


def told_after_s(folder: Path, cause: Callable[[Room], None], reason: Reason, word: str) -> float:
    """Seconds from a cause until an alarm of this reason names it in the log."""
    room = Room(5, folder)
    with room.card.in_its_slot():
        return _told_after_s(room, cause, reason, word)


def _told_after_s(room: Room, cause: Callable[[Room], None], reason: Reason, word: str) -> float:
    room.calm = True
    while room.world.now_s < USUAL_S:
        room.step()
    cause(room)
    began_s = room.world.now_s
    while room.world.now_s < began_s + LIMIT_S:
        room.step()
        assert room.live is not None
        if any(
            one.transition is Transition.RAISED
            and one.reason is reason
            and word in f"{one.subject} {one.facts.probe}"
            for one in room.live._log.store.events()
        ):
            took_s = room.world.now_s - began_s
            print(f"{reason}: {took_s / 60:.0f} min")
            room.live.end()
            room.sender.abandon()
            return took_s
    raise AssertionError(f"{reason}: nothing told within {LIMIT_S / 3600:.0f} h")


def probe_stops(room: Room) -> None:
    room.mute = "p-B2"


def broker_goes(room: Room) -> None:
    room.client.lose(LIMIT_S)


def line_stops(room: Room) -> None:
    room.bench.cut = True


def card_hiccups(room: Room) -> None:
    """A commit finds the card full; it is well again when it is opened anew."""
    assert room.live is not None
    room.card.fill(room.live._log.store)
    room.card.full = False


def card_fails(room: Room) -> None:
    """Counted from when a commit first finds no more room."""
    assert room.live is not None
    room.card.fill(room.live._log.store)
    while room.live._log.problem == "":
        room.step()


def all_probes_stop(room: Room) -> None:
    room.over = True


@pytest.mark.parametrize(
    ("cause", "reason", "word", "most_min"),
    [
        (probe_stops, Reason.PROBE_SILENT, "p-B2", 60),
        (broker_goes, Reason.BROKER_LOST, "broker", 25),
        (line_stops, Reason.SOURCE_SILENT, "bench", 45),
        (card_fails, Reason.STORE_FAILING, "store", 11),
        (all_probes_stop, Reason.POWER_CUT, "", 60),
    ],
    ids=["probe", "broker", "serial line", "card", "all probes"],
)
def test_silence_is_told_within(
    tmp_path: Path, cause: Callable[[Room], None], reason: Reason, word: str, most_min: float
) -> None:
    assert told_after_s(tmp_path, cause, reason, word) <= most_min * 60.0


def test_a_person_who_can_t_be_reached_is_told_to_the_others(tmp_path: Path) -> None:
    """Counted from the first message that fails: a channel nobody writes to is not tried; the
    morning message is the daily trial."""

    def cause(room: Room) -> None:
        room.channels["hand"].mood = "down"
        room.client.lose(LIMIT_S)

    took_s = told_after_s(tmp_path, cause, Reason.CHANNEL_FAILING, "channel hand")
    assert took_s <= 50 * 60.0


def test_a_hiccup_of_the_card_that_heals_within_the_frame_is_not_told(tmp_path: Path) -> None:
    with pytest.raises(AssertionError, match="nothing told"):
        told_after_s(tmp_path, card_hiccups, Reason.STORE_FAILING, "store")
