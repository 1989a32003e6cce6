"""A store's id and its claim to a room's name stay with it."""

from __future__ import annotations

from pathlib import Path

from monitor.store import Store, claimed, open_reader

NOW_S = 1_796_000_400.4


def test_a_claim_is_made_once_and_found_again(tmp_path: Path) -> None:
    path = tmp_path / "bagwatt.db"
    with Store.open(path, NOW_S) as store:
        assert claimed.known(store, "farm", "North") is None
        first = claimed.claim(store, "farm", "North", NOW_S)
    assert first.since_s == 1_796_000_400.0
    with Store.open(path, NOW_S) as store:
        assert claimed.claim(store, "farm", "North", NOW_S + 9e6) == first
        other = claimed.claim(store, "farm", "South", NOW_S + 60.0)
        assert (other.instance, other.since_s) == (first.instance, first.since_s + 60.0)
    with open_reader(path) as reader:
        assert claimed.known(reader, "farm", "North") == first


def test_two_stores_are_not_one(tmp_path: Path) -> None:
    found = set()
    for name in ("a.db", "b.db"):
        with Store.open(tmp_path / name, NOW_S) as store:
            found.add(claimed.claim(store, "farm", "North", NOW_S).instance)
    assert len(found) == 2
