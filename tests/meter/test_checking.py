"""The meter's check: figures against a made stream whose noise, drift and losses are known, and each verdict."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest

from winding_coach.meter.calibration import SIMULATED, Calibration
from winding_coach.meter.commissioning.checking import MeterCheck, check_meter
from winding_coach.meter.frames import (
    NO_DATA,
    OVERLOAD,
    SATURATED,
    SETTLING,
    Hello,
    Sample,
    encode_hello,
    encode_sample,
)
from winding_coach.meter.reader import MeterReader

HELLO = Hello(1, (("board", "uno"), ("rate", "80"), ("ch", "c"), ("rst", "por")))


@dataclass(frozen=True, slots=True)
class Stream:
    """A meter's data as made up here. Counts are of the simulated cell: 72,994 a mN·m."""

    seconds: float = 10.0
    rate_hz: float = 80.0
    noise_counts: float = 60.0
    drift_counts_per_s: float = 0.0
    mean_counts: float = 84_200.0
    hello: Hello | None = HELLO
    flags: int = 0
    flagged: int = 0
    lose_every: int = 0
    damage_every: int = 0
    restart_at: int = -1
    crank: bool = True
    jitter_us: float = 0.0

    def lines(self) -> list[bytes]:
        """The lines, those that are lost left out."""
        rng = np.random.default_rng(5)
        count = round(self.seconds * self.rate_hz)
        noise = rng.normal(0.0, self.noise_counts, count)
        jitter = rng.uniform(0.0, self.jitter_us, count)
        lines = []
        for i in range(count):
            since = i - self.restart_at if 0 <= self.restart_at <= i else i
            at_s = i / self.rate_hz
            raw = round(self.mean_counts + self.drift_counts_per_s * at_s + noise[i])
            up_s = since / self.rate_hz
            flags = (SETTLING if since < 4 else 0) | (self.flags if 100 <= i < 100 + self.flagged else 0)
            line = encode_sample(
                Sample(since, round(up_s * 1e6 + jitter[i] + 50_000), raw, flags, i // 64 if self.crank else None)
            )
            if self.lose_every and i % self.lose_every == self.lose_every - 1:
                continue
            if self.damage_every and i % self.damage_every == self.damage_every - 1:
                line = line[:-4] + b"\r\n"
            lines.append(line)
        return lines

    def checked(self, calibration: Calibration = SIMULATED) -> MeterCheck:
        """What the check finds in it."""
        reader = MeterReader(calibration)
        data = (b"" if self.hello is None else encode_hello(self.hello)) + b"".join(self.lines())
        samples = reader.feed(data)
        return check_meter(reader, samples, len(data), self.seconds)


def test_a_good_meter_is_fit_for_use() -> None:
    found = Stream().checked()
    assert found.verdict == ("Meter OK.",)
    assert found.passed
    assert (found.seconds, found.samples, found.board, found.channels) == (10.0, 800, "uno", "c")
    assert (found.lost_lines, found.bad_lines, found.restarts) == (0, 0, 0)
    assert (found.saturated, found.no_data, found.overload) == (0, 0, 0)
    assert found.nominal_rate_hz == 80.0
    assert found.rate_hz == pytest.approx(80.0)
    assert found.longest_gap_s == pytest.approx(0.0125)
    assert found.crank_pulses == 12
    assert found.mean_Nm == pytest.approx(0.0, abs=1e-7)


class TestFigures:
    """Figures against what the stream was made with."""

    @pytest.mark.parametrize("noise", [5.0, 60.0, 900.0])
    @pytest.mark.parametrize("drift", [0.0, 500.0])
    def test_noise_is_the_streams_deviation_whatever_its_drift(self, noise: float, drift: float) -> None:
        """An estimate from a median of 1,600 values: its own deviation is some 4 %; three of them are allowed."""
        found = Stream(seconds=20.0, noise_counts=noise, drift_counts_per_s=drift).checked()
        assert found.noise_counts == pytest.approx(noise, rel=0.12)
        assert found.noise_Nm == pytest.approx(noise * SIMULATED.Nm_per_count, rel=0.12)

    def test_noise_does_not_grow_by_a_bump_in_the_bench(self) -> None:
        """The median is of differences: a few wild lines do not count, where a standard deviation would be 25 times."""
        quiet = Stream(noise_counts=60.0)
        reader = MeterReader(SIMULATED)
        samples = reader.feed(b"".join(quiet.lines()))
        bumped = [
            replace(s, torque_Nm=s.torque_Nm + 0.01, raw=s.raw + 729_940)
            if 300 <= i < 305 and s.torque_Nm is not None and s.raw is not None
            else s
            for i, s in enumerate(samples)
        ]
        found = check_meter(reader, bumped, 1, 10.0)
        assert found.noise_counts == pytest.approx(60.0, rel=0.12)

    def test_drift_is_the_slope_of_the_line_of_least_squares(self) -> None:
        stream = Stream(drift_counts_per_s=40.0)
        found = stream.checked()
        reader = MeterReader(SIMULATED)
        good = [s for s in reader.feed(b"".join(stream.lines())) if not s.settling]
        slope = np.polyfit([s.device_s for s in good], np.array([s.torque_Nm for s in good], dtype=float), 1)[0]
        assert found.drift_Nm_per_min == pytest.approx(60.0 * slope, rel=1e-9)
        assert found.drift_Nm_per_min == pytest.approx(60.0 * 40.0 * SIMULATED.Nm_per_count, rel=0.05)

    def test_drift_of_the_norris_data(self) -> None:
        """NIST StRD, data set Norris, six of its rows as times and torques; slope by numpy's least squares."""
        x = [0.2, 337.4, 118.2, 884.6, 10.1, 226.5]
        y = [0.1, 338.8, 118.1, 888.0, 9.2, 228.1]
        reader = MeterReader(Calibration("", "", "", 0.0, 1.0))
        rows = sorted(zip(x, y, strict=True)) * 2
        template = reader.feed(encode_sample(Sample(1, 1, 1)))[0]
        samples = [replace(template, device_s=a, torque_Nm=b) for a, b in sorted(rows)]
        found = check_meter(reader, samples, 1, 900.0)
        assert found.drift_Nm_per_min == pytest.approx(60.0 * np.polyfit(x, y, 1)[0], rel=1e-12)

    def test_rate_counts_lost_lines_as_sent(self) -> None:
        found = Stream(lose_every=10).checked()
        assert found.rate_hz == pytest.approx(80.0, rel=2e-3)
        assert (found.samples, found.lost_lines) == (720, 79)
        assert found.longest_gap_s == pytest.approx(0.025)

    def test_settling_lines_are_no_noise(self) -> None:
        reader = MeterReader(SIMULATED)
        wild = [
            Sample(i, 50_000 + 12_500 * i, 84_200 if i > 3 else 8_000_000, SETTLING if i < 4 else 0) for i in range(40)
        ]
        samples = reader.feed(b"".join(encode_sample(s) for s in wild))
        found = check_meter(reader, samples, 1, 0.5)
        assert (found.mean_Nm, found.noise_Nm, found.drift_Nm_per_min) == (0.0, 0.0, 0.0)

    def test_what_cannot_be_told_is_not_known(self) -> None:
        found = Stream(seconds=1 / 80, hello=None, crank=False).checked()
        assert found.samples == 1
        assert (found.rate_hz, found.longest_gap_s, found.noise_Nm, found.noise_counts) == (None, None, None, None)
        assert (found.drift_Nm_per_min, found.mean_Nm, found.crank_pulses) == (None, None, None)
        assert (found.board, found.channels, found.nominal_rate_hz) == (None, "", None)

    def test_lines_that_all_bear_one_time_have_no_drift(self) -> None:
        reader = MeterReader(SIMULATED)
        sample = reader.feed(encode_sample(Sample(1, 1, 84_200)))[0]
        found = check_meter(reader, [sample] * 12, 1, 1.0)
        assert (found.rate_hz, found.drift_Nm_per_min, found.noise_Nm) == (None, None, 0.0)


class TestVerdict:
    """One sentence for each thing that is wrong, and only for it."""

    @pytest.mark.parametrize(
        ("stream", "sentence"),
        [
            (Stream(seconds=0.08), "Too few lines came to judge noise and drift: check longer."),
            (Stream(hello=None), "It does not say what it is (no hello): the firmware is not to the protocol."),
            (Stream(rate_hz=10.0), "It says 80 lines/s and sends 10.0: check the rate jumper."),
            (Stream(rate_hz=640.0, seconds=2.0), "It says 80 lines/s and sends 640.0: check the rate jumper."),
            (Stream(lose_every=50), "15 lines were lost: use another port, or a lower rate."),
            (Stream(restart_at=400), "It restarted once: check its supply."),
            (
                Stream(flags=SATURATED, flagged=3),
                "It is at the end of its range: take the load off, check the wiring of the cell.",
            ),
            (Stream(flags=OVERLOAD, flagged=1), "The cell is past its rating: take the load off."),
            (Stream(flags=NO_DATA, flagged=1), "The converter gives no readings: check its wiring."),
            (
                Stream(noise_counts=15_000.0),
                "Readings scatter widely: check the cell's wiring and screen, and keep the meter still.",
            ),
            (
                Stream(drift_counts_per_s=500.0),
                "The zero drifts by +0.41 mN·m a minute, 11% of a launch torque of 3.67 mN·m: let it warm up, keep it"
                " out of draughts, and leave it untouched.",
            ),
        ],
    )
    def test_says_what_is_wrong(self, stream: Stream, sentence: str) -> None:
        found = stream.checked()
        assert found.verdict == (sentence,)
        assert not found.passed

    def test_damaged_lines_are_lost_as_well(self) -> None:
        assert Stream(damage_every=50).checked().verdict == (
            "16 lines came damaged: check lead and earth, keep it away from motors.",
            "15 lines were lost: use another port, or a lower rate.",
        )

    def test_silence(self) -> None:
        found = check_meter(MeterReader(SIMULATED), [], 0, 5.0)
        assert found.verdict == ("It sends nothing: check its supply, the lead and the firmware.",)
        assert found.crank_pulses is None

    def test_another_device(self) -> None:
        reader = MeterReader(SIMULATED)
        assert check_meter(reader, reader.feed(b"$GPGGA,1,2*47\r\n" * 50), 750, 5.0).verdict == (
            "It speaks something else: this is no meter of this protocol, or its speed is not 115200 baud.",
        )

    @pytest.mark.parametrize("stream", [Stream(noise_counts=15_000.0), Stream(drift_counts_per_s=500.0)])
    def test_without_a_rating_noise_and_drift_are_not_judged(self, stream: Stream) -> None:
        assert stream.checked(replace(SIMULATED, rating_Nm=None)).verdict == ("Meter OK.",)

    @pytest.mark.parametrize("rate", ["", "0", "fast"])
    def test_a_meter_that_does_not_say_its_rate(self, rate: str) -> None:
        assert Stream(hello=Hello(1, (("board", "x"), ("rate", rate)))).checked().verdict == ("Meter OK.",)

    @pytest.mark.parametrize("rate", [64.0, 88.0, 112.0])
    def test_a_converter_of_112_lines_a_second_was_told_of_its_jumper(self, rate: float) -> None:
        """Users of a common converter report 12 and 112 for its 10 and 80: its clock is its own."""
        assert Stream(rate_hz=rate, jitter_us=500.0).checked().verdict == ("Meter OK.",)

    def test_restarts_are_counted(self) -> None:
        reader = MeterReader(SIMULATED)
        lines = Stream(seconds=1.0).lines()
        samples = reader.feed(encode_hello(HELLO) + b"".join(lines[:40] * 2 + lines))
        assert "It restarted 2 times: check its supply." in check_meter(reader, samples, 1, 2.0).verdict


def test_noise_is_held_against_the_converters_own() -> None:
    # HX711 data sheet: 90 nV rms at 80 a second and gain 128, of ±19.53 mV in 2^24 counts: 38.7 counts.
    hello = replace(HELLO, fields=(*HELLO.fields, ("adc", "hx711")))
    quiet = Stream(hello=hello).checked()
    assert quiet.converter_noise_counts == 38.7
    assert quiet.verdict == ("Meter OK.",)
    loud = Stream(hello=hello, noise_counts=400.0).checked()
    assert any("times the converter's own" in words for words in loud.verdict)
    assert Stream().checked().converter_noise_counts is None
    assert Stream(hello=None).checked().converter_noise_counts is None
