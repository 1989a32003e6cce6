"""`bagwatt page`, and the page's thread beside a watch: a taken port stops nothing."""

from __future__ import annotations

import io
import json
import socket
from collections.abc import Callable
from pathlib import Path
from time import sleep

import pytest

from demo.filled import HandClock
from monitor.cli import main
from monitor.page import Latest, PageServer
from monitor.page.login import hash_link, password_fits
from tests.page.conftest import END_S, Served, with_people

Serve = Callable[..., Served]


def test_password_from_standard_input_gives_its_hash_alone(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """So that it can be put into the file by a pipe."""
    monkeypatch.setattr("sys.stdin", io.StringIO("old barn door\n"))
    assert main(["page", "--password"]) == 0
    assert password_fits("old barn door", capsys.readouterr().out.strip())


def test_short_password_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("spores\n"))
    assert main(["page", "--password"]) == 2


def test_page_command_tells_who_may_log_in_and_makes_links(
    serve: Serve, capsys: pytest.CaptureFixture[str]
) -> None:
    config = str(serve(with_people()).settings.store.path.parent)
    assert main(["page", "--config", config]) == 0
    told = capsys.readouterr().out
    assert "helper" in told and "look" in told and "scrypt" not in told
    assert main(["page", "--config", config, "--json"]) == 0
    people = json.loads(capsys.readouterr().out)["people"]
    assert [one["name"] for one in people] == ["owner", "room phone", "helper"]
    assert main(["page", "--config", config, "--link"]) == 0
    address, kept = (line.split(":", 1)[1].strip() for line in capsys.readouterr().out.splitlines())
    assert hash_link(address.rpartition("/")[2]) == kept


def test_a_link_is_made_before_its_file_is_there(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The settings name the file that the new link's hash is to go into."""
    (tmp_path / "monitor.yaml").write_text(
        "room: {name: barn, timezone: UTC, band_low: 20 C, band_high: 25 C}\n"
        "channels: none\nstore: {path: b.db}\n"
        "page: {people: [{name: room phone, link: {file: secrets/page-phone}}]}\n",
        encoding="utf-8",
    )
    assert main(["page", "--config", str(tmp_path), "--link"]) == 0
    kept = capsys.readouterr().out.splitlines()[1].split(":", 1)[1].strip()
    assert main(["page", "--config", str(tmp_path)]) == 2
    (tmp_path / "secrets").mkdir()
    (tmp_path / "secrets" / "page-phone").touch(mode=0o600)
    (tmp_path / "secrets" / "page-phone").write_text(kept, encoding="utf-8")
    capsys.readouterr()
    assert main(["page", "--config", str(tmp_path)]) == 0
    assert "room phone" in capsys.readouterr().out


def test_taken_port_is_said_and_stops_nothing(serve: Serve) -> None:
    """The monitor goes on; the page is tried again."""
    served = serve()
    said: list[str] = []
    page = PageServer(served.settings, HandClock(END_S), Latest(), said.append)
    page.start()
    for _ in range(100):
        if said:
            break
        sleep(0.02)
    page.stop()
    assert len(said) == 1 and "can't be served" in said[0]
    assert served.visit().get("/").status_code == 200, "the one that has the port still serves"


def test_page_ends_in_time_with_a_phone_in_the_middle_of_a_request(serve: Serve) -> None:
    """`watch` must end within five seconds of SIGTERM."""
    served = serve()
    assert served.settings.page is not None
    with socket.create_connection(("127.0.0.1", served.settings.page.port)) as line:
        line.sendall(b"POST /walk HTTP/1.1\r\nhost: localhost\r\ncontent-length: 100\r\n\r\nhalf")
        served.end()
        with pytest.raises(OSError, match="refused"):
            socket.create_connection(("127.0.0.1", served.settings.page.port), 1).close()
