"""Calls of overheating that a room's alarm held back: nobody was told, so nobody walked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import pytest

from demo.folder import write_folder
from demo.rooms import FIRST, make_room
from monitor.judge.alarm_state import AlarmParams
from monitor.judge.strain import CoreLimit
from monitor.recount import of_folder
from monitor.review.account import Account
from monitor.review.held_back import room_spans
from monitor.review.outcomes import End, Ending
from monitor.review.predict import Prediction, predict
from monitor.review.tune import Room
from monitor.review.tune_heat import HeatTuning, tune_heat
from monitor.review.tune_heat_words import heat_lines
from monitor.review.tune_rooms import Book, room_of
from monitor.review.tune_score import Costs
from monitor.values import AlarmKind, BookEntry, Transition
from tests.tune.heats import HOUR_S, AnyStrain

#: Only the stuck heater takes these bags over them; `SOONER` they get over by themselves.
LIMITS = (CoreLimit(29.2, 6 * HOUR_S), CoreLimit(30.0, 3 * HOUR_S), CoreLimit(31.5, 0.5 * HOUR_S))
SOONER = (CoreLimit(23.0, 12 * HOUR_S), *LIMITS[1:])
COSTS = Costs(30.0, 2.0, 4.0)


@pytest.fixture(scope="module")
def account(tmp_path_factory: pytest.TempPathFactory) -> Account:
    """Six days of five bags; on the fifth day the heater sticks for nine hours."""
    stuck = replace(
        FIRST.trouble, contaminated=0.0, stalled=0.0, fell=0, stuck=0, silent=0,
        run_chance=0.0, lot_chance=0.0, heater_stuck_chance=1.0,
    )  # fmt: skip
    spec = replace(
        FIRST, lines=FIRST.lines[1:2], bags_per_cohort=5, days=6.0, session_days=(0.25,),
        heat=0.3, trouble=stuck,
    )  # fmt: skip
    path = tmp_path_factory.mktemp("stuck") / "room"
    write_folder(make_room(spec, 4), path)
    return of_folder(path, None)


def lived(account: Account, limits: tuple[CoreLimit, ...]) -> tuple[Room, Prediction]:
    """The room as a store has it: told is what live alarms announced. All bags came through."""
    strain_of = AnyStrain(limits).__getitem__
    found = predict(account, strain_of)
    last_s = account.frames[-1].end_s
    bags = {name: bag for frame in account.frames for name, bag in frame.bags.items()}
    through = tuple(BookEntry(last_s, name, "full run", "") for name in bags)
    book = Book(bags, through, {}, last_s, announced(found))
    return room_of(account, book, strain_of)[0], found


def announced(found: Prediction) -> Mapping[str, float]:
    told: dict[str, float] = {}
    for event in found.events:
        if event.kind is AlarmKind.OVERHEATING and event.transition is Transition.RAISED:
            told.setdefault(event.subject, event.at_s)
    return told


def tuned(rooms: list[Room], limits: tuple[CoreLimit, ...]) -> HeatTuning:
    return tune_heat(rooms, "AM-3", AnyStrain(limits), COSTS)


def test_calls_that_a_room_alarm_held_back_are_none_for_nothing(account: Account) -> None:
    """Five bags over their limits behind a stuck heater's alarm: no walk, no cost, one phrase."""
    room, found = lived(account, LIMITS)
    assert len(found.heated_s) == 5 and not announced(found)
    one = tuned([room], LIMITS)
    assert one.present.healthy == 5
    assert one.present.false == 0 and one.present.cost == 0.0
    assert one.held == 5 and one.saved == 0
    said = " ".join(heat_lines(one, "C"))
    assert "the calls of 5 healthy bags were held back behind the room's alarm" in said
    nothing_known = tuned([replace(room, held_s=())], LIMITS)
    assert nothing_known.present.false == 5 and nothing_known.present.cost == 200.0


def test_a_call_before_the_room_alarm_stood_is_for_nothing_as_before(account: Account) -> None:
    """Limits that call the same bags days earlier: nothing holds those calls back."""
    room, _ = lived(account, LIMITS)
    one = tuned([room], SOONER)
    assert one.present.false == 5 and one.held == 0


def test_what_outlasts_the_room_alarm_is_told_then(account: Account) -> None:
    """And counts from then: nobody held it back any longer."""
    room, _ = lived(account, LIMITS)
    short = replace(room, held_s=tuple((a, a + HOUR_S) for a, _ in room.held_s[:1]))
    one = tuned([short], LIMITS)
    assert one.present.false == 5 and one.held == 0


def test_a_bag_that_cooked_is_counted_as_before(account: Account) -> None:
    """Holding back is no merit of a limit, and none of its faults."""
    room, _ = lived(account, LIMITS)
    ends = {name: Ending(name, End.COOKED) for name in room.endings}
    held, free = (tuned([replace(room, endings=ends, held_s=s)], LIMITS) for s in (room.held_s, ()))
    assert held.cooked == 5 and held.held == 0
    assert held.present == free.present


def test_the_spans_are_those_in_which_the_live_alarms_hold_back(account: Account) -> None:
    """Every event that was held back lies inside, every announced one outside."""
    _, found = lived(account, SOONER)
    spans = room_spans(found.events)
    assert len(spans) == 2
    assert spans[1][1] - spans[1][0] == AlarmParams().room_after_s
    heat = [one for one in found.events if one.kind is AlarmKind.OVERHEATING]
    back = [one for one in heat if one.transition is Transition.SUPPRESSED]
    told = [one for one in heat if one.transition is Transition.RAISED]
    assert told
    for events, inside in ((back, True), (told, False)):
        for one in events:
            assert any(a <= one.at_s <= b for a, b in spans) is inside, one
