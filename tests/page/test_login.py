"""Passwords, links, sessions and counted tries of the page."""

from __future__ import annotations

import pytest

from monitor.page.login import (
    TRIES,
    TRIES_IN_ALL,
    WINDOW_S,
    Desk,
    hash_link,
    hash_password,
    new_link,
    password_fits,
)
from monitor.settings.schema import PageSettings, PersonSettings
from monitor.settings.schema_page import LINK_FORM, usable_password
from monitor.settings.secrets import Secret


class Seconds:
    """A steady clock moved by hand."""

    def __init__(self) -> None:
        self.now_s = 1000.0

    def __call__(self) -> float:
        return self.now_s


def desk(seconds: Seconds, **page: object) -> Desk:
    people = (
        PersonSettings(name="owner", password=Secret(hash_password("old barn door")), units="F"),
        PersonSettings(name="phone", link=Secret(hash_link("s3cret")), may="look"),
    )
    return Desk(PageSettings(people=people, session_s=3600.0, **page), seconds, "root")  # type: ignore[arg-type]


def test_password_hash_is_scrypt_when_compared_with_the_published_vector() -> None:
    """RFC 7914, section 12: "pleaseletmein", "SodiumChloride", N 16384, r 8, p 1; the first 32 of
    its 64 bytes, which are the same as those of a key of 32 (PBKDF2 gives them block by block)."""
    expected = "7023bdcb3afd7348461c06cd81fd38ebfda8fbba904f8e3ea9b543f6545da1f2"
    assert hash_password("pleaseletmein", b"SodiumChloride").split(":")[-1] == expected


def test_password_fits_its_own_hash_and_no_other() -> None:
    kept = hash_password("old barn door")
    assert password_fits("old barn door", kept)
    assert not password_fits("old barn doors", kept)
    assert hash_password("old barn door") != kept, "a new salt each time"


@pytest.mark.parametrize(
    "kept", ["", "hunter2", "scrypt:1:8:1::", f"scrypt:16384:8:1:{'g' * 32}:{'0' * 64}"]
)
def test_nothing_fits_a_hash_that_is_none(kept: str) -> None:
    assert not password_fits("", kept)
    assert not usable_password(kept)


def test_hash_that_would_take_too_much_memory_is_not_usable() -> None:
    """N 2^20 with r 8 takes 1 GiB: a Pi would stall at every try."""
    assert not usable_password(f"scrypt:1048576:8:1:{'0' * 32}:{'0' * 64}"[:4096])
    assert not usable_password(f"scrypt:524288:8:1:{'0' * 32}:{'0' * 64}")


def test_new_link_is_kept_as_its_hash() -> None:
    secret, kept = new_link()
    assert LINK_FORM.fullmatch(kept)
    assert kept == hash_link(secret)
    assert secret not in kept


def test_session_ends_when_nobody_asks_for_long_enough() -> None:
    seconds = Seconds()
    one = desk(seconds)
    visit = one.log_in("owner", "old barn door")
    assert visit is not None
    seconds.now_s += 3500.0
    assert one.visitor(visit, "").name == "owner"
    seconds.now_s += 3500.0  # counted from the last request
    assert one.visitor(visit, "").units == "F"
    seconds.now_s += 3601.0
    assert not one.visitor(visit, "").may_look


def test_logged_out_visit_is_nobodys() -> None:
    one = desk(Seconds())
    visit = one.log_in("owner", "old barn door")
    assert visit is not None
    one.log_out(visit)
    assert one.visitor(visit, "").name == ""


def test_device_with_a_link_is_its_person_and_may_what_the_settings_say() -> None:
    who = desk(Seconds()).visitor("", "s3cret")
    assert (who.name, who.may_look, who.may_act) == ("phone", True, False)
    assert not desk(Seconds()).visitor("", "other").may_look


def test_wrong_name_and_wrong_password_are_answered_alike() -> None:
    one = desk(Seconds())
    assert one.log_in("owner", "wrong") is None
    assert one.log_in("nobody", "old barn door") is None
    assert one.log_in("phone", "") is None, "a person without a password has no password"


def test_tries_are_refused_when_an_address_or_all_tried_too_often() -> None:
    seconds = Seconds()
    one = desk(seconds)
    assert [one.may_try("a") for _ in range(TRIES + 1)] == [True] * TRIES + [False]
    assert one.may_try("b"), "another address may still try"
    for number in range(TRIES_IN_ALL):
        one.may_try(f"c{number}")
    assert not one.may_try("d"), "not when all of them tried too often"
    seconds.now_s += WINDOW_S + 1
    assert one.may_try("a")


def test_form_token_fits_its_visit_and_no_other() -> None:
    one = desk(Seconds())
    token = one.form_token("visit")
    assert one.token_fits(token, "visit")
    assert one.form_token("visit") != token, "so that compression tells nothing of it"
    assert not one.token_fits(token, "other")
    assert not one.token_fits("", "")
    assert not desk(Seconds()).token_fits(token, "visit"), "another daemon has another key"


def test_who_sits_at_the_machine_may_act_where_nobody_is_set_up() -> None:
    who = Desk(PageSettings(), Seconds(), "root").visitor("", "")
    assert (who.name, who.may_look, who.may_act, who.logged_in) == ("root", True, True, False)
