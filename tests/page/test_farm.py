"""The farm on the page: real broker, real server; a phone's eyes on it."""

from __future__ import annotations

import json
import re
import threading
import time
from collections.abc import Callable
from dataclasses import replace
from html import unescape
from zoneinfo import ZoneInfo

import jsonschema
import pytest
from playwright.sync_api import Browser, expect

from demo.pictures import PHONE
from monitor.farm.standing import Claimant, Hearing, RoomStanding
from monitor.page.farm import room_card
from monitor.room_summary import MonitorHealth, RoomAir
from monitor.settings.reference import message_schema_text
from monitor.terms import Urgency
from tests.broker import Broker
from tests.farm.samples import TOPICS, alarm, lot, summary, told
from tests.page.browsing import opened, picture, violations
from tests.page.conftest import END_S, LINK, Served, with_people
from tests.page.forms import fields_of, log_in
from tests.page.tables import DESK, TABLET
from tests.waiting import free_port, wait_until

Serve = Callable[..., Served]
NOW_S = END_S + 60.0
PAGE = "page: {{port: {port}}}\n"


def fill(broker: Broker) -> None:
    """Five rooms: one calm, one with an alarm for now, one of today, one gone, one that can't be
    understood; lot L-7 is bad in two."""
    page = "https://pi-south.example:8423/"
    told(broker, summary("North", NOW_S - 120.0, lots=[lot("L-7", 9, 4), lot("L-1", 30, 1)]))
    alarms = [alarm(Urgency.NOW, bag="GO12-033"), *(alarm(bag=f"GO12-{n}") for n in range(4))]
    south = summary("South", NOW_S - 60.0, alarms, [lot("L-7", 8, 3), lot("L-2", 30)])
    air = RoomAir(17.25, 16.0, 18.0, 18.0, 24.0, None)
    health = MonitorHealth(("bench",), 2, 20.0)
    told(broker, replace(south, air=air, monitor=health, page=page))
    told(
        broker, replace(summary("Halle 2/östlich", NOW_S - 90.0, [alarm(bag="AM3-001")]), page=page)
    )
    told(broker, summary("<b>East</b>", NOW_S - 7200.0), claimed=False)
    topic = TOPICS.summary("West")
    broker.publish((topic, b'{"version": 2}'), (TOPICS.claim("West", "x"), b"?"), retain=True)


def settings(broker_port: int) -> str:
    return PAGE + neighbours(broker_port)


def neighbours(broker_port: int) -> str:
    """The block, its braces doubled as the page's port is put in."""
    return f"neighbours: {{{{host: 127.0.0.1, port: {broker_port}}}}}\n"


def test_rooms_are_cards_in_the_order_to_go_and_the_bad_lot_stands_above(
    serve: Serve, broker: Broker
) -> None:
    fill(broker)
    html = unescape(serve(settings(broker.port)).visit().get("/farm").text.replace("\u00a0", " "))
    names = re.findall(r'<article class="card (\w+)">\s*<p class="tape">(.*?)</p>', html)
    assert names == [
        ("today", "today"), ("now", "1 now"), ("away", "not heard"), ("away", "not heard"),
        ("today", "1 today"), ("later", "calm"),
    ]  # fmt: skip
    assert html.index("Lot L-7 of GO-12 is warmer than the other lots in 2 rooms") < html.index(
        '<a href="https://pi-south.example:8423/" rel="noreferrer">South</a>'
    )
    assert "17.2 °C, under its 18.0 °C" in html
    assert "silent: bench" in html
    assert "now: GO12-033, hot bag, added heat, since" in html and "2 more" in html
    assert "unknown version: version 2; 1 is known" in html
    assert "nobody watches it; last heard" in html


def test_what_rooms_say_is_text_and_never_markup(serve: Serve, broker: Broker) -> None:
    fill(broker)
    html = serve(settings(broker.port)).visit().get("/farm").text
    assert "<b>East" not in html and "&lt;b&gt;East&lt;/b&gt;" in html
    assert re.findall(r"\s(?:style|on[a-z]+)=", html) == []
    outside = re.findall(r"(?:src|href|action)=\"((?!/|#)[^\"]*)\"", html)
    assert set(outside) == {"https://pi-south.example:8423/"}


def test_a_script_gets_the_farm_as_it_is_described(serve: Serve, broker: Broker) -> None:
    """The schema of the description, and the summary's own."""
    fill(broker)
    client = serve(settings(broker.port)).visit()
    found = client.get("/api/farm").json()
    described = client.get("/api/openapi.json").json()
    form = {"$ref": "#/components/schemas/Farm", "components": described["components"]}
    jsonschema.Draft202012Validator(form).validate(found)
    assert [one["room"] for one in found["rooms"]][:2] == ["South", "<b>East</b>"]
    assert [one["spawn_lot"] for one in found["lots"] if one["bad"]] == ["L-7"]
    standing = json.loads(message_schema_text("standing"))
    for room in found["rooms"]:
        if room["summary"] is not None:
            jsonschema.validate(room["summary"], standing)


def test_without_neighbours_there_is_no_farm(serve: Serve) -> None:
    client = serve().visit()
    assert client.get("/farm").status_code == 404
    assert "/farm" not in client.get("/").text
    assert client.get("/api/farm").status_code == 404


def test_the_farm_needs_a_login_where_the_page_does(serve: Serve, broker: Broker) -> None:
    client = serve(with_people() + neighbours(broker.port)).visit()
    assert client.get("/farm", follow_redirects=False).headers["location"] == "/login?next=/farm"
    assert log_in(client, "owner", "spores-and-straw").status_code == 303
    assert client.get("/farm").status_code == 200
    assert LINK and fields_of(client.get("/farm").text, "/units")


def test_a_broker_that_is_away_is_said_and_holds_nobody_up(serve: Serve) -> None:
    """The first look waits two seconds at most, the next ones not at all; then it ends at once."""
    served = serve(settings(free_port()))
    client = served.visit()
    assert 'href="/farm"' in client.get("/").text
    began_s = time.monotonic()
    html = client.get("/farm").text
    assert "can't be reached" in unescape(html)
    assert time.monotonic() - began_s < 4.0
    began_s = time.monotonic()
    assert client.get("/farm").status_code == 200
    assert time.monotonic() - began_s < 1.0
    began_s = time.monotonic()
    served.end()
    assert time.monotonic() - began_s < 3.0


def listening() -> list[str]:
    """Threads that listen to a farm."""
    return [one.name for one in threading.enumerate() if "bagwattfarm" in one.name]


def test_nobody_listens_before_the_first_look_nor_after_the_end(
    serve: Serve, broker: Broker
) -> None:
    served = serve(settings(broker.port))
    client = served.visit()
    assert client.get("/").status_code == 200
    assert listening() == []
    for _ in range(3):
        assert client.get("/farm").status_code == 200
    assert len(listening()) == 1
    served.end()
    wait_until(lambda: listening() == [], 3.0, "it listens no more")


def test_a_card_says_where_a_name_is_used_twice_and_leads_home_from_its_own_page() -> None:
    told = replace(summary(), page="http://elsewhere.example/")
    one = Claimant("a", "pi-north", NOW_S, 0.0, 90.0)
    room = RoomStanding("North", Hearing.HEARD, told, 20.0, NOW_S, 0.0, (one,), None)
    card = room_card(room, "C", ZoneInfo("Europe/London"), NOW_S)
    assert (card.look, card.tape, card.page) == ("later", "calm", "http://elsewhere.example/")
    twice = replace(room, claimants=(one, replace(one, instance="b", host="pi-south")))
    card = room_card(twice, "C", ZoneInfo("Europe/London"), NOW_S, own="North")
    assert (card.look, card.tape, card.page) == ("away", "name used twice", "/")
    assert "pi-north and pi-south" in card.trouble


def test_rooms_that_come_later_are_shown_and_degrees_are_each_visitors_own(
    serve: Serve, broker: Broker
) -> None:
    client = serve(settings(broker.port)).visit()
    assert "No room is heard yet" in client.get("/farm").text
    told(broker, summary("North", NOW_S))
    wait_until(lambda: "North" in client.get("/farm").text, 5.0)
    client.cookies.set("bagwatt_units", "F")
    assert "70.7" in client.get("/farm").text


@pytest.mark.parametrize(
    ("size", "scheme"),
    [(PHONE, "dark"), (PHONE, "light"), (TABLET, "dark"), (DESK, "dark")],
    ids=str,
)
def test_the_farm_is_accessible_and_fits(
    serve: Serve,
    broker: Broker,
    browser: Browser,
    size: dict[str, int],
    scheme: str,
) -> None:
    """axe finds nothing serious, no sideways scroll, every control is big enough for a glove, all
    seven places of the navigation are in sight, and the keyboard alone gets to a room's page; a
    change comes in without a touch."""
    fill(broker)
    served = serve(settings(broker.port))
    with opened(browser, viewport=size, color_scheme=scheme) as page:
        page.clock.install()
        page.goto(served.address + "farm")
        assert violations(page) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= size["width"]
        small = page.evaluate(
            """() => [...document.querySelectorAll("nav a, button, .farm h3 a")]
               .filter((one) => one.getBoundingClientRect().height < 44
                 || one.getBoundingClientRect().width < 44)
               .map((one) => one.outerHTML.slice(0, 80))"""
        )
        assert small == []
        ends = page.locator("nav a").evaluate_all(
            """all => all.map((one) => one.getBoundingClientRect())
               .flatMap((box) => [box.left, box.right])"""
        )
        assert len(ends) == 14 and min(ends) >= 0 and max(ends) <= size["width"]
        for _ in range(30):
            page.keyboard.press("Tab")
            if page.evaluate("document.activeElement.matches('.farm h3 a')"):
                break
        assert page.evaluate("document.activeElement.textContent") == "South"
        assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid"
        picture(page, f"{size['width']}-{scheme}-farm")
        told(broker, summary("Würzraum", NOW_S))
        for _ in range(20):
            page.clock.fast_forward(11_000)
            page.wait_for_timeout(200)
            if page.get_by_role("heading", name="Würzraum").count():
                break
        expect(page.get_by_role("heading", name="Würzraum")).to_be_visible()
