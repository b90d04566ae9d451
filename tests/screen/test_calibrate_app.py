"""The guided calibration on the screen, with a meter at the bench that is stepped by hand."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from dataclasses import replace

import pytest
from textual.pilot import Pilot

from winding_coach.meter.commissioning.calibrating import Point
from winding_coach.meter.commissioning.guiding import GuideView
from winding_coach.screen.calibrate_app import CalibrateApp, sheet

VIEW = GuideView(
    2, 3, "Load 20 g, right (+5.884 mN·m), hands off.", 513_210, None, (Point(0.0, 84_200.4, 46.2),), None, False
)


class Still:
    """A guided meter that stands still."""

    def __init__(self, view: GuideView = VIEW, lost: str | None = None) -> None:
        self.view = view
        self.lost = lost
        self.pressed: list[str] = []

    def press(self, name: str) -> None:
        self.pressed.append(name)


def drive(still: Still, step: Callable[[CalibrateApp, Pilot[bool]], Awaitable[None]], size: tuple[int, int]) -> object:
    async def run() -> object:
        app = CalibrateApp(still)
        async with app.run_test(size=size) as pilot:
            await pilot.pause()
            await step(app, pilot)
        return app.return_value

    return asyncio.run(run())


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
def test_what_to_do_is_seen_and_keys_are_passed_on(size: tuple[int, int]) -> None:
    still = Still()

    async def step(app: CalibrateApp, pilot: Pilot[bool]) -> None:
        shown = app.export_screenshot()
        for words in ("Load&#160;20&#160;g", "2&#160;of&#160;3", "513,210", "within&#160;its&#160;rating"):
            assert words in shown
        await pilot.press("enter", "b", "q")

    assert drive(still, step, size) is False
    assert still.pressed == ["take", "back"]


def test_the_end_is_confirmed() -> None:
    still = Still(replace(VIEW, number=3, finished=True, ask="All loads are taken."))

    async def step(app: CalibrateApp, pilot: Pilot[bool]) -> None:
        await pilot.press("enter")

    assert drive(still, step, (80, 24)) is True
    assert still.pressed == []


@pytest.mark.parametrize(
    ("view", "lost", "says"),
    [
        (VIEW, None, "Press enter when it hangs still."),
        (replace(VIEW, waiting_s=1.25), None, "Waiting for rest, 1.2 s"),
        (replace(VIEW, finished=True), None, "to see the result"),
        (replace(VIEW, counts=None), "The meter is gone: pulled.", "The meter is gone: pulled."),
        (replace(VIEW, trouble="It does not come to rest."), None, "It does not come to rest."),
    ],
)
def test_each_state_has_its_words(view: GuideView, lost: str | None, says: str) -> None:
    assert says in sheet(view, lost).plain


def test_without_utf_8_all_is_ascii() -> None:
    points = (Point(5.884e-3, 1.0, words="20 g"),)
    assert sheet(replace(VIEW, ask="Load.", points=points), None, ascii_only=True).plain.isascii()
