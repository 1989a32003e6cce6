"""The message on how a room stands: there and back, its schema, and what is refused by name."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from monitor.room_summary import (
    LONGEST_BYTES,
    VERSION,
    AlarmSummary,
    BagCounts,
    LotSummary,
    MonitorHealth,
    RoomAir,
    RoomSummary,
    SummaryFault,
    SummaryRefusedError,
)
from monitor.settings.reference import MESSAGES, message_schema_text
from monitor.terms import AlarmKind, Reason, Urgency

CONFIG = Path(__file__).parents[1] / "config"
SUMMARY = RoomSummary(
    version=VERSION,
    site="Quarry Lane",
    room="Würzraum / hinten",
    instance="5f0c",
    at_s=1_796_000_400.25,
    air=RoomAir(21.5, 20.0, 23.25, 20.0, 24.0, 71.0),
    bags=BagCounts(total=40, now=1, today=1, later=0, calm=38, unheard=2),
    alarms=(
        AlarmSummary(
            "a1", AlarmKind.HOT_BAG, "GO12-017", Urgency.NOW, Reason.ADDED_HEAT, 1.796e9, False
        ),
    ),
    alarms_left_out=0,
    lots=(LotSummary("GO12-G2", "GO-12", "S1", 40, 38, 1, 1, 2, 0, 0.125, False),),
    lots_left_out=0,
    monitor=MonitorHealth(("bench",), 3, 20.5),
    page="https://pi-north.example:8423/",
    every_s=1800.0,
)


def changed(**parts: Any) -> bytes:
    """The message with other parts; one that is ... is left out."""
    body = json.loads(SUMMARY.to_json()) | parts
    return json.dumps({key: part for key, part in body.items() if part is not ...}).encode()


def test_a_summary_comes_back_as_it_went() -> None:
    assert RoomSummary.from_json(SUMMARY.to_json()) == SUMMARY
    assert json.loads(SUMMARY.to_json())["at"] == "2026-11-30T01:00:00.250Z"
    assert RoomSummary.from_json(changed(page=...)).page == ""
    assert RoomSummary.from_json(changed(every_s=...)).every_s == 600.0


@pytest.mark.parametrize("name", MESSAGES)
def test_the_committed_schema_of_a_message_is_what_the_model_says(name: str) -> None:
    committed = (CONFIG / f"room-{name}.schema.json").read_text(encoding="utf-8")
    assert committed == message_schema_text(name), "make it anew: see DEVELOPERS, a setting"


def test_the_schema_takes_a_summary_and_not_one_with_a_wrong_type() -> None:
    schema = json.loads(message_schema_text("standing"))
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(json.loads(SUMMARY.to_json()), schema)
    for wrong in (changed(room=7), changed(version=2), changed(bags=...), changed(more=1)):
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(json.loads(wrong), schema)


@pytest.mark.parametrize(
    ("payload", "reason", "where"),
    [
        (b"", SummaryFault.NOT_JSON, ""),
        (b"\xff\xfe{}", SummaryFault.NOT_JSON, ""),
        (b"[" * 100_000, SummaryFault.NOT_JSON, ""),
        (b"{}" + b" " * LONGEST_BYTES, SummaryFault.TOO_LONG, ""),
        (b"[1]", SummaryFault.DOES_NOT_FIT, ""),
        (changed(version=2), SummaryFault.UNKNOWN_VERSION, "version 2"),
        (changed(version=True), SummaryFault.UNKNOWN_VERSION, "True"),
        (changed(version=..., more=1), SummaryFault.UNKNOWN_VERSION, "no version"),
        (changed(room=7), SummaryFault.DOES_NOT_FIT, "room"),
        (changed(more=1), SummaryFault.DOES_NOT_FIT, "more"),
        (changed(at="2026-11-29T21:40:00"), SummaryFault.DOES_NOT_FIT, "at"),
        (changed(at=1_796_000_400), SummaryFault.DOES_NOT_FIT, "at"),
        (SUMMARY.to_json().replace(b"21.5", b"1e999"), SummaryFault.DOES_NOT_FIT, "air.mean_c"),
        (SUMMARY.to_json().replace(b"21.5", b"NaN"), SummaryFault.DOES_NOT_FIT, "mean_c"),
        (SUMMARY.to_json().replace(b'"now":1', b'"now":-1'), SummaryFault.DOES_NOT_FIT, "bags.now"),
        (SUMMARY.to_json().replace(b"hot bag", b"mould"), SummaryFault.DOES_NOT_FIT, "kind"),
        (changed(page="javascript:alert(1)"), SummaryFault.DOES_NOT_FIT, "page"),
        (changed(page='http://a/" onclick="'), SummaryFault.DOES_NOT_FIT, "page"),
        (changed(page="http://a\n"), SummaryFault.DOES_NOT_FIT, "page"),
        (changed(every_s=0), SummaryFault.DOES_NOT_FIT, "every_s"),
        (changed(every_s=1e9), SummaryFault.DOES_NOT_FIT, "every_s"),
    ],
)
def test_what_is_no_summary_is_refused_by_name(
    payload: bytes, reason: SummaryFault, where: str
) -> None:
    with pytest.raises(SummaryRefusedError) as refused:
        RoomSummary.from_json(payload)
    assert refused.value.reason is reason
    assert where in refused.value.detail
