"""What the terminal can draw, told from its environment; and every sign that the screen uses has a stand-in."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.screen.views import STATES, state
from winding_coach.screen import terminal
from winding_coach.screen.face import Scene, face
from winding_coach.screen.sheet import in_ascii, in_few
from winding_coach.screen.terminal import drawing, is_terminal
from winding_coach.screen.themes import PALETTES

ASCII = {chr(code) for code in range(32, 127)}
WGL4 = set("─│┌┐└┘├┤┬┴┼═║╞╡▀▄█▌▐●○♦√←↑→↓≈♪×·±½°…−")
"""Of Windows Glyph List 4 (Microsoft's typography pages, from memory): what the screen needs of it."""


class Console:
    color_system: str | None = "truecolor"
    encoding = "utf-8"


@pytest.mark.parametrize(
    ("colours", "encoding", "environment", "palette", "ascii_only"),
    [
        ("truecolor", "utf-8", {}, 0, False),
        ("256", "UTF-8", {}, 0, False),
        ("standard", "utf-8", {}, -1, False),
        ("windows", "utf-8", {}, -1, False),
        (None, "utf-8", {}, -1, False),
        ("truecolor", "utf-8", {"NO_COLOR": "1"}, -1, False),
        ("truecolor", "ascii", {}, 0, True),
        ("standard", "utf-8", {"TERM": "linux"}, -1, True),
    ],
)
def test_few_colours_get_high_contrast_and_poor_fonts_ascii(
    colours: str | None,
    encoding: str,
    environment: dict[str, str],
    palette: int,
    ascii_only: bool,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(Console, "color_system", colours)
    monkeypatch.setattr(Console, "encoding", encoding)
    monkeypatch.setattr(terminal, "Console", Console)
    for name in ("NO_COLOR", "TERM"):
        monkeypatch.delenv(name, raising=False)
    for name, value in environment.items():
        monkeypatch.setenv(name, value)
    assert drawing().palette is PALETTES[palette]
    assert drawing().ascii_only is ascii_only


def test_a_setting_comes_before_what_the_terminal_tells(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "linux")
    assert drawing("few").characters == "few"
    assert drawing("all").characters == "all"


def test_a_pipe_is_no_terminal() -> None:
    assert not is_terminal()


@pytest.mark.parametrize("name", list(STATES))
def test_every_sign_of_every_state_has_a_stand_in(name: str) -> None:
    still = state(name)
    for size in ((80, 24), (200, 60)):
        scene = Scene(still.view, still.curve.points(), still.trace_name, still.trouble)
        lines = face(scene, *size).lines()
        for line in lines:
            assert "?" not in in_ascii(line.replace("?", " "))
            assert set(in_few(line)) <= ASCII | WGL4
        plain = face(replace(scene, characters="ascii"), *size).lines()
        assert all(line.isascii() and len(line) == size[0] for line in plain)
