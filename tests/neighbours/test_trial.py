"""`bagwatt check` tries the broker of the neighbours and looks whether the name is free."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

from tests.broker import Broker
from tests.neighbours.telling import ear, kept, telling, write_room
from tests.waiting import free_port, wait_until


def check(folder: Path) -> list[tuple[str, str]]:
    """State and words of what `bagwatt check` finds of the neighbours."""
    command = [str(Path(sys.executable).with_name("bagwatt")), "check", "--config", str(folder)]
    done = subprocess.run([*command, "--json"], capture_output=True, text=True, check=False)
    found = json.loads(done.stdout)["findings"]
    return [(one["state"], one["detail"]) for one in found if one["what"] == "neighbours"]


def test_check_says_who_has_the_name_but_not_that_we_have_it_ourselves(
    broker: Broker, tmp_path: Path
) -> None:
    ours = write_room(tmp_path / "a", "Halle 2/östlich", broker.port)
    other = write_room(tmp_path / "b", "Halle 2/östlich", broker.port)
    free = ("ok", f"127.0.0.1:{broker.port} takes what is told under bagwatt/rooms/#")
    with telling(ours) as room, ear(broker) as heard:
        wait_until(lambda: any("/claim/" in topic for topic in heard.now()), 5.0, "a claim")
        [found] = check(ours)
        assert (found[0], found[1][: len(free[1])]) == free
        first, second = check(other)
        assert first == found
        assert second[0] == "wrong"
        assert second[1].startswith("another monitor watches a room of this name, on host ")
        assert "room.name" in second[1]
        assert len(kept(broker)) == 1, "the trial leaves nothing behind"
        assert room.neighbours.health().connected


def test_check_says_that_the_broker_is_not_there(tmp_path: Path) -> None:
    port = free_port()
    [(state, detail)] = check(write_room(tmp_path / "a", "North", port))
    assert state == "wrong"
    assert detail.startswith(f"127.0.0.1:{port}: Connection refused; does the broker run there")
