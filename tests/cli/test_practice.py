"""What practice adds to the screen of a wind: what hands and eyes at a real stand would know by themselves."""

from __future__ import annotations

from dataclasses import replace

from tests.scenario import SETTINGS
from winding_coach.cli.commands.practice import at_the_hands
from winding_coach.simulator.bench import Truth


def test_practice_says_what_a_person_at_a_stand_would_see() -> None:
    """With an empty hook, or unstretched, a newcomer wound until the motor broke, and nothing said why."""
    truth = Truth(0.0, 0.0, 0.0, 0.30, 0.0, 0.0, 0.0, 0.0, False, False, "standing")
    assert at_the_hands(truth, SETTINGS).line.startswith("The hook is empty: k hooks")
    hooked = replace(truth, hooked=True)
    assert at_the_hands(hooked, SETTINGS).line.startswith("You are at 0.30 m: ← steps out to 1.81 m")
    assert at_the_hands(replace(hooked, distance_m=SETTINGS.plan.stretch_distance_m), SETTINGS).line == ""
    assert at_the_hands(replace(hooked, turns=600.0), SETTINGS).line == "", "in the walk-in one is nearer"
