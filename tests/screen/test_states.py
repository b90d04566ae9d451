"""Further states of the screen as text: help, set-up, frozen, watching, replay paused, other characters, small ones."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from tests.screen.test_playback import Clock
from tests.screen.test_side import Seen
from tests.screen.views import done, shown, state, walk_in
from winding_coach.cli.commands.set_up import questions, wrong_answers
from winding_coach.screen.app import LOOK_KEYS, CoachApp
from winding_coach.screen.playback import Film, Playback
from winding_coach.screen.replay_app import ReplayApp
from winding_coach.screen.set_up import SetUpApp
from winding_coach.screen.terminal import Drawing
from winding_coach.screen.watch_app import WatchApp
from winding_coach.screen.wording import PLAY_HELP, WATCH_HELP

GOLDENS = Path(__file__).parent / "goldens"


def replay() -> ReplayApp:
    """A replay of three pictures, so that no coach has to run."""
    views = (state("wind").view, walk_in().view, done().view)
    points = walk_in().curve.points()
    film = Film("good.wind.jsonl", views, tuple(view.at_s for view in views), (60.0,), (), points)
    return ReplayApp(Playback(film, (film,), clock=Clock()))


def set_up() -> SetUpApp:
    return SetUpApp(questions({}, []), wrong_answers)


CASES: dict[str, tuple[Callable[[], Any], tuple[int, int], tuple[str, ...]]] = {
    "help-80x24": (lambda: CoachApp(walk_in()), (80, 24), ("h",)),
    "help-120x40": (lambda: CoachApp(walk_in()), (120, 40), ("question_mark",)),
    "help-practice-120x40": (lambda: CoachApp(walk_in(), lambda _: None), (120, 40), ("h",)),
    "help-replay-80x24": (replay, (80, 24), ("h",)),
    "help-watch-80x24": (lambda: WatchApp(walk_in(), keys=WATCH_HELP), (80, 24), ("h",)),
    "frozen-80x24": (lambda: CoachApp(walk_in()), (80, 24), ("z",)),
    "glance-80x24": (lambda: CoachApp(walk_in()), (80, 24), ("g",)),
    "glance-done-80x24": (lambda: CoachApp(done()), (80, 24), ("g",)),
    "glance-200x60": (lambda: CoachApp(state("final")), (200, 60), ("g",)),
    "watching-80x24": (lambda: WatchApp(walk_in(), keys=WATCH_HELP), (80, 24), ()),
    "replay-paused-80x24": (replay, (80, 24), ("space",)),
    "replay-paused-120x40": (replay, (120, 40), ("space", "n")),
    "practice-120x40": (lambda: CoachApp(state("tape"), lambda _: None, aside=Seen), (120, 40), ()),
    "practice-side-80x24": (lambda: CoachApp(walk_in(), lambda _: None, aside=Seen), (80, 24), ("v",)),
    "few-120x40": (lambda: CoachApp(walk_in(), drawn=Drawing(characters="few")), (120, 40), ()),
    "ascii-80x24": (lambda: CoachApp(state("paces"), drawn=Drawing(characters="ascii")), (80, 24), ()),
    "smallest-60x18": (lambda: CoachApp(walk_in()), (60, 18), ()),
    "plain-40x10": (lambda: CoachApp(walk_in()), (40, 10), ()),
    "other-units-80x24": (lambda: CoachApp(walk_in()), (80, 24), ("u",)),
    "set-up-80x24": (set_up, (80, 24), ()),
    "set-up-wrong-80x24": (set_up, (80, 24), ("tab", "end", "backspace", "backspace", "ctrl+s")),
    "set-up-120x40": (set_up, (120, 40), ()),
}


def picture(make: Callable[[], Any], size: tuple[int, int], keys: tuple[str, ...]) -> str:
    """The screen as text after some keys."""

    async def run() -> str:
        app = make()
        async with app.run_test(size=size) as pilot:
            await pilot.pause()
            await pilot.press(*keys)
            await pilot.pause()
            if isinstance(app, CoachApp):
                app.look()
                await pilot.pause()
            return shown(app)

    return asyncio.run(run())


@pytest.mark.parametrize("name", list(CASES))
def test_each_further_state_looks_as_it_did(name: str, update_golden: bool) -> None:
    text = picture(*CASES[name])
    golden = GOLDENS / f"{name}.txt"
    if update_golden:
        golden.write_text(text, encoding="utf-8")
    assert text == golden.read_text(encoding="utf-8")


@pytest.mark.parametrize("key", ["g", "u", "v", "l", "z", "a", "escape", "h", "question_mark", "q", "ctrl+c", "ctrl+q"])
def test_each_key_of_the_looking_does_something(key: str) -> None:
    known = {each for binding in LOOK_KEYS for each in binding.key.split(",")}
    assert key in known
    looked = replace(state("stretch-out") if key == "escape" else walk_in())

    async def run() -> bool:
        app = CoachApp(looked, lambda _: None, aside=Seen)
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.pause()
            before = (shown(app), app.theme)
            await pilot.press(key)
            await pilot.pause()
            return not app.is_running or (shown(app), app.theme) != before

    assert asyncio.run(run())
    assert looked.pressed == []


def test_other_characters_come_round_and_need_no_others() -> None:
    texts = [picture(lambda: CoachApp(walk_in()), (120, 40), ("a",) * presses) for presses in range(4)]
    assert texts[0] == texts[3]
    assert not any(0x2800 <= ord(char) <= 0x28FF for char in texts[1])
    assert texts[2].isascii()


def test_every_key_of_the_help_is_one_that_is_tested() -> None:
    assert "a" in {key for key, _ in PLAY_HELP}
    assert {"g", "u", "l", "z", "a", "h, ?", "q"} <= {key for key, _ in WATCH_HELP}
