"""The named terms of the road: quantities, flags, refusals, reasons, alarm words."""

from __future__ import annotations

from enum import StrEnum

HOUR_S, DAY_S = 3600.0, 86400.0

#: The source of readings that were taken by hand, whichever way they came in.
BY_HAND = "walk"

#: Book events after which a bag is no longer in the spawn run, and the one that brings it back.
LEAVES = frozenset({"pulled", "isolated", "to fruiting", "composted"})
COMES_BACK = "returned"
#: Why a bag was pulled, as the book offers it.
CAUSES = (
    "yeast", "bacteria", "wet spot", "green mould", "blue-green mould", "black mould",
    "orange mould", "pin mould", "mites", "dead spawn", "heat", "dried out", "torn bag",
    "soured mix", "unknown",
)  # fmt: skip

#: Causes that are no organism: the bag is lost, and nothing came in.
NO_ORGANISM = frozenset({"heat", "dried out", "torn bag", "dead spawn", "soured mix"})


class Quantity(StrEnum):
    """What a probe measures."""

    TEMPERATURE = "temperature"
    HUMIDITY = "humidity"


class Flag(StrEnum):
    """A doubt about one reading, kept beside its raw value and never in its place."""

    RANGE = "out of range"
    POWER_ON = "power-on value"
    UNIT_SLIP = "unit slip"
    RATE = "faster than a bag"
    STUCK = "stuck"
    FELL_OFF = "fell off"
    DUPLICATE = "duplicate"
    LATE = "late"
    FUTURE = "future time"
    TIME_UNKNOWN = "time unknown"
    CLOCK_UNSET = "clock not synced"
    CLOCK_AHEAD = "clock ahead"
    RETAINED = "retained"
    UNKNOWN_PROBE = "unknown probe"
    UNKNOWN_BAG = "unknown bag"


class Refusal(StrEnum):
    """Why bytes from a source did not become a reading; the bytes go to quarantine."""

    TOO_LONG = "too long"
    NOT_TEXT = "not text"
    NOT_A_NUMBER = "not a number"
    NOT_FINITE = "not finite"
    BOOLEAN = "true or false"
    NULL = "no value"
    NOT_JSON = "not JSON"
    DUPLICATE_KEY = "duplicate key"
    TOO_DEEP = "too deep"
    MISSING_FIELD = "missing field"
    BAD_TIME = "bad time"
    UNKNOWN_UNIT = "unknown unit"
    NO_MATCH = "line does not match"
    BAD_CHECKSUM = "bad checksum"
    NOT_SENML = "not SenML"
    POWER_ON = "power-on value"
    NO_DEVICE = "no device"
    EMPTY = "empty"
    UNMAPPED_TOPIC = "unmapped topic"


class AlarmKind(StrEnum):
    """The six things bagwatt raises an alarm about, and a whole lot apart from its strain."""

    HOT_BAG = "hot bag"
    STALLED_BAG = "stalled bag"
    OVERHEATING = "overheating"
    LOT_APART = "lot apart"
    ROOM = "room"
    PROBE = "probe"
    HOUSE = "house"


class Urgency(StrEnum):
    """When a grower should act: go in now, look on the next walk, read it in the morning."""

    NOW = "now"
    TODAY = "today"
    LATER = "later"

    @property
    def rank(self) -> int:
        """0 for `later`, 2 for `now`."""
        return ("later", "today", "now").index(self.value)


class Transition(StrEnum):
    """What happened to an alarm (terms of IEC 62682 and ISA-18.2)."""

    RAISED = "raised"
    URGENCY_CHANGED = "urgency changed"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned to normal"
    SHELVED = "shelved"
    UNSHELVED = "unshelved"
    SUPPRESSED = "suppressed by design"
    UNSUPPRESSED = "no longer suppressed"
    OUT_OF_SERVICE = "out of service"
    IN_SERVICE = "in service"


class Reason(StrEnum):
    """The single named reason of a verdict or an alarm: stored, printed, tested, documented."""

    # a bag beside its cohort
    ADDED_HEAT = "added heat"
    COLDER = "colder than its cohort"
    NEVER_WARMED = "never warmed"
    LIKE_ITS_COHORT = "like its cohort"
    LEARNING = "still learning this bag"
    FEW_PEERS = "under three live peers"
    EARLIER_RUNS = "judged against earlier runs"
    NO_SIGNAL = "no usable reading"
    HANDLED = "handled a short while ago"
    LOOK_AGAIN = "look again"
    BESIDE_HOT = "beside a hotter bag"
    # a core against its limits
    CORE_LIMIT = "core over its limit"
    CORE_FORECAST = "core will pass its limit"
    # a lot, a cohort
    LOT_HOT = "lot warmer than earlier runs"
    LOT_SLOW = "lot colder than earlier runs"
    COHORT_IS_TWO = "this cohort looks like two"
    LOT_UNEVEN = "this lot is uneven"
    MANY_AT_ONCE = "many bags at once"
    # the room
    ROOM_HIGH = "room above its band"
    ROOM_LOW = "room below its band"
    HEATER_STUCK = "heater stuck on"
    COOLER_STUCK = "cooler stuck on"
    NO_COOLING = "cooling lost"
    NO_HEATING = "heating lost"
    DOOR = "door open"
    DRIFT = "room drifting"
    POWER_CUT = "power cut"
    # a probe
    PROBE_SILENT = "silent"
    PROBE_STUCK = "stuck"
    PROBE_JUMPED = "jumped"
    PROBE_FELL_OFF = "fell off"
    PROBE_UNIT_SLIP = "unit slip"
    PROBE_IMPOSSIBLE = "impossible values"
    # the monitor itself
    BROKER_LOST = "broker lost"
    BROKER_REFUSED = "broker refused the login"
    PORT_LOST = "serial port lost"
    SOURCE_SILENT = "source silent"
    STORE_FAILING = "store failing"
    CLOCK_UNSET = "clock not synced"
    CLOCK_BEHIND = "clock behind"
    CLOCK_SET_BACK = "clock set back"
    CHANNEL_FAILING = "channel failing"
    MIRROR_FAILING = "mirror failing"
    NAME_TAKEN = "room name taken"
    NEIGHBOURS_CUT_OFF = "neighbours not told"
    WAS_DARK = "was dark"


class Verdict(StrEnum):
    """A channel's answer to one attempt."""

    DELIVERED = "delivered"
    TRY_AGAIN = "try again"
    REFUSED = "refused"
