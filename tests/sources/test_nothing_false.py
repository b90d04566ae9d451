"""Resets, pulled leads, gaps of 0.1 to 10 s and damage in each phase: what is shown as live is so, or just was."""

from __future__ import annotations

from collections import deque

import numpy as np
import pytest

from tests.scenario import MOTOR, PLAN, SETTINGS, TICK_S, WINDER
from winding_coach.base.inputs import BytesArrived, Input, LinkDown, LinkUp, TimePassed
from winding_coach.coach.step import Coach
from winding_coach.coach.view import CoachView
from winding_coach.simulator.bench import Bench, MeterModel
from winding_coach.simulator.faults import FaultyBench, parse_fault
from winding_coach.simulator.hands import STYLES, ScriptedHands
from winding_coach.simulator.motor import SimulatedMotor

WINDOW_S = 1.0
"""A reading may be half a second old, and its smoothing looks back over about as long."""
SHARE, ABSOLUTE_NM = 0.06, 1.2e-4
"""Ripple, noise and knot slips of the simulated meter, and its zero before the tare."""
FAULTS = {
    "no fault": [],
    "a reset in each phase": ["reset@12", "reset@30", "reset@70", "reset@108", "reset@119"],
    "the lead out for 0.1 to 10 s": ["unplug@12:0.1", "unplug@35:10", "unplug@80:3", "unplug@110:1", "unplug@118:0.3"],
    "silence and damage": ["silent@70:8", "garbage@30:2", "flip=0.001", "lost=0.05", "cut=0.02", "double=0.02"],
}


class Watched:
    """A coach beside the truth: every view that is shown as live is held against what was so in the last second."""

    def __init__(self, faults: list[str]) -> None:
        rng = np.random.default_rng(1)
        hands = ScriptedHands(PLAN, MOTOR, WINDER, STYLES["good"], rng)
        bench = Bench(SimulatedMotor(MOTOR), hands, WINDER.ratio, MeterModel(), rng)
        self.bench = FaultyBench(bench, tuple(parse_fault(text) for text in faults), rng)
        self.coach = Coach(SETTINGS)
        self.truth: deque[float] = deque(maxlen=round(WINDOW_S / TICK_S))
        self.live = self.stale = 0
        self.false: list[tuple[float, float, float, float]] = []

    def inputs_of_a_tick(self, at_s: float, plugged: bool, silent_ticks: int) -> list[Input]:
        data = self.bench.advance(TICK_S)
        self.truth.append(self.bench.bench.truth.torque_Nm)
        if self.bench.plugged != plugged:
            return [LinkDown(at_s, "unplugged") if plugged else LinkUp(at_s, "meter")]
        if data:
            return [BytesArrived(at_s, data)]
        return [TimePassed(at_s)] if silent_ticks % 8 == 7 else []

    def run(self) -> None:
        self.coach.step(LinkUp(0.0, "meter"))
        at_s, silent = 0.0, 0
        while not self.coach.finished and at_s < 300.0:
            at_s = round(at_s + TICK_S, 6)
            plugged = self.bench.plugged
            events = self.inputs_of_a_tick(at_s, plugged, silent)
            silent = 0 if any(isinstance(event, BytesArrived) for event in events) else silent + 1
            for event in events:
                self.coach.step(event)
            self.look(self.coach.view)

    def look(self, view: CoachView) -> None:
        shown_Nm = view.reading.torque_Nm
        if shown_Nm is None or view.stale:
            self.stale += 1
            return
        self.live += 1
        low_Nm, high_Nm = min(self.truth), max(self.truth)
        margin_Nm = ABSOLUTE_NM + SHARE * high_Nm
        if not low_Nm - margin_Nm <= shown_Nm <= high_Nm + margin_Nm:
            self.false.append((view.at_s, shown_Nm, low_Nm, high_Nm))


@pytest.mark.no_cover
@pytest.mark.parametrize("what", FAULTS)
def test_no_torque_is_shown_as_live_that_was_not_there_a_second_ago(what: str) -> None:
    watched = Watched(FAULTS[what])
    watched.run()
    assert watched.false == []
    assert watched.live > 5000
    summary = watched.coach.summary
    assert summary is not None
    assert summary.outcome == "done"
    if what == "the lead out for 0.1 to 10 s":
        assert watched.stale * TICK_S > 10.0, "in a gap nothing is shown as live"
