"""The samples: right pitch by Fourier transform, no clicks, no clipping, cues that can be told apart."""

from __future__ import annotations

from itertools import combinations, pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from winding_coach.sound.hearing import CUE_S, SILENCE, AudioState, Cue, Heard, Side, Tone
from winding_coach.sound.voice import ATTACK_S, CUE_PEAKS, TONE_PEAK, Samples, Voice, as_sixteen_bits, cue_samples

RATE_HZ = 48_000
BLOCK = 960


def tone(pitch_hz: float, side: Side = Side.WITHIN) -> AudioState:
    return AudioState(Tone(pitch_hz, side))


def rendered(hearings: list[AudioState], frames: int = BLOCK) -> Samples:
    voice = Voice(RATE_HZ)
    return np.concatenate([voice.render(hearing, frames) for hearing in hearings])


def loudest_hz(sound: Samples) -> float:
    """The strongest frequency, from the largest bin and its neighbours (parabola through the logarithms)."""
    strength = np.abs(np.fft.rfft(sound * np.hanning(sound.size)))
    top = int(np.argmax(strength))
    below, middle, above = np.log(strength[top - 1 : top + 2])
    return float((top + 0.5 * (below - above) / (below - 2 * middle + above)) * RATE_HZ / sound.size)


def envelope(sound: Samples, hop: int = 240) -> Samples:
    """The loudness in steps of 5 ms."""
    whole = sound[: sound.size // hop * hop].reshape(-1, hop)
    return np.asarray(np.abs(whole).max(axis=1))


@pytest.mark.parametrize("pitch_hz", [512.0, 1000.0, 1953.125])
def test_the_tone_has_the_pitch_that_was_asked_for(pitch_hz: float) -> None:
    sound = rendered([tone(pitch_hz)] * 50)
    assert loudest_hz(sound[RATE_HZ // 2 :]) == pytest.approx(pitch_hz, abs=0.05)


def test_the_pitch_glides_to_a_new_one_within_a_tenth_of_a_second() -> None:
    sound = rendered([tone(800.0)] * 10 + [tone(1600.0)] * 30)
    assert loudest_hz(sound[15 * BLOCK :]) == pytest.approx(1600.0, abs=2.0)


@pytest.mark.parametrize(("side", "times"), [(Side.BELOW, 2), (Side.ABOVE, 5)])
def test_pulses_come_at_their_pace(side: Side, times: int) -> None:
    loud = envelope(rendered([tone(1000.0, side)] * 200)) > 0.5 * TONE_PEAK
    begins = sum(1 for before, now in pairwise(loud) if now and not before)
    assert begins == pytest.approx(4 * times, abs=1)
    assert loud.mean() == pytest.approx(0.5, abs=0.04)


def test_how_the_time_is_cut_into_blocks_changes_nothing() -> None:
    heard = Heard(Cue.STEP_IN, 1.0)
    whole = rendered([tone(900.0, Side.ABOVE)] * 12 + [AudioState(None, heard)] * 12)
    parts = rendered([tone(900.0, Side.ABOVE)] * 48 + [AudioState(None, heard)] * 48, BLOCK // 4)
    np.testing.assert_allclose(whole, parts, atol=1e-9)


def steepest(sound: Samples) -> float:
    return float(np.abs(np.diff(sound)).max())


def test_the_phase_runs_on_when_the_pitch_jumps() -> None:
    sound = rendered([tone(pitch) for pitch in (512.0, 1953.0, 600.0, 1500.0, 512.0, 1953.0)] * 8)
    # A sine cannot be steeper than this, the rise of an attack added; a phase that jumps is.
    limit = TONE_PEAK * (2 * np.pi * 1953.0 / RATE_HZ + 0.5 * np.pi / (ATTACK_S * RATE_HZ))
    assert steepest(sound) <= limit
    begun_anew = np.tile(TONE_PEAK * np.sin(2 * np.pi * 512.0 * np.arange(BLOCK) / RATE_HZ), 3)
    assert steepest(begun_anew) > limit


def test_nothing_clicks_in_beginning_pulsing_and_ending() -> None:
    sound = rendered(([SILENCE] * 3 + [tone(1000.0)] * 9 + [tone(1300.0, Side.ABOVE)] * 20 + [SILENCE] * 5) * 3)
    power = np.abs(np.fft.rfft(sound)) ** 2
    hz = np.fft.rfftfreq(sound.size, 1 / RATE_HZ)
    assert power[hz > 5000].sum() / power.sum() < 1e-6
    # The same with hard edges would: the check can tell.
    hard = np.where(np.arange(sound.size) // 4801 % 2, np.sin(2 * np.pi * 1000 * np.arange(sound.size) / RATE_HZ), 0.0)
    power = np.abs(np.fft.rfft(hard + 0.5 * np.sign(hard) * (np.arange(sound.size) % 4801 < 2))) ** 2
    assert power[hz > 5000].sum() / power.sum() > 1e-6


@st.composite
def anything(draw: st.DrawFn) -> AudioState:
    heard = draw(st.none() | st.builds(Heard, st.sampled_from(Cue), st.floats(0, 3)))
    made = draw(st.none() | st.builds(Tone, st.floats(500, 3000), st.sampled_from(Side)))
    return AudioState(made, heard)


@settings(max_examples=40)
@given(st.lists(st.tuples(anything(), st.integers(1, 2000)), min_size=1, max_size=12))
def test_whatever_is_heard_stays_below_its_limit(what: list[tuple[AudioState, int]]) -> None:
    voice = Voice(RATE_HZ)
    for hearing, frames in what:
        sound = voice.render(hearing, frames)
        assert sound.size == frames
        assert np.abs(sound).max(initial=0.0) <= max(CUE_PEAKS.values()) + TONE_PEAK < 1.0


def test_the_loudest_sample_of_each_is_as_documented() -> None:
    assert np.abs(rendered([tone(1000.0)] * 20)).max() == pytest.approx(TONE_PEAK, rel=1e-3)
    for cue, peak in CUE_PEAKS.items():
        assert np.abs(cue_samples(cue, RATE_HZ)).max() == pytest.approx(peak)
    assert CUE_PEAKS[Cue.DANGER] == max(CUE_PEAKS.values())


def test_samples_are_cut_rather_than_wrapped() -> None:
    assert as_sixteen_bits(np.array([0.0, 1.0, -1.0, 1.5, -3.0])).tolist() == [0, 32767, -32767, 32767, -32767]


@pytest.mark.parametrize("cue", Cue)
def test_a_cue_is_long_enough_and_where_hearing_is_keen(cue: Cue) -> None:
    # 500-3000 Hz, half a second at least or clearly pulsed: MIL-STD-1472E, auditory signals, seen.
    sound = cue_samples(cue, RATE_HZ)
    assert CUE_S[cue] >= 0.5
    assert sound.size == pytest.approx(CUE_S[cue] * RATE_HZ, abs=1)
    power = np.abs(np.fft.rfft(sound)) ** 2
    hz = np.fft.rfftfreq(sound.size, 1 / RATE_HZ)
    assert power[(hz >= 500) & (hz <= 3000)].sum() / power.sum() > 0.99
    assert sound[0] == pytest.approx(0.0, abs=1e-3)
    assert sound[-1] == pytest.approx(0.0, abs=1e-3)


def test_there_are_at_most_four_cues_to_tell_apart() -> None:
    # MIL-STD-1472E, seen.
    assert len(Cue) <= 4


@pytest.mark.parametrize(("one", "other"), list(combinations(Cue, 2)))
def test_two_cues_differ_in_rhythm_and_in_sound(one: Cue, other: Cue) -> None:
    first, second = cue_samples(one, RATE_HZ), cue_samples(other, RATE_HZ)

    def beats(sound: Samples) -> int:
        loud = envelope(np.concatenate([np.zeros(960), sound, np.zeros(960)])) > 0.3 * np.abs(sound).max()
        return sum(1 for before, now in pairwise(loud) if now and not before)

    def colours(sound: Samples) -> Samples:
        """Strength in each third of an octave from 500 to 3000 Hz, as a direction."""
        power = np.abs(np.fft.rfft(sound, RATE_HZ)) ** 2
        edges = 500.0 * 2 ** (np.arange(9) / 3)
        bands = np.sqrt([power[int(low) : int(high)].sum() for low, high in pairwise(edges)])
        return np.asarray(bands / np.linalg.norm(bands))

    assert beats(first) != beats(second)
    assert float(colours(first) @ colours(second)) < 0.8


def test_a_danger_begins_within_a_few_milliseconds_of_its_block_whatever_sounds() -> None:
    voice = Voice(RATE_HZ)
    for _ in range(5):
        voice.render(AudioState(tone(1000.0).tone, Heard(Cue.STOP, 1.0)), BLOCK)
    danger = voice.render(AudioState(None, Heard(Cue.DANGER, 1.1)), BLOCK)
    alone = cue_samples(Cue.DANGER, RATE_HZ)[: BLOCK - 192]
    np.testing.assert_allclose(danger[192:], alone, atol=1e-9)


def test_a_tone_gives_way_to_a_cue_and_comes_back() -> None:
    voice = Voice(RATE_HZ)
    heard = Heard(Cue.STEP_IN, 1.0)
    for _ in range(5):
        voice.render(tone(1000.0), BLOCK)
    during = np.concatenate([voice.render(AudioState(tone(1000.0).tone, heard), BLOCK) for _ in range(30)])
    np.testing.assert_allclose(during[192:BLOCK], cue_samples(Cue.STEP_IN, RATE_HZ)[: BLOCK - 192], atol=1e-9)
    after = np.concatenate([voice.render(tone(1000.0), BLOCK) for _ in range(10)])
    assert np.abs(after).max() == pytest.approx(TONE_PEAK, rel=1e-3)
