"""A printed sheet: filled squares and lines of text in millimetres, written as SVG or PDF."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from xml.sax.saxutils import escape

POINTS_PER_MM = 72.0 / 25.4


@dataclass(frozen=True, slots=True)
class Box:
    """A filled rectangle; x and y of its upper left corner."""

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float


@dataclass(frozen=True, slots=True)
class Line:
    """A line of text; x and y where its baseline begins."""

    x_mm: float
    y_mm: float
    size_mm: float
    text: str
    bold: bool = False


@dataclass(slots=True)
class Page:
    """One sheet of paper."""

    width_mm: float
    height_mm: float
    boxes: list[Box] = field(default_factory=list)
    lines: list[Line] = field(default_factory=list)


def to_svg(page: Page) -> str:
    """One page as SVG 1.1, in millimetres."""
    boxes = "".join(
        f"M{one.x_mm:.3f} {one.y_mm:.3f}h{one.width_mm:.3f}v{one.height_mm:.3f}H{one.x_mm:.3f}z"
        for one in page.boxes
    )
    weight = {True: ' font-weight="bold"', False: ""}
    lines = "\n".join(
        f'<text x="{line.x_mm:.2f}" y="{line.y_mm:.2f}" font-size="{line.size_mm:.2f}"'
        f"{weight[line.bold]}>{escape(line.text)}</text>"
        for line in page.lines
    )
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{page.width_mm}mm"'
        f' height="{page.height_mm}mm" viewBox="0 0 {page.width_mm} {page.height_mm}"'
        ' font-family="Helvetica, Arial, sans-serif">\n'
        f'<path d="{boxes}"/>\n{lines}\n</svg>\n'
    )


def to_pdf(pages: Sequence[Page]) -> bytes:
    """Pages as PDF 1.4 with the two standard fonts every reader has.

    Source  PDF 1.4 reference (Adobe 2001): objects in section 3.4, operators in appendix A
    """
    objects: list[bytes] = []
    kids = " ".join(f"{4 + 2 * index + 1} 0 R" for index in range(len(pages)))
    objects.append(b"<< /Type /Catalog /Pages 2 0 R >>")
    objects.append(f"<< /Type /Pages /Kids [{kids}] /Count {len(pages)} >>".encode())
    for name in ("Helvetica", "Helvetica-Bold"):
        objects.append(
            f"<< /Type /Font /Subtype /Type1 /BaseFont /{name}"
            " /Encoding /WinAnsiEncoding >>".encode()
        )
    for index, page in enumerate(pages):
        width, height = page.width_mm * POINTS_PER_MM, page.height_mm * POINTS_PER_MM
        objects.append(
            f"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 {width:.2f} {height:.2f}]"
            " /Resources << /Font << /F1 3 0 R /F2 4 0 R >> >>"
            f" /Contents {4 + 2 * index + 2} 0 R >>".encode()
        )
        stream = _operators(page)
        objects.append(b"<< /Length %d >>\nstream\n%s\nendstream" % (len(stream), stream))
    return _file(objects)


def _operators(page: Page) -> bytes:
    """The page's content stream; PDF counts from the lower left, in points."""
    k, height_mm = POINTS_PER_MM, page.height_mm
    parts = [
        f"{box.x_mm * k:.3f} {(height_mm - box.y_mm - box.height_mm) * k:.3f}"
        f" {box.width_mm * k:.3f} {box.height_mm * k:.3f} re".encode()
        for box in page.boxes
    ]
    parts.append(b"f")
    for line in page.lines:
        text = line.text.encode("cp1252", "replace")
        for special in (b"\\", b"(", b")"):
            text = text.replace(special, b"\\" + special)
        font = b"/F2" if line.bold else b"/F1"
        at = f"{line.x_mm * k:.2f} {(height_mm - line.y_mm) * k:.2f}".encode()
        parts.append(b"BT %s %.2f Tf %s Td (%s) Tj ET" % (font, line.size_mm * k, at, text))
    return b"\n".join(parts)


def _file(objects: Sequence[bytes]) -> bytes:
    out = bytearray(b"%PDF-1.4\n%\xe2\xe3\xcf\xd3\n")
    places = []
    for number, body in enumerate(objects, start=1):
        places.append(len(out))
        out += b"%d 0 obj\n%s\nendobj\n" % (number, body)
    table_at = len(out)
    out += b"xref\n0 %d\n0000000000 65535 f \n" % (len(objects) + 1)
    for place in places:
        out += b"%010d 00000 n \n" % place
    out += b"trailer\n<< /Size %d /Root 1 0 R >>\nstartxref\n%d\n%%%%EOF\n" % (
        len(objects) + 1,
        table_at,
    )
    return bytes(out)
