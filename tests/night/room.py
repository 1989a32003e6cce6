"""An invented night that goes wrong: a stuck heater, a door, a probe that dies."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo

from demo.faults import ProbeFault, RoomFault
from demo.folder import BAG_COLUMNS, bag_rows, probe_rows, stamp, write_csv
from demo.house import House
from demo.live import LiveRoom
from demo.rooms import DAY_S, FIRST, HOUR_S, START_S, Room, make_room

ZONE_NAME = "Europe/London"
ZONE = ZoneInfo(ZONE_NAME)
#: The evening of the night that goes wrong.
EVENING_S = START_S + 2 * DAY_S + 20 * HOUR_S
NIGHT_S = EVENING_S + 12 * HOUR_S
STUCK_S, STUCK_FOR_S = EVENING_S + 4.5 * HOUR_S, 2.5 * HOUR_S
DOOR_S, DOOR_FOR_S = EVENING_S + 1.5 * HOUR_S, 1500.0
DEAD_S = EVENING_S + 8 * HOUR_S
DEAD_BAG = 5

SETTINGS = """\
room:
  name: Quarry Lane spawn run
  folder: room
  timezone: {zone}
  units: {units}
  band_low: 18 C
  band_high: 25 C
channels: none
store: {{path: bagwatt.db}}
{more}"""


def room() -> Room:
    """Ten bags of two strains in a heavy room whose air probes speak every two minutes.

    The room's own mass makes the thermostat tick a few times an hour, as real ones do.
    """
    trouble = replace(
        FIRST.trouble, contaminated=0.0, run_chance=0.0, lot_chance=0.0, stalled=0.0,
        fell=0, stuck=0, silent=0, heater_stuck_chance=0.0,
    )  # fmt: skip
    spec = replace(
        FIRST,
        name="night",
        lines=FIRST.lines[:2],
        bags_per_cohort=5,
        days=3.34,
        session_days=(0.25,),
        probes=replace(FIRST.probes, every_s=120.0, missing=0.0, blips=0.0),
        trouble=trouble,
    )
    drawn = make_room(spec, 11)
    house = House(
        setpoint_c=21.0, set_back_k=1.5, outside_c=4.0, capacity_j_k=6e5, doors_per_day=0.0,
        shelf_step_k=0.3, stuck_heater_w=1500.0, humidity=80.0, outside_drift_k=0.5,
    )  # fmt: skip
    faults = (
        RoomFault("heater stuck", STUCK_S, STUCK_FOR_S),
        RoomFault("door open", DOOR_S, DOOR_FOR_S),
    )
    dead = (ProbeFault("silent", DEAD_BAG, DEAD_S),)
    return replace(
        drawn,
        house=house,
        room_faults=faults,
        probe_faults=dead,
    )


def write_config(path: Path, units: str = "C", zone: str = ZONE_NAME, more: str = "") -> Path:
    """A settings folder for that room."""
    path.mkdir(parents=True, exist_ok=True)
    (path / "monitor.yaml").write_text(
        SETTINGS.format(units=units, zone=zone, more=more), encoding="utf-8"
    )
    return path


def write_room(path: Path, shift_s: float = 0.0) -> Path:
    """The room's days in the replay format, perhaps moved to another date.

    Bag probes speak every ten minutes only, as battery probes do.
    """
    drawn = room()
    path.mkdir(parents=True, exist_ok=True)
    unit = {"temperature": "Cel", "humidity": "%RH"}
    write_csv(
        path / "readings.csv.gz",
        ["time", "probe", "quantity", "value", "unit"],
        (
            [stamp(one.time_s + shift_s), one.probe, one.quantity, one.value, unit[one.quantity]]
            for one in LiveRoom(drawn, keep_truth=False).advance(NIGHT_S + 600.0)
            if not one.probe.startswith("p") or one.time_s % 600.0 == 0.0
        ),
    )
    moved = replace(drawn, session_s=tuple(at_s + shift_s for at_s in drawn.session_s))
    write_csv(path / "bags.csv", BAG_COLUMNS, bag_rows(moved))
    write_csv(path / "probes.csv", ["probe", "place", "rack", "shelf"], probe_rows(drawn))
    return path
