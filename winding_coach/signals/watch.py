"""The chance that the crank stands, from torque alone, and what may be said of it.

The chance comes from a small network (`network`, `crank_fit`) that was fitted to invented streams by the chance itself
(logistic loss), so that what is stated is how often it is so; `tests/bench/streams` measures it.
"""

from __future__ import annotations

import math

from winding_coach.signals.crank_fit import TORQUE
from winding_coach.signals.network import Floats
from winding_coach.signals.pitch import Pitch
from winding_coach.signals.reading import CrankState
from winding_coach.signals.traits import Traits
from winding_coach.signals.tuning import (
    REVERSE_UNCOUNTED_S,
    SAY_STANDS,
    SAY_STANDS_AT_ONCE,
    SAY_STANDS_TICKS,
    SAY_TURNS,
    STANDS_UNTIL,
    TURNS_UNTIL,
)

MOST_LOGIT = 7.0


def chance(logit: float) -> float:
    """Return the chance of log odds."""
    return 1.0 / (1.0 + math.exp(-min(max(logit, -MOST_LOGIT), MOST_LOGIT)))


class TorqueWatch:
    """standing: the chance that the crank stands, None where torque cannot show it. state: what may be said of it.

    state is turning or stalled where that is sure enough, else unknown. begun: whether bins were taken; traits: of the
    newest.
    """

    def __init__(self, tick_hz: float) -> None:
        self._tick_hz = tick_hz
        self._traits = Traits(tick_hz)
        self._network = TORQUE[tick_hz]
        self.reset()

    def reset(self) -> None:
        """Nothing is known of the torque."""
        self._traits.reset()
        self.begun = False
        self.traits: Floats | None = None
        self.standing: float | None = None
        self.state = CrankState.UNKNOWN
        self._sure_ticks = self._back_ticks = 0

    @property
    def ripple(self) -> float:
        """Amplitude of the ripple as a share of full scale."""
        return self._traits.ripple

    def tick(self, share: float, noise: float, pitch: Pitch | None, *, known: bool) -> None:
        """Take a bin's mean and its noise as shares of full scale; known: there is torque that can show anything."""
        self.begun = True
        self.traits = self._traits.tick(share, noise, pitch)
        if self.traits is None or not known:
            self.standing, self.state, self._sure_ticks = None, CrankState.UNKNOWN, 0
        else:
            self.standing = chance(self._network.logit(self.traits))
            self._say(self.standing)

    def _say(self, standing: float) -> None:
        self._sure_ticks = self._sure_ticks + 1 if standing >= SAY_STANDS else 0
        if standing >= SAY_STANDS_AT_ONCE or self._sure_ticks >= SAY_STANDS_TICKS:
            self.state = CrankState.STALLED
        elif standing <= SAY_TURNS:
            self.state = CrankState.TURNING
        elif (self.state is CrankState.STALLED and standing < STANDS_UNTIL) or (
            self.state is CrankState.TURNING and standing > TURNS_UNTIL
        ):
            self.state = CrankState.UNKNOWN

    def goes_back(self, *, falls: bool) -> bool:
        """Take whether torque falls as if turns came off; return whether it has for longer than a stride takes."""
        self._back_ticks = self._back_ticks + 1 if falls else 0
        return self._back_ticks > REVERSE_UNCOUNTED_S * self._tick_hz

    @property
    def said(self) -> tuple[CrankState, float]:
        """What may be said, and the chance that it is so, 0 where nothing may."""
        if self.standing is None or self.state is CrankState.UNKNOWN:
            return CrankState.UNKNOWN, 0.0
        return self.state, self.standing if self.state is CrankState.STALLED else 1.0 - self.standing
