"""Templates with what every page needs, and the words for numbers in each person's degrees."""

from __future__ import annotations

import re
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape
from starlette.responses import HTMLResponse, Response

from monitor import __version__
from monitor.page.ask import Ask, problem
from monitor.page.login import Desk
from monitor.page.tiles import bag_path, tiles
from monitor.settings.schema import Settings
from monitor.store.spare import outage
from monitor.words import difference, duration, moment, temperature
from monitor.words.quantities import unbroken

#: The marks of the navigation: address, word.
PLACES = (
    ("/", "Rack"),
    ("/alarms", "Alarms"),
    ("/walk", "Walk"),
    ("/night", "Night"),
    ("/tuning", "Tuning"),
    ("/monitor", "Monitor"),
)

FARM = ("/farm", "Farm")

_TYPED = re.compile(r"`([^`]+)`")


def mark_text(mark: tuple[int, int, int]) -> str:
    """Where the store stood when a page was made: the pulse compares it."""
    return ".".join(str(number) for number in mark)


def coded(text: str) -> Markup:
    """A sentence whose words in backticks are what one types."""
    safe = str(escape(text))  # as plain text: else what is put into it would be escaped too
    return Markup(_TYPED.sub(r"<code>\1</code>", safe))


class Show:
    """Renders templates."""

    def __init__(self, settings: Settings, desk: Desk) -> None:
        self._room, self._store = settings.room, settings.store
        self._places = (*PLACES, FARM) if settings.neighbours else PLACES
        self._zone = ZoneInfo(settings.room.timezone)
        self._desk = desk
        self._templates = Environment(
            loader=PackageLoader("monitor.page"),
            autoescape=True,
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
        )
        self._templates.filters.update(
            coded=coded,
            unbroken=unbroken,
            tiles=tiles,
            difference=difference,
            temperature=temperature,
            span=duration,
        )
        self._templates.globals.update(bag_path=bag_path)

    def warm(self) -> None:
        """Compile the templates before somebody waits for them."""
        for name in self._templates.list_templates():
            self._templates.get_template(name)

    def page(self, ask: Ask, template: str, status: int = 200, **values: Any) -> HTMLResponse:
        """A whole page; its forms carry this visit's token."""
        return HTMLResponse(
            self.piece(
                template,
                ask=ask,
                who=ask.who,
                units=ask.units,
                token=self._desk.form_token(ask.visit),
                room=self._room,
                places=self._places,
                here=ask.request.url.path,
                version=__version__,
                failing=outage(self._store.path, self._store.spare),
                **values,
            ),
            status,
        )

    def piece(self, template: str, **values: Any) -> Markup:
        """Part of a page."""
        return Markup(  # the templates escape what they are given
            self._templates.get_template(template).render(clock=self.clock, **values)
        )

    def clock(self, at_s: float | None, now_s: float | None = None) -> str:
        """A moment on the room's wall; with `now_s` its day as far as needed."""
        if at_s is None:
            return "not yet"
        if now_s is not None:
            return moment(at_s, self._zone, now_s)
        return datetime.fromtimestamp(at_s, self._zone).strftime("%a %H:%M")

    def error(self, ask: Ask, status: int, text: str) -> Response:
        """An answer that says what is wrong: for a person, or for a script."""
        if ask.wants_json:
            return problem(status, text)
        return self.page(ask, "error.html", status, text=text, title="Not done")
