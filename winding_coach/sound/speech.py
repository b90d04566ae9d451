"""Spoken prompts: which of the coach's sentences are said aloud, and how. Pure: a view in, an utterance out.

It never nags: the same words not again for a while, what is old not at all; only a danger does not wait its turn.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from winding_coach.coach.said import Level
from winding_coach.coach.view import CoachView

AGAIN_S = 12.0
"""The same words are not said again sooner."""
PAUSE_S = 3.0
"""From the beginning of one utterance to the next; a short sentence takes two seconds."""
OLD_S = 2.0
"""What was said by the coach longer ago than this is not spoken any more."""
LONGEST = 200

_UNITS = {
    "mN·m": "millinewton metres",
    "N·m": "newton metres",
    "ozf·in": "ounce inches",
    "m": "metres",
    "cm": "centimetres",
    "in": "inches",
}
_UNIT = re.compile(r"(?<=\d) ?(" + "|".join(re.escape(unit) for unit in _UNITS) + r")(?![\w·])")


@dataclass(frozen=True, slots=True)
class Utterance:
    """Words to speak. urgent: they cut in."""

    text: str
    urgent: bool = False


def spoken(text: str) -> str:
    """Return a sentence as it is read aloud: units in words, and nothing that a speech program takes for a command."""
    text = _UNIT.sub(lambda found: f" {_UNITS[found[1]]}", text)
    text = re.sub(r"(\d)½", r"\1 and a half", text).replace("½", "half")
    # Controls could end a line or drive a terminal, brackets and angles are markup to some speech programs.
    kept = "".join(char if char.isprintable() and char not in "[]<>{}|\\`$" else " " for char in text)
    return " ".join(kept.split())[:LONGEST]


class Talk:
    """Looks at one view after another and says what is to be spoken now."""

    def __init__(self) -> None:
        self._at_s = -1.0
        self._spoken: dict[str, float] = {}
        self._last_s = -1e9
        self._dangers: frozenset[tuple[str, float]] = frozenset()

    def tell(self, view: CoachView) -> Utterance | None:
        """Return what to speak with this view, None to stay quiet."""
        if view.at_s < self._at_s:
            self._spoken, self._last_s, self._dangers = {}, -1e9, frozenset()
        self._at_s = view.at_s
        dangers = frozenset((alarm.code, alarm.at_s) for alarm in view.alarms if alarm.level is Level.DANGER)
        new, self._dangers = dangers - self._dangers, dangers
        for alarm in view.alarms:
            if (alarm.code, alarm.at_s) in new and view.at_s - alarm.at_s <= OLD_S:
                return self._say(alarm.text, urgent=True)
        if dangers or view.summary is not None or view.at_s - self._last_s < PAUSE_S:
            return None
        warnings = [(alarm.at_s, alarm.text) for alarm in view.alarms if alarm.level is Level.WARNING]
        prompts = [] if view.prompt is None else [(view.prompt.at_s, view.prompt.text)]
        for at_s, text in (*warnings, *prompts):
            if view.at_s - at_s <= OLD_S and view.at_s - self._spoken.get(text, -1e9) >= AGAIN_S:
                return self._say(text, urgent=False)
        return None

    def _say(self, text: str, *, urgent: bool) -> Utterance:
        self._spoken[text] = self._last_s = self._at_s
        return Utterance(spoken(text), urgent)
