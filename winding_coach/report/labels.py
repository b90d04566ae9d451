"""Motors in, a sheet of labels out, as SVG or PDF: to cut out, lay around the motor and stick together as a flag.

Left of the fold stand the name and boxes to cross for each wind, right of it the figures, so each side can be read.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass

from winding_coach.report.svg import PALE, line, page, words
from winding_coach.units import UnitSystem, show

WIDTH_MM, HEIGHT_MM = 210.0, 297.0
LABEL_WIDTH_MM, LABEL_HEIGHT_MM = 90.0, 13.0
LEFT_MM, TOP_MM, GAP_MM = 12.0, 12.0, 6.0
COLUMNS = 2
ROWS = int((HEIGHT_MM - 2 * TOP_MM) // LABEL_HEIGHT_MM)
A_SHEET = COLUMNS * ROWS
BOXES = 6
POINTS_A_MM = 72 / 25.4
LETTER, BOLD_LETTER = 0.52, 0.58
"""Width of a letter over its size; a little more than the mean of the faces that are used."""
PADDING_MM = 2.5


class LabelError(ValueError):
    """Labels that cannot be made; the message is one sentence that says what to do."""


@dataclass(frozen=True, slots=True)
class MotorLabel:
    """What stands on a label. mass_kg with O-rings; density_kg_per_m of one strand; uses: winds so far."""

    name: str
    loop_m: float
    mass_kg: float
    density_kg_per_m: float
    batch: str | None = None
    strands: int = 2
    uses: int = 0


@dataclass(frozen=True, slots=True)
class _Words:
    """A line of text; millimetres from the top left corner of the sheet, y of the baseline."""

    x: float
    y: float
    size: float
    text: str
    bold: bool = False


@dataclass(frozen=True, slots=True)
class _Line:
    x1: float
    y1: float
    x2: float
    y2: float
    dashed: bool = False


def labels_svg(labels: Sequence[MotorLabel], units: UnitSystem) -> str:
    """Return one sheet as SVG.

    Raises:
        LabelError: they do not fit on one sheet.
    """
    if len(labels) > A_SHEET:
        raise LabelError(f"An .svg holds one sheet of {A_SHEET} labels: name fewer motors, or take .pdf.")
    parts = [
        words(item.x, item.y, item.text, item.size, bold=item.bold)
        if isinstance(item, _Words)
        else line(item.x1, item.y1, item.x2, item.y2, width=0.15, stroke=PALE, dashes="1 1" if item.dashed else "")
        for item in _sheet(labels, units)
    ]
    return page(WIDTH_MM, HEIGHT_MM, "Labels for motors", parts)


def labels_pdf(labels: Sequence[MotorLabel], units: UnitSystem) -> bytes:
    """Return as many sheets as are needed as PDF 1.4, with the faces that every reader has.

    Raises:
        LabelError: a name has letters that these faces lack.
    """
    sheets = [labels[i : i + A_SHEET] for i in range(0, len(labels), A_SHEET)]
    return _pdf([_stream(_sheet(sheet, units)) for sheet in sheets])


def _sheet(labels: Sequence[MotorLabel], units: UnitSystem) -> list[_Words | _Line]:
    items: list[_Words | _Line] = []
    for number, label in enumerate(labels):
        row, column = divmod(number, COLUMNS)
        left = LEFT_MM + column * (LABEL_WIDTH_MM + GAP_MM)
        items += _label(label, left, TOP_MM + row * LABEL_HEIGHT_MM, units)
    return items


def _label(label: MotorLabel, left: float, top: float, units: UnitSystem) -> list[_Words | _Line]:
    half = LABEL_WIDTH_MM / 2
    right, bottom, fold = left + LABEL_WIDTH_MM, top + LABEL_HEIGHT_MM, left + half
    items: list[_Words | _Line] = [
        _Line(left, top, right, top),
        _Line(left, bottom, right, bottom),
        _Line(left, top, left, bottom),
        _Line(right, top, right, bottom),
        _Line(fold, top, fold, bottom, dashed=True),
        _fitting(left + PADDING_MM, top + 6.6, 6.0, label.name, bold=True),
    ]
    for i in range(BOXES):
        x, y, size = left + PADDING_MM + 4.2 * i, top + 8.6, 2.8
        corners = ((x, y), (x + size, y), (x + size, y + size), (x, y + size), (x, y))
        items += [_Line(*corners[j], *corners[j + 1]) for j in range(4)]
        if i < label.uses:
            items += [_Line(x, y, x + size, y + size), _Line(x, y + size, x + size, y)]
    strands = "" if label.strands == 2 else f" ({label.strands} strands)"
    batch = "" if label.batch is None else f" · {label.batch}"
    figures = (
        f"{show(label.loop_m, 'length', units)}{strands} · {show(label.mass_kg, 'mass', units)}",
        f"{show(label.density_kg_per_m, 'linear density', units)}{batch}",
    )
    items += [_fitting(fold + PADDING_MM, top + 5.4 + 5.2 * i, 4.2, text) for i, text in enumerate(figures)]
    return items


def _fitting(x: float, y: float, size: float, text: str, *, bold: bool = False) -> _Words:
    """Return a line no wider than half a label: a long one is set smaller rather than cut."""
    room = LABEL_WIDTH_MM / 2 - 2 * PADDING_MM
    return _Words(x, y, round(min(size, room / ((BOLD_LETTER if bold else LETTER) * len(text))), 2), text, bold)


def _stream(items: Sequence[_Words | _Line]) -> bytes:
    """Return a page's content: y upwards, points."""

    def at(x: float, y: float) -> str:
        return f"{x * POINTS_A_MM:.2f} {(HEIGHT_MM - y) * POINTS_A_MM:.2f}"

    parts = [b"0.4 w 0.46 G"]
    for item in items:
        if isinstance(item, _Line):
            dash = "[3 3] 0 d" if item.dashed else "[] 0 d"
            parts.append(f"{dash} {at(item.x1, item.y1)} m {at(item.x2, item.y2)} l S".encode())
        else:
            face = "B" if item.bold else "N"
            start = f"BT /{face} {item.size * POINTS_A_MM:.2f} Tf {at(item.x, item.y)} Td (".encode()
            parts.append(start + _spelled(item.text) + b") Tj ET")
    return b"\n".join(parts)


def _spelled(text: str) -> bytes:
    try:
        data = text.encode("cp1252")
    except UnicodeEncodeError:
        raise LabelError(f"'{text}' has letters that a .pdf of ours cannot hold: take .svg.") from None
    for sign in (b"\\", b"(", b")"):
        data = data.replace(sign, b"\\" + sign)
    return data


def _pdf(streams: Sequence[bytes]) -> bytes:
    """Return the file: catalogue, pages, two faces, then a page and its content for each stream (ISO 32000-1, 7.5)."""
    kids = " ".join(f"{5 + 2 * i} 0 R" for i in range(len(streams)))
    size = f"[0 0 {WIDTH_MM * POINTS_A_MM:.2f} {HEIGHT_MM * POINTS_A_MM:.2f}]"
    font = "<< /Type /Font /Subtype /Type1 /BaseFont /{} /Encoding /WinAnsiEncoding >>"
    objects = [
        b"<< /Type /Catalog /Pages 2 0 R >>",
        f"<< /Type /Pages /Kids [{kids}] /Count {len(streams)} /MediaBox {size}"
        " /Resources << /Font << /N 3 0 R /B 4 0 R >> >> >>".encode(),
        font.format("Helvetica").encode(),
        font.format("Helvetica-Bold").encode(),
    ]
    for i, stream in enumerate(streams):
        packed = zlib.compress(stream)
        objects += [
            f"<< /Type /Page /Parent 2 0 R /Contents {6 + 2 * i} 0 R >>".encode(),
            f"<< /Length {len(packed)} /Filter /FlateDecode >>\nstream\n".encode() + packed + b"\nendstream",
        ]
    out = b"%PDF-1.4\n%\xe2\xe3\xcf\xd3\n"
    places = []
    for number, one in enumerate(objects, 1):
        places.append(len(out))
        out += f"{number} 0 obj\n".encode() + one + b"\nendobj\n"
    start = len(out)
    out += f"xref\n0 {len(objects) + 1}\n0000000000 65535 f \n".encode()
    out += b"".join(f"{place:010d} 00000 n \n".encode() for place in places)
    out += f"trailer\n<< /Size {len(objects) + 1} /Root 1 0 R >>\nstartxref\n{start}\n%%EOF\n".encode()
    return out
