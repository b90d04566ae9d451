"""The winding stand while the program runs: its meter's port and zero, which stay from one wind to the next."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from winding_coach.app.problem import Problem

if TYPE_CHECKING:
    from winding_coach.coach.view import CoachView
    from winding_coach.live.sources.kept import KeptPort
    from winding_coach.live.sources.serial_port import SerialSource
    from winding_coach.live.sources.simulated import SimulatedMeter


class Stand:
    """One meter for the winds of a run; close it at the end. zero_counts: the last zero that was set on it.

    port: where it is, None before the first wind.
    """

    def __init__(self) -> None:
        self.zero_counts: float | None = None
        self.port: str | None = None
        self._kept: KeptPort | None = None
        self._meter: SimulatedMeter | None = None

    def source(
        self, port: str, simulated: Sequence[str] | None = None, crank_port: str | None = None, speed: float = 1.0
    ) -> SerialSource:
        """Return the source of the next wind. simulated: options of `meter emulate` for what is hooked up there.

        crank_port: of a crank sender. speed: how fast the simulated meter's time passes.

        Raises:
            Problem: the simulated meter cannot be had.
        """
        from winding_coach.live.sources.kept import KeptPort

        if simulated is not None:
            port = self._put_on(simulated)
        if self._kept is None:
            self.port = port
            self._kept = KeptPort(port, crank_port=crank_port, speed=speed)
        return self._kept.source()

    def _put_on(self, options: Sequence[str]) -> str:
        from winding_coach.live.sources.simulated import SimulatedMeter, SimulatedMeterError

        try:
            if self._meter is None:
                self._meter = SimulatedMeter(options)
            else:
                self._meter.put_on(options)
        except SimulatedMeterError as error:
            raise Problem(str(error)) from None
        return self._meter.device

    def keep_zero(self, view: CoachView) -> None:
        """Take over the zero that was set in a wind."""
        if view.tared:
            self.zero_counts = view.zero_counts

    def close(self) -> None:
        """Let go of the port, and end a simulated meter."""
        if self._kept is not None:
            self._kept.close()
        if self._meter is not None:
            self._meter.close()
