"""Labels: all that must stand on them does, nothing runs over, and the PDF is one by its own book-keeping."""

from __future__ import annotations

import dataclasses
import re
import zlib
from xml.etree import ElementTree

import pytest

from winding_coach.app.codes import modules_of
from winding_coach.report.labels import (
    A_SHEET,
    BOXES,
    HEIGHT_MM,
    LABEL_HEIGHT_MM,
    LABEL_WIDTH_MM,
    MODULE_MM,
    WIDTH_MM,
    LabelError,
    MotorLabel,
    labels_pdf,
    labels_svg,
)

TH_07 = MotorLabel("th-07", 0.30, 1.40e-3, 2.2e-3, "amber", 2, 2)


def texts(svg: str) -> list[str]:
    return [str(node.text) for node in ElementTree.fromstring(svg).iter() if node.tag.endswith("}text")]


def test_name_mass_loop_density_and_batch_stand_on_it() -> None:
    assert texts(labels_svg([TH_07], "metric")) == ["th-07", "30.0 cm · 1.40 g", "2.200 g/m · amber"]
    four = MotorLabel("x", 0.30, 1.40e-3, 2.2e-3, None, 4)
    assert texts(labels_svg([four], "inch"))[1:] == ["11.8 in (4 strands) · 1.40 g", "0.0559 g/in"]


def test_boxes_are_crossed_for_the_winds_so_far() -> None:
    svgs = [labels_svg([MotorLabel("x", 0.3, 1e-3, 2e-3, uses=uses)], "metric") for uses in (0, 2, BOXES, 19)]
    crosses = [(svg.count("<line") - svgs[0].count("<line")) // 2 for svg in svgs]
    assert crosses == [0, 2, BOXES, 19 - 2 * BOXES]
    assert [f"+ {2 * BOXES}" in texts(svg) for svg in svgs] == [False, False, False, True]


def test_a_code_of_the_name_is_drawn_whole_within_the_label() -> None:
    code = modules_of("th-07")
    svg = labels_svg([dataclasses.replace(TH_07, code=code)], "metric")
    pieces = [node for node in ElementTree.fromstring(svg).iter() if node.get("shape-rendering") == "crispEdges"]
    x0 = min(float(node.get("x", "0")) for node in pieces)
    y0 = min(float(node.get("y", "0")) for node in pieces)
    drawn = [[False] * len(code) for _ in code]
    for node in pieces:
        row = round((float(node.get("y", "0")) - y0) / MODULE_MM)
        first = round((float(node.get("x", "0")) - x0) / MODULE_MM)
        for column in range(first, first + round(float(node.get("width", "0")) / MODULE_MM)):
            drawn[row][column] = True
    assert tuple(tuple(row) for row in drawn) == code
    assert len(code) * MODULE_MM < LABEL_HEIGHT_MM
    assert labels_pdf([dataclasses.replace(TH_07, code=code)], "metric") != labels_pdf([TH_07], "metric")


def test_nothing_leaves_the_sheet_and_long_names_are_set_smaller() -> None:
    labels = [MotorLabel("W" * 40, 0.3, 1e-3, 2e-3, "batch of a long name " * 3) for _ in range(A_SHEET)]
    root = ElementTree.fromstring(labels_svg(labels, "metric"))
    for node in root.iter():
        if node.tag.endswith("}line"):
            assert 0 < float(node.get("x2", "0")) < WIDTH_MM
            assert 0 < float(node.get("y2", "0")) < HEIGHT_MM
        if node.tag.endswith("}text"):
            assert 0.5 * float(node.get("font-size", "0")) * len(str(node.text)) < LABEL_WIDTH_MM / 2
    with pytest.raises(LabelError, match=r"take \.pdf"):
        labels_svg([*labels, TH_07], "metric")


def test_a_pdf_keeps_its_books() -> None:
    """ISO 32000-1, 7.5: every offset of the table leads to its object, every stream has the length it says."""
    odd = MotorLabel(r"a(b)\c", 0.3, 1e-3, 2e-3, "déjà")
    data = labels_pdf([TH_07] * A_SHEET + [odd], "metric")
    start = int(re.findall(rb"startxref\n(\d+)\n%%EOF\n$", data)[0])
    count = int(re.findall(rb"^xref\n0 (\d+)\n", data[start:])[0])
    entries = data[start:].split(b"\n")[2 : 2 + count]
    assert all(len(entry) == 19 for entry in entries)
    for number, entry in enumerate(entries[1:], 1):
        assert data[int(entry[:10]) :].startswith(f"{number} 0 obj\n".encode())
    streams = re.findall(rb"/Length (\d+) /Filter /FlateDecode >>\nstream\n(.*?)\nendstream", data, re.DOTALL)
    assert all(int(length) == len(stream) for length, stream in streams)
    first, second = (zlib.decompress(stream) for _, stream in streams)
    assert first.count(b"(th-07) Tj") == A_SHEET
    assert b"(2.200 g/m \xb7 amber) Tj" in first
    assert b"(a\\(b\\)\\\\c) Tj" in second
    assert "déjà".encode("cp1252") in second
    assert b"/Count 2" in data


def test_letters_that_the_pdf_lacks_are_said() -> None:
    with pytest.raises(LabelError, match=r"take \.svg"):
        labels_pdf([MotorLabel("мотор", 0.3, 1e-3, 2e-3)], "metric")
    assert "мотор" in labels_svg([MotorLabel("мотор", 0.3, 1e-3, 2e-3)], "metric")
