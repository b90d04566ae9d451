"""The replay's place: moved by a clock of the test's own; and its keys in the real app."""

from __future__ import annotations

import asyncio

import pytest

from tests.scenario import SETTINGS, wind
from tests.screen.views import shown
from winding_coach.coach.said import Phase, PhaseSaid
from winding_coach.coach.step import Coach
from winding_coach.screen.playback import Film, Playback, film_of, torque_at_turns
from winding_coach.screen.replay_app import ReplayApp
from winding_coach.screen.wording import PLAY_KEYS


@pytest.fixture(scope="module")
def film() -> Film:
    return film_of("good.wind.jsonl", wind("good"), SETTINGS)


class Clock:
    def __init__(self) -> None:
        self.now = 50.0

    def __call__(self) -> float:
        return self.now


def test_the_film_holds_the_views_of_the_same_coach(film: Film) -> None:
    coach = Coach(SETTINGS)
    views = dict(zip(film.times_s, film.views, strict=True))
    begun: list[float] = []
    seen = 0
    for event in wind("good"):
        coach.step(event)
        begun += [said.at_s for said in coach.said if isinstance(said, PhaseSaid)]
        if coach.said:
            seen += 1
            assert views[event.at_s].phase is coach.view.phase
            assert views[event.at_s].reading == coach.view.reading
        if coach.finished:
            break
    assert seen > 20
    assert set(begun) <= set(film.events_s)
    assert film.views[-1].summary == coach.summary


def test_it_moves_with_the_clock_and_its_speed_and_stops_at_the_end(film: Film) -> None:
    clock = Clock()
    playback = Playback(film, speed=2.0, clock=clock)
    playback.start()
    clock.now += 10.0
    assert playback.at_s == pytest.approx(20.0)
    assert playback.view.at_s <= 20.0 < playback.view.at_s + 0.2
    assert all(point[0] <= 20.0 for point in playback.points())
    clock.now += 1e6
    assert playback.finished
    assert playback.view is film.views[-1]
    assert playback.place[0] == 1.0
    playback.command("pause")  # At the end it begins again.
    assert playback.at_s == 0.0


def test_pause_step_seek_and_speed(film: Film) -> None:
    clock = Clock()
    playback = Playback(film, clock=clock)
    playback.command("pause")
    clock.now += 9.0
    assert playback.at_s == 0.0
    for _ in range(3):
        playback.command("on")
    assert playback.at_s == 15.0
    number = film.views.index(playback.view)
    playback.command("step")
    assert playback.view is film.views[number + 1]
    playback.command("step_back")
    playback.command("step_back")
    assert playback.view is film.views[number - 1]
    playback.command("back")
    assert playback.at_s == pytest.approx(film.times_s[number - 1] - 5.0)
    playback.command("begin")
    playback.command("back")
    assert playback.at_s == 0.0
    playback.command("faster")
    playback.command("faster")
    playback.command("slower")
    playback.command("pause")
    clock.now += 3.0
    assert playback.at_s == pytest.approx(6.0)
    playback.command("finish")
    assert playback.at_s == film.end_s


def test_events_are_jumped_to_in_order_and_back(film: Film) -> None:
    clock = Clock()
    playback = Playback(film, clock=clock)
    playback.command("pause")
    there = []
    for _ in film.events_s:
        playback.command("next_event")
        there.append(playback.at_s)
    playback.command("next_event")
    assert playback.at_s == film.end_s
    back = []
    for _ in film.events_s:
        playback.command("last_event")
        back.append(playback.at_s)
    assert set(there) <= {*film.events_s, film.end_s}
    assert back[-1] == 0.0
    assert there == sorted(there)
    assert Phase.WALK_IN in {film.views[-1].phase, *(phase for _, _, phase in film.views[-1].phase_starts)}


def test_another_wind_is_compared_at_the_same_turns(film: Film) -> None:
    other = film_of("stall.wind.jsonl", wind("stall"), SETTINGS)
    playback = Playback(film, (other,), clock=Clock())
    playback.seek(60.0)
    name, torque_Nm = playback.comparison or ("", None)
    assert name == "stall.wind.jsonl"
    turns = playback.view.reading.turns
    assert turns is not None
    assert torque_Nm is not None
    near = [torque for _, at, torque in other.points if at is not None and abs(at - turns) < 8]
    assert min(near) <= torque_Nm <= max(near)
    assert Playback(film).comparison is None


def test_torque_at_turns_goes_straight_between_points_and_not_beyond() -> None:
    points = ((0.0, None, 9.0), (1.0, 0.0, 0.0), (2.0, 10.0, 2.0), (3.0, 5.0, 1.0))
    assert torque_at_turns(points, 5.0) == 1.0
    assert torque_at_turns(points, 10.0) == 2.0
    assert torque_at_turns(points, 0.0) == 0.0
    assert torque_at_turns(points, 11.0) is None


@pytest.mark.parametrize("key", list(PLAY_KEYS))
def test_every_key_of_a_replay_does_its_command(key: str, film: Film) -> None:
    done: list[str] = []

    class Noting(Playback):
        def command(self, name: str) -> None:
            done.append(name)
            super().command(name)

    async def run() -> None:
        app = ReplayApp(Noting(film, clock=Clock()))
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.press(key)
            await pilot.pause()

    asyncio.run(run())
    assert done == [PLAY_KEYS[key][0]]


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
def test_a_replay_shows_its_place_and_the_other_wind(size: tuple[int, int], film: Film) -> None:
    playback = Playback(film, (film,), clock=Clock())
    playback.command("pause")
    playback.seek(60.0)

    async def run() -> str:
        app = ReplayApp(playback)
        async with app.run_test(size=size) as pilot:
            await pilot.pause()
            await pilot.press("h")
            await pilot.pause()
            assert "to the next event" in shown(app)
            await pilot.press("h")
            await pilot.pause()
            text = shown(app)
            await pilot.press("q")
            await pilot.pause()
            assert not app.is_running
            return text

    text = asyncio.run(run())
    assert "1:00 of 2:1" in text
    assert "paused" in text
    assert "REPLAY" in text
    assert "thin line: good.wind.jsonl" in text
