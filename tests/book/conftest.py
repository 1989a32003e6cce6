"""A farm in a folder of its own with a batch of forty bags."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.book.farm import BATCH, Farm


@pytest.fixture(scope="session")
def farm_as_entered(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Forty bags of QL-0309, entered by the command once."""
    path = tmp_path_factory.mktemp("farm")
    assert Farm(path).say(*BATCH) == 0
    return path


@pytest.fixture
def farm(farm_as_entered: Path, tmp_path: Path) -> Farm:
    """A copy of that farm to work on."""
    shutil.copytree(farm_as_entered, tmp_path, dirs_exist_ok=True)
    return Farm(tmp_path)
