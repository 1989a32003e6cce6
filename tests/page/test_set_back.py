"""The page of a room with bags while its frames lie in the future, and once they are put by."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from monitor.resume import resume
from monitor.store import Store
from tests.page.conftest import END_S, HOT, Served

Serve = Callable[..., Served]
HOUR_S = 3600.0
VIEWS = ("/", "/alarms", "/walk", "/night", "/monitor", "/forecast", f"/bag/{HOT}")


@pytest.mark.parametrize("hours", [6.0, 30.0])
def test_every_view_stands_before_and_after_frames_of_the_future_are_put_by(
    serve: Serve, hours: float
) -> None:
    served = serve()
    now_s = END_S - hours * HOUR_S
    served.clock.now_s = now_s
    visit = served.visit()
    assert {visit.get(view).status_code for view in VIEWS} == {200}
    settings = served.settings
    with Store.open(settings.store.path, now_s) as store:
        told = [one for one in store.events() if one.at_s <= now_s]
        assert store.put_by(now_s, "another boot", 0.0)
        live = resume(store, settings)
        again = resume(store, settings, from_start=True)
        assert live.last_close is not None and live.last_close.end_s <= now_s
        assert live.road.state() == again.road.state()
        assert again.events == told == store.events()
        store.close_frame(now_s, now_s, live.last_reading_id, live.last_journal_id)
    assert {visit.get(view).status_code for view in VIEWS} == {200}
