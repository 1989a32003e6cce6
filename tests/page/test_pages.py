"""Every view on a real store behind the real server: what it shows, and what is written of it."""

from __future__ import annotations

import re
from collections.abc import Callable
from html import unescape

import pytest

from demo.rooms import DAY_S, START_S
from monitor.book.walkround import Thermometer
from monitor.cli import main
from monitor.errors import BookError
from monitor.store import LogKind, Store, open_reader
from monitor.values import AlarmCommand, Flag, Reading
from tests.page.conftest import END_S, HOT, LINK, PASSWORD, Served, with_people
from tests.page.forms import fields_of, log_in, send

Serve = Callable[..., Served]
VIEWS = ("/", "/alarms", "/walk", "/night", "/monitor", "/forecast", f"/bag/{HOT}", "/login")


def commands(served: Served) -> list[AlarmCommand]:
    with open_reader(served.settings.store.path) as store:
        rows = store.journal_after(0)
    return [row.body for row in rows if isinstance(row.body, AlarmCommand)]


def hand_readings(served: Served) -> list[Reading]:
    with open_reader(served.settings.store.path) as store:
        return [
            row.body
            for row in store.iter_log()
            if row.kind is LogKind.READING and isinstance(row.body, Reading) and row.body.by_hand
        ]


def hot_alarm(served: Served) -> str:
    with open_reader(served.settings.store.path) as store:
        return next(one.raised.alarm_id for one in store.standing() if one.latest.facts.bag == HOT)


def test_every_view_is_answered_without_anything_inline_or_from_elsewhere(serve: Serve) -> None:
    """The content policy forbids inline scripts and styles: there must be none to forbid."""
    client = serve().visit()
    for path in VIEWS:
        answer = client.get(path)
        html = answer.text
        assert answer.status_code == 200, path
        assert re.findall(r"<script(?! src=\"/static/)", html) == []
        assert re.findall(r"\s(?:style|on[a-z]+)=", html) == []
        assert re.findall(r"(?:src|href|action)=\"(?!/|#)[^\"]", html) == []
        assert html.count("<h1>") == 1


def test_every_view_is_answered_on_a_store_that_has_seen_nothing(
    serve: Serve, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """The first minutes of a new room: no bag, no frame."""
    served = serve()
    path = served.settings.store.path
    for suffix in ("", "-wal", "-shm"):
        path.with_name(path.name + suffix).unlink(missing_ok=True)
    Store.open(path, 0.0).close()
    client = served.visit()
    for place in VIEWS[:6]:
        assert client.get(place).status_code == 200, place
    assert "No bag is in the book yet" in client.get("/").text
    assert client.get(f"/bag/{HOT}").status_code == 404


def test_what_stands_for_more_than_a_week_is_dated(serve: Serve) -> None:
    """ "Wed 13:00" would be taken for the one of this week."""
    served = serve()
    client = served.visit()
    stamp = r"stands since [A-Z][a-z]{2} \d{2}:\d{2}"
    for path in ("/", "/alarms", f"/bag/{HOT}"):
        assert re.search(stamp, client.get(path).text), path
    served.clock.now_s += 9 * DAY_S
    for path in ("/", "/alarms", f"/bag/{HOT}"):
        html = client.get(path).text
        assert re.search(r"stands since \d+ Mar \d{2}:\d{2}", html), path
        assert not re.search(stamp, html)


def test_a_bag_is_told_of_before_the_first_frame(serve: Serve) -> None:
    """A batch was entered and nothing is judged yet: day and age are known all the same."""
    served = serve()
    path = served.settings.store.path
    for suffix in ("", "-wal", "-shm"):
        path.with_name(path.name + suffix).unlink(missing_ok=True)
    Store.open(path, 0.0).close()
    words = ("batch", "add", "Q1", "X1", "--strain", "GO-12", "--mass", "2.3")
    assert main([*words, "--inoculated", "2026-03-02", "--config", str(path.parent)]) == 0
    served.clock.now_s = START_S + 10 * DAY_S
    client = served.visit()
    assert "0 of 1 bag read." in client.get("/walk").text
    bag, rack = client.get("/bag/X1").text, client.get("/").text
    assert "<dt>Inoculated</dt><dd>2 Mar 00:00, 10\N{NO-BREAK SPACE}days ago</dd>" in bag
    assert "Not judged yet" in bag and "1 bag, not judged yet." in rack
    assert "not yet" not in f"{bag}{rack}".replace("not judged yet", "")


def test_page_says_so_when_there_is_no_store(serve: Serve) -> None:
    served = serve()
    served.settings.store.path.unlink()
    client = served.visit()
    assert client.get("/").status_code == 503
    assert client.get("/api/room").status_code == 503
    assert client.get("/api/room").json()["title"].startswith("The store")


def test_rack_draws_the_hot_bag_with_number_shape_and_word(serve: Serve) -> None:
    """Colour alone never carries meaning."""
    html = serve().visit().get("/").text
    tile = re.search(rf'<a class="bag ([^"]*)" href="/bag/{HOT}">(.*?)</a>', html)
    assert tile is not None
    assert "hot" in tile[1].split()
    assert re.search(r"<b>\+\d\.\d</b>", tile[2])
    assert "<i>hot</i>" in tile[2]


def test_degrees_are_each_visitors_own_choice(serve: Serve) -> None:
    """A difference of 1 K is 1.8 °F; a temperature has the 32 as well."""
    served = serve()
    one, other = served.visit(), served.visit()
    celsius = one.get(f"/bag/{HOT}").text
    assert send(one, "/", "/units").status_code == 303
    fahrenheit = one.get(f"/bag/{HOT}").text

    def surface(html: str) -> float:
        found = re.search(r"<dt>Surface</dt><dd>([\d.]+)\s°", html)
        assert found is not None
        return float(found[1])

    assert surface(fahrenheit) == pytest.approx(surface(celsius) * 1.8 + 32.0, abs=0.11)
    assert "°F" not in other.get(f"/bag/{HOT}").text.replace("Show °F", "")


def test_acknowledging_writes_a_command_with_the_persons_name(serve: Serve) -> None:
    served = serve(with_people())
    client = served.visit()
    assert log_in(client, "owner", PASSWORD).status_code == 303
    alarm = hot_alarm(served)
    answer = send(client, "/alarms", f"/alarms/{alarm}/acknowledge")
    assert answer.status_code == 303
    (command,) = commands(served)
    assert (command.verb, command.alarm_id, command.by) == ("acknowledge", alarm, "owner")
    assert "asked, taken within seconds" in client.get("/alarms").text


def test_shelving_needs_a_reason_and_an_end(serve: Serve) -> None:
    served = serve()
    client, alarm = served.visit(), hot_alarm(served)
    where = f"/alarms/{alarm}/shelve"
    assert send(client, "/alarms", where, note=" ", hours="12").status_code == 409
    assert send(client, "/alarms", where, note="being aired", hours="999").status_code == 409
    assert send(client, "/alarms", where, note="being aired", hours="no").status_code == 409
    assert commands(served) == []
    assert send(client, "/alarms", where, note="being aired", hours="2").status_code == 303
    (command,) = commands(served)
    assert command.until_s == pytest.approx(served.clock.now_s + 7200.0)
    assert command.note == "being aired"


def test_alarm_that_no_longer_stands_is_not_answered(serve: Serve) -> None:
    served = serve()
    client = served.visit()
    token = fields_of(client.get("/").text, "/units")["token"]
    answer = client.post("/alarms/nothing/acknowledge", data={"token": token})
    assert answer.status_code == 409
    assert "no longer stands" in answer.text


def test_walk_leads_through_the_rack_and_keeps_each_reading(serve: Serve) -> None:
    """Without a script: type, send, and the next bag is there."""
    served = serve()
    client = served.visit()
    first = fields_of(client.get("/walk").text, "/walk")
    answer = send(client, "/walk", "/walk", value="74,3 f")
    assert answer.status_code == 303
    second = fields_of(client.get(answer.headers["location"]).text, "/walk")
    assert second["bag"] != first["bag"]
    (reading,) = hand_readings(served)
    assert (reading.bag, reading.raw, reading.raw_unit) == (first["bag"], 74.3, "degF")
    assert reading.value == pytest.approx(23.5)
    assert "1 of 24 bags read" in client.get("/walk").text


def test_same_entry_is_stored_once_when_it_is_sent_again(serve: Serve) -> None:
    """A phone that heard no answer sends again."""
    served = serve()
    client = served.visit()
    fields = fields_of(client.get("/walk").text, "/walk")
    for _ in range(3):
        client.post("/walk", data={**fields, "value": "22.9"})
    assert len(hand_readings(served)) == 1


def test_value_that_no_bag_has_is_refused_with_a_word(serve: Serve) -> None:
    served = serve()
    client = served.visit()
    fields = fields_of(client.get("/walk").text, "/walk")
    for typed in ("240", "2.43", "warm", "", "-3", "22.9 K", "1e2", "nan", "²3", "2" * 500):
        answer = client.post("/walk", data={**fields, "value": typed, "bag": HOT})
        assert answer.status_code == 409, typed
        why = re.search(r'role="alert">([^<]+)<', answer.text)
        assert why is not None, typed
    assert hand_readings(served) == []


def test_page_and_terminal_take_the_same_readings(serve: Serve) -> None:
    """By the room's band and the thermometer's degrees: a cold room reads what a warm one can't."""
    served = serve("walk: {{units: F}}\npage: {{port: {port}}}\n")
    client, thermometer = served.visit(), Thermometer(served.settings)
    assert "Surface in °F" in client.get("/walk").text
    for typed in ("42", "41.1", "40.9", "112.9", "113.1", "74.3", "23.5", "7.3 C"):
        taken = send(client, "/walk", "/walk", value=typed).status_code == 303
        try:
            thermometer.parse(typed)
        except BookError:
            assert not taken, typed
        else:
            assert taken, typed
    assert [one.raw for one in hand_readings(served)] == [42.0, 41.1, 112.9, 74.3, 7.3]


def test_readings_kept_on_a_phone_are_dated_by_their_age(serve: Serve) -> None:
    """A phone's clock may be wrong; how long ago it was typed is not."""
    served = serve()
    client = served.visit()
    token = client.get("/api/me").json()["token"]
    sent = [
        {"key": "a", "bag": HOT, "typed": "24.1", "age_s": 600},
        {"key": "b", "bag": "NO-SUCH", "typed": "24.1"},
        {"key": "c", "bag": HOT, "typed": "24.1", "age_s": 100_000},
    ]
    answer = client.post("/api/walk", json={"readings": sent}, headers={"x-form-token": token})
    assert [one["state"] for one in answer.json()["readings"]] == ["stored", "refused", "refused"]
    (reading,) = hand_readings(served)
    assert reading.measured_s == served.clock.now_s - 600.0


@pytest.mark.parametrize(("behind_s", "marks"), [(0.0, ()), (86400.0, (Flag.CLOCK_UNSET,))])
def test_a_reading_is_dated_by_a_clock_the_daemon_would_believe(
    serve: Serve, monkeypatch: pytest.MonkeyPatch, behind_s: float, marks: tuple[Flag, ...]
) -> None:
    """On a farm without internet the clock is never synchronised, and right all the same: a step
    of it weeks later moves no reading. Behind the last frame it is not to be believed."""
    served = serve()
    monkeypatch.setattr(served.clock, "synced", lambda: False)
    served.clock.now_s -= behind_s
    client = served.visit()
    head = {"x-form-token": client.get("/api/me").json()["token"]}
    sent = {"readings": [{"key": "a", "bag": HOT, "typed": "24.1"}]}
    assert client.post("/api/walk", json=sent, headers=head).status_code == 200
    (reading,) = hand_readings(served)
    assert reading.marks == marks
    with Store.open(served.settings.store.path, END_S) as store:
        moved = store.restamp(served.clock.boot_id(), 3600.0, END_S)
    assert (moved is not None) is bool(marks)


def test_monitor_page_tells_of_sources_store_and_messages(serve: Serve) -> None:
    html = serve().visit().get("/monitor").text
    for said in ("rack line", "Last frame", "Waiting to be stored", "alarm events", "MB"):
        assert said in html


def test_night_and_forecast_are_told_as_their_commands_tell_them(
    serve: Serve, capsys: pytest.CaptureFixture[str]
) -> None:
    """The same words in the terminal and on the phone, each in the chosen degrees."""
    served = serve()
    client = served.visit()
    config = str(served.settings.store.path.parent)
    main(["night", "--config", config])
    first = capsys.readouterr().out.splitlines()[0]
    html = unescape(client.get("/night").text).replace("\u00a0", " ")
    assert first.split(",")[0] in html
    assert "<svg" in html
    main(["forecast", "--config", config])
    lines = [one.strip() for one in capsys.readouterr().out.splitlines() if " W (" in one]
    told = unescape(client.get("/forecast").text).replace("\u00a0", " ")
    assert lines and all(line in told for line in lines)
    send(client, "/", "/units")
    assert "°C" not in unescape(client.get("/forecast").text).replace("Show °C", "")


def test_no_secret_stands_in_any_page(serve: Serve) -> None:
    """Neither hashes, nor tokens of links, nor where messages go."""
    served = serve(with_people())
    client = served.visit()
    log_in(client, "owner", PASSWORD)
    assert served.settings.page is not None
    hidden = [LINK, PASSWORD, "scrypt:", "link:", "json://"]
    hidden += [one.password.reveal() for one in served.settings.page.people if one.password]
    for path in (*VIEWS, "/api/me", "/api/room", "/api/alarms", "/api/openapi.json"):
        text = client.get(path).text
        assert [word for word in hidden if word in text] == [], path


def test_rack_is_compressed_for_a_phone(serve: Serve) -> None:
    answer = serve().visit().get("/")
    assert answer.headers["content-encoding"] == "gzip"
