"""`bagwatt tune STRAIN --normal`, `--learn`, `--export` and `--import`."""

from __future__ import annotations

import argparse
import json
from dataclasses import replace
from pathlib import Path

from pydantic import ValidationError

from monitor.cli.asking import open_card
from monitor.cli.exits import Exit
from monitor.cli.terminal import say, say_error, say_json
from monitor.cli.tuning import plain
from monitor.errors import SettingsError
from monitor.review.lag import lag_of
from monitor.review.normal import (
    Normal,
    as_learned,
    exported,
    imported,
    lag_line,
    normal_line,
    normals,
)
from monitor.review.records import bag_records
from monitor.review.runs import EVERY_S
from monitor.settings.learned import LEARNED_FILE, LearnedStrain, write_learned
from monitor.settings.load import load_learned
from monitor.settings.model import did_you_mean
from monitor.settings.schema import Settings
from monitor.words.quantities import difference, number

MOST_IMPORT_BYTES = 64 * 1024
ANOTHER_ROOM = (
    "learned in another room: its air, racks and bags warm differently, and its thermometers lie"
    " differently; let your own runs replace it"
)


def normal(settings: Settings, arguments: argparse.Namespace) -> Exit:
    """Show what is normal for a strain; learn or export it where that was asked."""
    strain: str = arguments.strain
    known = settings.strains.lookup(strain).known
    found = _learn(settings, strain)
    if found is None:
        hint = did_you_mean(strain, settings.strains.strains) if not known else ""
        say_error(
            f"nothing is normal for {strain} yet: no run of it is finished, with bags that ended"
            f" healthy{hint or '; `bagwatt bag full-run` writes that down'}"
        )
        return Exit.UNUSABLE
    if arguments.json:
        say_json(plain(found))
    else:
        _print(found, settings)
    if not (arguments.learn or arguments.export):
        return Exit.DONE
    try:
        learned = as_learned(found, settings.room.name)
    except ValueError as error:
        say_error(str(error))
        return Exit.UNUSABLE
    if arguments.learn:
        _write(arguments.config, strain, learned)
    if arguments.export:
        text = json.dumps(exported(strain, learned), indent=2, ensure_ascii=False)
        try:
            arguments.export.write_text(text + "\n", encoding="utf-8")
        except OSError as error:
            say_error(f"{arguments.export}: can't be written ({error.strerror}); see its folder")
            return Exit.UNUSABLE
        say(f"wrote {arguments.export}")
    return Exit.DONE


def _learn(settings: Settings, strain: str) -> Normal | None:
    """The normal of the strain out of the store's hourly estimates, every sixth hour of them."""
    with open_card(settings) as store:
        records = bag_records(store)
        last = store.last_frame()
        if last is None or not records:
            return None
        first = int(min(one.inoculated_s for one in records) // EVERY_S)
        looks = [
            pair
            for number in range(first, int(last.end_s // EVERY_S) + 1)
            for pair in store.estimates(number * EVERY_S, number * EVERY_S)
        ]
        names = {one.strain for one in records} | {strain}
        book = settings.strains
        found = normals(sorted(names), book.before_learning, book.parents, records, looks)
        normal = found.get(strain)
        if normal is None or not normal.bags:
            return normal
        sound = [r for r in records if r.strain == strain and not r.lost and not r.alarmed]
        return replace(normal, lag=lag_of(store, sound))


def _print(found: Normal, settings: Settings) -> None:
    say(normal_line(found, settings.room.units))
    if found.scale_sd is not None and found.shift_sd_h is not None:
        say(
            f"bags of one cohort differ by {100 * found.scale_sd:.0f} % in strength and"
            f" {found.shift_sd_h:.0f} h in time"
        )
    if line := lag_line(found):
        say(line)
    for age_d, low, middle, high in found.curve:
        bar = "#" * round(20 * middle / max(found.peak_k, 0.1))
        least, said, most = (difference(one, settings.room.units) for one in (low, middle, high))
        say(f"  day {age_d:3.0f}  {said:>7} ({number(least)} to {number(most)})  {bar}")


def _write(config_dir: Path, strain: str, learned: LearnedStrain) -> None:
    strains = load_learned(config_dir)
    try:
        write_learned(config_dir, {**strains, strain: learned})
    except OSError as error:
        problem = f"{config_dir / LEARNED_FILE}: can't be written ({error.strerror})"
        raise SettingsError(str(config_dir), (problem,)) from error
    say(f"{LEARNED_FILE}: {strain} is expected to run as it did here; a running watch takes it")


def take_normal(config_dir: Path, settings: Settings, path: Path) -> Exit:
    """Take a normal from another farm, with a warning."""
    try:
        if path.stat().st_size > MOST_IMPORT_BYTES:
            raise ValueError("it is too large for what it should be")
        strain, learned = imported(json.loads(path.read_text(encoding="utf-8")))
    except OSError as error:
        say_error(f"{path}: can't be read ({error.strerror})")
        return Exit.UNUSABLE
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        where = ".".join(str(part) for part in first["loc"])
        say_error(f"{path}: {where}: {first['msg']}")
        return Exit.UNUSABLE
    except ValueError as error:
        say_error(f"{path}: {error}")
        return Exit.UNUSABLE
    own = load_learned(config_dir).get(strain)
    if own is not None and own.room == settings.room.name:
        say_error(f"{strain} has a normal of this room already ({own.runs} runs): it is kept")
        return Exit.UNUSABLE
    _write(config_dir, strain, learned)
    if learned.room != settings.room.name:
        say(f"warning: {ANOTHER_ROOM}")
    if not settings.strains.lookup(strain).known:
        say(f"note: {strain} is not in strains.yaml: it takes effect once the strain stands there")
    return Exit.DONE
