"""Draws docs/pictures/coaching-coached.svg and coaching-alone.svg: `python docs/made_by/coaching.py`.

One simulated motor, wound by a beginner with the coach and by one without: torque and distance over turns.
"""

from __future__ import annotations

import sys
from pathlib import Path

PICTURES = Path(__file__).parents[1] / "pictures"
sys.path.insert(0, str(PICTURES.parents[1]))

from tests.bench.people import Cell, Result, draw, wind  # noqa: E402
from tests.scenario import MOTOR, PLAN  # noqa: E402
from winding_coach.coach.said import Phase  # noqa: E402
from winding_coach.coach.step import Coach  # noqa: E402
from winding_coach.report.svg import PALE, SECOND, curve, line, page, words  # noqa: E402
from winding_coach.rubber.path import PlanPath  # noqa: E402
from winding_coach.simulator.bench import Truth  # noqa: E402

SEED = 3_000_004
WIDE, HIGH, LEFT, TOP, TALL, GAP = 180.0, 128.0, 16.0, 20.0, 46.0, 12.0
MOST_TURNS, MOST_NM, MOST_M = 1500.0, 8.5e-3, 2.0
_PATH = PlanPath(PLAN, MOTOR)


def across(turns: float) -> float:
    """Return where so many turns are, in mm."""
    return LEFT + (WIDE - LEFT - 6.0) * turns / MOST_TURNS


def up(value: float, most: float, top: float) -> float:
    """Return the height of a value in the chart that begins at `top`, in mm."""
    return top + TALL * (1.0 - value / most)


def frame(top: float, most: float, step: float, unit: str, scale: float) -> list[str]:
    """Return axes with marks."""
    parts = [line(LEFT, top + TALL, WIDE - 6.0, top + TALL), line(LEFT, top, LEFT, top + TALL)]
    value = 0.0
    while value <= most + 1e-12:
        parts.append(words(LEFT - 1.5, up(value, most, top) + 1.2, f"{value * scale:g}", 3.2, anchor="end"))
        value += step
    parts.append(words(LEFT, top - 2.0, unit, 3.2))
    return parts


def picture(cell: Cell, title: str) -> str:
    """Wind once and draw it."""
    seen: list[Truth] = []
    prompts: list[tuple[float, str]] = []

    def looked(coach: Coach, truth: Truth) -> None:
        seen.append(truth)
        prompt = coach.view.prompt
        walks = prompt is not None and coach.view.phase is Phase.WALK_IN
        if cell.coached and walks and prompt is not None and (not prompts or prompts[-1][1] != prompt.code):
            prompts.append((truth.turns, prompt.code))

    result = wind(cell, SEED, looked=looked)
    scale = draw(cell, SEED).scale
    hooked = [truth for truth in seen if truth.hooked]
    second = TOP + TALL + GAP
    planned = [10.0 * number for number in range(int(PLAN.target_turns / 10) + 1)]
    peak = up(scale * PLAN.peak_torque_Nm, MOST_NM, TOP)
    launch = up(PLAN.launch_torque_Nm, MOST_NM, TOP)
    parts = [
        words(LEFT, 7.0, title, 5.0, bold=True),
        words(LEFT, 12.5, told(result), 3.3),
        *frame(TOP, MOST_NM, 2e-3, "torque, mN·m", 1e3),
        *frame(second, MOST_M, 0.5, "distance between the hooks, m", 1.0),
        line(LEFT, peak, WIDE - 6.0, peak, stroke=PALE, dashes="1 1"),
        words(WIDE - 6.0, peak - 1.0, "this motor's own peak", 3.0, anchor="end", fill=PALE),
        line(LEFT, launch, WIDE - 6.0, launch, stroke=PALE, dashes="1 1"),
        words(WIDE - 6.0, launch - 1.0, "launch", 3.0, anchor="end", fill=PALE),
        curve([(across(n), up(scale * _PATH.torque_at(n), MOST_NM, TOP)) for n in planned], stroke=PALE, width=0.5),
        curve([(across(n), up(_PATH.distance_at(n), MOST_M, second)) for n in planned], stroke=PALE, width=0.5),
        curve([(across(t.turns), up(t.torque_Nm, MOST_NM, TOP)) for t in hooked], stroke=SECOND, width=0.5),
        curve([(across(t.turns), up(t.distance_m, MOST_M, second)) for t in hooked], stroke=SECOND, width=0.5),
        *(line(across(n), second + TALL, across(n), second + TALL - 2.5) for n, _ in prompts),
        *(
            words(across(n), second + TALL + 5.0, f"{n:.0f}", 3.2, anchor="middle")
            for n in (0.0, 250.0, 500.0, 750.0, 1000.0, 1250.0, 1500.0)
        ),
        words(
            WIDE - 6.0,
            second + TALL + 10.0,
            "turns of the motor (grey: the plan; ticks: advice changed)",
            3.2,
            anchor="end",
        ),
    ]
    return page(WIDE, HIGH + 12.0, title, parts)


def told(result: Result) -> str:
    """Return the figures of a wind in a line."""

    def of(value: float | None) -> str:
        return "not reached" if value is None else f"{value:.1%}"

    return (
        f"peak {of(result.peak)} of its own, launch torque {of(result.launch)}, turns held {of(result.held)},"
        f" in the rate band {of(result.in_band)}, stalled {result.stalled_s:.1f} s"
        + (", broke" if result.broken else "")
    )


def main() -> None:
    """Write both pictures."""
    for name, cell, title in (
        ("coached", Cell("beginner", True), "A beginner with the coach (simulated)"),
        ("alone", Cell("beginner", False), "The same motor, a beginner alone (simulated)"),
    ):
        (PICTURES / f"coaching-{name}.svg").write_text(picture(cell, title), encoding="utf-8")


if __name__ == "__main__":
    main()
