"""Setting up paho's client the way that loses nothing; each option has a reason.

Measured with paho-mqtt 2.2.0 and mosquitto 2.0.11: a clean start throws away what the broker
kept, no session expiry ends the session with the connection, retained values replay at every
subscription unless told not to.
"""

from __future__ import annotations

import hashlib
import json
import platform
import re
import secrets
import socket
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from monitor import __version__
from monitor.settings.schema_broker import BrokerSettings
from monitor.settings.schema_sources import MqttSettings

if TYPE_CHECKING:
    from paho.mqtt.client import Client

_MACHINE_ID = Path("/etc/machine-id")
#: A packet bigger than this the broker keeps to itself (MQTT 5 only).
_LARGEST_PACKET = 1 << 20
BACK_OFF_S = (1, 30)
#: Our own pulses waiting to be sent; the client publishes nothing else.
_MOST_OUTGOING = 20
_SUSPICIOUSLY_MANY = 3
_OWN_CORNER = re.compile(r"bagwatt/[^/]+/(?:pulse|standing)")
_LOGIN_REFUSALS = frozenset(
    {
        "Bad user name or password",
        "Not authorized",
        "Client identifier not valid",
        "Unsupported protocol version",
        "Bad authentication method",
        "Banned",
    }
)


def client_id(source_name: str) -> str:
    """A client id that stays the same for this machine and source, and tells neither.

    23 letters and digits, which every broker accepts (MQTT 3.1.1, section 3.1.3.1).
    """
    try:
        machine = _MACHINE_ID.read_text(encoding="ascii").strip()
    except (OSError, UnicodeDecodeError):
        machine = platform.node()
    return "bagwatt" + hashlib.sha256(f"{machine}\0{source_name}".encode()).hexdigest()[:16]


def trial_identity(identity: str) -> str:
    """Who tries the broker beside a watch of this identity, which keeps its connection so.

    It begins alike, for brokers that go by the beginning, and ends by chance: two trials at once
    don't throw each other out.
    """
    return f"{identity}-check-{secrets.token_hex(3)}"


def pulse_topic(identity: str) -> str:
    """The private topic on which a client hears itself; any wildcard in its id is left out."""
    return f"bagwatt/{re.sub(r'[^A-Za-z0-9_-]', '-', identity)}/pulse"


def standing_topic(identity: str) -> str:
    """Where the broker keeps, for whoever wants to know, whether bagwatt is there."""
    return pulse_topic(identity).removesuffix("pulse") + "standing"


def own_corner(topic: str) -> bool:
    """Whether a bagwatt speaks there, this one or another: no probe does."""
    return _OWN_CORNER.fullmatch(topic) is not None


def standing_text(state: str, since_s: float | None) -> bytes:
    """The retained message: JSON with `state` (watching, stopped or gone), `since`, `version`."""
    since = None if since_s is None else datetime.fromtimestamp(since_s, UTC).isoformat()
    return json.dumps({"state": state, "since": since, "version": __version__}).encode()


def make_client(settings: MqttSettings, identity: str, lasting: bool = True) -> Client:
    """A client ready to connect. Raises OSError or ValueError for unusable certificate files.

    lasting  whether its session outlives it, and the broker says in its place that it is gone
    """
    from paho.mqtt.client import Client, MQTTv5, MQTTv311  # noqa: PLC0415
    from paho.mqtt.enums import CallbackAPIVersion  # noqa: PLC0415

    five = settings.version == "5"
    client = Client(
        CallbackAPIVersion.VERSION2,
        client_id=identity,
        clean_session=None if five else not lasting,
        protocol=MQTTv5 if five else MQTTv311,
        manual_ack=True,
    )
    if lasting:
        # The last will: what the broker says in our place when we are gone without a word.
        client.will_set(standing_topic(identity), standing_text("gone", None), qos=1, retain=True)
    client.reconnect_delay_set(*BACK_OFF_S)
    client.max_queued_messages_set(_MOST_OUTGOING)
    secure(client, settings)
    return client


def secure(client: Client, settings: BrokerSettings) -> None:
    """Login and TLS. Raises OSError or ValueError for unusable certificate files."""
    if settings.username is not None:
        password = settings.password.reveal() if settings.password else None
        client.username_pw_set(settings.username, password)
    if settings.tls is not None:
        tls = settings.tls
        ca, certificate, key = (
            None if path is None else str(path) for path in (tls.ca, tls.certificate, tls.key)
        )
        client.tls_set(ca_certs=ca, certfile=certificate, keyfile=key)


def connect(client: Client, settings: MqttSettings, lasting: bool = True) -> None:
    """Tell the client where to connect; the attempt itself is made, and made again, by its loop."""
    keepalive_s = round(settings.keepalive_s)
    if settings.version != "5":
        client.connect_async(settings.host, settings.port, keepalive_s)
        return
    from paho.mqtt.packettypes import PacketTypes  # noqa: PLC0415
    from paho.mqtt.properties import Properties  # noqa: PLC0415

    properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
    properties.SessionExpiryInterval = round(settings.session_expiry_s) if lasting else 0
    properties.ReceiveMaximum = settings.receive_maximum
    properties.MaximumPacketSize = _LARGEST_PACKET
    client.connect_async(
        settings.host, settings.port, keepalive_s, clean_start=not lasting, properties=properties
    )


def subscribe(client: Client, settings: MqttSettings, filters: Sequence[str]) -> None:
    """Subscribe at QoS 1; retained values only where the subscription is new (MQTT 5)."""
    if settings.version != "5":
        client.subscribe([(topic, 1) for topic in filters])
        return
    from paho.mqtt.subscribeoptions import SubscribeOptions  # noqa: PLC0415

    options = SubscribeOptions(qos=1, retainHandling=SubscribeOptions.RETAIN_SEND_IF_NEW_SUB)
    client.subscribe([(topic, options) for topic in filters])


def refused_login(reason_code: Any) -> bool:
    """Whether the broker says that our settings are wrong, rather than that it can't just now."""
    return str(reason_code) in _LOGIN_REFUSALS


def connect_fault(where: str, error: BaseException | None) -> str:
    """Why no connection came about, without the system's number for it, and what to look at."""
    why = getattr(error, "strerror", None) or error or "no connection"
    if isinstance(error, ConnectionRefusedError):
        return f"{where}: {why}; does the broker run there, and is `port` its port?"
    if isinstance(error, socket.gaierror):
        return f"{where}: {why}; is `host` written right, and the network up?"
    return f"{where}: {why}"


def no_answer(where: str) -> str:
    """Somebody takes the connection, or hangs up, and says nothing a broker would say."""
    return f"{where}: no answer; is `port` the broker's, and does it want `tls`?"


def disconnect_fault(where: str, reason_code: Any, short_connections: int) -> str:
    """What ended a connection, for a person.

    Two clients with one id throw each other out for ever; not every broker says so.
    """
    if str(reason_code) == "Session taken over" or short_connections >= _SUSPICIOUSLY_MANY:
        return f"{where}: thrown out again and again; is our `client_id` in use elsewhere?"
    return f"{where}: connection lost ({reason_code})"
