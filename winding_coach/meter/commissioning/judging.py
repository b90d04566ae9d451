"""What a check found in; a sentence for each thing that is wrong, most fundamental first, out. Pure.

Limits are assumed unless a line says otherwise. A sentence says what was seen and what to do.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

from winding_coach.meter.frames import Hello

if TYPE_CHECKING:
    from winding_coach.meter.commissioning.checking import MeterCheck

OTHER = "It speaks something else: this is no meter of this protocol, or its speed is not 115200 baud."
PLAIN_BOARD = "plain"
FEWEST_SAMPLES = 8
NOISY_SHARE = 0.005
"""Noise above this share of the cell's rating hides the rate: 0.1-1 % was tried in the estimator's design."""
NOISY_OF_LAUNCH = 0.005
"""Of the launch torque, by which a crank turn near the peak moves it; our own rule. It needs no `adc=` to judge by."""
DRIFTING_SHARE = 0.03
"""Of the launch torque, in a minute: a wind takes two, and 6 % of launch torque is some 2 % of its turns."""
DRIFT_SDS = 4.0
MANY_LOST, SENDER_LOST = 0.01, 0.05
FAR_FROM_CONVERTER = 4.0
LIKE_NOMINAL = (0.6, 1.6)
"""A converter with a clock of its own runs at 12 or 112 for 10 or 80, as users report; a wrong jumper is eight-fold."""
FAR_ZERO_SHARE = 0.5
MANY_SPIKES = 0.002
FEWEST_SPIKES = 2
SETTLING_AT_START = 4
CLOCK_OFF, CLOCK_SLACK_S = 0.03, 0.15
"""Bytes come in bunches: over ten seconds a clock 5 % off is seen."""
STEP_JITTER = 0.15
HELLO_LATE_S = 6.5
LONGEST_SILENCE_S = 0.7
"""A silent converter is reported each 0.6 s."""
PLAIN_LINE = re.compile(rb"[A-Za-z_ ]{0,20}[:= ]?[ ]*[+-]?\d+(\.\d+)?([ \t,;].*|[A-Za-z\x80-\xff].*)?", re.ASCII)


def judged(
    found: MeterCheck, received_bytes: int, rating_Nm: float | None, first: bytes, hello: Hello | None
) -> tuple[str, ...]:
    """Return what is wrong, nothing for a meter that is fit. first: the first bytes that came, if they are known."""
    if received_bytes == 0:
        return ("It sends nothing: check its supply, the lead and the firmware.",)
    if found.samples == 0:
        return (no_line(first),)
    if found.board == PLAIN_BOARD:
        # These times are of arrival: nothing is known of the meter's own.
        found = replace(found, clock_ratio=None, step_jitter=None, nominal_rate_hz=None, without_hello_s=None)
    words = [*_stream(found), *_sender(found), *_converter(found)]
    if not found.signal or not (found.all_equal or found.signal.frozen):
        words += _signal(found, rating_Nm, hello)
    return tuple(words)


def no_line(first: bytes) -> str:
    """Return what bytes without a reading look like: another speed, other line ends, numbers alone, another device."""
    if not first:
        return OTHER
    if b"\n" not in first and first.count(b"\r") > 1 and b"$D," in first:
        return "Its lines end in a carriage return alone: end them in carriage return and line feed."
    if b"\r" not in first and re.search(rb"\$D,[^\n]*\*[0-9A-F]{4}\n", first):
        return "Its lines end in a line feed alone: end them in carriage return and line feed."
    printable = sum(32 <= byte < 127 or byte in b"\r\n\t" for byte in first)
    if printable < 0.7 * len(first):
        return "Bytes came, no line: its speed is not 115200 baud, or this is not the meter's port."
    lines = [line.strip() for line in re.split(rb"[\r\n]+", first)[1:-1] if line.strip()]
    if len(lines) > 2 and sum(PLAIN_LINE.fullmatch(line) is not None for line in lines) > 0.8 * len(lines):
        return "It prints numbers, one a line, without clock or check sum: read it with --lines plain."
    return OTHER


def _stream(found: MeterCheck) -> Iterator[str]:
    """Lines, rate and clock."""
    if found.samples < FEWEST_SAMPLES:
        yield "Too few lines came to judge noise and drift: check longer."
    if found.board is None:
        yield "It does not say what it is (no hello): the firmware is not to the protocol."
    elif found.without_hello_s is not None and found.without_hello_s > HELLO_LATE_S:
        yield f"{found.without_hello_s:.0f} s passed without a hello: it is to come every 5 s."
    if found.samples >= FEWEST_SAMPLES and found.settling == found.samples:
        yield "Every line says that the converter is still settling: it restarts again and again, or the flag is wrong."
    elif found.settling > SETTLING_AT_START * (found.restarts + 1):
        yield f"{found.settling} lines are flagged as settling: the converter restarts, check its supply."
    held_low = found.all_equal and found.mean_counts in (0.0, -1.0)
    if held_low:
        yield (
            f"Every reading is {found.mean_counts:.0f}: the data line (DT) is held at one level."
            " Check its wire and the converter's supply."
        )
    clock = _clock(found)
    if clock is not None:
        yield clock
    elif not held_low:
        yield from _rate(found)
    if found.clock_wrap_us is not None:
        yield (
            f"Its clock starts again at {_power(found.clock_wrap_us)} µs and not at 2^32:"
            f" let the hello say wrap={found.clock_wrap_us}."
        )
    elif found.restarts:
        yield f"It restarted {'once' if found.restarts == 1 else f'{found.restarts} times'}: check its supply."
    if found.bad_lines > MANY_LOST * found.samples:
        yield f"{found.bad_lines} lines came damaged: check lead and earth, keep it away from motors."
    if found.lost_lines > MANY_LOST * found.samples:
        yield f"{found.lost_lines} lines were lost: use another port, or a lower rate."
    if found.longest_gap_s is not None and found.longest_gap_s > LONGEST_SILENCE_S and clock is None:
        yield f"{found.longest_gap_s:.1f} s passed without a line: check the lead and what else the board does."
    if found.step_jitter is not None and found.step_jitter > STEP_JITTER and not found.no_data:
        yield (
            f"The time from line to line scatters by {found.step_jitter:.0%}: t_us is to be the time of the conversion,"
            " not that of sending."
        )
    if set(found.channels) & {"c", "q"} and found.crank_pulses is None:
        yield "Its hello names a crank sensor, and no line has c=: the crank is not sent."


def _sender(found: MeterCheck) -> Iterator[str]:
    """A crank sender's lines."""
    sender = found.sender
    if sender is None:
        return
    all_lines = sender.lines + sender.lost
    if not sender.lines:
        yield "Nothing came from the crank sender: check its battery, its address and its port."
    elif sender.lost > SENDER_LOST * all_lines:
        yield f"{sender.lost} of {all_lines} lines of the crank sender are lost: bring it nearer, or its aerial free."
    elif sender.late > SENDER_LOST * all_lines:
        yield (
            f"{sender.late} of {all_lines} lines of the crank sender come late, by up to {sender.worst_late_s:.1f} s:"
            " bring it nearer, or take a network of its own."
        )
    elif sender.trouble is not None:
        yield f"{sender.trouble[0].upper()}{sender.trouble[1:]}."
    if set(found.channels) & {"c", "q"} and sender.lines:
        yield "The meter's hello names a crank sensor too: the sender's count is used, take one of the two away."


def _power(value: int) -> str:
    return f"2^{value.bit_length() - 1}" if value & (value - 1) == 0 else str(value)


def _rate(found: MeterCheck) -> Iterator[str]:
    nominal = found.nominal_rate_hz
    if found.no_data > 0.5 * found.samples or not nominal or not found.rate_hz:
        return
    if not LIKE_NOMINAL[0] <= found.rate_hz / nominal <= LIKE_NOMINAL[1]:
        yield f"It says {nominal:.0f} lines/s and sends {found.rate_hz:.1f}: check the rate jumper."


def _clock(found: MeterCheck) -> str | None:
    """What is wrong with the device's clock against ours; a simulated meter may run at any speed."""
    ratio = found.clock_ratio
    if ratio is None or found.restarts or found.board == "simulated" or ratio <= 0.0:
        return None
    if 0.7e-3 < ratio < 1.4e-3:
        return "Its t_us counts milliseconds: send microseconds."
    if abs(ratio - 1.0) <= CLOCK_OFF + CLOCK_SLACK_S / found.clock_span_s:
        return None
    return f"Its clock makes {ratio:.2f} s of each second: t_us is to be microseconds of the board's own clock."


def _converter(found: MeterCheck) -> Iterator[str]:
    """Flags, range and values that do not change."""
    if found.saturated:
        yield "It is at the end of its range: take the load off, check the wiring of the cell."
    elif found.mean_counts is not None and abs(found.mean_counts) > FAR_ZERO_SHARE * 2**23:
        yield (
            f"Its reading at rest is far from the middle, at {abs(found.mean_counts) / 2**23:.0%} of the converter's"
            " range: take off what loads the cell; if nothing does, it is bent or wired wrongly."
        )
    if found.overload:
        yield "The cell is past its rating: take the load off."
    if found.no_data:
        yield "The converter gives no readings: check its wiring."
    signal = found.signal
    if signal is None or found.saturated:
        return
    if found.all_equal or signal.frozen or found.frozen:
        if not (found.all_equal and found.mean_counts in (0.0, -1.0)):
            yield "Its reading is frozen: the same value comes again and again. Check converter and firmware."
    elif signal.repeats > 1:
        times = "twice" if signal.repeats == 2 else f"{signal.repeats} times"
        yield f"Every value comes {times}: the converter is slower than the lines, check the rate jumper."
    for bit, value in signal.stuck_bits:
        yield f"Bit {bit} of the reading is always {value}: check the firmware's reading of the data line."


def _signal(found: MeterCheck, rating_Nm: float | None, hello: Hello | None) -> Iterator[str]:
    """Noise, hum, spikes, jumps and drift."""
    signal = found.signal
    if signal is None:
        return
    adc = None if hello is None else hello.value("adc")
    if signal.step_counts > 1 and not signal.stuck_bits and adc == "hx711":
        yield f"Readings come in steps of {signal.step_counts} counts: bits are lost in reading the converter."
    if signal.line is not None and signal.line.mains_hz is not None:
        yield (
            f"Hum of {signal.line.mains_hz:.0f} Hz from the mains, {signal.line.rms_counts:,.0f} counts rms (seen at"
            f" {signal.line.hz:.1f} Hz): earth the base, screen the cell's lead, take another supply."
        )
    elif signal.line is not None:
        yield (
            f"It swings at {signal.line.hz:.1f} Hz, {signal.line.rms_counts:,.0f} counts rms: look for draught, a fan,"
            " or what shakes the bench."
        )
    noisy = rating_Nm is not None and found.noise_Nm is not None and found.noise_Nm > NOISY_SHARE * rating_Nm
    if noisy:
        yield "Readings scatter widely: check the cell's wiring and screen, and keep the meter still."
    elif (
        signal.line is None
        and found.noise_counts is not None
        and found.converter_noise_counts is not None
        and found.noise_counts > FAR_FROM_CONVERTER * found.converter_noise_counts
    ):
        times = found.noise_counts / found.converter_noise_counts
        yield f"Its noise is {times:.0f} times the converter's own: look at lead, supply, and what shakes."
    elif found.noise_Nm is not None and found.launch_Nm and found.noise_Nm > NOISY_OF_LAUNCH * found.launch_Nm:
        yield (
            f"Readings scatter by {found.noise_Nm / found.launch_Nm:.1%} of a launch torque of"
            f" {1e3 * found.launch_Nm:.2f} mN·m: check the cell's wiring and screen, and keep the meter still."
        )
    if signal.spikes >= max(FEWEST_SPIKES, MANY_SPIKES * found.samples):
        yield f"{signal.spikes} of {found.samples} readings are spikes: check the data line, the supply and the earth."
    if signal.jumps and not noisy:
        often = "once" if signal.jumps == 1 else f"{signal.jumps} times"
        yield (
            f"The zero jumps, {often}, by up to {signal.largest_jump:,.0f} counts: look for a loose contact,"
            " or for what slips."
        )
    elif not noisy:
        yield from _drift(found)


def _drift(found: MeterCheck) -> Iterator[str]:
    drift, launch = found.drift_Nm_per_min, found.launch_Nm
    if drift is None or not launch:
        return
    if abs(drift) > DRIFTING_SHARE * launch + DRIFT_SDS * (found.drift_sd_Nm_per_min or 0.0):
        yield (
            f"The zero drifts by {1e3 * drift:+.2f} mN·m a minute, {abs(drift) / launch:.0%} of a launch torque of"
            f" {1e3 * launch:.2f} mN·m: let it warm up, keep it out of draughts, and leave it untouched."
        )
