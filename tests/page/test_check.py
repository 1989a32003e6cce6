"""`bagwatt check` tries the page: its port, its certificate, and says where a phone finds it."""

from __future__ import annotations

import http.server
import json
import shutil
import subprocess
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from monitor.cli import main
from tests.page.conftest import Served, with_people
from tests.waiting import free_port

Serve = Callable[..., Served]
SETTINGS = """\
room: {name: Quarry Lane, timezone: Europe/London, band_low: 17 C, band_high: 25 C}
channels: none
store: {path: bagwatt.db}
"""


def check(folder: Path, page: str, capsys: pytest.CaptureFixture[str]) -> list[tuple[str, str]]:
    """(state, detail) of what was found of the page."""
    (folder / "monitor.yaml").write_text(SETTINGS + page, encoding="utf-8")
    main(["check", "--config", str(folder), "--json"])
    findings = json.loads(capsys.readouterr().out)["findings"]
    return [(one["state"], one["detail"]) for one in findings if one["what"] == "page"]


def test_page_of_this_machine_is_said_to_be_out_of_a_phones_reach(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    port = free_port()
    free, where = check(tmp_path, f"page: {{port: {port}}}\n", capsys)
    assert free == ("ok", f"127.0.0.1 port {port} is free")
    assert where[0] == "note" and f"http://127.0.0.1:{port}/ opens on this machine only" in where[1]


def test_check_without_a_page_says_nothing_of_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert check(tmp_path, "", capsys) == []


def test_port_of_another_program_is_wrong_and_of_a_running_watch_is_not(
    serve: Serve, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The one must be ended; the other is what one wants."""
    served = serve()
    assert served.settings.page is not None
    ours, _ = check(tmp_path, f"page: {{port: {served.settings.page.port}}}\n", capsys)
    assert ours[0] == "note" and "a bagwatt that runs answers there already" in ours[1]
    other = http.server.HTTPServer(("127.0.0.1", 0), http.server.BaseHTTPRequestHandler)
    thread = threading.Thread(target=other.serve_forever)
    thread.start()
    try:
        taken, _ = check(tmp_path, f"page: {{port: {other.server_port}}}\n", capsys)
    finally:
        other.shutdown()
        thread.join()
        other.server_close()
    assert taken[0] == "wrong" and "another program has it" in taken[1]


def test_address_this_machine_has_not_is_wrong(
    serve: Serve, capsys: pytest.CaptureFixture[str]
) -> None:
    """192.0.2.0/24 is nobody's (RFC 5737)."""
    folder = serve(with_people()).settings.store.path.parent
    page = with_people().format(port=f"{free_port()}\n  listen: 192.0.2.7")
    wrong = check(folder, page, capsys)[0]
    assert wrong[0] == "wrong" and "no address of this machine" in wrong[1]


def test_page_on_the_network_says_what_a_phone_opens_and_who_may_log_in(
    serve: Serve, capsys: pytest.CaptureFixture[str]
) -> None:
    folder, port = serve(with_people()).settings.store.path.parent, free_port()
    page = with_people("look").format(port=f"{port}\n  listen: 0.0.0.0\n  hosts: [barn.example]")
    _, where, *notes = check(folder, page, capsys)
    assert where[0] == "ok" and f"on a phone: http://barn.example:{port}/" in where[1]
    assert "owner (password), room phone (link), helper (password)" in where[1]
    assert [state for state, _ in notes] == ["note", "note"]
    assert "plain http" in notes[0][1] and "without a login" in notes[1][1]


def test_page_on_the_network_without_a_login_is_refused_at_its_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """And so is a password that is none; `check` ends with 2."""
    text = SETTINGS + "page:\n  listen: 0.0.0.0\n"
    (tmp_path / "monitor.yaml").write_text(text, encoding="utf-8")
    assert main(["check", "--config", str(tmp_path)]) == 2
    told = capsys.readouterr().err
    assert "monitor.yaml:5:3: page.people: on a network the page needs a login" in told
    secret = tmp_path / "plain"
    secret.touch(mode=0o600)
    secret.write_text("spores\n", encoding="utf-8")
    text = SETTINGS + "page:\n  people:\n    - {name: owner, password: {file: plain}}\n"
    (tmp_path / "monitor.yaml").write_text(text, encoding="utf-8")
    assert main(["check", "--config", str(tmp_path)]) == 2
    told = capsys.readouterr().err
    assert "monitor.yaml:6:" in told and "is no password hash" in told
    assert "spores" not in told


@pytest.mark.skipif(shutil.which("openssl") is None, reason="no openssl here to make a key with")
def test_certificate_that_does_not_fit_its_key_is_wrong(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for name in ("one", "other"):
        command = [
            "openssl",
            "req",
            "-x509",
            "-newkey",
            "ec",
            "-pkeyopt",
            "ec_paramgen_curve:P-256",
        ]
        command += ["-nodes", "-subj", "/CN=barn.example", "-keyout", f"{name}.key", "-out", name]
        subprocess.run(command, cwd=tmp_path, check=True, capture_output=True)
    port = free_port()
    page = f"page: {{port: {port}, certificate: one, key: other.key}}\n"
    (wrong,) = check(tmp_path, page, capsys)
    assert wrong[0] == "wrong" and "mismatch" in wrong[1]
    free, where = check(tmp_path, page.replace("other", "one"), capsys)
    assert free[0] == "ok" and f"https://127.0.0.1:{port}/" in where[1]
