"""Label sheets: what is on them, read back from the files."""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
import segno

from tests.book.farm import Farm

SVG = "{http://www.w3.org/2000/svg}"


def test_an_svg_holds_code_strain_day_number_and_lot(farm: Farm, tmp_path: Path) -> None:
    """Forty labels are two sheets of twenty-four."""
    assert farm.say("label", "--batch", "QL-0309", "--out", str(tmp_path / "s.svg")) == 0
    pages = [ET.parse(tmp_path / name).getroot() for name in ("s.svg", "s-2.svg")]
    texts = [[one.text or "" for one in page.iter(f"{SVG}text")] for page in pages]
    assert texts[0][:4] == ["GO12-017", "GO-12  no. 1", "2026-03-09", "GO12-G2-0226/J4"]
    assert [len([text for text in page if text.startswith("GO12-0")]) for page in texts] == [24, 16]


def test_the_code_on_a_label_is_the_address_of_the_bags_page(farm: Farm, tmp_path: Path) -> None:
    """The dark modules drawn are those of segno's code of that address, module by module."""
    assert farm.say("label", "17", "--out", str(tmp_path / "s.svg")) == 0
    path = ET.parse(tmp_path / "s.svg").getroot().find(f"{SVG}path")
    assert path is not None
    boxes = [
        tuple(map(float, box))
        for box in re.findall(r"M([\d.]+) ([\d.]+)h([\d.]+)v([\d.]+)H[\d.]+z", path.attrib["d"])
    ]
    matrix = segno.make("http://bagwatt.local:8765/bag/GO12-017", error="m", micro=False).matrix
    module_mm = min(box[3] for box in boxes)
    left_mm, top_mm = min(box[0] for box in boxes), min(box[1] for box in boxes)
    drawn = {
        (round((y - top_mm) / module_mm), round((x - left_mm) / module_mm) + step)
        for x, y, width, _ in boxes
        for step in range(round(width / module_mm))
    }
    wanted = {
        (row, column)
        for row, modules in enumerate(matrix)
        for column, dark in enumerate(modules)
        if dark
    }
    assert drawn == wanted
    assert left_mm >= 7.0 + 4 * module_mm  # the quiet zone of ISO/IEC 18004


def test_a_pdf_is_whole(farm: Farm, tmp_path: Path) -> None:
    """Every object lies where the cross-reference table says (PDF 1.4, section 3.4.3)."""
    assert farm.say("label", "--batch", "QL-0309", "--out", str(tmp_path / "s.pdf")) == 0
    pdf = (tmp_path / "s.pdf").read_bytes()
    table_at = int(re.findall(rb"startxref\n(\d+)\n%%EOF", pdf)[0])
    places = [int(place) for place in re.findall(rb"(\d{10}) 00000 n ", pdf[table_at:])]
    assert all(
        pdf[place:].startswith(b"%d 0 obj" % number) for number, place in enumerate(places, 1)
    )
    for length, stream in re.findall(rb"/Length (\d+) >>\nstream\n(.*?)\nendstream", pdf, re.S):
        assert int(length) == len(stream)
    assert pdf.count(b"/Type /Page ") == 2
    assert b"(GO12-056) Tj" in pdf


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--batch", "QL-0390", "--out", "s.pdf"), "did you mean QL-0309?"),
        (("17", "--out", "s.png"), "name it .pdf or .svg"),
        (("17", "--rows", "30", "--out", "s.pdf"), "can't be read"),
        (("--out", "s.pdf"), "no bags to label"),
    ],
)
def test_a_sheet_that_cannot_be_is_refused(
    farm: Farm,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    words: tuple[str, ...],
    told: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    assert farm.say("label", *words) == 2
    assert told in capsys.readouterr().err
