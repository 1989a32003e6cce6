"""The broker's snippet lets a room tell its neighbours, and nobody else speak for it."""

from __future__ import annotations

from pathlib import Path

import pytest

from monitor.neighbours.topics import Topics
from monitor.room_messages import RoomClaim
from monitor.room_summary import VERSION, to_json
from tests.neighbours.telling import telling, write_room
from tests.test_systemd import client, snippet_broker
from tests.waiting import wait_until

TOPICS = Topics()


@pytest.mark.parametrize("client_id", ["rooms", "rooms/North/claim"])
def test_rooms_tell_a_display_sees_it_and_a_probe_speaks_for_no_room(
    tmp_path: Path, client_id: str
) -> None:
    mosquitto = tmp_path / "mosquitto"
    mosquitto.mkdir()
    password = tmp_path / "password"
    password.write_text("bagwatt-pw", encoding="utf-8")
    password.chmod(0o600)
    older = RoomClaim(VERSION, "", "North", "standing", "0", 0.0, "rogue", 30.0)
    with snippet_broker(mosquitto) as port:
        more = f", username: bagwatt, password: {{file: {password}}}"
        with telling(write_room(tmp_path / "a", "North", port, more)) as room:
            end_s = room.close()
            wait_until(lambda: room.told_all(end_s), 5.0, "all told")
            assert room.neighbours.health().detail == ""
            words = ["-t", TOPICS.summary("North"), "-C", "1", "-W", "2"]
            assert '"room":"North"' in client("mosquitto_sub", port, "display", *words).stdout
            claim = to_json(RoomClaim, older).decode()
            for login in ("probes", "display"):
                said = ["-i", client_id, "-q", "1", "-r", "-t", TOPICS.claim("North", "standing")]
                client("mosquitto_pub", port, login, *said, "-m", claim)
            end_s = room.close()
            wait_until(lambda: room.told_all(end_s), 5.0, "all told")
            assert room.said == []
