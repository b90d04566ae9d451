"""Winds whose crank is counted by a sender with a radio: as with a lead, and a silent radio is no stall."""

from __future__ import annotations

from functools import lru_cache

import pytest

from tests.scenario import PLAN, SETTINGS, WINDER, coached, wind
from winding_coach.base.inputs import BytesArrived
from winding_coach.coach.said import Alarm, LinkSaid, PhaseSaid, Said, Summary
from winding_coach.coach.step import Coach
from winding_coach.simulator.bench import MeterModel

SENDER = MeterModel(crank_sender=True)


@lru_cache(maxsize=8)
def winding(*faults: str) -> tuple[Coach, list[Said]]:
    return coached(wind("good", meter=SENDER, faults=faults))


def summary(said: list[Said]) -> Summary:
    (one,) = [one for one in said if isinstance(one, Summary)]
    return one


def alarms(said: list[Said]) -> list[str]:
    return [one.code for one in said if isinstance(one, Alarm) and one.active]


def at(said: list[Said], phase: str) -> float:
    return next(one.at_s for one in said if isinstance(one, PhaseSaid) and str(one.phase) == phase)


def reasons(said: list[Said]) -> list[str]:
    return [one.reason for one in said if isinstance(one, LinkSaid) and one.reason]


def test_a_wind_by_a_sender_is_that_by_a_lead() -> None:
    _, said = winding()
    found, wired = summary(said), summary(coached(wind("good"))[1])
    assert found.outcome == wired.outcome == "done"
    assert found.peak_turns == pytest.approx(wired.peak_turns, abs=1.5 * WINDER.ratio)
    assert found.peak_turns == pytest.approx(PLAN.target_turns, rel=0.03)
    assert found.backed_off_turns == pytest.approx(wired.backed_off_turns, abs=1.5 * WINDER.ratio)
    assert alarms(said) == alarms(coached(wind("good"))[1])
    assert reasons(said) == []


def test_lost_and_late_lines_change_no_turns_and_are_named() -> None:
    _, said = winding("radiolost=0.15", "radiolate=0.05")
    found = summary(said)
    assert found.outcome == "done"
    assert found.peak_turns == pytest.approx(PLAN.target_turns, rel=0.04)
    assert any("of the crank sender's lines" in reason for reason in reasons(said))


def test_a_silent_radio_is_no_stall() -> None:
    """For two seconds in the walk-in nothing of the handle is heard: that is said, and no stall."""
    begun_s = at(winding()[1], "walk_in") + 3.0
    _, said = winding(f"radio@{begun_s:.1f}:2")
    assert "crank_stalled" not in [
        one.code for one in said if isinstance(one, Alarm) and one.active and begun_s <= one.at_s <= begun_s + 2.5
    ]
    assert any("the crank sender has been silent" in reason for reason in reasons(said))
    assert summary(said).peak_turns == pytest.approx(PLAN.target_turns, rel=0.04), "its turns come with its next line"


def test_a_silent_sender_is_on_the_screen_while_it_is_silent() -> None:
    begun_s = at(winding()[1], "walk_in") + 3.0
    coach, signs = Coach(SETTINGS), []
    for event in wind("good", meter=SENDER, faults=(f"radio@{begun_s:.1f}:2",)):
        coach.step(event)
        if isinstance(event, BytesArrived) and begun_s - 1.0 < event.at_s < begun_s + 3.0:
            signs.append((event.at_s - begun_s, coach.view.link.crank))
    silent = [at_s for at_s, sign in signs if sign == "crank sender silent"]
    assert silent[0] == pytest.approx(0.4, abs=0.15)
    assert silent[-1] == pytest.approx(2.0, abs=0.15)
    assert {sign for at_s, sign in signs if at_s < 0.2 or at_s > 2.2} == {None}


def test_a_sender_that_is_gone_leaves_the_wind_to_torque() -> None:
    begun_s = at(winding()[1], "walk_in") + 3.0
    coach, said = winding(f"radio@{begun_s:.1f}:300")
    found = summary(said)
    assert found.outcome == "done"
    assert found.peak_turns is None, "nobody knows the turns"
    assert found.peak_torque_Nm == pytest.approx(PLAN.peak_torque_Nm, rel=0.08)
    assert coach.finished


@pytest.mark.parametrize("per_turn", [4])
def test_four_counts_a_turn(per_turn: int) -> None:
    _, said = coached(wind("good", meter=MeterModel(crank_sender=True, pulses_per_turn=per_turn)))
    assert summary(said).peak_turns == pytest.approx(PLAN.target_turns, rel=0.03)
