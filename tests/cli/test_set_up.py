"""What set-up keeps, what it refuses, and that options of a command come before it."""

from __future__ import annotations

import argparse
import json
from dataclasses import replace
from pathlib import Path

import pytest

from tests.scenario import PLAN
from winding_coach.app.home import Home
from winding_coach.app.problem import Problem, UsageProblem
from winding_coach.base.standing import Steps
from winding_coach.cli.args.common import home_from
from winding_coach.cli.args.settings import drawn_from, eyes_from, fill_in, save_settings, steps_from
from winding_coach.cli.commands.set_up import ask, kept_answers, questions, wants_set_up, wrong_answers
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
    home = save_settings(home, kept_answers(GOOD | {"person": ""}))
    assert "person" not in home.settings, "what is left empty takes the earlier answer out"
    assert "person" not in home_from(args(home=str(home.folder))).settings
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
        ("step_length", "2 cm"),
        ("step_length", "long"),
        ("read_from", "3 mm"),
        ("crank_port", "auto"),
        ("person", "x" * 41),
        ("person", "\x1b[2J"),
    ],
)
def test_each_wrong_answer_is_said_in_a_sentence(name: str, answer: str) -> None:
    wrong = wrong_answers(GOOD | {name: answer})
    assert list(wrong) == [name]
    assert wrong[name].endswith(".")


def test_a_crank_sender_is_asked_for_and_kept(tmp_path: Path) -> None:
    assert "crank_port" in [one.name for one in questions({}, ())]
    answers = GOOD | {"port": "/dev/ttyUSB0", "crank_port": "socket://192.168.4.2:7008"}
    home = save_settings(Home(tmp_path, {}), kept_answers(answers))
    given = args(crank_port=None)
    fill_in(given, home_from(args(home=str(home.folder))))
    assert given.crank_port == "socket://192.168.4.2:7008"
    (again,) = [one for one in questions(home.settings, ()) if one.name == "crank_port"]
    assert again.value == "socket://192.168.4.2:7008"
    assert wrong_answers(answers | {"crank_port": "/dev/ttyUSB0"}).keys() == {"crank_port"}


def test_a_ratio_may_be_written_as_one() -> None:
    assert wrong_answers(GOOD | {"ratio": "15:1"}) == {}


def test_options_of_the_command_come_first(tmp_path: Path) -> None:
    home = Home(tmp_path, {"ratio": "15", "person": "Juno", "hooks": ""})
    given = args(ratio="10")
    fill_in(given, home)
    assert (given.ratio, given.person, given.hooks, given.port) == ("10", "Juno", None, None)
    with pytest.raises(Problem, match="write it as text"):
        fill_in(args(), Home(tmp_path, {"ratio": 15}))


@pytest.mark.parametrize(
    ("steps", "length", "kept"),
    [
        ("usual", "", {}),
        ("feet", "70 cm", {"steps": "feet"}),
        ("paces", "70 cm", {"steps": "paces", "pace": "700 mm"}),
        ("tape", "", {"steps": "tape"}),
        ("tape", "10in", {"steps": "tape", "tape": "254 mm"}),
    ],
)
def test_the_length_of_a_step_is_kept_as_what_it_is(steps: str, length: str, kept: dict[str, str]) -> None:
    answers = GOOD | {"steps": steps, "step_length": length}
    assert wrong_answers(answers) == {}
    found = {name: value for name, value in kept_answers(answers).items() if value and name not in GOOD}
    assert found == kept
    assert wrong_answers(GOOD | {"steps": "paces", "step_length": "10 cm"}).keys() == {"step_length"}


def step_args(**given: str | None) -> argparse.Namespace:
    return argparse.Namespace(**({"steps": None, "pace": None, "tape": None} | given))


def test_steps_come_from_the_option_then_the_settings_then_the_unit_system(tmp_path: Path) -> None:
    assert steps_from(step_args(), "metric", PLAN) == Steps()
    assert steps_from(step_args(steps="paces", pace="60 cm"), "metric", PLAN) == Steps("paces", 0.6)
    by_settings = step_args(pace="60 cm")
    fill_in(by_settings, Home(tmp_path, {"steps": "paces", "pace": "80 cm"}))
    assert steps_from(by_settings, "metric", PLAN) == Steps("paces", 0.6)
    assert steps_from(step_args(steps="tape", tape="25"), "metric", PLAN).tape_m[:2] == (0.25, 0.5)
    assert steps_from(step_args(steps="tape", tape="10"), "inch", PLAN).tape_m[:2] == (0.254, 0.508)
    by_plan = steps_from(step_args(steps="tape"), "metric", PLAN).tape_m
    assert steps_from(step_args(steps="tape", tape="plan"), "metric", PLAN).tape_m == by_plan
    assert by_plan == pytest.approx([row.distance_m for row in reversed(PLAN.walk_in)], abs=1e-4)
    for wrong in ({"steps": "yards"}, {"steps": "tape", "tape": "1 mm"}, {"steps": "paces", "pace": "9 m"}):
        with pytest.raises(UsageProblem):
            steps_from(step_args(**wrong), "metric", PLAN)
    with pytest.raises(UsageProblem, match="further apart"):
        steps_from(step_args(steps="tape", tape="5 cm"), "metric", replace(PLAN, stretch_distance_m=2.0))


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


def test_it_is_said_that_the_answers_are_saved(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """It saved them and then said only that a motor needs a loop and a mass."""
    monkeypatch.setattr("winding_coach.screen.set_up.SetUpApp.run", lambda _: GOOD)
    assert ask(Home(tmp_path, {})).settings["person"] == "Wren"
    assert "Your answers are saved" in capsys.readouterr().err
    monkeypatch.setattr("winding_coach.screen.set_up.SetUpApp.run", lambda _: None)
    ask(Home(tmp_path, {}))
    assert capsys.readouterr().err == ""


def test_a_folder_that_takes_nothing_is_said(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text(json.dumps({}))
    with pytest.raises(Problem, match="cannot be written"):
        save_settings(Home(blocked / "home", {}), GOOD)


def test_what_the_screen_is_drawn_with_is_a_setting(tmp_path: Path) -> None:
    assert drawn_from(Home(tmp_path, {"characters": "few"})).characters == "few"
    with pytest.raises(Problem, match="write one of all, few, ascii"):
        drawn_from(Home(tmp_path, {"characters": "many"}))
