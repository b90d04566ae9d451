"""The states that people meet, made by hand (all figures invented), as a stand-in for a session; the screen as text.

Nothing here comes from the simulator or the estimators, so that the pictures change only when the screen does.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from itertools import pairwise

from textual.app import App

from winding_coach.base.standing import Steps, tape_at_m
from winding_coach.coach.curve import Curve
from winding_coach.coach.said import Alarm, AlarmFigures, Level, Phase, Prompt, ReadingSaid, Summary
from winding_coach.coach.view import CoachView, LinkView, Marks, Targets
from winding_coach.coach.wording import alarm_words, in_words
from winding_coach.rubber.figures import MotorFigures, Plan, WalkInRow

PLAN = Plan(
    linear_density_kg_per_m=2.2e-3,
    breaking_turns=1640.0,
    breaking_turns_sd=70.0,
    share=0.8,
    target_turns=1310.0,
    target_crank_turns=131.0,
    peak_torque_Nm=6.78e-3,
    stretch_distance_m=1.81,
    stretched_turns=700.0,
    stretched_torque_Nm=3.95e-3,
    stretched_pull_N=16.6,
    walk_in=(
        WalkInRow(700.0, 70.0, 1.81, 3.95e-3),
        WalkInRow(800.0, 80.0, 1.62, 4.32e-3),
        WalkInRow(900.0, 90.0, 1.42, 4.62e-3),
        WalkInRow(1000.0, 100.0, 1.12, 4.94e-3),
        WalkInRow(1100.0, 110.0, 0.66, 5.26e-3),
        WalkInRow(1150.0, 115.0, 0.22, 5.48e-3),
    ),
    back_off_turns=33.0,
    launch_torque_Nm=3.53e-3,
    launch_turns=1277.0,
    energy_stored_J=11.8,
    break_risk=0.002,
    rests_on="invented figures",
)
MOTOR = MotorFigures(0.30, 1.40e-3, 0.08e-3, name="th-07")
MARKS = ((0.0, 0.0), *((row.turns, row.torque_Nm) for row in PLAN.walk_in), (1310.0, 6.78e-3))
SPEED = 12.5
"""Turns of the motor a second."""
BEGAN_S = 12.0
STARTS = (
    (0.0, None, Phase.SET_ZERO),
    (2.1, 0.0, Phase.STRETCH_OUT),
    (12.0, 20.0, Phase.WIND_STRETCHED),
    (68.0, 700.0, Phase.WALK_IN),
    (104.0, 1150.0, Phase.FINAL_TURNS),
    (117.0, 1310.0, Phase.BACK_OFF),
    (126.0, 1280.0, Phase.READY),
)


@dataclass
class Still:
    """A session that stands still and remembers what was pressed."""

    view: CoachView
    curve: Curve = field(default_factory=Curve)
    replaying: bool = False
    finished: bool = False
    trace_name: str | None = "2026-03-01-140509-th-07.wind.jsonl"
    trouble: str | None = None
    pressed: list[str] = field(default_factory=list)
    started: int = 0
    stopped: int = 0

    def press(self, key_name: str) -> None:
        self.pressed.append(key_name)

    def start(self) -> None:
        self.started += 1

    def stop(self) -> None:
        self.stopped += 1


def torque_at(turns: float) -> float:
    """An invented wind: the plan's torque with a saw tooth in the walk-in, in N·m."""
    for (before, low), (after, high) in pairwise(MARKS):
        if turns <= after:
            straight = low + (high - low) * (turns - before) / (after - before)
            tooth = 2.5e-4 * math.sin(turns / 9.0) - 2e-4 if 700.0 < turns < 1150.0 else 3e-5 * math.sin(turns / 5.0)
            return straight + tooth
    return MARKS[-1][1] + 0.01e-3 * (turns - 1310.0)


def curve_to(turns: float, off: float = 0.0, *, counted: bool = True) -> Curve:
    """The invented wind's points up to so many turns, and so many off again."""
    curve = Curve()
    for number in range(int(turns / 2) + 1):
        curve.add(BEGAN_S + 2 * number / SPEED, 2.0 * number if counted else None, torque_at(2.0 * number))
    for number in range(int(off) + 1):
        fallen = torque_at(turns) * (1.0 - 0.48 * number / 33.0)
        curve.add(BEGAN_S + (turns + 2 * number) / SPEED, turns - number if counted else None, fallen)
    return curve


def _starts(phase: Phase, at_s: float) -> tuple[tuple[float, float | None, Phase], ...]:
    phases = [start[2] for start in STARTS]
    if phase in phases:
        return STARTS[: phases.index(phase) + 1]
    return (*STARTS[:5], (at_s, 1520.0, phase))


def view_at(
    phase: Phase,
    at_s: float,
    torque_mNm: float,
    turns: float | None,
    prompt: Prompt | None,
    *,
    rate: float | None = 0.1e-3,
    band: tuple[float, float] | None = None,
    stand_m: float | None = None,
    goal_mNm: float | None = None,
    to_turns: float | None = None,
    cranking: bool | None = True,
    alarms: tuple[Alarm, ...] = (),
) -> CoachView:
    """A view with a meter that counts the crank."""
    low, high = band or (None, None)
    return CoachView(
        at_s=at_s,
        phase=phase,
        plan=PLAN,
        winder_ratio=10.0,
        units="metric",
        reading=ReadingSaid(
            at_s,
            torque_mNm * 1e-3,
            rate,
            0.01e-3,
            turns,
            "counted" if turns is not None else "unknown",
            None,
            1.25 if cranking else 0.0,
            cranking,
            None if turns is None else max(PLAN.target_turns - turns, 0.0),
            0.004 if turns else None,
        ),
        slow_rate_Nm_per_s=rate,
        stale=False,
        prompt=prompt,
        alarms=alarms,
        targets=Targets(
            None if goal_mNm is None else goal_mNm * 1e-3,
            low,
            high,
            stand_m,
            to_turns,
            None if band is None else 0.075e-3,
        ),
        link=LinkView("up", "/dev/ttyACM0", None, "uno"),
        phase_starts=_starts(phase, at_s),
        tared=phase is not Phase.SET_ZERO,
        motor=MOTOR,
        peak_risk=0.012 if band is not None and turns else None,
    )


def told(at_s: float, code: str, *figures: float | None) -> Prompt:
    """A prompt in the coach's own words: distance, crank turns, torque, turns, peak, and where one stood before."""
    return in_words(Prompt(at_s, code, "", *figures), "metric")


def rung(at_s: float, code: str, level: Level) -> Alarm:
    """An alarm that is on, in the coach's own words."""
    figures = AlarmFigures(4.2e-3, PLAN.peak_torque_Nm, 1.2, 3.2)
    in_s = 3.2 if code == "overwind_soon" else None
    return Alarm(at_s, code, level, True, alarm_words(code, figures, "metric"), in_s, figures)


def _hook_up() -> Still:
    prompt = told(0.0, "tare")
    return Still(view_at(Phase.SET_ZERO, 1.0, 0.06, 0.0, prompt, rate=None, cranking=None))


def _stretch_out() -> Still:
    prompt = told(2.1, "stretch_to", 1.81)
    view = view_at(
        Phase.STRETCH_OUT,
        5.0,
        -0.02,
        0.0,
        prompt,
        rate=-2e-6,
        stand_m=1.81,
        goal_mNm=3.95,
        to_turns=700.0,
        cranking=False,
    )
    return Still(view)


def wind() -> Still:
    prompt = told(12.0, "keep_cranking", 1.81, None, 3.95e-3)
    view = view_at(
        Phase.WIND_STRETCHED,
        60.0,
        3.51,
        610.0,
        prompt,
        rate=0.07e-3,
        band=(0.04e-3, 0.1e-3),
        stand_m=1.81,
        goal_mNm=3.95,
        to_turns=700.0,
    )
    return Still(view, curve_to(610.0))


def walk_in() -> Still:
    prompt = told(88.0, "walk_in_to", 1.22)
    view = view_at(
        Phase.WALK_IN,
        90.0,
        4.36,
        980.0,
        prompt,
        rate=0.44e-3,
        band=(-0.38e-3, 0.45e-3),
        stand_m=1.22,
        goal_mNm=3.95,
        to_turns=1150.0,
    )
    seen = replace(view.reading, distance_m=1.31)
    return Still(replace(view, reading=seen), curve_to(980.0))


def _stalled() -> Still:
    still = walk_in()
    alarm = rung(89.0, "crank_stalled", Level.WARNING)
    reading = replace(still.view.reading, cranking=False, crank_rev_per_s=0.0, torque_rate_Nm_per_s=-0.5e-3)
    prompt = told(89.0, "keep_cranking")
    return replace(still, view=replace(still.view, alarms=(alarm,), reading=reading, prompt=prompt))


def final() -> Still:
    prompt = told(104.0, "keep_cranking", 0.22, None, 6.78e-3)
    alarm = rung(112.0, "overwind_soon", Level.WARNING)
    view = view_at(
        Phase.FINAL_TURNS,
        113.0,
        6.55,
        1285.0,
        prompt,
        rate=0.11e-3,
        band=(0.05e-3, 0.16e-3),
        stand_m=0.22,
        goal_mNm=6.78,
        to_turns=1310.0,
        alarms=(alarm,),
    )
    return Still(view, curve_to(1285.0))


def _danger() -> Still:
    prompt = told(110.0, "stop_at_peak", None, None, 6.78e-3)
    alarms = (
        rung(115.0, "overwind", Level.DANGER),
        rung(116.0, "winder_limit", Level.DANGER),
    )
    view = view_at(
        Phase.FINAL_TURNS, 118.0, 11.4, 1505.0, prompt, rate=0.3e-3, goal_mNm=6.78, to_turns=1310.0, alarms=alarms
    )
    risky = replace(view.reading, break_risk=0.113)
    return Still(replace(view, reading=risky), curve_to(1505.0))


def _back_off() -> Still:
    prompt = told(120.0, "back_off", None, 2.1, 3.53e-3)
    view = view_at(
        Phase.BACK_OFF,
        121.0,
        4.90,
        1297.0,
        prompt,
        rate=-0.4e-3,
        stand_m=0.22,
        goal_mNm=3.53,
        to_turns=1277.0,
    )
    return Still(view, curve_to(1310.0, 13.0))


def _ready() -> Still:
    prompt = told(126.0, "launch_ready", None, None, 3.55e-3, 1280.0)
    view = view_at(Phase.READY, 127.0, 3.55, 1280.0, prompt, rate=-1e-6, stand_m=0.22, goal_mNm=3.53, cranking=False)
    marks = Marks(6.91e-3, 1310.0, 3.55e-3, 1280.0)
    return Still(replace(view, marks=marks), curve_to(1310.0, 30.0))


def done() -> Still:
    still = _ready()
    summary = Summary(
        134.0,
        "done",
        peak_torque_Nm=6.91e-3,
        peak_turns=1310.0,
        backed_off_turns=30.0,
        launch_torque_Nm=3.55e-3,
        launch_turns=1280.0,
        energy_stored_J=12.05,
        stalls=1,
        stalled_s=2.4,
        time_in_rate_band=0.83,
        lost_lines=12,
        duration_s=134.0,
    )
    view = replace(still.view, phase=Phase.DONE, summary=summary, prompt=None, stale=True, at_s=134.0)
    return replace(still, view=view, finished=True)


def _broken() -> Still:
    alarm = rung(118.0, "motor_broke", Level.DANGER)
    summary = Summary(
        121.0,
        "broken",
        peak_torque_Nm=9.8e-3,
        peak_turns=1520.0,
        stalls=0,
        stalled_s=0.0,
        lost_lines=0,
        duration_s=121.0,
    )
    view = view_at(Phase.BROKEN, 121.0, 0.01, 1520.0, None, alarms=(alarm,), cranking=False)
    return Still(replace(view, summary=summary), curve_to(1520.0), finished=True)


def _waiting() -> Still:
    still = _hook_up()
    link = LinkView("down", None, "no meter is plugged in: connect it by USB")
    return replace(still, view=replace(still.view, link=link, stale=True, reading=ReadingSaid(1.0)))


def _silent() -> Still:
    still = walk_in()
    alarm = rung(92.0, "meter_silent", Level.DANGER)
    link = replace(still.view.link, state="silent", reason="no data for 2 seconds")
    return replace(still, view=replace(still.view, link=link, stale=True, alarms=(alarm,)))


def _lost() -> Still:
    still = wind()
    link = LinkView("down", "/dev/ttyACM0", "the meter was unplugged", "uno", lost_lines=12, bad_lines=3, restarts=1)
    return replace(still, view=replace(still.view, link=link, stale=True))


def _uncounted() -> Still:
    still = wind()
    reading = replace(still.view.reading, turns=None, turns_source="unknown", turns_left=None, break_risk=None)
    return replace(still, view=replace(still.view, reading=reading), curve=curve_to(610.0, counted=False))


def _inch() -> Still:
    still = walk_in()
    prompt = in_words(told(88.0, "walk_in_to", 1.22), "inch")
    return replace(still, view=replace(still.view, units="inch", prompt=prompt))


def _by_steps(steps: Steps, prompt: Prompt) -> Still:
    still = walk_in()
    assert prompt.distance_m is not None
    targets = replace(still.view.targets, stand_at_m=prompt.distance_m)
    view = replace(still.view, steps=steps, prompt=in_words(prompt, "metric", steps), targets=targets)
    return replace(still, view=view)


def _tape() -> Still:
    return _by_steps(
        Steps("tape", tape_m=tape_at_m(0.25, 1.81)), told(88.0, "walk_in_to", 1.25, 3.0, None, None, None, 1.5)
    )


def _paces() -> Still:
    return _by_steps(Steps("paces"), told(88.0, "walk_in_to", 1.11, 3.0, None, None, None, 1.46))


def _feet() -> Still:
    return _by_steps(Steps("feet"), told(88.0, "walk_in_to", 1.22, 3.0, None, None, None, 1.32))


def _stopped() -> Still:
    summary = Summary(
        95.0,
        "stopped",
        peak_torque_Nm=4.5e-3,
        peak_turns=980.0,
        stalls=0,
        stalled_s=0.0,
        time_in_rate_band=0.7,
        lost_lines=0,
        duration_s=95.0,
    )
    still = walk_in()
    view = replace(still.view, phase=Phase.STOPPED, summary=summary, prompt=None, stale=True, at_s=95.0)
    return replace(still, view=view, finished=True)


def _lost_for_good() -> Still:
    summary = Summary(
        95.0, "lost", peak_torque_Nm=3.5e-3, peak_turns=610.0, stalls=0, stalled_s=0.0, lost_lines=12, duration_s=95.0
    )
    still = _lost()
    return replace(still, view=replace(still.view, summary=summary, prompt=None), finished=True)


def _trouble() -> Still:
    return replace(wind(), trouble="The trace cannot be written (No space left on device): make room on the disk.")


STATES = {
    "waiting": _waiting,
    "hook-up": _hook_up,
    "stretch-out": _stretch_out,
    "wind": wind,
    "uncounted": _uncounted,
    "walk-in": walk_in,
    "stalled": _stalled,
    "final": final,
    "danger": _danger,
    "back-off": _back_off,
    "ready": _ready,
    "done": done,
    "broken": _broken,
    "silent": _silent,
    "lost": _lost,
    "replaying": lambda: replace(wind(), replaying=True, trace_name=None),
    "trouble": _trouble,
    "inch": _inch,
    "tape": _tape,
    "paces": _paces,
    "feet": _feet,
    "stopped": _stopped,
    "lost-for-good": _lost_for_good,
}


def state(name: str) -> Still:
    """One of `STATES` by name."""
    return STATES[name]()


def shown(app: App[None]) -> str:
    """The screen as lines of text, without colours, trailing blanks cut."""
    lines = app.screen._compositor.render_strips(app.size)
    return "\n".join("".join(segment.text for segment in strip).rstrip() for strip in lines) + "\n"
