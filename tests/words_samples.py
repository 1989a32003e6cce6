"""Alarms at Quarry Lane Mushrooms (invented) and how their words look on a page.

`python -m tests.words_samples` writes the golden files anew; read the difference before
you commit it.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from demo.command import parser_for
from monitor.terms import AlarmKind, Reason, Transition, Urgency
from monitor.values import AlarmEvent, Facts
from monitor.words import one_line, sentences

GOLDEN = Path(__file__).parent / "golden"
ZONE = ZoneInfo("Europe/Vienna")
NOW_S = datetime(2026, 3, 3, 20, 40, tzinfo=UTC).timestamp()  # Tuesday 21:40 in the zone
HOUR_S = 3600.0

HOT = Facts(
    bag="B-031", probe="P-31", cohort="GO-12/oak+bran/5lb/L4/s12", strain="GO-12",
    rack="R2", shelf=4, slot=7, surface_c=27.42, air_c=23.61, excess_k=1.9, added_w_per_kg=0.352,
    rate_k_per_h=0.21, evidence=5.4, peers=11, since_s=NOW_S - 9 * HOUR_S,
    next_slot=("B-030", "B-032"), next_inoculated=("B-032",),
    same_lot=("B-021", "B-027", "B-028", "B-029", "B-033", "B-034"),
    detail="it clears once it is under 0.5 K off its cohort",
)  # fmt: skip
COLD = replace(
    HOT, bag="B-112", strain="SH-7", cohort="SH-7/oak+bran/5lb/L9/s14", shelf=1, slot=2,
    surface_c=21.08, air_c=21.52, excess_k=-0.94, added_w_per_kg=None, rate_k_per_h=-0.02,
    evidence=6.3, since_s=NOW_S - 40 * HOUR_S, next_slot=("B-111",), next_inoculated=("B-113",),
    same_lot=(),
)  # fmt: skip
CORE = Facts(
    bag="B-007", probe="P-07", strain="AM-3", rack="R1", shelf=5, slot=3, surface_c=29.93,
    air_c=26.82, rate_k_per_h=0.4, since_s=NOW_S - 5 * HOUR_S, core_c=33.14, limit_c=31.5,
    limit_duration_s=96 * HOUR_S, reached_in_s=91 * HOUR_S,
)  # fmt: skip
HOT_CORE = replace(CORE, core_c=36.6, limit_c=36.0, limit_duration_s=24 * HOUR_S, reached_in_s=0.0)
LOT = Facts(
    cohort="GO-12/oak+bran/5lb/L4/1772449200", strain="GO-12", excess_k=0.83, evidence=7.6,
    affected=12, since_s=NOW_S - 20 * HOUR_S,
)  # fmt: skip
ROOM = Facts(
    air_c=28.12, rate_k_per_h=1.5, low_c=15.0, high_c=27.0, affected=40,
    since_s=NOW_S - 1.5 * HOUR_S,
)  # fmt: skip
COOL_ROOM = replace(ROOM, air_c=14.21, rate_k_per_h=-2.4)
PROBE = Facts(
    bag="B-112", probe="P-112", rack="R3", shelf=5, slot=1, since_s=NOW_S - 7 * HOUR_S,
)  # fmt: skip

MANY = replace(
    LOT, excess_k=None, evidence=None, affected=6, since_s=NOW_S - HOUR_S,
    detail="first B-031, then B-032, B-033, B-040, B-041, B-044",
)  # fmt: skip
HOTTER = replace(HOT, excess_k=2.7, surface_c=28.2, evidence=11.0)
SMALL = replace(HOT, evidence=3.1, excess_k=0.7, surface_c=25.9, added_w_per_kg=0.1)

CASES: dict[AlarmKind, list[tuple[Reason, Urgency, str, Facts]]] = {
    AlarmKind.HOT_BAG: [
        (Reason.ADDED_HEAT, Urgency.TODAY, "B-031", HOT),
        (Reason.ADDED_HEAT, Urgency.NOW, "B-031", HOTTER),
        (Reason.EARLIER_RUNS, Urgency.TODAY, "B-031", replace(HOT, peers=2)),
        (Reason.LOOK_AGAIN, Urgency.LATER, "B-031", SMALL),
        (Reason.ADDED_HEAT, Urgency.TODAY, "B-031", Facts()),
    ],
    AlarmKind.STALLED_BAG: [
        (Reason.COLDER, Urgency.TODAY, "B-112", COLD),
        (Reason.NEVER_WARMED, Urgency.TODAY, "B-112", COLD),
        (Reason.EARLIER_RUNS, Urgency.TODAY, "B-112", COLD),
        (Reason.LOOK_AGAIN, Urgency.LATER, "B-112", replace(COLD, evidence=2.3, excess_k=-0.4)),
    ],
    AlarmKind.OVERHEATING: [
        (Reason.CORE_LIMIT, Urgency.NOW, "B-007", HOT_CORE),
        (Reason.CORE_FORECAST, Urgency.TODAY, "B-007", replace(CORE, reached_in_s=20 * HOUR_S)),
    ],
    AlarmKind.LOT_APART: [
        (Reason.LOT_HOT, Urgency.TODAY, LOT.cohort, LOT),
        (Reason.LOT_SLOW, Urgency.TODAY, LOT.cohort, replace(LOT, excess_k=-0.9)),
        (Reason.COHORT_IS_TWO, Urgency.LATER, LOT.cohort, replace(LOT, excess_k=None)),
        (Reason.LOT_UNEVEN, Urgency.TODAY, LOT.cohort, replace(LOT, excess_k=None, evidence=None)),
        (Reason.MANY_AT_ONCE, Urgency.TODAY, LOT.cohort, MANY),
    ],
    AlarmKind.ROOM: [
        (Reason.ROOM_HIGH, Urgency.NOW, "room", ROOM),
        (Reason.ROOM_LOW, Urgency.NOW, "room", COOL_ROOM),
        (Reason.HEATER_STUCK, Urgency.NOW, "room", ROOM),
        (Reason.COOLER_STUCK, Urgency.NOW, "room", COOL_ROOM),
        (Reason.NO_COOLING, Urgency.NOW, "room", ROOM),
        (Reason.NO_HEATING, Urgency.NOW, "room", COOL_ROOM),
        (Reason.DOOR, Urgency.NOW, "room", COOL_ROOM),
        (Reason.MANY_AT_ONCE, Urgency.TODAY, "many bags", replace(MANY, cohort="", strain="")),
        (Reason.DRIFT, Urgency.TODAY, "room", replace(ROOM, rate_k_per_h=0.1)),
        (Reason.POWER_CUT, Urgency.NOW, "room", Facts(silent_for_s=2400.0, affected=40)),
    ],
    AlarmKind.PROBE: [
        (Reason.PROBE_SILENT, Urgency.TODAY, "P-112",
         replace(PROBE, detail="no reading", silent_for_s=7 * HOUR_S)),
        (Reason.PROBE_STUCK, Urgency.TODAY, "P-112",
         replace(PROBE, detail="reads 21.3 °C unchanged")),
        (Reason.PROBE_JUMPED, Urgency.LATER, "P-112",
         replace(PROBE, detail="moved +3.2 K faster than a bag can")),
        (Reason.PROBE_FELL_OFF, Urgency.TODAY, "P-112",
         replace(PROBE, detail="follows every tick of the air")),
        (Reason.PROBE_UNIT_SLIP, Urgency.TODAY, "P-112",
         replace(PROBE, detail="reads like °F taken as °C")),
        (Reason.PROBE_IMPOSSIBLE, Urgency.TODAY, "P-112",
         replace(PROBE, detail="values no room reaches")),
        (Reason.PROBE_JUMPED, Urgency.LATER, "low", Facts(probe="low", shelf=1)),
    ],
    AlarmKind.HOUSE: [
        (Reason.BROKER_LOST, Urgency.TODAY, "source barn", Facts(detail="barn: timed out")),
        (Reason.BROKER_REFUSED, Urgency.TODAY, "source barn",
         Facts(detail="barn: not authorised")),
        (Reason.PORT_LOST, Urgency.TODAY, "source rack wires", Facts(detail="rack wires")),
        (Reason.SOURCE_SILENT, Urgency.TODAY, "source barn",
         Facts(detail="barn", silent_for_s=3000.0)),
        (Reason.STORE_FAILING, Urgency.NOW, "store", Facts(detail="disk is full")),
        (Reason.CLOCK_UNSET, Urgency.LATER, "clock", Facts()),
        (Reason.CLOCK_BEHIND, Urgency.NOW, "clock",
         Facts(detail="it says 1970-01-01 00:12, and a frame ending 2026-11-24 21:30 was"
               " closed before")),
        (Reason.CLOCK_SET_BACK, Urgency.TODAY, "wall clock",
         Facts(detail="it was 30 d ahead, and 18 frames closed meanwhile are set aside",
               since_s=NOW_S - 2 * HOUR_S)),
        (Reason.CHANNEL_FAILING, Urgency.TODAY, "channel Mara",
         Facts(detail="Mara: name not found", since_s=NOW_S - 2 * HOUR_S)),
        (Reason.MIRROR_FAILING, Urgency.LATER, "mirror",
         Facts(detail="answered 401: unauthorized access; look at mirror.token",
               since_s=NOW_S - 2 * HOUR_S)),
        (Reason.NAME_TAKEN, Urgency.TODAY, "room name",
         Facts(detail="host pi-2 holds it", since_s=NOW_S - 2 * HOUR_S)),
        (Reason.NEIGHBOURS_CUT_OFF, Urgency.LATER, "neighbours",
         Facts(detail="barn.example:1883: connection refused", since_s=NOW_S - 2 * HOUR_S)),
        (Reason.WAS_DARK, Urgency.LATER, "monitor",
         Facts(silent_for_s=3 * HOUR_S, air_before_c=22.1, air_c=17.4, low_c=16.9, high_c=22.3)),
    ],
}  # fmt: skip


def event(
    kind: AlarmKind = AlarmKind.HOT_BAG,
    reason: Reason = Reason.ADDED_HEAT,
    facts: Facts = HOT,
    subject: str = "B-031",
    urgency: Urgency = Urgency.TODAY,
    transition: Transition = Transition.RAISED,
    by: str = "",
    note: str = "",
    first_in: bool = False,
) -> AlarmEvent:
    """An alarm event at NOW_S."""
    return AlarmEvent(
        "e1", "a1", NOW_S, kind, subject, transition, urgency, reason, facts, first_in, by, note
    )


LIFE: list[tuple[str, AlarmEvent]] = [
    ("raised", event(note="it came and went; it stands until it has been quiet for long")),
    ("more urgent", event(transition=Transition.URGENCY_CHANGED, urgency=Urgency.NOW,
                          facts=HOTTER)),
    ("acknowledged", event(transition=Transition.ACKNOWLEDGED, by="Mara", note="on my way")),
    ("shelved", event(transition=Transition.SHELVED, by="Mara", note="until Thu, spreading bags")),
    ("no longer shelved", event(transition=Transition.UNSHELVED)),
    ("held back", event(transition=Transition.SUPPRESSED, note="heater stuck on")),
    ("no longer held back", event(transition=Transition.UNSUPPRESSED)),
    ("out of service", event(transition=Transition.OUT_OF_SERVICE, by="Mara", note="rebuilt")),
    ("in service", event(transition=Transition.IN_SERVICE, by="Mara")),
    ("returned", event(transition=Transition.RETURNED)),
    ("returned, its probe fell off",
     event(transition=Transition.RETURNED, reason=Reason.PROBE_FELL_OFF)),
    ("room returned", event(AlarmKind.ROOM, Reason.HEATER_STUCK, ROOM, "room",
                            transition=Transition.RETURNED)),
    ("probe returned", event(AlarmKind.PROBE, Reason.PROBE_SILENT, PROBE, "P-112",
                             transition=Transition.RETURNED)),
]  # fmt: skip


def rendered(heading: str, one: AlarmEvent) -> str:
    """One event as a page shows it, in both units."""
    texts = []
    for units in ("C", "F"):
        title, body = sentences(one, units, ZONE)
        texts.append(f"{title}\n\n{body}\n\n> {one_line(one, units, ZONE)}")
    if texts[0] == texts[1]:
        return f"=== {heading} ===\n\n--- °C and °F\n{texts[0]}\n"
    return f"=== {heading} ===\n\n--- °C\n{texts[0]}\n\n--- °F\n{texts[1]}\n"


def pages() -> dict[str, str]:
    """File name → text of every golden file: one for each kind, one for an alarm's life."""
    found = {}
    for kind, cases in CASES.items():
        texts = []
        for reason, urgency, subject, facts in cases:
            bare = ", nothing else known" if facts == Facts() and kind is AlarmKind.HOT_BAG else ""
            heading = f"{kind}: {reason}, {urgency}{bare}"
            texts.append(rendered(heading, event(kind, reason, facts, subject, urgency)))
        found[f"{kind.value.replace(' ', '_')}.txt"] = "\n".join(texts)
    found["alarm_life.txt"] = "\n".join(rendered(heading, one) for heading, one in LIFE)
    return found


if __name__ == "__main__":
    parser_for("tests.words_samples", __doc__).parse_args()
    GOLDEN.mkdir(exist_ok=True)
    for file_name, page in pages().items():
        (GOLDEN / file_name).write_text(page, encoding="utf-8")
