"""The one thing to do now: from a moment to a prompt, paced so that nothing nags. Pure.

`wanted` is a table from phase to the choice; `pacer.Pacer` decides whether the choice is said now.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Protocol

from winding_coach.base.values import value
from winding_coach.coach.alarms import at_a_limit, stopped_beyond
from winding_coach.coach.lead import Word
from winding_coach.coach.limits import Limits
from winding_coach.coach.moment import Moment
from winding_coach.coach.pacer import MOST_STOPPING_S, QUIET_S
from winding_coach.coach.person import STOP_LEAD_S
from winding_coach.coach.phases import WINDING
from winding_coach.coach.said import Phase
from winding_coach.coach.view import Marks
from winding_coach.coach.waiting import turns_to_take_in
from winding_coach.coach.wanted import Wanted, by_taps

HOOKING_UP_S = 6.0
STOPS_IN_S, LEAST_STOPS_IN_S, MOST_STOPS_IN_S = 0.8, 0.5, 1.8
"""In the back-off torque falls so fast that the hand must be told this long before; reaction and slowing down. Sooner,
within these bounds, for someone who took longer to stop at the peak."""
STOP_WITHIN_TURNS, STOP_BELOW = 1.5, 1.1
"""Crank turns left, or torque over the launch torque: before, torque falls so steeply that its rate says nothing of
when it will be there."""
STILL_NEAR = 0.97
"""Of the peak: torque that is still here soon after the stop is that of a hand which has not stopped yet."""
TORQUE_RECOVERY_RATIO = 0.985
"""After the last turn off torque comes back by this much within seconds (simulated; rubber that relaxed recovers)."""
NOTE_AFTER_S = 3.0
NEAR_WALK_IN = 0.93
"""From this share of the full-stretch torque on, the walk-in is announced by a slower crank."""
CALM_REV_PER_S = 1.3
"""A crank that turns no faster needs not be slowed for the walk-in; found in the closed loop (simulated)."""
SLOW_REV_PER_S = 0.35
TOWARDS_PEAK, CALM_TO_PEAK_REV_PER_S = 0.86, 0.70
"""From this share of the peak on the crank is to go a little slower, so that a late stop costs less: common practice,
no source; the share and the speed are ours."""
AT_HOOKS_M = 0.02
NEAR_PEAK, THERE = 0.93, 0.97
"""Below this share of the peak no rate is a reason to stop: each step and each stall ends in a quick rise."""
NEAR_TURNS, FROM_TURNS = 0.98, 0.96
"""The same for turns that are counted: near by the count alone, and the least that torque needs beside it."""
TOO_FAR_IN_M = 0.10
"""Nearer than the mark by this is too far in: wait there."""
WAIT_BELOW = 0.85
"""Without turns: below this share of the full-stretch torque the walk-in waits."""
LIMIT_ALARMS = frozenset({"overwind", "winder_limit", "meter_limit", "meter_saturated"})
AT_MARK_TOLERANCE_M = 0.03
BLIND_TURNS = 2.0
NEARLY_WOUND = 0.9
MARK_GRID_M = 0.05
"""Walk-in marks are whole multiples of this from the hooks: what can be judged, or seen on a tape."""


class Marker(Protocol):
    """Works out where to be, in so many turns of the crank, when it is asked."""

    @property
    def mark_m(self) -> float: ...

    @property
    def mark_in(self) -> float: ...


@value(frozen=True, slots=True)
class Scene:
    """What a prompt is chosen from.

    walk: knows where to be in a few turns of the crank; None when turns are not known.
    back_off_left: crank turns that the plan's back-off takes from this torque to the launch torque; next_Nm: torque
    to expect after the next of them. stopping: the stop at the peak was said a moment ago. side: ahead of the
    path or behind it. slowed: the crank was told in this phase to go slower for what comes next. word: what torque says
    to the feet. stop_lead_s: how long before the peak this person is told to stop. off_stopped: the
    stop of the back-off was said. relaxed: ready, torque has relaxed out of its band.
    """

    now: Moment
    limits: Limits
    walk: Marker | None
    alarms: frozenset[str]
    marks: Marks
    back_off_left: float | None
    stopping: bool = False
    side: str | None = None
    slowed: bool = False
    next_Nm: float | None = None
    word: Word | None = None
    stop_lead_s: float = STOP_LEAD_S
    off_stopped: bool = False
    relaxed: bool = False


def mark_of(path_m: float, limits: Limits, *, inside: bool = False) -> float:
    """Return the mark to stand at: the path's distance, rounded up to a whole step (down where `inside`), never below
    the hooks."""
    if limits.stops_m:
        if inside:
            return next((at for at in reversed(limits.stops_m) if at <= path_m + 1e-6), limits.hooks_m)
        return next((at for at in limits.stops_m if at >= path_m - 1e-6), limits.stretch_m)
    steps = (path_m - limits.hooks_m) // MARK_GRID_M if inside else -((limits.hooks_m - path_m) // MARK_GRID_M)
    return round(min(limits.hooks_m + max(steps, 0) * MARK_GRID_M, limits.stretch_m), 3)


def _hook_up(scene: Scene) -> Wanted:
    return Wanted("tare")


def _stop(scene: Scene) -> Wanted | None:
    """The stop that a limit or a meter that tells nothing calls for; no other advice stands beside it."""
    limits, alarms, now = scene.limits, scene.alarms, scene.now
    if now.frozen or now.another or now.in_doubt:
        return Wanted("stop_at_peak", distance_m=_let_go(now, limits))
    if "winder_limit" in alarms:
        return Wanted("stop_at_peak", torque_Nm=limits.winder_Nm)
    if "meter_limit" in alarms:
        return Wanted("stop_at_peak", torque_Nm=limits.meter_Nm)
    if "overwind" in alarms or at_a_limit(scene.now, limits):
        mark = _step_down(scene) if scene.now.phase is Phase.WALK_IN else None
        return Wanted("stop_at_peak", torque_Nm=limits.peak_Nm, distance_m=mark)
    return Wanted("stop_at_peak") if alarms & {"meter_saturated", "meter_silent"} else None


def _let_go(now: Moment, limits: Limits) -> float | None:
    """The hooks, for who is nearly wound and still on the way in: no reading is needed to let the strands go."""
    wound = now.turns is not None and now.turns >= NEARLY_WOUND * limits.target_turns
    return limits.hooks_m if now.in_doubt and now.phase is Phase.WALK_IN and now.counted and wound else None


def _step_down(scene: Scene) -> float | None:
    """Where to at a limit in the walk-in: with the crank still, a step in lets the strands go and takes torque down.

    To the mark; who is there and still at the limit, or has stopped where nobody measures, in to the hooks: with the
    crank still no further mark would ever be due.
    """
    now, mark_m = scene.now, None if scene.walk is None else scene.walk.mark_m
    if now.arriving:
        return scene.limits.hooks_m
    there = now.cranking is False if now.distance_m is None else now.distance_m <= (mark_m or 0.0) + AT_MARK_TOLERANCE_M
    return scene.limits.hooks_m if mark_m is not None and there else mark_m


def _stretch_out(scene: Scene) -> Wanted:
    now, limits = scene.now, scene.limits
    if "meter_silent" in scene.alarms:
        return Wanted("stretch_to", distance_m=limits.stretch_m)
    there = now.distance_m is not None and now.distance_m >= 0.97 * limits.stretch_m
    # Without a sensor, or when somebody stops short: cranking there is better than waiting for ever.
    waited = now.in_phase_s >= (HOOKING_UP_S if now.distance_m is None else 2.0 * HOOKING_UP_S)
    if there or waited:
        return Wanted("start_cranking", distance_m=limits.stretch_m, side="there" if there else None)
    return Wanted("stretch_to", distance_m=limits.stretch_m)


def _wind_stretched(scene: Scene) -> Wanted:
    now, limits = scene.now, scene.limits
    if "rising_too_fast" in scene.alarms:
        return Wanted("crank_slower")
    if now.cranking is None and now.in_phase_s < 1.0:
        return Wanted("start_cranking", distance_m=limits.stretch_m, side="there")
    near = now.torque_Nm is not None and now.torque_Nm >= NEAR_WALK_IN * limits.stretched_Nm
    if scene.slowed or (near and (now.crank_rev_per_s or 0.0) > CALM_REV_PER_S):
        return Wanted("crank_slower", distance_m=limits.stretch_m)
    return Wanted("keep_cranking", torque_Nm=limits.stretched_Nm, distance_m=limits.stretch_m)


def _walk_in(scene: Scene) -> Wanted:
    now, word = scene.now, scene.word
    if now.arriving:
        return _arrive(scene)
    if "crank_stalled" in scene.alarms and (word is None or word.code == "wait_here"):
        return Wanted("keep_cranking")
    if word is not None:
        return Wanted(
            word.code, step_m=word.step_m, distance_m=word.distance_m, step_was=word.step_was, again=word.again
        )
    here_m = None if now.distance_m is None else round(now.distance_m, 2)
    if "torque_falling" in scene.alarms:
        return Wanted("hold_distance", distance_m=here_m, side="ahead")
    if scene.walk is None:
        return _step_by_torque(scene)
    mark = scene.walk.mark_m
    if mark >= scene.limits.stretch_m:
        return Wanted("hold_distance", distance_m=mark)
    if now.distance_m is not None and now.distance_m < mark - TOO_FAR_IN_M:
        return Wanted("hold_distance", distance_m=here_m, side="ahead")
    side = "behind" if scene.side == "behind" else None
    return Wanted("walk_in_to", distance_m=mark, crank_turns=scene.walk.mark_in, side=side)


def _arrive(scene: Scene) -> Wanted:
    """Where nobody measures the end of the way is asked for, not guessed: in to the hooks, and on to the target."""
    choice, limits = _final_turns(scene), scene.limits
    if choice.code == "stop_at_peak":
        return replace(choice, distance_m=limits.hooks_m)
    if choice.code == "keep_cranking":
        return Wanted("walk_in_to", distance_m=limits.hooks_m, torque_Nm=limits.peak_Nm)
    return choice


def _step_by_torque(scene: Scene) -> Wanted:
    """Without turns torque sets the pace: step in while it is there, wait while it is not."""
    now, limits = scene.now, scene.limits
    waits = now.torque_Nm is not None and now.torque_Nm < WAIT_BELOW * limits.stretched_Nm
    if now.distance_m is None:
        return Wanted("hold_distance", side="ahead") if waits else Wanted("walk_in_to")
    if waits:
        return Wanted("hold_distance", distance_m=round(now.distance_m, 2), side="ahead")
    mark_m = mark_of(max(now.distance_m - MARK_GRID_M, limits.hooks_m), limits, inside=True)
    return Wanted("walk_in_to", distance_m=mark_m, crank_turns=BLIND_TURNS)


def _near(now: Moment, limits: Limits) -> bool:
    """Whether the stop may be due: by torque, and by the count where there is one; by either alone once it is there."""
    share = 0.0 if now.torque_Nm is None else now.torque_Nm / limits.peak_Nm
    if not now.counted or now.turns is None:
        return share >= NEAR_PEAK
    of_turns = now.turns / limits.target_turns
    return share >= THERE or of_turns >= NEAR_TURNS or (share >= NEAR_PEAK and of_turns >= FROM_TURNS)


def _final_turns(scene: Scene) -> Wanted:
    now, limits = scene.now, scene.limits
    near = _near(now, limits)
    if near and (scene.stopping or (now.peak_in_s is not None and now.peak_in_s <= scene.stop_lead_s)):
        return Wanted("stop_at_peak", torque_Nm=limits.peak_Nm)
    if "rising_too_fast" in scene.alarms:
        return Wanted("crank_slower")
    speed = now.crank_rev_per_s
    slow = speed is not None and speed < SLOW_REV_PER_S
    stands = now.cranking is False or slow
    nears = now.torque_Nm is not None and now.torque_Nm >= TOWARDS_PEAK * limits.peak_Nm
    there = now.distance_m is None or now.distance_m <= limits.hooks_m + AT_HOOKS_M
    if nears and there and not stands and (scene.slowed or (speed or 0.0) > CALM_TO_PEAK_REV_PER_S):
        return Wanted("crank_slower", torque_Nm=limits.peak_Nm)
    if slow and now.cranking and now.in_phase_s > QUIET_S:
        return Wanted("crank_faster")
    return Wanted("keep_cranking", torque_Nm=limits.peak_Nm, distance_m=limits.hooks_m)


def _back_off(scene: Scene) -> Wanted:
    now, limits = scene.now, scene.limits
    least = STILL_NEAR if now.in_phase_s < MOST_STOPPING_S else 1.0
    if now.torque_Nm is not None and now.torque_Nm >= least * limits.peak_Nm and not stopped_beyond(now):
        return Wanted("stop_at_peak", torque_Nm=limits.peak_Nm)
    if now.torque_Nm is not None:
        stops_in_s = STOPS_IN_S + scene.stop_lead_s - STOP_LEAD_S
        stops_in_s = min(max(stops_in_s, LEAST_STOPS_IN_S), MOST_STOPS_IN_S)
        stops_at_Nm = now.torque_Nm + stops_in_s * min(now.rate_Nm_per_s or 0.0, 0.0)
        near = scene.back_off_left is None or scene.back_off_left <= STOP_WITHIN_TURNS
        near = near or now.torque_Nm <= STOP_BELOW * limits.launch_Nm
        if not scene.off_stopped and near and stops_at_Nm <= TORQUE_RECOVERY_RATIO * limits.launch_Nm:
            return Wanted("back_off", torque_Nm=limits.launch_Nm, crank_turns=0.0)
    left = limits.back_off_turns / limits.ratio if scene.back_off_left is None else scene.back_off_left
    if scene.off_stopped:
        # The rest is told as what it is, half a turn or one; a second stop would come too late for it.
        left = min(left, 1.0)
    left = max(round(left) if left > 2.0 else round(2.0 * left) / 2.0, 0.5)
    return Wanted("back_off", torque_Nm=limits.launch_Nm, crank_turns=left, next_Nm=scene.next_Nm)


def _ready(scene: Scene) -> Wanted:
    marks, now = scene.marks, scene.now
    if scene.relaxed and now.torque_Nm is not None:
        turns = turns_to_take_in(now.torque_Nm, scene.limits)
        crank, launch_Nm = turns / scene.limits.ratio, scene.limits.launch_Nm
        return Wanted("launch_or_wind", None, crank, now.torque_Nm, turns, next_Nm=launch_Nm)
    code = "note_down" if scene.now.in_phase_s >= NOTE_AFTER_S else "launch_ready"
    return Wanted(code, torque_Nm=marks.launch_torque_Nm, turns=marks.launch_turns, peak_Nm=marks.peak_torque_Nm)


_CHOICES: dict[Phase, Callable[[Scene], Wanted]] = {
    Phase.SET_ZERO: _hook_up,
    Phase.STRETCH_OUT: _stretch_out,
    Phase.WIND_STRETCHED: _wind_stretched,
    Phase.WALK_IN: _walk_in,
    Phase.FINAL_TURNS: _final_turns,
    Phase.BACK_OFF: _back_off,
    Phase.READY: _ready,
}


def _limited(scene: Scene) -> bool:
    """Whether a limit was met, now or a moment ago."""
    return not LIMIT_ALARMS.isdisjoint(scene.alarms) or at_a_limit(scene.now, scene.limits)


def wanted(scene: Scene) -> Wanted | None:
    """Return the prompt that fits the moment; None in the phases that want nothing more."""
    phase = scene.now.phase
    if scene.now.by_taps and phase in WINDING | {Phase.BACK_OFF}:
        mark_m = scene.walk.mark_m if scene.walk is not None and phase is Phase.WALK_IN else None
        return by_taps(scene.now, scene.limits, mark_m)
    if phase in WINDING or (phase is Phase.STRETCH_OUT and _limited(scene)):
        stop = _stop(scene)
        if stop is not None:
            return stop
    choice = _CHOICES.get(phase)
    return None if choice is None else choice(scene)
