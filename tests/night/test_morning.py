"""The morning message on a real store and a real receiver: words first, a picture after them."""

from __future__ import annotations

import base64
import os
import shutil
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from monitor.channels import PushChannel, build_channels
from monitor.clock import FastClock
from monitor.live import Live
from monitor.morning import AFTER_S, TOO_LATE_S, Morning, night_to_tell
from monitor.outbox import Sender
from monitor.review import pictures
from monitor.settings.load import load_settings
from monitor.settings.schema import Secret, Settings
from monitor.sources.folder import BAG_COLUMNS, PROBE_COLUMNS
from monitor.store import open_reader
from monitor.values import Verdict
from tests.night.room import NIGHT_S, write_config
from tests.receivers import HttpReceiver
from tests.waiting import wait_until

PEOPLE = """\
recipients:
  - name: owner
    urls: [{env: OWNER}]
  - name: hand
    urls: [{env: OWNER}]
    units: F
    quiet: {from: "22:00", until: "09:30"}
night: {at: "08:00"}
"""
MORNING_ONLY = '{at: "08:00", to: [owner], picture: none}'


@dataclass
class Told:
    """A watch's morning with a store of its own."""

    settings: Settings
    said: list[str]
    woken: list[bool]

    def tell(self, now_s: float, messages: int) -> None:
        morning = Morning(self.settings, self.said.append, lambda: self.woken.append(True))
        morning.look(now_s)
        wait_until(lambda: len(self.rows()) >= messages or bool(self.said), 30.0)
        wait_until(lambda: not (morning._thread and morning._thread.is_alive()), 30.0)

    def rows(self) -> list[tuple[str, str, str]]:
        with open_reader(self.settings.store.path) as store:
            return [
                (m.message_id, m.recipient, m.attachment)
                for row in store.outbox()
                if (m := row.delivery.message)
            ]


def told_in(folder: Path, store: Path) -> Told:
    """The store of the night that went wrong, and two people who are told."""
    write_config(folder)
    text = (folder / "monitor.yaml").read_text(encoding="utf-8")
    (folder / "monitor.yaml").write_text(text.replace("channels: none\n", PEOPLE), "utf-8")
    (folder / "room").mkdir()
    shutil.copy(store, folder / "bagwatt.db")
    settings = load_settings(folder, {**os.environ, "OWNER": "json://127.0.0.1:9/x"})
    return Told(settings, [], [])


@pytest.fixture(scope="module")
def told(config: Path, tmp_path_factory: pytest.TempPathFactory) -> Told:
    """The morning after, told once: both messages of both people are in the outbox."""
    told = told_in(tmp_path_factory.mktemp("morning"), config / "bagwatt.db")
    told.tell(NIGHT_S + AFTER_S, 4)
    assert told.said == []
    return told


def channels_to(receiver: HttpReceiver, told: Told) -> dict[str, PushChannel]:
    owner = told.settings.recipients[0]
    return build_channels([owner.model_copy(update={"urls": (Secret(receiver.url),)})])


def test_message_comes_in_words_and_then_as_a_picture(told: Told) -> None:
    """Each in their own degrees."""
    rows = told.rows()
    assert [row[:2] for row in rows] == [
        ("night:2026-03-04:owner", "owner"),
        ("night:2026-03-04:hand", "hand"),
        ("night:2026-03-04:picture:owner", "owner"),
        ("night:2026-03-04:picture:hand", "hand"),
    ]
    assert [Path(row[2]).name for row in rows] == ["", "", "2026-03-04-C.png", "2026-03-04-F.png"]
    with open_reader(told.settings.store.path) as store:
        by_person = {row.delivery.message.recipient: row for row in store.outbox()[:2]}
    assert "°C" in by_person["owner"].delivery.message.body
    assert "°F" in by_person["hand"].delivery.message.body
    half_past_nine = datetime(2026, 3, 5, 9, 30, tzinfo=UTC).timestamp()
    assert by_person["hand"].due_s == half_past_nine
    assert by_person["owner"].due_s == NIGHT_S + AFTER_S


def test_message_written_again_after_a_restart_is_none_the_more(told: Told) -> None:
    """Its id follows from the night and the person."""
    rows = told.rows()
    quick = told.settings.night.model_copy(update={"picture": "none"})
    again = Told(told.settings.model_copy(update={"night": quick}), [], [])
    again.tell(NIGHT_S + AFTER_S + 60.0, 4)
    assert again.woken and told.rows() == rows


def test_missing_picture_stops_no_word(
    config: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The drawing hangs: the words are there, and the log says what is missing."""
    monkeypatch.setattr(pictures, "LIMIT_S", 0.01)
    told = told_in(tmp_path / "c", config / "bagwatt.db")
    told.tell(NIGHT_S + AFTER_S, 99)
    assert [row[0] for row in told.rows()] == ["night:2026-03-04:owner", "night:2026-03-04:hand"]
    assert len(told.said) == 1 and "went without it" in told.said[0]


def test_picture_arrives_as_an_attachment_after_the_words(told: Told) -> None:
    """Through the real outbox and Apprise to an HTTP receiver."""
    with HttpReceiver() as receiver:
        channels = channels_to(receiver, told)
        sender = Sender(told.settings.store.path, channels, FastClock(NIGHT_S + 300.0, 1.0))
        sender.start()
        try:
            wait_until(lambda: len(receiver.taken) == 2, 20.0)
        finally:
            sender.stop()
        words, picture = receiver.taken
    assert words["title"] == "Night of Wed 4 Mar: not quiet, please read"
    assert words["attachments"] == []
    assert picture["title"] == "The night as a picture"
    (attached,) = picture["attachments"]
    assert base64.b64decode(attached["base64"]).startswith(b"\x89PNG")


def test_picture_that_is_gone_is_left_out(told: Told) -> None:
    """It must not make the channel fail: the words went before it."""
    with open_reader(told.settings.store.path) as store:
        message = store.outbox()[2].delivery.message
    Path(message.attachment).unlink()
    with HttpReceiver() as receiver:
        channels = channels_to(receiver, told)
        answer = channels["owner"].send(message)
    assert answer.verdict is Verdict.DELIVERED
    assert receiver.asked == []


def test_message_is_due_at_its_hour_for_some_hours(told: Told) -> None:
    """Not a minute before the night's last frame is closed, and not in the afternoon."""
    zone = ZoneInfo("Europe/London")
    for late_s, due in ((0.0, False), (AFTER_S, True), (TOO_LATE_S, True), (5 * 3600.0, False)):
        window = night_to_tell(NIGHT_S + late_s, told.settings, zone)
        assert (window is not None) is due
        assert window is None or window.end_s == NIGHT_S
    never = told.settings.model_copy(update={"night": type(told.settings.night)()})
    assert night_to_tell(NIGHT_S + AFTER_S, never, zone) is None


def test_watch_tells_the_night_by_itself(tmp_path: Path) -> None:
    """A watch that has just begun in the morning says that nothing was heard."""
    folder = write_config(tmp_path / "c")
    text = (folder / "monitor.yaml").read_text(encoding="utf-8")
    text = text.replace("channels: none\n", PEOPLE.replace('{at: "08:00"}', MORNING_ONLY))
    (folder / "monitor.yaml").write_text(text, "utf-8")
    (folder / "room").mkdir()
    for name, columns in (("bags.csv", BAG_COLUMNS), ("probes.csv", PROBE_COLUMNS)):
        (folder / "room" / name).write_text(",".join(columns) + "\n", "utf-8")
    with HttpReceiver() as receiver:
        settings = load_settings(folder, {**os.environ, "OWNER": receiver.url})
        live = Live(settings, FastClock(NIGHT_S + AFTER_S, 1.0), lambda line: None, 0.0)
        live.begin()
        try:
            wait_until(lambda: live.turn() or receiver.taken, 20.0)
        finally:
            live.end()
    (message,) = receiver.taken
    assert message["title"].startswith("Night of Wed 4 Mar")
    assert message["message"].startswith("Nothing was heard in this night")
