"""The terminal's bell, for want of a sound card: it has one sound, so cues differ by how often it rings. Pure."""

from __future__ import annotations

from winding_coach.coach.view import CoachView
from winding_coach.sound.hearing import CUE_WORDS, Cue, CueSelector, Heard

RINGS = {Cue.STEP_IN: 1, Cue.STOP: 2, Cue.READY: 3, Cue.DANGER: 1}
"""Danger goes on, a ring every half second."""
APART_S = 0.2


class Bell:
    """Looks at one view after another and counts the rings that are due."""

    def __init__(self) -> None:
        self._ear = CueSelector()
        self._cue: Heard | None = None
        self._to_come: list[float] = []
        self.words = ""

    def rings(self, view: CoachView) -> int:
        """Return how many rings are due with this view: 0 or 1."""
        cue = self._ear.hear(view).cue
        self.words = "" if cue is None else CUE_WORDS[cue.cue]
        if cue is not None and cue != self._cue:
            self._to_come = [view.at_s + APART_S * number for number in range(RINGS[cue.cue])]
            self._cue = cue
        if self._to_come and view.at_s >= self._to_come[0]:
            del self._to_come[0]
            return 1
        return 0
