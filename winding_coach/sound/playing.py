"""From something that is looked at to blocks of sound: one ear and one voice. Reads no clock; samples are its time."""

from __future__ import annotations

from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from winding_coach.coach.view import CoachView
from winding_coach.sound.hearing import SILENCE, UNHEARD_S, AudioState, CueSelector
from winding_coach.sound.voice import Voice, as_sixteen_bits


class HasView(Protocol):
    """A wind to listen to; `session.Session` is one."""

    @property
    def view(self) -> CoachView:
        """The newest view: replaced by another thread, never changed."""


class Playing:
    """`block` looks at the newest view and returns the sound that follows the last block."""

    def __init__(self, looked: HasView, ear: CueSelector, rate_hz: int) -> None:
        self._looked = looked
        self._ear = ear
        self._voice = Voice(rate_hz)
        self._last: CoachView | None = None
        self._old_frames = 0
        self.hearing: AudioState = SILENCE

    def block(self, frames: int) -> NDArray[np.int16]:
        """Return so many samples."""
        view = self._looked.view
        self._old_frames = self._old_frames + frames if view is self._last else 0
        self._last = view
        # A loop that gives no sign of life, or a film that stands still, says nothing about now.
        live = self._old_frames < UNHEARD_S * self._voice.rate_hz
        self.hearing = self._ear.hear(view) if live else SILENCE
        return as_sixteen_bits(self._voice.render(self.hearing, frames))
