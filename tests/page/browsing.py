"""A page open in the browser: opened and closed, looked at by axe, and its picture."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page
from playwright.sync_api import TimeoutError as PlaywrightTimeout

SERIOUS = ("serious", "critical")
LOADED_WITHIN_MS = 10_000.0


@contextmanager
def opened(browser: Browser, **how: Any) -> Iterator[Page]:
    """A page in a context of its own, which `how` describes (`Browser.new_context`).

    It is closed only once its view has loaded: Chromium 150 lost a close asked for while a view
    came in, in one of twelve, and Playwright waits for that one without end. One that does not
    load in time is left to go with the browser.
    """
    context = browser.new_context(**how)
    page = context.new_page()
    try:
        yield page
    finally:
        with suppress(PlaywrightTimeout):
            page.wait_for_load_state("load", timeout=LOADED_WITHIN_MS)
            context.close()


def violations(page: Page) -> list[tuple[str, str, Any]]:
    """What axe finds that is serious or critical."""
    found = Axe().run(page).response["violations"]
    return [
        (one["id"], one["impact"], one["nodes"][0]["html"][:120])
        for one in found
        if one["impact"] in SERIOUS
    ]


def picture(page: Page, name: str) -> None:
    """A picture for a person, where somebody wants them: BAGWATT_PICTURES names a folder."""
    folder = os.environ.get("BAGWATT_PICTURES")
    if folder:
        page.screenshot(path=Path(folder) / f"{name}.png", full_page=True)
