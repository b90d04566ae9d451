"""People of different skill who wind: what the screen or the meter shows in, hands on the crank and feet out.

They react late and imperfectly, miss things, step in uneven steps. A coached person knows only what is `Seen`; one
alone knows the plan's figures and the torque on a plain meter. All figures of skill are invented; reaction time is
common practice of ergonomics, from memory.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

import numpy as np

from winding_coach.rubber.figures import MotorFigures, Plan, WinderFigures
from winding_coach.simulator.hands import CRANK_SETTLES_S, STEP_S, WALK_M_PER_S, HandsState

LOOKS_EVERY_S = 0.1
PAUSE_S = 1.2


@dataclass(frozen=True, slots=True)
class Seen:
    """What can be read off the screen, or off a plain meter where only `torque_Nm` is shown.

    prompt: code of the prompt, None without a coach; distance_m, crank_turns: figures in it. alarm: code of the
    alarm that sounds. goal_Nm: the torque beside the digits.
    """

    torque_Nm: float | None = None
    prompt: str | None = None
    distance_m: float | None = None
    crank_turns: float | None = None
    goal_Nm: float | None = None
    alarm: str | None = None
    at_m: float | None = None


@dataclass(frozen=True, slots=True)
class Skill:
    """How good somebody is. Times in s, lengths in m, shares 0-1.

    reaction_s, reaction_spread: median and spread (of the logarithm) of the time from seeing to doing.
    attention: chance to notice something new at once; what is missed is noticed at the next look but one second later.
    step_m, step_spread: length of a step-in. judges_m: error of judging where one stands, as a share.
    crank_rev_per_s: comfortable speed; load_slows: share by which full torque slows it. stalls: chance that a step-in
    stops the crank, for stall_s. eager: share by which they walk in faster than the torque asks. late_s: keeps
    cranking so much longer than intended at the peak. plans: knows the walk-in by heart (0 not at all, 1 well).
    """

    reaction_s: float = 0.7
    reaction_spread: float = 0.25
    attention: float = 0.9
    step_m: float = 0.05
    step_spread: float = 0.4
    judges: float = 0.03
    crank_rev_per_s: float = 1.2
    unevenness: float = 0.08
    load_slows: float = 0.15
    stalls: float = 0.03
    stall_s: float = 1.2
    eager: float = 0.0
    late_s: float = 0.3
    plans: float = 0.5


BEGINNER = Skill(
    reaction_s=0.8,
    reaction_spread=0.35,
    attention=0.8,
    step_m=0.08,
    step_spread=0.5,
    judges=0.05,
    unevenness=0.15,
    load_slows=0.25,
    stalls=0.18,
    stall_s=1.8,
    eager=0.25,
    late_s=0.8,
    plans=0.0,
)
PRACTISED = Skill()
EXPERT = Skill(
    reaction_s=0.55,
    reaction_spread=0.2,
    attention=0.97,
    step_m=0.04,
    step_spread=0.25,
    judges=0.02,
    unevenness=0.05,
    load_slows=0.08,
    stalls=0.004,
    stall_s=0.8,
    eager=0.0,
    late_s=0.1,
    plans=0.9,
)
SKILLS = {"beginner": BEGINNER, "practised": PRACTISED, "expert": EXPERT}


class Person:
    """Winds one motor, coached (`see` is given a prompt) or alone (it is given torque only)."""

    def __init__(
        self,
        skill: Skill,
        plan: Plan,
        motor: MotorFigures,
        winder: WinderFigures,
        rng: np.random.Generator,
        *,
        coached: bool,
    ) -> None:
        self._skill = skill
        self._plan = plan
        self._ratio = winder.ratio
        self._rng = rng
        self._coached = coached
        self._at_s = 0.0
        self._crank_rev = 0.0
        self._speed = 0.0
        self._wanted_speed = 0.0
        self._pace = 1.0
        self._pace_until_s = 0.0
        self._distance_m = motor.loop_m
        self._goal_m = motor.loop_m
        self._step_until_s = 0.0
        self._step_from_m = motor.loop_m
        self._step_to_m = motor.loop_m
        self._stalled_until_s = 0.0
        self._hooked = False
        self._done = False
        self._doing = "waiting"
        self._seen: deque[tuple[float, Seen]] = deque(maxlen=256)
        self._last_code: tuple[str | None, str | None] = (None, None)
        self._looked_s = -1.0
        self._in_mind = Seen()
        self._since_s = 0.0
        self._top_Nm = 0.0
        self._off_from_rev: float | None = None
        self._rest_until_s = 0.0
        self._told: tuple[float | None, float | None] = (None, None)
        self._stride_m = 0.0
        self._next_rev = 0.0
        self._code: str | None = None
        self._bias = 1.0 + skill.judges * float(rng.standard_normal())
        self.state = self._look()

    # -- eyes and ears

    def see(self, seen: Seen) -> None:
        """Show what the screen shows now. It reaches the hands after a reaction time, if it is noticed."""
        if self._at_s - self._looked_s < LOOKS_EVERY_S:
            return
        self._looked_s = self._at_s
        code = (seen.prompt, seen.alarm)
        delay = self._skill.reaction_s * math.exp(self._skill.reaction_spread * float(self._rng.standard_normal()))
        if code != self._last_code and self._rng.random() > self._skill.attention:
            delay += 1.0
        self._last_code = code
        self._seen.append((self._at_s + delay, seen))

    def _notice(self) -> None:
        while self._seen and self._seen[0][0] <= self._at_s:
            self._in_mind = self._seen.popleft()[1]

    # -- hands and feet

    def advance(self, dt_s: float, torque_Nm: float) -> HandsState:
        """Let time pass; torque is felt only as a load on the hand."""
        self._at_s += dt_s
        self._notice()
        if self._at_s >= self._rest_until_s:
            (self._follow if self._coached else self._by_oneself)()
        self._feet(dt_s)
        self._hand(dt_s, torque_Nm)
        self.state = self._look()
        return self.state

    def _look(self) -> HandsState:
        return HandsState(self._crank_rev, self._speed, self._distance_m, self._hooked, self._doing, self._done)

    def _hand(self, dt_s: float, torque_Nm: float) -> None:
        skill = self._skill
        if self._at_s >= self._pace_until_s:
            self._pace = 1.0 + skill.unevenness * float(self._rng.standard_normal())
            self._pace_until_s = self._at_s + 1.0
        load = 1.0 - skill.load_slows * min(max(torque_Nm / self._plan.peak_torque_Nm, 0.0), 1.2)
        wanted = self._wanted_speed * self._pace * load
        if self._at_s < self._stalled_until_s and self._wanted_speed > 0.0:
            wanted = 0.0
        self._speed += (wanted - self._speed) * min(1.0, dt_s / CRANK_SETTLES_S)
        if abs(self._speed) < 0.02 and wanted == 0.0:
            self._speed = 0.0
        self._crank_rev = max(self._crank_rev + self._speed * dt_s, 0.0)

    def _feet(self, dt_s: float) -> None:
        if self._at_s < self._step_until_s:
            share = 1.0 - (self._step_until_s - self._at_s) / STEP_S
            smooth = 0.5 - 0.5 * math.cos(math.pi * min(max(share, 0.0), 1.0))
            self._distance_m = self._step_from_m + (self._step_to_m - self._step_from_m) * smooth
        elif self._doing == "stretching out":
            step = WALK_M_PER_S * dt_s
            self._distance_m += min(max(self._goal_m - self._distance_m, -step), step)

    def _step_in(self, towards_m: float, length_m: float | None = None) -> None:
        """One step-in, if none is being made: uneven, never past the goal by more than one's judgement."""
        if self._at_s < self._step_until_s or self._distance_m <= towards_m + 0.005:
            return
        skill = self._skill
        length = (length_m or skill.step_m) * math.exp(skill.step_spread * float(self._rng.standard_normal()))
        self._step_from_m = self._distance_m
        self._step_to_m = max(self._distance_m - length, towards_m)
        self._step_until_s = self._at_s + STEP_S
        # Who steps far forgets the hand: twice the step, four times the chance (invented).
        if self._rng.random() < skill.stalls * min((length / skill.step_m) ** 2, 3.0):
            self._stalled_until_s = self._at_s + skill.stall_s * float(self._rng.uniform(0.5, 1.5))

    def _rest(self, seconds: float) -> None:
        self._rest_until_s = self._at_s + seconds

    # -- with the coach: do what it says

    def _follow(self) -> None:
        seen, skill = self._in_mind, self._skill
        code = seen.prompt
        if code != self._code:
            self._code = code
            self._since_s = self._at_s
        speed = skill.crank_rev_per_s
        if code in (None, "tare"):
            return
        if code == "stretch_to":
            self._doing, self._hooked = "stretching out", self._hooked or self._at_s - self._since_s > 1.0
            self._goal_m = self._plan.stretch_distance_m * self._judged(seen)
        elif code == "start_cranking":
            if abs(self._distance_m - self._goal_m) < 0.01:
                self._doing, self._wanted_speed = "winding stretched", speed
        elif code in ("keep_cranking", "crank_faster", "crank_slower", "hold_distance", "walk_in_to"):
            self._wanted_speed = speed * {"crank_faster": 1.25, "crank_slower": 0.6}.get(code, 1.0)
            if code == "keep_cranking":
                self._stalled_until_s = min(self._stalled_until_s, self._at_s)
            if self._doing == "stretching out":
                self._doing = "winding stretched"
            if code == "walk_in_to":
                self._doing = "walking in"
                self._walk_as_told(seen)
            elif code == "keep_cranking" and seen.distance_m is not None and self._doing == "walking in":
                self._step_in(seen.distance_m)
                if self._distance_m <= seen.distance_m + 0.01:
                    self._doing = "final turns"
        elif code == "stop_at_peak":
            self._wanted_speed = 0.0
        elif code == "back_off":
            self._doing = "backing off"
            self._wanted_speed = -self._back_off_speed(seen)
        elif code in ("launch_ready", "note_down"):
            self._wanted_speed = 0.0
            self._doing = "holding"
            if code == "note_down" and self._at_s - self._since_s > 3.0:
                self._hooked, self._done = False, self._at_s - self._since_s > 6.0

    def _judged(self, seen: Seen) -> float:
        """Where one thinks to stand over where one does: a bias of one's own, unless the screen shows it."""
        own = self._bias if seen.at_m is None else 1.0
        return own + 0.2 * self._skill.judges * float(self._rng.standard_normal())

    def _walk_as_told(self, seen: Seen) -> None:
        """A little at each turn of the crank, so as to be at the mark when the turns are up."""
        hooks_m = self._plan.walk_in[-1].distance_m
        if seen.distance_m is None:
            self._step_in(hooks_m)
            return
        to_m = max(seen.distance_m * self._judged(seen), hooks_m)
        told = (seen.distance_m, seen.crank_turns)
        if told != self._told:
            self._told = told
            turns = max(seen.crank_turns or 1.0, 1.0)
            self._stride_m = max(self._distance_m - to_m, 0.0) / turns
            self._next_rev = self._crank_rev
        if self._crank_rev >= self._next_rev and self._distance_m > to_m + 0.005:
            self._next_rev = self._crank_rev + 1.0
            self._step_in(to_m, self._stride_m)

    def _back_off_speed(self, seen: Seen) -> float:
        if seen.crank_turns == 0.0:
            return 0.0
        return 0.25 if seen.crank_turns is not None and seen.crank_turns <= 1.0 else 0.6

    # -- alone: by the plan's figures and the meter's

    def _by_oneself(self) -> None:
        plan, skill, seen = self._plan, self._skill, self._in_mind
        torque = seen.torque_Nm or 0.0
        if self._doing == "waiting":
            if self._at_s > 4.0:
                self._doing, self._hooked = "stretching out", True
                self._goal_m = plan.stretch_distance_m * (1.0 + skill.judges * float(self._rng.standard_normal()))
                self._since_s = self._at_s
        elif self._doing == "stretching out":
            if abs(self._distance_m - self._goal_m) < 0.01 and self._at_s - self._since_s > 4.0:
                self._doing, self._wanted_speed = "winding stretched", skill.crank_rev_per_s
        elif self._doing == "winding stretched":
            self._wanted_speed = skill.crank_rev_per_s
            if torque >= plan.stretched_torque_Nm:
                self._doing = "walking in"
        elif self._doing == "walking in":
            self._walk_in_alone(torque)
        elif self._doing == "final turns":
            self._wanted_speed = skill.crank_rev_per_s
            if torque >= plan.peak_torque_Nm:
                self._doing = "stopping"
                self._rest(skill.late_s * float(self._rng.uniform(0.0, 2.0)))
        elif self._doing == "stopping":
            self._wanted_speed = 0.0
            if self._speed == 0.0:
                self._doing = "backing off"
                self._rest(PAUSE_S)
                self._off_from_rev = self._crank_rev
        elif self._doing == "backing off":
            self._back_off_alone(torque)
        else:
            self._wanted_speed = 0.0
            if self._at_s - self._since_s > 6.0:
                self._hooked = False
            self._done = self._at_s - self._since_s > 9.0

    def _walk_in_alone(self, torque: float) -> None:
        """Step in when torque has come back to where it was; who knows the plan by heart stays on its path."""
        plan, skill = self._plan, self._skill
        self._wanted_speed = skill.crank_rev_per_s
        hooks_m = plan.walk_in[-1].distance_m
        if self._distance_m <= hooks_m + 0.02:
            self._doing = "final turns"
            return
        known = plan.stretched_torque_Nm
        turns = self._crank_rev * self._ratio
        on_path = np.interp(turns, [row.turns for row in plan.walk_in], [row.distance_m for row in plan.walk_in])
        behind = self._distance_m > float(on_path)
        wants = torque >= known * (1.0 - skill.eager)
        if (behind and self._rng.random() < skill.plans) or (wants and self._rng.random() > skill.plans):
            self._step_in(hooks_m)

    def _back_off_alone(self, torque: float) -> None:
        """Turn by turn, looking after each, down to the launch torque."""
        plan = self._plan
        if torque <= 1.03 * plan.launch_torque_Nm or self._crank_rev <= 0.0:
            self._doing, self._wanted_speed, self._since_s = "holding", 0.0, self._at_s
            return
        if self._off_from_rev is not None and self._off_from_rev - self._crank_rev >= 0.8:
            self._wanted_speed = 0.0
            if self._speed == 0.0:
                self._off_from_rev = self._crank_rev
                self._rest(0.8)
            return
        self._wanted_speed = -0.8
