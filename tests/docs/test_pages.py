"""The pages lead where they say, and their pictures are what the code draws."""

from __future__ import annotations

import re
import runpy
from pathlib import Path

import pytest

import winding_coach
from winding_coach.cli import COMMANDS

DOCS = Path(__file__).parents[2] / "docs"
PAGES = (*sorted(DOCS.rglob("*.md")), DOCS.parent / "README.md", DOCS.parent / "DEVELOPERS.md")


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_links_lead_to_files_that_are_there(page: Path) -> None:
    for target in re.findall(r"\]\(([^)#]+)", page.read_text(encoding="utf-8")):
        if "://" not in target:
            assert (page.parent / target).exists(), target


def test_every_page_is_in_the_index() -> None:
    index = (DOCS / "README.md").read_text(encoding="utf-8")
    for page in DOCS.rglob("*.md"):
        assert page.name == "README.md" or f"({page.relative_to(DOCS).as_posix()})" in index


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_commands_that_are_named_exist(page: Path) -> None:
    for name in re.findall(r"(?:^    |`)winding-coach ([a-z]+)", page.read_text(encoding="utf-8"), re.M):
        assert name in COMMANDS, name


def test_the_pictures_of_winding_are_up_to_date() -> None:
    script = runpy.run_path(str(DOCS / "made_by" / "winding.py"))
    for name, picture in script["pictures"]().items():
        assert (DOCS / "pictures" / name).read_text(encoding="utf-8") == picture, "run: python docs/made_by/winding.py"
    page = (DOCS / "guides" / "winding.md").read_text(encoding="utf-8")
    plan = script["PLAN"]
    less = script["wound_low"](plan.launch_torque_Nm)[-1].turns
    assert f"holds {less:.0f} turns" in page
    assert f"backed off {plan.launch_turns:.0f}" in page
    assert f"launch at {plan.launch_torque_Nm * 1e3:.1f} mN·m" in page


def test_cautions_stand_on_every_page_where_work_is_done() -> None:
    for name in ("winding.md", "guide-winding.md", "guide-coach.md", "guide-meter.md", "meter-build.md"):
        assert "**Care.**" in (DOCS / "guides" / name).read_text(encoding="utf-8"), name


def test_every_room_is_on_both_maps() -> None:
    package = DOCS.parent / "winding_coach"
    rooms = {path.stem for path in package.iterdir() if path.suffix == ".py" or (path / "__init__.py").exists()}
    developers = (DOCS.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
    words = set(re.findall(r"[a-z_]+", str(winding_coach.__doc__)))
    for room in rooms - {"__init__", "__main__"}:
        assert room in words, f"{room} is not in the docstring of the package"
        assert f"`{room}/`" in developers or f"`{room}.py`" in developers, (
            f"{room} is not in the table of DEVELOPERS.md"
        )
