"""The API against its own description, driven by schemathesis with good and bad input."""

from __future__ import annotations

from collections.abc import Callable

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings

from tests.page.conftest import HOT, Served

Serve = Callable[..., Served]

FEW = settings(
    max_examples=12, deadline=None, database=None, derandomize=True,
    suppress_health_check=list(HealthCheck),
)  # fmt: skip


def test_api_answers_as_described_whatever_it_is_sent(serve: Serve) -> None:
    """Every operation, with data that fits the description and data that does not."""
    served = serve()
    client = served.visit()
    token = client.get("/api/me").json()["token"]
    visit = client.cookies["bagwatt_visit"]
    headers = {"x-form-token": token, "cookie": f"bagwatt_visit={visit}"}
    schema = schemathesis.openapi.from_url(f"{served.address}api/openapi.json")
    tried = []

    for operation in schema.get_all_operations():
        call = operation.ok()

        @FEW
        @given(case=call.as_strategy())
        def drive(case: schemathesis.Case) -> None:
            case.headers = headers
            answer = case.call()
            case.validate_response(answer)
            tried.append((case.method, case.path, answer.status_code))

        drive()
    assert {path for _, path, _ in tried} == set(schema.raw_schema["paths"])
    assert {status for _, path, status in tried if path == "/api/walk"} >= {200}


@pytest.mark.parametrize(
    "body",
    [
        b"", b"[]", b"null", b"{", b'"text"', b"\xff", b"[" * 60_000, b'{"readings": {}}',
        b'{"readings": []}', b'{"readings": [null]}', b'{"readings": [{"key": 1}]}',
        b'{"readings": [{"key":"k","bag":"B017","typed":"23","age_s":1e400}]}',
        b'{"readings": [{"key":"k","bag":"B017","typed":"23","age_s":true}]}',
        b'{"readings": [{"key":"k","bag":"B017","typed":"23","age_s":NaN}]}',
        b'{"readings": [{"key":"k","bag":"B017","typed":"23","units":"K"}]}',
        rb'{"readings": [{"key":"\ud800","bag":"B017","typed":"23"}]}',
        rb'{"readings": [{"key":"k","bag":"\ud800","typed":"23"}]}',
    ],
    ids=range(17),
)  # fmt: skip
def test_walk_refuses_bodies_that_are_none(serve: Serve, body: bytes) -> None:
    client = serve().visit()
    head = {"x-form-token": client.get("/api/me").json()["token"]}
    answer = client.post("/api/walk", content=body, headers=head)
    if answer.status_code == 200:
        assert [one["state"] for one in answer.json()["readings"]] == ["refused"]
    else:
        assert answer.status_code == 400
        assert answer.json()["status"] == 400


def test_room_names_every_bag_with_its_state(serve: Serve) -> None:
    bags = serve().visit().get("/api/room").json()["bags"]
    assert len(bags) == 24
    hot = next(one for one in bags if one["bag"] == HOT)
    assert hot["state"] == "hot" and hot["excess_k"] > 1.0


def test_bag_gives_its_course_and_its_neighbours(serve: Serve) -> None:
    answer = serve().visit().get(f"/api/bag/{HOT}").json()
    assert 48 <= len(answer["hours"]) <= 96
    last = answer["hours"][-1]
    assert last["surface_c"] > last["explained_c"] > last["air_c"] - 1.0
    assert answer["reason"] == "added heat"
    assert answer["next_slot"]
