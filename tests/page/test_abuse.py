"""Strange paths, headers and forms: refused in words, never a crash, never a door."""

from __future__ import annotations

import contextlib
import re
import socket
from collections.abc import Callable

import httpx
import pytest

from monitor.page.ask import local_path
from monitor.page.guard import HEADERS, MOST_BODY_BYTES, host_known, known_hosts
from monitor.page.login import TRIES
from monitor.store import open_reader
from monitor.values import AlarmCommand
from tests.page.conftest import HOT, LINK, PASSWORD, Served, with_people
from tests.page.forms import fields_of, log_in, send

Serve = Callable[..., Served]

PATHS = [
    "/../../etc/passwd", "/static/../app.py", "/static/%2e%2e/app.py", "/static/..%2fapp.py",
    "/static/%2e%2e%2f%2e%2e%2fpyproject.toml", "/bag/", "/bag/%00", "/bag/%ff%fe", "/bag/..%2f..",
    "/bag/<script>alert(1)</script>", "/bag/%3Cscript%3Ealert(1)%3C/script%3E",
    "/bag/{{7*7}}", "/bag/' OR 1=1 --", "/bag/" + "x" * 900, "/alarms/x/y/z", "//evil.example/",
    "/%0d%0aset-cookie:a=b", "/walk?bag=%00", "/walk?after=" + "%F0%9F%8D%84" * 20,
    "/login?next=//evil.example", "/login?next=https://evil.example/", "/link/%22%3E%3Cscript%3E",
    "/api/bag/%00", "/api/nothing", "/favicon.ico", "/.git/config", "/night?from=9999999999999",
]  # fmt: skip


def test_strange_paths_are_answered_and_nothing_typed_comes_back_as_markup(serve: Serve) -> None:
    client = serve().visit()
    for path in PATHS:
        answer = client.get(path)
        assert answer.status_code in (200, 400, 404, 414), path
        assert "<script>alert" not in answer.text
        assert '"><script>' not in answer.text
        assert "set-cookie: a=b" not in str(answer.headers).lower()
        assert "Traceback" not in answer.text and "root:" not in answer.text
        assert not answer.is_redirect or answer.headers["location"].startswith("/")


def test_every_answer_carries_the_headers_of_safety(serve: Serve) -> None:
    client = serve().visit()
    for path in ("/", "/nope", "/api/room", "/static/page.css", "/login"):
        headers = client.get(path).headers
        assert {name: headers.get(name) for name in HEADERS} == HEADERS
        assert "server" not in headers
    assert client.get("/").headers["cache-control"] == "no-store"
    assert "unsafe" not in HEADERS["content-security-policy"]


@pytest.mark.parametrize(
    ("host", "known"),
    [
        ("127.0.0.1:8423", True), ("[::1]:8423", True), ("192.168.1.20", True),
        ("localhost:8423", True), ("LOCALHOST", True), ("barn.example", True),
        ("evil.example", False), ("barn.example.evil.example", False), ("", False),
        ("127.0.0.1.evil.example", False), ("localhost@evil.example", False),
        ("barn.example:80:80", False), ("barn.example/", False), ("bärn.example", False),
    ],
)  # fmt: skip
def test_host_is_known_by_its_names_and_by_plain_addresses(host: str, known: bool) -> None:
    """A rebound name is always a name, so an address is safe."""
    assert host_known(host, known_hosts(["barn.example"])) is known


def test_rebound_name_is_refused_before_anything_is_shown(serve: Serve) -> None:
    client = serve().visit()
    answer = client.get("/", headers={"host": "evil.example"})
    assert answer.status_code == 421
    assert HOT not in answer.text
    assert client.get("/api/room", headers={"host": "evil.example:8423"}).status_code == 421


def test_raw_bytes_that_are_no_request_end_nothing(serve: Serve) -> None:
    """What http clients don't send: two hosts, none, no request at all, huge headers."""
    served = serve()
    address = (served.settings.page or pytest.fail("no page")).listen
    port = served.settings.page.port if served.settings.page else 0
    for raw in (
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03",
        b"GET / HTTP/1.1\r\n\r\n",
        b"GET / HTTP/1.1\r\nhost: localhost\r\nhost: evil.example\r\n\r\n",
        b"GET / HTTP/1.1\r\nhost: localhost\r\ncookie: " + b"a=b;" * 40_000 + b"\r\n\r\n",
        b"POST /login HTTP/1.1\r\nhost: localhost\r\ncontent-length: -5\r\n\r\n",
        b"POST /login HTTP/1.1\r\nhost: localhost\r\ncontent-length: 5\r\n"
        b"transfer-encoding: chunked\r\n\r\n0\r\n\r\n",
        b"GET http://evil.example/ HTTP/1.1\r\nhost: evil.example\r\n\r\n",
    ):
        with socket.create_connection((address, port), 5) as line:
            line.settimeout(5)
            line.sendall(raw)
            line.shutdown(socket.SHUT_WR)
            said = b""
            try:
                while part := line.recv(65536):
                    said += part
            except ConnectionError:
                pass
            assert not said.startswith(b"HTTP/1.1 200"), raw[:60]
            assert b"HTTP/1.1 5" not in said
    assert served.visit().get("/").status_code == 200


def test_outsized_bodies_are_refused(serve: Serve) -> None:
    client = serve().visit()
    client.get("/")
    large = b"a" * (MOST_BODY_BYTES + 1)
    assert client.post("/login", content=large).status_code == 413

    def in_pieces() -> object:
        for _ in range(20):
            yield b"a" * 8192

    with contextlib.suppress(httpx.RemoteProtocolError):  # cut off: as good a refusal
        assert client.post("/login", content=in_pieces()).status_code in (400, 413)  # type: ignore[arg-type]
    assert client.get("/").status_code == 200


@pytest.mark.parametrize(
    "body",
    [
        b"", b"token", b"\xff\xfe", b"&".join(b"a=b" for _ in range(5000)), b"a=%ff%fe",
        b"token=" + b"0" * 80, b"token[]=1", "token=ёё".encode(), b"{}", b"\x00" * 100,
    ],
    ids=range(10),
)  # fmt: skip
def test_forms_without_a_good_token_do_nothing(serve: Serve, body: bytes) -> None:
    served = serve()
    client = served.visit()
    client.get("/")
    head = {"content-type": "application/x-www-form-urlencoded"}
    for path in ("/walk", "/alarms/x/acknowledge", "/units", "/logout", "/login", "/link"):
        assert client.post(path, content=body, headers=head).status_code in (400, 403), path


@pytest.mark.parametrize("hours", ["9" * 400, "9" * 5000, "-1", "0", "\u0661\u0662", "1e3", "169"])
def test_hours_that_are_none_shelve_nothing(serve: Serve, hours: str) -> None:
    client = serve().visit()
    alarm = client.get("/api/alarms").json()["alarms"][0]["alarm"]
    typed = {
        "token": fields_of(client.get("/").text, "/units")["token"],
        "hours": hours,
        "note": "x",
    }
    assert client.post(f"/alarms/{alarm}/shelve", data=typed).status_code == 409


def test_another_site_can_not_send_a_form(serve: Serve) -> None:
    """Even one that learned a token: its browser says where the form comes from."""
    client = serve().visit()
    token = fields_of(client.get("/").text, "/units")["token"]
    for headers in (
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ):
        assert client.post("/units", data={"token": token}, headers=headers).status_code == 403
    assert client.post("/units", data={"token": token}).status_code == 303


def test_token_of_another_visit_is_refused(serve: Serve) -> None:
    served = serve()
    one, other = served.visit(), served.visit()
    token = fields_of(one.get("/").text, "/units")["token"]
    other.get("/")
    assert other.post("/units", data={"token": token}).status_code == 403


def test_nothing_is_shown_without_a_login_where_people_are_set_up(serve: Serve) -> None:
    served = serve(with_people())
    client = served.visit()
    for path in ("/", "/alarms", f"/bag/{HOT}", "/walk", "/night", "/monitor"):
        answer = client.get(path)
        assert answer.status_code == 303
        assert answer.headers["location"] == f"/login?next={path}"
    for path in ("/api/room", "/api/alarms", "/api/pulse", f"/api/bag/{HOT}", "/api/me"):
        answer = client.get(path)
        assert answer.status_code == 401
        assert answer.headers["content-type"] == "application/problem+json"
        assert HOT not in answer.text


def test_guests_and_helpers_look_and_do_not_act(serve: Serve) -> None:
    """A button that is not drawn may still be posted."""
    served = serve(with_people("look"))
    guest, helper = served.visit(), served.visit()
    assert log_in(helper, "helper", PASSWORD).status_code == 303
    for client in (guest, helper):
        html = client.get("/alarms").text
        assert "acknowledge" not in re.findall(r'action="[^"]*"', html)
        token = fields_of(html, "/units")["token"]
        form = {"token": token, "bag": HOT, "value": "23", "key": "k"}
        assert client.post("/walk", data=form).status_code == 403
        assert client.post("/alarms/x/acknowledge", data=form).status_code == 403
        head = {"x-form-token": token}
        assert client.post("/api/walk", json={}, headers=head).status_code == 403
    with open_reader(served.settings.store.path) as store:
        assert [row for row in store.journal_after(0) if isinstance(row.body, AlarmCommand)] == []


def test_cookies_are_out_of_reach_of_scripts_and_other_sites(serve: Serve) -> None:
    client = serve(with_people()).visit()
    answer = log_in(client, "owner", PASSWORD)
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie and "samesite=strict" in cookie
    assert "secure" not in cookie, "plain http: a browser would drop it"


def test_login_gives_a_new_visit_and_logout_ends_it(serve: Serve) -> None:
    """A visit planted before the login is nobody's after it."""
    client = serve(with_people()).visit()
    client.get("/login")
    planted = client.cookies["bagwatt_visit"]
    log_in(client, "owner", PASSWORD)
    kept = client.cookies["bagwatt_visit"]
    assert kept != planted
    assert client.get("/").status_code == 200
    assert client.get("/", headers={"cookie": f"bagwatt_visit={planted}"}).status_code == 303
    send(client, "/", "/logout")
    assert client.get("/", headers={"cookie": f"bagwatt_visit={kept}"}).status_code == 303


def test_too_many_tries_are_answered_by_waiting(serve: Serve) -> None:
    client = serve(with_people()).visit()
    tries = [log_in(client, "owner", f"guess {number}").status_code for number in range(TRIES)]
    assert tries == [403] * TRIES
    assert log_in(client, "owner", PASSWORD).status_code == 429, "the right one waits too"


def test_link_logs_a_device_in_by_its_button_only(serve: Serve) -> None:
    """A messenger that fetches the link for a preview uses nothing up and logs nobody in."""
    client = serve(with_people()).visit()
    assert client.get(f"/link/{LINK}").status_code == 200
    assert client.get("/").status_code == 303
    assert send(client, f"/link/{LINK}", "/link").status_code == 303
    assert client.get("/").status_code == 200
    assert send(client, "/link/wrong", "/link").status_code == 403


@pytest.mark.parametrize(
    "path",
    ["//evil.example", "https://evil.example", "/\\evil.example", "javascript:alert(1)", "", "\\",
     "/\t/evil.example", "/a\r\nset-cookie: b=c", "/" + "a" * 500],
)  # fmt: skip
def test_going_on_leads_nowhere_else(path: str) -> None:
    assert local_path(path) == "/"
    assert local_path("/bag/GO12-017") == "/bag/GO12-017"
