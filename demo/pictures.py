"""Makes the pictures of the README: the demo's room on the page, as a phone in the room shows it.

    python -m demo.pictures [FOLDER]

Needs Chromium (Debian's `chromium`) and the test tools (`sh demo/environment test`); the farm's
needs a mosquitto too.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from demo.command import parser_for
from demo.farm import messages
from demo.filled import HandClock, fill, write_room
from demo.rooms import DAY_S, HOUR_S, START_S
from demo.show import STICKS_AT_S, draw_room
from demo.stage import Broker, find_broker, free_port, wait_for_port, write_settings
from monitor.neighbours.topics import DEFAULT_PREFIX
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


def stage(folder: Path, end_s: float, broker_port: int | None = None) -> Settings:
    """Settings and a store of the demo's room up to a moment, with a page on a free port, and
    other rooms at a broker where there is one."""
    write_room(folder / "room", draw_room())
    write_settings(folder, ROOT / "config" / "strains.yaml", folder / "line", None, free_port())
    with (folder / "monitor.yaml").open("a", encoding="utf-8") as file:
        file.write(f"page:\n  port: {free_port()}\n")
        if broker_port is not None:
            file.write(f"neighbours: {{host: 127.0.0.1, port: {broker_port}}}\n")
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
    """The rack, the hottest bag, the walk; the farm where the page has one."""
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
        names = ["rack", "bag", "walk"]
        if page.get_by_role("link", name="Farm").count():
            page.goto(f"{address}farm")
            page.screenshot(path=folder / "farm.png")
            names.append("farm")
        browser.close()
    return [folder / f"{name}.png" for name in names]


@contextmanager
def other_rooms(folder: Path, now_s: float) -> Iterator[int | None]:
    """The port of a broker that keeps what other rooms told; None where no mosquitto is."""
    command = find_broker()
    if command is None:
        yield None
        return
    broker = Broker(command, folder)
    for topic, payload in messages(now_s, DEFAULT_PREFIX):
        broker.keep(topic, payload)
    try:
        yield broker.port
    finally:
        broker.close()


def main() -> int:
    """Make them; 2 on a wrong call."""
    parser = parser_for("demo.pictures", __doc__)
    parser.add_argument(
        "folder", metavar="FOLDER", nargs="?", type=Path, default=PICTURES,
        help="where to put them (demo/pictures)",
    )  # fmt: skip
    target = parser.parse_args().folder
    with tempfile.TemporaryDirectory(prefix="bagwatt-pictures-") as folder:
        end_s = min(STICKS_AT_S, START_S + 3.5 * DAY_S) + HOUR_S
        with other_rooms(Path(folder), end_s) as port:
            settings = stage(Path(folder), end_s, port)
            with served(settings) as address:
                for path in draw(address, target):
                    print(f"{path} ({path.stat().st_size // 1024} KB)")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
