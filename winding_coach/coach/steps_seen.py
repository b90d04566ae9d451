"""Each step of the walk-in as torque shows it: how deep it fell, how long until it was back, did the crank turn. Pure.

A step lets the strands go, so torque falls within about a second and comes back as the crank turns. What falls and
does not come back is no step.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, replace
from typing import Any

from winding_coach.coach.moment import Moment

LEAST_DEPTH = 0.04
"""Share of torque: smaller falls are ripple, slips of knots, or a walk that does not stop."""
BACK_SHARE = 0.97
"""Torque is back at this share of what it was before the step."""
FALLS_WITHIN_S = 1.6
TURNS_AGAIN = 0.012
"""Risen by this share of torque from its lowest, the fall is over."""
RECOVERS_WITHIN_S = 15.0
LONG_DEPTH = 0.15
"""A deeper fall is a step too long; a walk at the planned strand stretch has none."""
GOOD_DEPTH = 0.10
KEPT = 200


@dataclass(frozen=True, slots=True)
class SeenStep:
    """One step. at_s: when torque began to fall; depth: share of torque lost; recover_s: until it was back, None if
    another step came first; crank_turned: None where nothing shows it; from_m, to_m: None where not measured."""

    at_s: float
    depth: float
    recover_s: float | None
    crank_turned: bool | None
    from_m: float | None = None
    to_m: float | None = None

    @property
    def was(self) -> str | None:
        """Return what there is to say of it: long, crank_stopped or good; None where it is not worth a word."""
        if self.crank_turned is False and self.depth >= GOOD_DEPTH:
            return "crank_stopped"
        if self.depth >= LONG_DEPTH:
            return "long"
        return "good" if self.depth < GOOD_DEPTH else None

    def as_json(self) -> dict[str, Any]:
        """Return the step as it is printed: times in s, lengths in m, `depth` a share."""
        return {
            "at_s": round(self.at_s, 3),
            "depth": round(self.depth, 4),
            "recover_s": None if self.recover_s is None else round(self.recover_s, 2),
            "crank_turned": self.crank_turned,
            "from_m": None if self.from_m is None else round(self.from_m, 3),
            "to_m": None if self.to_m is None else round(self.to_m, 3),
            "was": self.was,
        }


class StepsSeen:
    """`tell` it each moment of the walk-in; `all` are the steps so far, `falling` whether one is being made."""

    def __init__(self) -> None:
        self._done: deque[SeenStep] = deque(maxlen=KEPT)
        self._top_Nm = 0.0
        self._top_s = 0.0
        self._top_m: float | None = None
        self._low_Nm = 0.0
        self._low_s = 0.0
        self._low_m: float | None = None
        self._stood = False
        self._known = False
        self.falling = False
        self._recovering: SeenStep | None = None
        self._before_Nm = 0.0

    @property
    def all(self) -> tuple[SeenStep, ...]:
        """The steps, oldest first; the one that torque recovers from is the last, its time not known yet."""
        return (*self._done, self._recovering) if self._recovering is not None else tuple(self._done)

    def tell(self, now: Moment) -> SeenStep | None:
        """Take one moment; return a step whose fall has just ended."""
        torque = now.torque_Nm
        if torque is None or torque <= 0.0:
            return None
        self._recover(now.at_s, torque)
        if not self.falling:
            if torque >= self._top_Nm or now.at_s - self._top_s > FALLS_WITHIN_S:
                self._top_Nm, self._top_s, self._top_m = torque, now.at_s, now.distance_m
                self._stood = self._known = False
            elif torque < (1.0 - LEAST_DEPTH) * self._top_Nm:
                self.falling = True
                self._low_Nm, self._low_s, self._low_m = torque, now.at_s, now.distance_m
        self._stood = self._stood or now.cranking is False
        self._known = self._known or now.cranking is not None
        return self._fall(now, torque) if self.falling else None

    def _fall(self, now: Moment, torque: float) -> SeenStep | None:
        if torque < self._low_Nm:
            self._low_Nm, self._low_s, self._low_m = torque, now.at_s, now.distance_m
        over = torque > (1.0 + TURNS_AGAIN) * self._low_Nm or now.at_s - self._low_s > 1.0
        if not over:
            return None
        self.falling = False
        if self._recovering is not None:
            self._done.append(self._recovering)
        turned = (not self._stood) if self._known else None
        depth = 1.0 - self._low_Nm / self._top_Nm
        step = SeenStep(self._top_s, depth, None, turned, self._top_m, self._low_m)
        self._recovering, self._before_Nm = step, self._top_Nm
        self._top_Nm, self._top_s, self._top_m = torque, now.at_s, now.distance_m
        self._stood = self._known = False
        return step

    def _recover(self, at_s: float, torque: float) -> None:
        step = self._recovering
        if step is None:
            return
        if torque >= BACK_SHARE * self._before_Nm:
            self._done.append(replace(step, recover_s=at_s - step.at_s))
            self._recovering = None
        elif at_s - step.at_s > RECOVERS_WITHIN_S:
            self._done.append(step)
            self._recovering = None
