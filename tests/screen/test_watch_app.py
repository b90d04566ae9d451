"""The second screen: marked as one, and no key of the coach goes through it."""

from __future__ import annotations

import asyncio

from tests.screen.views import shown, wind
from winding_coach.screen.face import page_of
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
            assert "the wind continues" in shown(app)
            await pilot.press("h", "q")
            await pilot.pause()
            assert not app.is_running

    asyncio.run(run())
    assert looked.pressed == []
    assert looked.stopped == 1


def test_a_queue_that_is_too_long_is_shown_part_after_part() -> None:
    lines = ("Who is next", *(f"row {number}" for number in range(1, 21)))
    assert page_of(lines, 21, 7) == lines
    pages = [page_of(lines, 7, page) for page in range(5)]
    assert [page[0] for page in pages] == [f"Who is next  {number} of 4" for number in (1, 2, 3, 4, 1)]
    assert [row for page in pages[:4] for row in page[1:]] == list(lines[1:])
    assert pages[4] == pages[0]
    assert page_of(lines, 7, None) == lines, "another notice is cut as before"


def test_the_second_screen_pages_the_queue() -> None:
    lines = ("Who is next", *(f"learner {number:02d}" for number in range(20)))
    now = [0.0]

    async def run() -> set[str]:
        app = WatchApp(wind(), queue=lambda: lines, keys=WATCH_HELP, clock=lambda: now[0])
        seen: set[str] = set()
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.press("escape", "w")
            for _ in range(6):
                app.look()
                await pilot.pause()
                seen |= {line for line in lines[1:] if line in shown(app)}
                now[0] += 6.0
        return seen

    assert asyncio.run(run()) == set(lines[1:])
