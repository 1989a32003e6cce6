"""Invented farms for the verdict on lots: what it costs in false words, what it finds.

    python -m tests.farm.simulated [FARMS]

A farm has rooms with bags of one strain, their lots spread over two or three rooms each; a bag
is called with its room's chance, in a bad lot with the lot's own.
"""

from __future__ import annotations

import random
from dataclasses import dataclass

from demo.command import parser_for, whole_number
from monitor.farm.lot_nouns import RoomLots
from monitor.farm.lots import lots_over_rooms
from monitor.room_summary import LotSummary


@dataclass(frozen=True, slots=True)
class Design:
    """`mixed`: each room holds several lots; else each lot fills its rooms alone."""

    rooms: int = 4
    lots: int = 8
    bags: int = 8
    rooms_of_a_lot: int = 2
    called: float = 0.01
    bad_rooms: int = 0
    called_there: float = 0.01
    bad_share: float = 0.0
    bad_in: int = 2


def draw(design: Design, seed: int, until: float = 1.0) -> list[RoomLots]:
    """One farm; where `bad_share` is set, lot L0 is bad in its first `bad_in` rooms.

    Bags are called one after the other, at any moment of their run as likely; `until` is how
    much of it has gone by.
    """
    dice = random.Random(seed)
    held: dict[int, list[LotSummary]] = {room: [] for room in range(design.rooms)}
    for number in range(design.lots):
        places = [(number + step) % design.rooms for step in range(design.rooms_of_a_lot)]
        for turn, room in enumerate(places):
            chance = design.called_there if room < design.bad_rooms else design.called
            if number == 0 and turn < design.bad_in and design.bad_share:
                chance = design.bad_share
            called = [dice.random() < chance and dice.random() for _ in range(design.bags)]
            hit = sum(at is not False and at <= until for at in called)
            held[room].append(
                LotSummary(
                    f"L{number}", "GO-12", f"S{number}", design.bags, design.bags,
                    0, hit, hit, 0, 0.1, False,
                )
            )  # fmt: skip
    return [RoomLots(f"Room {room}", tuple(lots)) for room, lots in held.items()]


def told(design: Design, seed: int, until: float = 1.0) -> set[str]:
    """Lots that are told bad."""
    return {one.spawn_lot for one in lots_over_rooms(draw(design, seed, until)).bad}


def shares(design: Design, farms: int) -> tuple[float, float]:
    """(farms with any lot told bad that isn't, farms whose bad lot is told), as shares."""
    false = found = 0
    truly = {"L0"} if design.bad_share and design.bad_in > 1 else set()
    for seed in range(farms):
        names = told(design, seed)
        false += bool(names - truly)
        found += bool(names & {"L0"})
    return false / farms, found / farms


def ever(design: Design, farms: int, looks: int = 20) -> float:
    """Share of farms in which at any of so many looks over the run a lot is told bad."""
    return sum(
        any(told(design, seed, (look + 1) / looks) for look in range(looks))
        for seed in range(farms)
    ) / farms  # fmt: skip


NULLS = {
    "1 % of bags called": Design(),
    "3 % of bags called": Design(called=0.03),
    "20 lots in 6 rooms, 3 %": Design(rooms=6, lots=20, rooms_of_a_lot=3, called=0.03),
    "a bad room: 20 % called there": Design(called=0.02, bad_rooms=1, called_there=0.2),
    "a lot bad in one of its rooms only": Design(bad_share=0.5, bad_in=1),
    "one lot a room, 3 %": Design(rooms=8, lots=4, called=0.03, bags=20),
}
BAD_LOTS = {
    f"{share:.0%} of {bags} bags in each of 2 rooms": Design(
        bags=bags, bad_share=share, rooms_of_a_lot=2
    )
    for share in (0.2, 0.35, 0.5)
    for bags in (4, 8, 16)
}


def main() -> None:
    parser = parser_for("tests.farm.simulated", __doc__)
    parser.add_argument("farms", metavar="FARMS", nargs="?", type=whole_number, default=2000)
    farms = parser.parse_args().farms
    for name, design in NULLS.items():
        often = f"at any of 20 looks {ever(design, farms // 5):.1%}"
        print(f"{name}: false in {shares(design, farms)[0]:.2%} of farms, {often}")
    for name, design in BAD_LOTS.items():
        false, found = shares(design, farms)
        print(f"{name}: found in {found:.0%}, false in {false:.2%}")


if __name__ == "__main__":
    main()
