"""Who connects to the page and says nothing, or half of it, keeps nobody else out."""

from __future__ import annotations

import http.client
import select
import socket
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, suppress

import httpx
import pytest

from monitor.page import wire
from monitor.page.server import MOST_CONNECTIONS
from monitor.page.show import mark_text
from tests.page.conftest import Served
from tests.waiting import wait_until

Serve = Callable[..., Served]
FORM = b"POST /login HTTP/1.1\r\nhost: localhost\r\ncontent-length: 500\r\n\r\ntoken="


@pytest.fixture
def stack() -> Iterator[ExitStack]:
    with ExitStack() as stack:
        yield stack


@pytest.fixture
def prompt(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(wire, "LOOK_EVERY_S", 0.5)


def connect(served: Served, stack: ExitStack, said: bytes = b"") -> socket.socket:
    page = served.settings.page
    assert page is not None
    line = stack.enter_context(socket.create_connection((page.listen, page.port), 5))
    if said:
        line.sendall(said)
    return line


def answers(served: Served) -> bool:
    with suppress(httpx.TransportError):
        return httpx.get(f"{served.address}api/pulse", timeout=5.0).status_code == 200
    return False


@pytest.mark.parametrize("said", [b"", b"GET / HTTP/1.1\r\nhost: loc", FORM], ids=len)
@pytest.mark.usefixtures("prompt")
def test_who_never_ends_a_request_is_hung_up_on(
    serve: Serve, stack: ExitStack, said: bytes
) -> None:
    line = connect(serve(), stack, said)
    with suppress(ConnectionResetError):
        assert line.recv(1) == b""


@pytest.mark.usefixtures("prompt")
def test_phones_that_left_without_a_word_keep_nobody_out(serve: Serve, stack: ExitStack) -> None:
    served = serve()
    for _ in range(MOST_CONNECTIONS):
        connect(served, stack)
    wait_until(lambda: answers(served), 10.0, "the page answers")


@pytest.mark.usefixtures("prompt")
def test_who_begins_anew_after_an_answer_and_stops_is_hung_up_on(
    serve: Serve, stack: ExitStack
) -> None:
    """The first sign of a second request ends uvicorn's own patience with a line that rests."""
    served = serve()
    line = connect(served, stack, b"GET /api/pulse HTTP/1.1\r\nhost: localhost\r\n\r\n")
    assert line.recv(15) == b"HTTP/1.1 200 OK"
    line.sendall(b"G")
    with suppress(ConnectionResetError):
        while line.recv(4096):
            pass


@pytest.mark.usefixtures("prompt")
def test_who_does_not_read_the_answer_is_hung_up_on(serve: Serve, stack: ExitStack) -> None:
    """Asked for so much that no buffer on the way takes it."""
    line = connect(serve(), stack)
    line.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1024)
    line.settimeout(20.0)
    with pytest.raises(ConnectionError):
        while True:
            line.sendall(b"GET /api/openapi.json HTTP/1.1\r\nhost: localhost\r\n\r\n")


def test_who_had_to_wait_for_an_answer_is_not_hung_up_on_for_it(
    serve: Serve, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It came between two looks, and the next request follows on the same line."""
    monkeypatch.setattr(wire, "LOOK_EVERY_S", 1.0)

    def slow(mark: tuple[int, int, int]) -> str:
        time.sleep(1.6)
        return mark_text(mark)

    monkeypatch.setattr("monitor.page.api.mark_text", slow)
    served = serve()
    line = http.client.HTTPConnection(served.address.split("/")[2], timeout=10.0)
    for _ in range(2):
        line.request("GET", "/api/pulse")
        answer = line.getresponse()
        assert (answer.status, bool(answer.read())) == (200, True)
        time.sleep(0.6)
        line.auto_open = 0
    line.close()


def test_silent_connections_take_few_of_the_daemons_files(serve: Serve, stack: ExitStack) -> None:
    """Where all are taken no message leaves any more: the sender needs one as well.

    The knock by which `serve` knows that the page listens may count once more: under load it is
    taken in together with these lines, before its end is read.
    """
    served = serve()
    lines = [connect(served, stack) for _ in range(wire.MOST_OPEN + 20)]
    hung_up = select.poll()
    for line in lines:
        hung_up.register(line, select.POLLIN)
    wait_until(lambda: len(hung_up.poll(0)) >= 20, 5.0, "those beyond the limit are hung up on")
    assert len(hung_up.poll(0)) <= 21
