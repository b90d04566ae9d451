"""When the screen draws: what must be seen at once does not wait for its turn, what need not does."""

from __future__ import annotations

import asyncio
import time
from dataclasses import replace

import pytest
from textual.pilot import Pilot

from tests.screen.views import Still, wind
from winding_coach.coach.said import Prompt
from winding_coach.coach.view import CoachView
from winding_coach.screen import app as app_module
from winding_coach.screen.app import CoachApp
from winding_coach.screen.sheet_view import SheetView

PATIENCE_S = 20.0


class Pictures:
    """Counts what is drawn, while nothing is drawn for the sake of the time alone."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.drawn = 0
        show = SheetView.show

        def showing(view: SheetView, *what: object) -> None:
            self.drawn += 1
            show(view, *what)  # type: ignore[arg-type]

        monkeypatch.setattr(SheetView, "show", showing)
        monkeypatch.setattr(app_module, "LOOKS_PER_S", 1e-3)

    async def more(self, than: int) -> bool:
        deadline = time.monotonic() + PATIENCE_S
        while self.drawn <= than and time.monotonic() < deadline:
            await asyncio.sleep(0.01)
        return self.drawn > than


def rising(view: CoachView) -> CoachView:
    reading = replace(view.reading, torque_Nm=(view.reading.torque_Nm or 0.0) + 0.5e-3)
    return replace(view, reading=reading)


def jumping(view: CoachView) -> CoachView:
    return replace(view, shown_torque_Nm=(view.reading.torque_Nm or 0.0) + 0.5e-3)


def prompting(view: CoachView) -> CoachView:
    return replace(view, prompt=Prompt(view.at_s, "stop_at_peak", "Stop cranking."))


def test_figures_and_words_are_drawn_as_soon_as_they_change(monkeypatch: pytest.MonkeyPatch) -> None:
    pictures = Pictures(monkeypatch)
    looked = wind()

    async def run() -> None:
        async with CoachApp(looked).run_test(size=(80, 24)) as pilot:
            await pilot.pause()
            for change in (rising, jumping, prompting):
                drawn = pictures.drawn
                looked.view = change(looked.view)
                assert await pictures.more(drawn), change

    asyncio.run(run())


async def some_looks(looked: Still, pilot: Pilot[None]) -> None:
    for number in range(10):
        looked.view = replace(looked.view, at_s=looked.view.at_s + 0.01 * number)
        await asyncio.sleep(1 / app_module.CHECKS_PER_S)
    await pilot.pause()


def test_what_need_not_be_seen_at_once_waits_for_its_turn(monkeypatch: pytest.MonkeyPatch) -> None:
    pictures = Pictures(monkeypatch)
    looked = wind()

    async def run() -> None:
        async with CoachApp(looked).run_test(size=(80, 24)) as pilot:
            await pilot.pause()
            drawn = pictures.drawn
            await some_looks(looked, pilot)
            assert pictures.drawn == drawn
            monkeypatch.setattr(app_module, "LOOKS_PER_S", 1e3)
            assert await pictures.more(drawn)

    asyncio.run(run())
