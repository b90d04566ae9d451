"""What the page for browsers shows, as one JSON object made from a view. Pure; figures come ready as words."""

from __future__ import annotations

from typing import Any

from winding_coach.base.standing import place_words
from winding_coach.base.units import SHOWN, UNITS, show, unit_label
from winding_coach.coach.view import CoachView
from winding_coach.screen.chart import Points, planned_path
from winding_coach.screen.figures import (
    alarm_text,
    big_word,
    clock_words,
    instruction,
    label_rows,
    noted_torque,
    peak_aim_Nm,
    rate_word,
    signed_rate,
    stand_at_m,
    torque_figure,
)
from winding_coach.screen.sheet import cell_safe
from winding_coach.screen.wording import (
    LETTING_DOWN_STEPS,
    LINK_WORDS,
    PHASE_BLOCKS,
    SIMULATED_BOARD,
    SOURCE_WORDS,
    STEPS,
)

MOST_POINTS = 300


def page_object(
    view: CoachView, points: Points, trace_name: str | None, trouble: str | None, queue: tuple[str, ...] = ()
) -> dict[str, Any]:
    """Return everything the page shows. Torque in the chart is in the unit shown; null is not known.

    queue: a heading and those who are next.
    """
    big, (alarm, level) = big_word(view), alarm_text(view, trouble)
    one = UNITS["torque"][SHOWN[view.units]["torque"][0]]
    goal, turns, stand_m = view.targets.torque_Nm, view.reading.turns, stand_at_m(view)
    by_turns = bool(points) and points[-1][1] is not None
    thin = -(-len(points) // MOST_POINTS) or 1
    kept = [*points[::thin], *points[-1:]]
    wound = [(at if by_turns else at_s, torque / one) for at_s, at, torque in kept]
    plan, steps = view.plan, LETTING_DOWN_STEPS if view.letting_down else STEPS
    return {
        "at": clock_words(view.at_s),
        "link": LINK_WORDS[view.link.state] + (", simulated" if view.link.meter == SIMULATED_BOARD else ""),
        "trace": cell_safe(trace_name or ""),
        "word": big.text,
        "word_unit": big.unit,
        "urgent": big.role == "danger word",
        "prompt": cell_safe(instruction(view)),
        "alarm": cell_safe(alarm),
        "level": level if alarm else "",
        "torque": torque_figure(view).strip(),
        "live": not view.stale or noted_torque(view) is not None,
        "unit": unit_label("torque", view.units),
        "goal": "" if goal is None else f"target {show(goal, 'torque', view.units)}",
        "rate": f"{signed_rate(view).strip()} {unit_label('torque', view.units)}/s, {rate_word(view)}",
        "turns": f"{'--' if turns is None else f'{turns:.0f}'} turns, {SOURCE_WORDS[view.reading.turns_source]}",
        "stand": "" if stand_m is None else place_words(stand_m, view.units, view.steps),
        "steps": [PHASE_BLOCKS[phase].lower() for phase in steps],
        "step": steps.index(view.phase) if view.phase in steps else len(steps),
        "queue": [cell_safe(line) for line in queue],
        "wrapper": [] if view.summary is None else label_rows(view, view.summary),
        "chart": {
            "axis": "turns" if by_turns else "seconds",
            "wound": [(round(x, 2), round(y, 4)) for x, y in wound if x is not None],
            "plan": [(round(x, 1), round(y / one, 4)) for x, y in planned_path(view)] if by_turns else [],
            "peak": round(peak_aim_Nm(view) / one, 4),
            "launch": round(plan.launch_torque_Nm / one, 4),
            "right": plan.target_turns * 1.05 if by_turns else 120.0,
        },
    }
