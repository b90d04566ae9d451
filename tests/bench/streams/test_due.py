"""When a missing mark is due, against the way to the next magnet of a crank whose motion is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.bench.streams.drawing import Ripple
from tests.bench.streams.due import when_due
from tests.bench.streams.making import MAGNET_SD, PER_TURN, Sensor, counted, made
from tests.bench.streams.scoring import scored
from tests.bench.streams.test_observer import STANDS, plain, stop_and_go
from tests.bench.streams.watching import TURNS, Watched

REV_PER_S = 1.13


@pytest.mark.parametrize("sensor", ["1 pulse", "4 pulses", "quadrature"])
def test_a_missing_mark_is_due_after_the_way_to_it_over_the_speed(sensor: Sensor) -> None:
    """The way from the angle where the crank stands to the one at which the next pulse comes after it starts again."""
    one = made(replace(plain(Ripple(), 0.002, REV_PER_S), lost=0.05, doubled=0.01), stop_and_go(REV_PER_S))
    nan = np.full(len(one.t_s), np.nan)
    silent = Watched(np.arange(len(nan)), np.full(len(nan), TURNS, dtype=np.int8), nan, one.torque_Nm, nan, 0.0)
    score = scored(one, silent, sensor)
    due_s = np.array([stand.delay_s for stand in when_due(one, score, sensor).stands], dtype=np.float64)
    assert len(due_s) == STANDS
    motion = one.motion
    clean = counted(replace(one.draw, lost=0.0, doubled=0.0), motion, sensor, motion.t_s)
    pulses = np.flatnonzero(np.diff(clean)) + 1
    for stand, waited_s in zip(score.stands[:-1], due_s[:-1], strict=True):
        standing = round((stand.from_s + 0.5 * stand.lasted_s) * 320)
        after = pulses[pulses > standing][0]
        way = motion.angle[after] - motion.angle[standing]
        # Magnets sit a little off their places; the next one is taken to be a whole share of a turn after the last.
        off_s = 0.01 + (4.0 * MAGNET_SD / REV_PER_S if PER_TURN[sensor] > 1 else 0.0)
        assert waited_s == pytest.approx(way / REV_PER_S, abs=off_s)


def test_losing_pulses_does_not_move_what_is_due() -> None:
    one = made(replace(plain(Ripple(), 0.002, REV_PER_S), lost=0.0, doubled=0.0), stop_and_go(REV_PER_S))
    lossy = replace(one, draw=replace(one.draw, lost=0.05, doubled=0.01))
    nan = np.full(len(one.t_s), np.nan)
    silent = Watched(np.arange(len(nan)), np.full(len(nan), TURNS, dtype=np.int8), nan, one.torque_Nm, nan, 0.0)
    score = scored(one, silent, "1 pulse")
    assert when_due(one, score, "1 pulse").stands == when_due(lossy, score, "1 pulse").stands
