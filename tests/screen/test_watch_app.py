"""The second screen: marked as one, and no key of the coach goes through it."""

from __future__ import annotations

import asyncio

from tests.screen.views import shown, wind
from winding_coach.screen.watch_app import WatchApp
from winding_coach.screen.wording import WATCH_HELP


def test_it_is_marked_and_passes_no_key_on() -> None:
    looked = wind()

    async def run() -> None:
        app = WatchApp(looked, keys=WATCH_HELP)
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.press("t", "n", "enter", "space", "c", "p", "s", "g", "g")
            await pilot.pause()
            assert "WATCHING" in shown(app)
            assert "watching only" in shown(app)
            await pilot.press("h")
            await pilot.pause()
            assert "the wind goes on" in shown(app)
            await pilot.press("h", "q")
            await pilot.pause()
            assert not app.is_running

    asyncio.run(run())
    assert looked.pressed == []
    assert looked.stopped == 1
