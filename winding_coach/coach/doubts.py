"""When what is read is further from the label than motors scatter: what it may be, best fit first. Pure.

Once in doubt the coach stays so until somebody says to go on; then the lower of both targets holds.
"""

from __future__ import annotations

from winding_coach.coach.limits import Limits
from winding_coach.coach.live import LiveScale
from winding_coach.coach.moment import Moment
from winding_coach.coach.said import Phase
from winding_coach.rubber.path import PlanPath

FAR_BELOW, FAR_ABOVE = 0.80, 1.22
"""Torque over the label's. Motors of one label differ by some 8 %, labels are wrong by 10 % (assumed): no further."""
FIRST_BELOW, FIRST_ABOVE = 0.76, 1.28
"""The same by the first turns alone."""
UNSEEN = 0.07
"""More on the high side where no sensor shows where one stands: people are off by some 15 % (assumed)."""
EST_BELOW = 0.62
"""The same by turns that the ripple of the torque shows: they are off by more, and too few where ripple is faint."""
EST_FROM_SHARE, EST_SD_SHARE = 0.4, 0.12
FOR_S = 2.0
CHANGED_BELOW, CHANGED_ABOVE = 0.72, 1.25
"""A label that was right at full stretch cannot be wrong by this later: then a zero or a count went off. Who comes late
to the hooks has a fifth less torque there for a while; 80 honest winds came to 0.94 to 1.01 (simulated)."""
CLIMB_FROM, CLIMB_ABOVE, CLIMB_TURNS, CLIMB_BELOW = 0.75, 1.22, 0.97, 0.82
"""Torque from this share of the peak on, over what this motor shows at these turns, and torque at the last turns:
honest winds come to 1.00 to 1.14 and 0.99 to 1.03 (simulated)."""
LATE = 0.08
"""Less at the last turns where nobody measures whether they have just come to the hooks."""
LAST_FROM, LAST_AT, LAST_BELOW, LAST_S = 0.92, 0.98, 0.93, 2.0
"""The highest torque among the last turns, from the first to the second share of the target, over what this motor has
there: in 46 honest winds 1.00 or more (simulated). What crept away on the way in, a zero or a gain, shows there."""
LOW_FROM, LOW_BELOW, LOW_S = 0.5, 0.70, 4.0
"""From this share of the target on, torque over what this motor has at the hooks, where it has least, for so long with
the crank turning: after the quickest way in it was back at 0.83 by then in 18 honest winds (simulated)."""
UNKNOWN_ABOVE, UNKNOWN_BELOW = 1.35, 0.72
"""The same by the label alone, where full stretch showed no scale."""
AGAIN = 1.3
"""A doubt that was gone on with comes up again where torque is off by this more."""
PULSES, MANY_PULSES = 1.05, 1.15
"""The pulses' rhythm shows so many more turns than were counted: they fit best; they alone are a reason to stop."""
RATIOS = (5.0, 6.0, 8.0, 10.0, 12.0, 15.0, 16.0, 20.0)
"""Usual winders; common practice, no source."""
NEAR_RATIO = 0.06
CLIMBS, AT_HOOKS_M = frozenset({Phase.WALK_IN, Phase.FINAL_TURNS}), 0.03

SURE = ("jumped", "pulses", "last")
"""What has been held long enough where it was found."""

REASONS = ("motor", "ratio", "zero", "gain", "turns", "pulses", "direction", "stretch")


class Doubts:
    """`reasons`: what it may be, best fit first; () while there is no doubt. going_on: somebody said to go on."""

    def __init__(self, path: PlanPath, limits: Limits) -> None:
        self._path = path
        self._ratio = limits.ratio
        self._stretched_turns = limits.stretched_turns
        self._target_turns, self._peak_Nm, self._hooks_m = limits.target_turns, limits.peak_Nm, limits.hooks_m
        self.reasons: tuple[str, ...] = ()
        self.of_plan: float | None = None
        self.going_on = False
        self._since: tuple[str, float] | None = None
        self._accepted: float | None = None
        self._seen = self._expected = 0.0
        self._before_s: float | None = None
        self._last = LastTurns(path, limits.target_turns)

    @property
    def stops(self) -> bool:
        """Whether the wind has to stop for it."""
        return bool(self.reasons) and not self.going_on

    def go_on(self, live: LiveScale) -> bool:
        """Somebody says to go on; returns whether there was a doubt."""
        if not self.stops:
            return False
        self.going_on, self._accepted = True, self.of_plan
        live.hold_low(self.of_plan)
        return True

    def restart(self) -> None:
        """Nothing is on the hook: what was read is over."""
        self.reasons, self.of_plan, self.going_on, self._since, self._accepted = (), None, False, None, None
        self._seen = self._expected = 0.0
        self._last = LastTurns(self._path, self._target_turns)

    def tell(
        self,
        now: Moment,
        live: LiveScale,
        *,
        other_way: bool,
        turns_differ: bool,
        estimated: tuple[float, float] | None,
        pulses: float | None,
        first: float | None,
        jumped: float | None = None,
        lost: float | None = None,
    ) -> None:
        """Take a moment.

        other_way, turns_differ: torque contradicts the direction, or the turns in, that were told. estimated: turns by
        the ripple and their standard deviation, where nobody counts. pulses: turns by the rhythm of the pulses over
        those counted. first: torque over the label's by the first turns. jumped: torque after a jump that no motor
        makes, over that before. lost: share of the pulses that is missing, by their rhythm.
        """
        found = self._at_once(jumped, None if self.going_on else lost)
        if found is None:
            found = self._found(now, live, other_way, turns_differ, estimated, pulses, first)
        if found is None:
            self._since = None
            return
        kind, reasons, of_plan = found
        if self._since is None or self._since[0] != kind:
            self._since = kind, now.at_s
        if now.at_s - self._since[1] < (0.0 if kind in SURE else LOW_S if kind == "low" else FOR_S):
            return
        if self.going_on and kind != "jumped" and not self._worse(of_plan):
            return
        if not self.stops:
            self.going_on = False
            self.reasons, self.of_plan = reasons, of_plan

    @staticmethod
    def _at_once(jumped: float | None, lost: float | None) -> tuple[str, tuple[str, ...], float | None] | None:
        """What needs no label to be untrue."""
        if jumped is not None:
            return "jumped", ("zero", "gain"), jumped
        if lost is not None:
            return "pulses", ("pulses", "ratio"), None
        return None

    def _worse(self, of_plan: float | None) -> bool:
        if of_plan is None or self._accepted is None:
            return False
        return not 1 / AGAIN <= of_plan / self._accepted <= AGAIN

    def _found(
        self,
        now: Moment,
        live: LiveScale,
        other_way: bool,
        turns_differ: bool,
        estimated: tuple[float, float] | None,
        pulses: float | None,
        first: float | None,
    ) -> tuple[str, tuple[str, ...], float | None] | None:
        if other_way:
            return "direction", ("direction", "motor"), None
        ratio, unseen = live.ratio, UNSEEN if now.distance_m is None else 0.0
        if ratio is not None and live.known:
            at_stretch = live.at_stretch
            if not CHANGED_BELOW <= ratio / (at_stretch or 1.0) <= CHANGED_ABOVE:
                return "changed", ("zero", "pulses", "gain"), ratio
            if at_stretch is not None and not FAR_BELOW <= at_stretch <= FAR_ABOVE + unseen:
                return "far", self._reasons(at_stretch, now, pulses), at_stretch
        elif first is not None and not FIRST_BELOW <= first <= FIRST_ABOVE + unseen:
            return "first", self._reasons(first, now, pulses), first
        climb = self._climb(now, live)
        if climb is not None:
            high = ("pulses", "zero", "gain") if now.counted else ("zero", "gain")
            return "climb", high if climb > 1.0 else ("gain", "zero", "stretch"), climb
        last = self._last.low(now, live.at_stretch)
        if last is not None:
            return "last", ("zero", "gain", "pulses"), last
        low = self._lower_than_anywhere(now, live.at_stretch)
        if low is not None:
            return "low", ("gain", "zero", "pulses"), low
        if pulses is not None and pulses > MANY_PULSES:
            return "many", ("pulses", "ratio"), None
        if turns_differ:
            return "turns", ("turns", "zero"), None
        ratio = self._by_ripple(now, estimated)
        if ratio is not None and ratio < EST_BELOW:
            return "ripple", self._reasons(ratio, now, None), ratio
        return None

    def _climb(self, now: Moment, live: LiveScale) -> float | None:
        """Torque near the end over what this motor has there by its count, where that is no honest motor's; else None.

        Nobody at these turns has so much, wherever they stand on the way in: the scale of full stretch holds.
        """
        turns, torque_Nm = now.turns, now.torque_Nm
        if now.phase not in CLIMBS or not now.counted or not turns or torque_Nm is None or now.cranking is False:
            return None
        known = live.at_stretch
        ratio = torque_Nm / max((known or 1.0) * self._path.torque_at(turns), 1e-9)
        above, below = (CLIMB_ABOVE, CLIMB_BELOW) if known else (UNKNOWN_ABOVE, UNKNOWN_BELOW)
        if ratio > above and torque_Nm >= CLIMB_FROM * self._peak_Nm:
            return ratio
        if turns < CLIMB_TURNS * self._target_turns:
            return None
        if now.distance_m is None:
            below -= LATE
        elif now.distance_m > self._hooks_m + AT_HOOKS_M:
            return None
        return ratio if ratio < below else None

    def _lower_than_anywhere(self, now: Moment, at_stretch: float | None) -> float | None:
        """Torque over what this motor has at the hooks by its count, where that is less than anywhere on the way in."""
        turns, torque_Nm = now.turns, now.torque_Nm
        if now.phase not in CLIMBS or not now.counted or not turns or torque_Nm is None or at_stretch is None:
            return None
        # Torque that lies low is being let down: one sensor counts up as turns come off, too.
        if now.cranking is not True or now.lies_s or turns < LOW_FROM * self._target_turns:
            return None
        least_Nm = at_stretch * self._path.torque_at(turns) * self._path.torque_ratio(turns, self._hooks_m)
        return torque_Nm / least_Nm if torque_Nm < LOW_BELOW * least_Nm else None

    def _by_ripple(self, now: Moment, estimated: tuple[float, float] | None) -> float | None:
        """Torque over the plan's by estimated turns at full stretch, a mean over time; None until that is known."""
        before_s, self._before_s = self._before_s, now.at_s
        if now.phase is not Phase.WIND_STRETCHED or estimated is None or now.torque_Nm is None or now.counted:
            return None
        passed = 0.0 if before_s is None else min(max(now.at_s - before_s, 0.0), 1.0)
        turns, sd = estimated
        if turns <= 0.0 or sd > EST_SD_SHARE * turns:
            return None
        expected = self._path.torque_at(turns)
        self._seen += now.torque_Nm * expected * passed
        self._expected += expected * expected * passed
        if turns < EST_FROM_SHARE * self._stretched_turns or self._expected <= 0.0:
            return None
        return self._seen / self._expected

    def _reasons(self, ratio: float, now: Moment, pulses: float | None) -> tuple[str, ...]:
        """Which of them it may be, the best fit first."""
        if pulses is not None and pulses > PULSES:
            return "pulses", "ratio", "motor"
        # At full stretch torque goes with turns: a winder of another ratio shows as that ratio.
        fits = (other for other in RATIOS if abs(ratio * self._ratio / other - 1.0) < NEAR_RATIO)
        others = [other for other in fits if other != self._ratio]
        high: tuple[str, ...] = ("motor", "turns", "pulses", "gain", "zero")
        low: tuple[str, ...] = ("motor", "gain", "zero")
        if now.distance_m is None:
            high = (*high[:2], "stretch", *high[2:])
        best: tuple[str, ...] = ("ratio",) if others else ()
        if ratio < 0.4 or ratio > 2.5:
            best = ("gain", *best)
        order = (*best, *(high if ratio > 1 else low), "ratio")
        return tuple(dict.fromkeys(order))[:4]


class LastTurns:
    """The highest torque among the last turns, by count, over what this motor has there."""

    def __init__(self, path: PlanPath, target_turns: float) -> None:
        self._path, self._target_turns = path, target_turns
        self._top = 0.0
        self._from_s: float | None = None

    def low(self, now: Moment, at_stretch: float | None) -> float | None:
        """Take a moment; return the highest once the turns are there, if it is no honest motor's. at_stretch: torque
        over the plan's at full stretch."""
        turns, torque_Nm = now.turns, now.torque_Nm
        if now.phase not in CLIMBS or not now.counted or not turns or torque_Nm is None or at_stretch is None:
            return None
        share = turns / self._target_turns
        if share < LAST_FROM:
            self._top, self._from_s = 0.0, None
            return None
        self._from_s = now.at_s if self._from_s is None else self._from_s
        self._top = max(self._top, torque_Nm / max(at_stretch * self._path.torque_at(turns), 1e-9))
        seen = share >= LAST_AT and now.at_s - self._from_s >= LAST_S and not now.lies_s
        return self._top if seen and self._top < LAST_BELOW else None
