"""Setting up paho's client for who only listens: a session that ends with the connection."""

from __future__ import annotations

import secrets
from typing import TYPE_CHECKING

from monitor.room_summary import LONGEST_BYTES
from monitor.settings.schema_broker import BrokerSettings
from monitor.sources.mqtt_client import BACK_OFF_S, secure

if TYPE_CHECKING:
    from paho.mqtt.client import Client

CONNECT_LIMIT_S = 3.0
#: A packet bigger than this the broker keeps to itself (MQTT 5 only).
_LARGEST_PACKET = LONGEST_BYTES + 4096


def make_client(settings: BrokerSettings) -> Client:
    """A client of its own name. Raises OSError or ValueError for unusable certificate files."""
    from paho.mqtt.client import Client, MQTTv5, MQTTv311  # noqa: PLC0415
    from paho.mqtt.enums import CallbackAPIVersion  # noqa: PLC0415

    five = settings.version == "5"
    client = Client(
        CallbackAPIVersion.VERSION2,
        client_id=f"bagwattfarm{secrets.token_hex(6)}",
        clean_session=None if five else True,
        protocol=MQTTv5 if five else MQTTv311,
    )
    client.reconnect_delay_set(*BACK_OFF_S)
    client.connect_timeout = CONNECT_LIMIT_S
    secure(client, settings)
    return client


def connect(client: Client, settings: BrokerSettings) -> None:
    """Tell the client where to connect; the attempt itself is made, and made again, by its loop."""
    keepalive_s = round(settings.keepalive_s)
    if settings.version != "5":
        client.connect_async(settings.host, settings.port, keepalive_s)
        return
    from paho.mqtt.packettypes import PacketTypes  # noqa: PLC0415
    from paho.mqtt.properties import Properties  # noqa: PLC0415

    properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
    properties.MaximumPacketSize = _LARGEST_PACKET
    client.connect_async(
        settings.host, settings.port, keepalive_s, clean_start=True, properties=properties
    )
