"""The walk-in led by torque: the words, the steps that are seen, and what is learnt of the person."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.coach.test_alarms import CALM, LIMITS
from tests.scenario import MOTOR, PLAN, SETTINGS, WINDER
from winding_coach.base.inputs import BytesArrived, LinkUp
from winding_coach.coach.follow import Fallen
from winding_coach.coach.lead import Lead
from winding_coach.coach.moment import Moment
from winding_coach.coach.person import Habits, Learning, learnt_from
from winding_coach.coach.said import Alarm, Phase, PhaseSaid, Prompt, Said
from winding_coach.coach.settings import CoachSettings
from winding_coach.coach.step import Coach
from winding_coach.coach.steps_seen import StepsSeen
from winding_coach.coach.turns_by_time import TurnsByTime
from winding_coach.coach.wanted import FEET
from winding_coach.live.sources.listening import ListeningBench, listener
from winding_coach.rubber.path import PlanPath
from winding_coach.simulator.bench import MeterModel
from winding_coach.simulator.motor import SimulatedMotor

PATH = PlanPath(PLAN, MOTOR)
HALF_IN = 960.0


def at(at_s: float, share: float, **more: object) -> Moment:
    """A moment of the walk-in with so much of the path's torque."""
    torque_Nm = share * PATH.torque_at(HALF_IN)
    return replace(CALM, at_s=at_s, torque_Nm=torque_Nm, turns=HALF_IN, **more)  # type: ignore[arg-type]


def led(shares: list[float], learning: Learning | None = None, per_s: float = 0.1) -> list[str]:
    """The words for torque that takes these shares of the path's, a tenth of a second each."""
    lead = Lead(PATH, LIMITS.hooks_m, learning or Learning())
    return [lead.tell(at(per_s * n, share), HALF_IN, 1.0, 12.0).code for n, share in enumerate(shares)]


def test_feet_wait_while_torque_is_low_and_walk_quicker_when_it_piles_up() -> None:
    assert set(led([0.50] * 60)[5:]) == {"wait_here"}
    assert led([1.30] * 80)[-1] == "walk_quicker"
    assert led([0.93] * 80)[-1] in ("walk_slower", "walk_on"), "on the path: the pace that keeps the strand stretch"


def test_falling_torque_slows_the_feet_before_it_is_low() -> None:
    falling = [1.0] * 30 + [1.0 - 0.03 * n for n in range(14)]
    words = led(falling)
    assert words[29] != "wait_here"
    first = words.index("wait_here")
    assert 0.7 < falling[first] < 0.85, "not for the dip of setting out, and before half of torque is gone"


def test_the_dip_of_setting_out_stops_nobody() -> None:
    """Who sets out lets the crank stand for a moment; told to wait each time they would do so a dozen times."""
    dip = [1.0] * 30 + [1.0 - 0.025 * n for n in range(10)] + [0.75 + 0.01 * n for n in range(18)]
    assert "wait_here" not in led(dip)


def test_somebody_twice_as_quick_as_the_words_is_told_slower_ones() -> None:
    usual, quick = Learning(Habits(pace=1.0)), Learning(Habits(pace=2.0))
    order = ["wait_here", "walk_slower", "walk_on", "walk_quicker"]
    assert order.index(led([1.05] * 20, quick)[-1]) < order.index(led([1.05] * 20, usual)[-1])


def test_what_is_learnt_is_learnt_only_if_it_may_be() -> None:
    learning, not_learning = Learning(), Learning(Habits(pace=2.0, winds=3), learns=False)
    for one in (learning, not_learning):
        one.paced(0.5, 0.5)
        one.stopped(1.6)
    assert learning.habits.pace == pytest.approx(0.5**0.5)
    assert learning.habits.stops_s == 1.6
    assert not_learning.habits == Habits()


def test_recent_winds_count_more_than_old_ones() -> None:
    found = learnt_from([Habits(pace=2.0, steps=True, winds=1), Habits(pace=1.0, stride_m=0.3, steps=False, winds=1)])
    assert found.pace == pytest.approx(4.0 / 3.0)
    assert (found.stride_m, found.steps, found.winds) == (0.3, False, 2)
    assert learnt_from([]) == Habits()


def test_a_step_is_seen_with_its_depth_and_its_recovery() -> None:
    seen = StepsSeen()
    torque = [1.0] * 20 + [1.0 - 0.04 * n for n in range(1, 6)] + [0.8 + 0.01 * n for n in range(30)]
    made = [one for n, share in enumerate(torque) if (one := seen.tell(at(0.1 * n, share))) is not None]
    assert len(made) == 1
    assert made[0].depth == pytest.approx(0.2, abs=0.01)
    assert made[0].crank_turned is True
    assert made[0].was == "long"
    (step,) = seen.all
    assert step.recover_s == pytest.approx(2.3, abs=0.3)


def test_a_step_with_the_crank_still_is_one_with_the_crank_still() -> None:
    seen = StepsSeen()
    torque = [1.0] * 10 + [0.95, 0.9, 0.86, 0.85, 0.85, 0.87, 0.9]
    made = [one for n, share in enumerate(torque) if (one := seen.tell(at(0.1 * n, share, cranking=n < 10)))]
    assert [one.was for one in made] == ["crank_stopped"]


def test_torque_lies_until_it_comes_back() -> None:
    fallen = Fallen()
    for n in range(100):
        fallen.tell(0.1 * n, 1.0 if n < 20 else 0.8)
    assert fallen.lies_s == pytest.approx(7.9, abs=0.11)
    fallen.tell(10.0, 0.85)
    assert fallen.lies_s == 0.0


def test_turns_that_nothing_counts_run_on_at_the_pace_of_full_stretch() -> None:
    by_time = TurnsByTime(PATH, LIMITS)
    blind = replace(CALM, phase=Phase.WIND_STRETCHED, turns=None, counted=False)
    for n in range(600):
        turns = 1.2 * n
        phase = Phase.WIND_STRETCHED if turns < LIMITS.stretched_turns else Phase.WALK_IN
        by_time.tell(replace(blind, at_s=0.1 * n, phase=phase, torque_Nm=PATH.torque_at(turns)))
    assert by_time.per_s == pytest.approx(12.0, rel=0.1)
    assert by_time.turns == pytest.approx(LIMITS.stretched_turns + 0.88 * 12.0 * 2.0, rel=0.02)


def wound(channels: str, seed: int, settings: CoachSettings = SETTINGS) -> tuple[Coach, list[Said]]:
    """A whole wind by somebody who listens; the coach and all it said."""
    rng = np.random.default_rng(seed)
    who = listener(settings, rng)
    motor = SimulatedMotor(settings.motor, hooks_m=0.22)
    bench = ListeningBench(motor, who, WINDER.ratio, MeterModel(channels=channels), rng)
    bench.listen(who, settings)
    coach, at_s = Coach(settings), 0.0
    said: list[Said] = []
    coach.step(LinkUp(0.0, "bench"))
    while not coach.finished and at_s < 300.0:
        at_s = round(at_s + 0.0125, 6)
        sent = bench.advance(0.0125)
        if sent:
            coach.step(BytesArrived(at_s, sent))
            said += coach.said
    return coach, said


@pytest.mark.parametrize("channels", ["", "c", "cd"])
def test_who_listens_hears_one_countdown_and_one_stop_and_no_warning(channels: str) -> None:
    """A meter alone, with crank pulses, with distance: each is a whole coach."""
    coach, said = wound(channels, 2)
    phases = [str(one.phase) for one in said if isinstance(one, PhaseSaid)]
    assert phases[-6:] == ["wind_stretched", "walk_in", "final_turns", "back_off", "ready", "done"]
    alarms = [(one.code, one.level) for one in said if isinstance(one, Alarm) and one.active]
    assert alarms == [("overwind_soon", "caution")]
    prompts = [one for one in said if isinstance(one, Prompt)]
    assert [one.code for one in prompts].count("stop_at_peak") == 1
    assert [one.crank_turns for one in prompts if one.code == "back_off"].count(0.0) == 1, "one stop in the back-off"
    assert {one.code for one in prompts} & {"walk_on", "walk_quicker"} <= FEET
    assert coach.summary is not None
    if channels:
        assert coach.summary.peak_turns == pytest.approx(PLAN.target_turns, rel=0.02)
    assert coach.summary.peak_torque_Nm == pytest.approx(PLAN.peak_torque_Nm, rel=0.05)
    assert coach.summary.launch_torque_Nm == pytest.approx(PLAN.launch_torque_Nm, rel=0.05)


@pytest.mark.no_cover
def test_the_countdown_is_the_one_before_the_stop() -> None:
    """The quick rise after a last step was counted down as the target in one second, eight seconds before the stop."""
    _, said = wound("c", 1)
    (soon_s,) = [one.at_s for one in said if isinstance(one, Alarm) and one.code == "overwind_soon" and one.active]
    (stop_s,) = [one.at_s for one in said if isinstance(one, Prompt) and one.code == "stop_at_peak"]
    assert 0.0 < stop_s - soon_s < 7.0
