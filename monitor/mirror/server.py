"""One request to a server of time series, by influxdb-client's synchronous call.

Its batching is never used: it keeps points in memory and drops them when a server stays away.
What an answer means for the copy is told here: taken, the rows' fault, too large, not our rows'
fault, or to be tried again.
"""

from __future__ import annotations

import json
import socket
import threading
from collections.abc import Sequence
from dataclasses import dataclass
from email.utils import parsedate_to_datetime
from enum import StrEnum
from typing import TYPE_CHECKING, Any

from monitor.channels.heartbeat import cut

if TYPE_CHECKING:
    from collections.abc import Mapping

    from monitor.settings.schema import MirrorSettings

#: A server whose clock is this far behind may drop points without a word, as of the future.
BEHIND_S = 3600.0
#: A server may ask for no more patience than this.
LONGEST_ASKED_S = 3600.0
_SAID = 200


class Word(StrEnum):
    """What an answer means."""

    TAKEN = "taken"
    ROWS = "rows refused"
    LARGE = "too large"
    REFUSED = "refused"
    AGAIN = "try again"


@dataclass(frozen=True, slots=True)
class Answer:
    """An answer; `wait_s` is what the server asked for, `ahead_s` how far its clock is ahead, and
    `reached` whether it comes from a server at all."""

    word: Word
    detail: str = ""
    wait_s: float | None = None
    ahead_s: float | None = None
    reached: bool = True


class Server:
    """The server of the settings. One thread uses it; `close` cuts a request under way."""

    def __init__(self, settings: MirrorSettings) -> None:
        self._settings = settings
        self._client: Any = None
        self._writer: Any = None
        self._wires: list[socket.socket] = []
        self._cut = threading.Event()

    def write(self, lines: Sequence[str], now_s: float) -> Answer:
        """Send points in one request; never raises, and ends within the time limit.

        Also where the server drips: the connection is then cut. `now_s` is held against the
        server's clock.
        """
        from influxdb_client.client.exceptions import InfluxDBError  # noqa: PLC0415
        from urllib3.exceptions import HTTPError  # noqa: PLC0415

        guard = threading.Timer(self._settings.timeout_s, self.close)
        guard.daemon = True
        self._cut.clear()
        try:
            writer = self._open()
            guard.start()
            writer.write(
                bucket=self._settings.bucket,
                record="\n".join(lines).encode("utf-8"),
                write_precision="ms",
            )
        except InfluxDBError as error:
            return _meaning(error, now_s)
        except (HTTPError, OSError, ValueError) as error:
            return Answer(Word.AGAIN, f"not reached ({_name(error)})", reached=False)
        finally:
            guard.cancel()
            self._wires.clear()
        ahead_s = _ahead_s(self._client.api_client.last_response.getheaders(), now_s)
        if ahead_s is not None and ahead_s < -BEHIND_S:
            text = f"its clock is {-ahead_s / 3600:.0f} h behind ours: set it, or ours"
            return Answer(Word.REFUSED, text, ahead_s=ahead_s)
        return Answer(Word.TAKEN, ahead_s=ahead_s)

    def close(self) -> None:
        """End what is under way; any thread may call it."""
        self._cut.set()
        for wire in list(self._wires):
            cut(wire)

    def _open(self) -> Any:
        if self._writer is None:
            from influxdb_client.client.influxdb_client import InfluxDBClient  # noqa: PLC0415
            from influxdb_client.client.write_api import SYNCHRONOUS  # noqa: PLC0415

            settings = self._settings
            self._client = InfluxDBClient(
                url=settings.url,
                token=settings.token.reveal() if settings.token else "",
                org=settings.org,
                timeout=round(settings.timeout_s * 1000),
                ssl_ca_cert=None if settings.ca is None else str(settings.ca),
            )
            self._watch_wires()
            self._writer = self._client.write_api(write_options=SYNCHRONOUS)
        return self._writer

    def _watch_wires(self) -> None:
        """Know the sockets of connections, as a limit of the client's is for each read only."""
        wires, cut_off = self._wires, self._cut
        pool = self._client.api_client.rest_client.pool_manager.connection_from_url(
            self._settings.url
        )

        class Watched(pool.ConnectionCls):  # type: ignore[misc,name-defined]
            def request(self, *words: Any, **named: Any) -> Any:
                if self.sock is None:
                    self.connect()
                wires.append(self.sock)
                if cut_off.is_set():
                    raise TimeoutError
                return super().request(*words, **named)

        pool.ConnectionCls = Watched


def _meaning(error: Any, now_s: float) -> Answer:
    """What a status that is not 2xx means for the rows that were sent."""
    response = error.response
    if response is None:
        return Answer(Word.AGAIN, "no sound TLS connection; look at mirror.ca")
    headers = response.getheaders()
    status = int(response.status)
    said = _said(response.data)
    detail = f"answered {status}{': ' * bool(said)}{said}"
    ahead_s = _ahead_s(headers, now_s)
    if status in (400, 422):
        return Answer(Word.ROWS, detail, ahead_s=ahead_s)
    if status == 413:
        return Answer(Word.LARGE, detail, ahead_s=ahead_s)
    if status in (408, 425, 429) or status >= 500:
        return Answer(Word.AGAIN, detail, _asked_s(headers), ahead_s)
    hint = {
        401: "; look at mirror.token",
        403: "; this token may not write there",
        404: "; look at mirror.url, org and bucket",
    }.get(status, "; look at mirror.url")
    return Answer(Word.REFUSED, detail + hint, ahead_s=ahead_s)


def _said(body: object) -> str:
    """The server's own words, in short, on one line."""
    text = body.decode("utf-8", "replace") if isinstance(body, bytes) else str(body or "")
    try:
        found = json.loads(text)
        text = str(found.get("message") or found.get("error") or text)
    except (ValueError, AttributeError):
        pass
    printable = "".join(sign if sign.isprintable() else " " for sign in text)
    return " ".join(printable.split())[:_SAID]


def _asked_s(headers: Mapping[str, str]) -> float | None:
    """Retry-After (RFC 9110, section 10.2.3): seconds, or a moment by the server's own clock."""
    text = headers.get("Retry-After", "")
    moment_s, server_s = _moment_s(text), _moment_s(headers.get("Date", ""))
    if text.strip().isascii() and text.strip().isdigit():
        wait_s = float(text)
    elif moment_s is not None and server_s is not None:
        wait_s = moment_s - server_s
    else:
        return None
    return min(max(wait_s, 0.0), LONGEST_ASKED_S)


def _ahead_s(headers: Mapping[str, str], now_s: float) -> float | None:
    server_s = _moment_s(headers.get("Date", ""))
    return None if server_s is None else server_s - now_s


def _moment_s(text: str) -> float | None:
    try:
        return parsedate_to_datetime(text).timestamp()
    except (TypeError, ValueError, OverflowError):
        return None


def _name(error: BaseException) -> str:
    """What went wrong, without the address."""
    cause = error.__cause__ or error.__context__
    kind = type(error).__name__
    return f"{kind}, {type(cause).__name__}" if cause is not None else kind
