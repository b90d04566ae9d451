"""The reference says what the code does: made anew it is the page that is there, and it names what the code reads."""

from __future__ import annotations

import re
import runpy
from pathlib import Path
from typing import Any

import pytest

from winding_coach.cli import COMMANDS
from winding_coach.cli.args.settings import FILLED_IN
from winding_coach.coach.said import ALARMS, PROMPTS

TOP = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def script() -> dict[str, Any]:
    """What docs/made_by/reference.py defines."""
    return runpy.run_path(str(TOP / "docs" / "made_by" / "reference.py"))


def test_the_page_is_up_to_date(script: dict[str, Any]) -> None:
    kept = (TOP / "docs" / "reference" / "reference.md").read_text(encoding="utf-8")
    assert script["page"]() == kept, "run: python docs/made_by/reference.py"


def test_every_command_code_and_setting_is_in_it(script: dict[str, Any]) -> None:
    page = script["page"]()
    for name in COMMANDS:
        assert f"\n### {name}\n" in page
    for code in (*PROMPTS, *ALARMS):
        assert f"\n| `{code}` |" in page
    source = "".join(path.read_text(encoding="utf-8") for path in (TOP / "winding_coach").rglob("*.py"))
    read = {*FILLED_IN, *re.findall(r'settings\.get\("([a-z_]+)"', source), "read_from", "screen_height"}
    assert read == set(script["SETTINGS"])


def test_every_link_within_the_page_leads_somewhere(script: dict[str, Any]) -> None:
    page = script["page"]()
    headings = {script["anchor"](found) for found in re.findall(r"^#+ (.*)$", page, re.M)}
    assert set(re.findall(r"\]\(#([^)]*)\)", page)) <= headings
