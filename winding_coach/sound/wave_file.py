"""A whole wind as a WAV file: the views of a trace in, what would have been heard out, in the same blocks as live."""

from __future__ import annotations

import wave
from collections import Counter
from collections.abc import Iterable, Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from winding_coach.base.inputs import Input, TimePassed
from winding_coach.coach.loop import taken
from winding_coach.coach.settings import CoachSettings
from winding_coach.coach.step import Coach
from winding_coach.coach.view import CoachView
from winding_coach.sound.hearing import Cue, CueSelector, Heard
from winding_coach.sound.playing import Playing

FILE_RATE_HZ = 24_000
"""Twice the highest overtone and more."""
BLOCK_S = 0.020
"""As long as the sound card's buffer, so that the file is as late as the loudspeaker."""
VIEW_EVERY_S = 0.005
"""As `session` does."""


class _Place:
    """What is looked at, moved on by hand."""

    def __init__(self, view: CoachView) -> None:
        self.view = view


def views_of(inputs: Iterable[Input], settings: CoachSettings) -> Iterator[CoachView]:
    """Yield the views of a wind as often as a live one publishes them."""
    coach, shown_s = Coach(settings), -1.0
    yield coach.view
    for event in taken(coach, inputs, close=False):
        if coach.said or isinstance(event, TimePassed) or event.at_s - shown_s >= VIEW_EVERY_S:
            shown_s = event.at_s
            yield coach.view


class Rendered:
    """A wind as blocks of sound; after them, how often each cue was heard (`cues`) and for how long (`seconds`)."""

    def __init__(self, views: Iterable[CoachView], ear: CueSelector, rate_hz: int = FILE_RATE_HZ) -> None:
        self._views = views
        self._ear = ear
        self._rate_hz = rate_hz
        self.cues: Counter[Cue] = Counter()
        self.seconds = 0.0

    def __iter__(self) -> Iterator[NDArray[np.int16]]:
        """Yield block after block, from the first view to the last."""
        views = iter(self._views)
        first = next(views, None)
        if first is None:
            return
        place, frames, number = _Place(first), round(BLOCK_S * self._rate_hz), 0
        playing = Playing(place, self._ear, self._rate_hz)
        heard: Heard | None = None
        for view in views:
            while first.at_s + number * BLOCK_S < view.at_s:
                yield playing.block(frames)
                number += 1
                cue = playing.hearing.cue
                if cue is not None and cue != heard:
                    self.cues[cue.cue] += 1
                heard = cue
            place.view = view
        self.seconds = number * BLOCK_S


def write_wave(path: Path, blocks: Iterable[NDArray[np.int16]], rate_hz: int = FILE_RATE_HZ) -> None:
    """Write blocks as a file of one channel, 16 bits.

    Raises:
        OSError: it cannot be written.
    """
    with open(path, "wb") as opened, wave.open(opened, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(rate_hz)
        for block in blocks:
            file.writeframes(block.tobytes())
