"""Where a failing store's spare lies: on another medium, else in memory; and who is told of it."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from monitor.cli import main
from monitor.errors import SpareLost
from monitor.store import Store, spare_path
from monitor.store.spare_place import doubt, lying
from monitor.values import Condition
from tests.air_room import write_air_room
from tests.faults.kills import write_room
from tests.watched import GONE, NOW_S, Room

pytestmark = pytest.mark.on_disk


def room_with(tmp_path: Path, medium: Path) -> Room:
    write_room(tmp_path, 1)
    path = tmp_path / "monitor.yaml"
    text = path.read_text("utf-8")
    path.write_text(text.replace("path: bagwatt.db", f"path: bagwatt.db, spare: {medium}"), "utf-8")
    return Room(tmp_path)


def cut_power(room: Room) -> None:
    """What lies in memory is gone; the process is dropped as it stands."""
    memory = spare_path(room.settings.store.path)
    assert memory is not None
    shutil.rmtree(memory.parent)


def card_fails(room: Room, house: tuple[Condition, ...] = ()) -> None:
    """Minutes pass until no more room is found on it."""
    room.fill_card()
    while not room.log.problem:
        room.minute(house)


def on_medium(room: Room, medium: Path) -> bool:
    return room.log.store.path.parent == medium


def test_what_lies_on_another_medium_outlives_a_power_cut(tmp_path: Path, medium: Path) -> None:
    room = room_with(tmp_path, medium)
    room.minute()
    card_fails(room, (GONE,))
    assert on_medium(room, medium)
    assert "a power cut leaves it" in "".join(room.said)
    cut_power(room)
    room.open()
    assert room.log.store.path == room.settings.store.path
    room.minute((GONE,))
    room.check()
    assert not list(medium.iterdir())


def test_memory_does_where_the_medium_is_not_there_and_it_is_said(
    tmp_path: Path, medium: Path
) -> None:
    room = room_with(tmp_path, medium / "pulled-out")
    card_fails(room)
    assert room.log.store.path == spare_path(room.settings.store.path)
    said = "\n".join(room.said)
    assert "pulled-out: No such file or directory; no spare is kept there" in said
    assert "a power cut would lose it" in said
    assert room.after_back_off()
    room.check()


def test_a_folder_on_the_disk_of_the_store_is_no_other_medium(tmp_path: Path) -> None:
    """As the empty folder of a stick that is not mounted."""
    assert "same disk" in doubt(tmp_path / "bagwatt.db", tmp_path)


def test_a_medium_that_comes_back_after_the_run_went_on_is_kept_aside(
    tmp_path: Path, medium: Path
) -> None:
    """Its closes would lie before those the card has by now."""
    room = room_with(tmp_path, medium)
    room.minute()
    card_fails(room)
    (left,) = lying(room.settings.store.path, medium)
    room.log.store.close()
    away = left.with_suffix(".away")
    left.rename(away)
    room.open()
    room.minute()
    room.minute()
    away.rename(left)
    room.open()
    assert "the run has gone on without it" in "\n".join(room.said)
    assert len(list(medium.glob("*.not-taken-back-*"))) == 1
    room.minute()
    assert room.log.store.path == room.settings.store.path


def test_a_medium_that_can_t_be_read_back_stops_readings_no_longer_than_three_tries(
    tmp_path: Path, medium: Path
) -> None:
    """The watch ends with a reason; the next one goes on with what the card has."""
    room = room_with(tmp_path, medium)
    room.minute()
    card_fails(room)
    assert on_medium(room, medium)
    room.log.store.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    path = room.log.store.path
    path.write_bytes(b"\xff" * path.stat().st_size)
    with pytest.raises(SpareLost, match="starts anew with what the card has"):
        for _ in range(3):
            room.clock.pass_s(60.0)
            room.log.look_after(at_once=True)
    room.open()
    assert room.log.store.path == room.settings.store.path
    assert "can't be taken back" in "\n".join(room.said)
    room.minute()
    assert room.log.problem == ""


@pytest.mark.parametrize(
    ("there", "state", "words"),
    [(True, "ok", "takes what comes"), (False, "wrong", "memory would do until a power cut")],
)
def test_check_tells_where_a_spare_would_lie(
    tmp_path: Path,
    medium: Path,
    capsys: pytest.CaptureFixture[str],
    there: bool,
    state: str,
    words: str,
) -> None:
    write_settings(tmp_path, medium if there else medium / "pulled-out")
    main(["check", "--config", str(tmp_path), "--json"])
    (found,) = spares_told(capsys.readouterr().out)
    assert found["state"] == state and words in found["detail"]


def test_commands_say_that_the_card_fails_and_alarms_shows_what_stands(
    tmp_path: Path, medium: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """An alarm raised during the outage is listed and answered there; other commands say so."""
    write_settings(tmp_path, medium)
    room = Room(tmp_path)
    room.minute()
    card_fails(room, (GONE,))
    (alarm,) = room.log.store.standing()
    main(["alarms", "--config", str(tmp_path)])
    listed = capsys.readouterr()
    assert alarm.raised.alarm_id in listed.out
    assert "can't be written since" in listed.err and "(shown here)" in listed.err
    main(["alarms", "--acknowledge", alarm.raised.alarm_id, "--config", str(tmp_path)])
    assert "acknowledge" in capsys.readouterr().out
    assert room.log.read_journal(room.clock.wall_s()) is not None
    assert room.log.store.standing()[0].acknowledged_by
    main(["backup", str(tmp_path / "copy.db"), "--config", str(tmp_path)])
    assert "(not shown here)" in capsys.readouterr().err
    main(["check", "--config", str(tmp_path), "--json"])
    (found,) = spares_told(capsys.readouterr().out)
    assert found["state"] == "wrong" and str(medium) in found["detail"]
    assert room.after_back_off()
    main(["alarms", "--config", str(tmp_path)])
    assert "can't be written" not in capsys.readouterr().err
    with Store.open(room.settings.store.path, NOW_S) as store:
        assert store.standing()[0].acknowledged_by


def write_settings(folder: Path, medium: Path) -> None:
    """A room without sources, which `check` need not wait for."""
    settings = (
        "room: {name: Quarry Lane, folder: room, timezone: Europe/London, band_low: 10 C,"
        " band_high: 30 C}\nchannels: none\n"
        f"store: {{path: bagwatt.db, spare: {medium}}}\nframes: {{length: 1 min, grace: 1 s}}\n"
    )
    write_air_room(folder, ["k0"], settings)


def spares_told(text: str) -> list[dict[str, str]]:
    return [one for one in json.loads(text)["findings"] if one["what"] == "spare"]
