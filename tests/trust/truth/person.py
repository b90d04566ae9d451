"""A robot person who does what the coach says, a reaction later; a sloppy one misses cues, overruns, presses keys.

Written from the contract's prompts, not from what the coach does with them. Figures are assumed.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from random import Random

from tests.trust.truth.words import asks_for_turns, in_danger
from winding_coach.base.inputs import KEYS
from winding_coach.coach.view import CoachView

ARM_S = 0.4
"""A hand needs so long to speed up or to stop."""
BACK_REV_PER_S = 0.6
SMALL_STEP_M = 0.08
WALKING = frozenset({"walk_on", "walk_slower", "walk_quicker", "wait_here", "step_now", "step_shorter"})
STRIDE_M = 0.35
OWN_PACE = {"spread": 0.04, "strides": 0.06, "at once": 0.10}
"""Metres a second, where one is to walk in slowly."""
GIVES_UP_S = 9.0
"""Stopped by the coach for so long, with nothing else to do: the wind ends."""
HOOKS_AGAIN_S = 8.0
IMPATIENT = tuple(key for key in ("next", "tare", "count", "go_on") if key in KEYS)
"""What a sloppy person presses who has waited long enough."""
SAYS_BROKE_S = 3.0
CLEARS_S = 5.0
"""Asked for an empty hook for so long, somebody looks and clears it."""


@dataclass(frozen=True, slots=True)
class Order:
    """What is taken from the screen: a prompt's code and figures, and whether a danger stands."""

    code: str
    said_s: float
    distance_m: float | None
    crank_turns: float | None
    step_m: float | None
    more: bool
    danger: bool


class Person:
    """Hands and feet. `see` takes the screen, `advance` moves; `keys` are to be pressed and taken out."""

    def __init__(
        self, rng: Random, sloppy: bool, walks: str, loop_m: float, hooks_m: float, peak_Nm: float, loaded: str
    ) -> None:
        """loaded: what is on the hook before the zero: "", "weight" or "motor"."""
        self._rng, self._sloppy, self._walks, self._peak_Nm = rng, sloppy, walks, peak_Nm
        self.reaction_s = rng.uniform(0.5, 1.5 if sloppy else 1.0)
        self._rev_per_s = rng.uniform(0.9, 1.8)
        self._loop_m, self._hooks_m = loop_m, hooks_m
        self._own_pace = OWN_PACE[walks]
        self.loaded = loaded
        self.revolutions = 0.0
        self.distance_m = loop_m
        self.hooked = loaded == "motor"
        self.done = ""
        self.keys: list[str] = []
        self._speed = 0.0
        self._want = 0.0
        self._back_left: float | None = None
        self._goal_m = loop_m
        self._pace = 0.25
        self._at_s = 0.0
        self._coming: deque[tuple[float, Order]] = deque()
        self._seen: Order | None = None
        self._now: Order | None = None
        self._now_s = 0.0
        self._idle_s = 0.0
        self._unhook_at: float | None = None
        self._hook_at: float | None = None
        self.off = False
        self.came_off_s: float | None = None
        self._pressed_s = 0.0
        self._said_broke = False
        self._tared_s = 2.5 if sloppy or loaded else None

    # -- what is seen

    def see(self, view: CoachView) -> None:
        """Take the screen in: it is acted on a reaction later; a sloppy person misses one cue in ten."""
        prompt = view.prompt
        danger = in_danger(view)
        if prompt is None:
            order = Order("", 0.0, None, None, None, False, danger)
        else:
            order = Order(
                prompt.code,
                prompt.at_s,
                prompt.distance_m,
                prompt.crank_turns,
                getattr(prompt, "step_m", None),
                asks_for_turns(prompt),
                danger,
            )
        if order != self._seen:
            self._seen = order
            missed = self._sloppy and self._rng.random() < 0.1
            self._coming.append((self._at_s + self.reaction_s + (3.0 if missed else 0.0), order))

    def _obey(self, order: Order) -> None:
        self._now, self._now_s = order, self._at_s
        self._back_left = None
        self._want = 0.0
        code, distance_m = order.code, order.distance_m
        if order.danger and code not in ("back_off", "tare"):
            if distance_m is not None and code == "stop_at_peak":
                self._goal_m = distance_m
            return
        if code == "stretch_to" and distance_m is not None:
            self._hook_up()
            self._walk_to(distance_m, 0.4)
        elif code == "walk_in_to" or (code == "hold_distance" and distance_m is not None):
            self._walk(order)
        elif code in WALKING:
            self._pace_by(order)
        elif code == "stop_at_peak" and distance_m is not None:
            self._walk_to(distance_m, 0.25)
        elif code == "back_off":
            if order.crank_turns != 0.0:
                self._back_left = order.crank_turns or 1.0
        elif code == "launch_ready":
            self._unhook_at = self._at_s + 1.5
        elif code == "note_down":
            self._ends("noted")
        if order.more and self.hooked:
            slower = 0.75 if code == "crank_slower" else 1.2 if code == "crank_faster" else 1.0
            self._want = self._rev_per_s * slower

    def _hook_up(self) -> None:
        if not self.hooked and self._hook_at is None and not self.off:
            self._hook_at = self._at_s + 1.0
        if self.hooked:
            self.loaded = ""

    def _walk(self, order: Order) -> None:
        goal_m = self.distance_m - SMALL_STEP_M if order.distance_m is None else order.distance_m
        if order.code == "hold_distance":
            goal_m = self.distance_m if self._walks == "at once" else goal_m
        pace = 0.25
        if self._walks == "spread" and order.crank_turns:
            pace = max(0.02, abs(goal_m - self.distance_m) * self._rev_per_s / order.crank_turns)
        elif self._walks == "strides":
            pace = 0.12
        self._walk_to(goal_m, pace)

    def _pace_by(self, order: Order) -> None:
        """Led by words: on, slower, quicker, wait, or one step now."""
        if order.code == "wait_here":
            self._goal_m = self.distance_m
        elif order.code in ("step_now", "step_shorter"):
            step_m = min(order.step_m or SMALL_STEP_M, STRIDE_M)
            if order.code == "step_now":
                self._walk_to(max(self._hooks_m, self.distance_m - step_m), 0.25)
        else:
            change = {"walk_slower": 0.6, "walk_quicker": 1.5}.get(order.code, 1.0)
            self._own_pace = min(0.2, max(0.015, self._own_pace * change))
            self._walk_to(self._hooks_m, self._own_pace)

    def _walk_to(self, goal_m: float, pace: float) -> None:
        off = self._rng.uniform(-0.04, 0.04) if self._sloppy else 0.0
        self._goal_m, self._pace = max(0.5 * self._loop_m, goal_m + off), pace

    def _ends(self, how: str) -> None:
        self.done = self.done or how

    # -- what is done

    def advance(self, dt_s: float, torque_Nm: float, broken: bool) -> None:
        """Let time pass. torque_Nm: what the hand feels; broken: what the eye sees."""
        self._at_s += dt_s
        while self._coming and self._coming[0][0] <= self._at_s:
            self._obey(self._coming.popleft()[1])
        if broken or self.off:
            self._want, self._back_left = 0.0, None
            self._after_a_bang(broken)
        self._hooks()
        self._move(dt_s, torque_Nm)
        self._patience(dt_s)

    def slip_off(self) -> None:
        """The motor comes off; it is hooked up again after 8 s."""
        self.off, self.came_off_s, self.hooked = True, self._at_s, False

    def _after_a_bang(self, broken: bool) -> None:
        if self.came_off_s is None:
            self.came_off_s = self._at_s
        waited_s = self._at_s - self.came_off_s
        if broken and waited_s > SAYS_BROKE_S and "broke" in KEYS and not self._said_broke and not self._sloppy:
            self._said_broke = True
            self.keys.append("broke")
        if broken and waited_s > HOOKS_AGAIN_S + 4.0:
            self._ends("broke")
        if not broken and waited_s > HOOKS_AGAIN_S:
            self.off, self.hooked, self.came_off_s = False, True, None
            if self._seen is not None:
                self._coming.append((self._at_s + 1.0, self._seen))

    def _hooks(self) -> None:
        if self._hook_at is not None and self._at_s >= self._hook_at:
            self.hooked, self._hook_at, self.loaded = True, None, ""
        if self._unhook_at is not None and self._at_s >= self._unhook_at:
            if self._now is not None and self._now.code == "launch_ready":
                self.hooked = False
                self._unhook_at = None
                self._coming.append((self._at_s + 4.0, Order("note_down", self._at_s, None, None, None, False, False)))
            else:
                self._unhook_at = None
        if self._tared_s is not None and self._at_s >= self._tared_s:
            self.keys.append("tare")
            self._tared_s = None
        asked = self._now is not None and self._now.code == "tare" and self._at_s - self._now_s > CLEARS_S
        if asked and self.loaded:
            self.loaded, self.hooked = "", False

    def _move(self, dt_s: float, torque_Nm: float) -> None:
        want = self._want
        if self._back_left is not None:
            want = -BACK_REV_PER_S if self._back_left > 0.0 else 0.0
        elif want > 0.0:
            want *= 1.0 - 0.3 * min(1.5, torque_Nm / self._peak_Nm) ** 2
        most = dt_s * 2.0 / ARM_S
        self._speed += min(most, max(-most, want - self._speed))
        turned = self._speed * dt_s
        if self._back_left is not None and turned < 0.0:
            self._back_left += turned
        self.revolutions += turned
        way = self._goal_m - self.distance_m
        step = self._pace * dt_s
        self.distance_m += min(step, max(-step, way))

    @property
    def turning(self) -> bool:
        """Whether the crank goes forward."""
        return self._speed > 0.15

    def _patience(self, dt_s: float) -> None:
        still = abs(self._speed) < 0.02 and abs(self._goal_m - self.distance_m) < 0.005 and not self.off
        waits = self._hook_at is not None or self._unhook_at is not None
        asked = self._now is None or (self._now.code in ("", "tare", "stretch_to", "launch_ready"))
        self._idle_s = 0.0 if not still or waits else self._idle_s + dt_s
        if self._sloppy and self._idle_s > 4.0 and self._at_s - self._pressed_s > 6.0:
            self._pressed_s = self._at_s
            self.keys.append(self._rng.choice(IMPATIENT))
        if self._idle_s > (25.0 if asked else GIVES_UP_S):
            self._ends("stands")
