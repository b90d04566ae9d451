"""The fidelity page says what the code does: tables and picture made anew are those on the page."""

from __future__ import annotations

import runpy
from pathlib import Path
from typing import Any

import pytest

DOCS = Path(__file__).parents[2] / "docs"


def script() -> dict[str, Any]:
    return runpy.run_path(str(DOCS / "made_by" / "fidelity.py"))


def test_the_page_is_up_to_date() -> None:
    made = script()
    page = (DOCS / "evidence" / "fidelity.md").read_text(encoding="utf-8")
    assert made["filled"](page) == page, "run: python docs/made_by/fidelity.py"
    assert all(f"<!-- {name} -->" in page for name in made["tables"]())
    assert made["picture"]() == (DOCS / "pictures" / "fidelity.svg").read_text(encoding="utf-8"), (
        "run: python docs/made_by/fidelity.py"
    )


@pytest.mark.no_cover
def test_coverage_is_measured_as_the_page_says() -> None:
    """A small sample of the page's own measurement stays near its 90 % (four standard deviations of 40 batches)."""
    lines = script()["coverage"](40)
    shares = [float(line.split(": ")[1].split("%")[0]) for line in lines]
    assert len(shares) == 6
    assert all(71 <= share <= 100 for share in shares[:2])
