"""The table and the editor schemas come from the models, so they can't fall behind."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Literal

import jsonschema
import pytest
import yaml

from monitor.settings.load import load_settings
from monitor.settings.reference import editor_schema, reference_table, schema_text
from monitor.settings.tree import read_tree
from tests.settings.bad_files import bad_files

CONFIG = Path(__file__).parents[2] / "config"
File = Literal["monitor", "strains"]
FILES: tuple[File, ...] = ("monitor", "strains")


@pytest.mark.parametrize("file", FILES)
def test_committed_editor_schema_is_what_the_models_say(file: File) -> None:
    committed = (CONFIG / f"{file}.schema.json").read_text(encoding="utf-8")
    how = "python -c \"from monitor.settings.reference import *; write_schemas(Path('config'))\""
    assert committed == schema_text(file), f"make it anew: {how}"


@pytest.mark.parametrize("file", FILES)
def test_editor_schema_is_one_and_accepts_the_sample(file: File) -> None:
    schema = editor_schema(file)
    jsonschema.Draft202012Validator.check_schema(schema)
    raw = (CONFIG / f"{file}.yaml").read_bytes()
    jsonschema.validate(_lists(read_tree(raw).data), schema)


@pytest.mark.parametrize(
    "name", ["unknown-key", "missing-key", "duration-without-unit", "misspelt-shape",
             "secret-in-the-file", "unknown-unit", "misspelt-kind", "strains-unknown-key"]
)  # fmt: skip
def test_editor_schema_refuses_what_the_program_refuses(name: str) -> None:
    file: File = "strains" if name.startswith("strains-") else "monitor"
    text = bad_files()[name][1]
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(yaml.safe_load(text), editor_schema(file))


def test_every_key_of_the_table_has_a_description_and_stands_once() -> None:
    rows = reference_table()
    keys = [key for key, _, _, _ in rows]
    assert len(keys) == len(set(keys))
    assert all(kind and description for _, kind, _, description in rows)


def test_defaults_in_the_table_read_back_as_the_defaults(tmp_path: Path) -> None:
    said = {key: default for key, _, default, _ in reference_table()}
    assert said["room.band_hold"] == "30 min"
    assert said["store.commit_every"] == "2 s"
    assert said["recipients[].morning"] == '"07:00"'
    least = (
        "room: {name: R, folder: ., timezone: UTC, band_low: 20, band_high: 25%s}\nchannels: none\n"
    )
    (tmp_path / "monitor.yaml").write_text(least % "" + "store: {path: x}\n", encoding="utf-8")
    without = load_settings(tmp_path, {})
    room = f", band_hold: {said['room.band_hold']}, slope_limit: {said['room.slope_limit']}"
    store = f"commit_every: {said['store.commit_every']}, retention: {said['store.retention']}"
    text = f"{least % room}store: {{path: x, {store}}}\nframes: {{grace: {said['frames.grace']}}}\n"
    (tmp_path / "monitor.yaml").write_text(text, encoding="utf-8")
    assert load_settings(tmp_path, {}) == without


def _lists(data: Any) -> Any:
    """Tuples as lists, as a JSON Schema validator wants them."""
    if isinstance(data, dict):
        return {key: _lists(part) for key, part in data.items()}
    return [_lists(part) for part in data] if isinstance(data, tuple) else data
