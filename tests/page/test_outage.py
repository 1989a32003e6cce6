"""While the card fails the page shows what stands from the spare, and says that it does."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest

from monitor.keeper import seed_of
from monitor.resume import resume
from monitor.store import Store, open_reader, spare, spare_path
from monitor.store.spare_place import Place
from monitor.values import AlarmEvent, AlarmKind, Facts, Reason, Transition, Urgency
from tests.page.conftest import Served
from tests.page.forms import send

FULL = Facts(detail="database or disk is full")


@pytest.fixture
def failing(serve: Callable[..., Served]) -> Iterator[tuple[Served, Store]]:
    """A page whose watch has gone on in a spare, where it has raised an alarm since."""
    served = serve()
    path, now_s = served.settings.store.path, served.clock.wall_s()
    memory = spare_path(path)
    assert memory is not None
    with open_reader(path) as card:
        seed = seed_of(resume(card, served.settings))
        store = spare.begin(Place(memory, lasting=False), card, seed, now_s)
    raised = AlarmEvent(
        "house:raised", "5707e0", now_s, AlarmKind.HOUSE, "store", Transition.RAISED, Urgency.NOW,
        Reason.STORE_FAILING, FULL, first_in=True,
    )  # fmt: skip
    store.add_events([raised], [])
    yield served, store
    store.close()
    spare.remove(memory)


def test_what_stands_comes_from_the_spare_and_every_page_says_so(
    failing: tuple[Served, Store],
) -> None:
    served, _ = failing
    client = served.visit()
    for path in ("/", "/alarms", "/night", "/monitor"):
        assert "The store can&#39;t be written" in client.get(path).text.replace("'", "&#39;"), path
    assert "5707e0" in client.get("/alarms").text
    assert "5707e0" in client.get("/api/alarms").text


def test_an_answer_given_meanwhile_reaches_the_watch(failing: tuple[Served, Store]) -> None:
    served, store = failing
    answer = send(served.visit(), "/alarms", "/alarms/5707e0/acknowledge")
    assert answer.status_code == 303
    assert store.journal_after(0)[-1].body.verb == "acknowledge"  # type: ignore[union-attr]
