"""Sources that don't wait long for their broker."""

from __future__ import annotations

import pytest

from monitor.sources import mqtt_client


@pytest.fixture(autouse=True)
def _short_back_off(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(mqtt_client, "BACK_OFF_S", (0.2, 1))
