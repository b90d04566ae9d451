"""A meter that fails in mid-wind: taps carry the count on, from the last that it counted to the target turns."""

from __future__ import annotations

import pytest

from tests.scenario import SETTINGS, wind
from winding_coach.base.inputs import BytesArrived, Input, KeyPressed, LinkDown, LinkUp, TimePassed
from winding_coach.coach.said import Phase, Prompt, Summary
from winding_coach.coach.step import Coach

RATIO, PLAN = SETTINGS.winder.ratio, SETTINGS.plan
EVERY_S = 0.1


class Failing:
    """A wind whose meter dies at a time; a helper presses `c` once for each crank turn that the hands then make, as
    long as the coach has more of them to go, and again while it says to back off."""

    def __init__(self, inputs: tuple[Input, ...], dies_s: float, *, silent: bool) -> None:
        self.coach = Coach(SETTINGS)
        self.said: list[Prompt] = []
        self.at_s = dies_s
        for event in inputs:
            if event.at_s >= dies_s:
                break
            self.step(event)
        self.counted = self.coach.view.reading.turns or 0.0
        self.hands = self.counted
        if not silent:
            self.step(LinkDown(dies_s, "the lead is out"))
        self.wait(3.0)

    def step(self, event: Input) -> None:
        self.coach.step(event)
        self.said += [one for one in self.coach.said if isinstance(one, Prompt)]

    def wait(self, seconds: float) -> None:
        end_s = self.at_s + seconds
        while self.at_s < end_s - 1e-9:
            self.at_s = round(self.at_s + EVERY_S, 6)
            self.step(TimePassed(self.at_s))

    def tap(self, *, back: bool = False) -> None:
        self.hands += -RATIO if back else RATIO
        self.step(KeyPressed(self.at_s, "count"))
        self.wait(1.0)

    def to_the_end(self) -> Summary:
        for _ in range(300):
            if self.coach.view.phase in (Phase.BACK_OFF, Phase.READY):
                break
            self.tap()
        self.peak = self.hands
        self.wait(4.0)
        for _ in range(20):
            if self.coach.view.phase is Phase.READY:
                break
            self.tap(back=True)
        self.wait(1.0)
        self.step(KeyPressed(self.at_s, "next"))
        assert self.coach.summary is not None
        return self.coach.summary


@pytest.fixture(scope="module", params=(3, 4))
def inputs(request: pytest.FixtureRequest) -> tuple[Input, ...]:
    return wind("good", request.param)


@pytest.mark.parametrize("silent", [True, False], ids=["silent", "unplugged"])
@pytest.mark.parametrize("dies_s", [30.0, 70.0, 95.0, 105.0])
def test_taps_carry_it_to_the_target_turns(inputs: tuple[Input, ...], dies_s: float, silent: bool) -> None:
    """The hands' own turns are the truth: what was counted before, and one crank turn a tap."""
    failing = Failing(inputs, dies_s, silent=silent)
    assert failing.counted > 0.0
    found = failing.to_the_end()
    assert failing.peak == pytest.approx(PLAN.target_turns, rel=0.02)
    assert found.outcome == "done"
    assert found.peak_turns == pytest.approx(failing.peak, abs=0.5)
    assert found.launch_turns == pytest.approx(PLAN.target_turns - PLAN.back_off_turns, abs=RATIO)
    codes = [one.code for one in failing.said]
    assert codes.index("count_on") < len(codes) - 1 - codes[::-1].index("stop_at_peak")
    walked = [one.distance_m for one in failing.said if one.code == "count_on" and one.distance_m is not None]
    assert walked == sorted(walked, reverse=True), "the walk-in goes on by the plan's path"


def test_nobody_who_only_waits_is_sent_on(inputs: tuple[Input, ...]) -> None:
    failing = Failing(inputs, 70.0, silent=True)
    failing.wait(30.0)
    assert "count_on" not in [one.code for one in failing.said]
    prompt = failing.coach.view.prompt
    assert prompt is not None
    assert prompt.code == "stop_at_peak"


def test_a_meter_that_comes_back_counts_on_from_what_was_tapped(inputs: tuple[Input, ...]) -> None:
    failing = Failing(inputs, 60.0, silent=False)
    for _ in range(5):
        failing.tap()
    tapped = failing.coach.view.reading.turns
    assert tapped == pytest.approx(failing.counted + 5 * RATIO)
    failing.step(LinkUp(failing.at_s, "meter"))
    moved_s = failing.at_s - 60.0
    for event in inputs:
        if isinstance(event, BytesArrived) and 60.0 <= event.at_s < 64.0:
            failing.step(BytesArrived(round(event.at_s + moved_s, 6), event.data))
    view = failing.coach.view
    assert view.reading.turns_source == "counted"
    assert view.reading.turns is not None
    assert tapped is not None
    assert tapped <= view.reading.turns <= tapped + 8 * RATIO


def test_taps_on_a_living_meter_count_nothing(inputs: tuple[Input, ...]) -> None:
    coach = Coach(SETTINGS)
    for event in inputs:
        if event.at_s >= 60.0:
            break
        coach.step(event)
    before = coach.view.reading.turns
    for _ in range(20):
        coach.step(KeyPressed(60.0, "count"))
    assert coach.view.reading.turns == before
