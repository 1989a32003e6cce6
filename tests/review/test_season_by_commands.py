"""The season of 600 bags entered through the commands alone; the trace then names both causes."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from itertools import groupby
from pathlib import Path

import pytest

from monitor.cli import main
from monitor.cli.exits import Exit
from monitor.clock import SystemClock
from monitor.review.records import BagRecord
from tests.review.season import (
    BAD_CORNER,
    BAD_JAR_NUMBER,
    BAD_LOAD_SESSION,
    BAD_SESSION,
    BAGS_PER_JAR,
    DAY_S,
    FIRST_S,
    jar,
    load,
    season,
)
from tests.review.storing import settings_folder


def stamp(at_s: float) -> str:
    """A moment as people type it, in London."""
    return datetime.fromtimestamp(at_s, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def commands(records: list[BagRecord], later_s: float) -> Iterator[list[str]]:
    """What a grower would type: each batch in one line, then what became of its bags."""
    for batch, members in groupby(records, key=lambda one: one.batch):
        bags = list(members)
        first = bags[0]
        entered = [
            "batch", "add", batch, first.bag, "--count", str(len(bags)),
            "--strain", first.strain, "--load", first.load, "--session", first.session,
            "--person", first.person, "--recipe", first.recipe, "--mass", "2.3",
            "--inoculated", stamp(first.inoculated_s + later_s), "--pace", "90 s",
        ]  # fmt: skip
        for lot in dict.fromkeys(bag.spawn_lot for bag in bags):
            name, _, number = lot.rpartition("-")
            entered += ["--lot", f"{name}/{number}:{BAGS_PER_JAR}"]
        for bag in bags:
            entered += ["--position", f"{bag.load_position}:1"]
        yield entered
        lost = [bag.bag for bag in bags if bag.lost]
        sound = [bag.bag for bag in bags if not bag.lost]
        at = ["--at", stamp(first.inoculated_s + later_s + 8 * DAY_S)]
        if lost:
            yield ["bag", "pulled", *lost, "--cause", "green mould", "--surely", *at]
        at = ["--at", stamp(first.inoculated_s + later_s + 20 * DAY_S)]
        yield ["bag", "full-run", *sound, *at]


def test_trace_names_jar_and_corner_of_a_season_entered_by_commands(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Fifteen batches, their pulls and full runs, and one question."""
    folder = settings_folder(tmp_path)
    later_s = SystemClock().wall_s() - 130 * DAY_S - FIRST_S
    for words in commands(season(1), later_s):
        assert main([*words, "--config", str(folder)]) == Exit.DONE, capsys.readouterr().err
    capsys.readouterr()
    assert main(["trace", "--config", str(folder)]) == Exit.FOUND
    said = capsys.readouterr().out
    bad_jar = f"{jar(BAD_SESSION, BAD_JAR_NUMBER).rpartition('-')[0]}/J{BAD_JAR_NUMBER}"
    assert f"7 of 8 bags of spawn lot {bad_jar} lost against 24 of 592 others" in said
    assert f"7 of 8 bags of part of load {load(BAD_LOAD_SESSION)}, {BAD_CORNER} lost" in said
    held = ["lot", "hold", bad_jar, "--config", str(folder), "--why", "7 of 8 bags lost"]
    assert f"bagwatt {' '.join(held[:-1])} '{held[-1]}'" in said
    assert main(held) == Exit.DONE
