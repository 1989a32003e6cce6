"""One address behind Apprise, tried with a hard limit of time and of threads.

Apprise blocks: a server that drips a byte a second holds it for minutes, and its own limit
fills a pool that all addresses share. So each try runs in a daemon thread of ours. A try that
outlasts the limit is left behind; if it succeeds after all, the next try of that message
answers delivered without sending it twice.
"""

from __future__ import annotations

import re
import threading
from pathlib import Path
from typing import Any

from monitor.channels.channel import Answer
from monitor.values import Message, Urgency, Verdict

LIMIT_S = 25.0
LEFT_BEHIND_MOST = 3
_LATE_KEPT = 100
_HTTP_STATUS = re.compile(r"\berror=([1-5]\d\d)\b")


class Try:
    """One try under way; it ends answered, or is left behind by who waited."""

    def __init__(self) -> None:
        self._done = threading.Event()
        self._lock = threading.Lock()
        self._answer: Answer | None = None
        self._left = False

    def answer(self, answer: Answer) -> bool:
        """Give the answer; False when nobody waits for it any more."""
        with self._lock:
            self._answer = answer
            self._done.set()
            return not self._left

    def wait(self, limit_s: float) -> Answer | None:
        """The answer, or None when there is none within `limit_s`."""
        self._done.wait(max(limit_s, 0.0))
        with self._lock:
            self._left = self._answer is None
            return self._answer


class Address:
    """An Apprise object with one service in it, and the tries it still holds."""

    def __init__(self, service: Any) -> None:
        self._service = service
        self._lock = threading.Lock()
        self._running: dict[str, Try] = {}
        self._late: dict[str, None] = {}  # ids that were delivered after the limit, oldest first

    def begin(self, message: Message) -> Try:
        """Start a try, or join one of the same message that still runs or ended well late."""
        with self._lock:
            running = self._running.get(message.message_id)
            if running is not None:
                return running
            attempt = Try()
            if message.message_id in self._late:
                attempt.answer(Answer(Verdict.DELIVERED, "delivered late"))
                return attempt
            if len(self._running) >= LEFT_BEHIND_MOST:
                attempt.answer(Answer(Verdict.TRY_AGAIN, "earlier messages still hang there"))
                return attempt
            self._running[message.message_id] = attempt
        threading.Thread(
            target=self._run, args=(message, attempt), name="address", daemon=True
        ).start()
        return attempt

    def _run(self, message: Message, attempt: Try) -> None:
        answer = notify(self._service, message)
        waited_for = attempt.answer(answer)
        with self._lock:
            self._running.pop(message.message_id, None)
            if answer.verdict is Verdict.DELIVERED and not waited_for:
                self._late[message.message_id] = None
                while len(self._late) > _LATE_KEPT:
                    del self._late[next(iter(self._late))]


def _takes_pictures(service: Any, path: str) -> bool:
    """Whether the file is there and the service can take it."""
    return Path(path).is_file() and all(one.attachment_support for one in service)


def notify(service: Any, message: Message) -> Answer:
    """Send through one Apprise object; blocks, never raises, never repeats the URL."""
    import apprise  # noqa: PLC0415  (heavy: only where messages are sent)

    picture = message.attachment
    if picture and not _takes_pictures(service, picture):
        # The words went before it, in a message of their own: nobody waits for this one.
        return Answer(Verdict.DELIVERED, "picture left out: it is gone, or not taken there")
    kind = apprise.NotifyType.INFO
    if message.urgency is Urgency.NOW:
        kind = apprise.NotifyType.WARNING
    try:
        result = service.notify(
            title=message.title,
            body=message.body,
            notify_type=kind,
            body_format=apprise.NotifyFormat.TEXT,
            attach=picture or None,
        )
        name = str(next((one.name for one in result), "address"))
        logs = " ".join(entry.message for one in result for entry in one.logs())
    except Exception as error:  # a fault in a plugin must not end the sender
        # Its text may hold the URL.
        return Answer(Verdict.TRY_AGAIN, f"failed inside Apprise ({type(error).__name__})")
    if result.status == apprise.AppriseResultStatus.SUCCESS:
        return Answer(Verdict.DELIVERED, f"{name}: delivered")
    if result.status == apprise.AppriseResultStatus.NOMATCH:
        return Answer(Verdict.REFUSED, f"{name}: nothing to send to")
    status = _HTTP_STATUS.search(logs)
    why = f"answered {status[1]}" if status else "not reached, or not accepted"
    return Answer(Verdict.TRY_AGAIN, f"{name}: {why}")
