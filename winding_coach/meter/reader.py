"""Bytes in, calibrated samples out: parser, device clock and calibration joined. Pure."""

from __future__ import annotations

from dataclasses import dataclass

from winding_coach.meter.calibration import Calibration
from winding_coach.meter.clock import DeviceClock
from winding_coach.meter.frames import NO_DATA, OVERLOAD, SATURATED, SETTLING, U32, FrameParser, Hello, Sample


@dataclass(frozen=True, slots=True)
class TorqueSample:
    """One line of the meter, calibrated. device_s: device seconds since the first line, never back.

    torque_Nm: None where the converter gave nothing. overload: past the cell's rating, by the meter's word or by
    the calibration's. crank_turns: turns of the crank since the first line, in steps of 1/pulses_per_turn.
    lost_before: lines missing before this one.
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


class MeterReader:
    """Everything between the wire and the torque; `tare` replaces the calibration's zero for this wind."""

    def __init__(self, calibration: Calibration, tare_counts: float | None = None) -> None:
        self.calibration = calibration
        self.hello: Hello | None = None
        self.lost_lines = 0
        self.restarts = 0
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

    @property
    def another(self) -> bool:
        """Whether another board answers than the one that the wind began with."""
        first, now = self._first_hello, self.hello
        return first is not None and now is not None and first.board != now.board

    def accept_board(self) -> None:
        """Take the board that answers for the wind's own."""
        self._first_hello = self.hello

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

    def feed(self, data: bytes) -> list[TorqueSample]:
        """Return the samples that these bytes complete."""
        samples: list[TorqueSample] = []
        for frame in self._parser.feed(data):
            if isinstance(frame, Hello):
                self.hello = frame
                self._first_hello = self._first_hello or frame
                continue
            sample = self._calibrated(frame)
            if sample is not None:
                samples.append(sample)
        return samples

    def _calibrated(self, sample: Sample) -> TorqueSample | None:
        quadrature = self.hello is not None and "q" in self.hello.channels
        per_turn = (1 if self.hello is None else self.hello.pulses_per_turn) or 1
        wrap_us = U32 if self.hello is None else self.hello.wrap_us
        unwrapped = self._clock.add(sample, quadrature=quadrature, pulses_per_turn=per_turn, wrap_us=wrap_us)
        if unwrapped is None:
            return None
        self.lost_lines += unwrapped.lost
        self.restarts += unwrapped.restarted
        flags, raw = sample.flags, sample.raw
        no_data = raw is None or bool(flags & NO_DATA)
        return TorqueSample(
            device_s=unwrapped.device_s,
            raw=None if no_data else raw,
            torque_Nm=None if raw is None or no_data else self.calibration.torque_Nm(raw, self._tare),
            saturated=bool(flags & SATURATED),
            no_data=no_data,
            overload=bool(flags & OVERLOAD) or (raw is not None and not no_data and self.calibration.overloaded(raw)),
            settling=bool(flags & SETTLING),
            crank_turns=None if unwrapped.crank is None else unwrapped.crank / per_turn,
            quadrature=quadrature,
            distance_m=None if sample.distance_mm is None else sample.distance_mm / 1000,
            temperature_C=None if sample.temperature_dC is None else sample.temperature_dC / 10,
            lost_before=unwrapped.lost,
            restarted=unwrapped.restarted,
            advanced=self._clock.standing is None,
            pulses_per_turn=per_turn,
        )
