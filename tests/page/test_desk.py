"""The desk that logs people in, asked without a page: its limits and what it takes for known."""

from __future__ import annotations

import time

import pytest

from monitor.page import login
from monitor.page.login import Desk, hash_password, password_fits
from monitor.settings.schema_page import PageSettings, PersonSettings
from monitor.settings.secrets import Secret

PASSWORD = "spores-and-straw"


class Clock:
    now_s = 0.0


@pytest.fixture(scope="module")
def kept() -> str:
    return hash_password(PASSWORD)


@pytest.fixture
def desk(kept: str) -> Desk:
    owner = PersonSettings(name="owner", password=Secret(kept))
    Clock.now_s = 0.0
    return Desk(PageSettings(people=(owner,)), lambda: Clock.now_s, "grower")


def test_a_token_fits_its_visit_only_and_none_fits_nobodys(desk: Desk) -> None:
    token = desk.form_token("a visit")
    assert desk.token_fits(token, "a visit")
    assert not desk.token_fits(token, "another")
    assert not desk.token_fits(token[:-1] + ("0" if token[-1] != "0" else "1"), "a visit")
    assert not desk.token_fits(desk.form_token(""), "")
    assert desk.form_token("a visit") != token


def test_an_unknown_name_takes_as_long_as_a_wrong_password(desk: Desk) -> None:
    """Else the time of an answer tells who is set up."""

    def worked_s(name: str) -> float:
        began_s = time.thread_time()
        assert desk.log_in(name, "wrong") is None
        return time.thread_time() - began_s

    known_s = min(worked_s("owner") for _ in range(3))
    assert min(worked_s("nobody") for _ in range(3)) > 0.3 * known_s > 0.003


def test_the_oldest_of_too_many_visits_is_nobodys_any_more(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(login, "MOST_SESSIONS", 2)
    visits = [desk.log_in("owner", PASSWORD) for _ in range(3)]
    assert [desk.visitor(visit or "", "").name for visit in visits] == ["", "owner", "owner"]


def test_a_visit_ends_when_it_was_not_seen_for_its_time_or_is_logged_out(desk: Desk) -> None:
    visit = desk.log_in("owner", PASSWORD) or ""
    lasts_s = PageSettings().session_s
    for _ in range(3):
        Clock.now_s += 0.9 * lasts_s
        assert desk.visitor(visit, "").logged_in
    Clock.now_s += 1.1 * lasts_s
    assert not desk.visitor(visit, "").logged_in
    other = desk.log_in("owner", PASSWORD) or ""
    desk.log_out(other)
    assert not desk.visitor(other, "").logged_in


def test_a_password_longer_than_anyone_types_is_not_even_hashed() -> None:
    long = "x" * (login.LONGEST_PASSWORD + 1)
    assert not password_fits(long, hash_password(long))
    assert password_fits(long[1:], hash_password(long[1:]))


def test_tries_are_counted_by_address_and_in_all_and_the_table_is_bounded(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert [desk.may_try("one") for _ in range(8)] == [True] * login.TRIES + [False] * 2
    others = [desk.may_try(f"other {number}") for number in range(60)]
    assert others.count(True) == login.TRIES_IN_ALL - login.TRIES
    Clock.now_s += login.WINDOW_S
    assert desk.may_try("one")
    monkeypatch.setattr(login, "MOST_ADDRESSES", 5)
    for number in range(20):
        Clock.now_s += login.WINDOW_S
        desk.may_try(f"later {number}")
    assert len(desk._tries) <= 6
