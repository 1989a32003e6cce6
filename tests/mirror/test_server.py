"""What a server's answer means, over real HTTP; the faults are those a grower's server has."""

from __future__ import annotations

import time
from collections.abc import Iterator
from email.utils import formatdate

import pytest

from monitor.mirror.sending import ENOUGH_REFUSED, Sending
from monitor.mirror.server import Server, Word
from monitor.settings.secrets import Secret
from tests.mirror.fake import TOKEN, FakeServer

NOW_S = 1_790_000_000.0
LINES = [f"reading,bag=GO12-{number:03d} temperature_c=23.5 1790000000000" for number in range(8)]


@pytest.fixture
def fake() -> Iterator[FakeServer]:
    with FakeServer() as server:
        yield server


def sending(fake: FakeServer, **words: object) -> Sending:
    return Sending(Server(fake.settings(**words)), lambda at_s: f"mirror tried=1.0 {at_s:.0f}000")


def test_points_arrive_with_token_organisation_bucket_and_milliseconds(fake: FakeServer) -> None:
    sent = sending(fake).send(LINES, NOW_S)
    assert (sent.taken, sent.failed, sent.refused) == (8, None, ())
    assert fake.points[LINES[3].split(" ")[0], "temperature_c", 1_790_000_000_000] == 23.5
    assert len(fake.requests) == 1


@pytest.mark.parametrize(
    ("words", "status", "hint"),
    [
        ({"token": Secret("wrong")}, "401", "mirror.token"),
        ({"token": None}, "401", "mirror.token"),
        ({"bucket": "barn"}, "404", "bucket"),
        ({"org": "nobody"}, "404", "org"),
    ],
)
def test_wrong_token_or_bucket_is_not_the_rows_fault(
    fake: FakeServer, words: dict[str, object], status: str, hint: str
) -> None:
    """Nothing is parked, nothing looked through, and the words name the setting."""
    failed = sending(fake, **words).send(LINES, NOW_S).failed
    assert failed is not None and failed.word is Word.REFUSED
    assert status in failed.detail and hint in failed.detail
    assert "wrong" not in failed.detail and TOKEN not in failed.detail
    assert len(fake.requests) == 1


def test_rows_at_fault_are_found_by_halving_and_the_others_taken(fake: FakeServer) -> None:
    fake.bad = "GO12-005"
    sent = sending(fake).send(LINES, NOW_S)
    assert sent.failed is None and sent.taken == 7
    assert [line for line, _ in sent.refused] == [LINES[5]]
    assert "partial write: GO12-005" in sent.refused[0][1]
    assert len(fake.requests) <= 2 + 2 * 3  # the batch, the sound point, two for each halving


def test_a_server_that_refuses_a_sound_point_too_is_not_asked_row_by_row(fake: FakeServer) -> None:
    fake.mood = "400"
    failed = sending(fake).send(LINES, NOW_S).failed
    assert failed is not None and failed.word is Word.REFUSED
    assert "refuses any point" in failed.detail
    assert len(fake.requests) == 2


def test_a_batch_of_which_nothing_is_taken_is_not_tried_row_by_row_to_its_end(
    fake: FakeServer,
) -> None:
    """As where a server keeps a week and is sent a month."""
    fake.bad = "reading"
    lines = [line.replace("reading", f"reading,n={n}") for n in range(500) for line in LINES]
    sent = sending(fake).send(lines, NOW_S)
    assert len(sent.refused) == len(lines)
    assert len(fake.requests) < 4 * ENOUGH_REFUSED


def test_rows_are_looked_through_singly_however_many_are_refused_once_one_was_taken(
    fake: FakeServer,
) -> None:
    """The sound rows behind a hundred bad ones are not given up with them."""
    fake.bad = "wrong"
    bad = [LINES[0].replace("reading", f"wrong,n={n}") for n in range(3 * ENOUGH_REFUSED)]
    sent = sending(fake).send([*LINES[:4], *bad, *LINES[4:]], NOW_S)
    assert (sent.taken, len(sent.refused)) == (8, len(bad))


def test_a_request_too_large_is_halved_and_the_next_ones_stay_small(fake: FakeServer) -> None:
    fake.most_bytes = 3 * len(LINES[0])
    sender = sending(fake)
    assert sender.send(LINES, NOW_S).taken == 8
    asked = len(fake.requests)
    assert sender.send(LINES, NOW_S).taken == 8
    assert all(len(lines) <= 2 for lines in fake.requests[asked:])


def test_a_row_too_large_alone_is_refused(fake: FakeServer) -> None:
    fake.most_bytes = 100
    long = LINES[0].replace("GO12", "x" * 200)
    sent = sending(fake).send([LINES[1], long], NOW_S)
    assert [line for line, _ in sent.refused] == [long] and sent.taken == 1


@pytest.mark.parametrize("status", ["408", "429", "500", "502", "503"])
def test_a_server_in_trouble_is_tried_again(fake: FakeServer, status: str) -> None:
    fake.mood = status
    fake.headers = {"Retry-After": "90"}
    failed = sending(fake).send(LINES, NOW_S).failed
    assert failed is not None and failed.word is Word.AGAIN
    assert failed.wait_s == 90.0
    assert len(fake.requests) == 1


@pytest.mark.parametrize(
    ("asked", "wait_s"),
    [("-5", None), ("soon", None), ("", None), ("86400000", 3600.0), ("0", 0.0), ("٣", None)],
)
def test_odd_words_of_patience_are_bounded_or_passed_over(
    fake: FakeServer, asked: str, wait_s: float | None
) -> None:
    fake.mood = "503"
    fake.headers = {"Retry-After": asked.encode("utf-8").decode("latin-1")}
    failed = sending(fake).send(LINES, NOW_S).failed
    assert failed is not None and failed.wait_s == wait_s


def test_patience_until_a_moment_goes_by_the_servers_own_clock(fake: FakeServer) -> None:
    """RFC 9110, section 10.2.3: Retry-After may be a date; the server's clock may be wrong."""
    fake.mood, fake.clock_s = "503", NOW_S - 7 * 86400
    fake.headers = {"Retry-After": formatdate(NOW_S - 7 * 86400 + 120, usegmt=True)}
    failed = sending(fake).send(LINES, NOW_S).failed
    assert failed is not None and failed.wait_s == 120.0


@pytest.mark.parametrize(
    ("ahead_s", "word"), [(-30 * 3600.0, Word.REFUSED), (-60.0, None), (30 * 3600.0, None)]
)
def test_a_server_whose_clock_is_far_behind_is_not_believed(
    fake: FakeServer, ahead_s: float, word: Word | None
) -> None:
    """Some drop what they take for the future and still answer 204."""
    fake.clock_s = NOW_S + ahead_s
    sent = sending(fake).send(LINES, NOW_S)
    assert (None if sent.failed is None else sent.failed.word) is word
    if sent.failed is None:
        assert sent.ahead_s == ahead_s
    else:
        assert "30 h behind" in sent.failed.detail


def test_a_slow_server_has_the_time_that_the_settings_give_it() -> None:
    with FakeServer("slow", drip_s=3.2) as fake:
        assert sending(fake, timeout_s=6.0).send(LINES, NOW_S).taken == 8


@pytest.mark.parametrize("mood", ["hang", "drip"])
def test_a_server_that_does_not_end_its_answer_is_given_up(mood: str) -> None:
    """A drip would go on for a minute; each byte comes in time for a limit on single reads."""
    with FakeServer(mood) as fake:
        began_s = time.monotonic()
        failed = sending(fake, timeout_s=1.0).send(LINES, NOW_S).failed
        assert failed is not None and failed.word is Word.AGAIN
        assert time.monotonic() - began_s < 30.0
        fake.mood = "ok"
        assert sending(fake, timeout_s=1.0).send(LINES, NOW_S).taken == 8


def test_a_server_that_is_not_there_is_tried_again_and_its_address_not_told() -> None:
    fake = FakeServer()
    failed = sending(fake).send(LINES, NOW_S).failed
    assert failed is not None and failed.word is Word.AGAIN
    assert "not reached" in failed.detail and "127.0.0.1" not in failed.detail
