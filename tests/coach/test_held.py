"""One sensor counts up whichever way the crank turns: what is shown until it is clear which way it was."""

from __future__ import annotations

from dataclasses import replace

from tests.coach.test_alarms import CALM, LIMITS
from winding_coach.coach.held import HeldTurns
from winding_coach.coach.moment import Moment
from winding_coach.coach.said import Phase

PEAK = LIMITS.peak_Nm
ENDING = replace(CALM, phase=Phase.WALK_IN, arriving=True, counted=True, distance_m=None, phase_top_Nm=1.01 * PEAK)


def at(share: float, turns: float, per_s: float = 0.0) -> Moment:
    """Torque and its rate as shares of the peak."""
    return replace(ENDING, torque_Nm=share * PEAK, turns=turns, rate_Nm_per_s=per_s * PEAK)


def held(*moments: Moment, signed: bool = False) -> list[float]:
    turns = HeldTurns()
    return [turns.tell(each, LIMITS, signed=signed) for each in moments]


FALLS = at(0.96, 1310.0, -0.1), at(0.8, 1320.0, -0.2), at(0.6, 1330.0, -0.1)


def test_readings_showed_two_turns_of_the_crank_too_many_as_the_back_off_began() -> None:
    over = replace(FALLS[-1], phase=Phase.BACK_OFF, turns=1290.0)
    assert held(at(1.0, 1310.0), *FALLS, over) == [0.0, 0.0, 10.0, 20.0, 0.0]
    assert held(at(1.0, 1310.0), *FALLS, replace(FALLS[-1], torque_Nm=None))[-1] == 20.0, "a silence decides nothing"


def test_a_step_with_the_crank_turning_gets_its_turns_once_torque_climbs() -> None:
    assert held(at(1.0, 1310.0), *FALLS, at(0.63, 1340.0, 0.03), at(0.65, 1350.0, 0.03))[-2:] == [30.0, 0.0]


def test_nothing_is_held_on_the_way_in() -> None:
    moments = at(1.0, 1310.0), *FALLS
    assert held(*(replace(each, arriving=False) for each in moments)) == [0.0] * 4, "not told to stop"
    assert held(*(replace(each, counted=False) for each in moments)) == [0.0] * 4, "nobody counts"
    assert held(*(replace(each, phase_top_Nm=0.9 * PEAK) for each in moments)) == [0.0] * 4, "never near the target"


def test_two_sensors_know_and_relaxation_is_no_fall() -> None:
    assert held(at(1.0, 1310.0), *FALLS, signed=True) == [0.0] * 4
    assert held(at(1.0, 1310.0), at(0.97, 1310.0, -0.01), at(0.975, 1320.0, 0.01)) == [0.0] * 3


def test_at_the_hooks_the_first_pulse_of_a_back_off_is_held_too() -> None:
    hooks = [replace(each, phase=Phase.FINAL_TURNS, arriving=False) for each in (at(1.0, 1310.0), *FALLS)]
    assert held(*hooks) == [0.0, 0.0, 10.0, 20.0]
