"""python -m tests.fuzz.run [--count N] [--seed S]: the long run, with its figures at the end.

One settings file and one room's folder are spoiled for every thousand payloads.
"""

from __future__ import annotations

import faulthandler
import random
import resource
import sys
import time
from collections import Counter
from pathlib import Path
from tempfile import TemporaryDirectory

from demo.command import parser_for
from monitor.errors import FolderError, SettingsError
from monitor.settings.load import load_settings
from monitor.sources.folder import iter_readings, read_folder
from monitor.sources.lines import LineAssembler
from tests.fuzz.mutate import KNOWN, Mutator, drawn_by_hypothesis
from tests.fuzz.targets import decoders, sound

CONFIG = Path(__file__).resolve().parents[2] / "config"
HANG_S = 60.0
PIECES_S = 500  # inputs between two looks at the memory


class Tally:
    """What came of it all."""

    def __init__(self) -> None:
        self.answers: Counter[str] = Counter()
        self.longest_s = 0.0
        self.longest = b""


def fuzz_decoders(count: int, seed: int, tally: Tally) -> None:
    """Payloads and lines, each to one decoder; every answer is checked and counted."""
    chance = random.Random(seed)
    drawn = drawn_by_hypothesis(60)
    table = [
        (name, decode, Mutator(seed + place, KNOWN.get(name, (b"",)), drawn))
        for place, (name, decode) in enumerate(decoders().items())
    ]
    assembler = LineAssembler(512)
    for number in range(count):
        name, decode, mutator = table[chance.randrange(len(table))]
        raw = mutator.next()
        began_s = time.thread_time()
        decoded = decode(raw)
        took_s = time.thread_time() - began_s
        assert sound(decoded), (name, raw)
        for line in assembler.feed(raw):
            assert len(line) <= 513
        assembler.take_overlong()
        if took_s > tally.longest_s:
            tally.longest_s, tally.longest = took_s, raw[:60]
        tally.answers["read"] += len(decoded.readings)
        tally.answers.update(str(one.reason) for one in decoded.refused)
        if number % PIECES_S == 0:
            faulthandler.dump_traceback_later(HANG_S, exit=True)
    faulthandler.cancel_dump_traceback_later()  # or it would end whoever called, a minute on


def fuzz_settings(count: int, seed: int, tally: Tally) -> None:
    """The sample settings, spoiled: loaded, or every fault with its place."""
    texts = [(CONFIG / name).read_bytes() for name in ("monitor.yaml", "strains.yaml")]
    mutator = Mutator(seed, texts)
    with TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "room").mkdir()
        for number in range(count):
            spoiled = mutator.next() if number % 2 else b"\n".join((mutator.next(), mutator.next()))
            (folder / "monitor.yaml").write_bytes(spoiled)
            (folder / "strains.yaml").write_bytes(mutator.next())
            try:
                load_settings(folder, {})
                tally.answers["settings loaded"] += 1
            except SettingsError as error:
                assert error.problems
                tally.answers["settings refused"] += 1
            faulthandler.dump_traceback_later(HANG_S, exit=True)
    faulthandler.cancel_dump_traceback_later()


def fuzz_folders(count: int, seed: int, tally: Tally) -> None:
    """A room's folder, spoiled: rows skipped with their line, or one error for the whole."""
    names = ("bags.csv", "probes.csv", "readings.csv", "walks.csv", "book.csv")
    sound_files = {
        "bags.csv": (CONFIG / "room" / "bags.csv").read_bytes(),
        "probes.csv": (CONFIG / "room" / "probes.csv").read_bytes(),
        "readings.csv": b"time,probe,quantity,value,unit\n"
        + b"2026-03-09T10:05:00Z,p-b017,temperature,23.4,Cel\n" * 5,
        "walks.csv": b"time,bag,value,unit\n2026-03-10T09:00:00Z,GO12-017,24.1,Cel\n" * 2,
        "book.csv": b"time,bag,event,detail\n2026-03-10T09:00:00Z,GO12-017,shaken,\n" * 2,
    }
    mutators = {name: Mutator(seed, [sound_files[name]]) for name in names}
    with TemporaryDirectory() as where:
        folder = Path(where)
        for _ in range(count):
            for name in names:
                (folder / name).write_bytes(mutators[name].next())
            try:
                found = read_folder(folder)
                tally.answers["rows of readings"] += sum(1 for _ in iter_readings(found))
                tally.answers["rows skipped"] += len(found.skips.rows)
                tally.answers["folders read"] += 1
            except FolderError:
                tally.answers["folders refused"] += 1
            faulthandler.dump_traceback_later(HANG_S, exit=True)
    faulthandler.cancel_dump_traceback_later()


def main() -> int:
    parser = parser_for("tests.fuzz.run", __doc__)
    parser.add_argument("--count", type=int, default=1_000_000)
    parser.add_argument("--seed", type=int, default=1)
    words = parser.parse_args()
    tally = Tally()
    fuzz_decoders(words.count // 20, words.seed, tally)  # warm: what follows should not grow
    before_kib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    began_s = time.perf_counter()
    fuzz_decoders(words.count, words.seed + 1, tally)
    took_s = time.perf_counter() - began_s
    grown_kib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before_kib
    fuzz_settings(words.count // 1000, words.seed, tally)
    fuzz_folders(words.count // 1000, words.seed, tally)
    print(
        f"{words.count} payloads and lines in {took_s:.0f} s: {words.count / took_s:.0f} a second"
    )
    print(f"longest {tally.longest_s * 1e3:.1f} ms of CPU, memory grew by {grown_kib} KiB")
    for answer, times in tally.answers.most_common():
        print(f"{times:10d}  {answer}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
