"""A small share of the long fuzz run, every time: no crash, no hang, every refusal named."""

from __future__ import annotations

import pytest

from monitor.values import Decoded, Refusal
from tests.fuzz import run
from tests.fuzz.mutate import KNOWN, Mutator
from tests.fuzz.run import Tally, fuzz_decoders, fuzz_folders, fuzz_settings


def test_spoiled_payloads_and_lines_are_read_or_refused_by_name() -> None:
    tally = Tally()
    fuzz_decoders(12_000, 7, tally)
    assert tally.answers["read"] > 500
    reasons = set(tally.answers) - {"read"}
    assert reasons <= {str(one) for one in Refusal}
    assert len(reasons) >= 12  # the mutations reach most of what can be wrong


def test_spoiled_settings_are_loaded_or_refused_with_their_faults() -> None:
    tally = Tally()
    fuzz_settings(40, 7, tally)
    assert tally.answers["settings refused"] > 10


def test_spoiled_folders_are_read_or_refused() -> None:
    tally = Tally()
    fuzz_folders(40, 7, tally)
    assert tally.answers["folders read"] + tally.answers["folders refused"] == 40
    assert tally.answers["rows skipped"]


def test_the_same_seed_spoils_the_same() -> None:
    one, two = (Mutator(3, KNOWN["senml"]) for _ in range(2))
    assert [one.next() for _ in range(500)] == [two.next() for _ in range(500)]


def test_the_fuzz_run_catches_a_decoder_that_answers_nothing(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(run, "decoders", lambda: {"mute": lambda raw: Decoded()})
    with pytest.raises(AssertionError, match="mute"):
        fuzz_decoders(10, 7, Tally())
