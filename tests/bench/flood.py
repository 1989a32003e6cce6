"""Senders that cost little: an MQTT publisher of ready-made packets, a writer of serial lines.

    python -m tests.bench.flood PORT COUNT

Packets are made before the first is sent (MQTT 3.1.1, sections 3.1 and 3.3), so that the sender
is not what is measured.
"""

from __future__ import annotations

import socket
import struct
import threading

from demo.command import parser_for, whole_number

PROBES = 50
_PUBACK_BYTES = 4
_CONNACK_BYTES = 4
_WINDOW = 65_535


def _text(text: str) -> bytes:
    raw = text.encode()
    return struct.pack("!H", len(raw)) + raw


def publish_packet(topic: str, payload: str, mid: int) -> bytes:
    """A PUBLISH at QoS 1, shorter than 128 bytes."""
    body = _text(topic) + struct.pack("!H", mid) + payload.encode()
    return bytes((0x32, len(body))) + body


def flood(port: int, count: int) -> None:
    """Publish so many readings of fifty probes as fast as the broker takes them."""
    packets = b"".join(
        publish_packet(
            f"quarry/p{number % PROBES}/temp",
            f"{20 + number % 977 / 200:.3f}",
            1 + number % _WINDOW,
        )
        for number in range(count)
    )
    connect = _text("MQTT") + bytes((4, 2)) + struct.pack("!H", 600) + _text("flood")
    with socket.create_connection(("127.0.0.1", port)) as wire:
        wire.sendall(bytes((0x10, len(connect))) + connect)
        left = _CONNACK_BYTES + count * _PUBACK_BYTES
        sender = threading.Thread(target=wire.sendall, args=(packets,))
        sender.start()
        while left > 0:
            left -= len(wire.recv(1 << 16))
        sender.join()


if __name__ == "__main__":
    parser = parser_for("tests.bench.flood", __doc__)
    parser.add_argument("port", metavar="PORT", type=whole_number)
    parser.add_argument("count", metavar="COUNT", type=whole_number)
    told = parser.parse_args()
    flood(told.port, told.count)
