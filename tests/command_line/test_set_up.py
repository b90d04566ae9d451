"""What set-up keeps, what it refuses, and that options of a command come before it."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import pytest

from winding_coach.command_line.home import Home, home_from
from winding_coach.command_line.problem import Problem
from winding_coach.command_line.set_up import (
    eyes_from,
    fill_in,
    kept_answers,
    save_settings,
    wants_set_up,
    wrong_answers,
)
from winding_coach.screen.legible import Eyes

GOOD = {"units": "metric", "ratio": "10", "hooks": "22 cm", "port": "auto", "person": "Wren"}


def args(**given: str | None) -> argparse.Namespace:
    return argparse.Namespace(**({"ratio": None, "hooks": None, "port": None, "person": None, "home": None} | given))


def test_good_answers_are_kept_with_their_unit_and_read_back(tmp_path: Path) -> None:
    assert wrong_answers(GOOD) == {}
    home = save_settings(Home(tmp_path / "new", {"other": 1}), kept_answers(GOOD))
    again = home_from(args(home=str(home.folder)))
    assert again.settings == home.settings
    assert again.settings["other"] == 1
    assert again.settings["hooks"] == "220 mm"
    # 9 in is 228.6 mm exactly (NIST SP 811, appendix B): read the same in either unit system.
    assert kept_answers(GOOD | {"units": "inch", "hooks": "9"})["hooks"] == "228.6 mm"
    assert "person" not in kept_answers(GOOD | {"person": ""})
    assert list(home.folder.iterdir()) == [home.folder / "settings.json"]


@pytest.mark.parametrize(
    ("name", "answer"),
    [
        ("ratio", ""),
        ("ratio", "ten"),
        ("ratio", "0"),
        ("ratio", "nan"),
        ("hooks", "long"),
        ("hooks", "0 cm"),
        ("hooks", "50 m"),
        ("hooks", "5 g"),
        ("person", "x" * 41),
        ("person", "\x1b[2J"),
    ],
)
def test_each_wrong_answer_is_said_in_a_sentence(name: str, answer: str) -> None:
    wrong = wrong_answers(GOOD | {name: answer})
    assert list(wrong) == [name]
    assert wrong[name].endswith(".")


def test_a_ratio_may_be_written_as_one() -> None:
    assert wrong_answers(GOOD | {"ratio": "15:1"}) == {}


def test_options_of_the_command_come_first(tmp_path: Path) -> None:
    home = Home(tmp_path, {"ratio": "15", "person": "Juno", "hooks": ""})
    given = args(ratio="10")
    fill_in(given, home)
    assert (given.ratio, given.person, given.hooks, given.port) == ("10", "Juno", None, None)
    with pytest.raises(Problem, match="write it as text"):
        fill_in(args(), Home(tmp_path, {"ratio": 15}))


def test_it_asks_only_who_never_was_asked_and_gave_no_ratio(tmp_path: Path) -> None:
    assert wants_set_up(args(), Home(tmp_path, {}))
    assert not wants_set_up(args(ratio="10"), Home(tmp_path, {}))
    assert not wants_set_up(args(), Home(tmp_path, {"units": "inch"}))


def test_from_where_the_screen_is_read_is_a_setting(tmp_path: Path) -> None:
    assert eyes_from(Home(tmp_path, {})) == Eyes(3.0, 0.19)
    assert eyes_from(Home(tmp_path, {"read_from": "2 m", "screen_height": "34 cm"})) == Eyes(2.0, 0.34)
    for wrong in ("0 m", "far", 3):
        with pytest.raises(Problem, match="write a length in quotes"):
            eyes_from(Home(tmp_path, {"read_from": wrong}))


def test_a_folder_that_takes_nothing_is_said(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text(json.dumps({}))
    with pytest.raises(Problem, match="cannot be written"):
        save_settings(Home(blocked / "home", {}), GOOD)
