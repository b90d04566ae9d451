"""A motor's figures as typed, the home and its settings."""

from __future__ import annotations

import argparse
from pathlib import Path

import pytest

from winding_coach.app.problem import Problem, UsageProblem
from winding_coach.base.units import INCH_M
from winding_coach.cli.args.common import add_common_arguments, home_from, units_from
from winding_coach.cli.args.figures import add_motor_arguments, figures_from


def parsed(*words: str) -> argparse.Namespace:
    parser = argparse.ArgumentParser()
    add_motor_arguments(parser)
    add_common_arguments(parser)
    return parser.parse_args(words)


def test_figures_in_metric_and_inch() -> None:
    args = parsed("--loop", "30", "--mass", "1.4", "--orings", "0.08", "--ratio", "10:1", "--hooks", "22 cm")
    figures = figures_from(args, "metric")
    assert figures.motor.loop_m == pytest.approx(0.30)
    assert figures.motor.mass_kg == pytest.approx(1.4e-3)
    assert figures.motor.strands == 2
    assert figures.winder.ratio == 10.0
    assert figures.model.hooks_m == pytest.approx(0.22)
    inch = figures_from(parsed("--loop", "12", "--mass", "1.4", "--launch-torque", "0.5"), "inch")
    assert inch.motor.loop_m == pytest.approx(12 * INCH_M)
    assert inch.model.launch_torque_Nm == pytest.approx(0.5 * 7.061552e-3, rel=1e-6), "NIST SP 811: ozf·in"


def test_a_share_is_typed_in_percent() -> None:
    assert figures_from(parsed("--loop", "30", "--mass", "1", "--share", "85%"), "metric").motor.share == 0.85


@pytest.mark.parametrize(
    "words",
    [
        (),
        ("--loop", "30"),
        ("--loop", "x", "--mass", "1"),
        ("--loop", "30 g", "--mass", "1"),
        ("--loop", "-3", "--mass", "1"),
        ("--loop", "30", "--mass", "1", "--strands", "2.5"),
        ("--loop", "30", "--mass", "1", "--strands", "none"),
        ("--loop", "30", "--mass", "1", "--ratio", "nan"),
        ("--loop", "30", "--mass", "1", "--ratio", "0"),
        ("--loop", "30", "--mass", "1", "--room", "5 stones"),
    ],
)
def test_what_cannot_be_is_one_sentence(words: tuple[str, ...]) -> None:
    with pytest.raises(UsageProblem) as said:
        figures_from(parsed(*words), "metric")
    assert str(said.value).endswith(".")
    assert "\n" not in str(said.value)
    assert said.value.exit_status == 2


def test_the_home_is_named_by_option_then_environment(home: Path, tmp_path: Path) -> None:
    assert home_from(parsed()).folder == home
    assert home_from(parsed("--home", str(tmp_path))).folder == tmp_path


def test_without_either_the_platform_names_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("WINDING_COACH_HOME", raising=False)
    assert home_from(parsed()).folder.name == "winding-coach"


def test_settings_choose_the_units(home: Path) -> None:
    home.mkdir()
    (home / "settings.json").write_text('{"units": "inch"}')
    assert units_from(parsed(), home_from(parsed())) == "inch"
    assert units_from(parsed("--units", "metric"), home_from(parsed())) == "metric"


@pytest.mark.parametrize("text", ["[]", "{", "[" * 90_000, '{"units": "cubits"}'])
def test_spoilt_settings_are_said_and_left_alone(home: Path, text: str) -> None:
    home.mkdir()
    (home / "settings.json").write_text(text)
    with pytest.raises(Problem):
        units_from(parsed(), home_from(parsed()))
    assert (home / "settings.json").read_text() == text


def test_a_home_that_is_a_file_or_closed_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(Problem, match="not a folder"):
        home_from(parsed("--home", str(tmp_path / "file")))
    (tmp_path / "settings.json").mkdir()
    with pytest.raises(Problem, match="cannot be read"):
        home_from(parsed("--home", str(tmp_path)))


def test_a_motor_that_is_not_on_the_shelf_is_named() -> None:
    with pytest.raises(UsageProblem, match=r"There is no motor 'th-99' on the shelf: see 'motor list', or give --loop"):
        figures_from(parsed("--motor", "th-99"), "metric")
