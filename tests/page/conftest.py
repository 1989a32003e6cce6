"""A room watched for three days, once; each test gets the page on a copy of its store."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

import httpx
import pytest
from playwright.sync_api import Browser, sync_playwright

from demo.filled import HandClock, fill, write_room
from demo.live import LiveRoom
from demo.pictures import CHROMIUM, FLAGS
from demo.rooms import DAY_S, START_S
from demo.show import draw_room
from demo.stage import wait_for_port, write_settings
from monitor.page import Latest, PageServer
from monitor.page.login import hash_link, hash_password
from monitor.settings.load import load_settings
from monitor.settings.schema import Settings
from tests.waiting import free_port

ROOT = Path(__file__).resolve().parent.parent.parent
END_S = START_S + 2.95 * DAY_S
HOT = "B017"
PASSWORD, LINK = "spores-and-straw", "a-link-for-the-room-phone"

#: Settings of the page with people: one of each sort, and guests where a test wants them.
PEOPLE = """\
page:
  port: {port}
  people:
    - {{name: owner, password: {{file: secrets/page-owner}}, units: F}}
    - {{name: room phone, link: {{file: secrets/page-phone}}}}
    - {{name: helper, password: {{file: secrets/page-owner}}, may: look}}
  guests: {guests}
"""


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Debian's Chromium with a fresh profile that reaches nothing by itself."""
    if not Path(CHROMIUM).exists():
        pytest.skip("no Chromium here: `sh tests/run` installs it")
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser
        browser.close()


@dataclass
class Filled:
    """A settings folder with a filled store, and the room as it then stood."""

    folder: Path
    live: LiveRoom


@pytest.fixture(scope="session")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Filled:
    """The demo's room until shortly after its hot bag was told; page without a login."""
    folder = tmp_path_factory.mktemp("filled")
    room = draw_room()
    write_room(folder / "room", room)
    write_settings(folder, ROOT / "config" / "strains.yaml", folder / "line", None, free_port())
    secret(folder, "page-owner", hash_password(PASSWORD))
    secret(folder, "page-phone", hash_link(LINK))
    with (folder / "monitor.yaml").open("a", encoding="utf-8") as file:
        file.write("page: {}\n")
    return Filled(folder, fill(load_settings(folder, os.environ), room, END_S))


def secret(folder: Path, name: str, text: str) -> None:
    path = folder / "secrets" / name
    path.touch(mode=0o600)
    path.write_text(text + "\n", encoding="utf-8")


@dataclass
class Served:
    """The page on a port of its own, on a store of its own, at a clock that stands."""

    settings: Settings
    clock: HandClock
    address: str
    visit: Callable[[], httpx.Client]
    end: Callable[[], None]


@pytest.fixture
def serve(filled: Filled, tmp_path: Path) -> Iterator[Callable[..., Served]]:
    """Serve a copy of the filled store, with or without people to log in."""
    with ExitStack() as stack:

        def serve(page: str = "page: {{port: {port}}}\n") -> Served:
            folder = tmp_path / "settings"
            shutil.copytree(filled.folder, folder, symlinks=True)
            text = (folder / "monitor.yaml").read_text(encoding="utf-8")
            text = text.replace("page: {}\n", page.format(port=free_port()))
            (folder / "monitor.yaml").write_text(text, encoding="utf-8")
            settings = load_settings(folder, os.environ)
            clock = HandClock(END_S + 60.0)
            server = PageServer(settings, clock, Latest(), lambda line: None, "grower")
            server.start()
            stack.callback(server.stop)
            assert settings.page is not None
            wait_for_port(settings.page.port)

            def visit() -> httpx.Client:
                return stack.enter_context(httpx.Client(base_url=server.address, timeout=20.0))

            return Served(settings, clock, server.address, visit, server.stop)

        yield serve


def with_people(guests: str = "none") -> str:
    """The block of the settings with an owner, a room phone and a helper who may only look."""
    return PEOPLE.replace("{guests}", guests)
