"""`/metrics` on the real page: who may read it, and that the numbers are the store's own."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import pytest
from httpx import Client, Response
from prometheus_client.parser import text_string_to_metric_families

from demo.filled import HandClock
from monitor.errors import SettingsError
from monitor.page.latest import Latest
from monitor.page.metrics import Metrics, Tally
from monitor.settings.load import load_settings
from monitor.store import Arrival, Store, mirrored, open_reader
from monitor.terms import Quantity, Refusal
from monitor.values import Decoded, Delivery, Message, Reading, Refused, Urgency
from tests.page.conftest import END_S, Filled, Served, secret, with_people
from tests.page.watching import watched_room

Serve = Callable[..., Served]
OPEN = "page: {{port: {port}, metrics: {{}}}}\n"
TOKEN = "moss-on-the-north-wall-7"
MIRROR = "mirror: {{url: 'http://127.0.0.1:9', site: Quarry Lane}}\n"

Numbers = dict[tuple[str, ...], float]


def numbers(answer: Response) -> Numbers:
    """(name, value of each label in order of the labels' names): value."""
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "text/plain; version=0.0.4; charset=utf-8"
    return {
        (sample.name, *(value for _, value in sorted(sample.labels.items()))): sample.value
        for family in text_string_to_metric_families(answer.text)
        for sample in family.samples
    }


def arrival(name: str, at_s: float, *, refused: bool = False) -> Arrival:
    reading = Reading("p-b017", Quantity.TEMPERATURE, 23.4, at_s, at_s, name)
    bad = Refused(name, Refusal.NOT_A_NUMBER, "21,5", b"21,5", at_s)
    decoded = Decoded(refused=(bad,)) if refused else Decoded((reading,))
    return Arrival(name, f"{name}{at_s}", at_s, at_s, "boot", True, decoded)


def test_there_are_no_numbers_unless_settings_say_so(serve: Serve) -> None:
    assert serve().visit().get("/metrics").status_code == 404


def test_numbers_are_those_of_the_store(serve: Serve) -> None:
    """What is written between two questions is counted in the second, by source and reason."""
    served = serve(OPEN + MIRROR)
    client, path, now_s = served.visit(), served.settings.store.path, served.clock.wall_s()
    before = numbers(client.get("/metrics"))
    message = Message("m1", 'ana "b"\\ü', "t", "b", Urgency.TODAY, now_s, now_s + 9e4)
    with Store.open(path, now_s) as store:
        store.add_batch([arrival("bench", now_s), arrival('odd "\\name', now_s - 1)])
        store.add_batch([arrival("bench", now_s)])  # a repeat
        store.add_batch([arrival("bench", now_s + 1, refused=True)])
        store.add_events((), [Delivery(message, 0, now_s - 40, "waiting")])
        standing = store.standing()
        assert mirrored.begin(store, "another server")
        waiting = mirrored.behind(store, mirrored.Place())
    after = numbers(client.get("/metrics"))
    assert before["bagwatt_readings_total", "rack line"] == 0.0
    assert after["bagwatt_readings_total", "bench"] == 1.0
    assert after["bagwatt_readings_total", 'odd "\\name'] == 1.0
    assert after["bagwatt_refused_total", "not a number", "bench"] == 1.0
    assert after["bagwatt_reading_age_seconds",] == pytest.approx(1.0)
    assert before["bagwatt_frame_age_seconds",] == pytest.approx(
        served.clock.wall_s() - END_S, abs=600
    )
    assert after["bagwatt_frame_lag_seconds",] >= 0.0
    assert len(standing) > 0
    for kind, urgency in {(one.latest.kind, one.latest.urgency) for one in standing}:
        count = sum((one.latest.kind, one.latest.urgency) == (kind, urgency) for one in standing)
        assert after["bagwatt_alarms_standing", kind, urgency] == count
    told = sum(value for key, value in after.items() if key[0] == "bagwatt_alarms_standing")
    assert told == len(standing)
    assert after["bagwatt_messages_waiting", message.recipient] == 1.0
    assert after["bagwatt_messages_overdue_seconds", message.recipient] == 40.0
    assert after["bagwatt_mirror_waiting", "readings"] == waiting[0] > 1000
    assert after["bagwatt_mirror_lag_seconds",] > 86400.0
    assert after["bagwatt_store_failing",] == 0.0


def test_token_is_asked_for_and_nothing_else_opens_the_door(serve: Serve, filled: Filled) -> None:
    """Neither a login nor a guest's right to look reads the numbers; the token does."""
    secret(filled.folder, "page-numbers", TOKEN)
    numbers_too = "{port}\n  metrics: {{token: {{file: secrets/page-numbers}}}}"
    client = serve(with_people("look").replace("{port}", numbers_too)).visit()

    def ask(words: str | None) -> Response:
        return client.get("/metrics", headers={} if words is None else {"authorization": words})

    for words in (None, "", "Bearer", f"Bearer {TOKEN}x", f"Basic {TOKEN}", TOKEN):
        assert ask(words).status_code == 401, words
        assert "bagwatt_" not in ask(words).text
    assert client.get("/").status_code == 200  # a guest may look at the rack
    good = ask(f"Bearer {TOKEN}")
    assert numbers(good)["bagwatt_queue_waiting",] == 0.0
    assert "set-cookie" not in good.headers
    assert TOKEN not in good.text
    assert client.post("/metrics").status_code == 405


@pytest.mark.parametrize(
    ("page", "told"),
    [
        ("page:\n  listen: 0.0.0.0\n  people: [{name: a, link: {file: link}}]\n  metrics: {}\n",
         "on a network the numbers need a token"),
        ("page: {metrics: {token: {file: short}}}\n", "what it refers to is no token"),
        ("page: {metrics: {token: moss-on-the-north-wall-7}}\n", "a secret does not belong"),
        ("page: {metrics: {tokn: {file: short}}}\n", "tokn"),
    ],
    ids=["network without a token", "short", "in clear", "misspelt"],
)  # fmt: skip
def test_settings_that_would_leave_the_door_open_are_refused(
    page: str, told: str, tmp_path: Path
) -> None:
    base = (
        "room: {name: R, timezone: Europe/London, band_low: 17 C, band_high: 25 C}\n"
        "channels: none\nstore: {path: bagwatt.db}\n"
    )
    (tmp_path / "monitor.yaml").write_text(base + page, encoding="utf-8")
    for name, text in (("short", "fifteen-signs-x"), ("link", "link:" + "0" * 64)):
        (tmp_path / name).touch(mode=0o600)
        (tmp_path / name).write_text(text, encoding="utf-8")
    with pytest.raises(SettingsError) as refused:
        load_settings(tmp_path, {})
    assert any(told in problem for problem in refused.value.problems), refused.value.problems
    assert "fifteen-signs" not in str(refused.value.problems)


def test_store_that_is_gone_is_answered_with_a_word_and_no_numbers(serve: Serve) -> None:
    served = serve(OPEN)
    served.settings.store.path.rename(served.settings.store.path.with_name("elsewhere"))
    answer = served.visit().get("/metrics")
    assert answer.status_code == 503 and "bagwatt_" not in answer.text


def test_tally_goes_on_when_a_store_is_begun_anew(tmp_path: Path) -> None:
    """After a damaged file was moved aside its ids begin again; nothing is taken away."""
    tally = Tally()
    with Store.open(tmp_path / "one.db", 0.0) as store, open_reader(tmp_path / "one.db") as read:
        store.add_batch([arrival("bench", float(at)) for at in range(5)])
        assert tally.look(read)["bench"] == 0  # what was there before is not counted
        store.add_batch([arrival("bench", 9.0)])
        assert tally.look(read)["bench"] == 1
    with Store.open(tmp_path / "two.db", 0.0) as store, open_reader(tmp_path / "two.db") as read:
        store.add_batch([arrival("bench", float(at)) for at in range(3)])
        assert tally.look(read)["bench"] == 4


def test_room_that_is_watched_tells_its_commits_and_readings(
    filled: Filled, tmp_path: Path
) -> None:
    """The daemon itself, its probes speaking: counts rise, the last commit is young."""
    with (
        watched_room(filled, tmp_path / "room", "metrics: {}") as room,
        Client(base_url=room.address, timeout=20.0) as client,
    ):
        first = found = numbers(client.get("/metrics"))
        until_s = time.monotonic() + 20.0
        while found["bagwatt_readings_total", "rack line"] == 0 and time.monotonic() < until_s:
            time.sleep(0.1)
            found = numbers(client.get("/metrics"))
    assert first["bagwatt_queue_limit",] == 20_000
    assert found["bagwatt_readings_total", "rack line"] > 0
    assert 0.0 <= found["bagwatt_commit_age_seconds",] < 60.0
    assert 0.0 <= found["bagwatt_commit_latency_seconds",] < 60.0


def test_metrics_without_a_watch_leave_out_what_they_cannot_know(filled: Filled) -> None:
    """A number that is not known is missing, not 0."""
    settings = load_settings(filled.folder, {})
    families = Metrics(settings, HandClock(END_S), Latest()).families()
    values = {one.name: one.samples for one in families}
    assert values["bagwatt_commit_age_seconds"] == ()
    assert values["bagwatt_queue_waiting"] != ()
    assert not any(name.startswith("bagwatt_mirror") for name in values)
