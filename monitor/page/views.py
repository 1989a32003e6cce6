"""What each address shows and does, for people."""

from __future__ import annotations

import re
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import quote
from zoneinfo import ZoneInfo

from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from monitor.book.answers import ask_of_alarm, pending
from monitor.clock import Clock
from monitor.errors import BookError
from monitor.page.acts import Entry, take_walk
from monitor.page.alarm_cards import cards
from monitor.page.ask import DEVICE, UNITS, VISIT, Ask, local_path
from monitor.page.bag import look_at_bag
from monitor.page.bag_words import bag_values
from monitor.page.ended import ended_since
from monitor.page.latest import Latest
from monitor.page.login import Desk
from monitor.page.machine import look_at_monitor
from monitor.page.outlook import Outlook
from monitor.page.room import RoomView, look_at_room
from monitor.page.rounds import look_at_walk
from monitor.page.show import Show, mark_text
from monitor.settings.schema import Settings
from monitor.store import Store, open_reader
from monitor.store.spare import newest
from monitor.terms import HOUR_S

DEVICE_COOKIE_S = 400 * 86400
DONE_SHOWN_S = 24 * HOUR_S
_HOURS = re.compile("[0-9]{1,3}")

MakeRoute = Callable[..., Route]


class Views:
    """The pages."""

    def __init__(
        self,
        settings: Settings,
        clock: Clock,
        latest: Latest,
        desk: Desk,
        show: Show,
        keep: Callable[..., None],
    ) -> None:
        self._settings = settings
        self._path = settings.store.path
        self._clock = clock
        self._latest = latest
        self._desk = desk
        self._show = show
        self._keep = keep
        self._zone = ZoneInfo(settings.room.timezone)
        self._outlook = Outlook(settings)
        self._seen: tuple[Any, RoomView] | None = None
        self._drawn: dict[tuple[Any, str], Any] = {}
        self._drawing = threading.Lock()

    def routes(self, route: MakeRoute) -> list[Route]:
        """Every address."""
        return [
            route("/", self.rack),
            route("/bag/{code:path}", self.bag),
            route("/alarms", self.alarms),
            route("/alarms/{alarm}/{verb}", self.answer, post=True),
            route("/walk", self.walk),
            route("/walk", self.enter, post=True),
            route("/night", self.night),
            route("/forecast", self.forecast),
            route("/monitor", self.monitor),
            route("/units", self.set_units, post=True, open_to_all=True),
            route("/login", self.login, open_to_all=True),
            route("/login", self.log_in, post=True, open_to_all=True),
            route("/link/{secret}", self.link, open_to_all=True),
            route("/link", self.take_link, post=True, open_to_all=True),
            route("/logout", self.log_out, post=True, open_to_all=True),
        ]

    def rack(self, ask: Ask) -> Response:
        """The room as its rack stands, drawn once for all who look while nothing happens."""
        with open_reader(self._newest()) as store, self._drawing:
            frame = self._latest.outcome.frame.end_s if self._latest.outcome else None
            mark = (store.mark(), frame)
            if self._seen is None or self._seen[0] != mark:
                self._seen, self._drawn = (mark, look_at_room(store, self._latest)), {}
            room = self._seen[1]
            racks = self._drawn.get((mark, ask.units))
            if racks is None:
                racks = self._show.piece("racks.html", racks=room.racks, units=ask.units)
                self._drawn[mark, ask.units] = racks
            asked = pending(store)
        told = mark_text(mark[0])
        found = cards(room.alarms, asked, ask.units, self._zone)
        waiting = [card for card in found if card.open]
        return self._show.page(
            ask,
            "rack.html",
            title=self._settings.room.name,
            mark=told,
            now_s=self._clock.wall_s(),
            racks=racks,
            bags=room.bags,
            at_s=room.at_s,
            alarms=waiting[:3],
            more=len(waiting) - 3,
            answered=len(found) - len(waiting),
        )

    def bag(self, ask: Ask) -> Response:
        """One bag."""
        with open_reader(self._path) as store:
            mark = mark_text(store.mark())
            view = look_at_bag(store, self._latest, ask.path("code"))
            asked = pending(store)
        if view is None:
            return self._show.error(ask, 404, f"The book has no bag {ask.path('code')[:60]}.")
        found = cards(view.alarms, asked, ask.units, self._zone)
        now_s = self._clock.wall_s()
        return self._show.page(
            ask,
            "bag.html",
            title=view.bag.bag,
            mark=mark,
            view=view,
            now_s=now_s,
            alarms=found,
            back=f"/bag/{quote(view.bag.bag, safe='')}",
            **bag_values(view, ask.units, self._zone, now_s),
        )

    def alarms(self, ask: Ask) -> Response:
        """What stands, and what ended since yesterday."""
        now_s = self._clock.wall_s()
        with open_reader(self._newest()) as store:
            mark = mark_text(store.mark())
            found = cards(store.standing(), pending(store), ask.units, self._zone)
            last = store.last_frame()
            since_s = (last.closed_s if last else now_s) - DONE_SHOWN_S
            ended = ended_since(store, since_s, ask.units, self._zone)
        return self._show.page(
            ask, "alarms.html", title="Alarms", mark=mark, now_s=now_s, alarms=found, ended=ended
        )

    def answer(self, ask: Ask) -> Response:
        """Acknowledge, shelve, unshelve, take out of service and back."""
        hours = ask.form.get("hours", "12")
        for_s = int(hours) * HOUR_S if _HOURS.fullmatch(hours) else 0.0
        verb = ask.path("verb").replace("-", " ")
        try:
            with self._open(self._newest()) as store:
                ask_of_alarm(
                    store,
                    self._clock.wall_s(),
                    ask.who.name,
                    ask.path("alarm"),
                    verb,
                    ask.form.get("note", ""),
                    for_s,
                )
        except BookError as error:
            return self._show.error(ask, 409, f"{error.what.capitalize()}: {error.next_step}.")
        return RedirectResponse(local_path(ask.form.get("back", "/alarms")), 303)

    def walk(self, ask: Ask) -> Response:
        """The next bag of the walk, with big keys."""
        return self._walk_page(ask, ask.query("bag"))

    def enter(self, ask: Ask) -> Response:
        """One reading typed in, where no script is at work."""
        form = ask.form
        entry = Entry(
            form.get("key", "")[:64],
            form.get("bag", ""),
            form.get("value", ""),
            self._walk_units(ask),
        )
        if not entry.key:
            return self._show.error(ask, 400, "The form lacks its key: load the page anew.")
        with self._open() as store:
            taken = take_walk(store, self._settings, self._clock, ask.who.name, [entry])[0]
        if taken.state == "refused":
            return self._walk_page(ask, entry.bag, taken.why, entry.typed)
        return RedirectResponse(f"/walk?after={quote(entry.bag, safe='')}", 303)

    def _walk_page(self, ask: Ask, bag: str, why: str = "", typed: str = "") -> Response:
        with open_reader(self._path) as store:
            round_ = look_at_walk(
                store, self._clock.wall_s(), ask.who.name, bag, ask.query("after")
            )
        return self._show.page(
            ask,
            "walk.html",
            409 if why else 200,
            title="Walk",
            round=round_,
            why=why,
            typed=typed[:12],
            thermometer=self._walk_units(ask),
        )

    def _walk_units(self, ask: Ask) -> str:
        """What the room's thermometer shows where the settings say so, else who walks chose."""
        return self._settings.walk.units or ask.units

    def night(self, ask: Ask) -> Response:
        """What happened while you slept."""
        with open_reader(self._path) as store:
            mark = mark_text(store.mark())
            told = self._outlook.night(store, ask.units)
        return self._show.page(ask, "night.html", title="Last night", mark=mark, told=told)

    def forecast(self, ask: Ask) -> Response:
        """What the bags in the room will do."""
        with open_reader(self._path) as store:
            mark = mark_text(store.mark())
            told = self._outlook.forecast(store, ask.units)
        return self._show.page(ask, "night.html", title="The days ahead", mark=mark, told=told)

    def monitor(self, ask: Ask) -> Response:
        """What the monitor itself is doing."""
        with open_reader(self._path) as store:
            mark = mark_text(store.mark())
            told = look_at_monitor(store, self._settings, self._latest, self._clock.wall_s())
        return self._show.page(
            ask, "monitor.html", title="The monitor itself", mark=mark, machine=told
        )

    def set_units(self, ask: Ask) -> Response:
        """°C or °F on this device."""
        answer = RedirectResponse(local_path(ask.form.get("back", "/")), 303)
        chosen = "F" if ask.form.get("units") == "F" else "C"
        self._keep(answer, UNITS, chosen, DEVICE_COOKIE_S)
        return answer

    def login(self, ask: Ask) -> Response:
        """Name and password."""
        names = [one.name for one in self._people() if one.password]
        following = local_path(ask.query("next"))
        return self._show.page(
            ask, "login.html", title="Log in", why="", following=following, can=bool(names)
        )

    def log_in(self, ask: Ask) -> Response:
        """Check a password; a few tries from each address, and of all."""
        address = ask.request.client.host if ask.request.client else ""
        following = local_path(ask.form.get("next", "/"))
        status, why = 403, "Name and password don't fit."
        if not self._desk.may_try(address):
            status, why = 429, "Too many tries: wait five minutes."
        else:
            visit = self._desk.log_in(ask.form.get("name", ""), ask.form.get("password", ""))
            if visit is not None:
                answer = RedirectResponse(following, 303)
                self._keep(answer, VISIT, visit)
                return answer
        return self._show.page(
            ask, "login.html", status, title="Log in", why=why, following=following, can=True
        )

    def link(self, ask: Ask) -> Response:
        """A device's own link: one button, so that a preview of the link does nothing."""
        return self._show.page(ask, "link.html", title="Your link", secret=ask.path("secret"))

    def take_link(self, ask: Ask) -> Response:
        """Keep the link's secret on this device."""
        address = ask.request.client.host if ask.request.client else ""
        secret = ask.form.get("secret", "")
        if not self._desk.may_try(address):
            return self._show.error(ask, 429, "Too many tries: wait five minutes.")
        if not self._desk.knows_link(secret):
            return self._show.error(ask, 403, "This link is not, or no longer, in the settings.")
        answer = RedirectResponse("/", 303)
        self._keep(answer, DEVICE, secret, DEVICE_COOKIE_S)
        return answer

    def log_out(self, ask: Ask) -> Response:
        """Forget who this device is."""
        self._desk.log_out(ask.visit)
        answer = RedirectResponse("/login" if self._people() else "/", 303)
        for name in (VISIT, DEVICE):
            answer.delete_cookie(name, httponly=True, samesite="strict")
        answer.headers["clear-site-data"] = '"cache"'
        return answer

    def _people(self) -> tuple[Any, ...]:
        return self._settings.page.people if self._settings.page else ()

    def _newest(self) -> Path:
        """What the watch writes just now: while the card fails, what stands is not on it."""
        return newest(self._path, self._settings.store.spare)

    def _open(self, path: Path | None = None) -> Store:
        return Store.open(path or self._path, self._clock.wall_s(), check=False)
