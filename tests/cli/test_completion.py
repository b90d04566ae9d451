"""Completion: the script that is printed is used by a real shell, which asks for names of a real shelf."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from winding_coach.cli import COMMANDS, main
from winding_coach.cli.commands.completion import SHELLS, script_for, whole_parser

TRY = r"""
source "$1"
shift
COMP_WORDS=("$@")
COMP_CWORD=$(($# - 1))
does=$(complete -p winding-coach | sed 's/.*-F \([^ ]*\).*/\1/')
"$does" winding-coach "${COMP_WORDS[$COMP_CWORD]}" "${COMP_WORDS[$COMP_CWORD - 1]}"
printf '%s\n' "${COMPREPLY[@]}"
"""


@pytest.fixture(scope="module")
def script(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The script for bash, and beside it a program of the name that it calls."""
    folder = tmp_path_factory.mktemp("completion")
    file = folder / "script.bash"
    file.write_text(script_for("bash"), encoding="utf-8")
    program = folder / "winding-coach"
    program.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m winding_coach "$@"\n', encoding="utf-8")
    program.chmod(0o755)
    return file


def completed(script: Path, home: Path, *words: str) -> set[str]:
    """What bash offers for the last of the words."""
    environment = {"PATH": f"{script.parent}:/usr/bin:/bin", "WINDING_COACH_HOME": str(home)}
    command = ["bash", "-c", TRY, "bash", str(script), "winding-coach", *words]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, check=True, timeout=60)
    return set(done.stdout.split())


@pytest.mark.parametrize(
    ("words", "offered"),
    [
        (("w",), {"wind", "watch", "winder"}),
        (("wind", "--mo"), {"--motor", "--model"}),
        (("plan", "--units", ""), {"metric", "inch"}),
        (("meter", "c"), {"check", "calibrate", "conform"}),
        (("practice", "--lesson", "wa"), {"walk-in"}),
    ],
)
def test_bash_completes_commands_options_and_choices(
    script: Path, home: Path, words: tuple[str, ...], offered: set[str]
) -> None:
    assert completed(script, home, *words) == offered


def test_bash_completes_the_names_on_the_shelf(script: Path, home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert completed(script, home, "wind", "--motor", "th") == set()
    for name in ("th-07", "th-08"):
        assert main(["motor", "add", name, "--loop", "30 cm", "--mass", "1.40 g"]) == 0
    assert completed(script, home, "wind", "--motor", "th") == {"th-07", "th-08"}
    assert completed(script, home, "motor", "show", "th-07") == {"th-07"}


def test_a_spoilt_shelf_gives_no_names_and_no_noise(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    home.mkdir()
    (home / "shelf.sqlite").write_text("no shelf", encoding="utf-8")
    assert main(["completion", "--names", "motor"]) == 0
    assert capsys.readouterr() == ("", "")


@pytest.mark.parametrize("shell", SHELLS)
def test_the_script_of_each_shell_is_one_that_it_reads(shell: str, tmp_path: Path) -> None:
    text = script_for(shell)
    for name in COMMANDS:
        assert name in text
    if shutil.which(shell) is not None:
        file = tmp_path / "script"
        file.write_text(text, encoding="utf-8")
        subprocess.run([shell, "-n", str(file)], check=True, timeout=60)


def test_every_command_is_completed() -> None:
    options = whole_parser().format_help()
    for name in COMMANDS:
        assert name in options


def test_without_the_library_it_says_what_to_do(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "shtab", None)
    assert main(["completion", "zsh"]) == 1
    assert "winding-coach[completion]" in capsys.readouterr().err
