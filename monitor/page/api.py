"""A small API for the page's own script and for a grower's; described in openapi.json."""

from __future__ import annotations

from collections.abc import Callable
from importlib.resources import files
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from monitor.book.answers import ask_of_alarm
from monitor.clock import Clock
from monitor.errors import BookError
from monitor.page.acts import Entry, Taken, take_walk
from monitor.page.alarm_cards import Card, cards
from monitor.page.ask import Ask, problem
from monitor.page.bag import Point, look_at_bag
from monitor.page.latest import Latest
from monitor.page.login import Desk
from monitor.page.room import Tile, look_at_room
from monitor.page.show import mark_text
from monitor.settings.schema import Settings
from monitor.store import Store, open_reader
from monitor.store.spare import newest
from monitor.terms import HOUR_S

MOST_ENTRIES = 100
LONGEST_KEY, LONGEST_CODE, LONGEST_TYPED = 64, 120, 20


class Api:
    """Answers in JSON, temperatures in °C, differences in K, times in seconds since 1970."""

    def __init__(self, settings: Settings, clock: Clock, latest: Latest, desk: Desk) -> None:
        self._settings = settings
        self._path = settings.store.path
        self._clock = clock
        self._latest = latest
        self._desk = desk
        self._zone = ZoneInfo(settings.room.timezone)

    def routes(self, route: Callable[..., Route]) -> list[Route]:
        """Every address."""
        return [
            route("/api/openapi.json", self.description),
            route("/api/me", self.me),
            route("/api/pulse", self.pulse),
            route("/api/room", self.room),
            route("/api/bag/{code:path}", self.bag),
            route("/api/alarms", self.alarms),
            route("/api/alarms/{alarm}", self.answer, post=True),
            route("/api/walk", self.walk, post=True),
        ]

    def description(self, _: Ask) -> Response:
        """The API in OpenAPI 3.1."""
        text = (files("monitor.page") / "openapi.json").read_bytes()
        return Response(text, media_type="application/json")

    def me(self, ask: Ask) -> Response:
        """Who asks, with a token for what is posted."""
        who = ask.who
        token = self._desk.form_token(ask.visit)
        answer = {"name": who.name, "may_act": who.may_act, "units": ask.units, "token": token}
        return JSONResponse(answer)

    def pulse(self, _: Ask) -> Response:
        """A text that changes when something happened: cheap to ask often."""
        with open_reader(self._newest()) as store:
            mark = mark_text(store.mark())
        return JSONResponse({"mark": mark})

    def room(self, _: Ask) -> Response:
        """Every bag in the room."""
        with open_reader(self._newest()) as store:
            view = look_at_room(store, self._latest)
        bags = [
            _tile(tile)
            for rack in view.racks
            for shelf in rack.shelves
            for tile in shelf.tiles
            if tile.bag is not None
        ]
        return JSONResponse({"at_s": view.at_s, "bags": bags})

    def bag(self, ask: Ask) -> Response:
        """One bag with its last four days by the hour."""
        with open_reader(self._path) as store:
            view = look_at_bag(store, self._latest, ask.path("code"))
        if view is None:
            return problem(404, "the book has no such bag")
        near = view.near
        return JSONResponse(
            {
                "bag": view.bag.bag,
                "at_s": view.at_s,
                "in_room": view.in_room,
                "reason": view.evidence.reason if view.evidence else None,
                "hours": [_point(point) for point in view.course],
                "next_slot": near.next_slot,
                "next_inoculated": near.next_inoculated,
                "same_lot": near.same_lot,
            }
        )

    def alarms(self, ask: Ask) -> Response:
        """What stands."""
        with open_reader(self._newest()) as store:
            found = cards(store.standing(), {}, ask.units, self._zone)
        return JSONResponse({"alarms": [_card(card) for card in found]})

    def answer(self, ask: Ask) -> Response:
        """Ask something of an alarm."""
        verb, note = ask.body.get("verb"), ask.body.get("note", "")
        hours = ask.body.get("hours", 12)
        number = isinstance(hours, int | float) and not isinstance(hours, bool)
        whole = number and 1 <= hours <= 168 and hours == int(hours)
        if not isinstance(verb, str) or not isinstance(note, str) or not whole:
            return problem(400, "verb and note are texts, hours a whole number from 1 to 168")
        try:
            with self._open(self._newest()) as store:
                ask_of_alarm(
                    store,
                    self._clock.wall_s(),
                    ask.who.name,
                    ask.path("alarm"),
                    verb,
                    "".join(sign for sign in note if sign.isprintable()),
                    hours * HOUR_S,
                )
        except BookError as error:
            return problem(409, error.what, error.next_step)
        return JSONResponse({"asked": verb}, 202)

    def walk(self, ask: Ask) -> Response:
        """Readings of a walk, each stored once under its key."""
        entries = _entries(ask.body)
        if entries is None:
            text = "readings: 1 to 100 of {key, bag, typed, units: C or F, age_s}"
            return problem(400, "the readings can't be read", text)
        with self._open() as store:
            taken = take_walk(store, self._settings, self._clock, ask.who.name, entries)
        return JSONResponse({"readings": [_taken(one) for one in taken]})

    def _newest(self) -> Path:
        """What the watch writes just now."""
        return newest(self._path, self._settings.store.spare)

    def _open(self, path: Path | None = None) -> Store:
        return Store.open(path or self._path, self._clock.wall_s(), check=False)


def _entries(body: dict[str, Any]) -> list[Entry] | None:
    """The readings of a body; None where any of them is not as described."""
    found = body.get("readings")
    if not isinstance(found, list) or not 1 <= len(found) <= MOST_ENTRIES:
        return None
    entries = [_entry(one) for one in found]
    return [one for one in entries if one is not None] if None not in entries else None


def _entry(one: Any) -> Entry | None:
    if not isinstance(one, dict):
        return None
    key, bag, typed = one.get("key"), one.get("bag"), one.get("typed")
    units, age_s = one.get("units", "C"), one.get("age_s", 0)
    texts = ((key, LONGEST_KEY), (bag, LONGEST_CODE), (typed, LONGEST_TYPED))
    if not all(isinstance(text, str) and 0 < len(text) <= most for text, most in texts):
        return None
    if units not in ("C", "F") or isinstance(age_s, bool) or not isinstance(age_s, int | float):
        return None
    return Entry(str(key), str(bag), str(typed), units, float(age_s) if abs(age_s) < 1e9 else -1.0)


def _tile(tile: Tile) -> dict[str, Any]:
    assert tile.bag is not None
    bag = tile.bag
    return {
        "bag": bag.bag,
        "strain": bag.strain,
        "rack": bag.rack,
        "shelf": bag.shelf,
        "slot": bag.slot,
        "excess_k": tile.excess_k,
        "state": tile.word,
    }


def _point(point: Point) -> dict[str, Any]:
    return {
        "at_s": point.at_s,
        "surface_c": point.surface_c,
        "air_c": point.air_c,
        "explained_c": point.explained_c,
        "core_c": point.core_c,
        "evidence": point.evidence,
    }


def _card(card: Card) -> dict[str, Any]:
    return {
        "alarm": card.alarm_id,
        "urgency": card.urgency,
        "state": card.state,
        "since_s": card.since_s,
        "bag": card.bag,
        "message": card.line,
    }


def _taken(one: Taken) -> dict[str, Any]:
    return {
        "key": one.key,
        "bag": one.bag,
        "state": one.state,
        "why": one.why,
        "value_c": one.value_c,
    }
