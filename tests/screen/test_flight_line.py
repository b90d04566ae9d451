"""The flight's line in the finished screen: typed with f, kept or refused with a sentence, nothing before the end."""

from __future__ import annotations

import asyncio

from tests.screen.views import Still, shown, state
from winding_coach.screen.after import After
from winding_coach.screen.app import CoachApp


def after_keys(
    looked: Still, *presses: str, keep: bool = True, size: tuple[int, int] = (80, 24)
) -> tuple[str, list[str]]:
    """The screen as text after some keys, and the lines that were to be kept."""
    lines: list[str] = []
    seen: list[str] = []

    def kept(line: str) -> tuple[bool, str]:
        lines.append(line)
        return (True, "Flight of wind 3a81f40f: 6:52.") if line == "6:52" else (False, "DURATION: no duration.")

    async def run() -> None:
        app = CoachApp(looked, after=After(flight=kept) if keep else None)
        async with app.run_test(size=size) as pilot:
            await pilot.pause()
            await pilot.press(*presses)
            await pilot.pause()
            seen.append(shown(app))

    asyncio.run(run())
    return seen[0], lines


def test_a_line_is_typed_refused_corrected_and_kept() -> None:
    text, lines = after_keys(state("done"), "f", "x", "enter")
    assert lines == ["x"]
    assert "no duration" in text
    text, lines = after_keys(state("done"), "f", *"6:52", "enter")
    assert lines == ["6:52"]
    assert "Flight of wind 3a81f40f: 6:52. Enter closes." in text
    text, lines = after_keys(state("done"), "f", *"6:52", "enter", "enter")
    assert lines == ["6:52"]
    assert "f log the flight" in text


def test_escape_keeps_nothing() -> None:
    text, lines = after_keys(state("done"), "f", *"6:52", "escape")
    assert lines == []
    assert "Enter closes" not in text


def test_before_the_end_and_without_a_shelf_the_key_does_nothing() -> None:
    text, _ = after_keys(state("walk-in"), "f")
    assert "How was the flight?" not in text
    text, _ = after_keys(state("done"), "f", keep=False)
    assert "How was the flight?" not in text
    assert "log the flight" not in text


def test_it_fits_a_small_window() -> None:
    text, _ = after_keys(state("done"), "f", *"6:52 180", size=(60, 18))
    assert "6:52 180" in text
    assert "How was the flight?" in text
