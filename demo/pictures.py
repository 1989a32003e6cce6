"""Makes the pictures of the README: the demo's room on the page, as a phone in the room shows it.

    python -m demo.pictures [FOLDER]

Needs Chromium (Debian's `chromium`) and the test tools (`sh demo/environment test`).
"""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from demo.filled import HandClock, fill, write_room
from demo.rooms import DAY_S, HOUR_S, START_S
from demo.show import STICKS_AT_S, draw_room
from demo.stage import free_port, wait_for_port, write_settings
from monitor.page import Latest, PageServer
from monitor.settings.load import load_settings
from monitor.settings.schema import Settings
from monitor.store import open_reader

ROOT = Path(__file__).resolve().parent.parent
PICTURES = ROOT / "demo" / "pictures"
CHROMIUM = shutil.which("chromium") or "/usr/bin/chromium"
#: Nothing it does by itself may reach out of this machine.
FLAGS = [
    "--no-sandbox", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--disable-dev-shm-usage",
]  # fmt: skip
PHONE = {"width": 360, "height": 740}


def stage(folder: Path, end_s: float) -> Settings:
    """Settings and a store of the demo's room up to a moment, with a page on a free port."""
    write_room(folder / "room", draw_room())
    write_settings(folder, ROOT / "config" / "strains.yaml", folder / "line", None, free_port())
    with (folder / "monitor.yaml").open("a", encoding="utf-8") as file:
        file.write(f"page:\n  port: {free_port()}\n")
    settings = load_settings(folder, os.environ)
    fill(settings, draw_room(), end_s)
    return settings


@contextmanager
def served(settings: Settings) -> Iterator[str]:
    """The page of a filled store, at the address it yields, at the moment its last frame ended."""
    with open_reader(settings.store.path) as store:
        last = store.last_frame()
    now_s = last.closed_s if last else START_S
    server = PageServer(settings, HandClock(now_s), Latest(), lambda line: None, "Quarry Lane")
    server.start()
    assert settings.page is not None
    wait_for_port(settings.page.port)
    try:
        yield server.address
    finally:
        server.stop()


def draw(address: str, folder: Path) -> list[Path]:
    """Three pictures: the rack, the hottest bag, the walk."""
    from playwright.sync_api import sync_playwright  # noqa: PLC0415

    folder.mkdir(parents=True, exist_ok=True)
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        page = browser.new_page(viewport=PHONE, device_scale_factor=1.25)
        page.goto(address)
        page.screenshot(path=folder / "rack.png")
        page.locator("a.bag.hot").first.click()
        page.evaluate("document.querySelector('#course').scrollIntoView()")
        page.screenshot(path=folder / "bag.png")
        page.goto(f"{address}walk")
        page.locator("#walk-value").fill("23.6")
        page.screenshot(path=folder / "walk.png")
        browser.close()
    return [folder / f"{name}.png" for name in ("rack", "bag", "walk")]


def main() -> int:
    """Make them; 2 on a wrong call."""
    if len(sys.argv) > 2:
        print(__doc__, file=sys.stderr)
        return 2
    target = Path(sys.argv[1]) if len(sys.argv) == 2 else PICTURES
    with tempfile.TemporaryDirectory(prefix="bagwatt-pictures-") as folder:
        settings = stage(Path(folder), min(STICKS_AT_S, START_S + 3.5 * DAY_S) + HOUR_S)
        with served(settings) as address:
            for path in draw(address, target):
                print(f"{path} ({path.stat().st_size // 1024} KB)")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
