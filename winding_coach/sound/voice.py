"""Synthesis: what is to be heard → samples. Pure; pitch and loudness glide, so that no block's seam can be heard.

The phase of the tone runs on from block to block whatever the pitch does, and all that begins or ends does so softly.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from winding_coach.sound.hearing import CUE_S, AudioState, Cue, Heard

Samples = NDArray[np.float64]

GLIDE_S = 0.030
"""Time constant with which the pitch follows."""
ATTACK_S = 0.004
"""From nothing to full loudness, and back. Shorter clicks; longer is late."""
PULSE_ON = 0.5
"""Share of a pulse that sounds."""
TONE_PEAK = 0.16
CUE_PEAKS = {Cue.STEP_IN: 0.35, Cue.READY: 0.35, Cue.STOP: 0.6, Cue.DANGER: 0.7}
"""Largest sample, of 1 that the sound card can do. Tone and cue never sound together, so nothing can clip."""


@dataclass(frozen=True, slots=True)
class Note:
    """A part of a cue: when it begins, how long it is, its pitch, and how strong its overtones are."""

    at_s: float
    length_s: float
    pitch_hz: float
    overtones: tuple[float, ...] = (1.0,)


_ROUND = (1.0, 0.12)
_FIRM = (1.0, 0.8, 0.6)
CUES: dict[Cue, tuple[Note, ...]] = {
    Cue.STEP_IN: (Note(0.0, 0.2, 1200.0, _ROUND), Note(0.32, 0.2, 1200.0, _ROUND)),
    Cue.READY: (Note(0.0, 0.16, 900.0), Note(0.18, 0.16, 1200.0), Note(0.36, 0.3, 1800.0)),
    Cue.STOP: (Note(0.0, 0.75, 700.0, _FIRM),),
    Cue.DANGER: tuple(Note(0.125 * n, 0.08, 1400.0 if n % 2 else 1000.0, (1.0, 0.7)) for n in range(4)),
}
"""They differ in rhythm first, then in timbre and pitch: two soft pips; three rising; one long and firm; a rattle."""


def soft_edges(at_s: Samples, length_s: float) -> Samples:
    """Return the loudness, 0 to 1, of something that lasts from 0 to `length_s`, with a raised cosine at each end."""
    inside = np.clip(np.minimum(at_s, length_s - at_s) / ATTACK_S, 0.0, 1.0)
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * inside))


@lru_cache(maxsize=16)
def cue_samples(cue: Cue, rate_hz: int) -> Samples:
    """Return a whole cue at its loudness."""
    at_s = np.arange(round(CUE_S[cue] * rate_hz)) / rate_hz
    sound = np.zeros(at_s.size)
    for note in CUES[cue]:
        turns = (at_s - note.at_s) * note.pitch_hz
        wave = sum(
            (part * np.sin(2.0 * np.pi * number * turns) for number, part in enumerate(note.overtones, 1)),
            np.zeros(at_s.size),
        )
        sound += soft_edges(at_s - note.at_s, note.length_s) * wave
    sound *= CUE_PEAKS[cue] / np.abs(sound).max()
    sound.flags.writeable = False
    return sound


class Voice:
    """Sings what it is told, block by block."""

    def __init__(self, rate_hz: int) -> None:
        self.rate_hz = rate_hz
        self._turns = 0.0  # of the tone's phase
        self._pitch_hz: float | None = None
        self._level = 0.0
        self._pulse_turns = 0.0
        self._pulses_per_s = 2.0
        self._broken = 0.0  # how far the pulses break the tone, 0 to 1
        self._cue: Heard | None = None
        self._sounding: Samples | None = None
        self._place = 0
        self._fading = 1.0

    def render(self, hearing: AudioState, frames: int) -> Samples:
        """Return the next samples, -1 to 1."""
        cue = self._cue_part(hearing.cue, frames)
        return self._tone_part(hearing, frames) + cue

    def _slide(self, now: float, goal: float, frames: int) -> Samples:
        """From `now` towards `goal` at the pace of an attack."""
        steps = np.arange(1, frames + 1) / (ATTACK_S * self.rate_hz)
        return np.asarray(np.minimum(now + steps, goal) if goal > now else np.maximum(now - steps, goal))

    def _tone_part(self, hearing: AudioState, frames: int) -> Samples:
        # Silent under a cue: one thing at a time, and there is room for the cue's loudness.
        tone = hearing.tone if self._sounding is None and hearing.cue is None else None
        if tone is None and self._level == 0.0:
            self._pitch_hz = None
            return np.zeros(frames)
        if tone is not None and tone.pulses_per_s > 0.0:
            if self._broken == 0.0:
                self._pulse_turns = 0.0
            self._pulses_per_s = tone.pulses_per_s
        level = self._slide(self._level, 0.0 if tone is None else 1.0, frames)
        broken = self._slide(self._broken, float(tone is not None and tone.pulses_per_s > 0.0), frames)
        pitch = self._glide(tone.pitch_hz if tone is not None else self._pitch_hz or 1000.0, frames)
        turns = self._turns + np.cumsum(pitch) / self.rate_hz
        pulse_turns = self._pulse_turns + np.arange(1, frames + 1) * (self._pulses_per_s / self.rate_hz)
        into_s = np.asarray((pulse_turns % 1.0) / self._pulses_per_s, dtype=np.float64)
        pulses = soft_edges(into_s, PULSE_ON / self._pulses_per_s)
        self._level, self._broken = float(level[-1]), float(broken[-1])
        self._turns, self._pulse_turns = float(turns[-1] % 1.0), float(pulse_turns[-1] % 1.0)
        return np.asarray(TONE_PEAK * level * (1.0 - broken * (1.0 - pulses)) * np.sin(2.0 * np.pi * turns))

    def _glide(self, goal_hz: float, frames: int) -> Samples:
        """The pitch of each sample: it closes in on the goal; a tone that begins, begins on it."""
        now_hz = goal_hz if self._pitch_hz is None else self._pitch_hz
        left = np.exp(-np.arange(1, frames + 1) / (GLIDE_S * self.rate_hz))
        pitch = goal_hz + (now_hz - goal_hz) * left
        self._pitch_hz = float(pitch[-1])
        return np.asarray(pitch)

    def _cue_part(self, wanted: Heard | None, frames: int) -> Samples:
        """The cue that sounds. Another one fades it out, then begins; while none is wanted it plays to its end."""
        made = np.zeros(frames)
        done = 0
        while done < frames:
            new = wanted is not None and wanted != self._cue
            if self._sounding is None:
                if not new or wanted is None:
                    break
                # The tone gives way first: the cue begins when that has died away.
                done += round(ATTACK_S * self.rate_hz) if self._level > 0.0 else 0
                self._begin(wanted)
                continue
            left = frames - done
            if new:
                left = min(left, -int(-self._fading * ATTACK_S * self.rate_hz // 1))
            part = self._sounding[self._place : self._place + left]
            if new:
                fade = np.maximum(self._fading - np.arange(1, part.size + 1) / (ATTACK_S * self.rate_hz), 0.0)
                part = part * fade
                self._fading = float(fade[-1])
            made[done : done + part.size] = part
            done += part.size
            self._place += part.size
            if self._place >= self._sounding.size or self._fading == 0.0:
                self._sounding = None
        return made

    def _begin(self, wanted: Heard) -> None:
        self._cue, self._place, self._fading = wanted, 0, 1.0
        self._sounding = cue_samples(wanted.cue, self.rate_hz)


def as_sixteen_bits(samples: Samples) -> NDArray[np.int16]:
    """Return samples as a sound card takes them; what is beyond 1 is cut, though nothing here should be."""
    return np.asarray(np.round(np.clip(samples, -1.0, 1.0) * 32767.0), dtype="<i2")
