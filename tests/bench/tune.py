"""How long tuning takes: prints seconds of CPU, nothing asserts them.

    python -m tests.bench.tune

24 room-runs of 48 bags each, drawn as in `tests/tune/seasons.py`; 501 thresholds.
"""

from __future__ import annotations

from time import process_time

from demo.command import parser_for
from monitor.judge.strain import Strain
from monitor.review.outcomes import endings
from monitor.review.predict import predict
from monitor.review.scan import Thresholds, first_calls, stretches
from monitor.review.tune import Room, candidates, tune
from monitor.review.tune_heat import candidates as heat_candidates
from monitor.review.tune_heat import tune_heat
from monitor.review.tune_score import Costs
from tests.tune import heats
from tests.tune.seasons import DAY_S, Plan, season

STRAINS = {"GO-12": Strain("GO-12")}


def main() -> None:
    """Draw, then time each part once."""
    parser_for("tests.bench.tune", __doc__).parse_args()
    drawn = season(11, Plan())
    tried = candidates(Thresholds.of(STRAINS["GO-12"]))
    began = process_time()
    kept = stretches(drawn.accounts, "GO-12", STRAINS)
    laid_out = process_time()
    first_calls(kept, tried)
    scanned = process_time()
    print(f"{len(kept.bags)} bags, {len(tried)} thresholds:")
    print(f"  evidence laid out in {laid_out - began:.2f} s (once)")
    print(f"  all thresholds on all bags in {scanned - laid_out:.2f} s")
    rooms = []
    for account, book in zip(drawn.accounts, drawn.books, strict=True):
        ends = endings(account.frames[0].bags, book, account.frames[-1].end_s + DAY_S, 30 * DAY_S)
        rooms.append(Room(account, ends, {}))
    began = process_time()
    found = tune(rooms, "GO-12", STRAINS, Costs(30.0, 2.0, 4.0))
    print(f"  table, proposal, intervals and runs left out, all in: {process_time() - began:.2f} s")
    began = process_time()
    predict(drawn.accounts[0], STRAINS.__getitem__)
    print(f"  calls and alarms of one run by the live code: {process_time() - began:.2f} s")
    warm, _ = heats.season(3, 24, 12, heats.LIMITS)
    began = process_time()
    limits = heats.AnyStrain(heats.LIMITS)
    heat = tune_heat(warm, "GO-12", limits, Costs(30.0, 2.0, 4.0))
    near = heat.cooked + heat.present.healthy
    tried = len(heat_candidates(heats.LIMITS))
    spent = process_time() - began
    print(f"  {tried} sets of core limits on {near} bags near one, all in: {spent:.2f} s")
    assert found.proposed is not None
    for name, row in (("shipped", found.shipped), ("proposed", found.proposed)):
        print(f"  {name}: {row.thresholds}, {row.false} false, {row.caught} caught, {row.cost:.0f}")


if __name__ == "__main__":
    main()
