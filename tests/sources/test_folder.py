"""The folder format: what is read, what is skipped and named, what is one clear error."""

from __future__ import annotations

import gzip
from pathlib import Path

import pytest

from monitor.errors import FolderError
from monitor.sources.folder import iter_readings, read_folder

BAGS = """\
bag,batch,strain,spawn_lot,inoculated,mass_kg,rack,shelf,slot,probe,load,colour
B1,b,GO-12,J4,2026-03-02T06:00:00Z,2.4,R1,3,0,p1,L31,grey
B2,b,GO-12,J4,2026-03-02T06:00:00Z,2.3,R1,1,1,p2,L31,
"""
PROBES = "probe,place,rack,shelf\nair0,air,R1,1\np1,bag:B1,R1,3\n"
READINGS = "time,probe,quantity,value,unit\n"


def folder(tmp_path: Path, **files: str) -> Path:
    """A folder with the given files; `readings` stands for readings.csv."""
    for name, text in {"bags": BAGS, "probes": PROBES, "readings": READINGS, **files}.items():
        (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
    return tmp_path


def test_folder_reads_bags_with_extra_columns_kept(tmp_path: Path) -> None:
    """Named extras get their place, unknown ones are kept as they are."""
    read = read_folder(folder(tmp_path))
    assert read.bags["B1"].load == "L31"
    assert read.bags["B1"].extra == {"colour": "grey"}
    assert read.bags["B1"].cohort == read.bags["B2"].cohort
    assert read.probes["p1"].bag == "B1" and read.probes["air0"].in_air


@pytest.mark.parametrize(
    ("unit", "value", "celsius"),
    [("Cel", "23.5", 23.5), ("degF", "74.3", 23.5), ("K", "296.65", 23.5)],
)
def test_folder_turns_units_into_celsius(
    tmp_path: Path, unit: str, value: str, celsius: float
) -> None:
    """°F and K become °C; the raw value stays beside it."""
    row = f"2026-03-02T06:00:00Z,p1,temperature,{value},{unit}\n"
    (reading,) = iter_readings(read_folder(folder(tmp_path, readings=READINGS + row)))
    assert reading.value == pytest.approx(celsius)
    assert reading.raw == float(value) and reading.raw_unit == unit


@pytest.mark.parametrize(
    ("row", "reason"),
    [
        ("yesterday,p1,temperature,23,Cel", "bad time"),
        ("2026-03-02T06:00:00Z,p1,temperature,warm,Cel", "not a number"),
        ("2026-03-02T06:00:00Z,p1,temperature,nan,Cel", "not a number"),
        ("2026-03-02T06:00:00Z,p1,temperature,1e999,Cel", "not a number"),
        ("2026-03-02T06:00:00Z,p1,temperature,1_0,Cel", "not a number"),
        ("2026-03-02T06:00:00Z,p1,pressure,23,Cel", "unknown quantity"),
        ("2026-03-02T06:00:00Z,p1,temperature,23,%RH", "unknown unit"),
        ("2026-03-02T06:00:00Z,p1,temperature,23", "wrong number of fields"),
        ("2026-03-02T06:00:00Z,p1,temperature,23,C\0", "not CSV"),
    ],
)
def test_folder_skips_and_names_a_bad_row(tmp_path: Path, row: str, reason: str) -> None:
    """The row is counted with its line; the rows around it are read."""
    good = "2026-03-02T06:10:00Z,p1,temperature,23,Cel\n"
    read = read_folder(folder(tmp_path, readings=f"{READINGS}{good}{row}\n{good}"))
    assert len(list(iter_readings(read))) == 2
    assert read.skips.counts == {reason: 1}
    assert (read.skips.rows[0].file, read.skips.rows[0].line) == ("readings.csv", 3)


def test_folder_skips_a_bag_of_impossible_mass(tmp_path: Path) -> None:
    """A slip such as 2400 is named, not believed."""
    read = read_folder(folder(tmp_path, bags=BAGS.replace(",2.4,", ",2400,")))
    assert list(read.bags) == ["B2"]
    assert read.skips.counts == {"mass out of range": 1}


@pytest.mark.parametrize("name", ["bags", "probes"])
def test_folder_without_a_needed_file_is_one_error(tmp_path: Path, name: str) -> None:
    """The error names the file."""
    path = folder(tmp_path)
    (path / f"{name}.csv").unlink()
    with pytest.raises(FolderError, match=f"{name}.csv is missing"):
        read_folder(path)


def test_folder_without_a_needed_column_is_one_error(tmp_path: Path) -> None:
    """The error names file, line and column."""
    with pytest.raises(FolderError, match=r"bags.csv:1: column mass_kg is missing"):
        read_folder(folder(tmp_path, bags=BAGS.replace("mass_kg", "mass")))


def test_folder_reads_compressed_readings_and_a_byte_order_mark(tmp_path: Path) -> None:
    """`.gz` is found by itself and spreadsheets' marks do no harm."""
    path = folder(tmp_path, bags="\ufeff" + BAGS)
    (path / "readings.csv").unlink()
    row = "2026-03-02T06:00:00Z,p1,temperature,23,Cel\r\n"
    (path / "readings.csv.gz").write_bytes(gzip.compress((READINGS + row).encode()))
    assert len(list(iter_readings(read_folder(path)))) == 1


def test_a_truncated_gzip_is_one_error(tmp_path: Path) -> None:
    """A copy that was cut off is told as such."""
    path = folder(tmp_path)
    (path / "readings.csv").unlink()
    whole = gzip.compress(
        (READINGS + "2026-03-02T06:00:00Z,p1,temperature,23,Cel\n" * 500).encode()
    )
    (path / "readings.csv.gz").write_bytes(whole[: len(whole) // 2])
    with pytest.raises(FolderError, match="can't be read"):
        list(iter_readings(read_folder(path)))


def test_a_gzip_that_is_spoiled_anywhere_is_one_error(tmp_path: Path) -> None:
    path = folder(tmp_path)
    (path / "bags.csv").unlink()
    whole = gzip.compress((BAGS * 50).encode())
    for place in range(10, len(whole)):
        spoiled = bytearray(whole)
        spoiled[place] ^= 0xFF
        (path / "bags.csv.gz").write_bytes(spoiled)
        with pytest.raises(FolderError):
            read_folder(path)


def test_a_shelf_no_number_can_hold_is_skipped(tmp_path: Path) -> None:
    """In the book it would end every close of a frame, after each start again."""
    probes = "probe,place,rack,shelf\nk0,air,R1,1\nk1,air,R1,1" + "0" * 400 + "\n"
    read = read_folder(folder(tmp_path, probes=probes))
    assert list(read.probes) == ["k0"]
    assert read.skips.counts == {"not a whole number": 1}


def test_what_the_system_refuses_is_one_error(tmp_path: Path) -> None:
    """Here a link to a name that can't be; a stale share or a file of root's is refused alike."""
    path = folder(tmp_path)
    (path / "bags.csv").unlink()
    (path / "bags.csv").symlink_to("x" * 300)
    for folder_path in (path, tmp_path / ("x" * 300)):
        with pytest.raises(FolderError, match="can't be read: File name too long"):
            read_folder(folder_path)


def arrivals(tmp_path: Path, *times: str) -> list[float]:
    """Hours since 2 March at which rows measured at `DD HH:MM` arrive."""
    rows = "".join(
        f"2026-03-{time.replace(' ', 'T')}:00Z,p1,temperature,23,Cel\n" for time in times
    )
    read = read_folder(folder(tmp_path, readings=READINGS + rows))
    start_s = 1772409600.0
    return [(reading.received_s - start_s) / 3600 for reading in iter_readings(read)]


def test_a_late_row_arrives_with_the_row_before_it(tmp_path: Path) -> None:
    """A row six hours old keeps its measured time and arrives now."""
    found = arrivals(tmp_path, "02 07:30", "02 08:00", "02 02:00", "02 08:30")
    assert found == pytest.approx([7.5, 8.0, 8.0, 8.5])


def test_a_row_from_the_future_does_not_move_the_others(tmp_path: Path) -> None:
    """One wrong clock does not make every later row late."""
    found = arrivals(tmp_path, "02 08:00", "09 23:00", "02 08:30")
    assert found == pytest.approx([8.0, 8.5, 8.5])


def test_a_gap_of_days_is_a_gap(tmp_path: Path) -> None:
    """Rows after a long silence arrive when they were measured."""
    assert arrivals(tmp_path, "02 08:00", "09 08:00", "09 08:30") == pytest.approx([8, 176, 176.5])
