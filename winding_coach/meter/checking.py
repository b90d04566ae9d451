"""Some seconds of a meter's data in; rate, noise, drift, lost lines and a verdict in words out. Pure."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from winding_coach.meter.frames import Hello
from winding_coach.meter.reader import MeterReader, TorqueSample

FEWEST_SAMPLES = 8
NOISY_SHARE = 0.005
"""Noise above this share of the cell's rating hides the rate: 0.1-1 % was tried in the estimator's design."""
DRIFTING_SHARE = 0.002
"""Drift of the zero in a minute, as a share of the rating, that is worth a word; assumed."""
MANY_LOST = 0.01
CONVERTER_NOISE_COUNTS = {"hx711": {10: 21.5, 80: 38.7}}
"""Root mean square of the converter alone, by nominal rate: 50 and 90 nV at gain 128, of ±19.53 mV (data sheet)."""
FAR_FROM_CONVERTER = 4.0
LIKE_NOMINAL = (0.6, 1.6)
"""A converter with a clock of its own runs at 12 or 112 for 10 or 80, as users report; a wrong jumper is eight-fold."""


@dataclass(frozen=True, slots=True)
class MeterCheck:
    """What was found; None where it cannot be told. Rates in lines a second by the device's clock; torque in N·m.

    noise_Nm: standard deviation about a straight line, from the median of differences, so that a slow movement
    does not count. drift_Nm_per_min: slope of that line. converter_noise_counts: of the converter alone, by its data
    sheet. pulses_per_turn: of the crank, by the meter's word.
    """

    seconds: float
    samples: int
    board: str | None
    channels: str
    nominal_rate_hz: float | None
    rate_hz: float | None
    longest_gap_s: float | None
    noise_Nm: float | None
    noise_counts: float | None
    drift_Nm_per_min: float | None
    mean_Nm: float | None
    lost_lines: int
    bad_lines: int
    restarts: int
    saturated: int
    no_data: int
    overload: int
    crank_pulses: int | None
    pulses_per_turn: int
    converter_noise_counts: float | None
    verdict: tuple[str, ...]


def check_meter(reader: MeterReader, samples: Sequence[TorqueSample], received: int, seconds: float) -> MeterCheck:
    """Return what these samples say of the meter; `received` bytes came in all, in so many seconds."""
    good = [sample for sample in samples if sample.torque_Nm is not None and not sample.settling]
    times = [sample.device_s for sample in samples]
    span = times[-1] - times[0] if len(times) > 1 else 0.0
    gaps = [after - before for before, after in pairwise(times)]
    hello = reader.hello
    torques = [sample.torque_Nm for sample in good if sample.torque_Nm is not None]
    raws = [float(sample.raw) for sample in good if sample.raw is not None]
    enough = len(torques) >= FEWEST_SAMPLES
    drift = _slope([sample.device_s for sample in good], torques) * 60.0 if enough and span > 0 else None
    cranks = [sample.crank_turns * sample.pulses_per_turn for sample in samples if sample.crank_turns is not None]
    found = MeterCheck(
        seconds=seconds,
        samples=len(samples),
        board=None if hello is None else hello.board,
        channels="" if hello is None else hello.channels,
        nominal_rate_hz=None if hello is None else hello.rate_hz,
        rate_hz=(len(times) - 1 + reader.lost_lines) / span if span > 0 else None,
        longest_gap_s=max(gaps, default=None),
        noise_Nm=_noise(torques) if enough else None,
        noise_counts=_noise(raws) if enough else None,
        drift_Nm_per_min=drift,
        mean_Nm=sum(torques) / len(torques) if torques else None,
        lost_lines=reader.lost_lines,
        bad_lines=reader.bad_lines,
        restarts=reader.restarts,
        saturated=sum(sample.saturated for sample in samples),
        no_data=sum(sample.no_data for sample in samples),
        overload=sum(sample.overload for sample in samples),
        crank_pulses=round(cranks[-1] - cranks[0]) if cranks else None,
        pulses_per_turn=samples[-1].pulses_per_turn if samples else 1,
        converter_noise_counts=_converter_noise(hello),
        verdict=(),
    )
    return _judged(found, received, reader.calibration.rating_Nm)


def _converter_noise(hello: Hello | None) -> float | None:
    """What the converter that the meter names scatters by itself, if that is known."""
    if hello is None or hello.rate_hz is None:
        return None
    return CONVERTER_NOISE_COUNTS.get(hello.value("adc") or "", {}).get(round(hello.rate_hz))


def _noise(values: list[float]) -> float:
    """Standard deviation from the median of absolute second differences, which no straight line changes.

    A second difference of white noise has √6 times its deviation; a normal median is 0.6745 deviations.
    """
    second = sorted(abs(a - 2 * b + c) for a, b, c in zip(values, values[1:], values[2:], strict=False))
    return second[len(second) // 2] / 0.6745 / math.sqrt(6.0)


def _slope(x: list[float], y: list[float]) -> float:
    mean_x, mean_y = sum(x) / len(x), sum(y) / len(y)
    over = sum((a - mean_x) * (b - mean_y) for a, b in zip(x, y, strict=True))
    under = sum((a - mean_x) ** 2 for a in x)
    return over / under if under > 0 else 0.0


def _judged(found: MeterCheck, received_bytes: int, rating_Nm: float | None) -> MeterCheck:
    words: list[str] = []
    if received_bytes == 0:
        words.append("It sends nothing: check its supply, the lead and the firmware.")
    elif found.samples == 0:
        words.append("It speaks something else: this is no meter of this protocol, or its speed is not 115200 baud.")
    else:
        words += _faults(found, rating_Nm)
        if not words:
            words.append("It is fit for use.")
    return replace(found, verdict=tuple(words))


def _faults(found: MeterCheck, rating_Nm: float | None) -> list[str]:
    words = []
    if found.samples < FEWEST_SAMPLES:
        words.append("Too few lines came to judge noise and drift: check longer.")
    if found.board is None:
        words.append("It does not say what it is (no hello): the firmware is not to the protocol.")
    nominal = found.nominal_rate_hz
    if nominal and found.rate_hz and not LIKE_NOMINAL[0] <= found.rate_hz / nominal <= LIKE_NOMINAL[1]:
        words.append(f"It says {nominal:.0f} lines a second and sends {found.rate_hz:.1f}: check the rate jumper.")
    if found.bad_lines > MANY_LOST * found.samples:
        words.append(f"{found.bad_lines} lines came damaged: check lead and earth, keep it away from motors.")
    if found.lost_lines > MANY_LOST * found.samples:
        words.append(f"{found.lost_lines} lines were lost: use another port, or a lower rate.")
    if found.restarts:
        words.append(f"It restarted {'once' if found.restarts == 1 else f'{found.restarts} times'}: check its supply.")
    if found.saturated:
        words.append("It is at the end of its range: take the load off, check the wiring of the cell.")
    if found.overload:
        words.append("The cell is past its rating: take the load off.")
    if found.no_data:
        words.append("The converter gives no readings: check its wiring.")
    if found.noise_Nm is not None and rating_Nm is not None and found.noise_Nm > NOISY_SHARE * rating_Nm:
        words.append("Readings scatter widely: check the cell's wiring and screen, and keep the meter still.")
    elif (
        found.noise_counts is not None
        and found.converter_noise_counts is not None
        and found.noise_counts > FAR_FROM_CONVERTER * found.converter_noise_counts
    ):
        times = found.noise_counts / found.converter_noise_counts
        words.append(f"Its noise is {times:.0f} times the converter's own: look at lead, supply, and what shakes.")
    if found.drift_Nm_per_min is not None and rating_Nm is not None:
        drift = abs(found.drift_Nm_per_min) * min(found.seconds / 60.0, 1.0)
        if drift > DRIFTING_SHARE * rating_Nm:
            words.append("The zero drifts: let it warm up, keep it out of draughts, and leave it untouched.")
    return words
