"""Messages through Apprise: text only, each address for itself, no URL ever shown.

A person may have several addresses. Each that took a message is marked, so that the next try
goes to the others only (Apprise calls a partial success false).
"""

from __future__ import annotations

import logging
from collections.abc import Mapping, Sequence
from hashlib import blake2b
from typing import TYPE_CHECKING

from monitor.channels.address import LIMIT_S, Address
from monitor.channels.channel import Answer
from monitor.clock import process_seconds
from monitor.errors import ChannelError
from monitor.values import Message, Verdict

if TYPE_CHECKING:
    from monitor.settings.schema import RecipientSettings


class PushChannel:
    """One person's addresses; safe to use from several threads."""

    def __init__(
        self, recipient: str, addresses: Mapping[str, Address], limit_s: float = LIMIT_S
    ) -> None:
        """`addresses` by their mark; `limit_s` is how long `send` waits for all of them."""
        self._recipient = recipient
        self._addresses = dict(addresses)
        self._limit_s = limit_s

    @property
    def recipient(self) -> str:
        return self._recipient

    @property
    def count(self) -> int:
        """How many addresses there are to try."""
        return len(self._addresses)

    def send(self, message: Message, taken: frozenset[str] = frozenset()) -> Answer:
        """Try the addresses not in `taken`, side by side. Delivered once all have it.

        An address that refuses for good counts no more; refused when every one does.
        """
        begun_s = process_seconds()
        tries = {
            mark: address.begin(message)
            for mark, address in self._addresses.items()
            if mark not in taken
        }
        none_yet = Answer(Verdict.TRY_AGAIN, f"no answer in {self._limit_s:.0f} s")
        answers = {
            mark: attempt.wait(self._limit_s - (process_seconds() - begun_s)) or none_yet
            for mark, attempt in tries.items()
        }
        return self._summed(answers, taken)

    def _summed(self, answers: Mapping[str, Answer], taken: frozenset[str]) -> Answer:
        verdicts = {answer.verdict for answer in answers.values()}
        taken |= {mark for mark, one in answers.items() if one.verdict is Verdict.DELIVERED}
        faults = [one.detail for one in answers.values() if one.verdict is not Verdict.DELIVERED]
        if not faults:
            return Answer(Verdict.DELIVERED, "delivered", taken)
        counted = f"{len(taken)} of {self.count} addresses took it; " if self.count > 1 else ""
        detail = counted + "; ".join(faults)
        if Verdict.TRY_AGAIN in verdicts:
            return Answer(Verdict.TRY_AGAIN, detail, taken)
        return Answer(Verdict.DELIVERED if taken else Verdict.REFUSED, detail, taken)


def build_channels(
    recipients: Sequence[RecipientSettings], limit_s: float = LIMIT_S
) -> dict[str, PushChannel]:
    """A channel for each recipient, by name.

    Raises ChannelError at the first URL that Apprise can't use, naming the recipient and the
    URL's place, never the URL.
    """
    if not recipients:
        return {}
    _hush_the_loggers()
    import apprise  # noqa: PLC0415  (heavy: only where messages are sent)

    asset = apprise.AppriseAsset(
        app_id="bagwatt",
        app_desc="bagwatt",
        app_url="",
        image_url_mask="",
        image_url_logo="",
        service_timeout=0,  # the limit is ours, see `address`
        storage_mode=apprise.PersistentStoreMode.MEMORY,
        allow_templates=False,
    )
    channels = {}
    for recipient in recipients:
        addresses = {}
        for place, url in enumerate(recipient.urls, start=1):
            service = apprise.Apprise(asset=asset)
            if not service.add(url.reveal()) or len(service) != 1:
                raise ChannelError(
                    f"recipient {recipient.name}, url {place}",
                    "Apprise can't use it (its scheme or a part of it is unknown)",
                    "compare it with what Apprise documents for that service",
                )
            addresses[_mark(url.reveal())] = Address(service)
        channels[recipient.name] = PushChannel(recipient.name, addresses, limit_s)
    return channels


def _hush_the_loggers() -> None:
    """Their lines hold URLs, paths and header values; what we need comes with the result."""
    for name, level in (("apprise", logging.WARNING), ("urllib3", logging.ERROR)):
        logger = logging.getLogger(name)
        logger.setLevel(level)
        logger.propagate = False
        if not logger.handlers:
            logger.addHandler(logging.NullHandler())


def usable(channels: Mapping[str, PushChannel]) -> int:
    """How many addresses there are to try, over all recipients."""
    return sum(channel.count for channel in channels.values())


def _mark(url: str) -> str:
    """Tells addresses apart across restarts; too short to find the URL from it."""
    return blake2b(url.encode(), digest_size=4).hexdigest()
