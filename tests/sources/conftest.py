"""A broker of its own for each test that asks, and sources that don't wait long for it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.sources import mqtt_client
from tests.broker import Broker, running_broker


@pytest.fixture(autouse=True)
def _short_back_off(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(mqtt_client, "BACK_OFF_S", (0.2, 1))


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    with running_broker(tmp_path) as broker:
        yield broker
