"""What a pull reads as is no torque of the motor: by a calibration that measured it the coach knows it from turns."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from tests.scenario import SETTINGS, wind
from winding_coach.coach.said import Phase, PhaseSaid
from winding_coach.coach.settings import CoachSettings
from winding_coach.coach.step import Coach
from winding_coach.meter.calibration import SIMULATED
from winding_coach.meter.commissioning.crosstalk import pull_reads_Nm
from winding_coach.simulator.bench import MeterModel

PER_N = 25e-6


def most_turns_in(settings: CoachSettings, meter: MeterModel) -> float:
    """The most turns that the coach thought to be in the motor before the first of the winder's."""
    coach, most, phase = Coach(settings), 0.0, None
    for event in wind("good", meter=meter):
        coach.step(event)
        phase = next((str(s.phase) for s in coach.said if isinstance(s, PhaseSaid)), phase)
        if phase == Phase.WALK_IN:
            break
        most = max(most, coach._gathering.turns_in.held.turns)
    return most


def with_pull(per_N: float) -> CoachSettings:
    return replace(SETTINGS, calibration=replace(SIMULATED, more={"pull": {"Nm_per_N": per_N}}))


def test_a_pull_was_taken_for_turns_that_the_motor_holds() -> None:
    """25 µN·m/N under this motor's pull read as 0.4 mN·m before the first turn."""
    crossed = MeterModel(pull_Nm_per_N=PER_N)
    assert most_turns_in(SETTINGS, crossed) >= 15.0, "not known, it is taken for turns"
    assert most_turns_in(with_pull(PER_N), crossed) == 0.0
    assert most_turns_in(with_pull(PER_N), MeterModel()) == 0.0
    assert most_turns_in(SETTINGS, MeterModel()) == 0.0


def test_a_left_hand_motor_is_crossed_in_the_meters_own_sense() -> None:
    crossed = MeterModel(pull_Nm_per_N=-PER_N)
    assert most_turns_in(with_pull(-PER_N), crossed) == 0.0


@pytest.mark.parametrize(
    ("kept", "reads"),
    [
        ({"Nm_per_N": 2e-5}, 2e-5 * 18.0),
        *((kept, 0.0) for kept in (None, {}, {"Nm_per_N": None}, {"Nm_per_N": "x"}, {"Nm_per_N": 1e999}, [1])),
    ],
)
def test_what_a_file_keeps_of_a_pull(kept: Any, reads: float) -> None:
    assert pull_reads_Nm(kept, 18.0) == pytest.approx(reads)
