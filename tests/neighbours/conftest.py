"""A broker for each test of what rooms tell."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.broker import Broker, running_broker


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    where = tmp_path / "mosquitto"
    where.mkdir()
    with running_broker(where) as broker:
        yield broker
