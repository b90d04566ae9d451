"""What a newcomer types first: nothing needs to be known beforehand, and nothing is left behind by a slip."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.test_main import run
from winding_coach.cli import COMMANDS, GROUPS, main


@pytest.mark.parametrize("words", [("practice",), ("wind", "--port", "sim"), ("practice", "--lesson", "1")])
def test_without_a_terminal_nothing_is_begun(
    home: Path, capsys: pytest.CaptureFixture[str], words: tuple[str, ...]
) -> None:
    assert main(list(words)) == 2
    assert "--headless" in capsys.readouterr().err
    assert not home.exists(), "no trace of a wind that never was"


def test_a_simulated_wind_needs_no_figures_and_is_reviewed_by_a_bare_review(home: Path) -> None:
    wound = run("wind", "--port", "sim", "--sim-speed", "3", "--headless", "--json")
    assert wound.returncode == 0, wound.stderr
    assert "eye protection on" in wound.stderr
    assert "SIMULATED" in wound.stderr
    # No faster: on a busy computer the back-off would be over in less than the coach's shortest times.
    assert json.loads(wound.stdout.splitlines()[-1])["outcome"] == "done"
    (trace,) = (home / "traces").iterdir()
    assert "invented" in trace.name
    reviewed = run("review")
    assert reviewed.returncode == 0, reviewed.stderr
    assert trace.name in reviewed.stdout


def test_the_overview_puts_every_command_under_a_heading(capsys: pytest.CaptureFixture[str]) -> None:
    assert [name for _, names in GROUPS for name in names] == list(COMMANDS)
    assert main([]) == 2
    said = capsys.readouterr().out
    for heading, names in GROUPS:
        assert f"\n{heading}:\n" in said
        assert all(f"\n  {name} " in said for name in names)
    assert "winding-coach practice" in said, "where to begin"
