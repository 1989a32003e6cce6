"""Background loss: rates, who is counted, and whether a season or supplier changed it."""

from __future__ import annotations

from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest
import scipy.stats

from monitor.review.loss import Change, Loss, loss, season_of
from monitor.review.records import CONTAMINATED_SURELY, HEALTHY, UNKNOWN, BagRecord
from tests.review.season import DAY_S, FIRST_S, season

ZONE = ZoneInfo("Europe/London")
LATE_S = FIRST_S + 400 * DAY_S


def seen(records: list[BagRecord], now_s: float = LATE_S) -> Loss:
    return loss(records, now_s, ZONE, lambda strain: 21 * DAY_S)


def change(found: Loss, group: str) -> Change:
    return next(one for one in found.changes if one.group == group)


def bags(day: float, lost: int, count: int, supplier: str) -> list[BagRecord]:
    made = BagRecord(
        "", "QL-1", "GO-12", "J1", FIRST_S + day * DAY_S, 2.3,
        supplier=supplier, outcome=HEALTHY, standing=False,
    )  # fmt: skip
    return [
        replace(
            made,
            bag=f"{supplier}-{day:g}-{i}",
            outcome=CONTAMINATED_SURELY if i < lost else HEALTHY,
        )
        for i in range(count)
    ]


def test_rates_of_all_groups_add_up_to_the_total() -> None:
    """Every ripe bag is of one strain, lot, load, month, season."""
    found = seen(season(3))
    for name in ("strain", "spawn lot", "load", "month", "season"):
        assert sum(one.bags for one in found.by[name]) == found.total.bags == 600
        assert sum(one.lost for one in found.by[name]) == found.total.lost
    assert all(one.low <= one.share <= one.high for one in found.by["load"])


def test_young_bags_are_left_out_whatever_became_of_them() -> None:
    """An early loss among bags still standing is no rate yet."""
    young = bags(100, 3, 3, "Ash Mill")
    standing = [replace(one, outcome=UNKNOWN, standing=True) for one in bags(100, 0, 37, "Ash")]
    found = seen(bags(0, 2, 40, "Ash Mill") + young + standing, FIRST_S + 110 * DAY_S)
    assert (found.total.lost, found.total.bags, found.young) == (2, 40, 40)


def test_seasons_follow_the_months_and_winter_keeps_the_year_it_began_in() -> None:
    """January belongs to the winter of the year before."""
    assert season_of(FIRST_S, ZONE) == "winter 2025"
    assert season_of(FIRST_S + 90 * DAY_S, ZONE) == "spring 2026"


def test_a_new_supplier_that_doubles_the_loss_is_told_within_seasons() -> None:
    """12 of 200 against 40 of 200, both in both seasons: supplier, and not the season."""
    records = bags(0, 6, 100, "Ash Mill") + bags(90, 6, 100, "Ash Mill")
    records += bags(1, 20, 100, "Low Wood") + bags(91, 20, 100, "Low Wood")
    found = seen(records)
    new = change(found, "Low Wood")
    expected = scipy.stats.fisher_exact([[40, 160], [12, 188]]).pvalue
    assert new.chance == pytest.approx(expected, rel=1e-9)
    assert new.adjusted < 0.001
    assert new.beside < 0.001
    assert new.odds_low > 1
    assert change(found, "spring 2026").adjusted > 0.9


def test_a_supplier_that_came_with_the_spring_can_not_be_told_from_it() -> None:
    """Held beside the season nothing is left to compare: the chance is 1."""
    records = bags(0, 6, 100, "Ash Mill") + bags(90, 20, 100, "Low Wood")
    new = change(seen(records), "Low Wood")
    assert new.adjusted < 0.05
    assert new.beside == 1.0


def test_one_supplier_and_one_season_ask_no_question() -> None:
    """Nothing to compare with."""
    assert seen(bags(0, 2, 40, "Ash Mill")).changes == ()
