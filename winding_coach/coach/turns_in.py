"""Turns that the motor holds already when it is hooked up: told, or noticed from what torque does. Pure.

At full stretch torque goes nearly in proportion to turns. So torque there before the first crank turn shows how many
are in, as well as the label is known; with a crank sensor the first turns show what one brings, whatever the label.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from winding_coach.coach.limits import Limits
from winding_coach.coach.said import Phase
from winding_coach.rubber.path import PlanPath

LEAST_TURNS, LEAST_FROM_CRANKING = 15.0, 30.0
"""Fewer are an empty motor: the zero and a stretch that is a little short show as much."""
STILL_S, STILL_UNCOUNTED_S = 1.0, 2.5
"""Torque that was still for so long is that of the motor at rest; longer where a slow crank is not felt."""
CREEP_TURNS = 40.0
"""It comes at once, with the motor: a hand that cranks slowly, unfelt or with a dead sensor, creeps."""
THERE_SHARE = 0.9
"""Of the stretch distance, where the meter measures it."""
LABEL_SD, REST_SD_TURNS = 0.08, 4.0
"""Torque between motors of one label (share), and what zero and noise are in turns; assumed."""
FIRST_TURNS, LAST_TURNS = 55.0, 170.0
"""Turns of the winder from and up to which the first turns are held against the plan."""
LABEL_TURNS = 90.0
FIT_SD = 0.015
"""What ripple and the smoothing do to a torque at a pulse (share); found with simulated winds."""
MOST_TURNS, GRID = 600.0, 5.0
WORST_FIT = 0.05
"""A torque that goes so differently (share, rms) says nothing: somebody walks meanwhile."""
NOTHING_SHARE, HOOKED_SHARE, WITHIN_S, SEEN_S = 0.02, 0.06, 0.9, 1.2
"""Of the peak: torque that comes from nothing to the second within so long is that of a motor hooked up with turns in
it; no crank brings so much. After the last of them smoothing has settled."""
SLACK_TIMES, SLACK_SD = 1.2, 0.25
"""Slack it shows about so much more torque than at full stretch; and how well that tells its turns (simulated)."""
DIFFERS_TURNS = 60.0
"""Told and noticed turns that differ by this contradict each other."""


NOTICED_ALONE, AS_LEFT = "noticed", "as left"
NOTICED = frozenset({NOTICED_ALONE, AS_LEFT})
LEFT_SD, LEFT_CV = 8.0, 0.08
"""How well what a flight left is known: counted as the motor was wound or let down; assumed."""
LEFT_STILL, LET_DOWN, OTHERWISE = 0.45, 0.45, 0.10
"""Chances that it is still in, that it was let down, and that it is something else; assumed."""
AGREES_SDS = 2.5


@dataclass(frozen=True, slots=True)
class Held:
    """Turns in the motor before this wind, and their standard deviation. source: assumed, told, noticed, or as left
    by the last flight where torque agrees."""

    turns: float = 0.0
    sd: float = 0.0
    source: str = "assumed"


class TurnsIn:
    """`tell` it each moment of a wind; `held` is what is known."""

    def __init__(self, path: PlanPath, limits: Limits, told: float | None, expected: float | None = None) -> None:
        """expected: turns that the motor's last flight left in it, None not known."""
        self._expected = expected
        self._path = path
        self._limits = limits
        self.held = Held() if told is None else Held(told, 0.0, "told")
        self.noticed: float | None = None
        self.label: float | None = None
        """Torque that a turn brings over the plan's, by the first turns, None until enough of them were seen."""
        self._rest: tuple[float, float] | None = None
        self._rest_turns: float | None = None
        self._points: list[tuple[float, float, float]] = []
        self._pulse: float | None = None
        self._nothing_s: float | None = None
        self._hooked_s: float | None = None
        self._hook_Nm = 0.0

    @property
    def contradicted(self) -> bool:
        """Whether torque shows far other turns than were told."""
        told = self.held.source == "told"
        return told and self.noticed is not None and abs(self.noticed - self.held.turns) > DIFFERS_TURNS

    def told(self, turns: float) -> None:
        """Somebody says how many there are."""
        self.held = Held(max(turns, 0.0), 0.0, "told")

    def restart(self) -> None:
        """The hook is empty: another motor may come."""
        self._rest = self._rest_turns = self._pulse = self.noticed = self.label = None
        self._nothing_s, self._hooked_s, self._hook_Nm = None, None, 0.0
        self._points = []
        if self.held.source in NOTICED:
            self.held = Held()

    @property
    def rest_Nm(self) -> float:
        """Torque before the first crank turn, 0 where it was not seen."""
        return max(self._hook_Nm if self._rest is None else self._rest[0], 0.0)

    def tell(
        self,
        at_s: float,
        phase: Phase,
        torque_Nm: float | None,
        still_s: float,
        wound: float | None,
        distance_m: float | None,
    ) -> None:
        """Take a moment. wound: turns that the winder has put on, None where nobody counts."""
        if torque_Nm is None:
            return
        if wound is None and phase is Phase.STRETCH_OUT:
            self._hooked_up(at_s, torque_Nm)
        if phase is Phase.STRETCH_OUT and not wound:
            self._at_rest(torque_Nm, still_s, distance_m, counted=wound is not None)
        elif phase is Phase.WIND_STRETCHED and wound is not None and wound <= LAST_TURNS:
            self._first_turns(torque_Nm, wound, distance_m)

    def _ratio(self, turns: float, distance_m: float | None) -> float:
        return 1.0 if distance_m is None else self._path.torque_ratio(max(turns, 1.0), distance_m)

    def _at_rest(self, torque_Nm: float, still_s: float, distance_m: float | None, *, counted: bool) -> None:
        near = distance_m is None or distance_m >= THERE_SHARE * self._limits.stretch_m
        if still_s < (STILL_S if counted else STILL_UNCOUNTED_S) or not near:
            return
        plain_Nm = max(torque_Nm, 0.0) / self._ratio(100.0, distance_m)
        turns = self._turns_of(plain_Nm)
        rest = self._rest_turns
        if rest is not None and turns > rest and (rest >= LEAST_TURNS or turns - rest < CREEP_TURNS):
            return
        self._rest_turns = turns
        self._rest = torque_Nm, self._ratio(turns, distance_m)
        self._notice(turns, math.hypot(LABEL_SD * turns, REST_SD_TURNS), LEAST_TURNS)

    def _hooked_up(self, at_s: float, torque_Nm: float) -> None:
        """Where nobody counts: torque that is there at once came with the motor."""
        peak_Nm = self._limits.peak_Nm
        if torque_Nm < NOTHING_SHARE * peak_Nm:
            self._nothing_s, self._hooked_s = at_s, None
        elif self._hooked_s is None and torque_Nm >= HOOKED_SHARE * peak_Nm and self._nothing_s is not None:
            self._hooked_s = at_s if at_s - self._nothing_s <= WITHIN_S else math.inf
            # What was at rest before was an empty hook.
            self._rest = self._rest_turns = None
        if self._hooked_s is None or self._hooked_s == math.inf or self._rest is not None:
            return
        self._hook_Nm = max(self._hook_Nm, torque_Nm)
        if at_s - self._hooked_s < SEEN_S:
            return
        self._rest = self._hook_Nm, 1.0
        turns = self._turns_of(torque_Nm / SLACK_TIMES)
        self._notice(turns, math.hypot(SLACK_SD * turns, REST_SD_TURNS), LEAST_TURNS)

    def _turns_of(self, torque_Nm: float) -> float:
        """Turns that give this torque at full stretch, by the plan."""
        low, high = 0.0, min(MOST_TURNS, self._limits.stretched_turns)
        for _ in range(20):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if self._path.torque_at(middle) < torque_Nm else (low, middle)
        return low

    def _notice(self, turns: float, sd: float, least: float) -> None:
        self.noticed = turns if turns >= least else 0.0
        if self.held.source == "told":
            return
        if not self.noticed:
            self.held = Held()
        elif self._as_left(turns, sd):
            assert self._expected is not None
            left_sd = math.hypot(LEFT_SD, LEFT_CV * self._expected)
            share = left_sd**-2 / (left_sd**-2 + sd**-2)
            mean = turns + share * (self._expected - turns)
            self.held = Held(mean, (left_sd**-2 + sd**-2) ** -0.5, AS_LEFT)
        else:
            self.held = Held(self.noticed, sd, NOTICED_ALONE)

    def _as_left(self, turns: float, sd: float) -> bool:
        """Whether what torque shows agrees with what the last flight left."""
        if self._expected is None:
            return False
        return abs(turns - self._expected) <= AGREES_SDS * math.hypot(sd, LEFT_SD, LEFT_CV * self._expected)

    def _before(self, turns: float) -> float:
        """What is known beforehand of so many turns: twice the negative log of their chance."""
        if self._expected is None:
            return 0.0
        left_sd = math.hypot(LEFT_SD, LEFT_CV * self._expected)
        still = LEFT_STILL / left_sd * math.exp(-0.5 * ((turns - self._expected) / left_sd) ** 2)
        empty = LET_DOWN / LEFT_SD * math.exp(-0.5 * (turns / LEFT_SD) ** 2)
        return -2.0 * math.log(still + empty + OTHERWISE / MOST_TURNS)

    def _first_turns(self, torque_Nm: float, wound: float, distance_m: float | None) -> None:
        """At each pulse the count is exact: hold its torque against the plan's."""
        if wound == self._pulse:
            return
        self._pulse = wound
        self._points.append((wound, torque_Nm, self._ratio(wound, distance_m)))
        if wound < FIRST_TURNS or len(self._points) < 4:
            return
        fitted = self._fitted()
        if fitted is not None:
            turns, sd, label = fitted
            self.label = label if wound >= LABEL_TURNS else None
            self._notice(turns, sd, LEAST_TURNS if self._rest is not None else LEAST_FROM_CRANKING)

    def _fitted(self) -> tuple[float, float, float] | None:
        """Turns in by the first turns, their standard deviation, and the label: a grid over turns, least squares."""
        points = self._points
        costs: list[tuple[float, float, float]] = []
        best_rms = math.inf
        turns = 0.0
        while turns <= MOST_TURNS:
            seen = [(torque, self._path.torque_at(wound + turns) * at) for wound, torque, at in points]
            label = sum(torque * plan for torque, plan in seen) / max(sum(plan * plan for _, plan in seen), 1e-30)
            scale = max(sum(torque * torque for torque, _ in seen), 1e-30)
            rms2 = sum((torque - label * plan) ** 2 for torque, plan in seen) / scale
            best_rms = min(best_rms, math.sqrt(rms2))
            prior = (math.log(max(label, 1e-3)) / LABEL_SD) ** 2
            if self._rest_turns is not None:
                # The rest as this label has it: a stiff motor holds fewer turns for the same torque.
                rest = self._rest_turns / max(label, 0.1)
                prior += ((turns - rest) / math.hypot(LABEL_SD * rest, REST_SD_TURNS)) ** 2
            costs.append((len(points) * rms2 / FIT_SD**2 + prior + self._before(turns), turns, label))
            turns += GRID
        if best_rms > WORST_FIT:
            return None
        least = min(cost for cost, _, _ in costs)
        weights = [(math.exp(-0.5 * (cost - least)), turns, label) for cost, turns, label in costs]
        whole = sum(weight for weight, _, _ in weights)
        mean = sum(weight * turns for weight, turns, _ in weights) / whole
        spread = math.sqrt(sum(weight * (turns - mean) ** 2 for weight, turns, _ in weights) / whole)
        return mean, math.hypot(spread, REST_SD_TURNS), sum(weight * label for weight, _, label in weights) / whole
