"""What is known of this person's feet and ears: from winds before, and from what they did in this one. Pure."""

from __future__ import annotations

from dataclasses import asdict, replace
from typing import Any

from winding_coach.base.values import value

REACTION_S = 0.9
"""From a word to the feet, where nobody has been measured: about 0.7 s of reaction (from memory) and some hearing."""
STOP_LEAD_S = 1.3
"""Stop is said so long before the peak where nothing is known: reaction, then the hand slows down, and most go on a
little longer than they mean to; found in the closed loop (simulated)."""
LEAST_LEAD_S, MOST_LEAD_S = 0.7, 2.0
LEAST_REACTION_S, MOST_REACTION_S = 0.4, 2.5
LEAST_PACE, MOST_PACE = 0.3, 3.0
RISES = 0.002
"""A crank that still turns raises torque by more than this share; its noise does not."""


@value(frozen=True, slots=True)
class Habits:
    """pace: their pace over the one that a word means. reaction_s: from a word to what torque shows of it. stops_s:
    from the stop to the crank's standing. stride_m: usual step, None not known. steps: whether they step rather than
    walk, None not known. winds: how many winds it rests on."""

    pace: float = 1.0
    reaction_s: float = REACTION_S
    stops_s: float | None = None
    stride_m: float | None = None
    steps: bool | None = None
    winds: int = 0

    @property
    def stop_lead_s(self) -> float:
        """How long before the peak this person is told to stop: as they stopped before, else as their feet react."""
        usual_s = STOP_LEAD_S + self.reaction_s - REACTION_S
        return min(max(usual_s if self.stops_s is None else self.stops_s, LEAST_LEAD_S), MOST_LEAD_S)

    def as_json(self) -> dict[str, Any]:
        """Return the values as they are kept."""
        return asdict(self)


UNKNOWN = Habits()


def habits_from(found: object) -> Habits:
    """Return habits as `as_json` gave them; what cannot be such is not known."""
    if not isinstance(found, dict):
        return UNKNOWN

    def number(key: str, least: float, most: float) -> float | None:
        kept: Any = found.get(key)
        if isinstance(kept, bool) or not isinstance(kept, (int, float)):
            return None
        return float(kept) if least <= kept <= most else None

    steps, winds = found.get("steps"), found.get("winds")
    return Habits(
        pace=number("pace", LEAST_PACE, MOST_PACE) or 1.0,
        reaction_s=number("reaction_s", LEAST_REACTION_S, MOST_REACTION_S) or REACTION_S,
        stops_s=number("stops_s", 0.0, 5.0),
        stride_m=number("stride_m", 0.01, 2.0),
        steps=steps if isinstance(steps, bool) else None,
        winds=winds if isinstance(winds, int) and 0 <= winds <= 1000 else 0,
    )


def learnt_from(winds: list[Habits]) -> Habits:
    """Return what recent winds show together, newest last; each older one counts half as much."""
    if not winds:
        return UNKNOWN
    weights = [0.5**age for age in range(len(winds) - 1, -1, -1)]

    def mean(values: list[float | None]) -> float | None:
        known = [(value, weight) for value, weight in zip(values, weights, strict=True) if value is not None]
        total = sum(weight for _, weight in known)
        return sum(value * weight for value, weight in known) / total if total else None

    stepped = mean([None if one.steps is None else float(one.steps) for one in winds])
    return Habits(
        pace=mean([one.pace for one in winds]) or 1.0,
        reaction_s=mean([one.reaction_s for one in winds]) or REACTION_S,
        stops_s=mean([one.stops_s for one in winds]),
        stride_m=mean([one.stride_m for one in winds]),
        steps=None if stepped is None else stepped > 0.5,
        winds=len(winds),
    )


class Learning:
    """`habits` as they are known by now; told what a word was followed by."""

    def __init__(self, before: Habits = UNKNOWN, *, learns: bool = True) -> None:
        self.habits = before if learns else UNKNOWN
        self._learns = learns

    def paced(self, ratio: float, weight: float) -> None:
        """They walk at `ratio` times the pace of the word; weight (0-1): how much that counts."""
        if self._learns:
            now = self.habits
            pace = now.pace * (ratio / now.pace) ** min(weight, 1.0)
            pace = min(max(pace, LEAST_PACE), MOST_PACE)
            # Heard at each sample of a walk: five times as quick as `replace`.
            self.habits = Habits(pace, now.reaction_s, now.stops_s, now.stride_m, now.steps, now.winds)

    def reacted(self, after_s: float) -> None:
        """Torque showed after so long that a word was followed."""
        if self._learns and LEAST_REACTION_S <= after_s <= MOST_REACTION_S:
            before = self.habits.reaction_s
            self.habits = replace(self.habits, reaction_s=before + 0.3 * (after_s - before))

    def stopped(self, after_s: float) -> None:
        """The crank stood so long after the stop was said."""
        if self._learns and 0.0 < after_s < 5.0:
            self.habits = replace(self.habits, stops_s=after_s)

    def stepped(self, *, steps: bool, stride_m: float | None = None) -> None:
        """They step, or walk; and how far a step goes, where that is measured."""
        if self._learns:
            before = self.habits.stride_m
            stride = before if stride_m is None else stride_m if before is None else 0.7 * before + 0.3 * stride_m
            self.habits = replace(self.habits, steps=steps, stride_m=stride)


class StopWatch:
    """How long after the word to stop the crank stood: until torque had risen for the last time, for a hand that stands
    is noticed a good while later."""

    def __init__(self, learning: Learning) -> None:
        self._learning = learning
        self._said_s: float | None = None
        self._top_Nm = 0.0
        self._top_s = 0.0

    def tell(self, at_s: float, torque_Nm: float | None, *, said_s: float | None, turning: bool, stands: bool) -> None:
        """Take one moment. said_s: when the stop was said, None while another word stands. turning, stands: the crank,
        both False where that is not known."""
        if said_s is None or torque_Nm is None:
            self._said_s = None
            return
        if self._said_s is None:
            if not turning:
                return
            self._said_s, self._top_Nm, self._top_s = said_s, torque_Nm, at_s
        if torque_Nm > (1.0 + RISES) * self._top_Nm:
            self._top_Nm, self._top_s = torque_Nm, at_s
        if stands:
            self._learning.stopped(self._top_s - self._said_s)
            self._said_s = None
