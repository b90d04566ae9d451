"""Small observers that the coach keeps: is torque still, is it gone, which way do the turns go. Pure, bounded."""

from __future__ import annotations

from collections import deque

from winding_coach.coach.moment import Moment
from winding_coach.coach.said import Phase

STILL_SHARE = 0.008
"""Torque that stays within this share of the peak is still."""
MEAN_S, JUMP = 0.3, 4.0
"""Stillness is of torque averaged so long: a meter with 1 % of noise can be still too."""
GONE_SHARE = 0.12
"""Torque below this share of the launch torque is none: the motor is off the hook."""
BACK_SHARE = 0.3
BACK_FOR_S = 0.3
"""Torque that returns above this share of its top was never gone: a lead was touched."""
TARE_OVER_S = 1.0
OWN_ZERO_STILL_S = 2.0
OWN_ZERO_SHARE = 0.05
MAX_TARE_SAMPLES = 400
REVERSED_SHARE = 0.985
"""After the peak the crank counts as reversing once torque has left its top by this much: a one-sensor
meter cannot tell, and the last forward turn comes before any fall."""


class Stillness:
    """How long torque has been still, gone, or well above nothing, in seconds of the device's clock."""

    def __init__(self, peak_Nm: float, launch_Nm: float) -> None:
        self._tolerance = STILL_SHARE * peak_Nm
        self._gone_below = GONE_SHARE * launch_Nm
        self._anchor_Nm: float | None = None
        self._anchor_s = self._before_s = self._mean_Nm = 0.0
        self._there_s: float | None = None
        self._low_s: float | None = None
        self.still_s = 0.0
        self.gone_s = 0.0
        self.back_s = 0.0

    @property
    def mean_Nm(self) -> float:
        """Torque over the last moment."""
        return self._mean_Nm

    def add(self, t_s: float, torque_Nm: float, top_Nm: float) -> None:
        """Take one raw sample; `top_Nm` is the highest torque of the wind so far."""
        if self._low_s is None or torque_Nm < BACK_SHARE * top_Nm:
            self._low_s = t_s
        self.back_s = t_s - self._low_s if t_s > self._low_s else 0.0
        change_Nm = torque_Nm - self._mean_Nm
        # A jump is no noise: it counts at once.
        jumped = self._anchor_Nm is None or abs(change_Nm) > JUMP * self._tolerance
        if jumped:
            self._mean_Nm += change_Nm
        elif t_s > self._before_s:
            self._mean_Nm += change_Nm * min((t_s - self._before_s) / MEAN_S, 1.0)
        self._before_s = t_s
        if self._anchor_Nm is None or abs(self._mean_Nm - self._anchor_Nm) > self._tolerance:
            self._anchor_Nm, self._anchor_s = self._mean_Nm, t_s
        self.still_s = t_s - self._anchor_s if t_s > self._anchor_s else 0.0
        if self._there_s is None or torque_Nm > self._gone_below:
            self._there_s = t_s
        self.gone_s = t_s - self._there_s if t_s > self._there_s else 0.0

    def reset(self) -> None:
        """Forget all, as after a gap or a new zero."""
        self._anchor_Nm = self._there_s = self._low_s = None
        self.still_s = self.gone_s = self.back_s = 0.0


class Heard:
    """When lines came, and ones that count as torque: each can stop by itself."""

    def __init__(self) -> None:
        self.line_at_s: float | None = None
        self.good_at_s: float | None = None

    def take(self, at_s: float, *, good: bool) -> None:
        """Take a line."""
        self.line_at_s = at_s
        if good:
            self.good_at_s = at_s


def can_auto_zero(now: Moment, peak_Nm: float) -> bool:
    """Whether a zero may be taken without being asked: torque still and about nothing, the crank not turning."""
    return (
        now.torque_Nm is not None
        and now.still_s >= OWN_ZERO_STILL_S
        and abs(now.torque_Nm) <= OWN_ZERO_SHARE * peak_Nm
        and not now.frozen
        and now.cranking is not True
    )


class ZeroTaker:
    """The mean raw reading of the last second, for a zero."""

    def __init__(self) -> None:
        self._recent: deque[tuple[float, int]] = deque(maxlen=MAX_TARE_SAMPLES)

    def add(self, t_s: float, raw: int) -> None:
        """Take one good raw reading."""
        self._recent.append((t_s, raw))

    def reset(self) -> None:
        """Forget the readings so far."""
        self._recent.clear()

    def zero(self) -> float | None:
        """Return the mean over the last second, None without a reading."""
        if not self._recent:
            return None
        newest = self._recent[-1][0]
        raws = [raw for t_s, raw in self._recent if newest - t_s <= TARE_OVER_S]
        return sum(raws) / len(raws)


class MotorTurns:
    """Turns on the motor from the meter's crank count, or from a helper's taps.

    The count comes in whole turns or in parts of one. A two-sensor crank tells its direction. A one-sensor crank
    counts up whichever way it turns, so the phase decides: in the back-off its pulses come off, once torque has begun
    to fall.
    """

    def __init__(self, ratio: float) -> None:
        self._ratio = ratio
        self._last: float | None = None
        self._crank: float = 0.0
        self._reversed = False
        self._signed = False
        self._given_up = False
        self.carried = False
        """Whether taps carry on what the meter counted until it failed."""
        self.source = "unknown"
        self.amended = 0.0
        """Turns of the crank that were lost in the count and put right."""
        self.before = 0.0
        """Turns in the motor before this wind."""

    @property
    def turns(self) -> float | None:
        """Turns on the motor; None while nothing has counted them."""
        if self.source == "unknown":
            return None
        turns = self._crank * self._ratio + self.before
        return turns if turns > 0.0 else 0.0

    @property
    def wound(self) -> float | None:
        """Turns that the winder has put on; None while nothing has counted them, or the way it winds is not known."""
        if self.source == "unknown" or self._crank < 0.0:
            return None
        return self._crank * self._ratio

    def count(self, crank: float | None, *, signed: bool, phase: Phase, torque_share_of_top: float | None) -> None:
        """Take the meter's cumulative crank turns, whole or in parts (None: it has none)."""
        if crank is None:
            return
        self._signed = signed
        if self.carried:
            # What was tapped meanwhile stands: the meter's own count of it may have begun again.
            self.carried, self.source, self._last = False, "counted", crank
        if self.source != "counted":
            self.source = "counted"
            self._crank = 0.0
        if phase not in (Phase.BACK_OFF, Phase.READY):
            self._reversed = False
        elif torque_share_of_top is not None and torque_share_of_top < REVERSED_SHARE:
            self._reversed = True
        change = 0.0 if self._last is None else crank - self._last
        self._last = crank
        self._crank += -change if self._reversed and not signed else change

    def other_way(self) -> None:
        """Two sensors count down as the crank winds: what was counted so far was put on."""
        self._crank = abs(self._crank)
        self._last = None if self._last is None else -self._last

    def amend(self, revolutions: float) -> None:
        """Pulses were lost (above 0) or came twice (below 0), by what the pulses around them show."""
        if self.source == "counted" and revolutions:
            self.amended += max(revolutions, 0.0)
            self._crank += -revolutions if self._reversed and not self._signed else revolutions

    def tap(self, phase: Phase, *, silent: bool = False, late: bool = False) -> None:
        """A helper saw one turn of the crank; ignored where the meter counts, or its count was given up: what it missed
        is not known. silent: the meter has failed, so taps carry its count on. late: turns were put on before, so that
        a count cannot begin any more."""
        if self._given_up or (self.source == "counted" and not silent) or (self.source == "unknown" and late):
            return
        self.carried = self.carried or self.source == "counted"
        self.source = "tapped"
        self._crank += -1 if phase in (Phase.BACK_OFF, Phase.READY) else 1

    def back_off(self, top_turns: float | None, torque_share_of_top: float | None) -> None:
        """The back-off begins. Where torque has left its top already, the hand has been going back since
        `top_turns`: what a one-sensor crank counted since then comes off twice."""
        if self._signed or top_turns is None or torque_share_of_top is None or torque_share_of_top >= REVERSED_SHARE:
            return
        top = (top_turns - self.before) / self._ratio
        if self.source == "counted" and self._crank > top:
            self._crank = 2.0 * top - self._crank
        self._reversed = True

    def give_up(self) -> None:
        """The meter's count is not to be trusted; nobody knows how many turns are on."""
        self._given_up = True
        self.source = "unknown"
        self._crank, self._last = 0.0, None

    def restart(self) -> None:
        """Count from nothing again; the motor has no turns on it yet."""
        self._crank = self.amended = 0.0
