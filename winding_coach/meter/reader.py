"""Bytes in, calibrated samples out: parser, device clock and calibration joined. Pure."""

from __future__ import annotations

from winding_coach.base.values import value
from winding_coach.meter.calibration import Calibration
from winding_coach.meter.clock import DeviceClock
from winding_coach.meter.crank_sender import CrankSender
from winding_coach.meter.frames import (
    FROZEN,
    NO_DATA,
    OVERLOAD,
    SATURATED,
    SETTLING,
    U32,
    CrankLine,
    FrameParser,
    Hello,
    Sample,
)


@value(frozen=True, slots=True)
class TorqueSample:
    """One line of the meter, calibrated. device_s: device seconds since the first line, never back.

    torque_Nm: None where the converter gave nothing. overload: past the cell's rating, by the meter's word or by
    the calibration's. crank_turns: turns of the crank since the first line, in steps of 1/pulses_per_turn.
    lost_before: lines missing before this one. frozen: the meter says that its converter gives one value for ever.
    crank_unheard: the crank is counted by a sender of its own, which is not heard now.
    """

    device_s: float
    raw: int | None
    torque_Nm: float | None
    saturated: bool
    no_data: bool
    overload: bool
    settling: bool
    crank_turns: float | None
    quadrature: bool
    distance_m: float | None
    temperature_C: float | None
    lost_before: int
    restarted: bool
    advanced: bool = True
    pulses_per_turn: int = 1
    frozen: bool = False
    crank_unheard: bool = False


class MeterReader:
    """Everything between the wire and the torque; `tare` replaces the calibration's zero for this wind."""

    def __init__(self, calibration: Calibration, tare_counts: float | None = None) -> None:
        self.calibration = calibration
        self.hello: Hello | None = None
        self.board: str | None = None
        """The name of the board that answers now, None while it has not said one."""
        self.another = False
        """Whether another board answers than the one that the wind began with."""
        self._quadrature, self._per_turn, self._wrap_us = False, 1, U32
        self.lost_lines = 0
        self.restarts = 0
        self.crank_sender = CrankSender()
        """The board at the handle, where there is one."""
        self._tare = tare_counts
        self._parser = FrameParser()
        self._clock = DeviceClock()
        self._first_hello: Hello | None = None

    @property
    def bad_lines(self) -> int:
        """Lines that were none, so far."""
        return self._parser.bad_lines

    @property
    def clock_wrap_us(self) -> int | None:
        """Where the meter's clock was found to start again, if that is not where it says or 2^32."""
        return self._clock.found_wrap_us

    @property
    def standing(self) -> str | None:
        """What of the meter's line stands still, in words, None if nothing does."""
        return self._clock.standing

    def _greeted(self, hello: Hello) -> None:
        """The meter says what it is: read once, for there is a sample every few milliseconds."""
        self.hello = hello
        self._first_hello = self._first_hello or hello
        self.board = hello.board
        self.another = self._first_hello.board != self.board
        self._quadrature = "q" in hello.channels
        self._per_turn, self._wrap_us = hello.pulses_per_turn or 1, hello.wrap_us

    def accept_board(self) -> None:
        """Take the board that answers for the wind's own."""
        self._first_hello, self.another = self.hello, False

    @property
    def zero_counts(self) -> float:
        """The zero in use."""
        return self.calibration.zero_counts if self._tare is None else self._tare

    def tare(self, counts: float) -> None:
        """Take `counts` for zero from now on."""
        self._tare = counts

    def link_up(self) -> None:
        """The link is new: a cut first line is no error, and the meter may have restarted."""
        self._parser.reset()
        self._clock.link_up()

    def feed(self, data: bytes, at_s: float | None = None) -> list[TorqueSample]:
        """Return the samples that these bytes complete. at_s: when they came, needed where a crank sender is joined."""
        samples: list[TorqueSample] = []
        for frame in self._parser.feed(data):
            if isinstance(frame, Hello):
                self._greeted(frame)
                continue
            if isinstance(frame, CrankLine):
                if at_s is not None:
                    self.crank_sender.take(frame, at_s)
                continue
            sample = self._calibrated(frame, at_s)
            if sample is not None:
                samples.append(sample)
        return samples

    def _calibrated(self, sample: Sample, at_s: float | None) -> TorqueSample | None:
        clock, per_turn = self._clock, self._per_turn
        unwrapped = clock.add(sample, quadrature=self._quadrature, pulses_per_turn=per_turn, wrap_us=self._wrap_us)
        if unwrapped is None:
            return None
        lost = unwrapped.lost
        self.lost_lines += lost
        self.restarts += unwrapped.restarted
        flags = sample.flags
        raw = None if flags & NO_DATA else sample.raw
        crank, far_mm, warm_dC = unwrapped.crank, sample.distance_mm, sample.temperature_dC
        calibration = self.calibration
        turns, quadrature, unheard = None if crank is None else crank / per_turn, self._quadrature, False
        sender = self.crank_sender
        if sender.lines and at_s is not None:
            if unwrapped.restarted:
                sender.meter_restarted()
            turns, unheard = sender.count(unwrapped.device_s, at_s), sender.unheard
            quadrature, per_turn = sender.two_sensors, sender.pulses_per_turn
        return TorqueSample(
            unwrapped.device_s,
            raw,
            None if raw is None else calibration.torque_Nm(raw, self._tare),
            flags & SATURATED != 0,
            raw is None,
            flags & OVERLOAD != 0 or (raw is not None and calibration.overloaded(raw)),
            flags & SETTLING != 0,
            turns,
            quadrature,
            None if far_mm is None else far_mm / 1000,
            None if warm_dC is None else warm_dC / 10,
            lost,
            unwrapped.restarted,
            clock.standing is None,
            per_turn,
            flags & FROZEN != 0,
            unheard,
        )
