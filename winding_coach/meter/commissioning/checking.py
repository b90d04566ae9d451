"""Some seconds of a meter's data in; rate, noise, drift, lost lines and a verdict in words out. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

from winding_coach.meter.commissioning.examining import Signal, examine
from winding_coach.meter.commissioning.judging import PLAIN_BOARD, judged
from winding_coach.meter.crank_sender import CrankSender
from winding_coach.meter.frames import Hello
from winding_coach.meter.reader import MeterReader, TorqueSample

FIT = "Meter OK."
FEWEST_SAMPLES = 8
CONVERTER_NOISE_COUNTS = {"hx711": {10: 21.5, 80: 38.7}}
"""Root mean square of the converter alone, by nominal rate: 50 and 90 nV at gain 128, of ±19.53 mV (data sheet)."""
KEPT_BYTES = 4096


class Arrivals:
    """When bytes came and what the first of them were: `take` each piece with the samples that it completed.

    A meter's clock is compared with the time of arrival, and bytes without a line are told apart.
    """

    def __init__(self) -> None:
        self.first_bytes = b""
        self.hellos_s: list[float] = []
        self.ended_s: float | None = None
        self._hello: Hello | None = None
        self._first: tuple[float, float] | None = None
        self._last: tuple[float, float] | None = None

    def take(self, at_s: float, data: bytes, samples: Sequence[TorqueSample], hello: Hello | None) -> None:
        """Bytes came at a time in seconds; hello: the reader's newest after them."""
        self.first_bytes += data[: KEPT_BYTES - len(self.first_bytes)]
        self.ended_s = at_s
        if hello is not None and hello is not self._hello:
            self._hello = hello
            self.hellos_s.append(at_s)
        if samples:
            self._first = self._first or (samples[-1].device_s, at_s)
            self._last = (samples[-1].device_s, at_s)

    @property
    def clock_ratio(self) -> float | None:
        """Seconds of the device for one of the host; None where the time was too short to tell."""
        if self._first is None or self._last is None or self._last[1] - self._first[1] < 0.5:
            return None
        return (self._last[0] - self._first[0]) / (self._last[1] - self._first[1])

    @property
    def span_s(self) -> float:
        """Seconds over which `clock_ratio` was seen."""
        return 0.0 if self._first is None or self._last is None else self._last[1] - self._first[1]

    @property
    def longest_without_hello_s(self) -> float | None:
        """Longest time from a hello to the next, or to the end; None before any."""
        if not self.hellos_s or self.ended_s is None:
            return None
        return max(after - before for before, after in pairwise([*self.hellos_s, self.ended_s]))


@dataclass(frozen=True, slots=True)
class SenderCheck:
    """What came of a crank sender: lines, those lost and late, the latest of them in seconds; what is wrong now."""

    lines: int
    lost: int
    late: int
    worst_late_s: float
    trouble: str | None


@dataclass(frozen=True, slots=True)
class MeterCheck:
    """What was found; None where it cannot be told. Rates in lines a second by the device's clock; torque in N·m.

    noise_Nm: standard deviation about a straight line, from the median of differences, so that a slow movement
    does not count. drift_Nm_per_min: slope of that line, drift_sd_Nm_per_min its standard uncertainty by that noise.
    launch_Nm: the launch torque that drift is judged by. converter_noise_counts: of the converter alone, by its data
    sheet. pulses_per_turn: of the crank, by the meter's word. clock_ratio: seconds of its clock for one of ours.
    step_jitter: scatter of the time from line to line, as a share of it. passed: whether the verdict is that it is fit.
    plain: numbers alone came, without clock and check sum. frozen: lines that the meter flags so. sender: of
    a crank sender, where one was asked for or heard.
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
    passed: bool = False
    settling: int = 0
    mean_counts: float | None = None
    all_equal: bool = False
    drift_sd_Nm_per_min: float | None = None
    launch_Nm: float | None = None
    clock_ratio: float | None = None
    clock_span_s: float = 0.0
    clock_wrap_us: int | None = None
    step_jitter: float | None = None
    without_hello_s: float | None = None
    plain: bool = False
    frozen: int = 0
    sender: SenderCheck | None = None
    signal: Signal | None = field(default=None)


LAUNCH_SHARE = 0.125
"""Launch torque over the cell's rating where none is stated: a rating of four times the launch, and twice as much again
for the peak and for safety; assumed, as in the build notes' table."""


def check_meter(
    reader: MeterReader,
    samples: Sequence[TorqueSample],
    received: int,
    seconds: float,
    *,
    arrivals: Arrivals | None = None,
    launch_Nm: float | None = None,
    sender: bool = False,
) -> MeterCheck:
    """Return what these samples say of the meter; `received` bytes came in all, in so many seconds.

    launch_Nm: launch torque of the motors it is for; else it is taken from the cell's rating. sender: a crank
    sender was asked for.
    """
    good = [sample for sample in samples if sample.raw is not None and not sample.settling]
    times = [sample.device_s for sample in samples]
    span = times[-1] - times[0] if len(times) > 1 else 0.0
    gaps = [after - before for before, after in pairwise(times)]
    hello = reader.hello
    torques = [sample.torque_Nm for sample in good if sample.torque_Nm is not None]
    raws = [sample.raw for sample in good if sample.raw is not None]
    device_s = [sample.device_s for sample in good]
    enough = len(torques) >= FEWEST_SAMPLES
    signal = examine(device_s, raws) if enough and len(raws) == len(torques) else None
    noise_counts = None if signal is None else signal.noise_counts
    slope = abs(reader.calibration.Nm_per_count)
    drift = _slope(device_s, torques) * 60.0 if enough and span > 0 else None
    cranks = [sample.crank_turns * sample.pulses_per_turn for sample in samples if sample.crank_turns is not None]
    rating = reader.calibration.rating_Nm
    found = MeterCheck(
        seconds=seconds,
        samples=len(samples),
        board=None if hello is None else hello.board,
        channels="" if hello is None else hello.channels,
        nominal_rate_hz=None if hello is None else hello.rate_hz,
        rate_hz=(len(times) - 1 + reader.lost_lines) / span if span > 0 else None,
        longest_gap_s=max(gaps, default=None),
        noise_Nm=None if noise_counts is None else noise_counts * slope,
        noise_counts=noise_counts,
        drift_Nm_per_min=drift,
        drift_sd_Nm_per_min=None if drift is None else 60.0 * _slope_sd(device_s, (noise_counts or 0.0) * slope),
        mean_Nm=sum(torques) / len(torques) if torques else None,
        mean_counts=sum(raws) / len(raws) if raws else None,
        all_equal=len(raws) >= FEWEST_SAMPLES and len(set(raws)) == 1,
        lost_lines=reader.lost_lines,
        bad_lines=reader.bad_lines,
        restarts=reader.restarts,
        saturated=sum(sample.saturated for sample in samples),
        no_data=sum(sample.no_data for sample in samples),
        overload=sum(sample.overload for sample in samples),
        settling=sum(sample.settling for sample in samples),
        crank_pulses=round(cranks[-1] - cranks[0]) if cranks else None,
        pulses_per_turn=samples[-1].pulses_per_turn if samples else 1,
        converter_noise_counts=_converter_noise(hello),
        launch_Nm=launch_Nm if launch_Nm is not None or rating is None else LAUNCH_SHARE * rating,
        clock_ratio=None if arrivals is None else arrivals.clock_ratio,
        clock_span_s=0.0 if arrivals is None else arrivals.span_s,
        clock_wrap_us=reader.clock_wrap_us,
        step_jitter=_jitter(gaps),
        without_hello_s=None if arrivals is None else arrivals.longest_without_hello_s,
        signal=signal,
        frozen=sum(sample.frozen for sample in samples),
        sender=_sender(reader.crank_sender) if sender or reader.crank_sender.heard else None,
        plain=hello is not None and hello.board == PLAIN_BOARD,
        verdict=(),
    )
    words = judged(found, received, rating, b"" if arrivals is None else arrivals.first_bytes, hello)
    return replace(found, verdict=words or (FIT,), passed=not words)


def _sender(found: CrankSender) -> SenderCheck:
    return SenderCheck(found.lines, found.lost, found.late, found.worst_late_s, found.trouble)


def _converter_noise(hello: Hello | None) -> float | None:
    """What the converter that the meter names scatters by itself, if that is known."""
    if hello is None or hello.rate_hz is None:
        return None
    return CONVERTER_NOISE_COUNTS.get(hello.value("adc") or "", {}).get(round(hello.rate_hz))


def _slope(x: list[float], y: list[float]) -> float:
    mean_x, mean_y = sum(x) / len(x), sum(y) / len(y)
    over = sum((a - mean_x) * (b - mean_y) for a, b in zip(x, y, strict=True))
    under = sum((a - mean_x) ** 2 for a in x)
    return over / under if under > 0 else 0.0


def _slope_sd(x: list[float], sd: float) -> float:
    """Standard deviation of a slope by white noise: σ/√Σ(x−x̄)²."""
    mean = sum(x) / len(x)
    under = sum((a - mean) ** 2 for a in x)
    return float(sd / under**0.5) if under > 0 else 0.0


def _jitter(gaps: list[float]) -> float | None:
    """Scatter of the time from line to line over that time, by medians: a lost line does not count."""
    if len(gaps) < FEWEST_SAMPLES:
        return None
    middle = sorted(gaps)[len(gaps) // 2]
    away = sorted(abs(gap - middle) for gap in gaps)[len(gaps) // 2]
    return away / 0.6745 / middle if middle > 0 else None
