"""People: what the screen shows and the sound plays in; after a while, and not always, hands and feet out. Pure.

What all of them share: eyes, ears, a hand on the crank, feet. `coached` and `alone` say what they do with them.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections import deque
from dataclasses import dataclass

import numpy as np

from winding_coach.simulator.hands import CRANK_SETTLES_S, STEP_S, WALK_M_PER_S, HandsState
from winding_coach.simulator.skill import Skill

PACE_LASTS_S = 1.0
MOST_STALL = 3.0
"""A long step-in stops the crank at most so many times as often as one of the usual length."""
STANDING_LOOKS = 0.5
"""Who does not walk looks at the screen in this share of the time."""
SPREAD_OF_LOOKS = 0.35
MEMORY = 64


@dataclass(frozen=True, slots=True)
class Shown:
    """What can be read off the screen, or heard.

    torque_Nm: the digits. prompt: code of the prompt, None where there is none; said_s: when it was said; distance_m,
    crank_turns, step_m: figures in it. at_m: where the screen says that one stands. cue_s: when the cue that sounds
    began, None while there is none; danger: whether it is the one for danger. tone: side of the band that the tone of
    the rate tells, -1 below, 0 within, 1 above; None: silent.
    """

    torque_Nm: float | None = None
    prompt: str | None = None
    said_s: float = 0.0
    distance_m: float | None = None
    crank_turns: float | None = None
    at_m: float | None = None
    cue_s: float | None = None
    step_m: float | None = None
    danger: bool = False
    tone: int | None = None


class Senses:
    """From what is shown to what is in mind: looks now and then, hears cues, needs its reaction time."""

    def __init__(self, skill: Skill, rng: np.random.Generator, *, hears: bool) -> None:
        self._skill = skill
        self._rng = rng
        self._hears = hears
        self._coming: deque[tuple[float, float, Shown]] = deque(maxlen=MEMORY)
        self._tones: deque[tuple[float, int | None]] = deque(maxlen=MEMORY)
        self._next_look_s = 0.0
        self._cue_s: float | None = None
        self._mind_s = -1.0
        self.mind = Shown()
        self.tone: int | None = None

    def show(self, at_s: float, shown: Shown, *, standing: bool) -> None:
        """Hold the screen up, and let the sound be heard."""
        skill = self._skill
        if self._hears:
            self._tones.append((at_s + skill.tone_s, shown.tone))
            if shown.cue_s not in (None, self._cue_s) and (shown.danger or self._rng.random() < skill.attention):
                self._take_in(at_s, shown)
            self._cue_s = shown.cue_s
        if at_s >= self._next_look_s:
            pause_s = skill.looks_s * (STANDING_LOOKS if standing else 1.0)
            self._next_look_s = at_s + pause_s * math.exp(SPREAD_OF_LOOKS * float(self._rng.standard_normal()))
            self._take_in(at_s, shown)

    def _take_in(self, at_s: float, shown: Shown) -> None:
        spread = self._skill.reaction_spread * float(self._rng.standard_normal())
        self._coming.append((at_s + self._skill.reaction_s * math.exp(spread), at_s, shown))

    def notice(self, at_s: float) -> None:
        """Let what has had its time reach the mind; an older thing never drives out a newer one."""
        for due_s, seen_s, shown in tuple(self._coming):
            if due_s <= at_s and seen_s > self._mind_s:
                self._mind_s, self.mind = seen_s, shown
        while self._coming and self._coming[0][0] <= at_s:
            self._coming.popleft()
        while self._tones and self._tones[0][0] <= at_s:
            self.tone = self._tones.popleft()[1]


class Person(ABC):
    """A body with senses. A subclass says in `_decide` what it does; `see` and `advance` are all there is to call."""

    def __init__(self, skill: Skill, loop_m: float, rng: np.random.Generator, *, hears: bool, full_Nm: float) -> None:
        """loop_m: where one stands at first. full_Nm: torque that slows the hand by the skill's share."""
        self._skill = skill
        self._rng = rng
        self._senses = Senses(skill, rng, hears=hears)
        self._full_Nm = full_Nm
        self._at_s = 0.0
        self._crank_rev = 0.0
        self._speed = 0.0
        self._wanted_speed = 0.0
        self._pace = 1.0
        self._pace_until_s = 0.0
        self._distance_m = self._goal_m = loop_m
        self._step_from_m = self._step_to_m = loop_m
        self._step_until_s = 0.0
        self._walks_m_per_s, self._nearest_m = 0.0, 0.0
        self._stalled_until_s = 0.0
        self._reminded_until_s = 0.0
        self._hooked = False
        self._done = False
        self._doing = "waiting"
        self._comfortable = skill.crank_rev_per_s * math.exp(skill.own_pace * self._normal())
        self._bias = 1.0 + skill.judges * self._normal()
        self.state = self._look()

    def see(self, shown: Shown) -> None:
        """Show what screen and sound offer now; call it ten times a second or so."""
        self._senses.show(self._at_s, shown, standing=self._doing != "walking in")

    def advance(self, dt_s: float, torque_Nm: float) -> HandsState:
        """Let time pass; torque is felt only as a load on the hand."""
        self._at_s += dt_s
        self._senses.notice(self._at_s)
        self._decide()
        self._feet(dt_s)
        self._hand(dt_s, torque_Nm)
        self.state = self._look()
        return self.state

    @abstractmethod
    def _decide(self) -> None:
        """Set what hand and feet do next, by what is in mind."""

    def _look(self) -> HandsState:
        return HandsState(self._crank_rev, self._speed, self._distance_m, self._hooked, self._doing, self._done)

    def _normal(self) -> float:
        return float(self._rng.standard_normal())

    def _hand(self, dt_s: float, torque_Nm: float) -> None:
        skill = self._skill
        if self._at_s >= self._pace_until_s:
            self._pace = 1.0 + skill.unevenness * self._normal()
            self._pace_until_s = self._at_s + PACE_LASTS_S
        load = 1.0 - skill.load_slows * min(max(torque_Nm / self._full_Nm, 0.0), 1.2)
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
        elif self._walks_m_per_s:
            self._distance_m = max(
                self._distance_m - self._walks_m_per_s * dt_s, min(self._nearest_m, self._distance_m)
            )
        elif self._doing == "stretching out":
            step = WALK_M_PER_S * dt_s
            self._distance_m += min(max(self._goal_m - self._distance_m, -step), step)

    @property
    def _stepping(self) -> bool:
        return self._at_s < self._step_until_s

    def _step_in(self, towards_m: float, length_m: float) -> None:
        """One step-in, if none is being made: uneven, never past the goal."""
        if self._stepping or self._distance_m <= towards_m + 0.004:
            return
        skill = self._skill
        length = length_m * math.exp(skill.step_spread * self._normal())
        self._step_from_m = self._distance_m
        self._step_to_m = max(self._distance_m - length, towards_m)
        self._step_until_s = self._at_s + STEP_S
        made = self._step_from_m - self._step_to_m
        times = min((made / skill.step_m) ** 2, MOST_STALL) if skill.steps_matter else 1.0
        if self._at_s < self._reminded_until_s:
            times *= skill.reminded
        if self._rng.random() < skill.stalls * times:
            self._stalled_until_s = self._at_s + skill.stall_s * float(self._rng.uniform(0.5, 1.5))
