"""How long tuning takes: `python -m tests.bench.tune` prints it, nothing asserts it.

24 room-runs of 48 bags each, drawn as in `tests/tune/seasons.py`; 501 thresholds.
"""

from __future__ import annotations

from time import perf_counter

from monitor.judge.strain import Strain
from monitor.review.outcomes import endings
from monitor.review.predict import predict
from monitor.review.scan import Thresholds, first_calls, stretches
from monitor.review.tune import Room, candidates, tune
from monitor.review.tune_score import Costs
from tests.tune.seasons import DAY_S, Plan, season

STRAINS = {"GO-12": Strain("GO-12")}


def main() -> None:
    """Draw, then time each part once."""
    drawn = season(11, Plan())
    tried = candidates(Thresholds.of(STRAINS["GO-12"]))
    began = perf_counter()
    kept = stretches(drawn.accounts, "GO-12", STRAINS)
    laid_out = perf_counter()
    first_calls(kept, tried)
    scanned = perf_counter()
    print(f"{len(kept.bags)} bags, {len(tried)} thresholds:")
    print(f"  evidence laid out in {laid_out - began:.2f} s (once)")
    print(f"  all thresholds on all bags in {scanned - laid_out:.2f} s")
    rooms = []
    for account, book in zip(drawn.accounts, drawn.books, strict=True):
        ends = endings(account.frames[0].bags, book, account.frames[-1].end_s + DAY_S, 30 * DAY_S)
        rooms.append(Room(account, ends, {}))
    began = perf_counter()
    found = tune(rooms, "GO-12", STRAINS, Costs(30.0, 2.0, 4.0))
    print(f"  table, proposal, intervals and runs left out, all in: {perf_counter() - began:.2f} s")
    began = perf_counter()
    predict(drawn.accounts[0], STRAINS.__getitem__)
    print(f"  calls and alarms of one run by the live code: {perf_counter() - began:.2f} s")
    assert found.proposed is not None
    for name, row in (("shipped", found.shipped), ("proposed", found.proposed)):
        print(f"  {name}: {row.thresholds}, {row.false} false, {row.caught} caught, {row.cost:.0f}")


if __name__ == "__main__":
    main()
