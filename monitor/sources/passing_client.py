"""Paho's client for who comes and goes: a name of its own each time, nothing kept in between."""

from __future__ import annotations

import secrets
from typing import TYPE_CHECKING, Any

from monitor.settings.schema_broker import BrokerSettings
from monitor.sources.mqtt_client import secure

if TYPE_CHECKING:
    from paho.mqtt.client import Client


def passing_client(
    settings: BrokerSettings, called: str, limit_s: float, reconnects: bool
) -> Client:
    """A client whose name begins with `called`, and ends by chance: an older one of ours that
    hangs must not be thrown out, nor throw us out. A connection may take `limit_s` [s].

    Raises OSError or ValueError for unusable certificate files.
    """
    from paho.mqtt.client import Client, MQTTv5, MQTTv311  # noqa: PLC0415
    from paho.mqtt.enums import CallbackAPIVersion  # noqa: PLC0415

    five = settings.version == "5"
    client = Client(
        CallbackAPIVersion.VERSION2,
        client_id=f"{called}{secrets.token_hex(6)}",
        clean_session=None if five else True,
        protocol=MQTTv5 if five else MQTTv311,
        reconnect_on_failure=reconnects,
    )
    client.connect_timeout = limit_s
    secure(client, settings)
    return client


def connect_wishes(settings: BrokerSettings, largest_packet: int) -> dict[str, Any]:
    """What `connect` is told beyond where to: with MQTT 5 that the session ends with the
    connection, and that packets over `largest_packet` [bytes] stay with the broker."""
    if settings.version != "5":
        return {}
    from paho.mqtt.packettypes import PacketTypes  # noqa: PLC0415
    from paho.mqtt.properties import Properties  # noqa: PLC0415

    properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
    properties.MaximumPacketSize = largest_packet
    return {"clean_start": True, "properties": properties}
