from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import threading
from hashlib import blake2b
from pathlib import Path

import pytest

from monitor.errors import StoreCorrupt, StoreError, StoreTooNew
from monitor.store import Store, database, open_reader, seen, set_aside
from tests.store.samples import arrival, reading

pytestmark = pytest.mark.on_disk

ROOT = Path(__file__).resolve().parents[2]
SECOND = ("0002_more", "CREATE TABLE more (x TEXT DEFAULT 'a;b');\nINSERT INTO more VALUES ('1');")


def pragma(path: Path, name: str) -> object:
    with sqlite3.connect(path) as connection:
        return connection.execute(f"PRAGMA {name}").fetchone()[0]


def test_a_new_store_is_wal_owned_by_us_and_private(tmp_path: Path) -> None:
    path = tmp_path / "deep" / "store.db"
    with Store.open(path, 7.0) as store, store.transaction() as connection:
        assert connection.execute("PRAGMA synchronous").fetchone()[0] == 2  # FULL
        assert connection.execute("SELECT number, at_s FROM migrations").fetchall()[0] == (1, 7.0)
        assert {part.stat().st_mode & 0o777 for part in path.parent.iterdir()} == {0o600}
    assert pragma(path, "journal_mode") == "wal"
    assert pragma(path, "application_id") == database.APPLICATION_ID


def test_a_store_open_to_others_is_closed_to_them(tmp_path: Path) -> None:
    path = tmp_path / "store.db"
    Store.open(path, 0.0).close()
    path.chmod(0o644)
    Store.open(path, 0.0).close()
    assert path.stat().st_mode & 0o777 == 0o600


@pytest.mark.parametrize("opener", [lambda path: Store.open(path, 0.0), open_reader])
def test_a_store_of_a_newer_bagwatt_is_refused_with_what_to_do(tmp_path: Path, opener) -> None:
    path = tmp_path / "store.db"
    Store.open(path, 0.0).close()
    with sqlite3.connect(path) as connection:
        connection.execute("PRAGMA user_version = 99")
    with pytest.raises(StoreTooNew, match=r"newer bagwatt \(shape 99.*upgrade bagwatt"):
        opener(path)


def test_the_database_of_another_program_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "other.db"
    with sqlite3.connect(path) as connection:
        connection.execute("CREATE TABLE recipes (name)")
    with pytest.raises(StoreError, match="another program"):
        Store.open(path, 0.0)
    assert pragma(path, "journal_mode") == "delete"


def test_a_migration_runs_once_and_keeps_what_was_there(tmp_path: Path) -> None:
    path = tmp_path / "store.db"
    with Store.open(path, 0.0) as store:
        store.add_batch([arrival(reading())])
    connection = database.open_database(path, 0.0)
    first = connection.execute("PRAGMA user_version").fetchone()[0]
    scripts = [("", "")] * first + [SECOND]
    database.migrate(connection, 8.0, scripts)
    database.migrate(connection, 9.0, scripts)
    assert connection.execute("SELECT x FROM more").fetchall() == [("1",)]
    done = "SELECT name, at_s FROM migrations WHERE number > ?"
    assert connection.execute(done, (first,)).fetchall() == [("0002_more", 8.0)]
    assert connection.execute("SELECT count(*) FROM readings").fetchone() == (1,)


def test_a_migration_that_fails_leaves_nothing_behind(tmp_path: Path) -> None:
    connection = database.open_database(tmp_path / "store.db", 0.0)
    before = connection.execute("PRAGMA user_version").fetchone()[0]
    broken = ("0002_broken", "CREATE TABLE half (x);\nINSERT INTO nowhere VALUES (1);")
    with pytest.raises(sqlite3.OperationalError):
        database.migrate(connection, 0.0, [("", "")] * before + [broken])
    assert connection.execute("PRAGMA user_version").fetchone()[0] == before
    tables = connection.execute("SELECT name FROM sqlite_master WHERE name = 'half'").fetchall()
    assert tables == []


def test_keys_written_singly_by_an_older_bagwatt_are_still_known(tmp_path: Path) -> None:
    path = tmp_path / "store.db"
    keys = [f"d{number}" for number in range(seen.KEPT)]
    link = sqlite3.connect(path, isolation_level=None)
    database.migrate(link, 0.0, database._migrations()[:4])
    link.executemany(
        "INSERT INTO seen (source, key) VALUES ('barn', ?)",
        [(blake2b(key.encode(), digest_size=8).digest(),) for key in keys],
    )
    link.close()
    with Store.open(path, 0.0) as store:
        new = store.add_batch([arrival(reading(), dedup=key) for key in ("new", *keys)])
        assert new == [[1], *[[]] * seen.KEPT]
        assert store.add_batch([arrival(reading(), dedup=keys[1])]) == [[]]


def test_bytes_that_are_no_database_are_called_damaged(tmp_path: Path) -> None:
    path = tmp_path / "store.db"
    path.write_bytes(b"not a database at all" * 200)
    with pytest.raises(StoreCorrupt, match="damaged"):
        Store.open(path, 0.0)


def test_a_scribbled_page_is_found_at_the_start_and_the_store_is_moved_aside(
    tmp_path: Path,
) -> None:
    path = tmp_path / "store.db"
    with Store.open(path, 0.0) as store:
        store.add_batch([arrival(reading(value, value)) for value in range(2000)])
    with path.open("r+b") as file:
        file.seek(path.stat().st_size // 2)
        file.write(os.urandom(20_000))
    with pytest.raises(StoreCorrupt, match="move it aside"):
        Store.open(path, 0.0)
    first = set_aside(path, 1_800_000_000.0)
    assert first.name == "store.db.damaged-20270115T080000Z"
    with Store.open(path, 0.0) as store:
        assert store.counts().readings == 0
    assert set_aside(path, 1_800_000_000.0).name.endswith("Z-2")


def test_no_store_to_read_is_said_so(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="no store there yet; start `bagwatt watch` first"):
        open_reader(tmp_path / "none.db")


def test_a_folder_that_can_t_be_made_is_a_clear_error(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(StoreError, match="check the folder"):
        Store.open(tmp_path / "file" / "store.db", 0.0)


def test_a_full_disk_undoes_the_batch_and_leaves_the_store_usable(tmp_path: Path) -> None:
    store = Store.open(tmp_path / "store.db", 0.0)
    store.add_batch([arrival(reading(), dedup="kept")])
    with store.transaction() as connection:
        pages = connection.execute("PRAGMA page_count").fetchone()[0]
        connection.execute(f"PRAGMA max_page_count = {pages + 2}")
    many = [arrival(reading(value, value), dedup=f"d{value}") for value in range(3000)]
    with pytest.raises(StoreError, match="free some space"):
        store.add_batch(many)
    with store.transaction() as connection:
        connection.execute("PRAGMA max_page_count = 1000000")
    assert store.counts().readings == 1
    assert store.add_batch(many) == [[number] for number in range(2, 3002)]


def test_a_reader_can_t_write_and_sees_what_is_committed(tmp_path: Path) -> None:
    path = tmp_path / "store.db"
    with Store.open(path, 0.0) as store, open_reader(path) as reader:
        with store.transaction():
            store.add_batch([arrival(reading())])
            assert reader.last_reading_id() == 0
        assert reader.last_reading_id() == 1
        with pytest.raises(StoreError, match="readonly"):
            Store(path, reader._connection).add_note(0.0, "start", "")


def test_two_writers_take_turns(tmp_path: Path) -> None:
    path = tmp_path / "store.db"
    Store.open(path, 0.0).close()

    def write(name: str) -> None:
        with Store.open(path, 0.0) as store:
            for number in range(50):
                store.add_note(number, "test", name)

    threads = [threading.Thread(target=write, args=(name,)) for name in "abc"]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with open_reader(path) as reader:
        assert len(reader.notes()) == 150


def test_kill_9_at_any_moment_loses_nothing_that_was_acknowledged(tmp_path: Path) -> None:
    path = tmp_path / "store.db"
    said = 0
    for round_number in range(5):
        process = subprocess.Popen(
            [sys.executable, "-m", "tests.store.writer", str(path), str(said + 1)],
            cwd=ROOT, stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        assert process.stdout is not None
        for _ in range(20 + 17 * round_number):
            said = int(process.stdout.readline())
        process.send_signal(signal.SIGKILL)
        rest = process.stdout.read().split()
        process.wait()
        said = int(rest[-1]) if rest else said
        assert pragma(path, "integrity_check") == "ok"
        with Store.open(path, 0.0) as store:
            stored = [one.value for _, one in store.readings_after(0, store.last_reading_id())]
            assert stored[:said] == list(range(1, said + 1))
            # At most the one transaction that was committed but not yet said.
            assert len(stored) <= said + 1
            # A reading, its close and its message were one transaction.
            assert store.counts().frames == len(stored) == len(store.outbox(limit=10_000))
            said = len(stored)
