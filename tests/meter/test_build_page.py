"""The build notes say what the code does: tables and drawings made anew are those on the page."""

from __future__ import annotations

import runpy
import xml.etree.ElementTree as ElementTree
from pathlib import Path
from typing import Any

import pytest

from winding_coach.meter.calibration import SIMULATED

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"


@pytest.fixture(scope="module")
def made() -> dict[str, Any]:
    return runpy.run_path(str(DOCS / "made_by" / "meter_build.py"))


def test_the_page_and_its_drawings_are_up_to_date(made: dict[str, Any]) -> None:
    page = (DOCS / "guides" / "meter-build.md").read_text(encoding="utf-8")
    assert made["filled"](page) == page, "run: python docs/made_by/meter_build.py"
    for name, svg in made["pictures"]().items():
        assert (DOCS / "pictures" / f"meter-{name}.svg").read_text(encoding="utf-8") == svg, (
            "run: python docs/made_by/meter_build.py"
        )
        assert f"meter-{name}.svg" in page
        ElementTree.fromstring(svg)


def test_no_word_of_a_drawing_runs_off_its_page(made: dict[str, Any]) -> None:
    for svg in made["pictures"]().values():
        root = ElementTree.fromstring(svg)
        width = float(root.attrib["viewBox"].split()[2])
        for text in root.iter("{http://www.w3.org/2000/svg}text"):
            # A letter of this face is 0.45 times as wide as its size, in the mean.
            long = 0.45 * float(text.attrib["font-size"]) * len(text.text or "")
            x = float(text.attrib["x"])
            assert x - (long if text.attrib["text-anchor"] == "end" else 0) >= 0
            assert x + (long if text.attrib["text-anchor"] == "start" else 0) <= width


def test_figures_are_those_of_the_simulated_meter(made: dict[str, Any]) -> None:
    assert made["counts_per_Nm"]() == pytest.approx(1 / SIMULATED.Nm_per_count, rel=1e-4)
    assert made["rating_Nm"]() == pytest.approx(SIMULATED.rating_Nm, rel=1e-2)
    # Worked by hand: ±19.53 mV over 2^24 counts; 90 nV are 38.7 counts.
    assert made["noise_Nm"](80) * made["counts_per_Nm"]() == pytest.approx(38.65, abs=0.05)


def test_pins_of_the_page_are_those_of_the_firmware() -> None:
    config = (ROOT / "firmware_notes" / "winding_meter" / "config.h").read_text()
    page = (DOCS / "guides" / "meter-build.md").read_text(encoding="utf-8")
    for name, words in (
        ("DOUT_PIN 2", "| DT (DOUT) | pin 2"),
        ("SCK_PIN 4", "| SCK | pin 4"),
        ("CRANK_A_PIN 5", "pin 5"),
    ):
        assert f"#define {name}" in config
        assert words in page
