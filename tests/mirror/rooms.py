"""An invented room's store, written step by step as a watch writes it."""

from __future__ import annotations

import random
from dataclasses import replace
from pathlib import Path

from monitor.store import Store
from monitor.values import (
    AlarmEvent,
    AlarmKind,
    Bag,
    Decoded,
    Estimate,
    Evidence,
    Facts,
    Flag,
    Probe,
    Quantity,
    Reading,
    Reason,
    Transition,
    Urgency,
)
from tests.store.samples import arrival

#: In the past: a server drops what it takes for the future.
START_S = 1_790_000_000.0 // 3600 * 3600
FRAME_S = 600.0
SITE, ROOM = "Quarry Lane", "Würz=raum, hinten"


def bag(name: str, rack: str, probe: str = "") -> Bag:
    return Bag(name, "QL-1", "GO-12", "GO12-G2", START_S, 2.3, rack, 2, 1, probe)


class MirroredRoom:
    """Three bags and an air probe; time passes as the test has it."""

    def __init__(self, folder: Path) -> None:
        self.store = Store.open(folder / "bagwatt.db", START_S)
        self.now_s = START_S
        self.bags = {
            name: bag(name, "R1", f"p-{name}") for name in ("GO12-001", "ÄÖ 2", "GO12-003")
        }
        self.probes = {"air": Probe("air", rack="R 1", shelf=1, offset_k=0.5)}
        self._sent = 0
        self._closed = 0
        self.put_book()

    @property
    def settled(self) -> int:
        return self.store.last_reading_id()

    def put_book(self) -> None:
        self.store.add_book(self.now_s, self.bags.values(), self.probes.values())

    def move(self, name: str, rack: str) -> None:
        """A bag is put into another rack."""
        self.bags[name] = replace(self.bags[name], rack=rack)
        self.put_book()

    def read(
        self,
        probe: str,
        value: float,
        *flags: Flag,
        quantity: Quantity = Quantity.TEMPERATURE,
        hand_bag: str = "",
        synced: bool = True,
        measured_s: float | None = 0.0,
    ) -> int:
        """One reading, a second after the one before; returns its id."""
        self.now_s += 1.0
        self._sent += 1
        at_s = self.now_s if measured_s == 0.0 else measured_s
        one = Reading(probe, quantity, value, at_s, self.now_s, "barn", hand_bag, value, "Cel")
        came = arrival(one, synced=synced)
        number = self.store.add_batch([replace(came, decoded=Decoded((one,)))])[0][0]
        self.store.add_flags((number, flag) for flag in flags)
        return number

    def fill(self, count: int) -> None:
        """So many readings in turn."""
        probes = ["air", *(f"p-{name}" for name in self.bags)]
        for _ in range(count):
            self.read(probes[self._sent % len(probes)], 20.0 + self._sent / 64)

    def close(self, *, hourly: bool = False, raised: str = "") -> float:
        """A frame is closed, perhaps with estimates, perhaps with an alarm of a bag."""
        self._closed += 1
        end_s = START_S + self._closed * FRAME_S
        self.now_s = max(self.now_s, end_s)
        estimates = [
            (
                Estimate(name, end_s, 25.0, 22.0, 3.0, core_c=27.5 + self._closed),
                Evidence(name, "GO-12", end_s, 1.5, -2.0, 6.0, 6.0, 2, 0.25, Reason.ADDED_HEAT),
            )
            for name in self.bags
        ]
        events = [
            AlarmEvent(
                event_id=f"{raised}-{number}-{self._closed}",
                alarm_id=f"{raised}-{self._closed}",
                at_s=end_s + number,
                kind=AlarmKind.HOT_BAG,
                subject=raised,
                transition=transition,
                urgency=Urgency.TODAY,
                reason=Reason.ADDED_HEAT,
                facts=Facts(bag=raised, rack=rack, shelf=2, strain="GO-12"),
            )
            for number, (transition, rack) in enumerate(
                [(Transition.RAISED, "R1"), (Transition.ACKNOWLEDGED, "R9")]
            )
            if raised
        ]
        self.store.close_frame(
            end_s,
            self.now_s,
            self.store.last_reading_id(),
            max((row.id for row in self.store.journal_after(0)), default=0),
            events=events,
            estimates=estimates if hourly else (),
        )
        return end_s

    def step_clock(self, step_s: float) -> None:
        """The clock is set: what came unset is stamped anew."""
        self.store.restamp("boot-a", step_s, self.now_s)

    def day(self, seed: int, until: int = 60) -> None:
        """Much of all of it, in an order that the seed draws."""
        draw = random.Random(seed)
        for _ in range(until):
            self.drawn(draw)

    def drawn(self, draw: random.Random) -> None:
        """One thing that happens."""
        kind = draw.randrange(8)
        name = draw.choice(list(self.bags))
        if kind < 3:
            self.fill(draw.randrange(1, 6))
        elif kind == 3:
            self.move(name, f"R{draw.randrange(5)}")
        elif kind == 4:
            self.read("air", 18.0, synced=False)
        elif kind == 5:
            self.step_clock(-3600.0 * draw.randrange(1, 4))
        else:
            self.close(hourly=kind == 6, raised=name if draw.random() < 0.5 else "")
