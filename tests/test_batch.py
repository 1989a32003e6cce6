"""What neither the card nor a spare takes stays in hand, and is stored once there is room."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from monitor import batch, keeper
from monitor.clock import SystemClock
from monitor.errors import StoreUnwritable
from monitor.live import Live
from monitor.settings.load import load_settings
from monitor.store.spare_place import Place
from tests.broker import Broker, running_broker
from tests.faults.kills import FIRST_C, STEP_C, stored, write_room
from tests.waiting import wait_until

pytestmark = pytest.mark.on_disk
#: More than the broker sends ahead of acknowledgement.
MESSAGES = 100


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    """One that keeps no more than 20 messages on their way, as is usual."""
    with running_broker(tmp_path) as broker:
        write_room(tmp_path, broker.port)
        settings = tmp_path / "monitor.yaml"
        text = settings.read_text(encoding="utf-8")
        settings.write_text(text.replace("client_id", 'version: "3.1.1"\n    client_id'), "utf-8")
        yield broker


@pytest.fixture
def no_spare(monkeypatch: pytest.MonkeyPatch) -> None:
    """As where memory is full, or has no file system."""

    def places(path: Path, medium: Path | None) -> list[Place]:
        return []

    monkeypatch.setattr(keeper, "places", places)
    monkeypatch.setattr(batch, "REFUSED_AGAIN_S", 0.5)


def publish(broker: Broker, first: int) -> None:
    broker.publish(*(
        (f"quarry/k{one % 20}/temp", f"{FIRST_C + one * STEP_C:.5f}")
        for one in range(first, first + MESSAGES)
    ))  # fmt: skip


@pytest.mark.usefixtures("no_spare")
def test_a_full_disk_without_a_spare_costs_no_reading_and_stops_no_broker(
    tmp_path: Path, broker: Broker
) -> None:
    """Before it, while it lasts, and after: each reading once, all without a new connection."""
    live = Live(load_settings(tmp_path, {}), SystemClock(), lambda line: None)
    live.begin()

    def turned_until(holds: Callable[[], bool], what: str) -> None:
        def turned() -> bool:
            live.turn()
            return holds()

        wait_until(turned, 20.0, what)

    try:
        turned_until(lambda: "SUBACK" in broker.log(), "subscribed")
        publish(broker, 0)
        turned_until(lambda: len(stored(tmp_path)) == MESSAGES, "stored while all is well")
        card = live._log.store
        card.connection.execute("PRAGMA max_page_count = 1")
        with pytest.raises(StoreUnwritable, match="full"):
            while True:
                card.add_note(0.0, "filled", "x" * 1000)
        publish(broker, MESSAGES)
        turned_until(lambda: bool(live._log.problem), "nothing is stored")
        card.connection.execute("PRAGMA max_page_count = 1000000")
        publish(broker, 2 * MESSAGES)
        turned_until(lambda: len(stored(tmp_path)) == 3 * MESSAGES, "stored in the end")
    finally:
        live.end()
    assert stored(tmp_path) == Counter(range(3 * MESSAGES))
    assert broker.log().count("New client connected") == 1 + 3  # the watch, and each publishing
