"""The night review as a message at a set time: the words first, a picture after them.

It is made in a thread of its own beside the main loop, with its own connections to the store;
the picture is drawn by a child process. Whatever goes wrong with it is said and tried again
for a while; a missing picture never stops a word.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from datetime import datetime, timedelta, tzinfo
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from monitor.assemble import plan_of
from monitor.errors import BagwattError, PictureError
from monitor.outbox.routing import SendAt, in_quiet, minute_of_day, send_at_s
from monitor.review.nights import Window, last_night
from monitor.settings.schema import RecipientSettings, Settings
from monitor.store import Store, open_reader
from monitor.values import Delivery, Message, Urgency

if TYPE_CHECKING:
    from monitor.review.night_nouns import Night

#: The last frame of the night must be closed before it is told.
AFTER_S = 120.0
#: Later than this nobody wants to hear of the night any more.
TOO_LATE_S = 3 * 3600.0
TRY_AGAIN_S = 600.0
PICTURES_KEPT = 14


def night_to_tell(now_s: float, settings: Settings, zone: tzinfo) -> Window | None:
    """The night whose message is due, from its hour on for some hours; else None."""
    hours = settings.night
    if hours.at_minute is None:
        return None
    today = datetime.fromtimestamp(now_s, zone)
    for back in (0, 1):
        day = today - timedelta(days=back)
        at = day.replace(
            hour=hours.at_minute // 60, minute=hours.at_minute % 60, second=0, microsecond=0, fold=0
        )
        late_s = now_s - at.timestamp() - AFTER_S
        if 0 <= late_s <= TOO_LATE_S:
            return last_night(at.timestamp(), hours.from_minute, hours.until_minute, zone)
    return None


def told_to(settings: Settings) -> tuple[RecipientSettings, ...]:
    """Who gets the message."""
    wanted = settings.night.to
    return tuple(one for one in settings.recipients if not wanted or one.name in wanted)


class Morning:
    """Looks whether a night is to be told, and tells it once."""

    def __init__(
        self, settings: Settings, say: Callable[[str], None], wake: Callable[[], None]
    ) -> None:
        """`wake` has the outbox look for new messages; `say` a line of the log."""
        self._settings = settings
        self._zone = ZoneInfo(settings.room.timezone)
        self._say = say
        self._wake = wake
        self._told_s = 0.0
        self._next_s = 0.0
        self._thread: threading.Thread | None = None

    def set_back(self) -> None:
        """The clock had been ahead: what it had told of nights to come holds no more."""
        self._told_s = self._next_s = 0.0

    def look(self, now_s: float) -> None:
        """Begin the message if it is due; returns at once."""
        if self._thread is not None and self._thread.is_alive():
            return
        window = night_to_tell(now_s, self._settings, self._zone)
        if window is None or window.start_s <= self._told_s or now_s < self._next_s:
            return
        if not told_to(self._settings):
            return
        self._next_s = now_s + TRY_AGAIN_S
        self._thread = threading.Thread(
            target=self._tell, args=(window, now_s), name="morning", daemon=True
        )
        self._thread.start()

    def _tell(self, window: Window, now_s: float) -> None:
        try:
            night = self._review(window)
            self._send(words(night, self._settings, now_s, self._zone), now_s)
            self._told_s = window.start_s
            if self._settings.night.picture == "attached":
                self._send(self._pictures(night, now_s), now_s)
        except PictureError as error:
            self._say(f"{error}; the night's words went without it")
        except BagwattError as error:
            self._say(f"the night can't be told: {error}")
        except Exception as error:  # it must never end the daemon
            self._say(f"the night can't be told: {error!r}")

    def _review(self, window: Window) -> Night:
        # Once a day: a watch begins without it.
        from monitor.review.gather import book_then, gather_night  # noqa: PLC0415
        from monitor.review.night import review_night  # noqa: PLC0415

        with open_reader(self._settings.store.path) as store:
            plan = plan_of(*book_then(store, window))
            return review_night(gather_night(store, self._settings, plan, window, self._zone))

    def _send(self, messages: list[Delivery], now_s: float) -> None:
        with Store.open(self._settings.store.path, now_s, check=False) as store:
            store.add_events((), messages)
        self._wake()

    def _pictures(self, night: Night, now_s: float) -> list[Delivery]:
        """A message with the picture for each person, drawn once for each kind of degrees."""
        from monitor.review.sheet import draw_night  # noqa: PLC0415

        room, zone = self._settings.room, self._zone
        folder = self._settings.store.path.with_name(f"{self._settings.store.path.name}.nights")
        folder.mkdir(mode=0o700, exist_ok=True)
        made = []
        drawn: dict[str, Path] = {}
        for recipient in told_to(self._settings):
            units = recipient.units or room.units
            if units not in drawn:
                drawn[units] = folder / f"{_evening(night, zone)}-{units}.png"
                draw_night(night, room.name, units, zone, drawn[units])
            path = drawn[units].absolute()
            made.append(_delivery(night, recipient, self._settings, now_s, zone, str(path)))
        for old in sorted(folder.glob("*.png"))[:-PICTURES_KEPT]:
            old.unlink(missing_ok=True)
        return made


def words(night: Night, settings: Settings, now_s: float, zone: tzinfo) -> list[Delivery]:
    """The message for each person, in their degrees."""
    return [_delivery(night, recipient, settings, now_s, zone) for recipient in told_to(settings)]


def _evening(night: Night, zone: tzinfo) -> str:
    return datetime.fromtimestamp(night.window.start_s, zone).date().isoformat()


def _delivery(
    night: Night,
    recipient: RecipientSettings,
    settings: Settings,
    now_s: float,
    zone: tzinfo,
    picture: str = "",
) -> Delivery:
    """The id follows from night and person, so that a run done again makes no second one."""
    from monitor.review.night_words import night_message, title  # noqa: PLC0415

    units = recipient.units or settings.room.units
    heading, body = night_message(night, settings.room.name, units, zone)
    if picture:
        heading, body = "The night as a picture", f"{settings.room.name}, {title(night, zone)}"
    quiet = recipient.quiet is not None and in_quiet(recipient.quiet, minute_of_day(now_s, zone))
    at = SendAt.AFTER_QUIET if quiet else SendAt.NOW
    due_s = send_at_s(at, recipient, now_s, zone)
    message = Message(
        message_id=f"night:{_evening(night, zone)}:{'picture:' if picture else ''}{recipient.name}",
        recipient=recipient.name,
        title=heading,
        body=body,
        urgency=Urgency.LATER,
        created_s=now_s,
        expires_s=due_s + 12 * 3600.0,
        attachment=picture,
    )
    return Delivery(message, 0, due_s, "waiting", "the night review")
