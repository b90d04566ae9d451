"""The real app, driven by its keys, in every state that people meet, at small and large sizes."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from dataclasses import replace
from pathlib import Path

import pytest
from textual.pilot import Pilot

from tests.screen.views import STATES, Still, shown, state, walk_in, wind
from winding_coach.screen.app import CoachApp
from winding_coach.screen.remark import Remark
from winding_coach.screen.terminal import Drawing
from winding_coach.screen.wording import HAND_KEYS

GOLDENS = Path(__file__).parent / "goldens"
SIZES = ((80, 24), (120, 40), (200, 60))
Step = Callable[[CoachApp, Pilot[None]], Awaitable[None]]


def drive(looked: Still, step: Step, size: tuple[int, int] = (80, 24), hand: list[str] | None = None) -> None:
    """Run the app at a size and let `step` use it."""

    async def run() -> None:
        app = CoachApp(looked, None if hand is None else hand.append)
        async with app.run_test(size=size) as pilot:
            await pilot.pause()
            await step(app, pilot)

    asyncio.run(run())


def picture(looked: Still, size: tuple[int, int], *keys: str) -> str:
    """The screen as text, after some keys."""
    seen: list[str] = []

    async def look(app: CoachApp, pilot: Pilot[None]) -> None:
        await pilot.press(*keys)
        await pilot.pause()
        app.look()
        await pilot.pause()
        seen.append(shown(app))

    drive(looked, look, size)
    return seen[0]


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
@pytest.mark.parametrize("name", list(STATES))
def test_each_state_looks_as_it_did(name: str, size: tuple[int, int], update_golden: bool) -> None:
    text = picture(state(name), size)
    golden = GOLDENS / f"{name}-{size[0]}x{size[1]}.txt"
    if update_golden:
        GOLDENS.mkdir(exist_ok=True)
        golden.write_text(text, encoding="utf-8")
    assert text == golden.read_text(encoding="utf-8")


@pytest.mark.parametrize("name", list(STATES))
def test_the_one_thing_to_do_is_on_the_screen_in_every_state_and_size(name: str) -> None:
    looked = state(name)
    prompt = looked.view.prompt
    for size in (*SIZES, (60, 18), (40, 10)):
        text = " ".join(picture(looked, size).split())
        if looked.view.summary is None and looked.view.link.state == "up" and prompt is not None:
            assert prompt.text in text
        if looked.view.link.state == "silent":
            assert "check the lead" in text or "check the meter's lead" in text
        for alarm in looked.view.alarms[:1]:
            assert alarm.level.upper() in text
            assert " ".join(alarm.text.split()[:2]) in text


@pytest.mark.parametrize("name", ["silent", "lost", "waiting"])
def test_a_stale_figure_is_never_shown_as_live(name: str) -> None:
    text = picture(state(name), (80, 24))
    assert "not live" in text


@pytest.mark.parametrize("size", [(40, 10), (20, 5), (1, 1), (500, 200)])
@pytest.mark.parametrize("glance", [False, True])
def test_no_size_is_too_small_or_too_large(size: tuple[int, int], glance: bool) -> None:
    assert picture(state("walk-in"), size, *(["g"] if glance else [])) is not None


@pytest.mark.parametrize(
    ("key", "name"),
    [
        ("t", "tare"),
        ("n", "next"),
        ("enter", "next"),
        ("space", "next"),
        ("c", "count"),
        ("p", "peak"),
        ("s", "stop"),
    ],
)
def test_the_coach_s_keys_reach_it(key: str, name: str) -> None:
    looked = wind()

    async def press(_app: CoachApp, pilot: Pilot[None]) -> None:
        await pilot.press(key)
        await pilot.pause()

    drive(looked, press)
    assert looked.pressed == [name]


def test_q_closes_the_wind_and_leaves() -> None:
    looked = wind()

    async def leave(app: CoachApp, pilot: Pilot[None]) -> None:
        await pilot.press("q")
        await pilot.pause()
        assert not app.is_running

    drive(looked, leave)
    assert looked.started == 1
    assert looked.stopped == 1


def test_g_swaps_the_large_layout_and_back() -> None:
    full = picture(state("walk-in"), (120, 40))
    glance = picture(state("walk-in"), (120, 40), "g")
    assert "risk now" in full
    assert "risk now" not in glance
    assert glance.count("█") > 1.3 * full.count("█")
    assert picture(state("walk-in"), (120, 40), "g", "g") == full


def test_h_shows_the_keys_and_any_key_closes_them() -> None:
    text = picture(state("wind"), (80, 24), "h")
    assert "freeze the picture" in text
    assert picture(state("wind"), (80, 24), "h", "h") == picture(state("wind"), (80, 24))


def test_z_freezes_the_picture_and_not_the_coach() -> None:
    looked = wind()
    later = walk_in().view

    async def freeze(app: CoachApp, pilot: Pilot[None]) -> None:
        await pilot.press("z")
        looked.view = later
        app.look()
        await pilot.pause()
        assert "FROZEN" in shown(app)
        assert "● WIND " in shown(app)
        await pilot.press("u")
        await pilot.pause()
        assert "Keep cranking to 0.559 ozf·in." in shown(app), "a frozen picture has units too"
        await pilot.press("u", "z")
        app.look()
        await pilot.pause()
        assert "FROZEN" not in shown(app)
        assert "● WALK IN " in shown(app)

    drive(looked, freeze)
    assert looked.pressed == []


def test_u_shows_figures_in_the_other_units_and_back() -> None:
    metric, inch = picture(state("walk-in"), (80, 24)), picture(state("walk-in"), (80, 24), "u")
    assert "6.78 mN·m" in metric
    assert "0.960 ozf·in" in inch  # 6.78 mN·m over 7.06155 mN·m: NIST SP 811, appendix B.8
    assert "Step in to 1.22 m; keep cranking." in metric
    assert "Step in to 48 in; keep cranking." in inch, "the coach's sentences too"
    assert "above the target of 0.960 ozf·in" in picture(state("danger"), (80, 24), "u")
    assert picture(state("walk-in"), (80, 24), "u", "u") == metric


def test_escape_closes_the_cautions_and_they_never_stand_in_the_way() -> None:
    before = picture(state("stretch-out"), (80, 24))
    assert "Eye protection on" in before
    assert "children" in before
    assert "Local rules and the adult in charge" in before
    assert "Hook up and stretch to 1.81 m." in before
    assert "Eye protection" not in picture(state("stretch-out"), (80, 24), "escape")
    assert "Eye protection" not in picture(state("wind"), (80, 24))
    assert "Eye protection" in picture(state("stretch-out"), (80, 24), "g")


def test_l_goes_through_the_themes() -> None:
    names: list[str] = []

    async def change(app: CoachApp, pilot: Pilot[None]) -> None:
        for _ in range(4):
            names.append(app.theme)
            await pilot.press("l")
            await pilot.pause()

    drive(wind(), change)
    assert names == ["lamplight", "tissue", "contrast", "lamplight"]


def test_practised_hands_have_keys_of_their_own() -> None:
    hand: list[str] = []

    async def press(app: CoachApp, pilot: Pilot[None]) -> None:
        for key in HAND_KEYS:
            await pilot.press(key)
        await pilot.press("h")
        await pilot.pause()
        assert "let go of the crank" in shown(app)

    drive(wind(), press, (120, 40), hand)
    assert hand == [command for command, _ in HAND_KEYS.values()]


def test_a_remark_stands_where_no_alarm_is() -> None:
    remark = "Lesson 2: Come in to the hooks."

    async def shown_with(looked: Still) -> str:
        app = CoachApp(looked, note=lambda: Remark(remark))
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.pause()
            return shown(app)

    assert remark in asyncio.run(shown_with(state("walk-in")))
    assert remark not in asyncio.run(shown_with(state("danger")))


def test_a_finished_wind_says_what_to_write_on_the_wrapper() -> None:
    text = picture(state("done"), (80, 24))
    summary = state("done").view.summary
    assert summary is not None
    assert f"{summary.launch_turns:.0f} turns" in text
    assert "label" in text


def test_the_picture_changes_with_the_size() -> None:
    looked = state("wind")

    async def resize(app: CoachApp, pilot: Pilot[None]) -> None:
        await pilot.resize_terminal(120, 40)
        await pilot.pause()
        app.look()
        await pilot.pause()
        assert shown(app) == picture_of_120

    picture_of_120 = picture(looked, (120, 40))
    drive(replace(looked), resize)


def test_a_loop_that_gives_no_sign_of_life_is_not_live() -> None:
    now = [100.0]

    async def run() -> None:
        app = CoachApp(wind(), clock=lambda: now[0])
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.pause()
            app.look()
            await pilot.pause()
            assert "not live" not in shown(app)
            now[0] += 2.5
            app.look()
            await pilot.pause()
            assert "not live" in shown(app)

    asyncio.run(run())


def test_a_terminal_without_utf_8_is_drawn_in_ascii() -> None:
    async def run() -> str:
        app = CoachApp(walk_in(), drawn=Drawing(characters="ascii"))
        async with app.run_test(size=(120, 40)) as pilot:
            await pilot.pause()
            return shown(app)

    text = asyncio.run(run())
    assert text.isascii()
    assert "Step in to 1.22 m; keep cranking." in text
    assert text.count("#") > 200


def test_a_name_cannot_drive_the_terminal_or_push_its_neighbours() -> None:
    looked = wind()
    looked.trace_name = "\x1b[2J漢字\n.wind.jsonl"
    text = picture(looked, (120, 40))
    assert "?[2J???.wind.jsonl" in text
    assert len(text.splitlines()) == 40


def test_without_a_meter_it_says_what_is_seen_on_the_ports_and_asks_only_then() -> None:
    async def run(looked: Still) -> str:
        app = CoachApp(looked, ports=lambda: "Seen on the ports: nothing.")
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.pause()
            return shown(app)

    assert "Seen on the ports: nothing." in asyncio.run(run(state("waiting")))
    assert "Seen on the ports" not in asyncio.run(run(wind()))
