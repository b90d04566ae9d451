"""Set-up in the screen: answered by keys alone, wrong answers said beside the question, skipped by escape."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from typing import Any

import pytest
from rich.color import ColorSystem
from textual.pilot import Pilot
from textual.widgets import RadioButton

from tests.screen.views import shown
from winding_coach.screen.set_up import Question, SetUpApp
from winding_coach.screen.themes import PALETTES, contrast

QUESTIONS = (
    Question("units", "units", "", "metric", (("metric", "cm, mN·m"), ("inch", "in, ozf·in"))),
    Question("ratio", "winder's ratio", "as in 10", "10"),
    Question("person", "who winds", "a nickname is enough"),
)


def answered(step: Callable[[SetUpApp, Pilot[Any]], Awaitable[None]]) -> dict[str, str] | None:
    """What the app ends with after `step`."""

    async def run() -> dict[str, str] | None:
        app = SetUpApp(QUESTIONS, lambda found: {} if found["ratio"].isdecimal() else {"ratio": "Type a number."})
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.pause()
            await step(app, pilot)
            await pilot.pause()
        return app.return_value

    return asyncio.run(run())


def test_answers_are_typed_and_chosen_by_keys_alone() -> None:
    async def step(app: SetUpApp, pilot: Pilot[Any]) -> None:
        app.query_one("#units").focus()
        await pilot.press("down", "enter", "tab", "tab", "W", "r", "e", "n", "ctrl+s")

    assert answered(step) == {"units": "inch", "ratio": "10", "person": "Wren"}


def test_a_wrong_answer_is_said_and_can_be_mended() -> None:
    async def step(app: SetUpApp, pilot: Pilot[Any]) -> None:
        app.query_one("#ratio").focus()
        await pilot.press("x", "ctrl+s")
        await pilot.pause()
        assert "Type a number." in shown(app)  # type: ignore[arg-type]
        assert app.focused is app.query_one("#ratio")
        await pilot.press("end", "backspace", "delete", "home", "delete", "delete", "1", "5", "enter", "ctrl+s")

    found = answered(step)
    assert found is not None
    assert found["ratio"].endswith("5")


def test_the_buttons_do_what_their_keys_do_and_escape_skips() -> None:
    async def skip(_app: SetUpApp, pilot: Pilot[Any]) -> None:
        await pilot.press("escape")

    async def click_skip(_app: SetUpApp, pilot: Pilot[Any]) -> None:
        await pilot.click("#skip")

    async def click_save(_app: SetUpApp, pilot: Pilot[Any]) -> None:
        await pilot.click("#save")

    assert answered(skip) is None
    assert answered(click_skip) is None
    assert answered(click_save) == {"units": "metric", "ratio": "10", "person": ""}


@pytest.mark.parametrize("theme", [palette.name for palette in PALETTES])
def test_every_choice_can_be_read_with_the_cursor_on_it(theme: str) -> None:
    """The chosen answer under the cursor was orange on orange, the first thing that a newcomer saw."""

    async def step(app: SetUpApp, pilot: Pilot[Any]) -> None:
        app.theme = theme
        app.query_one("#units").focus()
        for keys in ((), ("down",), ("enter",), ("up",)):
            await pilot.press(*keys)
            await pilot.pause()
            for choice in app.query_one("#units").query(RadioButton):
                style = choice.get_visual_style("toggle--label")
                assert style.foreground is not None
                assert style.background is not None
                # As 256 colours keep it: two that are near each other fall together.
                ink, ground = (
                    color.rich_color.downgrade(ColorSystem.EIGHT_BIT) for color in (style.foreground, style.background)
                )
                assert ink.number != ground.number
                assert contrast(style.foreground.hex, style.background.hex) >= 4.5

    answered(step)
