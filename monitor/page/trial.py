"""The page tried once, as `bagwatt check` does: its port, its certificate, who opens it where."""

from __future__ import annotations

import errno
import http.client
import ipaddress
import socket
import ssl
from collections.abc import Iterator

from monitor.page.server import address_of, listen_at
from monitor.settings.schema_page import PageSettings

ANSWER_S = 2.0
#: An address of a documentation network (RFC 5737): asking the way there sends nothing.
_FAR_AWAY = ("192.0.2.1", 9)

Tried = tuple[str, str]


def try_page(page: PageSettings) -> Iterator[Tried]:
    """(state, detail) of each thing tried: `ok`, `note` or `wrong`."""
    trouble = _certificate(page)
    if trouble:
        yield "wrong", trouble
        return
    yield _port(page)
    yield _open_with(page)
    if page.loopback:
        return
    if page.certificate is None:
        text = "passwords travel in plain http: give `page.certificate`, or keep the network yours"
        yield "note", text
    if page.guests == "look":
        yield "note", "guests: anybody in the network may look without a login"


def _port(page: PageSettings) -> Tried:
    try:
        listen_at(page.listen, page.port).close()
    except OSError as error:
        where = f"page.listen {page.listen}, page.port {page.port}"
        if error.errno == errno.EADDRINUSE and _answered_by_us(page):
            return "note", f"{where}: a bagwatt that runs answers there already"
        if error.errno == errno.EADDRINUSE:
            other = f"another program has it (`ss -ltnp | grep {page.port}`)"
            return "wrong", f"{where}: {other}; end it, or choose another page.port"
        if error.errno == errno.EADDRNOTAVAIL:
            return "wrong", f"{where}: no address of this machine (`ip address` lists them)"
        return "wrong", f"{where}: {error.strerror or error}"
    return "ok", f"{page.listen} port {page.port} is free"


def _answered_by_us(page: PageSettings) -> bool:
    """Whether what listens there is a page of bagwatt's."""
    address = ipaddress.ip_address(page.listen)
    here = "::1" if address.version == 6 else "127.0.0.1"
    host = here if address.is_unspecified else page.listen
    line: http.client.HTTPConnection
    if page.certificate is None:
        line = http.client.HTTPConnection(host, page.port, timeout=ANSWER_S)
    else:
        anybody = ssl._create_unverified_context()  # only its words are looked at
        line = http.client.HTTPSConnection(host, page.port, timeout=ANSWER_S, context=anybody)
    try:
        line.request("GET", "/login")
        return b" bagwatt</title>" in line.getresponse().read(4096)
    except (OSError, http.client.HTTPException):
        return False
    finally:
        line.close()


def _certificate(page: PageSettings) -> str:
    """What is wrong with the certificate or its key; empty where nothing is."""
    if page.certificate is None or page.key is None:
        return ""
    try:
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(page.certificate, page.key, password=lambda: "")
    except (OSError, ValueError) as error:  # ssl.SSLError is an OSError
        why = getattr(error, "reason", None) or getattr(error, "strerror", None) or str(error)
        pair = f"page.certificate {page.certificate}, page.key {page.key}"
        return f"{pair}: {str(why).replace('_', ' ').lower()}; they must be PEM, without a password"
    return ""


def _open_with(page: PageSettings) -> Tried:
    """Where a phone finds it and who may log in there."""
    if page.loopback:
        text = f"{address_of(page)} opens on this machine only; `page.listen: 0.0.0.0` for a phone"
        return "note", text
    ways = [
        f"{one.name} ({' or '.join(_ways(one.password is not None, one.link is not None))})"
        for one in page.people
    ]
    addresses = dict.fromkeys((address_of(page), *_by_number(page)))
    return "ok", f"on a phone: {' or '.join(addresses)}; may log in: {', '.join(ways)}"


def _ways(password: bool, link: bool) -> list[str]:
    return ["password"] * password + ["link"] * link or ["no way yet"]


def _by_number(page: PageSettings) -> list[str]:
    """The same address by number: not every phone finds a Pi by its name."""
    if not ipaddress.ip_address(page.listen).is_unspecified:
        return []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as way:
        try:
            way.connect(_FAR_AWAY)
        except OSError:  # no network yet
            return []
        own = str(way.getsockname()[0])
    return [address_of(page.model_copy(update={"listen": own}))]
