"""Sound on the command line: options before settings before the usual, and that nothing missing stops a wind."""

from __future__ import annotations

import argparse
import gzip
import json
import os
import subprocess
import sys
import wave
from pathlib import Path

import pytest

from winding_coach.app.home import Home
from winding_coach.app.problem import Problem, UsageProblem
from winding_coach.cli import main
from winding_coach.cli.args.sound import KINDS, sound_from
from winding_coach.sound import sounding
from winding_coach.sound.sounding import SoundWanted

RECORDING = Path(__file__).parents[2] / "recordings" / "good-wind.wind.jsonl.gz"


def wanted(home: Home, usual: str, *, sound: str | None = None, speech: bool = False) -> SoundWanted:
    return sound_from(argparse.Namespace(sound=sound, speech=speech, silent_in_band=False), home, usual)


def test_options_come_before_settings_and_those_before_the_usual(tmp_path: Path) -> None:
    none, kept = Home(tmp_path, {}), Home(tmp_path, {"sound": "bell", "speech": "on"})
    assert wanted(none, "auto") == SoundWanted("auto")
    assert wanted(kept, "auto") == SoundWanted("bell", speech=True)
    assert wanted(kept, "auto", sound="off") == SoundWanted("off", speech=True)
    assert wanted(none, "off", sound="tone", speech=True) == SoundWanted("tone", speech=True)


def test_what_runs_without_a_screen_is_silent_unless_it_is_asked(tmp_path: Path) -> None:
    assert wanted(Home(tmp_path, {"sound": "bell", "speech": "on"}), "off") == SoundWanted("off")


def test_wrong_ones_are_said_in_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(UsageProblem, match=r"--sound: there is no 'loud': choose one of off, bell, tone, auto\."):
        wanted(Home(tmp_path, {}), "auto", sound="loud")
    for settings in ({"sound": 3}, {"sound": "loud"}, {"speech": True}):
        with pytest.raises(Problem, match="settings in"):
            wanted(Home(tmp_path, settings), "auto")


def test_the_kinds_are_those_of_the_sound_room() -> None:
    assert KINDS == sounding.KINDS


@pytest.fixture
def short(tmp_path: Path) -> Path:
    """The first seconds of a good wind."""
    lines = gzip.decompress(RECORDING.read_bytes()).decode().splitlines()
    rows = [(line, json.loads(line)) for line in lines[1:]]
    kept = [line for line, row in rows if "in" in row and row["at_s"] < 14.0]
    path = tmp_path / "short.wind.jsonl"
    path.write_text("\n".join([lines[0], *kept]) + "\n", encoding="utf-8")
    return path


def test_a_wind_is_written_as_a_file(short: Path, home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = short.with_suffix(".wav")
    assert main(["replay", str(short), "--sound-file", str(path)]) == 0
    assert "14 seconds as they would be heard live; cues: step in 0" in capsys.readouterr().out
    with wave.open(str(path)) as file:
        assert file.getnframes() / file.getframerate() == pytest.approx(14.0, abs=0.1)
    assert main(["replay", str(short), "--sound-file", str(short / "none.wav")]) == 1
    assert "name another file" in capsys.readouterr().err


def test_without_the_library_a_wind_goes_on_and_one_sentence_says_so(short: Path, home: Path, tmp_path: Path) -> None:
    (tmp_path / "miniaudio.py").write_text("raise ImportError\n", encoding="utf-8")
    words = ["replay", str(short), "--headless", "--speed", "max", "--sound", "tone"]
    done = subprocess.run(
        [sys.executable, "-m", "winding_coach", *words],
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
        stdin=subprocess.DEVNULL,
        env=os.environ | {"PYTHONPATH": str(tmp_path)},
    )
    assert done.returncode == 0
    assert done.stdout.splitlines()[-1].startswith("Stopped.")
    assert done.stderr == (
        "winding-coach: Sound needs the extra 'sound': pip install 'winding-coach[sound]'."
        " The terminal's bell rings instead.\n"
    )
