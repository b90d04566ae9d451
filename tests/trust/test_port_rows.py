"""Lines that are good and untrue, through a real port: pseudo-terminal, pyserial, the program's own reader, the coach.

In lockstep with the simulated motor: each piece is read before time goes on, so a busy computer changes nothing. The
rows are those that `docs/evidence/trust.md` tells; each winds until the coach has said its word.
"""

from __future__ import annotations

import os
import time
from typing import Any

import pytest

from tests.coach.untrue import World, distance_once, negated, pulses_lost, stuck_from, weight_on
from winding_coach.base.inputs import BytesArrived, Input, LinkUp, Skipped, TimePassed
from winding_coach.coach.said import Alarm, Level, Prompt
from winding_coach.live.sources.serial_port import SerialSource
from winding_coach.simulator.bench import MeterModel

pty = pytest.importorskip("pty")
tty = pytest.importorskip("tty")
pytestmark = [pytest.mark.no_cover, pytest.mark.skipif(os.name != "posix", reason="pseudo-terminals")]

PATIENCE_S = 60.0
C, CD, ALONE = MeterModel(channels="c"), MeterModel(channels="cd"), MeterModel(channels="")


class PortWorld(World):
    """A wind whose bytes go through a pseudo-terminal."""

    def __post_init__(self) -> None:
        super().__post_init__()
        self._master, slave = pty.openpty()
        tty.setraw(slave)
        self._slave = slave
        self.source = SerialSource(
            os.ttyname(slave), clock=lambda: self.at_s, sleep=lambda _: None, start=lambda work: work()
        )

    def _read(self) -> Input:
        """The next input that is one; the wall clock bounds only a broken program."""
        end = time.monotonic() + PATIENCE_S
        while isinstance(event := self.source.read(0.0), TimePassed):
            assert time.monotonic() < end, "what was written never came"
            time.sleep(0.0)
        return event

    def _step(self, event: Input) -> None:
        if isinstance(event, LinkUp):
            super()._step(self._read())
            return
        if not isinstance(event, BytesArrived):
            super()._step(event)
            return
        left = os.write(self._master, event.data)
        assert left == len(event.data)
        while left > 0:
            came = self._read()
            left -= len(came.data) if isinstance(came, BytesArrived) else 0
            left -= came.count if isinstance(came, Skipped) else 0
            super()._step(came)

    def close(self) -> None:
        """Let go of the port."""
        self.source.close()
        for number in (self._master, self._slave):
            os.close(number)


def wound(**how: Any) -> PortWorld:
    world = PortWorld(**how)
    try:
        world.run()
    finally:
        world.close()
    return world


@pytest.mark.parametrize(
    ("how", "code", "most_turns"),
    [
        ({"spoil": stuck_from(300.0), "meter": C}, "meter_frozen", 330.0),
        ({"spoil": stuck_from(300.0), "meter": ALONE}, "meter_frozen", 330.0),
        ({"spoil": stuck_from(300.0, pulses=True), "meter": C}, "meter_frozen", 330.0),
        ({"meter": MeterModel(channels="c", gain_error=-0.9)}, "far_off", 250.0),
        ({"meter": MeterModel(channels="c", gain_error=-0.5)}, "far_off", 250.0),
        ({"ratio": 16.0, "meter": C}, "far_off", 300.0),
        ({"spoil": pulses_lost(0.4), "meter": C}, "far_off", 400.0),
    ],
    ids=["stuck", "stuck, torque alone", "stuck with pulses", "gain x 0.1", "gain x 0.5", "ratio", "pulses lost"],
)
def test_what_cannot_be_is_a_danger_over_a_port(how: dict[str, Any], code: str, most_turns: float) -> None:
    world = wound(longest_s=62.0, **how)
    found = next(one for one in world.said if isinstance(one, Alarm) and one.active and one.level is Level.DANGER)
    assert found.code == code
    assert world.top_turns < most_turns + 60.0
    more = {one.code for one in world.said if isinstance(one, Prompt) and one.at_s > found.at_s}
    assert more <= {"stop_at_peak", "back_off", "launch_ready", "note_down"}


@pytest.mark.parametrize(
    "how",
    [
        {"meter": CD},
        {"spoil": distance_once(250.0, 8190), "meter": CD},
        {"spoil": distance_once(250.0, 0), "meter": CD},
        {"spoil": negated, "meter": C},
    ],
    ids=["nothing untrue", "8.19 m once", "0 m once", "the other way round"],
)
def test_what_does_no_harm_does_none_over_a_port(how: dict[str, Any]) -> None:
    world = wound(longest_s=50.0, **how)
    assert world.alarms(Level.DANGER) == []
    assert world.top_turns > 300.0


def test_a_link_that_delivers_too_little_is_old_over_a_port() -> None:
    world = wound(link=0.92, meter=C, longest_s=16.0)
    assert world.coach.view.stale
    assert world.coach.view.reading.torque_Nm is None


def test_turns_in_the_motor_are_counted_from_over_a_port() -> None:
    world = wound(turns_in=150.0, meter=C, longest_s=40.0)
    assert world.coach.view.reading.turns == pytest.approx(world.motor.turns, abs=25.0)


def test_a_zero_with_a_weight_on_the_hook_is_refused_over_a_port() -> None:
    world = wound(spoil=weight_on(1.0, 6.0, 1.5e-3), meter=C, longest_s=7.0, keys=((4.5, "tare"),))
    assert "zero_refused" in world.alarms()
