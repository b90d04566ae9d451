"""The one thing to do now: from a moment to a prompt, paced so that nothing nags. Pure.

`wanted` is a table from phase to the choice; `Pacer` decides whether the choice is said now.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from winding_coach.coach.alarms import at_a_limit
from winding_coach.coach.limits import Limits
from winding_coach.coach.moment import Moment
from winding_coach.coach.phases import WINDING
from winding_coach.coach.said import Phase, Prompt
from winding_coach.coach.view import Marks
from winding_coach.coach.wording import in_words
from winding_coach.standing import USUAL, Steps
from winding_coach.units import UnitSystem

QUIET_S = 2.5
"""Advice changes no sooner than this within a phase; what is urgent does not wait."""
URGENT = frozenset({"stop_at_peak", "keep_cranking", "launch_ready"})
HOOKING_UP_S = 6.0
REACTION_S = 0.9
"""Stop is said so long before the peak: reaction (median 0.7 s, from memory), then the hand slows down."""
STOPS_IN_S = 0.8
"""In the back-off torque falls so fast that the hand must be told this long before; reaction and slowing down."""
STOP_STANDS_S = 3.0
"""A stop that was said stands so long, whatever the rate does meanwhile."""
AHEAD_TURNS_OF_CRANK = 2.5
"""A step-in is said as where to be after about so many turns, so that it can be made a little at each."""
NOTE_AFTER_S = 3.0
MARK_M = 0.10
"""Walk-in marks are this far apart, so that a step is a step."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """A prompt before it is put into words."""

    code: str
    distance_m: float | None = None
    crank_turns: float | None = None
    torque_Nm: float | None = None
    turns: float | None = None
    peak_Nm: float | None = None

    def same_as(self, other: Wanted) -> bool:
        """Whether saying this after `other` would only repeat it."""
        if self.code != other.code:
            return False
        if self.code in ("walk_in_to", "hold_distance"):
            return self.distance_m == other.distance_m
        if self.code == "back_off":
            return self.crank_turns == other.crank_turns
        return True


@dataclass(frozen=True, slots=True)
class Scene:
    """What a prompt is chosen from.

    mark_m: where to be in a few turns of the crank, mark_in: in how many; None when turns are not known.
    back_off_left: crank turns that the plan's back-off takes from this torque to the launch torque.
    stopping: the stop at the peak was said a moment ago.
    """

    now: Moment
    limits: Limits
    mark_m: float | None
    mark_in: float | None
    alarms: frozenset[str]
    marks: Marks
    back_off_left: float | None
    stopping: bool = False


def mark_of(path_m: float, limits: Limits) -> float:
    """Return the mark to stand at: the path's distance, rounded up to a whole step, never below the hooks."""
    if limits.stops_m:
        return next((at for at in limits.stops_m if at >= path_m - 1e-6), limits.stretch_m)
    steps = -((limits.hooks_m - path_m) // MARK_M)
    return round(min(limits.hooks_m + max(steps, 0) * MARK_M, limits.stretch_m), 3)


def _hook_up(scene: Scene) -> Wanted:
    return Wanted("tare")


def _stop(scene: Scene) -> Wanted | None:
    """The stop that a limit or a meter that tells nothing calls for; no other advice stands beside it."""
    limits, alarms = scene.limits, scene.alarms
    if "winder_limit" in alarms:
        return Wanted("stop_at_peak", torque_Nm=limits.winder_Nm)
    if "meter_limit" in alarms:
        return Wanted("stop_at_peak", torque_Nm=limits.meter_Nm)
    if "overwind" in alarms or at_a_limit(scene.now, limits):
        return Wanted("stop_at_peak", torque_Nm=limits.peak_Nm)
    return Wanted("stop_at_peak") if alarms & {"meter_saturated", "meter_silent"} else None


def _stretch_out(scene: Scene) -> Wanted:
    now, limits = scene.now, scene.limits
    if "meter_silent" in scene.alarms:
        return Wanted("stretch_to", distance_m=limits.stretch_m)
    there = now.distance_m is not None and now.distance_m >= 0.97 * limits.stretch_m
    # Without a sensor, or when somebody stops short: cranking there is better than waiting for ever.
    waited = now.in_phase_s >= (HOOKING_UP_S if now.distance_m is None else 2.0 * HOOKING_UP_S)
    return Wanted("start_cranking" if there or waited else "stretch_to", distance_m=limits.stretch_m)


def _wind_stretched(scene: Scene) -> Wanted:
    limits = scene.limits
    if "rising_too_fast" in scene.alarms:
        return Wanted("crank_slower")
    if scene.now.cranking is None and scene.now.in_phase_s < 1.0:
        return Wanted("start_cranking", distance_m=limits.stretch_m)
    return Wanted("keep_cranking", torque_Nm=limits.stretched_Nm, distance_m=limits.stretch_m)


def _walk_in(scene: Scene) -> Wanted:
    now, limits = scene.now, scene.limits
    if "crank_stalled" in scene.alarms:
        return Wanted("keep_cranking")
    mark = scene.mark_m
    if "torque_falling" in scene.alarms:
        return Wanted("hold_distance", distance_m=mark)
    if mark is not None and mark >= limits.stretch_m:
        return Wanted("hold_distance", distance_m=mark)
    if now.distance_m is not None and mark is not None and now.distance_m < mark - 1.5 * MARK_M:
        return Wanted("hold_distance", distance_m=round(now.distance_m, 1))
    return Wanted("walk_in_to", distance_m=mark, crank_turns=scene.mark_in)


def _final_turns(scene: Scene) -> Wanted:
    now, limits = scene.now, scene.limits
    if scene.stopping or (now.peak_in_s is not None and now.peak_in_s <= REACTION_S):
        return Wanted("stop_at_peak", torque_Nm=limits.peak_Nm)
    if "rising_too_fast" in scene.alarms:
        return Wanted("crank_slower")
    if now.crank_slow:
        return Wanted("crank_faster")
    return Wanted("keep_cranking", torque_Nm=limits.peak_Nm, distance_m=limits.hooks_m)


def _back_off(scene: Scene) -> Wanted:
    limits = scene.limits
    if "overwind" in scene.alarms and scene.now.torque_Nm is not None and scene.now.torque_Nm >= limits.peak_Nm:
        return Wanted("stop_at_peak", torque_Nm=limits.peak_Nm)
    now = scene.now
    if now.torque_Nm is not None:
        stops_at_Nm = now.torque_Nm + STOPS_IN_S * min(now.rate_Nm_per_s or 0.0, 0.0)
        if now.torque_Nm < limits.peak_Nm and stops_at_Nm <= limits.launch_Nm:
            return Wanted("back_off", torque_Nm=limits.launch_Nm, crank_turns=0.0)
    left = limits.back_off_turns / limits.ratio if scene.back_off_left is None else scene.back_off_left
    return Wanted("back_off", torque_Nm=limits.launch_Nm, crank_turns=max(round(2.0 * left) / 2.0, 0.5))


def _ready(scene: Scene) -> Wanted:
    marks = scene.marks
    code = "note_down" if scene.now.in_phase_s >= NOTE_AFTER_S else "launch_ready"
    return Wanted(code, torque_Nm=marks.launch_torque_Nm, turns=marks.launch_turns, peak_Nm=marks.peak_torque_Nm)


_CHOICES: dict[Phase, Callable[[Scene], Wanted]] = {
    Phase.HOOK_UP: _hook_up,
    Phase.STRETCH_OUT: _stretch_out,
    Phase.WIND_STRETCHED: _wind_stretched,
    Phase.WALK_IN: _walk_in,
    Phase.FINAL_TURNS: _final_turns,
    Phase.BACK_OFF: _back_off,
    Phase.READY: _ready,
}


def wanted(scene: Scene) -> Wanted | None:
    """Return the prompt that fits the moment; None in the phases that want nothing more."""
    phase = scene.now.phase
    stop = (
        _stop(scene)
        if phase in WINDING or (phase is Phase.STRETCH_OUT and at_a_limit(scene.now, scene.limits))
        else None
    )
    if stop is not None:
        return stop
    choice = _CHOICES.get(phase)
    return None if choice is None else choice(scene)


class Pacer:
    """Says a prompt when it is new and due, and remembers it."""

    def __init__(self, units: UnitSystem, steps: Steps = USUAL) -> None:
        self._units = units
        self._steps = steps
        self._at_m: float | None = None
        self._from_m: float | None = None
        self._last: Wanted | None = None
        self._last_phase: Phase | None = None
        self.prompt: Prompt | None = None

    def stopping(self, at_s: float) -> bool:
        """Whether the stop at the peak was said a moment ago."""
        said = self.prompt
        return said is not None and said.code == "stop_at_peak" and at_s - said.at_s < STOP_STANDS_S

    def tell(self, now: Moment, choice: Wanted | None) -> Prompt | None:
        """Return the prompt to say now, None to stay quiet. `prompt` stays the one that was said last."""
        if choice is None:
            self._last = self.prompt = None
            self._last_phase = now.phase
            return None
        if self._last is not None and self.prompt is not None and self._last_phase == now.phase:
            if choice.same_as(self._last):
                return None
            due = now.at_s - self.prompt.at_s >= QUIET_S
            urgent = choice.code in URGENT or choice.crank_turns == 0.0
            if not due and not (
                urgent and (choice.code, choice.crank_turns) != (self._last.code, self._last.crank_turns)
            ):
                return None
        self._last, self._last_phase = choice, now.phase
        if choice.distance_m is not None:
            self._from_m, self._at_m = self._at_m, choice.distance_m
        self.prompt = in_words(
            Prompt(
                now.at_s,
                choice.code,
                "",
                choice.distance_m,
                choice.crank_turns,
                choice.torque_Nm,
                choice.turns,
                choice.peak_Nm,
                self._from_m,
            ),
            self._units,
            self._steps,
        )
        return self.prompt
