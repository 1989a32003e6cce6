"""A season of 600 bags entered by the commands alone; `trace` names what went wrong in it."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import UTC, datetime
from itertools import groupby
from pathlib import Path

import pytest

from monitor.cli import main
from monitor.cli.exits import Exit
from monitor.review.records import CONTAMINATED_SURELY, LOST, BagRecord
from tests.review.season import BAD_CORNER, BAD_LOAD_SESSION, bad_jar, load, season
from tests.review.storing import settings_folder


def iso(at_s: float) -> str:
    return datetime.fromtimestamp(at_s, UTC).isoformat()


def commands(bags: list[BagRecord]) -> Iterator[list[str]]:
    """What a farm types for one session: one line for the batch, one for each kind of end."""
    first = bags[0]
    jars = [(lot, len(list(of))) for lot, of in groupby(bags, key=lambda one: one.spawn_lot)]
    head, number = first.bag.rsplit("-", 1)
    last = bags[-1].bag.rsplit("-", 1)[1]
    yield [
        "batch", "add", first.batch, f"{head}-{{{number}..{last}}}", "--strain", first.strain,
        "--mass", f"{first.mass_kg:g}", "--load", first.load, "--session", first.session,
        "--person", first.person, "--recipe", first.recipe,
        "--inoculated", iso(first.inoculated_s), "--pace", "90 s",
        *(word for lot, count in jars for word in ("--lot", f"{lot}:{count}")),
        *(word for one in bags for word in ("--position", f"{one.load_position}:1")),
    ]  # fmt: skip
    lost = [one for one in bags if one.outcome in LOST]
    surely = [one.bag for one in lost if one.outcome == CONTAMINATED_SURELY]
    maybe = [one.bag for one in lost if one.outcome != CONTAMINATED_SURELY]
    sound = [one.bag for one in bags if one.outcome not in LOST]
    at = ["--at", iso(first.inoculated_s + 12 * 86400.0)]
    for codes, words in ((surely, ["--surely"]), (maybe, ["--maybe"])):
        if codes:
            yield ["bag", "pulled", *codes, "--cause", "green mould", *words, *at]
    yield ["bag", "full-run", *sound, "--at", iso(first.inoculated_s + 20 * 86400.0)]


def test_a_season_entered_by_commands_is_traced_to_the_jar_and_the_corner(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Fifteen sessions, some sixty commands, and one question."""
    folder = settings_folder(tmp_path)
    tail = ["--config", str(folder)]
    for _, of_batch in groupby(season(1), key=lambda one: one.batch):
        for words in commands(list(of_batch)):
            assert main([*words, *tail, "--by", "Ida"]) == Exit.DONE, words[:3]
    capsys.readouterr()
    assert main(["trace", *tail, "--since", "3000 d", "--json"]) == Exit.FOUND
    levels = [one["level"] for one in json.loads(capsys.readouterr().out)["findings"]]
    assert bad_jar() in levels
    assert any(load(BAD_LOAD_SESSION) in level and BAD_CORNER in level for level in levels)
    assert len(levels) == 2
