"""Our claim stays with the store, whatever becomes of its file."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from monitor.errors import StoreError
from monitor.neighbours.kept_claim import KeptClaim
from monitor.settings.load import load_settings
from monitor.store import Store, claimed, open_reader
from tests.clocks import TurnedClock
from tests.neighbours.telling import write_room
from tests.watched import NOW_S


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return write_room(tmp_path / "a", "North", 1) / "bagwatt.db"


def kept_claim(path: Path, now_s: float = NOW_S) -> KeptClaim:
    settings = load_settings(path.parent, {})
    assert settings.neighbours is not None
    return KeptClaim(settings, settings.neighbours, TurnedClock(now_s))


def test_a_later_run_has_the_same_claim_but_for_its_run(path: Path) -> None:
    first, second = kept_claim(path).claim(), kept_claim(path, NOW_S + 3600.0).claim()
    assert (second.instance, second.since_s) == (first.instance, first.since_s)
    assert first.run < second.run and first.rank < second.rank
    assert first.host and first.keepalive_s == 5.0


def test_a_store_that_takes_the_place_of_another_gets_the_claim(path: Path) -> None:
    kept = kept_claim(path)
    claim = kept.claim()
    path.unlink()
    kept.again()
    kept.look()
    assert not path.exists(), "nothing is made where the medium is gone"
    Store.open(path, NOW_S).close()
    kept.again()
    kept.look()
    with open_reader(path) as store:
        found = claimed.known(store, "bagwatt/rooms", "North")
    assert found == claimed.Claimed(claim.instance, claim.since_s)


def test_a_claim_is_found_in_a_store_that_can_not_be_written(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = kept_claim(path).claim()

    def full(*_: object, **__: object) -> Store:
        raise StoreError(str(path), "read-only", "mend the card")

    monkeypatch.setattr(Store, "open", full)
    assert kept_claim(path).claim().instance == first.instance
    shutil.copy(path, path.with_name("copy.db"))
    path.unlink()
    with pytest.raises(StoreError):
        kept_claim(path).claim()
