"""Neighbours are told over TLS; a broker whose certificate we do not trust hears nothing."""

from __future__ import annotations

import subprocess
from pathlib import Path

from tests.broker import running_broker
from tests.neighbours.telling import telling, write_room
from tests.sources.test_mqtt_connection import certificates
from tests.waiting import wait_until


def test_tls_checks_the_broker_and_shows_our_certificate(tmp_path: Path) -> None:
    def run(*arguments: str) -> None:
        subprocess.run(["openssl", *arguments], cwd=tmp_path, check=True, capture_output=True)

    certificates(tmp_path, run)
    config = "".join(
        f"{key} {tmp_path}/{name}\n"
        for key, name in (
            ("cafile", "ca.pem"), ("certfile", "server.pem"), ("keyfile", "server.key"),
        )
    )  # fmt: skip
    ours = f"ca: {tmp_path}/ca.pem, certificate: {tmp_path}/client.pem, key: {tmp_path}/client.key"
    with running_broker(tmp_path, f"{config}require_certificate true") as broker:
        more = f", tls: {{{ours}}}"
        with telling(write_room(tmp_path / "a", "North", broker.port, more)) as room:
            end_s = room.close()
            wait_until(lambda: room.told_all(end_s), 10.0, "all told")
            room.neighbours.stop(3.0)
            (tmp_path / "client.key").unlink()
            room.start()
            wait_until(lambda: room.neighbours.health().refused, 10.0, "no key")
            assert "mend the certificate files" in room.neighbours.health().detail
        with telling(write_room(tmp_path / "b", "South", broker.port, ", tls: {}")) as room:
            wait_until(lambda: room.neighbours.health().refused, 10.0, "not trusted")
            assert "certificate verify failed" in room.neighbours.health().detail
