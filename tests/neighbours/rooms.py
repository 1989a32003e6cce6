"""An invented room as it stands at a close, for what is told of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo

from monitor.neighbours.picture import Closed, Picture, Teller
from monitor.road import Outcome
from monitor.store import StandingAlarm
from monitor.values import (
    AlarmEvent,
    AlarmKind,
    Bag,
    Condition,
    Estimate,
    Evidence,
    Facts,
    Frame,
    Mean,
    Reason,
    Transition,
    Urgency,
)

END_S = 1_796_000_400.0  # a full hour
TELLER = Teller("Quarry Lane", "North", "5f0c", 20.0, 24.0, "C", ZoneInfo("Europe/London"))


def bag(code: str, lot: str = "GO12-G2", strain: str = "GO-12", session: str = "S1") -> Bag:
    inoculated_s = END_S - 5 * 86400.0
    return Bag(code, "QL-1", strain, lot, inoculated_s, 2.3, "R1", 2, 1, f"p-{code}", session)


def alarm(
    code: str,
    kind: AlarmKind = AlarmKind.HOT_BAG,
    urgency: Urgency = Urgency.TODAY,
    reason: Reason = Reason.ADDED_HEAT,
    facts: Facts | None = None,
    since_s: float = END_S - 3600.0,
) -> StandingAlarm:
    facts = facts or Facts(bag=code, rack="R1", shelf=2, excess_k=1.25, evidence=8.0, peers=11)
    event = AlarmEvent(
        f"e-{code}", f"a-{code}", since_s, kind, code, Transition.RAISED, urgency, reason, facts
    )
    return StandingAlarm(event, event)


def verdict(code: str, surface_c: float | None = 25.0, excess_k: float | None = 0.5):  # type: ignore[no-untyped-def]
    return (
        Estimate(code, END_S, surface_c, 22.0, 3.0, heat_w_per_kg=1.2, core_c=27.0),
        Evidence(
            code, "GO-12", END_S, 1.5, -2.0, 6.0, 6.0, 2, excess_k, Reason.LIKE_ITS_COHORT
        ),
    )  # fmt: skip


def picture(
    bags: Mapping[str, Bag],
    *alarms: StandingAlarm,
    end_s: float = END_S,
    excess_k: float = 0.5,
    house: tuple[Condition, ...] = (),
) -> Picture:
    air = {"low": Mean(21.0, 10, end_s), "top": Mean(22.5, 10, end_s)}
    humidity = {"low": Mean(70.0, 10, end_s)}
    frame = Frame(end_s, 600.0, air, {}, humidity)
    verdicts = {
        code: tuple(replace(part, at_s=end_s) for part in verdict(code, excess_k=excess_k))
        for code in bags
    }
    outcome = Outcome(frame, verdicts, (), (), ())  # type: ignore[arg-type]
    closed = Closed(outcome, house, "", Path("bagwatt.db"))
    return Picture.of(closed, bags, alarms, 2, 20.5)
