"""A plan in, a printable page out: what to do in order, the walk-in table, a chart. To be taped to the winding stand.

Figures that are read in the walk-in are 5.8 mm high at least: 20 minutes of arc at a metre (NUREG-0700).
"""

from __future__ import annotations

from collections.abc import Sequence

from winding_coach.base.standing import Steps, length_figure, length_unit, length_words, place_figure, tape_words
from winding_coach.base.units import UNITS, UnitSystem, show, show_energy, show_pull, shown_number, unit_label
from winding_coach.report.svg import PALE, SECOND, Axes, clean, curve, dot, line, page, words
from winding_coach.rubber.figures import ModelFigures, MotorFigures, Plan, WalkInRow, WinderFigures
from winding_coach.rubber.path import PlanPath
from winding_coach.rubber.spread import Spread

WIDTH_MM, HEIGHT_MM = 210.0, 297.0
BIG = 8.1
"""Font size whose digits are 5.8 mm high."""
CAUTION = (
    "A stretched, wound motor can hurt eyes and hands: wear eye protection, keep within the ratings of",
    "winder and hooks, keep others out of the motor's line. The adult in charge comes first.",
)


def card_svg(
    plan: Plan,
    motor: MotorFigures,
    winder: WinderFigures,
    model: ModelFigures,
    spread: Spread,
    units: UnitSystem,
    by_steps: tuple[Steps, Sequence[WalkInRow]] | None = None,
) -> str:
    """Return the card as an SVG page of A4. by_steps: the person's own unit of standing and the walk-in in it."""
    name = f"Motor {motor.name}" if motor.name else "Winding plan"
    title = name + (f" for {model.name}" if model.name else "")
    head = [
        # A letter is about half as wide as high: a long name is set smaller rather than cut.
        words(12, 18, title, round(min(9.0, 186.0 / (0.58 * len(title))), 2), bold=True),
        words(
            12,
            26,
            f"loop {show(motor.loop_m, 'length', units)} · {motor.strands} strands ·"
            f" {show(plan.linear_density_kg_per_m, 'linear density', units)} · wind {motor.use} ·"
            f" {plan.share:.0%} of {plan.breaking_turns:.0f} turns · winder {winder.ratio:g}:1",
            4.2,
        ),
        line(12, 30, 198, 30),
    ]
    tape = "" if by_steps is None or by_steps[0].unit != "tape" else tape_words(by_steps[0], units)
    parts = [*head, *_steps(plan, units), *_chart(plan, motor, units), *_foot(plan, spread, units, tape)]
    walk_in = _walk_in(plan, units) if by_steps is None else _own_walk_in(*by_steps, units)
    return page(WIDTH_MM, HEIGHT_MM, title, [*parts, *walk_in])


def card_html(svg: str) -> str:
    """Return a page for a browser that prints the card on one sheet."""
    title = svg.partition("<title>")[2].partition("</title>")[0] or clean("Winding plan")
    return (
        f'<!DOCTYPE html>\n<html lang="en">\n<head><meta charset="utf-8"><title>{title}</title>\n'
        "<style>@page { size: A4; margin: 0 } body { margin: 0 } svg { max-width: 100%; height: auto }</style></head>\n"
        f"<body>\n{svg}</body>\n</html>\n"
    )


def _steps(plan: Plan, units: UnitSystem) -> list[str]:
    ratio = plan.target_turns / plan.target_crank_turns
    hooks = plan.walk_in[-1].distance_m
    steps = (
        (
            f"Stretch to {length_words(plan.stretch_distance_m, units)}",
            f"pull up to {show_pull(plan.stretched_pull_N, units)}",
        ),
        (f"Crank {plan.stretched_turns / ratio:.1f} turns", f"{show(plan.stretched_torque_Nm, 'torque', units)}"),
        (f"Walk in to {length_words(hooks, units)}", f"cranking, to {plan.walk_in[-1].crank_turns:.1f}"),
        (
            f"Crank to {plan.target_crank_turns:.1f} crank turns",
            f"stop at {show(plan.peak_torque_Nm, 'torque', units)}",
        ),
        (f"Back off {plan.back_off_turns / ratio:.1f} turns", f"launch {show(plan.launch_torque_Nm, 'torque', units)}"),
    )
    parts = []
    for i, (what, then) in enumerate(steps):
        y = 42.0 + 11.0 * i
        parts += [
            words(12, y, f"{i + 1}", BIG, bold=True, fill=SECOND),
            words(22, y, what, BIG, bold=True),
            words(198, y, then, BIG, anchor="end"),
        ]
    return [*parts, line(12, 91, 198, 91)]


def _walk_in(plan: Plan, units: UnitSystem) -> list[str]:
    parts = [
        words(34, 99, "crank turns", 4.2, anchor="end"),
        words(68, 99, f"position, {length_unit(units)}", 4.2, anchor="end"),
        words(102, 99, f"torque, {unit_label('torque', units)}", 4.2, anchor="end"),
    ]
    pitch, size = _pitch(len(plan.walk_in))
    for i, row in enumerate(plan.walk_in):
        y = 108.0 + pitch * i
        parts += [
            words(34, y, f"{row.crank_turns:.1f}", size, anchor="end"),
            words(68, y, length_figure(row.distance_m, units), size, anchor="end", bold=True),
            words(102, y, shown_number(row.torque_Nm, "torque", units), size, anchor="end"),
        ]
    return parts


def _pitch(rows: int) -> tuple[float, float]:
    """Return from row to row, and a size whose digits leave air between them."""
    pitch = min(9.5, 120.0 / rows)
    return pitch, round(min(BIG, (pitch - 1.4) / 0.72), 2)


def _own_walk_in(steps: Steps, rows: Sequence[WalkInRow], units: UnitSystem) -> list[str]:
    """The walk-in by the person's own steps: the place large, what is beside it and the length small."""
    parts = [
        words(12, 99, "place", 4.2),
        words(54, 99, f"at, {length_unit(units)}", 4.2, anchor="end"),
        words(78, 99, "crank turns", 4.2, anchor="end"),
        words(105, 99, f"torque, {unit_label('torque', units)}", 4.2, anchor="end"),
    ]
    pitch, size = _pitch(len(rows))
    for i, row in enumerate(rows):
        y = 108.0 + pitch * i
        figure, beside = place_figure(row.distance_m, units, steps)
        parts += [
            words(23, y, figure, size, anchor="end", bold=True),
            words(24, y, beside, 3.2),
            words(54, y, length_figure(row.distance_m, units), 4.2, anchor="end"),
            words(78, y, f"{row.crank_turns:.1f}", size, anchor="end"),
            words(105, y, shown_number(row.torque_Nm, "torque", units), size, anchor="end"),
        ]
    return parts


def _chart(plan: Plan, motor: MotorFigures, units: UnitSystem) -> list[str]:
    """Torque against crank turns, the way up and the back-off, and where to stand."""
    path = PlanPath(plan, motor)
    ratio = plan.target_turns / plan.target_crank_turns
    # The chart's torque is in the unit that is shown.
    one = _shown_unit(units)
    axes = Axes(120, 112, 76, 76, 1.06 * plan.target_crank_turns, 1.12 * plan.peak_torque_Nm / one)
    up = [(plan.target_turns * i / 100) for i in range(101)]
    off = [plan.back_off_turns * i / 20 for i in range(21)]
    stretched = axes.at(plan.stretched_turns / ratio, plan.stretched_torque_Nm / one)
    walked = axes.at(plan.walk_in[-1].crank_turns, plan.walk_in[-1].torque_Nm / one)
    peak = axes.at(plan.target_crank_turns, plan.peak_torque_Nm / one)
    launch = axes.at(plan.launch_turns / ratio, plan.launch_torque_Nm / one)
    return [
        *axes.frame("crank turns", f"torque, {unit_label('torque', units)}", 3.6),
        curve([axes.at(n / ratio, path.torque_at(n) / one) for n in up], width=0.7),
        curve(
            [axes.at((plan.target_turns - n) / ratio, path.back_off_torque_at(n) / one) for n in off],
            width=0.7,
            stroke=SECOND,
            dashes="2 1",
        ),
        dot(*stretched),
        words(stretched[0] + 2, stretched[1] + 4, "walk in", 3.6),
        dot(*walked),
        words(walked[0] - 2, walked[1] - 2, "at the hooks", 3.6, anchor="end"),
        dot(*peak),
        words(peak[0] - 2, peak[1] - 1, "stop", 3.6, anchor="end"),
        dot(*launch, fill=SECOND),
        words(launch[0] - 2, launch[1] + 4, "launch", 3.6, anchor="end", fill=SECOND),
    ]


def _shown_unit(units: UnitSystem) -> float:
    return UNITS["torque"]["mN.m" if units == "metric" else "ozf.in"]


def _foot(plan: Plan, spread: Spread, units: UnitSystem, tape: str) -> list[str]:
    together = spread.together
    said = [
        f"Breaks at {plan.breaking_turns:.0f} ± {together.breaking_turns:.0f} turns; chance to break on the way to the"
        f" stop {plan.break_risk:.1%}. Torque at the stop ± {show(together.peak_torque_Nm, 'torque', units)}.",
        f"Gives back {show_energy(plan.energy_stored_J, units)} from {plan.launch_turns:.0f} turns."
        f" Based on {plan.rests_on}.",
        *([tape] if tape else []),
        *plan.limits,
    ]
    lines = [piece for sentence in said for piece in _wrapped(sentence, 110)]
    parts = [line(12, 235, 198, 235)]
    pitch = min(4.6, 37.0 / len(lines))
    parts += [words(12, 241 + pitch * i, text, round(0.8 * pitch, 2)) for i, text in enumerate(lines)]
    parts += [words(12, 283 + 5.0 * i, text, 3.8, bold=True) for i, text in enumerate(CAUTION)]
    parts.append(line(12, 278, 198, 278, stroke=PALE))
    return parts


def _wrapped(text: str, most: int) -> list[str]:
    lines = [""]
    for word in text.split():
        if lines[-1] and len(lines[-1]) + 1 + len(word) > most:
            lines.append("")
        lines[-1] = f"{lines[-1]} {word}".strip()
    return lines
