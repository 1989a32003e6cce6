"""A page open in the browser, and its closing."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Any

from playwright.sync_api import Browser, Page
from playwright.sync_api import TimeoutError as PlaywrightTimeout

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
