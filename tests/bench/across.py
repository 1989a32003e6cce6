"""Figures for rooms the bar was not chosen on: each room is scored at the bar chosen on the others.

    python -m tests.bench.across FOLDER...

Folders are as for `tests.bench.judge`. The evidence of every room is made once; then the live
calls and alarms are stepped over it at every budget of false calls in `BUDGETS`. For each room
the budget is chosen on all the others: the one that finds most, then soonest, of those that
keep `LEAST_FALSE` there. What is told is the sum over the rooms left out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from demo.command import parser_for, some_folder
from monitor.judge.strain import Strain
from monitor.recount import of_folder
from monitor.review.predict import predict
from monitor.values import AlarmEvent
from tests.bench.folders import call_of, read_room
from tests.bench.scoring import Call, Score, score_room

#: False calls accepted per 100 bags and run: the grower's own setting, from strict to lax.
BUDGETS = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0)
#: What the chosen budget must have kept on the other rooms: false calls per 100 healthy bags.
LEAST_FALSE = 0.5
LEAST_ROOMS = 3


def calls_of(events: Sequence[AlarmEvent]) -> list[Call]:
    """The calls among alarm events."""
    found = (
        call_of(one.at_s, one.kind, one.transition, one.urgency, one.facts.bag, one.facts.probe)
        for one in events
    )
    return [call for call in found if call is not None]


def score_budgets(folder: Path) -> dict[float, Score]:
    """The room's score at every budget."""
    room, account = read_room(folder), of_folder(folder, None)
    scores = {}
    for budget in BUDGETS:
        found = predict(account, lambda name, b=budget: Strain(name, false_calls_per_100=b))
        scores[budget] = score_room(room.truths, calls_of(found.events))
    return scores


def total(scores: Sequence[Score]) -> Score:
    """The sum of rooms' scores."""
    joined = Score()
    for score in scores:
        joined += score
    return joined


def choose(rooms: Sequence[Mapping[float, Score]]) -> float:
    """The budget that finds most, then soonest, of those that keep `LEAST_FALSE` on `rooms`;
    the strictest where none does."""
    joined = {budget: total([room[budget] for room in rooms]) for budget in BUDGETS}
    kept = [budget for budget in BUDGETS if joined[budget].false_per_100 <= LEAST_FALSE]
    return max(
        kept or BUDGETS[:1],
        key=lambda budget: (joined[budget].found_percent, -joined[budget].median_delay_h),
    )


def line(name: str, score: Score) -> str:
    """One row of the table."""
    return (
        f"| {name} | {score.false_per_100:.2f} | {score.found_percent:.0f} % "
        f"| {score.median_delay_h:.1f} h | {score.stalls_found} of {score.stalled} |"
    )


def main() -> None:
    """Print every budget on all rooms, then the rooms left out in turn."""
    parser = parser_for("tests.bench.across", __doc__)
    parser.add_argument("folders", metavar="FOLDER", nargs="+", type=some_folder)
    folders = parser.parse_args().folders
    if len(folders) < LEAST_ROOMS:
        parser.error(f"at least {LEAST_ROOMS} folders, or there is nothing to leave out")
    with ProcessPoolExecutor(2) as pool:
        rooms = list(pool.map(score_budgets, folders))
    print("| budget | false per 100 | found | median delay | stalled within 48 h |")
    print("|---|---|---|---|---|")
    for budget in BUDGETS:
        print(line(f"{budget:g} per 100", total([room[budget] for room in rooms])))
    chosen = [choose([*rooms[:place], *rooms[place + 1 :]]) for place in range(len(rooms))]
    left_out = [room[budget] for room, budget in zip(rooms, chosen, strict=True)]
    print(line(f"each room at the others' choice ({chosen})", total(left_out)))


if __name__ == "__main__":
    main()
