"""Draws the pictures of docs/guides/winding.md from the rubber's model; run this file. The motor is invented."""

from __future__ import annotations

import math
from collections.abc import Iterable
from pathlib import Path

from winding_coach.report.svg import PALE, SECOND, Axes, curve, dot, line, page, words
from winding_coach.rubber.course import Course, back_off_from, wind_along, wind_stretched
from winding_coach.rubber.figures import ModelFigures, MotorFigures, WinderFigures
from winding_coach.rubber.history import History, advance
from winding_coach.rubber.law import DEFAULT_RUBBER
from winding_coach.rubber.motor import before_the_wind, geometry_of
from winding_coach.rubber.plan import make_plan, planned_course

DOCS = Path(__file__).parents[1]
MOTOR = MotorFigures(loop_m=0.30, mass_kg=1.40e-3, orings_kg=0.08e-3, use=3, name="th-07")
WINDER, MODEL = WinderFigures(ratio=10.0), ModelFigures(hooks_m=0.22)
PLAN = make_plan(MOTOR, WINDER, MODEL)
BODY = geometry_of(MOTOR)
HOOKS_M = 0.22
PACE = 12.0
"""Turns of the motor a second."""


def start() -> History:
    """The motor before its wind, broken in."""
    return before_the_wind(BODY, 3, HOOKS_M)


def the_course() -> Course:
    """The plan's course."""
    return planned_course(BODY, HOOKS_M, PLAN.target_turns, WINDER.ratio)


def mNm(torque_Nm: float) -> float:
    """Torque as it is shown."""
    return torque_Nm * 1e3


def shown(axes: Axes, marks: Iterable[History]) -> list[tuple[float, float]]:
    """Torque against turns, on the page."""
    return [axes.at(mark.turns, mNm(mark.torque_Nm)) for mark in marks]


def label(axes: Axes, x: float, y: float, text: str, dx: float = 2.0, dy: float = -2.0, anchor: str = "start") -> str:
    """Words beside a place in a chart."""
    across, down = axes.at(x, y)
    return words(across + dx, down + dy, text, 3.2, anchor=anchor)


def curve_picture() -> str:
    """The whole wind: torque against turns, with its parts."""
    course = the_course()
    up = wind_along(course, start(), PLAN.target_turns)
    down = [mark for mark in back_off_from(course, up[-1]) if mark.turns > 0.93 * PLAN.target_turns]
    axes = Axes(18, 16, 150, 80, 1500, 8)
    parts = axes.frame("turns of the motor", "torque, mN·m")
    parts += [curve(shown(axes, up), width=0.8), curve(shown(axes, down), width=0.8, stroke=SECOND, dashes="2 1")]
    places = (
        (PLAN.stretched_turns, PLAN.stretched_torque_Nm, "2 walk in from here", 2.0, 5.0, "start"),
        (PLAN.walk_in[-1].turns, PLAN.walk_in[-1].torque_Nm, "3 at the hooks: final turns", -2.0, -2.0, "end"),
        (PLAN.target_turns, PLAN.peak_torque_Nm, "4 stop", -2.0, -2.0, "end"),
        (PLAN.launch_turns, PLAN.launch_torque_Nm, "5 backed off, ready to launch", -4.0, 14.0, "end"),
    )
    for turns, torque, text, dx, dy, anchor in places:
        parts += [dot(*axes.at(turns, mNm(torque)), radius=1.1), label(axes, turns, mNm(torque), text, dx, dy, anchor)]
    parts.append(label(axes, 160, 1.1, "1 cranked at full stretch", 2.0, 4.0))
    return page(180, 118, "Torque against turns in a whole wind; invented motor, computed by the model", parts)


def path_picture() -> str:
    """Where to stand at so many turns, over the line at which the motor breaks."""
    course = the_course()
    up = wind_along(course, start(), PLAN.target_turns)
    axes = Axes(18, 16, 150, 80, 1800, 3.0)
    parts = axes.frame("turns of the motor", "hook distance, m")
    for stretch, text in ((course.walk_stretch, "equally taut"), (DEFAULT_RUBBER.break_stretch, "breaks here")):
        most = BODY.turns(stretch, 0.0)
        around = [i * math.pi / 120 for i in range(61)]
        points = [axes.at(most * math.sin(a), stretch * BODY.loop_m * math.cos(a)) for a in around]
        breaks = stretch == DEFAULT_RUBBER.break_stretch
        parts.append(curve(points, width=0.6 if breaks else 0.3, stroke=PALE, dashes="" if breaks else "1 1"))
        at = points[14]
        parts.append(words(at[0] + 2, at[1] - 1.5, text, 3.2, fill=PALE))
    way = [(mark.turns, mark.distance_m) for mark in up]
    parts.append(curve([axes.at(*point) for point in way], width=0.9))
    hooks = PLAN.walk_in[-1]
    for turns, distance, text, dx, dy, anchor in (
        (0.0, PLAN.stretch_distance_m, "stretched out", 2.0, -2.5, "start"),
        (PLAN.stretched_turns, PLAN.stretch_distance_m, "walk in: slow first", -3.0, 6.0, "end"),
        (hooks.turns, hooks.distance_m, "faster at the end; at the hooks", -3.0, -3.0, "end"),
        (PLAN.target_turns, HOOKS_M, "stop", 2.0, -2.5, "start"),
    ):
        parts += [dot(*axes.at(turns, distance), radius=1.1), label(axes, turns, distance, text, dx, dy, anchor)]
    return page(180, 118, "Where to stand at so many turns, over lines of equal strand stretch", parts)


def wound_low(torque_Nm: float) -> list[History]:
    """The motor on a way like the plan's, to the turns at which it shows a torque at the hooks."""
    low, high = 0.4 * PLAN.target_turns, PLAN.target_turns
    marks: list[History] = []
    for _ in range(20):
        target = 0.5 * (low + high)
        marks = wind_along(planned_course(BODY, HOOKS_M, target, WINDER.ratio), start(), target)
        low, high = (low, target) if marks[-1].torque_Nm > torque_Nm else (target, high)
    return marks


def back_off_picture() -> str:
    """The same torque at launch with fewer and with more turns."""
    course = the_course()
    up = wind_along(course, start(), PLAN.target_turns)
    down = [mark for mark in back_off_from(course, up[-1]) if mark.torque_Nm > 0.9 * PLAN.launch_torque_Nm]
    axes = Axes(18, 16, 150, 80, 1500, 8, least_x=500)
    parts = axes.frame("turns of the motor", "torque, mN·m")
    launch = mNm(PLAN.launch_torque_Nm)
    less = wound_low(PLAN.launch_torque_Nm)
    low = less[-1].turns
    left, height = axes.at(500, launch)
    right, _ = axes.at(1500, launch)
    parts += [
        line(left, height, right, height, stroke=PALE, dashes="2 1"),
        words(left + 2, height - 1.5, f"launch torque, {launch:.1f} mN·m", 3.2, fill=PALE),
        curve(shown(axes, (mark for mark in up if mark.turns >= 500)), width=0.8),
        curve(shown(axes, down), width=0.8, stroke=SECOND, dashes="2 1"),
        curve(shown(axes, (mark for mark in less if mark.turns >= 500)), width=0.4),
        dot(*axes.at(low, launch)),
        label(axes, low, launch, f"wound to it: {low:.0f} turns", 2.0, 6.0, "start"),
        dot(*axes.at(PLAN.launch_turns, launch), fill=SECOND),
        label(axes, PLAN.launch_turns, launch, f"wound high, backed off: {PLAN.launch_turns:.0f}", -3.0, 13.0, "end"),
        label(axes, PLAN.target_turns, mNm(PLAN.peak_torque_Nm), "peak", -3.0, 0.0, "end"),
    ]
    return page(180, 118, "The same launch torque with more turns: wound high, then backed off", parts)


def steps_picture() -> str:
    """Torque in the walk-in with small steps and with large ones."""
    axes = Axes(18, 16, 150, 80, 1350, 6, least_x=600)
    parts = axes.frame("turns of the motor", "torque, mN·m")
    for size_m, dashes, text, height in (
        (0.03, "", "solid: steps of 3 cm", 1.3),
        (0.25, "2 1", "dashed: steps of 25 cm", 0.8),
    ):
        parts.append(
            curve(shown(axes, walked_in(size_m)), width=0.5, dashes=dashes, stroke=SECOND if dashes else "#111111")
        )
        parts.append(label(axes, 800, height, text, 0.0, 0.0))
    return page(180, 118, "Torque while walking in, by small steps and by large ones", parts)


def walked_in(size_m: float) -> list[History]:
    """The motor from the end of full stretch to the hooks by steps of one size, taken when the course is that far."""
    course = the_course()
    now = wind_stretched(BODY, start(), course.stretch_distance_m, course.stretched_turns, PACE)[-1]
    marks = [now]
    while now.turns < course.walked_in_turns:
        turns = now.turns + 2.0
        wanted = course.distance_at(turns)
        at = max(course.hooks_m, now.distance_m - size_m) if wanted <= now.distance_m - 0.5 * size_m else now.distance_m
        now = advance(BODY, now, at, turns, 2.0 / PACE)
        marks.append(now)
    return marks


def knots_picture() -> str:
    """Strands that lie straight, one row of knots, a second row: drawn, not computed."""
    parts: list[str] = []
    rows: tuple[tuple[str, tuple[tuple[float, int], ...]], ...] = (
        ("taut: two strands around each other", ((1.6, 22),)),
        ("a row of knots: the rope winds around itself", ((1.2, 120), (4.5, 16))),
        ("a second row on the first", ((0.9, 300), (2.6, 60), (6.0, 9))),
    )
    for row, (text, waves) in enumerate(rows):
        middle = 20 + 34 * row
        steps = max(500, 5 * waves[0][1])
        for strand in (0.0, math.pi):
            points = []
            for i in range(steps + 1):
                share = i / steps
                sway = sum(
                    size * math.sin(2 * math.pi * rounds * share + (0.0 if rank else strand))
                    for rank, (size, rounds) in enumerate(waves)
                )
                points.append((14 + 150 * share, middle + sway))
            parts.append(curve(points, width=0.35, stroke=SECOND if strand else "#111111"))
        parts.append(words(14, middle + 15, text, 3.6))
    return page(180, 112, "Strands, a first row of knots and a second; drawn, not computed", parts)


def pictures() -> dict[str, str]:
    """Return the pictures by file name."""
    return {
        "winding-curve.svg": curve_picture(),
        "winding-path.svg": path_picture(),
        "winding-back-off.svg": back_off_picture(),
        "winding-steps.svg": steps_picture(),
        "winding-knots.svg": knots_picture(),
    }


if __name__ == "__main__":
    for name, picture in pictures().items():
        (DOCS / "pictures" / name).write_text(picture, encoding="utf-8")
    ups = wound_low(PLAN.launch_torque_Nm)[-1].turns
    print(f"wound low {ups:.0f}, backed off {PLAN.launch_turns:.0f}, target {PLAN.target_turns:.0f}")
