"""A night with a stuck heater, a door and a dead probe, told right in words and files."""

from __future__ import annotations

import json
import time
from collections.abc import Sequence
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest

from monitor.cli import main
from monitor.errors import PictureError
from monitor.folder_night import folder_night
from monitor.review import pictures, sheet
from monitor.review.night import review_night
from monitor.review.night_bags import Judged
from monitor.review.night_html import night_html
from monitor.review.night_nouns import Heard, Night, NightData, Phase
from monitor.review.night_words import headline, night_text
from monitor.review.nights import Window
from monitor.store import Store
from monitor.values import Reason
from tests.night.golden import GOLDEN, ROOM, pages
from tests.night.room import (
    DEAD_S,
    DOOR_FOR_S,
    DOOR_S,
    EVENING_S,
    NIGHT_S,
    STUCK_S,
    ZONE,
    write_config,
)
from tests.readme_examples import missing

MINUTES = 60.0
PNG_BEGINS = b"\x89PNG\r\n\x1a\n"


@pytest.fixture(scope="module")
def night(data: NightData) -> Night:
    return review_night(data)


def test_night_reads_as_the_golden_texts(data: NightData) -> None:
    """°C, °F, the morning message, and the same night through the begin of summer time."""
    for name, text in pages(data).items():
        assert text + "\n" == (GOLDEN / name).read_text(encoding="utf-8"), name


def test_the_night_in_the_readme_is_told_so(data: NightData) -> None:
    assert missing("The night", pages(data)["night_c.txt"]) == []


def test_heat_that_creeps_up_long_past_the_peak_is_no_peak_to_come(data: NightData) -> None:
    """The golden oysters at a fifth of their greatest heat, rising by chance for a night; where
    their strain would only peak tomorrow it is still to come."""
    begin_s = data.window.start_s
    creeping = tuple(
        (
            replace(one, heat_w_per_kg=0.3 + 0.002 * (one.at_s - begin_s) / 3600.0),
            evidence,
        )
        if data.bags[one.bag].strain == "AM-3"
        else (one, evidence)
        for one, evidence in data.estimates
    )
    crept = replace(data, estimates=creeping)
    assert "AM-3 lot lot-1: 5 bags, 3 days 2 h old, 0.32 W/kg; peak passed about Wed 4 Mar" in (
        " ".join(night_text(review_night(crept), ROOM, "C", ZONE).split())
    )
    later = replace(crept, peak_h={"AM-3": 100.0})
    found = {one.strain: one.phase for one in review_night(later).cohorts}
    assert found["AM-3"] is Phase.TO_COME


def test_a_cohort_that_has_hardly_begun_is_not_past_its_peak(data: NightData) -> None:
    """A flicker of a few hundredths of a watt is no peak where that of the strain is ahead."""
    begin_s = data.window.start_s

    def flickering(whole: Sequence[Judged], start_w: float) -> tuple[Judged, ...]:
        return tuple(
            (replace(one, heat_w_per_kg=start_w - 0.002 * (one.at_s - begin_s) / 3600.0), evidence)
            for one, evidence in whole
        )

    low = replace(data, earlier=(), estimates=flickering(data.estimates, 0.09))
    risen = replace(data, earlier=(), estimates=flickering(data.estimates, 0.3))
    ahead, unknown = {"AM-3": 100.0}, dict[str, float]()
    for one, peak_h, to_come in ((low, ahead, True), (low, unknown, False), (risen, ahead, False)):
        found = {each.strain: each for each in review_night(replace(one, peak_h=peak_h)).cohorts}
        assert (found["AM-3"].phase is Phase.TO_COME) is to_come


def test_night_tells_what_was_done_to_the_room(night: Night) -> None:
    """Each happening within minutes of the truth, and the probe that died with its hour."""
    told = {one.reason: one for one in night.happenings}
    assert set(told) == {Reason.HEATER_STUCK, Reason.DOOR}
    assert told[Reason.HEATER_STUCK].start_s == pytest.approx(STUCK_S, abs=20 * MINUTES)
    door = told[Reason.DOOR]
    assert door.start_s == pytest.approx(DOOR_S, abs=15 * MINUTES)
    assert door.end_s == pytest.approx(DOOR_S + DOOR_FOR_S, abs=20 * MINUTES)
    (dead,) = night.probes
    assert dead.probe == "p005" and not dead.back
    assert dead.longest is not None
    assert dead.longest.start_s == pytest.approx(DEAD_S, abs=10 * MINUTES)


def test_night_of_the_real_road_tells_the_same(config: Path) -> None:
    """Out of the store and out of the folder: equal data, and the three things in it."""
    window = Window(EVENING_S, NIGHT_S)
    from_folder, _, _, zone = folder_night(config / "room", config, lambda newest_s, _: window)
    from monitor.assemble import plan_of
    from monitor.review.gather import book_then, gather_night
    from monitor.settings.load import load_settings
    from monitor.store import open_reader

    settings = load_settings(config, {}, outside=False)
    with open_reader(settings.store.path) as store:
        stored = gather_night(store, settings, plan_of(*book_then(store, window)), window, zone)
    first = headline(review_night(stored), "C", zone)
    assert "as if a heater were stuck on" in first
    assert "as if a door stood open" in first
    assert "probe p005 silent since 03:50" in first
    assert stored.air_c == from_folder.air_c
    assert stored.heard == from_folder.heard
    assert stored.before == from_folder.before
    assert night_text(review_night(stored), ROOM, "C", zone) == night_text(
        review_night(from_folder), ROOM, "C", zone
    )


def test_quiet_night_says_so_in_its_first_line(data: NightData) -> None:
    """The night before: same room, nothing broke."""
    window = Window(EVENING_S - 24 * 3600.0, NIGHT_S - 24 * 3600.0)
    quiet = review_night(
        replace(data, window=window, events=(), heard={name: Heard(700) for name in data.heard})
    )
    assert headline(quiet, "C", ZONE) == "All quiet."
    assert quiet.drift is not None and quiet.drift.set_back_k == pytest.approx(1.5, abs=0.3)


def test_night_without_anything_is_told_as_that(data: NightData) -> None:
    """A new store, a farm that was dark all night."""
    empty = replace(
        data, air_c={}, humidity={}, surface_c={}, heard={}, estimates=(), earlier=(), events=(),
        before=(),
    )  # fmt: skip
    told = night_text(review_night(empty), ROOM, "C", ZONE)
    assert told.startswith("Nothing was heard in this night")


class Strict(HTMLParser):
    """Notes every tag that is left open or closed twice, every attribute with an address."""

    VOID = frozenset({"meta", "rect", "line", "path", "br"})

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: set[str] = set()
        self.addresses: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.addresses += [f"{k}={v}" for k, v in attrs if k in ("src", "href", "xlink:href")]
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag not in self.VOID:
            assert self.open.pop() == tag


def test_html_file_needs_nothing_else(data: NightData) -> None:
    """No script, no address, every tag closed; a name that is HTML stays a name."""
    bag = next(iter(data.bags))
    wild = replace(data.bags[bag], strain="<script>alert(1)</script>")
    night = review_night(replace(data, bags={**data.bags, bag: wild}))
    text = night_html(night, "<b>Quarry & Lane</b>", "F", ZONE)
    parser = Strict()
    parser.feed(text)
    assert parser.open == [] and parser.addresses == []
    assert not parser.tags & {"script", "b", "link", "img", "iframe"}
    assert "http:" not in text and "https:" not in text
    assert "default-src 'none'" in text
    assert text.count("<svg") == 1


def test_png_sheet_is_drawn_in_a_child(night: Night, tmp_path: Path) -> None:
    """A real picture; names with signs that matplotlib takes for formulas do no harm."""
    path = tmp_path / "night.png"
    sheet.draw_night(night, "Room $1 of $2_", "C", ZONE, path)
    assert path.read_bytes().startswith(PNG_BEGINS)
    assert 20_000 < path.stat().st_size < 400_000


def test_png_that_takes_too_long_is_refused(
    night: Night, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The child is ended; the reason is said."""
    monkeypatch.setattr(pictures, "LIMIT_S", 0.01)
    with pytest.raises(PictureError, match="TimeoutExpired"):
        sheet.draw_night(night, ROOM, "C", ZONE, tmp_path / "night.png")


def test_command_prints_the_night_and_writes_files(
    config: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 3: the dead probe's alarm stands and nobody has answered it."""
    words = ["night", "--config", str(config), "--from", "2026-03-04T20:00", "--to"]
    words += ["2026-03-05T08:00", "--units", "F", "--html", str(tmp_path / "night.html")]
    assert main(words) == 3
    said = capsys.readouterr().out
    assert said.startswith("Not quiet: ") and "°F" in said and "°C" not in said
    assert (tmp_path / "night.html").read_text(encoding="utf-8").startswith("<!doctype html>")


def test_without_a_frame_the_command_tells_of_the_night_before_now(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A store that has seen walks only, as before the first probe is hung."""
    folder, now_s = write_config(tmp_path / "c"), time.time()
    Store.open(folder / "bagwatt.db", now_s).close()
    assert main(["night", "--config", str(folder), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert now_s - 2 * 86400.0 < told["window"]["end_s"] <= now_s + 60.0


def test_command_as_json_gives_numbers_in_si(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One night ago nothing had happened to the room."""
    assert main(["night", "--config", str(config), "--nights-ago", "1", "--json"]) in (0, 3)
    told = json.loads(capsys.readouterr().out)
    assert told["window"] == {
        "start_s": EVENING_S - 86400.0,
        "end_s": NIGHT_S - 86400.0,
    }
    assert told["happenings"] == []
    assert 19.0 < told["level"]["mean_c"] < 22.0
    assert told["drift"]["set_back_k"] == pytest.approx(1.5, abs=0.3)


@pytest.mark.parametrize(
    "words",
    [
        [],
        ["--config", "{config}", "--from", "2026-03-04T20:00"],
        ["--config", "{config}", "--from", "soon", "--to", "later"],
        ["--config", "{config}", "--from", "2026-03-05T20:00", "--to", "2026-03-04T20:00"],
        ["--config", "{config}", "--nights-ago", "-1"],
    ],
)
def test_command_refuses_a_window_it_cannot_take(
    words: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 2 and a word on what to write."""
    folder = write_config(tmp_path / "c")
    (folder / "bagwatt.db").touch()
    assert main(["night", *(word.format(config=folder) for word in words)]) in (1, 2)
    assert capsys.readouterr().err
