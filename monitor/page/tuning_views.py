"""The addresses of tuning: the list, one strain, and having it worked out anew."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from urllib.parse import quote
from zoneinfo import ZoneInfo

from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from monitor.page.ask import Ask
from monitor.page.show import Show
from monitor.page.tuning import MARKS, Tuner, list_tunings, look_at_tuning
from monitor.settings.schema import Settings
from monitor.store import open_reader


def tuning_path(strain: str) -> str:
    return f"/tuning/{quote(strain, safe='')}"


class TuningViews:
    """The pages of tuning."""

    def __init__(self, settings: Settings, show: Show, tuner: Tuner) -> None:
        self._path = settings.store.path
        self._zone = ZoneInfo(settings.room.timezone)
        self._show = show
        self._tuner = tuner

    def routes(self, route: Callable[..., Route]) -> list[Route]:
        """Every address."""
        return [
            route("/tuning", self.every),
            route("/tuning/{strain:path}", self.one),
            route("/tuning/{strain:path}", self.work_out, post=True),
        ]

    def every(self, ask: Ask) -> Response:
        """Every strain, and when it was tuned."""
        with open_reader(self._path) as store:
            found = [
                (one.strain, tuning_path(one.strain), self._day(one.at_s))
                for one in list_tunings(store)
            ]
        return self._show.page(ask, "tunings.html", title="Tuning", found=found)

    def one(self, ask: Ask) -> Response:
        """What tuning found of one strain."""
        strain = ask.path("strain")
        if refused := self._stranger(ask, strain):
            return refused
        view = look_at_tuning(self._path, strain, ask.units)
        return self._show.page(
            ask,
            "tuning.html",
            title=f"Tuning {strain}",
            strain=strain,
            address=tuning_path(strain),
            view=view,
            when=self._day(view.at_s if view else None),
            marks=MARKS,
            running=self._tuner.strain,
            trouble=self._tuner.trouble(strain),
            can=self._tuner.can,
        )

    def work_out(self, ask: Ask) -> Response:
        """Have a strain tuned anew, in a process of its own."""
        strain = ask.path("strain")
        if refused := self._stranger(ask, strain):
            return refused
        if not self._tuner.start(strain):
            return self._show.error(ask, 409, "This can't be worked out here just now.")
        return RedirectResponse(tuning_path(strain), 303)

    def _stranger(self, ask: Ask, strain: str) -> Response | None:
        with open_reader(self._path) as store:
            known = any(one.strain == strain for one in list_tunings(store))
        text = f"The book has no bag of {strain[:60]}."
        return None if known else self._show.error(ask, 404, text)

    def _day(self, at_s: float | None) -> str:
        if at_s is None:
            return ""
        return datetime.fromtimestamp(at_s, self._zone).strftime("%Y-%m-%d %H:%M")
