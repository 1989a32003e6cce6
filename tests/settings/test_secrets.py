"""Secrets by reference: where they may lie, and that no error repeats them."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from monitor.errors import SettingsError
from monitor.settings.load import load_settings
from monitor.settings.schema import MqttSettings

TEXT = """
room: {name: R, folder: ., timezone: UTC, band_low: 20, band_high: 25}
sources:
  - {kind: mqtt, name: a, host: h, username: u, password: {file: pw}, topics: [{topic: "{probe}"}]}
channels: none
store: {path: x}
"""


def password(folder: Path, secret: bytes, mode: int) -> str:
    (folder / "monitor.yaml").write_text(TEXT, encoding="utf-8")
    path = folder / "pw"
    path.write_bytes(secret)
    path.chmod(mode)
    source = load_settings(folder, {}).sources[0]
    assert isinstance(source, MqttSettings)
    assert source.password is not None
    return source.password.reveal()


@pytest.mark.parametrize("mode", [0o600, 0o400])
def test_secret_file_of_its_owner_is_read(mode: int, tmp_path: Path) -> None:
    assert password(tmp_path, b"  hunter2\n", mode) == "hunter2"


@pytest.mark.parametrize("mode", [0o644, 0o640, 0o604, 0o620])
def test_secret_file_open_to_others_is_refused_with_the_fix(mode: int, tmp_path: Path) -> None:
    with pytest.raises(SettingsError) as caught:
        password(tmp_path, b"hunter2\n", mode)
    (problem,) = caught.value.problems
    assert f"(mode {mode:04o}); run `chmod 600 {tmp_path / 'pw'}`" in problem
    assert "hunter2" not in problem


@pytest.mark.parametrize(
    ("secret", "says"),
    [
        (b"", "holds 0 lines"),
        (b"hunter2\nhunter2\n", "holds 2 lines"),
        (b"\xffhunter2", "is not UTF-8"),
        (b"hunter2" * 1000, "more than 4096 bytes"),
    ],
)
def test_secret_file_without_one_line_of_text_is_refused(
    secret: bytes, says: str, tmp_path: Path
) -> None:
    with pytest.raises(SettingsError) as caught:
        password(tmp_path, secret, 0o600)
    (problem,) = caught.value.problems
    assert says in problem
    assert "hunter2" not in problem


def test_pipe_in_place_of_a_secret_file_is_refused_without_waiting(tmp_path: Path) -> None:
    (tmp_path / "monitor.yaml").write_text(TEXT, encoding="utf-8")
    os.mkfifo(tmp_path / "pw", 0o600)
    with pytest.raises(SettingsError) as caught:
        load_settings(tmp_path, {})
    assert "is not a plain file" in caught.value.problems[0]
