"""The page in a browser: Chromium drives a real `watch` fed by the demo's room."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from demo.pictures import PHONE
from monitor.store import open_reader
from tests.page.browsing import opened, picture, violations
from tests.page.conftest import HOT, Filled
from tests.page.tables import DESK, cut_tables
from tests.page.watching import Room, watched_room

VIEWS = ("", "alarms", "walk", "night", "forecast", "monitor", f"bag/{HOT}")
IN_DAYLIGHT = ("", "alarms", "walk", "night", f"bag/{HOT}", "monitor")
ON_DESK = ("", "night", f"bag/{HOT}")


@pytest.fixture(scope="module")
def room(filled: Filled, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Room]:
    """One watched room for all that only look."""
    with watched_room(filled, tmp_path_factory.mktemp("phone") / "settings") as room:
        yield room


@pytest.fixture
def phone(browser: Browser) -> Iterator[Page]:
    """A phone in the room."""
    with heard(browser, viewport=PHONE, has_touch=True, is_mobile=True) as page:
        yield page


@contextmanager
def heard(browser: Browser, **how: Any) -> Iterator[Page]:
    """A page; what its console complains of fails the test."""
    complaints: list[str] = []
    with opened(browser, **how) as page:
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on(
            "console",
            lambda said: complaints.append(said.text) if "Content Security" in said.text else None,
        )
        yield page
    assert complaints == []


@pytest.mark.parametrize(
    ("size", "scheme", "views"),
    [(PHONE, "dark", VIEWS), (PHONE, "light", IN_DAYLIGHT), (DESK, "dark", ON_DESK)],
    ids=["phone", "phone in daylight", "desk"],
)
def test_every_view_is_accessible_and_fits(
    room: Room, browser: Browser, size: dict[str, int], scheme: str, views: tuple[str, ...]
) -> None:
    """axe (WCAG 2.2 A and AA) finds nothing serious, nothing is wider than the screen, and a
    glove finds every control: at least 44 by 44 pixels (WCAG 2.5.5). Nothing is drawn with
    letters under 10 pixels, and no table is cut off at the right."""
    with opened(browser, viewport=size, color_scheme=scheme) as page:
        for view in views:
            page.goto(room.address + view)
            assert violations(page) == [], view
            assert page.evaluate("document.documentElement.scrollWidth") <= size["width"], view
            small = page.evaluate(
                """() => [...document.querySelectorAll("nav a, button, summary, select, .button,"
                   + " .bag, .codes a, .stops a, .card h2 a, input:not([type=hidden])")]
                   .filter((one) => one.checkVisibility() && !one.closest(".legend ul"))
                   .filter((one) => one.getBoundingClientRect().height < 44
                     || one.getBoundingClientRect().width < 44)
                   .map((one) => one.outerHTML.slice(0, 80))"""
            )
            assert small == [], view
            tiny = page.evaluate(
                """() => [...document.querySelectorAll("svg text")]
                   .filter((one) => parseFloat(getComputedStyle(one).fontSize)
                     * one.getScreenCTM().a < 10)
                   .map((one) => one.textContent)"""
            )
            assert tiny == [], view
            assert cut_tables(page) == [], view
            picture(page, f"{size['width']}-{scheme}-{view.replace('/', '-') or 'rack'}")


def test_no_word_is_cut_in_two_on_the_smallest_phone(room: Room, browser: Browser) -> None:
    """At 320 pixels beside the button, and on a bag's tile; a long code stays within its own."""
    with opened(browser, viewport={"width": 320, "height": 640}) as page:
        page.goto(room.address)
        page.locator("a.bag").first.evaluate(
            """bag => { bag.className = "bag probe"; bag.innerHTML =
            "<span class=code>A-long-code-001</span> <b>+1.0</b> <i>probe</i>" }"""
        )
        cut = page.evaluate(
            """() => [...document.querySelectorAll(".card *, a.bag i")].flatMap((said) => {
              const words = [];
              for (const node of said.childNodes)
                if (node.nodeType === 3) for (const word of node.textContent.matchAll(/\\S+/g)) {
                  const range = document.createRange();
                  range.setStart(node, word.index);
                  range.setEnd(node, word.index + word[0].length);
                  if (range.getClientRects().length > 1) words.push(word[0]);
                }
              return words; })"""
        )
        assert cut == []
        over = page.evaluate(
            """() => [...document.querySelectorAll("a.bag .code")].filter((code) =>
              code.getBoundingClientRect().width > code.parentNode.getBoundingClientRect().width
            ).map((code) => code.textContent)"""
        )
        assert over == []
        page.goto(f"{room.address}tuning")
        lines = page.locator(".strains .state").first.evaluate(
            """said => { said.textContent = "worked out 2026-11-30 10:02";
            return said.getClientRects().length; }"""
        )
        assert lines == 1, "a date is broken at its hyphen"
        assert page.evaluate("document.documentElement.scrollWidth") <= 320


def test_a_slip_on_the_walk_is_answered_in_the_thermometers_degrees(
    room: Room, phone: Page
) -> None:
    for degrees, like in (("C", "23.5"), ("F", "74.3")):
        phone.goto(f"{room.address}walk")
        if degrees == "F":
            phone.get_by_role("button", name="Show °F").click()
        expect(phone.get_by_label(f"Surface in °{degrees}")).to_be_visible()
        phone.locator("#walk-value").fill("warm")
        phone.get_by_role("button", name="Keep and go on").click()
        expect(phone.locator("#walk-why")).to_have_text(f"Type a temperature like {like}")


def test_axe_finds_what_is_wrong_when_something_is(room: Room, phone: Page) -> None:
    """The check above can fail."""
    phone.goto(room.address)
    phone.evaluate(
        """() => { const box = document.createElement("input"); document.body.append(box);
        const faint = document.createElement("p"); faint.textContent = "faint words";
        document.body.append(faint);
        const rule = "body > p { color: rgb(128 128 128 / 30%) !important }";
        document.styleSheets[0].insertRule(rule); }"""
    )
    assert {"label", "color-contrast"} <= {name for name, _, _ in violations(phone)}


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_grower_finds_the_hot_bag_answers_it_reads_bags_and_looks_at_the_night(
    room: Room, filled: Filled, browser: Browser, tmp_path: Path, size: dict[str, int]
) -> None:
    """Rack, hot bag, acknowledge, walk through a lost connection, night: with gloves on a phone,
    with mouse and keyboard at a desk in a room where nobody has answered yet."""
    gloves = size is PHONE
    how = {"viewport": size, "has_touch": gloves, "is_mobile": gloves}
    fresh = nullcontext(room) if gloves else watched_room(filled, tmp_path / "settings")
    with fresh as watched, heard(browser, **how) as page:
        _find_and_answer(page, watched)
        _walk(page, _tap if gloves else _key_in)
        page.get_by_role("link", name="Night").click()
        expect(page.locator("h1")).to_have_text("Last night")
        expect(page.locator(".told li").first).to_be_visible()
    with open_reader(watched.store) as store:
        walk = store.open_walk()
        assert walk is not None
        assert [step.typed for step in store.walk_steps(walk[0])] == ["23.4 C", "22.8 C", "23.1 C"]
        answered = next(one for one in store.standing() if one.latest.facts.bag == HOT)
    assert answered.acknowledged_s is not None


def _find_and_answer(page: Page, room: Room) -> None:
    page.goto(room.address)
    page.locator(f'a.bag.hot[href="/bag/{HOT}"]').click()
    expect(page.locator("h1")).to_have_text(HOT)
    expect(page.get_by_role("heading", name="warmer than its cohort")).to_be_visible()
    page.get_by_role("button", name="Acknowledge").click()
    expect(page.locator(".card .state")).to_contain_text("acknowledged", timeout=15_000)
    expect(page.locator(".card .state")).not_to_contain_text("unack", timeout=15_000)


def _walk(page: Page, enter: Callable[[Page, str], None]) -> None:
    """Three readings, two of them while the monitor can't be reached."""
    page.get_by_role("link", name="Walk", exact=True).click()
    first = page.locator("#walk-bag").inner_text()
    with page.expect_response("**/api/walk"):  # else it may still be on its way when we cut
        enter(page, "23.4")
    expect(page.locator("#walk-bag")).not_to_have_text(first)
    expect(page.locator("#walk-kept")).to_be_hidden()
    page.context.set_offline(True)
    enter(page, "22.8")
    enter(page, "23.1")
    expect(page.locator("#walk-kept")).to_contain_text("2 readings kept on this phone")
    expect(page.locator("#walk-count")).to_have_text("3 of 24 bags read.")
    page.context.set_offline(False)
    expect(page.locator("#walk-kept")).to_be_hidden(timeout=15_000)
    page.reload()
    expect(page.locator("#walk-count")).to_have_text("3 of 24 bags read.")


def _tap(page: Page, text: str) -> None:
    """With the big keys, as gloves do."""
    for sign in text:
        page.locator("#walk-keys").get_by_role("button", name=sign, exact=True).tap()
    page.get_by_role("button", name="Keep and go on").tap()


def _key_in(page: Page, text: str) -> None:
    """With a keyboard, from one bag to the next without the mouse."""
    field = page.locator("#walk-value")
    if not page.evaluate("document.activeElement.id === 'walk-value'"):
        field.click()
    page.keyboard.type(text)
    page.keyboard.press("Enter")


def test_a_refused_reading_is_not_counted_and_is_asked_for_again(room: Room, phone: Page) -> None:
    """Also where it was the last: the keys come back."""
    phone.goto(f"{room.address}walk")
    bag = phone.locator("#walk-bag").inner_text()
    before = phone.locator("#walk-count").inner_text()
    line = phone.locator("#walk-refused li")
    for last in (False, True):
        if last:
            phone.evaluate(
                """bag => { for (const one of document.querySelectorAll("#walk-stops li"))
                   if (one.dataset.bag !== bag) one.dataset.done = ""; }""",
                bag,
            )
        phone.locator("#walk-value").fill("2.3")
        phone.get_by_role("button", name="Keep and go on").tap()
        expect(line).to_have_count(1)
        expect(line).to_contain_text(f"{bag} was not taken: 2.3")
        counted = "23 of 24 bags read." if last else before
        expect(phone.locator("#walk-count")).to_have_text(counted)
        if not last:
            expect(phone.locator("#walk-bag")).not_to_have_text(bag)
            line.get_by_role("link", name=f"Read {bag} again").tap()
        expect(phone.locator("#walk-bag")).to_have_text(bag)
        expect(phone.get_by_role("button", name="Keep and go on")).to_be_visible()
    assert violations(phone) == []


def test_page_freshens_itself_and_says_when_the_monitor_is_not_heard(
    room: Room, phone: Page
) -> None:
    """A new frame comes in without a touch; offline it says so and what is seen is from before."""
    phone.clock.install()
    phone.goto(room.address)
    before = phone.locator(".asof").inner_text()
    phone.context.set_offline(True)
    phone.clock.fast_forward(11_000)
    expect(phone.locator("#pulse")).to_contain_text("No connection to the monitor since")
    phone.context.set_offline(False)
    for _ in range(40):
        phone.clock.fast_forward(11_000)
        phone.wait_for_timeout(500)
        if phone.locator(".asof").inner_text() != before:
            break
    expect(phone.locator("#pulse")).to_be_empty()
    assert phone.locator(".asof").inner_text() != before


def test_keyboard_alone_reaches_the_content_and_a_bag(room: Room, browser: Browser) -> None:
    """The first stop skips the navigation; a bag opens by Enter and what has the focus is seen."""
    with opened(browser, viewport=DESK) as page:
        page.goto(room.address)
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.textContent") == "To the content"
        page.keyboard.press("Enter")
        for _ in range(40):
            page.keyboard.press("Tab")
            if page.evaluate("document.activeElement.matches('a.bag')"):
                break
        shown = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
        assert shown == "solid"
        page.keyboard.press("Enter")
        page.wait_for_url("**/bag/*")


def test_every_view_reads_without_javascript(room: Room, browser: Browser) -> None:
    """Plain HTML first: numbers, courses and forms are there."""
    with opened(browser, viewport=PHONE, java_script_enabled=False) as page:
        page.goto(f"{room.address}bag/{HOT}")
        assert page.locator("svg.chart").count() >= 1
        page.goto(f"{room.address}walk")
        bag = page.locator("#walk-bag").inner_text()
        page.locator("#walk-value").fill("240")
        page.get_by_role("button", name="Keep and go on").click()
        assert "240" in page.locator("#walk-why").inner_text()
        assert page.locator("#walk-bag").inner_text() == bag
