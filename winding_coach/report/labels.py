"""Motors in, a sheet of labels out, as SVG or PDF: to cut out, lay around the motor and stick together as a flag.

Left of the fold stand the name and boxes to cross for each wind, right of it the figures and a code of the name for a
scanner, so each side can be read.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from winding_coach.base.errors import WrongFigures
from winding_coach.base.units import UnitSystem, show
from winding_coach.report.svg import INK, PALE, line, page, words

WIDTH_MM, HEIGHT_MM = 210.0, 297.0
LABEL_WIDTH_MM, LABEL_HEIGHT_MM = 90.0, 13.0
LEFT_MM, TOP_MM, GAP_MM = 12.0, 12.0, 6.0
COLUMNS = 2
ROWS = int((HEIGHT_MM - 2 * TOP_MM) // LABEL_HEIGHT_MM)
A_SHEET = COLUMNS * ROWS
BOXES = 8
BOX_MM, BOX_EVERY_MM = 2.8, 4.2
MODULE_MM, QUIET_MODULES = 0.4, 2
"""Side of a module of the code: readers of hand scanners want 0.33 mm and more (common practice, no source). Light
modules that are left around it on the label; ISO/IEC 18004 wants four, the paper beyond the label's line gives more."""
MOST_CODE_MODULES = 25
"""Version 2: 26 letters at most at the error correction used."""
POINTS_A_MM = 72 / 25.4
LETTER, BOLD_LETTER = 0.52, 0.58
"""Width of a letter over its size; a little more than the mean of the faces that are used."""
PADDING_MM = 2.5


class LabelError(WrongFigures):
    """Labels that cannot be made; the message is one sentence that says what to do."""


@dataclass(frozen=True, slots=True)
class MotorLabel:
    """What stands on a label. mass_kg with O-rings; density_kg_per_m of one strand; uses: winds so far. code: the dark
    modules of a code of its name, row by row, for a scanner; None without."""

    name: str
    loop_m: float
    mass_kg: float
    density_kg_per_m: float
    batch: str | None = None
    strands: int = 2
    uses: int = 0
    code: tuple[tuple[bool, ...], ...] | None = None


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


@dataclass(frozen=True, slots=True)
class _Dark:
    """Dark modules of a code side by side; millimetres from the top left corner of the sheet."""

    x: float
    y: float
    width: float
    height: float


_Item = _Words | _Line | _Dark


def labels_svg(labels: Sequence[MotorLabel], units: UnitSystem) -> str:
    """Return one sheet as SVG.

    Raises:
        LabelError: they do not fit on one sheet.
    """
    if len(labels) > A_SHEET:
        raise LabelError(f"An .svg holds one sheet of {A_SHEET} labels: name fewer motors, or take .pdf.")
    return page(WIDTH_MM, HEIGHT_MM, "Labels for motors", [_drawn(item) for item in _sheet(labels, units)])


def _drawn(item: _Item) -> str:
    """Return one item as SVG."""
    match item:
        case _Words():
            return words(item.x, item.y, item.text, item.size, bold=item.bold)
        case _Line():
            return line(
                item.x1, item.y1, item.x2, item.y2, width=0.15, stroke=PALE, dashes="1 1" if item.dashed else ""
            )
        case _Dark():
            return (
                f'<rect x="{item.x:.3f}" y="{item.y:.3f}" width="{item.width:.3f}" height="{item.height:.3f}"'
                f' fill="{INK}" shape-rendering="crispEdges"/>'
            )


def labels_pdf(labels: Sequence[MotorLabel], units: UnitSystem) -> bytes:
    """Return as many sheets as are needed as PDF 1.4, with the faces that every reader has.

    Raises:
        LabelError: a name has letters that these faces lack.
    """
    sheets = [labels[i : i + A_SHEET] for i in range(0, len(labels), A_SHEET)]
    return _pdf([_stream(_sheet(sheet, units)) for sheet in sheets])


def _sheet(labels: Sequence[MotorLabel], units: UnitSystem) -> list[_Item]:
    items: list[_Item] = []
    for number, label in enumerate(labels):
        row, column = divmod(number, COLUMNS)
        left = LEFT_MM + column * (LABEL_WIDTH_MM + GAP_MM)
        items += _label(label, left, TOP_MM + row * LABEL_HEIGHT_MM, units)
    return items


def _label(label: MotorLabel, left: float, top: float, units: UnitSystem) -> list[_Item]:
    half = LABEL_WIDTH_MM / 2
    right, bottom, fold = left + LABEL_WIDTH_MM, top + LABEL_HEIGHT_MM, left + half
    items: list[_Item] = [
        _Line(left, top, right, top),
        _Line(left, bottom, right, bottom),
        _Line(left, top, left, bottom),
        _Line(right, top, right, bottom),
        _Line(fold, top, fold, bottom, dashed=True),
        _fitting(left + PADDING_MM, top + 6.6, 6.0, label.name, bold=True),
    ]
    crossed = label.uses % BOXES if label.uses > BOXES else label.uses
    for i in range(BOXES):
        x, y, size = left + PADDING_MM + BOX_EVERY_MM * i, top + 8.6, BOX_MM
        corners = ((x, y), (x + size, y), (x + size, y + size), (x, y + size), (x, y))
        items += [_Line(*corners[j], *corners[j + 1]) for j in range(4)]
        if i < crossed:
            items += [_Line(x, y, x + size, y + size), _Line(x, y + size, x + size, y)]
    if label.uses > BOXES:
        # The boxes begin again; what was before them stands beside.
        after = left + PADDING_MM + BOX_EVERY_MM * BOXES
        items.append(_Words(after, top + 11.0, 2.6, f"+ {label.uses - crossed}"))
    strands = "" if label.strands == 2 else f" ({label.strands} strands)"
    batch = "" if label.batch is None else f" · {label.batch}"
    figures = (
        f"{show(label.loop_m, 'length', units)}{strands} · {show(label.mass_kg, 'mass', units)}",
        f"{show(label.density_kg_per_m, 'linear density', units)}{batch}",
    )
    code = [] if label.code is None else _code(label.code, right, top)
    room = LABEL_WIDTH_MM / 2 - 2 * PADDING_MM - (0.0 if label.code is None else len(label.code) * MODULE_MM + 1.0)
    items += [_fitting(fold + PADDING_MM, top + 5.4 + 5.2 * i, 4.2, text, room) for i, text in enumerate(figures)]
    return items + code


def _code(code: tuple[tuple[bool, ...], ...], right: float, top: float) -> list[_Item]:
    """Return a code at the right end of a label: the dark modules of a row that touch are one piece."""
    side = len(code) * MODULE_MM
    if len(code) > MOST_CODE_MODULES:
        raise LabelError("A name of more than 26 letters is too long for a code on a label: leave it out.")
    x0, y0 = right - QUIET_MODULES * MODULE_MM - side, top + (LABEL_HEIGHT_MM - side) / 2
    items: list[_Item] = []
    for row, modules in enumerate(code):
        at = 0
        for dark, run in groupby(modules):
            count = len(list(run))
            if dark:
                items.append(_Dark(x0 + at * MODULE_MM, y0 + row * MODULE_MM, count * MODULE_MM, MODULE_MM))
            at += count
    return items


def _fitting(
    x: float,
    y: float,
    size: float,
    text: str,
    room: float = LABEL_WIDTH_MM / 2 - 2 * PADDING_MM,
    *,
    bold: bool = False,
) -> _Words:
    """Return a line no wider than half a label: a long one is set smaller rather than cut."""
    return _Words(x, y, round(min(size, room / ((BOLD_LETTER if bold else LETTER) * len(text))), 2), text, bold)


def _stream(items: Sequence[_Item]) -> bytes:
    """Return a page's content: y upwards, points."""

    def at(x: float, y: float) -> str:
        return f"{x * POINTS_A_MM:.2f} {(HEIGHT_MM - y) * POINTS_A_MM:.2f}"

    parts = [b"0.4 w 0.46 G"]
    for item in items:
        if isinstance(item, _Line):
            dash = "[3 3] 0 d" if item.dashed else "[] 0 d"
            parts.append(f"{dash} {at(item.x1, item.y1)} m {at(item.x2, item.y2)} l S".encode())
        elif isinstance(item, _Dark):
            wide, high = item.width * POINTS_A_MM, item.height * POINTS_A_MM
            parts.append(f"0 g {at(item.x, item.y + item.height)} {wide:.2f} {high:.2f} re f".encode())
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
