"""The store after errors, full disks and power cuts at its file operations."""

from __future__ import annotations

import pytest

from tests.faults.powercut import NO_COMPILER, run_shimmed


def test_nothing_said_to_be_committed_is_lost_whatever_file_operation_fails() -> None:
    """Errors once and for good, a full disk, power cuts, torn writes; all with `powercut`."""
    code, said = run_shimmed(every=9)
    if code == NO_COMPILER:
        pytest.skip("needs a C compiler to build the shim")
    assert code == 0, said


def test_the_sweep_notices_a_store_that_does_not_sync() -> None:
    """A power cut then takes back what was said to be committed."""
    code, said = run_shimmed(every=97, careless=True)
    if code == NO_COMPILER:
        pytest.skip("needs a C compiler to build the shim")
    assert code == 1 and "power cut at operation" in said and "is lost" in said
