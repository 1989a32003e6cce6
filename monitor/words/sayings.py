"""What is said of each kind of alarm and reason: the claim, what to do, the one caution.

Nothing here names a cause: a bag is warmer or colder than its cohort, and the person who
goes and looks judges it. Advice is common practice in the trade, no source, unless cited.
`{go}` becomes when to act; `{a_little}` a fall of one to two degrees in the reader's units.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from monitor.terms import AlarmKind, Reason


class Caution(Enum):
    """The one caution a message ends with."""

    BAG = (
        "Never open a suspect bag indoors. Where you see mould, seal it in a second bag where"
        " it stands, with respirator and gloves on."
    )
    AIR = (
        "Air the room before you work in it: many warm bags use up oxygen and give off CO2,"
        " and bagwatt measures no gas."
    )
    POWER = (
        "Electricity in a damp room: dry hands, and use the breaker if plug or lead is hot or"
        " scorched. Only an independent over-temperature cut-out may be trusted to stop a heater."
    )
    FUMES = (
        "Never run a fuel heater or a generator in a closed room or beside it: carbon monoxide"
        " kills without a smell."
    )
    REWARM = (
        "Warm the room slowly: film colder than the air sweats, and a filter patch must not get"
        " wet."
    )
    FILM = "Fix a probe to the film and never through it: a hole lets in what the bag keeps out."
    WET = "Only low-voltage wire belongs near wet racks: keep plugs and power supplies away."
    BLIND = "While this stands, no word from bagwatt is no all-clear: walk the room yourself."
    TIMES = "Until it is set, trust no time in a message."
    COPY = "Charts made from the copy show the room as it was, not as it is."
    FARM = "Whoever looks at this room through the broker does not see it as it is."
    GAP = "No word from bagwatt for that time is no all-clear."


@dataclass(frozen=True, slots=True)
class Saying:
    """The words of one kind and reason: `claim` follows the subject's name."""

    claim: str
    do: str
    caution: Caution


_HOT_LOOK = (
    "{go} look at its colour, for wet corners and free water, and smell at the filter patch;"
    " see that its probe sits flat and nothing blocks its sides. A strong bag may be warm too:"
    " mark it, give it room, or pull it as the last job of the round, and write down what you"
    " found."
)
_COLD_LOOK = (
    "{go} see whether its growth has moved since the last walk, look for wet corners and free"
    " water, and smell at the filter patch. A bag pauses for one to three days after a shake"
    " (write shakes in the book). Look at its lot-mates before you blame the room."
)
_READ_AGAIN = (
    "{go} read it and its neighbours once more with the infrared thermometer, same spot, same"
    " distance. One more reading settles more than any guess; there is nothing else to do yet."
)
_COOL_BAG = (
    "{go} give this bag and those beside it more air and a hand's width of distance, move bags"
    " from the top shelf lower down, and let the room fall by {a_little}."
)
_RETAPE = (
    "Press it flat on the film where film touches substrate, mid-height, under tape and foam,"
    " with the filter patch free; then write `re-taped` in the book."
)

_BAGS: dict[tuple[AlarmKind, Reason], Saying] = {
    (AlarmKind.HOT_BAG, Reason.ADDED_HEAT): Saying(
        "is warmer than its cohort", _HOT_LOOK, Caution.BAG
    ),
    (AlarmKind.HOT_BAG, Reason.EARLIER_RUNS): Saying(
        "is warmer than earlier runs of its strain", _HOT_LOOK, Caution.BAG
    ),
    (AlarmKind.HOT_BAG, Reason.LOOK_AGAIN): Saying(
        "may be warmer than its cohort", _READ_AGAIN, Caution.BAG
    ),
    (AlarmKind.STALLED_BAG, Reason.COLDER): Saying(
        "is colder than its cohort", _COLD_LOOK, Caution.BAG
    ),
    (AlarmKind.STALLED_BAG, Reason.NEVER_WARMED): Saying(
        "has not warmed up with its cohort", _COLD_LOOK, Caution.BAG
    ),
    (AlarmKind.STALLED_BAG, Reason.EARLIER_RUNS): Saying(
        "is colder than earlier runs of its strain", _COLD_LOOK, Caution.BAG
    ),
    (AlarmKind.STALLED_BAG, Reason.LOOK_AGAIN): Saying(
        "may be colder than its cohort", _READ_AGAIN, Caution.BAG
    ),
    (AlarmKind.OVERHEATING, Reason.CORE_LIMIT): Saying(
        "is over its strain's core limit", _COOL_BAG, Caution.AIR
    ),
    (AlarmKind.OVERHEATING, Reason.CORE_FORECAST): Saying(
        "is on its way to its strain's core limit", _COOL_BAG, Caution.AIR
    ),
    (AlarmKind.LOT_APART, Reason.LOT_HOT): Saying(
        "is warmer than earlier runs",
        "{go} go along the whole lot: distance between bags, fan, shelf air. A rich recipe or"
        " strong spawn warms a whole lot too; look at two or three bags closely before you touch"
        " the rest.",
        Caution.BAG,
    ),
    (AlarmKind.LOT_APART, Reason.LOT_SLOW): Saying(
        "is colder than earlier runs",
        "{go} see whether the whole lot stands still, and smell at a few filter patches. Hold"
        " sister jars of the same spawn until you know more, and look up the load and the mix of"
        " that day.",
        Caution.BAG,
    ),
    (AlarmKind.LOT_APART, Reason.MANY_AT_ONCE): Saying(
        "has many bags apart at once",
        "{go} begin with the bag named first. Many bags of one lot together point to what they"
        " share: place, load, spawn, handling. Each bag is marked; this one message stands for"
        " theirs.",
        Caution.BAG,
    ),
    (AlarmKind.LOT_APART, Reason.LOT_UNEVEN): Saying(
        "has bags unlike each other",
        "{go} go along the whole lot and look at each bag: they differ in warmth or in time by more"
        " than bags of one lot do. Where most bags of a lot go wrong, each at its own time, none"
        " stands out for long. Hold sister jars of the same spawn until you know more.",
        Caution.BAG,
    ),
    (AlarmKind.LOT_APART, Reason.COHORT_IS_TWO): Saying(
        "looks like two cohorts",
        "{go} read the labels: two strains, recipes or spawn lots booked as one make every bag"
        " look apart. If so, mend the book.",
        Caution.BAG,
    ),
}

_ROOM: dict[tuple[AlarmKind, Reason], Saying] = {
    (AlarmKind.ROOM, Reason.ROOM_HIGH): Saying(
        "is above its band",
        "{go} check cooler, fan and thermostat, and open towards cooler air if there is any.",
        Caution.AIR,
    ),
    (AlarmKind.ROOM, Reason.ROOM_LOW): Saying(
        "is below its band",
        "{go} check heater, thermostat and door. Bags lag the air by hours, so there is time to"
        " do it in order.",
        Caution.REWARM,
    ),
    (AlarmKind.ROOM, Reason.HEATER_STUCK): Saying(
        "climbs as if a heater were stuck on",
        "{go} cut the heater's power at its plug or breaker: turning the thermostat down is not"
        " enough. Then open the door and run the fan until the bags stop climbing.",
        Caution.POWER,
    ),
    (AlarmKind.ROOM, Reason.COOLER_STUCK): Saying(
        "falls as if a cooler were stuck on",
        "{go} cut the cooler's power at its plug or breaker and shut door and vents. Bags lag the"
        " air by hours: stopped soon, they lose little.",
        Caution.POWER,
    ),
    (AlarmKind.ROOM, Reason.NO_COOLING): Saying(
        "warms as if cooling were lost",
        "{go} check the cooler and its breaker, open towards cooler air, run the fans, spread the"
        " bags, and carry the warmest to a cooler room before they heat each other.",
        Caution.AIR,
    ),
    (AlarmKind.ROOM, Reason.NO_HEATING): Saying(
        "cools as if heating were lost",
        "{go} check the heater, its plug, its breaker and the thermostat, and keep the door shut.",
        Caution.FUMES,
    ),
    (AlarmKind.ROOM, Reason.DOOR): Saying(
        "cools as if a door stood open",
        "{go} shut the door and look at the bags on the low shelf beside it; note how long it"
        " stood open.",
        Caution.REWARM,
    ),
    (AlarmKind.ROOM, Reason.MANY_AT_ONCE): Saying(
        "has many bags apart at once",
        "{go} look at the room first: heater, cooler, fan, door. Then go to the bag named first."
        " Single alarms are held back meanwhile.",
        Caution.BAG,
    ),
    (AlarmKind.ROOM, Reason.DRIFT): Saying(
        "drifts from its usual course",
        "{go} compare the thermostat's setting with the air at the bags, then heater, cooler, fan"
        " and door.",
        Caution.POWER,
    ),
    (AlarmKind.ROOM, Reason.POWER_CUT): Saying(
        "looks to be without power",
        "{go} check the breaker, and ask whether the neighbours are dark too. Keep the door shut"
        " in the cold; open it if the bags are near their peak. Note when the power is back.",
        Caution.FUMES,
    ),
}

_PROBES: dict[tuple[AlarmKind, Reason], Saying] = {
    (AlarmKind.PROBE, Reason.PROBE_SILENT): Saying(
        "is silent", "Check its wire, plug, battery and the box it hangs on.", Caution.WET
    ),
    (AlarmKind.PROBE, Reason.PROBE_STUCK): Saying(
        "is stuck on one value",
        "Unplug it and plug it in again; swap it if it stays on the same value.",
        Caution.WET,
    ),
    (AlarmKind.PROBE, Reason.PROBE_JUMPED): Saying(
        "jumped",
        "If bag or probe was moved, write it in the book. If nobody touched it, see that it still"
        " sits flat where it was.",
        Caution.FILM,
    ),
    (AlarmKind.PROBE, Reason.PROBE_FELL_OFF): Saying(
        "reads air, as if it fell off its bag", _RETAPE, Caution.FILM
    ),
    (AlarmKind.PROBE, Reason.PROBE_UNIT_SLIP): Saying(
        "seems to send another unit",
        "See which unit its sender is set to, °F or °C, and set that unit for its source.",
        Caution.WET,
    ),
    (AlarmKind.PROBE, Reason.PROBE_IMPOSSIBLE): Saying(
        "sends values that can't be",
        "Check its plug, its wire and its supply voltage; swap it if it goes on.",
        Caution.WET,
    ),
}

_HOUSE: dict[tuple[AlarmKind, Reason], Saying] = {
    (AlarmKind.HOUSE, Reason.BROKER_LOST): Saying(
        "has lost its broker",
        "See that the broker runs and the network is up. bagwatt goes on trying, and what the"
        " broker keeps queued is read later.",
        Caution.BLIND,
    ),
    (AlarmKind.HOUSE, Reason.BROKER_REFUSED): Saying(
        "was refused by its broker",
        "Check user, password and certificates in the settings, then run `bagwatt check`.",
        Caution.BLIND,
    ),
    (AlarmKind.HOUSE, Reason.PORT_LOST): Saying(
        "has lost its serial port",
        "Plug the cable in again; bagwatt opens the port by itself as soon as it is there."
        " `bagwatt check` names the port it waits for.",
        Caution.BLIND,
    ),
    (AlarmKind.HOUSE, Reason.SOURCE_SILENT): Saying(
        "is connected but sends nothing",
        "Look whether the gateway or board behind it has power, then at its wires.",
        Caution.BLIND,
    ),
    (AlarmKind.HOUSE, Reason.STORE_FAILING): Saying(
        "can't be written",
        "Free space on the card or disk, or swap it if it is worn or read-only. Copy what is"
        " there to another disk first.",
        Caution.BLIND,
    ),
    (AlarmKind.HOUSE, Reason.CLOCK_UNSET): Saying(
        "is not set",
        "Give the Pi a network or a battery clock. Readings are kept meanwhile and marked, as"
        " their times are in doubt.",
        Caution.TIMES,
    ),
    (AlarmKind.HOUSE, Reason.CLOCK_BEHIND): Saying(
        "is behind, and no bag is judged until it is right",
        "Give the Pi a network, or set its clock. Readings are kept meanwhile, and bagwatt goes on"
        " by itself once the time is right.",
        Caution.BLIND,
    ),
    (AlarmKind.HOUSE, Reason.CLOCK_SET_BACK): Saying(
        "was ahead and is set back",
        "Bags are judged again. What was told since then is void, and what still holds is told"
        " anew; what was booked meanwhile bears the wrong time (`bagwatt book log`). See where the"
        " Pi has its time from (network, battery clock), and walk the room once.",
        Caution.GAP,
    ),
    (AlarmKind.HOUSE, Reason.CHANNEL_FAILING): Saying(
        "does not get messages through",
        "Run `bagwatt check --send`, and check address, password and network. Messages wait and"
        " are tried again.",
        Caution.BLIND,
    ),
    (AlarmKind.HOUSE, Reason.MIRROR_FAILING): Saying(
        "does not take its copy",
        "Watching and messages go on without it. `bagwatt mirror` says what the server answers and"
        " how much waits; nothing of it is lost before store.retention has passed.",
        Caution.COPY,
    ),
    (AlarmKind.HOUSE, Reason.NAME_TAKEN): Saying(
        "is taken: another monitor watches a room of this name",
        "Give one of the two another name (room.name), or stop one if both watch the same room."
        " This one goes on watching and telling people, and leaves the name on the broker to"
        " the other.",
        Caution.FARM,
    ),
    (AlarmKind.HOUSE, Reason.NEIGHBOURS_CUT_OFF): Saying(
        "are not told how this room stands",
        "See that the broker of `neighbours` runs and lets bagwatt write there; `bagwatt check`"
        " tries it. Watching and messages go on without it.",
        Caution.FARM,
    ),
    (AlarmKind.HOUSE, Reason.WAS_DARK): Saying(
        "was dark",
        "Look why: power, card or a restart. Walk the room once with the infrared thermometer to"
        " fill the gap.",
        Caution.GAP,
    ),
}

SAYINGS: dict[tuple[AlarmKind, Reason], Saying] = {**_BAGS, **_ROOM, **_PROBES, **_HOUSE}

#: For a reason nobody foresaw with a kind: the reason's own name, and a look.
UNFORESEEN = {
    AlarmKind.HOUSE: Saying("needs a look ({reason})", "Run `bagwatt check`.", Caution.BLIND),
    AlarmKind.PROBE: Saying("needs a look ({reason})", "See how it sits and reads.", Caution.WET),
    AlarmKind.ROOM: Saying("needs a look ({reason})", "{go} see what changed.", Caution.POWER),
}
UNFORESEEN_BAG = Saying("needs a look ({reason})", _READ_AGAIN, Caution.BAG)

#: What is so again once an alarm is back to normal.
BACK: dict[AlarmKind, str] = {
    AlarmKind.HOT_BAG: "is as warm as its cohort again, which says nothing else of it",
    AlarmKind.STALLED_BAG: "is as warm as its cohort again, which says nothing else of it",
    AlarmKind.OVERHEATING: "is clear of its core limit again, which says nothing else of it",
    AlarmKind.LOT_APART: "does as earlier runs did again",
    AlarmKind.ROOM: "is on its usual course again",
    AlarmKind.PROBE: "can be trusted again",
    AlarmKind.HOUSE: "works again",
}

#: Why a bag's or lot's alarm ended without its warmth being back to normal.
NOT_JUDGED: dict[Reason, str] = {
    Reason.NO_SIGNAL: "there is no usable reading of it",
    Reason.HANDLED: "it was handled a short while ago",
    Reason.FEW_PEERS: "under three live bags are left to compare it with",
    Reason.LEARNING: "it is still being learnt",
    Reason.BESIDE_HOT: "all that warms it may be the hotter bag beside it",
    Reason.PROBE_SILENT: "its probe is silent",
    Reason.PROBE_STUCK: "its probe is stuck on one value",
    Reason.PROBE_JUMPED: "its probe jumped",
    Reason.PROBE_FELL_OFF: "its probe seems to have fallen off, and what it read is air",
    Reason.PROBE_UNIT_SLIP: "its probe seems to send another unit than is set",
    Reason.PROBE_IMPOSSIBLE: "its probe sends values that can't be",
}
