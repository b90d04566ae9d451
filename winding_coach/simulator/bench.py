"""Motor, hands and meter joined: device time in, wire bytes out, so that practice exercises the whole corridor.

Crank ripple, noise, knot slips and drift are on the torque that the converter sees, never on the motor's own.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from winding_coach.meter.calibration import SIMULATED, Calibration
from winding_coach.meter.frames import (
    LINE_DROPPED,
    NO_DATA,
    OVERLOAD,
    PROTOCOL,
    RAW_MAX,
    RAW_MIN,
    SATURATED,
    SETTLING,
    U16,
    U32,
    Hello,
    Sample,
    encode_hello,
    encode_sample,
)
from winding_coach.simulator.crank_sender import SimulatedSender
from winding_coach.simulator.hands import Hands
from winding_coach.simulator.motor import SimulatedMotor

HELLO_EVERY_S = 5.0
FIRST_LINE_S = 0.05
SETTLING_LINES = 4
LONGEST_STEP_S = 0.025
"""The motor is stepped at least this often, whatever the rate of the lines."""
SPIKE_NM = 8e-3
SLIPS_PER_KNOTTING = 4.0
"""Knot slips while a whole motor knots, so three or four a walk-in; assumed."""
SLIP_SHARE, SLIP_FADES_S = (0.01, 0.04), 0.7
BREAK_FALLS_S = 0.004
"""Time constant with which the cell lets go when the motor breaks; assumed."""
SECOND_SHARE, GEAR_SHARE = 0.4, 0.1
"""Of the ripple: its second harmonic (two hands on a handle) and the line of the winder's gear; assumed."""
TREMOR_HZ, STANDS_BELOW_REV_PER_S = 9.0, 0.1
"""A hand that holds a loaded crank trembles at 8-12 Hz (physiological tremor, from memory)."""
HALL_DC, WARMS_DC_PER_S = 213.0, 0.01
"""Temperature of the meter, invented: it warms by a degree in 1000 s."""


@dataclass(frozen=True, slots=True)
class MeterModel:
    """A simulated meter; figures invented, after a 100 g cell on a 30 mm arm.

    lines_per_s: of data. clock_ppm: error of its clock. noise_Nm: standard deviation of a reading. zero_off_Nm,
    drift_Nm_per_s: of its zero. channels: letters as in the hello. ripple: share of torque at the crank's
    frequency. board: its name. gain_error: share by which it reads more than its calibration says. tremor: share of
    torque while the crank stands still. uptime_s: how long it has been on when the bench begins, to bring the wraps
    of its clock and sequence near; crank_so_far: pulses it has counted by then. pulses_per_turn: of the crank.
    crank_sender: a board of its own at the handle counts the crank that `channels` names, and sends by a radio.
    pull_Nm_per_N: what a straight pull reads as.
    left_hand: the motor is wound the other way round, so that its torque is negative.
    """

    lines_per_s: float = 80.0
    clock_ppm: float = 40.0
    jitter_us: float = 8.0
    noise_Nm: float = 8e-6
    zero_off_Nm: float = 60e-6
    drift_Nm_per_s: float = 2e-8
    channels: str = "c"
    ripple: float = 0.02
    board: str = "simulated"
    calibration: Calibration = SIMULATED
    gain_error: float = 0.0
    tremor: float = 0.0
    uptime_s: float = 0.0
    crank_so_far: int = 0
    pulses_per_turn: int = 1
    crank_sender: bool = False
    pull_Nm_per_N: float = 0.0
    left_hand: bool = False


@dataclass(frozen=True, slots=True)
class Truth:
    """What is so, whatever the meter says. doing: word for what the hands do."""

    at_s: float
    turns: float
    crank_rev_per_s: float
    distance_m: float
    torque_Nm: float
    pull_N: float
    knotted: float
    looseness: float
    broken: bool
    hooked: bool
    doing: str


class Bench:
    """A simulated winding: `advance` lets time pass and returns what the meter sent meanwhile.

    What may be set while it runs, for faults: scatter_Nm, added noise; spike_share, no_data_share, drop_share, of lines
    that jump, that the converter gave nothing for, that the meter itself drops; crank_dead, the crank gives no pulse.
    """

    def __init__(
        self,
        motor: SimulatedMotor,
        hands: Hands,
        ratio: float,
        meter: MeterModel,
        rng: np.random.Generator,
    ) -> None:
        self._motor = motor
        self._hands = hands
        self._ratio = ratio
        self._meter = meter
        self._rng = rng
        self.scatter_Nm = 0.0
        self.spike_share = 0.0
        self.no_data_share = 0.0
        self.drop_share = 0.0
        self.crank_dead = False
        self.sender: SimulatedSender | None = None
        """The board at the handle, where there is one."""
        if meter.crank_sender:
            # Numbers of its own: what the meter sends is the same with it and without.
            self.sender = SimulatedSender(meter.pulses_per_turn, "q" in meter.channels, np.random.default_rng(3))
        self._channels = "".join(letter for letter in meter.channels if not (meter.crank_sender and letter in "cq"))
        self._at_s = 0.0
        self._asked = False
        self._noise = np.zeros(0)
        self._noise_next = 0
        self._slip = 0.0
        self._knotted = motor.knotted
        self._held_Nm = 0.0
        self._phases = rng.uniform(0.0, 2.0 * math.pi, 3)
        self._crank_count = 0
        self._crank_whole = 0
        self._boot("por")
        if meter.uptime_s > 0.0:
            self._booted_s = -meter.uptime_s
            self._next_hello_s = HELLO_EVERY_S - meter.uptime_s % HELLO_EVERY_S
            self._seq = round(meter.uptime_s * meter.lines_per_s) % U16
            self._crank_count = meter.crank_so_far
            self._settling = 0

    @property
    def done(self) -> bool:
        """Whether the hands have finished."""
        return self._hands.state.done

    @property
    def at_s(self) -> float:
        """Seconds since the bench began."""
        return self._at_s

    @property
    def crank_count(self) -> int:
        """Pulses of the crank that the meter has counted."""
        return self._crank_count

    @property
    def truth(self) -> Truth:
        """What is so now."""
        motor, hands = self._motor, self._hands.state
        return Truth(
            self._at_s,
            motor.turns,
            hands.crank_rev_per_s,
            hands.distance_m,
            motor.torque_Nm if hands.hooked else 0.0,
            motor.pull_N if hands.hooked else 0.0,
            motor.knotted,
            motor.looseness,
            motor.broken,
            hands.hooked,
            hands.doing,
        )

    def answer(self, data: bytes) -> None:
        """Take what the host sent; `?` is answered by a hello with the next line."""
        self._asked = self._asked or b"?" in data

    def reset_meter(self, boots_in_s: float = 1.5, cause: str = "ext") -> None:
        """The meter restarts: clock, sequence and crank count begin anew after a pause without lines."""
        self._boot(cause, boots_in_s)

    def _boot(self, cause: str, in_s: float = 0.0) -> None:
        self._booted_s = self._at_s + in_s
        self._next_s = self._booted_s + FIRST_LINE_S
        self._next_hello_s = self._booted_s
        self._cause = cause
        self._seq = 0
        self._settling = SETTLING_LINES
        self._dropped = False
        self._crank_count = 0
        self._crank_whole = math.floor(self._hands.state.crank_rev * self._meter.pulses_per_turn)

    def crank_sent(self) -> bytes:
        """Return what has come from the crank sender."""
        return b"" if self.sender is None else self.sender.arrived()

    def advance(self, dt_s: float) -> bytes:
        """Let `dt_s` pass; return the bytes of the lines that became due."""
        end_s = self._at_s + dt_s
        sent: list[bytes] = []
        while self._at_s < end_s - 1e-12:
            self._move(min(end_s, max(self._next_s, self._at_s), self._at_s + LONGEST_STEP_S) - self._at_s)
            if self._at_s >= self._next_s - 1e-12:
                sent.append(self._lines_now())
        return b"".join(sent)

    def _move(self, dt_s: float) -> None:
        self._at_s += dt_s
        motor = self._motor
        hands = self._hands.advance(dt_s, motor.torque_Nm if self._hands.state.hooked else 0.0)
        if hands.hooked:
            before_Nm = motor.torque_Nm
            motor.move(max(hands.crank_rev * self._ratio, 0.0), hands.distance_m, dt_s)
            if motor.broken:
                self._held_Nm = max(self._held_Nm, before_Nm)
        knotting = motor.knotted - self._knotted
        self._knotted = motor.knotted
        if self._hits(SLIPS_PER_KNOTTING * knotting):
            self._slip += float(self._rng.uniform(*SLIP_SHARE))
        self._slip *= math.exp(-dt_s / SLIP_FADES_S)
        self._held_Nm *= math.exp(-dt_s / BREAK_FALLS_S)
        if self.sender is not None:
            self.sender.dead = self.crank_dead
            self.sender.move(self._at_s, hands.crank_rev)
        whole = math.floor(hands.crank_rev * self._meter.pulses_per_turn)
        change = whole - self._crank_whole
        self._crank_whole = whole
        if self._at_s < self._booted_s or self.crank_dead:
            return
        # One sensor sees a pulse whichever way it goes by; two tell the direction, the other one for a left-hand motor.
        way = -1 if self._meter.left_hand else 1
        self._crank_count += way * change if "q" in self._meter.channels else abs(change)

    def _torque_at_cell(self) -> float:
        hands = self._hands.state
        if not hands.hooked:
            return 0.0
        if self._motor.broken:
            return self._held_Nm
        torque = self._motor.torque_Nm * (1.0 - self._slip)
        angle = 2.0 * math.pi * hands.crank_rev
        p = self._phases
        wave = math.sin(angle + p[0]) + SECOND_SHARE * math.sin(2.0 * angle + p[1])
        wave += GEAR_SHARE * math.sin(self._ratio * angle + p[2])
        wave *= self._meter.ripple
        if self._meter.tremor and abs(hands.crank_rev_per_s) < STANDS_BELOW_REV_PER_S:
            wave += self._meter.tremor * math.sin(2.0 * math.pi * TREMOR_HZ * self._at_s)
        return torque * (1.0 + wave)

    def _lines_now(self) -> bytes:
        meter = self._meter
        self._next_s += 1.0 / meter.lines_per_s
        line = b""
        if self._asked or self._at_s >= self._next_hello_s:
            self._asked = False
            self._next_hello_s = self._at_s + HELLO_EVERY_S
            line = encode_hello(self._hello())
        raw, flags = self._converted()
        up_s = (self._at_s - self._booted_s) * (1.0 + meter.clock_ppm * 1e-6)
        t_us = round(up_s * 1e6 + meter.jitter_us * abs(self._draw()))
        seq = self._seq
        self._seq = (seq + 1) % U16
        if self._hits(self.drop_share):
            self._dropped = True
            return line
        if self._settling:
            self._settling -= 1
            flags |= SETTLING
        if self._dropped:
            self._dropped = False
            flags |= LINE_DROPPED
        sample = Sample(
            seq=seq,
            t_us=t_us % U32,
            raw=raw,
            flags=flags,
            crank=self._crank_count % U16 if {"c", "q"} & set(self._channels) else None,
            distance_mm=round(1e3 * self._hands.state.distance_m) if "d" in self._channels else None,
            temperature_dC=round(HALL_DC + WARMS_DC_PER_S * self._at_s) if "t" in self._channels else None,
        )
        return line + encode_sample(sample)

    def _converted(self) -> tuple[int | None, int]:
        """What the converter gives now, and its flags."""
        meter = self._meter
        way = -1.0 if meter.left_hand else 1.0
        shown = way * self._torque_at_cell() * (1.0 + meter.gain_error) + meter.zero_off_Nm
        shown += meter.drift_Nm_per_s * self._at_s
        if meter.pull_Nm_per_N and self._hands.state.hooked:
            shown += meter.pull_Nm_per_N * self._motor.pull_N
        shown += (meter.noise_Nm + self.scatter_Nm) * self._draw()
        if self._hits(self.spike_share):
            shown += float(self._rng.choice((-1.0, 1.0))) * SPIKE_NM
        if self._hits(self.no_data_share):
            return None, NO_DATA
        raw = round(_counts(meter.calibration, shown))
        flags = OVERLOAD if meter.calibration.overloaded(raw) else 0
        if not RAW_MIN < raw < RAW_MAX:
            return min(max(raw, RAW_MIN), RAW_MAX), flags | SATURATED
        return raw, flags

    def _hello(self) -> Hello:
        meter = self._meter
        fields = [("board", meter.board), ("rate", f"{meter.lines_per_s:.0f}"), ("ch", self._channels)]
        if meter.pulses_per_turn != 1 and {"c", "q"} & set(self._channels):
            fields.append(("ppr", str(meter.pulses_per_turn)))
        return Hello(PROTOCOL, (*fields, ("rst", self._cause)))

    def _hits(self, share: float) -> bool:
        return share > 0.0 and bool(self._rng.random() < share)

    def _draw(self) -> float:
        """A standard normal number, drawn by the thousand: one at a time costs more than the motor."""
        if self._noise_next >= len(self._noise):
            self._noise = self._rng.standard_normal(2000)
            self._noise_next = 0
        self._noise_next += 1
        return float(self._noise[self._noise_next - 1])


def _counts(calibration: Calibration, torque_Nm: float) -> float:
    """The raw reading that the calibration makes this torque of: its quadratic the other way round."""
    slope, bend = calibration.Nm_per_count, calibration.Nm_per_count2
    root = math.sqrt(max(0.0, slope * slope + 4.0 * bend * torque_Nm))
    return calibration.zero_counts + 2.0 * torque_Nm / (slope + math.copysign(root, slope))
