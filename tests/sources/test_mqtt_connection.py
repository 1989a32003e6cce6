"""Connections of the MQTT source to a real mosquitto: what goes wrong is told by name."""

from __future__ import annotations

import socket
import subprocess
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from monitor.settings.schema_broker import TlsSettings
from monitor.settings.secrets import Secret
from monitor.sources import mqtt
from monitor.sources.mqtt_client import client_id, pulse_topic
from monitor.values import Reason
from tests.broker import Broker, running_broker
from tests.sources.mqtt_parts import fresh_queue, running, settings, up
from tests.sources.parts import take
from tests.waiting import free_port, wait_until


def test_a_refused_login_is_told_as_such(tmp_path: Path) -> None:
    passwords = tmp_path / "passwords"
    done = subprocess.run(
        ["mosquitto_passwd", "-c", "-b", str(passwords), "grower", "right"], check=False
    )
    assert done.returncode == 0
    with running_broker(tmp_path, f"allow_anonymous false\npassword_file {passwords}") as broker:
        for version in ("5", "3.1.1"):
            wrong = settings(
                broker.port, version=version, username="grower", password=Secret("wrong")
            )
            with running(wrong, fresh_queue()) as source:
                wait_until(
                    lambda: source.health(0.0).problem is Reason.BROKER_REFUSED, what="refusal"
                )
                assert "do `username` and `password` fit" in source.health(0.0).detail
                assert "wrong" not in source.health(0.0).detail
                wait_until(lambda: not source.health(0.0).connected, what="not connected")
        right = settings(broker.port, username="grower", password=Secret("right"))
        with running(right, fresh_queue()) as source:
            up(source)


def test_a_broker_that_is_down_at_start_is_told_and_found_later(tmp_path: Path) -> None:
    broker = Broker(tmp_path, port=free_port())
    sink = fresh_queue()
    with running(settings(broker.port), sink) as source:
        wait_until(lambda: "refused" in source.health(0.0).detail, what="told")
        assert "does the broker run there" in source.health(0.0).detail
        assert source.health(0.0).problem is Reason.BROKER_LOST
        broker.start()
        try:
            up(source)
            broker.publish(("barn/a/p1/temp", "21"))
            assert take(sink, 1)[0].payload == b"21"
        finally:
            broker.stop()
        wait_until(lambda: source.health(0.0).problem is Reason.BROKER_LOST, what="lost again")


def test_who_is_no_broker_is_told_whether_he_hangs_up_or_is_silent(tmp_path: Path) -> None:
    """As a broker does that wants TLS on this port, and as other programs do."""
    asked = "no answer; is `port` the broker's, and does it want `tls`?"
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
        with running(settings(port), fresh_queue()) as source:
            silent, _ = server.accept()
            assert source.health(0.0).detail == f"127.0.0.1:{port}: {asked}"
            silent.close()
            again, _ = server.accept()
            again.close()
            time.sleep(0.1)
            health = source.health(0.0)
            assert (health.problem, health.detail) == (
                Reason.BROKER_LOST, f"127.0.0.1:{port}: {asked}",
            )  # fmt: skip


def test_a_name_nobody_knows_is_told() -> None:
    with running(settings(1883, host="no-such-broker.invalid"), fresh_queue()) as source:
        wait_until(lambda: "no-such-broker.invalid:1883:" in source.health(0.0).detail, what="told")
        assert source.health(0.0).problem is Reason.BROKER_LOST


def test_a_denied_pulse_and_a_silent_connection_are_told(tmp_path: Path) -> None:
    """A broker may grant a subscription and then deliver nothing: only silence tells."""
    rules = tmp_path / "rules"
    rules.write_text("topic read barn/#\n", encoding="utf-8")
    with (
        running_broker(tmp_path, f"acl_file {rules}") as broker,
        running(settings(broker.port, keepalive_s=5), fresh_queue()) as source,
    ):
        wait_until(lambda: source.health(0.0).connected, what="connected")
        heard_s = source.health(0.0).last_packet_monotonic_s
        assert heard_s is not None
        silent = source.health(heard_s + 16)
        assert (silent.connected, silent.problem) == (False, Reason.BROKER_LOST)
        assert "silent for 16 s" in silent.detail
        source._backlog.since_s -= 16  # type: ignore[union-attr]
        denied = source.health(heard_s)
        assert (denied.problem, denied.connected) == (Reason.BROKER_REFUSED, True)
        assert "bagwatt/bagwatt-test/pulse" in denied.detail


def test_a_refused_subscription_and_a_lesser_one_are_told(broker: Broker) -> None:
    """With the answers that MQTT 5.0, section 3.9.3, lists; mosquitto itself grants all."""
    from paho.mqtt.packettypes import PacketTypes
    from paho.mqtt.reasoncodes import ReasonCode

    with running(settings(broker.port), fresh_queue()) as source:
        up(source)
        answers = [ReasonCode(PacketTypes.SUBACK, identifier=code) for code in (0x87, 0)]
        source._on_subscribe(source._client, None, 1, answers, None)
        health = source.health(source.health(0.0).last_packet_monotonic_s or 0.0)
        assert (health.connected, health.problem) == (True, Reason.BROKER_REFUSED)
        assert "barn/+/+/temp refused: Not authorized" in health.detail
        assert "bagwatt/bagwatt-test/pulse granted at QoS 0 only" in health.detail


def strict_broker(server: socket.socket, answers: list[bytes]) -> None:
    """One that answers subscriptions as it is told, in turn, and says nothing else (MQTT 3.1.1)."""
    line, _ = server.accept()
    with line, line.makefile("rb") as said:
        while head := said.read(1):
            length = said.read(1)[0]
            if length & 0x80:
                length = length & 0x7F | said.read(1)[0] << 7
            body = said.read(length)
            if head[0] & 0xF0 == 0x10:  # CONNECT
                line.sendall(bytes((0x20, 2, 0, 0)))
            if head[0] & 0xF0 == 0x80 and answers:  # SUBSCRIBE
                codes = answers.pop(0)
                line.sendall(bytes((0x90, 2 + len(codes))) + body[:2] + codes)


def test_what_a_broker_refuses_is_asked_for_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its rules are mended while the connection stands, and no broker tells of that."""
    monkeypatch.setattr(mqtt, "_ASK_AGAIN_S", 0.5)
    answers = [b"\x80\x01", b"\x80", b"\x01"]
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
        threading.Thread(target=strict_broker, args=(server, answers), daemon=True).start()
        with running(settings(port, version="3.1.1"), fresh_queue()) as source:
            wait_until(lambda: source.health(0.0).problem is Reason.BROKER_REFUSED, what="refused")
            assert "barn/+/+/temp refused" in source.health(0.0).detail
            wait_until(lambda: source.health(0.0).problem is None, what="granted")
            assert source.health(0.0).detail == "" and answers == []


def test_two_sources_with_one_client_id_are_told(broker: Broker) -> None:
    with running(settings(broker.port), fresh_queue()) as first:
        up(first)
        with running(settings(broker.port), fresh_queue()):
            wait_until(lambda: "client_id" in first.health(0.0).detail, what="told")


def test_the_client_id_is_lasting_and_plain() -> None:
    name = client_id("barn")
    assert name == client_id("barn") != client_id("shed")
    assert name.isalnum()
    assert len(name) == 23
    assert pulse_topic("a/b+#") == "bagwatt/a-b--/pulse"


def certificates(folder: Path, run: Callable[..., None]) -> None:
    """A throwaway authority, a certificate for the broker and one for bagwatt."""
    run("req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes",
        "-keyout", "ca.key", "-out", "ca.pem", "-days", "2",
        "-subj", "/CN=Quarry Lane test CA")  # fmt: skip
    (folder / "names").write_text("subjectAltName=IP:127.0.0.1", encoding="utf-8")
    for who in ("server", "client"):
        run("req", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes",
            "-keyout", f"{who}.key", "-out", f"{who}.csr", "-subj", f"/CN={who}")  # fmt: skip
        run("x509", "-req", "-in", f"{who}.csr", "-CA", "ca.pem", "-CAkey", "ca.key",
            "-CAcreateserial", "-days", "2", "-out", f"{who}.pem", "-extfile", "names")  # fmt: skip


def test_tls_checks_the_broker_and_shows_our_certificate(tmp_path: Path) -> None:
    def run(*arguments: str) -> None:
        subprocess.run(["openssl", *arguments], cwd=tmp_path, check=True, capture_output=True)

    certificates(tmp_path, run)
    config = "\n".join(
        f"{key} {tmp_path / name}"
        for key, name in (
            ("cafile", "ca.pem"),
            ("certfile", "server.pem"),
            ("keyfile", "server.key"),
        )
    )
    with running_broker(tmp_path, config + "\nrequire_certificate true") as broker:
        ours = TlsSettings(
            ca=tmp_path / "ca.pem", certificate=tmp_path / "client.pem", key=tmp_path / "client.key"
        )
        with running(settings(broker.port, tls=ours), fresh_queue()) as source:
            up(source)
        with running(settings(broker.port, tls=TlsSettings()), fresh_queue()) as source:
            wait_until(lambda: "CERTIFICATE_VERIFY" in source.health(0.0).detail, what="untrusted")
            assert source.health(0.0).problem is Reason.BROKER_LOST
        nameless = TlsSettings(ca=tmp_path / "ca.pem")
        with running(settings(broker.port, tls=nameless), fresh_queue()) as source:
            refused = "peer did not return a certificate"
            wait_until(lambda: refused in broker.log(), what="refused without our certificate")
            health = source.health(0.0)
            assert (health.connected, health.problem) == (False, Reason.BROKER_LOST)
        wrong_name = settings(broker.port, tls=ours, host="localhost")
        with running(wrong_name, fresh_queue()) as source:
            wait_until(lambda: "ostname" in source.health(0.0).detail, what="wrong name")
        gone = TlsSettings.model_construct(ca=tmp_path / "gone.pem", certificate=None, key=None)
        unread = settings(broker.port).model_copy(update={"tls": gone})
        with running(unread, fresh_queue()) as source:
            wait_until(lambda: "certificate files" in source.health(0.0).detail, what="no file")
