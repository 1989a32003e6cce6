"""What lies in systemd/: units that score well, an installer, a broker snippet that works."""

from __future__ import annotations

import re
import shutil
import stat
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from monitor.cli import COMMANDS
from monitor.settings.load import load_settings
from monitor.settings.schema_sources import TopicSettings
from monitor.settings.secrets import Secret
from tests.sources.mqtt_parts import fresh_queue, running, settings, up
from tests.sources.parts import take
from tests.waiting import free_port, wait_until

SYSTEMD = Path(__file__).resolve().parent.parent / "systemd"
UNITS = sorted(SYSTEMD.glob("*.service"))
TRUE = "/usr/bin/true"
TIMERS = sorted(SYSTEMD.glob("*.timer"))
MOST = {"bagwatt": 2.0, "bagwatt-backup": 1.0}
#: How a unit of one room of several differs from that of a single room.
OF_ROOM = (
    (r"--config /etc/bagwatt$", "--config /etc/bagwatt/%i"),
    (r"/var/lib/bagwatt/", "/var/lib/bagwatt/%i/"),
    (r"^(\w+Directory)=bagwatt$", r"\1=bagwatt/%i"),
    (r"^StateDirectory=bagwatt bagwatt/backup$", "StateDirectory=bagwatt/%i bagwatt/%i/backup"),
    (r"^(Description=.*)$", r"\1 of room %i"),
)


@pytest.mark.parametrize("unit", UNITS, ids=lambda unit: unit.name)
def test_a_unit_is_hardly_exposed(unit: Path) -> None:
    """The score of `systemd-analyze security`, 0 to 10; only where the tool is installed."""
    tool = shutil.which("systemd-analyze")
    if tool is None:
        pytest.skip("systemd-analyze is not installed")
    done = subprocess.run(
        [tool, "security", "--offline=true", str(unit)], capture_output=True, text=True, check=False
    )
    found = re.search(r"Overall exposure level for \S+: ([\d.]+)", done.stdout)
    assert found, done.stdout + done.stderr
    assert float(found[1]) <= MOST[unit.stem.rstrip("@")]


def test_systemd_knows_every_word_of_the_units(tmp_path: Path) -> None:
    """Its own parser; it also wants the commands to be there, which the installer sees to."""
    tool = shutil.which("systemd-analyze")
    if tool is None:
        pytest.skip("systemd-analyze is not installed")
    names = []
    for unit in (*UNITS, *TIMERS):
        text = unit.read_text(encoding="utf-8").replace("/opt/bagwatt/.venv/bin/bagwatt", TRUE)
        (tmp_path / unit.name).write_text(text, encoding="utf-8")
        names.append(str(tmp_path / unit.name))
    words = [tool, "verify", "--man=no", "--recursive-errors=no", *names]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout + done.stderr) == (0, "")


@pytest.mark.parametrize("unit", [*UNITS, *TIMERS], ids=lambda unit: unit.name)
def test_a_unit_of_one_room_of_several_differs_by_its_folders_alone(unit: Path) -> None:
    if not unit.stem.endswith("@"):
        assert unit.with_stem(f"{unit.stem}@").exists()
        return
    single = unit.with_stem(unit.stem.rstrip("@")).read_text(encoding="utf-8")
    text = single[single.index("[Unit]") :]
    for pattern, written in OF_ROOM:
        text = re.sub(pattern, written, text, flags=re.M)
    found = unit.read_text(encoding="utf-8")
    assert found[found.index("[Unit]") :] == text


@pytest.mark.parametrize("unit", UNITS, ids=lambda unit: unit.name)
def test_a_unit_starts_a_command_that_there_is(unit: Path) -> None:
    starts = re.findall(r"^ExecStart=\S+/bagwatt (\S+)", unit.read_text(encoding="utf-8"), re.M)
    assert starts
    assert set(starts) <= set(COMMANDS)


def test_every_setting_of_the_watch_stands_under_a_reason() -> None:
    """Each group of lines begins with a comment, so that nobody strikes a line unknowing."""
    text = (SYSTEMD / "bagwatt.service").read_text(encoding="utf-8")
    service = text[text.index("[Service]") : text.index("[Install]")]
    plain = {"User=bagwatt", "CapabilityBoundingSet=", "Restart=always"}
    reasoned, bare = False, []
    for line in service.splitlines()[1:]:
        if line.startswith("#") or not line:
            reasoned = bool(line)
        elif not reasoned and line not in plain:
            bare.append(line)
    assert bare == []
    assert service.count("\n#") > 20


def test_the_installer_lays_out_files_with_tight_modes_and_keeps_what_is_there(
    tmp_path: Path,
) -> None:
    command = ["sh", str(SYSTEMD / "install"), "--root", str(tmp_path)]
    subprocess.run(command, check=True)
    etc = tmp_path / "etc" / "bagwatt"
    assert stat.S_IMODE((etc / "secrets").stat().st_mode) == 0o700
    assert stat.S_IMODE((etc / "monitor.yaml").stat().st_mode) == 0o640
    assert load_settings(etc, {}).channels_none  # the sample works as it stands
    units = {path.name for path in (tmp_path / "etc" / "systemd" / "system").iterdir()}
    assert units == {
        f"{name}{kind}"
        for name in ("bagwatt", "bagwatt-backup")
        for kind in (".service", "@.service", ".timer", "@.timer")
    } - {"bagwatt.timer", "bagwatt@.timer"}
    (etc / "monitor.yaml").write_text("mine", encoding="utf-8")
    subprocess.run(command, check=True)
    assert (etc / "monitor.yaml").read_text(encoding="utf-8") == "mine"


def test_the_installer_says_how_it_is_used() -> None:
    done = subprocess.run(
        ["sh", str(SYSTEMD / "install"), "--wrong"], capture_output=True, text=True, check=False
    )
    assert done.returncode == 2
    assert "--root FOLDER" in done.stdout


DEBIAN = """\
{user}persistence true
persistence_location {folder}/
log_dest stderr
include_dir {folder}/conf.d
"""


@contextmanager
def snippet_broker(folder: Path) -> Iterator[int]:
    """mosquitto with Debian's own main file and our snippet beside it; its port."""
    port = free_port()
    (folder / "conf.d").mkdir()
    snippet = (SYSTEMD / "broker" / "bagwatt.conf").read_text(encoding="utf-8")
    snippet = snippet.replace("listener 1883", f"listener {port} 127.0.0.1")
    (folder / "conf.d" / "bagwatt.conf").write_text(
        snippet.replace("/etc/mosquitto", str(folder)), encoding="utf-8"
    )
    shutil.copy(SYSTEMD / "broker" / "bagwatt.acl", folder / "bagwatt.acl")
    passwords = folder / "bagwatt.passwords"
    passwords.touch(0o600)
    for name in ("bagwatt", "probes", "display"):
        subprocess.run(["mosquitto_passwd", "-b", str(passwords), name, f"{name}-pw"], check=True)
    main = folder / "mosquitto.conf"
    main.write_text(DEBIAN.format(user="user root\n", folder=folder), encoding="utf-8")
    log = (folder / "log").open("wb")
    process = subprocess.Popen(["mosquitto", "-c", str(main)], stdout=log, stderr=log)
    try:
        yield port
    finally:
        process.terminate()
        process.wait(5)
        log.close()


def client(tool: str, port: int, name: str, *words: str) -> subprocess.CompletedProcess[str]:
    login = ["-p", str(port), "-u", name, "-P", f"{name}-pw"]
    return subprocess.run(
        [tool, *login, *words], capture_output=True, text=True, check=False, timeout=20
    )


def test_the_broker_snippet_lets_bagwatt_work_and_nobody_else_in(tmp_path: Path) -> None:
    """A real mosquitto: probes speak, bagwatt hears, a display sees the standing message."""
    topic = "quarry/r1/p1/temperature"
    sink = fresh_queue()
    with snippet_broker(tmp_path) as port:
        ours = settings(
            port,
            username="bagwatt",
            password=Secret("bagwatt-pw"),
            topics=(TopicSettings(topic="quarry/+/{probe}/temperature"),),
        )
        with running(ours, sink) as source:
            up(source)  # the pulse came back: its corner is allowed both ways
            assert source.health(0.0).problem is None
            sent = client("mosquitto_pub", port, "probes", "-q", "1", "-t", topic, "-m", "21.5")
            assert sent.returncode == 0
            assert take(sink, 1)[0].payload == b"21.5"
            standing = "bagwatt/bagwatt-test/standing"
            wait_until(
                lambda: (
                    "watching"
                    in client(
                        "mosquitto_sub", port, "display", "-t", standing, "-C", "1", "-W", "2"
                    ).stdout
                ),
                what="the display sees it",
            )
            # a rogue probe may not speak for bagwatt, a display may not speak for a probe
            client("mosquitto_pub", port, "probes", "-q", "1", "-t", standing, "-m", "gone")
            client("mosquitto_pub", port, "display", "-q", "1", "-t", topic, "-m", "99")
            heard = client("mosquitto_sub", port, "probes", "-t", "#", "-C", "1", "-W", "1")
            assert heard.stdout == ""
            assert sink.empty()
            seen = client("mosquitto_sub", port, "display", "-t", standing, "-C", "1", "-W", "2")
            assert "watching" in seen.stdout
        nobody = subprocess.run(
            ["mosquitto_pub", "-p", str(port), "-t", topic, "-m", "1"],
            capture_output=True, check=False, timeout=20,
        )  # fmt: skip
        assert nobody.returncode != 0
