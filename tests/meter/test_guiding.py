"""Leading somebody through the loads, without waiting."""

from __future__ import annotations

import re

import numpy as np
import pytest

from winding_coach.meter.calibration import SIMULATED
from winding_coach.meter.commissioning.guiding import AT_THE_END, FROZEN, UNCHANGED, Guide, Load
from winding_coach.meter.reader import MeterReader
from winding_coach.simulator.weights import WeighedMeter, WeightBench

LOADS = (Load(0.0, "nothing"), Load(5.884e-3, "20 g, right"), Load(-5.884e-3, "20 g, left"))


class Bench:
    """A guide at a simulated bench."""

    def __init__(self, meter: WeighedMeter | None = None) -> None:
        self.guide = Guide(LOADS)
        self.bench = WeightBench(meter or WeighedMeter(), np.random.default_rng(3))
        self.reader = MeterReader(SIMULATED)

    @property
    def waiting_s(self) -> float | None:
        return self.guide.view.waiting_s

    @property
    def taken(self) -> int:
        return len(self.guide.view.points)

    def wait(self, seconds: float) -> None:
        for _ in range(round(seconds / 0.1)):
            self.guide.see(self.reader.feed(self.bench.advance(0.1)))


def test_all_loads_are_taken_in_their_order() -> None:
    at = Bench()
    assert at.guide.view.counts is None
    for number, load in enumerate(LOADS, 1):
        view = at.guide.view
        assert (view.number, view.of, view.finished) == (number, 3, False)
        assert (load.words in view.ask) == (load.torque_Nm != 0)
        at.bench.hang(load.torque_Nm)
        at.wait(1.0)
        assert [at.waiting_s] == [None], "nothing is taken before it is asked for"
        at.guide.take()
        assert [at.waiting_s] == [0.0]
        at.wait(1.0)
        assert at.waiting_s == pytest.approx(1.0, abs=0.1)
        at.wait(5.0)
    view = at.guide.view
    assert view.finished
    assert view.ask == "All loads are taken."
    assert [point.torque_Nm for point in view.points] == [load.torque_Nm for load in LOADS]
    for point in view.points:
        assert SIMULATED.torque_Nm(point.counts) == pytest.approx(point.torque_Nm, abs=1e-6)
    at.guide.take()
    assert [at.waiting_s] == [None]


def test_what_does_not_come_to_rest_is_asked_for_again() -> None:
    at = Bench(WeighedMeter(zero_drift_Nm_per_s=50e-6))
    at.guide.take()
    at.wait(31.0)
    view = at.guide.view
    assert (view.waiting_s, view.points) == (None, ())
    assert view.trouble is not None
    # 50 µN·m a second are 3 mN·m a minute, of 72,994 counts each.
    drift = re.fullmatch(r"It drifts by \+([\d,]+) counts a minute: let it warm up, .*", view.trouble)
    assert drift is not None, view.trouble
    assert float(drift[1].replace(",", "")) == pytest.approx(3 * 72_994, rel=0.02)
    at.guide.take()
    assert at.guide.view.trouble is None


def test_back_stops_the_waiting_and_then_forgets_a_point() -> None:
    at = Bench()
    at.guide.back()
    assert at.taken == 0
    at.guide.take()
    at.wait(4.0)
    assert at.taken == 1
    at.guide.take()
    at.guide.back()
    assert (at.waiting_s, at.taken) == (None, 1)
    at.guide.back()
    assert (at.guide.view.number, at.taken) == (1, 0)


def test_a_load_that_did_not_change_the_reading_was_taken() -> None:
    """It is refused at once, once: an arm on its stop does not move either."""
    at = Bench()
    at.guide.take()
    at.wait(4.0)
    assert at.taken == 1
    at.guide.take()
    at.wait(4.0)
    assert at.taken == 1
    assert at.guide.view.trouble == UNCHANGED
    at.guide.take()
    at.wait(4.0)
    assert at.taken == 2


@pytest.mark.parametrize(("meter", "said"), [(WeighedMeter(frozen=True), FROZEN), (WeighedMeter(), UNCHANGED)])
def test_after_one_load_that_changed_nothing_the_next_are_still_judged(meter: WeighedMeter, said: str) -> None:
    """A frozen converter was asked of once; then twelve loads were taken, all at one value."""
    at = Bench(meter)
    seen = []
    for _ in range(5):
        at.guide.take()
        at.wait(4.0)
        seen.append((at.taken, at.guide.view.trouble))
    assert seen == [(1, None), (1, said), (2, None), (2, said), (3, None)]


def test_a_reading_at_the_end_of_the_range_was_taken() -> None:
    at = Bench(WeighedMeter(end_counts=2e5))
    at.guide.take()
    at.wait(4.0)
    at.bench.hang(5.884e-3)
    at.guide.take()
    at.wait(5.0)
    assert at.guide.view.trouble == AT_THE_END
