"""A crank sensor that gives no pulse, or no more, while the hand turns: noticed by what torque does meanwhile. Pure.

Otherwise the coach would wait for the first turn until the motor breaks, take the torque for a stronger motor's, and
note turns that were not so.
"""

from __future__ import annotations

from winding_coach.coach.limits import Limits
from winding_coach.coach.moment import Moment
from winding_coach.coach.phases import BEGUN_TURNS_OF_CRANK, WINDING
from winding_coach.coach.said import Phase
from winding_coach.rubber.path import PlanPath

WOUND_SHARE, WOUND_FOR_S = 0.5, 1.0
"""So much of the full-stretch torque, for so long, comes from turns alone."""
UNTURNED = frozenset({Phase.STRETCH_OUT, Phase.WIND_STRETCHED, Phase.WALK_IN})
CRANK_TURNS, FOR_S = 2.5, 0.5
ROSE_SHARE, ROSE_SHARE_AFTER_STEPS = 0.03, 0.20
"""Between two pulses torque changes by one turn of the crank at most. What so many turns bring, and this share of the
peak, was cranked, whatever the count says; after steps torque recovers fast. Found with simulated motors and people."""
SURELY_SHARE = 0.02
"""Ripple where the count stands may be a swaying hand, but swaying lets torque relax: it must have risen by this."""
OUT_M = 0.03
"""Who steps out again by this brings torque back without a turn; without a distance sensor that is not known."""
NEWS_TURNS = 0.5
"""A count that has moved by less, either way, stands: of a crank with several pulses a turn, one may tremble."""
STILL_ON_SHARE = 0.6
"""Below this share of the launch torque the motor is being taken off."""


class DeadCrank:
    """`tell` it each moment of a wind whose turns the meter counts; `dead` once the sensor was given up."""

    def __init__(self, path: PlanPath) -> None:
        self._path = path
        self.dead = False
        self._unturned_s: float | None = None
        self._turns: float | None = None
        self._of_plan = self._pulse_Nm = 0.0
        self._pulse_m: float | None = None
        self._since_s: float | None = None

    def tell(self, now: Moment, limits: Limits, *, contradicted: bool, gone: bool = False) -> bool:
        """Take one moment; return whether the sensor has just been given up.

        contradicted: the ripple of the torque says that the crank turns, the count that it stands. gone: it is a board
        of its own, and has not been heard for seconds.
        """
        if not self.dead:
            self.dead = gone or self._never_counted(now, limits) or self._count_stands(now, limits, contradicted)
            return self.dead
        return False

    def _never_counted(self, now: Moment, limits: Limits) -> bool:
        few = now.wound_turns is not None and now.wound_turns < BEGUN_TURNS_OF_CRANK * limits.ratio
        wound = now.torque_Nm is not None and now.torque_Nm - now.rest_Nm > WOUND_SHARE * limits.stretched_Nm
        if not (few and wound and now.tared and now.phase in UNTURNED):
            self._unturned_s = None
            return False
        if self._unturned_s is None:
            self._unturned_s = now.at_s
        return now.at_s - self._unturned_s >= WOUND_FOR_S

    def _count_stands(self, now: Moment, limits: Limits, contradicted: bool) -> bool:
        """Whether torque says that the crank has turned on since the last pulse."""
        turns, torque_Nm = now.turns, now.torque_Nm
        if not turns or torque_Nm is None or now.phase not in WINDING | {Phase.BACK_OFF}:
            self._turns = None
            return False
        at_m = now.distance_m
        out = at_m is not None and self._pulse_m is not None and at_m > self._pulse_m + OUT_M
        if self._turns is None or abs(turns - self._turns) >= NEWS_TURNS * limits.ratio or out:
            self._turns, self._since_s, self._pulse_Nm, self._pulse_m = turns, None, torque_Nm, at_m
            self._of_plan = torque_Nm / self._expected_Nm(turns, now.distance_m, turns)
            return False
        if now.phase is Phase.BACK_OFF:
            moved = self._fell(torque_Nm, now.torque_top_Nm, limits)
        else:
            if contradicted:
                here_Nm = self._of_plan * self._expected_Nm(turns, now.distance_m, turns)
                if torque_Nm > here_Nm + SURELY_SHARE * limits.peak_Nm:
                    return True
            moved = now.cranking is not True and torque_Nm > self._most_Nm(now, turns, limits)
        if not moved:
            self._since_s = None
        elif self._since_s is None:
            self._since_s = now.at_s
        return self._since_s is not None and now.at_s - self._since_s >= FOR_S

    def _most_Nm(self, now: Moment, turns: float, limits: Limits) -> float:
        """More than the turn of the crank after the last pulse can bring here."""
        further = turns + CRANK_TURNS * limits.ratio
        share = ROSE_SHARE if now.phase is Phase.WIND_STRETCHED else ROSE_SHARE_AFTER_STEPS
        return self._of_plan * self._expected_Nm(further, now.distance_m, turns) + share * limits.peak_Nm

    def _fell(self, torque_Nm: float, top_Nm: float, limits: Limits) -> bool:
        """Whether torque came down more than the turn of the crank after the last pulse can let it, the motor on."""
        scale = top_Nm / self._path.back_off_torque_at(0.0)
        off = self._path.back_off_turns_to(self._pulse_Nm / scale) + CRANK_TURNS * limits.ratio
        return STILL_ON_SHARE * limits.launch_Nm < torque_Nm < scale * self._path.back_off_torque_at(off)

    def _expected_Nm(self, turns: float, distance_m: float | None, counted: float) -> float:
        """The plan's torque at so many turns here; where nobody measures, where one should be at the turns counted."""
        at_m = self._path.distance_at(counted) if distance_m is None else distance_m
        return max(self._path.torque_at(turns) * self._path.torque_ratio(turns, at_m), 1e-9)
