"""The simulated meter: its bytes, parsed as a real meter's, against what is so on the bench."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import pytest

from tests.scenario import MOTOR, PLAN, WINDER
from winding_coach.meter.calibration import SIMULATED
from winding_coach.meter.frames import (
    LINE_DROPPED,
    NO_DATA,
    OVERLOAD,
    RAW_MAX,
    SATURATED,
    SETTLING,
    U32,
    Frame,
    FrameParser,
    Hello,
    Sample,
)
from winding_coach.simulator.bench import (
    FIRST_LINE_S,
    HELLO_EVERY_S,
    SETTLING_LINES,
    SPIKE_NM,
    TREMOR_HZ,
    Bench,
    MeterModel,
    Truth,
)
from winding_coach.simulator.hands import STYLES, HandsState, ScriptedHands
from winding_coach.simulator.motor import SimulatedMotor

EXACT = MeterModel(clock_ppm=0.0, jitter_us=0.0, noise_Nm=0.0, zero_off_Nm=0.0, drift_Nm_per_s=0.0, ripple=0.0)
"""A meter without any fault: what it sends is so, to a count."""


@dataclass
class StillHands:
    """Hands that stand at a distance, cranking evenly; a test may change their speed."""

    rev_per_s: float = 1.0
    distance_m: float = 1.5
    hooked: bool = True
    doing: str = "cranking"
    done: bool = False
    crank_rev: float = 0.0

    @property
    def state(self) -> HandsState:
        """What they do now."""
        return HandsState(self.crank_rev, self.rev_per_s, self.distance_m, self.hooked, self.doing, self.done)

    @state.setter
    def state(self, _: HandsState) -> None:
        raise AttributeError

    def advance(self, dt_s: float, torque_Nm: float) -> HandsState:
        """Let time pass."""
        del torque_Nm
        self.crank_rev += self.rev_per_s * dt_s
        return self.state


def still(meter: MeterModel = EXACT, seed: int = 1, **hands: float) -> tuple[Bench, StillHands]:
    """A bench of still hands."""
    person = StillHands(**hands)  # type: ignore[arg-type]
    return Bench(SimulatedMotor(MOTOR), person, WINDER.ratio, meter, np.random.default_rng(seed)), person


def scripted(seed: int = 3, meter: MeterModel | None = None) -> Bench:
    """A bench of a whole wind."""
    rng = np.random.default_rng(seed)
    hands = ScriptedHands(PLAN, MOTOR, WINDER, STYLES["good"], rng)
    return Bench(SimulatedMotor(MOTOR), hands, WINDER.ratio, meter or MeterModel(), rng)


def frames(bench: Bench, seconds: float, tick_s: float = 0.0125) -> list[tuple[Sample, Truth]]:
    """The samples that a while brings, each with what was so within a tick of it."""
    return [(frame, truth) for frame, truth in everything(bench, seconds, tick_s) if isinstance(frame, Sample)]


def everything(bench: Bench, seconds: float, tick_s: float = 0.0125) -> list[tuple[Frame, Truth]]:
    """All frames of a while; no byte may be left over that is none."""
    parser = FrameParser()
    found: list[tuple[Frame, Truth]] = []
    for _ in range(round(seconds / tick_s)):
        data = bench.advance(tick_s)
        assert data == b"" or data.endswith(b"\r\n")
        found += [(frame, bench.truth) for frame in parser.feed(data)]
    assert parser.bad_lines == 0
    return found


def torque(sample: Sample) -> float:
    """The torque of a sample by the meter's own calibration."""
    assert sample.raw is not None
    return SIMULATED.torque_Nm(sample.raw)


class TestTruth:
    """What is sent is what is so, give or take what the meter's figures promise."""

    def test_an_exact_meter_sends_the_motors_torque_to_a_count(self) -> None:
        bench, _ = still()
        for sample, truth in frames(bench, 30.0):
            # A line is sent in the middle of a tick: the torque of a tick's end is ahead by a twelfth of a turn.
            assert torque(sample) == pytest.approx(truth.torque_Nm, abs=3e-6)
        assert bench.truth.torque_Nm > 1e-3

    def test_a_whole_wind_within_noise_ripple_and_zero(self) -> None:
        """Ripple: 1.5 times its share at most (its three waves); slips take off some per cent in the walk-in."""
        meter = MeterModel()
        for sample, truth in frames(scripted(), 140.0):
            slack = 6 * meter.noise_Nm + meter.zero_off_Nm + 140 * meter.drift_Nm_per_s + 2e-5
            share = 1.5 * meter.ripple + (0.10 if truth.doing == "walking in" else 0.03)
            assert abs(torque(sample) - truth.torque_Nm) <= slack + share * truth.torque_Nm

    def test_noise_is_as_promised(self) -> None:
        bench, _ = still(replace(EXACT, noise_Nm=2e-5), rev_per_s=0.0)
        seen = np.array([torque(sample) for sample, _ in frames(bench, 30.0)])
        # No turns, no torque: what is seen is the noise. The deviation of 2,400 normal values is good to 1.4 %.
        assert float(np.std(seen)) == pytest.approx(2e-5, rel=0.05)
        assert abs(float(np.mean(seen))) < 4 * 2e-5 / np.sqrt(len(seen))

    def test_zero_and_drift_are_as_promised(self) -> None:
        bench, _ = still(replace(EXACT, zero_off_Nm=60e-6, drift_Nm_per_s=1e-6), rev_per_s=0.0)
        for sample, truth in frames(bench, 10.0):
            assert torque(sample) == pytest.approx(60e-6 + 1e-6 * truth.at_s, abs=3e-8)

    def test_ripple_beats_at_the_cranks_frequency(self) -> None:
        """The strongest wave of the torque's remainder is the crank's own, by Fourier's transform."""
        bench, _ = still(replace(EXACT, ripple=0.02), rev_per_s=1.25)
        pairs = frames(bench, 40.0)[800:]
        rest = np.array([torque(sample) / truth.torque_Nm - 1.0 for sample, truth in pairs])
        spectrum = np.abs(np.fft.rfft(rest - rest.mean()))
        frequency = np.fft.rfftfreq(len(rest), 1 / 80.0)[np.argmax(spectrum)]
        assert frequency == pytest.approx(1.25, abs=0.03)
        assert 0.02 * np.sqrt(0.5) < float(np.std(rest)) < 0.02

    def test_slips_of_the_knots_as_they_form_take_some_torque_and_fade(self) -> None:
        bench, hands = still(distance_m=0.25)
        gone = [1 - torque(sample) / truth.torque_Nm for sample, truth in frames(bench, 80.0)[800:]]
        assert 0.008 < max(gone) < 0.12
        hands.rev_per_s = 0.0
        assert all(abs(torque(s) / t.torque_Nm - 1) < 2e-3 for s, t in frames(bench, 10.0)[400:])

    def test_a_gain_error_is_a_share_of_the_torque(self) -> None:
        bench, _ = still(replace(EXACT, gain_error=-0.1))
        sample, truth = frames(bench, 30.0)[-1]
        assert torque(sample) == pytest.approx(0.9 * truth.torque_Nm, abs=3e-6)

    def test_a_hand_that_holds_a_loaded_crank_trembles_at_nine_hertz(self) -> None:
        bench, hands = still(replace(EXACT, tremor=0.05))
        assert all(torque(s) == pytest.approx(t.torque_Nm, abs=3e-6) for s, t in frames(bench, 30.0))
        hands.rev_per_s = 0.0
        rest = np.array([torque(sample) / truth.torque_Nm - 1.0 for sample, truth in frames(bench, 20.0)])
        spectrum = np.abs(np.fft.rfft(rest - rest.mean()))
        assert np.fft.rfftfreq(len(rest), 1 / 80.0)[np.argmax(spectrum)] == pytest.approx(TREMOR_HZ, abs=0.06)
        assert float(np.std(rest)) == pytest.approx(0.05 * np.sqrt(0.5), rel=0.05)

    def test_a_break_lets_the_cell_go_within_a_few_lines(self) -> None:
        bench, _ = still(distance_m=2.0, rev_per_s=3.0)
        pairs = frames(bench, 60.0)
        broke = next(i for i, (_, truth) in enumerate(pairs) if truth.broken)
        before = torque(pairs[broke - 1][0])
        after = [torque(sample) for sample, _ in pairs[broke:]]
        assert before > 3e-3
        assert all(0.0 <= b <= a for a, b in pairwise(after))
        assert after[4] < 0.01 * before
        assert (bench.truth.torque_Nm, bench.truth.pull_N) == (0.0, 0.0)

    def test_an_empty_hook_feels_nothing(self) -> None:
        bench, hands = still()
        frames(bench, 20.0)
        hands.hooked = False
        assert all(torque(sample) == 0.0 for sample, _ in frames(bench, 1.0))
        assert (bench.truth.torque_Nm, bench.truth.pull_N, bench.truth.hooked) == (0.0, 0.0, False)

    def test_a_torque_past_the_converters_range_is_saturated(self) -> None:
        bench, _ = still(replace(EXACT, zero_off_Nm=0.2))
        assert {(s.raw, s.flags & ~SETTLING) for s, _ in frames(bench, 1.0)} == {(RAW_MAX, SATURATED | OVERLOAD)}

    def test_a_torque_past_the_cells_rating_is_overload(self) -> None:
        """Far below the converter's range: a cell of 1 mV/V is not protected by saturation."""
        bench, _ = still(replace(EXACT, zero_off_Nm=30e-3))
        assert {s.flags & ~SETTLING for s, _ in frames(bench, 1.0)} == {OVERLOAD}
        within, _ = still(replace(EXACT, zero_off_Nm=29e-3))
        assert {s.flags & ~SETTLING for s, _ in frames(within, 1.0)} == {0}

    def test_lines_that_the_converter_gave_nothing_for(self) -> None:
        bench, _ = still()
        bench.no_data_share = 0.1
        seen = [sample for sample, _ in frames(bench, 30.0)]
        assert all((s.raw is None) == bool(s.flags & NO_DATA) for s in seen)
        # 2,396 lines, 10 %: 240 ± 15.
        assert 180 < sum(s.raw is None for s in seen) < 300

    def test_lines_that_the_meter_drops_are_said_by_the_next(self) -> None:
        bench, _ = still()
        bench.drop_share = 0.1
        seen = [sample for sample, _ in frames(bench, 30.0)]
        for before, after in pairwise(seen):
            assert bool(after.flags & LINE_DROPPED) == (after.seq != before.seq + 1)
        assert 180 < 2396 - len(seen) < 300

    def test_a_spike_is_one_line_of_eight_mNm(self) -> None:
        bench, _ = still(rev_per_s=0.0)
        bench.spike_share = 0.05
        seen = [round(torque(sample) / SPIKE_NM, 3) for sample, _ in frames(bench, 30.0)]
        assert {-1.0, 0.0, 1.0} == set(seen)
        # 2,400 lines, 5 %: 120 ± 11.
        assert 80 < sum(map(abs, seen)) < 160

    def test_truth_is_of_the_motor_and_the_hands(self) -> None:
        bench = scripted()
        frames(bench, 30.0)
        truth = bench.truth
        assert truth.at_s == pytest.approx(30.0)
        assert truth.distance_m == pytest.approx(PLAN.stretch_distance_m)
        assert (truth.doing, truth.hooked, truth.broken, truth.knotted) == ("winding stretched", True, False, 0.0)
        assert truth.pull_N > 10.0, "at full stretch the pull is tens of newtons"
        assert truth.turns == pytest.approx(12.5 * 20, rel=0.1)
        assert not bench.done
        frames(bench, 130.0)
        assert bench.done


class TestDeterminism:
    """All chance comes from the seed."""

    def test_the_same_seed_gives_the_same_bytes(self) -> None:
        one, same, other = (
            b"".join(b.advance(0.1) for _ in range(600)) for b in (scripted(), scripted(), scripted(seed=4))
        )
        assert one == same
        assert one != other

    @pytest.mark.parametrize("tick_s", [0.0125, 0.05, 0.5, 3.0])
    def test_lines_do_not_depend_on_how_time_is_cut(self, tick_s: float) -> None:
        """The motor is stepped by the lines, not by the ticks: how time is cut changes little."""
        bench, _ = still()
        seen = [sample for sample, _ in frames(bench, 6.0, tick_s)]
        assert len(seen) == 477
        assert [s.seq for s in seen] == list(range(477))
        assert [s.t_us for s in seen] == [round((FIRST_LINE_S + i / 80) * 1e6) for i in range(477)]
        fine, _ = still()
        reference = [sample for sample, _ in frames(fine, 6.0, 0.0125)]
        assert all(abs(torque(a) - torque(b)) < 2e-5 for a, b in zip(seen, reference, strict=True))


class TestLines:
    """Sequence, clock, crank, hello: as the protocol's page says."""

    def test_settling_lines_then_none(self) -> None:
        bench, _ = still()
        assert [s.flags for s, _ in frames(bench, 0.2)] == [8] * SETTLING_LINES + [0] * (13 - SETTLING_LINES)

    @pytest.mark.parametrize("rate", [10.0, 80.0, 112.5])
    def test_rate_and_clock_error(self, rate: float) -> None:
        bench, _ = still(replace(EXACT, lines_per_s=rate, clock_ppm=200.0))
        times = [s.t_us for s, _ in frames(bench, 20.0)]
        assert len(times) == pytest.approx(20.0 * rate, abs=rate * FIRST_LINE_S + 1)
        steps = np.diff(times)
        assert float(np.mean(steps)) == pytest.approx(1e6 / rate * 1.0002, abs=1.0)

    def test_jitter_only_delays(self) -> None:
        bench, _ = still(replace(EXACT, jitter_us=50.0))
        late = [s.t_us - (FIRST_LINE_S + i / 80) * 1e6 for i, (s, _) in enumerate(frames(bench, 10.0))]
        assert min(late) >= -0.5
        # The mean of a half-normal of 50: 50·√(2/π) = 39.9.
        assert float(np.mean(late)) == pytest.approx(50 * np.sqrt(2 / np.pi), rel=0.1)

    def test_the_clock_wraps(self) -> None:
        bench, _ = still(replace(EXACT, uptime_s=U32 / 1e6 - 2.0))
        times = [s.t_us for s, _ in frames(bench, 4.0)]
        assert sum(after < before for before, after in pairwise(times)) == 1
        assert {(after - before) % U32 for before, after in pairwise(times)} <= {12_499, 12_500, 12_501}

    def test_a_meter_that_has_been_on_for_long_has_counted_on(self) -> None:
        """819 s of 80 lines a second are 65,520; the sequence wraps 16 lines later. The hello is due at 820 s."""
        bench, _ = still(replace(EXACT, uptime_s=819.0, crank_so_far=65_535))
        found = everything(bench, 3.1)
        samples = [f for f, _ in found if isinstance(f, Sample)]
        assert [s.seq for s in samples[:17]] == [*range(65_520, 65_536), 0]
        assert [samples[0].crank, samples[-1].crank] == [65_535, 2]
        assert all(s.flags == 0 for s in samples)
        (hello_s,) = [t.at_s for f, t in found if isinstance(f, Hello)]
        assert hello_s == pytest.approx(1.0, abs=0.02)

    def test_hello_at_boot_every_five_seconds_and_on_request(self) -> None:
        bench, _ = still(replace(EXACT, channels="qd", board="lantern"))
        hellos = [(f, t) for f, t in everything(bench, 12.0) if isinstance(f, Hello)]
        assert [round(t.at_s / HELLO_EVERY_S) for _, t in hellos] == [0, 1, 2]
        hello = hellos[0][0]
        assert (hello.proto, hello.board, hello.rate_hz, hello.channels) == (1, "lantern", 80.0, "qd")
        assert hello.value("rst") == "por"
        bench.answer(b"x\r\n")
        assert not any(isinstance(f, Hello) for f, _ in everything(bench, 0.5))
        bench.answer(b"?")
        assert sum(isinstance(f, Hello) for f, _ in everything(bench, 0.5)) == 1

    @pytest.mark.parametrize(
        ("channels", "crank", "distance", "temperature"),
        [
            ("", None, None, None),
            ("c", 2, None, None),
            ("qd", 2, 1500, None),
            ("cdt", 2, 1500, 213),
            ("t", None, None, 213),
        ],
    )
    def test_channels(self, channels: str, crank: int | None, distance: int | None, temperature: int | None) -> None:
        bench, _ = still(replace(EXACT, channels=channels))
        last = frames(bench, 2.1)[-1][0]
        assert (last.crank, last.distance_mm, last.temperature_dC) == (crank, distance, temperature)

    @pytest.mark.parametrize(("channels", "counted"), [("c", [3, 5]), ("q", [3, 1])])
    def test_one_sensor_counts_either_way_and_two_tell_the_way(self, channels: str, counted: list[int]) -> None:
        bench, hands = still(replace(EXACT, channels=channels))
        forward = frames(bench, 3.5)[-1][0].crank
        hands.rev_per_s = -1.0
        assert [forward, frames(bench, 2.0)[-1][0].crank] == counted

    @pytest.mark.parametrize(("channels", "counted"), [("c", [14, 22]), ("q", [14, 6])])
    def test_four_pulses_a_turn(self, channels: str, counted: list[int]) -> None:
        bench, hands = still(replace(EXACT, channels=channels, pulses_per_turn=4))
        found = everything(bench, 3.55)
        assert next(f for f, _ in found if isinstance(f, Hello)).value("ppr") == "4"
        hands.rev_per_s = -1.0
        forward = [f for f, _ in found if isinstance(f, Sample)][-1].crank
        assert [forward, frames(bench, 2.0)[-1][0].crank] == counted

    def test_two_sensors_wrap_below_nothing(self) -> None:
        bench, _ = still(replace(EXACT, channels="q"), rev_per_s=-1.0)
        assert frames(bench, 1.5)[-1][0].crank == 65534
        assert bench.truth.turns == 0.0, "a motor is not wound the other way"

    def test_a_reset_pauses_and_begins_anew(self) -> None:
        bench, _ = still()
        before = frames(bench, 5.4)[-1][0]
        assert (before.seq, before.crank) == (428, 5)
        bench.reset_meter(1.5, "wdt")
        assert everything(bench, 1.525) == []
        found = everything(bench, 3.0)
        samples = [f for f, _ in found if isinstance(f, Sample)]
        assert (samples[0].seq, samples[0].t_us, samples[0].flags, samples[0].crank) == (0, 50_000, 8, 0)
        assert next(f for f, _ in found if isinstance(f, Hello)).value("rst") == "wdt"
        # The motor was wound on meanwhile.
        assert bench.truth.turns == pytest.approx(99.25)
