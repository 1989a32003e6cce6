"""The night behind and the days ahead, reckoned once an hour for all who look."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar
from zoneinfo import ZoneInfo

from markupsafe import Markup

from monitor.assemble import plan_of
from monitor.review.forecast import Forecast
from monitor.review.forecast_words import forecast_lines
from monitor.review.gather import book_then, gather_night
from monitor.review.night import review_night
from monitor.review.night_chart import chart_of, svg
from monitor.review.night_nouns import Night
from monitor.review.night_words import Section, happening_labels, headline, sections, title
from monitor.review.nights import last_night
from monitor.review.runs import forecast_of
from monitor.settings.schema import Settings
from monitor.store import Reader
from monitor.terms import HOUR_S

Found = TypeVar("Found")


@dataclass(frozen=True, slots=True)
class Told:
    """A first line, when it is of, a picture, and the rest under its heads."""

    first: str
    when: str
    sections: tuple[Section, ...]
    picture: Markup | None = None


class Outlook:
    """Reviews and forecasts in words; what is costly is kept until the next hour's frame."""

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self._zone = ZoneInfo(settings.room.timezone)
        self._kept: dict[str, tuple[float, object]] = {}
        self._reckoning = threading.Lock()  # one at a time: the daemon shares the processor

    def night(self, store: Reader, units: str) -> Told | None:
        """The newest night as `bagwatt night` tells it; None before the first frame."""
        last = store.last_frame()
        if last is None:
            return None
        night = self._hourly("night", last.end_s, lambda: self._review(store, last.end_s))
        first = headline(night, units, self._zone)
        labels = happening_labels(night, units, self._zone)
        picture = svg(chart_of(night, units, self._zone, labels), f"The air in the night. {first}")
        return Told(
            first,
            title(night, self._zone),
            tuple(sections(night, units, self._zone)),
            Markup(picture),  # svg escapes what it is given
        )

    def _review(self, store: Reader, end_s: float) -> Night:
        hours = self._settings.night
        window = last_night(end_s, hours.from_minute, hours.until_minute, self._zone)
        plan = plan_of(*book_then(store, window))
        return review_night(gather_night(store, self._settings, plan, window, self._zone))

    def forecast(self, store: Reader, units: str) -> Told | None:
        """The days ahead as `bagwatt forecast` tells them; None before the first frame."""
        last = store.last_frame()
        if last is None:
            return None
        found: Forecast = self._hourly(
            "forecast", last.end_s, lambda: forecast_of(store, self._settings, last.closed_s)
        )
        parts = _parted(forecast_lines(found, units, self._zone))
        suggested = next((one for one in parts if one.name == "Suggested"), None)
        first = suggested.lines[0] if suggested and suggested.lines else ""
        if first and not first.startswith("Nothing"):
            first = f"Suggested: {first}"
        return Told(first, "", tuple(parts))

    def _hourly(self, name: str, end_s: float, reckon: Callable[[], Found]) -> Found:
        hour = end_s // HOUR_S
        with self._reckoning:
            kept = self._kept.get(name)
            if kept is None or kept[0] != hour:
                self._kept[name] = kept = (hour, reckon())
        return kept[1]  # type: ignore[return-value]  # what this name's reckoning gave


def _parted(lines: list[str]) -> list[Section]:
    """Lines under their heads; a line set in further goes on with the one above it."""
    parts: list[tuple[str, list[str]]] = []
    for line in lines:
        text = line.strip().removeprefix("- ")
        if not text:
            continue
        if not line.startswith(" "):
            parts.append((text.rstrip(":"), []))
        elif line.startswith("    ") and parts[-1][1]:
            parts[-1][1][-1] += f"; {text}"
        else:
            parts[-1][1].append(text)
    return [Section(name, tuple(inside)) for name, inside in parts]
