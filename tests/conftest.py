"""Shared rooms: a small invented one for every test, the practice ones where they lie about."""

from __future__ import annotations

import os

# As the command does: sums in several threads differ in their last digit, and a rebuilt run
# must be equal to the recorded one. It works only before numpy is first imported.
os.environ["OPENBLAS_NUM_THREADS"] = "1"

import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from demo.faults import ProbeFault
from demo.folder import write_folder
from demo.rooms import DAY_S, FIRST, START_S, make_room
from tests.broker import Broker, running_broker

ROOT = Path(__file__).resolve().parent.parent
#: Where there is enough of it the files of tests lie in memory: a commit waits for the disk, and
#: on a busy machine most of the suite's time would go into that.
MEMORY, ENOUGH_BYTES = Path("/dev/shm"), 2 * 2**30
if os.access(MEMORY, os.W_OK) and shutil.disk_usage(MEMORY).free > ENOUGH_BYTES:
    os.environ.setdefault("PYTEST_DEBUG_TEMPROOT", str(MEMORY))


#: Files whose fixtures take longest: begun first, so that no worker is left alone with them.
LONGEST = ("test_whole_road.py", "test_practice_rooms.py")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    items.sort(key=lambda item: item.path.name not in LONGEST)


@pytest.fixture(scope="session", autouse=True)
def runtime_directory(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Spare stores of failing ones are kept here, and go with the test's other files."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("RUNTIME_DIRECTORY", str(tmp_path_factory.mktemp("runtime")))
        yield


@pytest.fixture
def tmp_path(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Path]:
    """As pytest's own; for a test marked `on_disk` a folder where a commit waits for a disk."""
    if request.node.get_closest_marker("on_disk") is None:
        yield tmp_path
    else:
        with TemporaryDirectory(prefix="bagwatt-") as name:
            yield Path(name)


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    """A mosquitto of its own for each test that asks."""
    where = tmp_path / "mosquitto"
    where.mkdir()
    with running_broker(where) as broker:
        yield broker


@pytest.fixture
def medium(tmp_path: Path) -> Iterator[Path]:
    """A folder on another device than the test's files, as a stick would be: in memory."""
    other = Path("/dev/shm")
    if not other.is_dir() or other.stat().st_dev == tmp_path.stat().st_dev:
        pytest.skip("needs a second file system, such as /dev/shm beside a disk")
    with TemporaryDirectory(dir=other) as name:
        yield Path(name)


@pytest.fixture(scope="session")
def small_room(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Five days of sixteen bags of two strains; one with added heat, one probe that falls."""
    trouble = replace(
        FIRST.trouble,
        contaminated=0.06,
        added_age_h=(46.0, 52.0),
        added_k=(3.5, 4.5),
        run_chance=0.0,
        lot_chance=0.0,
        stalled=0.0,
        fell=0,
        stuck=0,
        silent=0,
        heater_stuck_chance=0.0,
    )
    spec = replace(
        FIRST,
        name="small",
        lines=FIRST.lines[:2],
        bags_per_cohort=8,
        days=5.0,
        session_days=(0.25,),
        trouble=trouble,
    )
    seed = next(seed for seed in range(100) if len(make_room(spec, seed).hot) == 1)
    room = make_room(spec, seed)
    cold = next(bag for bag in range(room.count) if bag not in room.hot)
    fell = ProbeFault("fell", cold, START_S + 3.1 * DAY_S)
    path = tmp_path_factory.mktemp("small-room")
    write_folder(replace(room, probe_faults=(fell,)), path)
    return path


def shared(name: str) -> Path:
    """A folder of the shared practice rooms or data; the test skips where it is not there."""
    base = Path(os.environ.get("BAGWATT_SHARED", ROOT.parent / "shared"))
    path = base / name
    if not path.exists():
        pytest.skip(f"no {name} in {base}: set BAGWATT_SHARED to the folder that has it")
    return path
