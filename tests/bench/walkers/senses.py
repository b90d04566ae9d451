"""Eyes and ears: words that are said and torque that is shown in; a reaction later, and not always, what is in mind."""

from __future__ import annotations

from collections import deque
from typing import Any

import numpy as np

from tests.bench.walkers.people import Walker

MISSES = 0.1
SPREAD = 0.15
"""Of the reaction time and of the time between looks, as a share."""
STARES_S = 0.3
"""Who waits for a figure near the peak hardly looks away."""

Word = dict[str, Any]
"""A prompt or an alarm as other programs get it."""


class Senses:
    """What a person takes in. `word`: the prompt in mind; `torque_Nm`: as last seen."""

    def __init__(self, walker: Walker, rng: np.random.Generator) -> None:
        self._walker = walker
        self._rng = rng
        self._coming: deque[tuple[float, Word | None, float | None]] = deque()
        self._next_look_s = 0.0
        self._shown: Word | None = None
        self._alarms: dict[str, Word] = {}
        self._known: set[tuple[str, float]] = set()
        self._mind_s = -1.0
        self.word: Word | None = None
        self.torque_Nm: float | None = None
        self.seen_s = -1.0

    def said(self, at_s: float, event: Word) -> None:
        """Let something be said: it appears on the screen, and may be heard."""
        if event["event"] == "prompt":
            self._shown = event
        elif event["event"] == "alarm" and event["level"] != "caution":
            if event["active"]:
                self._alarms[event["code"]] = event
            else:
                self._alarms.pop(event["code"], None)
                return
        else:
            return
        if self._walker.hears and self._rng.random() >= MISSES:
            self._take(at_s, event, None)

    def look(self, at_s: float, torque_Nm: float | None, *, walking: bool, stares: bool = False) -> None:
        """Offer the screen; it is looked at now and then."""
        if at_s < self._next_look_s or (walking and not self._walker.looks_walking):
            return
        usual_s = STARES_S if stares else self._walker.looks_s
        self._next_look_s = at_s + usual_s * float(self._rng.uniform(0.6, 1.4))
        self._take(at_s, self._shown, torque_Nm)
        for alarm in self._alarms.values():
            self._take(at_s, alarm, None)

    def _take(self, at_s: float, event: Word | None, torque_Nm: float | None) -> None:
        reaction_s = self._walker.reaction_s * (1.0 + SPREAD * float(self._rng.standard_normal()))
        self._coming.append((at_s + max(reaction_s, 0.3), event, torque_Nm))

    def news(self, at_s: float) -> list[Word]:
        """Return what has newly come to mind: words that were not known yet, oldest first."""
        fresh: list[Word] = []
        while self._coming and self._coming[0][0] <= at_s:
            _, event, torque_Nm = self._coming.popleft()
            if torque_Nm is not None:
                self.torque_Nm, self.seen_s = torque_Nm, at_s
            if event is None:
                continue
            key = (event["code"], event["at_s"])
            if key in self._known or (event["event"] == "prompt" and event["at_s"] < self._mind_s):
                continue
            self._known.add(key)
            if event["event"] == "prompt":
                self.word, self._mind_s = event, event["at_s"]
            fresh.append(event)
        return fresh
