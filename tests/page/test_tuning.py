"""Tuning on the page: what the command left is shown to whoever may look; working it out is an
act, done by another process."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from datetime import UTC
from pathlib import Path
from typing import Any

import httpx
import pytest
from playwright.sync_api import Browser

from demo.filled import HandClock, write_room
from demo.pictures import PHONE
from demo.rooms import FIRST, START_S, make_room
from demo.stage import wait_for_port
from monitor.judge.strain import Strain
from monitor.logbook import Logbook
from monitor.page import Latest, PageServer
from monitor.page.tuning import little_chart, look_at_tuning
from monitor.review.outcomes import endings
from monitor.review.tune import Room, tune
from monitor.review.tune_heat import tune_heat
from monitor.review.tune_score import Costs
from monitor.review.tune_sheet import sheet_of
from monitor.settings.load import load_settings
from monitor.sources.folder import read_folder
from monitor.tuning_file import keep_tuning, kept_tuning, kept_tunings
from monitor.words.quantities import unbroken
from tests.page.browsing import opened, picture, violations
from tests.page.forms import fields_of, send
from tests.page.tables import DESK, TABLET, TALL_PHONE, cut_tables, uneven_figures
from tests.tune import heats, seasons
from tests.waiting import free_port, wait_until

MONITOR = """\
room: {{name: barn, folder: room, timezone: UTC, band_low: 15 C, band_high: 29 C}}
channels: none
store: {{path: bagwatt.db}}
page:
  port: {port}
  people: [{{name: owner, password: {{file: owner}}}}]
  guests: look
"""
LOW = (heats.CoreLimit(31.0, 24 * 3600.0), heats.CoreLimit(39.0, 12 * 3600.0))


@pytest.fixture(scope="module")
def sheets() -> dict[str, Any]:
    """What tuning finds in invented seasons, in which both thresholds and limits are wrong."""
    drawn = seasons.season(11, seasons.Plan(runs=6, bags=30, days=9.0))
    rooms = [
        Room(account, endings(account.frames[0].bags, book, account.frames[-1].end_s, 0.0), {})
        for account, book in zip(drawn.accounts, drawn.books, strict=True)
    ]
    costs = Costs(30.0, 2.0, 4.0)
    found = tune(rooms, "GO-12", {"GO-12": Strain("GO-12")}, costs)
    heat = tune_heat(heats.season(3, 10, 8, LOW)[0], "GO-12", heats.AnyStrain(LOW), costs)
    doubts = ["B7 is set aside: <b>why</b>"]
    return {units: sheet_of(found, heat, doubts, units, "£", UTC) for units in ("C", "F")}


class Site:
    """A page with a book of two strains and an owner; guests may look."""

    def __init__(self, folder: Path, stack: ExitStack, with_config: bool = True) -> None:
        from monitor.page.login import hash_password

        self.folder, self._stack = folder, stack
        (folder / "monitor.yaml").write_text(MONITOR.format(port=free_port()), encoding="utf-8")
        (folder / "strains.yaml").write_text("strains: {GO-12: {}}\n", encoding="utf-8")
        owner = folder / "owner"
        owner.touch(mode=0o600)
        owner.write_text(hash_password("spores-and-straw") + "\n", encoding="utf-8")
        write_room(folder / "room", make_room(FIRST, 1))
        settings = load_settings(folder, os.environ)
        log = Logbook(settings, HandClock(START_S), lambda line: None)
        log.take_folder(read_folder(folder / "room"), [], START_S)
        log.store.close()
        self.store = settings.store.path
        config_dir = folder if with_config else None
        server = PageServer(settings, HandClock(START_S), Latest(), print, "", config_dir)
        server.start()
        stack.callback(server.stop)
        assert settings.page is not None
        wait_for_port(settings.page.port)
        self.address = server.address

    def visit(self, *, owner: bool = False) -> httpx.Client:
        client = self._stack.enter_context(httpx.Client(base_url=self.address, timeout=20.0))
        if owner:
            send(client, "/login", "/login", name="owner", password="spores-and-straw")
        return client


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Callable[..., Site]]:
    with ExitStack() as stack:
        yield lambda **words: Site(tmp_path, stack, **words)


def test_what_is_to_be_typed_is_marked(site: Callable[..., Site], sheets: dict[str, Any]) -> None:
    room = site()
    lines = {"lines": ["say under `costs` what"], "doubts": ["`bagwatt bag` enters it"]}
    keep_tuning(room.store, "GO-12", START_S, {unit: sheets[unit] | lines for unit in "CF"})
    page = room.visit().get("/tuning/GO-12").text
    assert "under <code>costs</code> what" in page and "<code>bagwatt bag</code> enters" in page


def test_a_guest_finds_tuning_in_the_menu_and_sees_what_the_command_left(
    site: Callable[..., Site], sheets: dict[str, Any]
) -> None:
    """Table, pictures, bags that change sides, and no button; in both degrees."""
    room = site()
    keep_tuning(room.store, "GO-12", START_S + 3600.0, sheets)
    guest = room.visit()
    assert '<a href="/tuning"' in guest.get("/alarms").text
    every = guest.get("/tuning").text
    assert "worked out 2026-03-02 01:00" in every and "not worked out yet" in every
    page = guest.get("/tuning/GO-12").text
    for row in sheets["C"]["rows"]:
        assert f'scope="row">{row[0]}</th>' in page
    assert sheets["C"]["rows"][-1][6] in page
    assert page.count("<circle class=") > 20 and page.count('class="mark') == 3
    shown = sheets["C"]["sides"]
    assert page.count('class="chart little"') == len(shown) > 12
    assert "core" in page and "called in time" in page and "in place of" in page
    assert "&lt;b&gt;why" in page and "<b>why" not in page
    assert '<a href="/tuning" aria-current="true">' in page
    assert "Work it out" not in page
    send(guest, "/tuning/GO-12", "/units", units="F")
    warm = sheets["F"]["heat_rows"][0][1].split(",")[0]
    assert warm.startswith("87.8 °F") and unbroken(warm) in guest.get("/tuning/GO-12").text


def test_who_may_act_has_it_worked_out_by_another_process_and_is_told_how_that_went(
    site: Callable[..., Site],
) -> None:
    """Here there is no history yet, and the child's own words say so."""
    room = site()
    owner = room.visit(owner=True)
    assert "Nothing is worked out yet" in owner.get("/tuning/GO-12").text
    answer = send(owner, "/tuning/GO-12", "/tuning/GO-12")
    assert (answer.status_code, answer.headers["location"]) == (303, "/tuning/GO-12")
    wait_until(lambda: "could not be worked out" in owner.get("/tuning/GO-12").text, 120)
    assert "there is no history" in owner.get("/tuning/GO-12").text
    assert "could not be worked out" not in owner.get("/tuning/AM-3").text


def test_a_guest_may_not_have_it_worked_out(site: Callable[..., Site]) -> None:
    guest = site().visit()
    token = fields_of(guest.get("/tuning").text, "/units")["token"]
    assert guest.post("/tuning/GO-12", data={"token": token}).status_code == 403
    assert guest.post("/tuning/GO-12").status_code == 403


def test_what_is_not_in_the_book_is_no_page_and_without_settings_there_is_no_button(
    site: Callable[..., Site],
) -> None:
    room = site(with_config=False)
    owner = room.visit(owner=True)
    assert owner.get("/tuning/..%2f..%2fetc").status_code == 404
    assert owner.get("/tuning/GO-99").status_code == 404
    page = owner.get("/tuning/GO-12").text
    assert "Work it out" not in page and "<code>bagwatt tune GO-12</code> does it" in page


def test_a_kept_tuning_that_can_not_be_read_is_as_if_there_were_none(
    tmp_path: Path, sheets: dict[str, Any]
) -> None:
    store = tmp_path / "bagwatt.db"
    store.touch()
    keep_tuning(store, "GO-12/№ <1>", 5.0, sheets)
    assert kept_tunings(store) == {"GO-12/№ <1>": 5.0}
    assert look_at_tuning(store, "GO-12/№ <1>", "C") is not None
    path = next((tmp_path / "bagwatt.db.evidence").glob("tuning-*.json"))
    path.write_text(path.read_text("utf-8")[:400], encoding="utf-8")
    assert kept_tuning(store, "GO-12/№ <1>") is None
    keep_tuning(store, "GO-12/№ <1>", 6.0, {"C": {"title": "of another make"}})
    assert look_at_tuning(store, "GO-12/№ <1>", "C") is None


def test_a_little_chart_keeps_inside_its_box_and_escapes_its_name() -> None:
    side = {"name": '"><script>', "what": "core °C", "day": [0.0, 1.0, 2.0],
            "course": [24.0, 33.5, 23.0], "called": 1.5}  # fmt: skip
    drawn = str(little_chart(side))
    assert "<script" not in drawn
    heights = [
        float(pair.split(",")[1])
        for pair in drawn.split('points="')[1].split('"', maxsplit=1)[0].split()
    ]
    assert heights == pytest.approx([48.2, 3.0, 53.0], abs=0.1)
    assert little_chart({**side, "day": [0.0], "course": [1.0]}) == ""


@pytest.fixture
def tuned(site: Callable[..., Site], sheets: dict[str, Any]) -> Site:
    """A page that knows the tuning of one strain."""
    room = site()
    keep_tuning(room.store, "GO-12", START_S, sheets)
    return room


def test_tuning_is_accessible_and_fits_a_phone(
    tuned: Site,
    browser: Browser,
) -> None:
    """axe finds nothing serious; nothing is wider than 360 pixels; a glove finds every control."""
    for size in (PHONE, DESK):
        with opened(browser, viewport=size) as page:
            for view in ("tuning", "tuning/GO-12"):
                page.goto(tuned.address + view)
                assert violations(page) == [], view
                assert page.evaluate("document.documentElement.scrollWidth") <= size["width"], view
                low = page.evaluate(
                    """() => [...document.querySelectorAll("nav a, button, .button")]
                       .map((one) => one.getBoundingClientRect())
                       .filter((box) => box.height < 44 || box.width < 44).length"""
                )
                assert low == 0, view
                picture(page, f"{size['width']}-{view.replace('/', '-')}")


def test_no_table_of_tuning_is_cut_off_and_on_a_phone_each_figure_is_level_with_its_name(
    tuned: Site,
    sheets: dict[str, Any],
    browser: Browser,
) -> None:
    """In both degrees; the roles say what the columns of a phone were."""
    for size in (PHONE, TALL_PHONE, TABLET):
        with opened(browser, viewport=size) as page:
            page.goto(f"{tuned.address}tuning/GO-12")
            for units in ("°C", "°F"):
                assert units in page.get_by_role("cell").first.inner_text()
                assert cut_tables(page) == [], (size, units)
                if size is not TABLET:
                    assert uneven_figures(page) == [], (size, units)
                for words in (sheets["C"]["rows"], sheets["C"]["heat_rows"]):
                    assert page.get_by_role("rowheader", name=words[0][0]).count() > 0
                page.get_by_role("button", name="Show °").click()
