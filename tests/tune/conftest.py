"""One invented room as the whole road judged it, for every test of tuning."""

from __future__ import annotations

from pathlib import Path

import pytest

from monitor.recount import of_folder
from monitor.review.account import Account


@pytest.fixture(scope="session")
def account(small_room: Path) -> Account:
    """The small room recounted under the generic strain."""
    return of_folder(small_room, None)
