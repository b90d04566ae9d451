"""What is heard can be seen: its words in the top bar, and the terminal's bell rung by the screen itself."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass

import pytest

from tests.screen.views import shown, wind
from winding_coach.screen.app import CoachApp
from winding_coach.screen.sheet import in_ascii
from winding_coach.sound.hearing import CUE_WORDS, Side


@dataclass
class Heard:
    mark: str = ""
    rung: int = 0


def top_bars(sound: Heard | None, *marks: str) -> list[str]:
    """The top bar at 80 columns with each of the marks."""

    async def run() -> list[str]:
        app = CoachApp(wind(), sound=sound)
        bars = []
        async with app.run_test(size=(80, 24)) as pilot:
            for mark in marks:
                if sound is not None:
                    sound.mark = mark
                app.look()
                await pilot.pause()
                bars.append(shown(app).splitlines()[0])
        return bars

    return asyncio.run(run())


def test_what_is_heard_stands_in_the_top_bar_and_moves_nothing_else() -> None:
    marks = [*CUE_WORDS.values(), *(f"tone: {side}" for side in Side), "quiet", "sound lost"]
    bars = top_bars(Heard(), *marks)
    for mark, bar in zip(marks, bars, strict=True):
        assert f"♪ {mark}" in bar
    assert len({bar.index("2026-") for bar in bars}) == 1
    assert len({len(bar) for bar in bars}) == 1


def test_without_sound_there_is_no_mark() -> None:
    assert "♪" not in top_bars(None, "")[0]
    assert "♪" not in top_bars(Heard(), "")[0]


def test_the_mark_has_a_sign_in_ascii() -> None:
    assert in_ascii("♪ STOP").isascii()


def test_the_screen_rings_the_bell_when_it_is_due(monkeypatch: pytest.MonkeyPatch) -> None:
    rang: list[CoachApp] = []
    monkeypatch.setattr(CoachApp, "bell", lambda app: rang.append(app))

    async def run() -> None:
        sound = Heard("bell")
        app = CoachApp(wind(), sound=sound)
        async with app.run_test(size=(80, 24)):
            app.look()
            assert not rang
            sound.rung += 1
            app.look()
            app.look()

    asyncio.run(run())
    assert len(rang) == 1
