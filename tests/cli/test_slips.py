"""Wrong words on purpose, through the real command: slips are doubted or refused in a sentence; nothing is guessed."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

LOOP = ("--loop", "30 cm", "--mass", "1.40 g", "--orings", "0.08 g")


def run(home: Path, *words: str, **env: str) -> subprocess.CompletedProcess[str]:
    """Run the real program."""
    done = subprocess.run(
        [sys.executable, "-m", "winding_coach", *words, "--home", str(home)],
        capture_output=True,
        text=True,
        encoding="utf-8",
        stdin=subprocess.DEVNULL,
        env=os.environ | env,
    )
    assert "Traceback" not in done.stderr
    return done


def wound(home: Path, *words: str, **env: str) -> str:
    """Begin a wind on the simulated meter, end it after a moment; return what it said on stderr."""
    program = [
        sys.executable,
        "-m",
        "winding_coach",
        "wind",
        "--port",
        "sim",
        "--headless",
        *words,
        "--home",
        str(home),
    ]
    streams = {"stdin": subprocess.DEVNULL, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
    process = subprocess.Popen(program, encoding="utf-8", env=os.environ | env, **streams)  # type: ignore[call-overload]
    assert process.stdout is not None
    while "Stretch out" not in process.stdout.readline():
        assert process.poll() is None, "it ended"
    process.terminate()
    said: str = process.communicate(timeout=60)[1]
    assert process.returncode == 0
    assert "Traceback" not in said
    return said


@pytest.fixture
def shelf(home: Path) -> Path:
    for words in (
        ("winder", "add", "geared", "--ratio", "15", "--limit", "40 mN.m"),
        ("motor", "add", "th-07", *LOOP),
        ("model", "add", "Thistledown", "--hooks", "22 cm"),
    ):
        assert run(home, *words).returncode == 0
    return home


def test_the_only_winder_on_the_shelf_was_not_used_by_plan(shelf: Path) -> None:
    """A plan for 10:1 on a winder of 15:1: 131 crank turns were 1965 turns, on a motor that breaks at 1637."""
    done = run(shelf, "plan", "--motor", "th-07", "--model", "Thistledown", "--json")
    plan = json.loads(done.stdout)
    assert plan["figures"]["winder"] == {"ratio": 15.0, "limit_Nm": 0.04}
    assert plan["target_crank_turns"] == pytest.approx(plan["target_turns"] / 15.0)
    own = json.loads(run(shelf, "plan", "--motor", "th-07", "--ratio", "10", "--json").stdout)
    assert own["figures"]["winder"]["ratio"] == 10.0, "what is typed overrides the shelf"


def test_a_plan_prints_what_it_is_made_for(shelf: Path) -> None:
    said = run(shelf, "plan", "--motor", "th-07", "--model", "Thistledown").stdout
    for word in ("th-07", "loop 30.0 cm", "1.40 g", "0.08 g of O-rings", "2 strands", "wind 1", "15:1"):
        assert word in said.partition("Linear density")[0]


def test_a_wind_says_at_its_start_what_it_is_for(shelf: Path) -> None:
    said = wound(shelf, "--motor", "th-07")
    assert "th-07: loop 30.0 cm, 1.40 g with 0.08 g of O-rings, 2 strands, wind 1; winder 15:1" in said


def test_of_two_winders_none_is_guessed_silently(shelf: Path) -> None:
    run(shelf, "winder", "add", "hand", "--ratio", "10")
    done = run(shelf, "plan", "--motor", "th-07")
    assert "Which winder is it? On the shelf are geared (15:1), hand (10:1): name it with --winder." in done.stderr
    assert "15:1" in run(shelf, "plan", "--motor", "th-07", "--winder", "geared").stdout


@pytest.mark.parametrize(
    "words",
    [
        ("plan", *LOOP, "--winder-lim", "40 mN.m"),
        ("plan", *LOOP, "--roo", "4 m"),
        ("motor", "add", "th-08", "--loo", "30 cm", "--mass", "1.4 g"),
        ("meter", "check", "--secon", "3"),
        ("shelf", "note", "last", "--rem", "cold"),
    ],
)
def test_an_option_was_taken_for_another_that_begins_so(home: Path, words: tuple[str, ...]) -> None:
    """`--winder` was taken for `--winder-limit`."""
    done = run(home, *words)
    assert done.returncode == 2
    assert "unrecognized arguments" in done.stderr or "required" in done.stderr


def test_no_parser_abbreviates() -> None:
    import argparse

    from winding_coach.cli import COMMANDS, parser_of

    def below(parser: argparse.ArgumentParser) -> list[argparse.ArgumentParser]:
        jobs = [action for action in parser._actions if isinstance(action, argparse._SubParsersAction)]
        return [parser, *(one for action in jobs for job in action.choices.values() for one in below(job))]

    parsers = [one for name in COMMANDS for one in below(parser_of(name))]
    assert len(parsers) > 40
    assert [parser.prog for parser in parsers if parser.allow_abbrev] == []


@pytest.mark.parametrize(
    ("typed", "status", "said"),
    [
        (("--loop", "300 cm", "--mass", "1.4 g"), 0, "too thin for any usual strip"),
        (("--loop", "3 cm", "--mass", "1.4 g"), 0, "too thick for any usual strip"),
        ((*LOOP, "--room", "40 cm"), 2, "too short to stretch a loop of 30.0 cm in"),
        ((*LOOP, "--room", "75 cm"), 0, "2.5 loop lengths only"),
        ((*LOOP, "--hooks", "0.1 cm"), 2, "by its knots alone. Check both lengths."),
        ((*LOOP, "--hooks", "5 cm"), 0, "by its knots alone"),
        ((*LOOP, "--hooks", "60 cm"), 0, "that stretches it"),
        ((*LOOP, "--share", "98"), 0, "of such motors break before the target"),
        (("--loop", "30 cm", "--mass", "14 g", "--strands", "8"), 0, "kg hung on the hook"),
    ],
)
def test_figures_that_are_mostly_a_slip_were_planned_without_a_question(
    home: Path, typed: tuple[str, ...], status: int, said: str
) -> None:
    done = run(home, "plan", *typed)
    assert done.returncode == status
    assert said in done.stderr
    assert done.stderr.count("\n") <= 2


def test_usual_figures_are_not_doubted(home: Path) -> None:
    assert run(home, "plan", *LOOP, "--hooks", "22 cm").stderr == ""
    assert json.loads(run(home, "plan", *LOOP, "--json").stdout)["doubts"] == []


def test_a_terminal_without_these_letters_was_a_traceback(home: Path) -> None:
    plain = {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}
    done = run(home, "plan", *LOOP, **plain)
    assert done.returncode == 0
    assert "mN.m" in done.stdout
    assert "+-" in done.stdout
    run(home, "person", "add", "Zoë")
    kept = json.loads(run(home, "person", "list", "--json", **plain).stdout)
    assert kept["people"][0]["name"] == "Zoë"
    wound(home, **plain)


def test_a_note_of_a_motor_that_is_not_there_was_kept(shelf: Path) -> None:
    recording = Path(__file__).parents[2] / "recordings" / "good-wind.wind.jsonl.gz"
    (shelf / "traces").mkdir(exist_ok=True)
    shutil.copy(recording, shelf / "traces" / recording.name)
    done = run(shelf, "shelf", "note", "last", "--motor", "nope")
    assert done.returncode == 2
    assert "there is no motor 'nope' on the shelf" in done.stderr
    assert run(shelf, "shelf", "note", "last", "--motor", "none").returncode == 0


def test_of_a_port_that_is_not_there_only_the_calibration_was_named(home: Path) -> None:
    done = run(home, "wind", "--port", "/dev/nothere", "--headless", *LOOP)
    assert done.returncode == 1
    assert "There is no port '/dev/nothere'" in done.stderr
