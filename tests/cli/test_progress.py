"""Progress of practice: what is noted is found again, whoever else writes; a spoilt file is left as it is."""

from __future__ import annotations

import json
import os
import stat
from pathlib import Path

import pytest

from winding_coach.app.problem import Problem, UsageProblem
from winding_coach.app.progress import PROGRESS_FILE, Record, load_progress, nickname


def test_tries_and_the_best_are_found_again(tmp_path: Path) -> None:
    folder = tmp_path / "home"
    for score, seed in ((60, 1), (85, 2), (70, 3)):
        progress = load_progress(folder)
        progress.note("Wren", "walk-in", score, seed)
        progress.save()
    progress = load_progress(folder)
    assert progress.noted("Wren", "walk-in") == Record(tries=3, best=85, last=70, best_seed=2)
    assert progress.noted("Wren", "even") is None
    assert progress.noted("Pip", "walk-in") is None


def test_the_file_is_the_users_own_and_nothing_else_is_left(tmp_path: Path) -> None:
    folder = tmp_path / "new" / "home"
    before = os.umask(0)
    try:
        progress = load_progress(folder)
        progress.note("Juno", "even", 90, 1)
        progress.save()
        progress.save()
    finally:
        os.umask(before)
    assert [file.name for file in folder.iterdir()] == [PROGRESS_FILE]
    assert stat.S_IMODE((folder / PROGRESS_FILE).stat().st_mode) == 0o600


def test_what_a_later_version_adds_is_kept(tmp_path: Path) -> None:
    kept = {"tries": 1, "best": 50, "last": 50, "best_seed": 4, "mood": "good"}
    content = {"format": "winding-coach practice", "version": 1, "people": {"Pip": {"even": kept}}, "club": "Lantern"}
    (tmp_path / PROGRESS_FILE).write_text(json.dumps(content))
    progress = load_progress(tmp_path)
    progress.note("Pip", "even", 40, 5)
    progress.save()
    now = json.loads((tmp_path / PROGRESS_FILE).read_text())
    assert now["club"] == "Lantern"
    assert now["people"]["Pip"]["even"] == kept | {"tries": 2, "last": 40}


SPOILT = (
    "",
    "{",
    "[]",
    '{"format": "another", "version": 1}',
    '{"format": "winding-coach practice", "version": 2}',
    '{"format": "winding-coach practice", "version": 1, "people": []}',
    '{"format": "winding-coach practice", "version": 1, "people": {"Pip": 1}}',
    '{"format": "winding-coach practice", "version": 1, "people": {"Pip": {"even": 1}}}',
    '{"format": "winding-coach practice", "version": 1, "people": {"Pip": {"even": {"tries": 1}}}}',
    "[" * 5000,
)


@pytest.mark.parametrize("text", SPOILT)
def test_a_spoilt_file_is_said_and_left_alone(tmp_path: Path, text: str) -> None:
    file = tmp_path / PROGRESS_FILE
    file.write_text(text)
    with pytest.raises(Problem, match="fix it or move it away"):
        load_progress(tmp_path)
    assert file.read_text() == text


def test_what_is_not_text_or_not_a_file_is_said(tmp_path: Path) -> None:
    file = tmp_path / PROGRESS_FILE
    file.write_bytes(b"\xff\xfe")
    with pytest.raises(Problem, match="damaged"):
        load_progress(tmp_path)
    file.unlink()
    file.mkdir()
    with pytest.raises(Problem, match="cannot be read"):
        load_progress(tmp_path)


def test_what_cannot_be_written_is_said_and_leaves_nothing(tmp_path: Path) -> None:
    in_the_way = tmp_path / "home"
    in_the_way.write_text("a file")
    progress = load_progress(in_the_way)
    progress.note("Wren", "even", 90, 1)
    with pytest.raises(Problem, match="cannot be kept"):
        progress.save()
    folder = tmp_path / "folder"
    folder.mkdir()
    progress = load_progress(folder)
    progress.note("Wren", "even", 90, 1)
    (folder / PROGRESS_FILE).mkdir()
    with pytest.raises(Problem, match="cannot be kept"):
        progress.save()
    assert [file.name for file in folder.iterdir()] == [PROGRESS_FILE]


def test_nicknames() -> None:
    assert nickname(None) == "you"
    assert nickname("  Wren   of the hall ") == "Wren of the hall"
    for typed in ("", "   ", "a\x1b[2J", "x" * 41):
        with pytest.raises(UsageProblem, match="nickname"):
            nickname(typed)
