"""The dispatcher: help, wrong usage, and what each command may import before it is needed."""

from __future__ import annotations

import argparse
import re
import shlex
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from winding_coach.cli import COMMANDS, main, parser_of, printable
from winding_coach.cli.output.help_lines import WIDEST


def run(*words: str) -> subprocess.CompletedProcess[str]:
    """Run the real program."""
    return subprocess.run(
        [sys.executable, "-m", "winding_coach", *words],
        capture_output=True,
        text=True,
        check=False,
        timeout=240,
        stdin=subprocess.DEVNULL,
    )


def test_help_names_every_command_and_the_cautions(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["--help"])
    assert ended.value.code == 0
    said = " ".join(capsys.readouterr().out.split())
    for name, job in COMMANDS.items():
        assert name in said
        assert job in said
    assert "eye protection" in said


@pytest.mark.parametrize("name", list(COMMANDS))
def test_each_command_has_help_with_an_example(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main([name, "--help"])
    assert ended.value.code == 0
    assert f"winding-coach {name}" in capsys.readouterr().out.replace("usage: winding-coach", "", 1)


def parsers_of(parser: argparse.ArgumentParser) -> Iterator[argparse.ArgumentParser]:
    """A command's parser and those of its jobs."""
    yield parser
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for job in action.choices.values():
                yield from parsers_of(job)


@pytest.mark.parametrize("columns", [80, 100, 200])
def test_no_line_of_help_is_wider_than_the_terminal(columns: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Help of 190 characters to a line came out of a pipe; an example stays one command for a shell."""
    monkeypatch.setenv("COLUMNS", str(columns))
    for name in COMMANDS:
        for parser in parsers_of(parser_of(name)):
            said = parser.format_help()
            assert max(len(line) for line in said.splitlines()) <= min(columns, WIDEST), parser.prog
            typed = re.findall(r"^  (winding-coach .*)$", said.replace(" \\\n", " "), re.MULTILINE)
            assert all(shlex.split(line) for line in typed)


def test_no_command_is_wrong_usage(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([]) == 2
    assert "winding-coach COMMAND --help" in capsys.readouterr().out


def test_an_unknown_command_is_named_without_its_control_characters(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["fl\x1by"])
    assert ended.value.code == 2
    said = capsys.readouterr().err
    assert "fl?y" in said
    assert "\x1b" not in said


def test_home_and_units_may_stand_before_the_command(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    home = str(tmp_path / "elsewhere")
    assert main(["--home", home, "--units=inch", "person", "add", "Wren"]) == 0
    capsys.readouterr()
    assert main(["person", "list", "--home", home]) == 0
    assert "Wren" in capsys.readouterr().out
    with pytest.raises(SystemExit) as ended:
        main(["--home", home])
    assert ended.value.code == 2


def test_printable_keeps_letters_and_drops_escapes() -> None:
    assert printable("déjà\x1b[31m\n\x07 vu") == "déjà?[31m?? vu"


def loaded(*words: str) -> set[str]:
    """Modules that the program has loaded when it ends."""
    code = f"import sys\nsys.argv[1:] = {list(words)!r}\nfrom winding_coach.cli import main\n"
    code += "try:\n    main()\nexcept SystemExit:\n    pass\nprint(*sys.modules, file=sys.stderr)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60)
    return set(done.stderr.split("\n")[-2].split())


def test_help_loads_nothing_that_takes_time() -> None:
    assert not loaded("--help") & {"numpy", "scipy", "textual", "rich", "serial", "platformdirs", "sqlite3"}


@pytest.mark.parametrize("name", ["wind", "practice", "replay", "meter"])
def test_the_help_of_a_command_loads_no_screen_and_no_scipy(name: str) -> None:
    assert not loaded(name, "--help") & {"scipy", "textual", "serial"}


@pytest.mark.parametrize("name", ["wind", "practice", "plan"])
def test_the_help_of_what_is_typed_daily_loads_no_numpy(name: str) -> None:
    """It takes a tenth of a second, and the shell waits."""
    assert "numpy" not in loaded(name, "--help")


def test_a_headless_wind_loads_no_screen_and_no_scipy(tmp_path: Path) -> None:
    small = ("--loop", "10 cm", "--mass", "0.467 g", "--hooks", "7.5 cm")
    words = ("practice", *small, "--script", "good", "--speed", "max", "--headless", "--home", str(tmp_path))
    code = f"import sys\nsys.argv[1:] = {list(words)!r}\nfrom winding_coach.cli import main\n"
    code += "main()\nprint(*sys.modules, file=sys.stderr)"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=120, stdin=subprocess.DEVNULL
    )
    assert not set(done.stderr.split()) & {"scipy", "textual", "serial"}


def test_the_module_runs_as_the_command_does() -> None:
    done = run("--version")
    assert done.returncode == 0
    assert done.stdout.startswith("winding-coach ")


def test_output_into_a_closed_pipe_is_no_traceback() -> None:
    command = f"{sys.executable} -m winding_coach meter list --json | true"
    done = subprocess.run(["sh", "-c", command], capture_output=True, text=True, check=False, timeout=60)
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("words", "what"),
    [
        (("plan", "--loop", "-30cm"), "--loop: expected one argument (one that begins with a dash"),
        (("plan", "--unts", "inch"), "unrecognized arguments: --unts inch"),
        (("motor", "show"), "required: NAME"),
        (("motor",), "required: JOB"),
        (("shelf", "season", "--by", "mo\x1bon"), "--by: invalid choice"),
        (("paln",), "there is no command 'paln'"),
    ],
)
def test_wrong_words_are_one_sentence(words: tuple[str, ...], what: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main([*words])
    said = capsys.readouterr().err
    assert ended.value.code == 2
    assert what in said
    assert "--help' shows what to type.\n" in said
    assert said.count("\n") == 1
    assert "\x1b" not in said
