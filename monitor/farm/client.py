"""Setting up paho's client for who only listens: a session that ends with the connection."""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.room_summary import LONGEST_BYTES
from monitor.settings.schema_broker import BrokerSettings
from monitor.sources.mqtt_client import BACK_OFF_S
from monitor.sources.passing_client import connect_wishes, passing_client

if TYPE_CHECKING:
    from paho.mqtt.client import Client

CONNECT_LIMIT_S = 3.0
#: A packet bigger than this the broker keeps to itself (MQTT 5 only).
_LARGEST_PACKET = LONGEST_BYTES + 4096


def make_client(settings: BrokerSettings) -> Client:
    """A client of its own name. Raises OSError or ValueError for unusable certificate files."""
    client = passing_client(settings, "bagwattfarm", CONNECT_LIMIT_S, reconnects=True)
    client.reconnect_delay_set(*BACK_OFF_S)
    return client


def connect(client: Client, settings: BrokerSettings) -> None:
    """Tell the client where to connect; the attempt itself is made, and made again, by its loop."""
    wishes = connect_wishes(settings, _LARGEST_PACKET)
    client.connect_async(settings.host, settings.port, round(settings.keepalive_s), **wishes)
