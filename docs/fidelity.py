"""Makes the tables and the picture of docs/fidelity.md from the code. `python docs/fidelity.py` rewrites both.

`--coverage` measures how often the 90 % interval of the risk holds the truth, over 500 simulated batches a line.
"""

from __future__ import annotations

import math
import random
import sys
from collections.abc import Callable
from dataclasses import fields, replace
from pathlib import Path

from winding_coach.report.svg import PALE, SECOND, Axes, curve, dot, page, words
from winding_coach.rubber.course import back_off_from, course_through, wind_along
from winding_coach.rubber.figures import ModelFigures, MotorFigures, Plan, WinderFigures
from winding_coach.rubber.history import History, advance, relaxed
from winding_coach.rubber.law import DEFAULT_RUBBER, Geometry, Rubber, geometry, torque_Nm
from winding_coach.rubber.motor import before_the_wind, breaking_turns, geometry_of
from winding_coach.rubber.plan import make_plan
from winding_coach.rubber.strength import StrengthPrior, Wound, strength_of
from winding_coach.units import G_PER_IN_KG_PER_M, INCH_M, OZF_IN_NM

DOCS = Path(__file__).parent
HOOKS = 15 * INCH_M
LOOP = 17.5 * INCH_M
MOTOR = MotorFigures(loop_m=LOOP, mass_kg=2.8e-3, use=3, share=1800 / 2024.935)
WINDER, MODEL = WinderFigures(ratio=15.0), ModelFigures(hooks_m=HOOKS)

STATUS = {
    "density_kg_per_m3": "published: natural rubber 910-950",
    "shear_modulus_Pa": "fitted to common practice",
    "invariant_limit": "fitted to common practice",
    "second_term_Pa": "fitted to Treloar 1944",
    "packing": "two round strands give 0.707",
    "break_stretch": "common practice, no source",
    "break_shape": "assumed",
    "hysteresis_share": "fitted to common practice, from the back-off",
    "hysteresis_stretch": "fitted to common practice, from the back-off",
    "rope_friction": "weak: hardly any check value depends on it alone",
    "friction_turns": "assumed",
    "relaxation_per_decade": "from memory: 2-3 % a decade for unfilled natural rubber",
    "softening_ratio": "assumed (form: Ogden & Roxburgh 1999)",
    "softening_energy_Pa": "assumed",
    "softening_growth": "assumed",
    "knot_slope": "assumed",
    "loose_by_slack": "assumed, until logged winds settle it",
    "loose_by_knotting": "assumed, until logged winds settle it",
    "set_limit": "assumed",
    "set_rate": "assumed",
}


def ozf_in(torque: float) -> float:
    return torque / OZF_IN_NM


def plan_of(use: int = 3, share: float = MOTOR.share or 0.9) -> Plan:
    return make_plan(replace(MOTOR, use=use, share=share), WINDER, MODEL)


def wound_at(distance: float, turns: float, stretched: float) -> History:
    """The motor wound at one distance, broken in, 18 turns a second."""
    motor = geometry_of(MOTOR)
    course = course_through(motor, distance, min(HOOKS, 0.99 * distance), stretched, 1.01 * stretched, 18)
    return next(m for m in wind_along(course, before_the_wind(motor, 3, HOOKS), stretched) if m.turns >= turns)


def straight_to(torque: float) -> float:
    """Turns at which a broken-in motor, wound at the hooks from the start, shows a torque."""
    motor = geometry_of(MOTOR)
    now = relaxed(motor, math.inf)
    while now.torque_Nm < torque:
        now = advance(motor, now, HOOKS, now.turns + 2, 2 / 18)
    return now.turns


def held_torque(torque: float) -> tuple[float, float, float]:
    """Walk in so that torque stays: turns on reaching the hooks, the bare law's torque there, torque at 1800 turns."""
    motor = geometry_of(MOTOR)
    course = course_through(motor, 6.5 * LOOP, HOOKS, 900, 1800, 18)
    now = next(m for m in wind_along(course, before_the_wind(motor, 3, HOOKS), 1800) if m.turns >= 900)
    arrived, law = 1800.0, 0.0
    while now.turns < 1800:
        turns = min(1800.0, now.turns + 5)
        low, high = HOOKS, now.distance_m
        for _ in range(40):
            middle = (low + high) / 2
            low, high = (
                (middle, high) if advance(motor, now, middle, turns, 5 / 18).torque_Nm < torque else (low, middle)
            )
        now = advance(motor, now, high, turns, 5 / 18)
        if high - HOOKS < 1e-6 and not law:
            arrived, law = now.turns, ozf_in(torque_Nm(motor, HOOKS, now.turns))
    return arrived, law, ozf_in(now.torque_Nm)


def faster() -> float:
    """Torque over that of the plan, where one walks a tenth of the loop nearer than the plan at 1200 turns."""
    motor, plan = geometry_of(MOTOR), plan_of()
    course = course_through(motor, plan.stretch_distance_m, HOOKS, plan.stretched_turns, plan.target_turns, 18)
    now = next(m for m in wind_along(course, before_the_wind(motor, 3, HOOKS), 1800) if m.turns >= 1200)
    return advance(motor, now, now.distance_m - 0.1 * LOOP, now.turns, 0.5).torque_Nm / now.torque_Nm


def check_rows() -> list[tuple[str, str, str, str]]:
    """Check value, what practice says, what the model gives, deviation or a remark."""
    plan, first, last = plan_of(), plan_of(use=1), plan_of(share=0.9999)
    motor = geometry_of(MOTOR)
    breaks = breaking_turns(motor, HOOKS)
    stretched = [ozf_in(wound_at(x * LOOP, 900, 900).torque_Nm) for x in (6.0, 6.5, 7.0)]
    arrived, bare, after = held_torque(OZF_IN_NM)
    walk = [ozf_in(row.torque_Nm) for row in plan.walk_in]
    straight = straight_to(OZF_IN_NM)
    densities = [breaking_turns(geometry(LOOP, d * G_PER_IN_KG_PER_M), HOOKS) for d in (0.0799, 0.0814)]

    def off(value: float, low: float, high: float | None = None) -> str:
        high = low if high is None else high
        if low <= value <= high:
            return "within"
        if abs(value / low - 1) < 0.0005:
            return "none"
        return f"{value / (low if value < low else high) - 1:+.1%}"

    return [
        ("breaking turns", "2025", f"{breaks:.0f}", off(breaks, 2025)),
        ("the same in turns of a 15:1 winder", "135", f"{breaks / 15:.1f}", off(breaks / 15, 135)),
        (
            "torque after 900 turns at 6, 6.5 and 7 loop lengths",
            "0.9-1.0 ozf·in",
            " / ".join(f"{t:.2f}" for t in stretched),
            " / ".join(off(t, 0.9, 1.0) for t in stretched),
        ),
        (
            "torque while walking in, from full stretch to the hooks",
            "hovers about 1.0",
            f"{walk[0]:.2f} to {walk[-1]:.2f} on the plan's path",
            f"**up to {walk[-1] - 1:+.0%}**, see below",
        ),
        (
            "torque at 1800 turns, hooks 15 in apart",
            "1.80-1.85 ozf·in",
            f"{ozf_in(plan.peak_torque_Nm):.3f} broken in, {ozf_in(first.peak_torque_Nm):.3f} new",
            f"{off(ozf_in(plan.peak_torque_Nm), 1.8, 1.85)}; **new {off(ozf_in(first.peak_torque_Nm), 1.8, 1.85)}**",
        ),
        (
            "the same after a walk-in held at 1.0 ozf·in",
            "1.80-1.85 ozf·in",
            f"{after:.3f} (at the hooks from {arrived:.0f} turns)",
            off(after, 1.8, 1.85),
        ),
        (
            "torque on reaching the hooks after such a walk-in",
            "1.0 ozf·in",
            f"1.00 with history, {bare:.2f} by the law alone",
            f"held; **law alone {bare - 1:+.0%}**",
        ),
        (
            "torque after backing off 45 turns",
            "0.95-1.0 ozf·in",
            f"{ozf_in(plan.launch_torque_Nm):.3f}",
            off(ozf_in(plan.launch_torque_Nm), 0.95, 1.0),
        ),
        ("turns when wound straight to 1.0 ozf·in", "about 1200", f"{straight:.0f}", off(straight, 1200)),
        (
            "turns held after winding high and backing off",
            "about 1750",
            f"{plan.launch_turns:.0f}",
            off(plan.launch_turns, 1750),
        ),
        (
            "end of the full-stretch part, share of target turns",
            "50-60 %",
            f"{plan.stretched_turns / plan.target_turns:.0%}",
            "chosen",
        ),
        (
            "end of the full-stretch part, share of peak torque",
            "50-60 %",
            f"{plan.stretched_torque_Nm / plan.peak_torque_Nm:.0%}",
            off(plan.stretched_torque_Nm / plan.peak_torque_Nm, 0.5, 0.6),
        ),
        ("walking in faster", "drops the torque", f"a tenth of the loop nearer: {faster() - 1:+.0%}", "agrees"),
        (
            "torque at the break",
            "near 2.5 (not practice: this law)",
            f"{ozf_in(last.peak_torque_Nm):.2f}",
            off(ozf_in(last.peak_torque_Nm), 2.5),
        ),
        (
            "three motors of one nominal width, 0.0799-0.0814 g/in",
            "differ",
            f"{densities[0]:.0f} to {densities[1]:.0f} breaking turns",
            "by measured density",
        ),
        (
            "O-rings of the motor of 2.935 g, by its density",
            "not said",
            f"{2.935 - 35 * 0.0814:.3f}-{2.935 - 35 * 0.0799:.3f} g",
            "consistent with light O-rings",
        ),
        (
            "back-off of a newcomer, turns of a 15:1 winder",
            "2-3 (an expert: none)",
            f"{plan.back_off_turns / 15:.1f}",
            "chosen",
        ),
    ]


def exponent_rows() -> list[tuple[str, str, str]]:
    """Scaling exponents by finite differences, at a strand stretch of 8 and a hook distance of 0.8 loops."""

    def exponent(f: Callable[[float], float], at: float) -> float:
        return math.log(f(at * 1.1) / f(at / 1.1)) / (2 * math.log(1.1))

    def turns(loop: float, density: float) -> float:
        return geometry(loop, density).turns(8.0, 0.8 * loop)

    def torque(loop: float, density: float) -> float:
        return torque_Nm(geometry(loop, density), 0.8 * loop, turns(loop, density))

    return [
        ("turns by loop length", "1", f"{exponent(lambda v: turns(v, 2e-3), 0.3):+.6f}"),
        ("turns by linear density", "-1/2", f"{exponent(lambda v: turns(0.3, v), 2e-3):+.6f}"),
        ("torque by loop length", "0", f"{abs(exponent(lambda v: torque(v, 2e-3), 0.3)):.6f}"),
        ("torque by linear density", "3/2", f"{exponent(lambda v: torque(0.3, v), 2e-3):+.6f}"),
    ]


def parameter_rows() -> list[tuple[str, str, str]]:
    """Every parameter of the default rubber with its status."""
    return [(f.name, f"{getattr(DEFAULT_RUBBER, f.name):g}", STATUS[f.name]) for f in fields(Rubber)]


def markdown(heads: tuple[str, ...], rows: list[tuple[str, ...]]) -> str:
    lines = [heads, tuple("---" for _ in heads), *rows]
    return "\n".join(f"| {' | '.join(row)} |" for row in lines)


def tables() -> dict[str, str]:
    """Return each table of the page by the name of its marker."""
    return {
        "checks": markdown(("check value", "practice", "model", "deviation"), [*check_rows()]),
        "exponents": markdown(("exponent", "law", "measured"), [*exponent_rows()]),
        "parameters": markdown(("parameter", "value", "status"), [*parameter_rows()]),
    }


def filled(text: str) -> str:
    """Return the page with its tables made anew."""
    for name, made in tables().items():
        before, _, rest = text.partition(f"<!-- {name} -->\n")
        _, _, after = rest.partition("<!-- end -->")
        text = f"{before}<!-- {name} -->\n{made}\n<!-- end -->{after}"
    return text


def picture() -> str:
    """Return the whole wind as SVG: torque against turns, and the ellipses of equal stretch with the way on them."""
    motor, plan = geometry_of(MOTOR), plan_of()
    course = course_through(motor, plan.stretch_distance_m, HOOKS, plan.stretched_turns, plan.target_turns, 18)
    up = wind_along(course, before_the_wind(motor, 3, HOOKS), plan.target_turns)
    off = back_off_from(course, up[-1])
    return page(
        280,
        120,
        "A whole wind: torque against turns, and hook distance against turns over ellipses of equal stretch",
        [*_torque_part(motor, plan, up, off), *_ellipse_part(motor, course.walk_stretch, up)],
    )


def _torque_part(motor: Geometry, plan: Plan, up: list[History], off: list[History]) -> list[str]:
    axes = Axes(18, 14, 112, 86, 2000, 2.2)
    shown_off = [m for m in off if m.turns > 0.8 * plan.target_turns]
    law = [(m.turns, ozf_in(torque_Nm(motor, m.distance_m, m.turns))) for m in up]
    peak, hooks = axes.at(plan.target_turns, ozf_in(plan.peak_torque_Nm)), plan.walk_in[-1]
    walk = axes.at(plan.stretched_turns, ozf_in(plan.stretched_torque_Nm))
    arrived = axes.at(hooks.turns, ozf_in(hooks.torque_Nm))
    launch = axes.at(plan.launch_turns, ozf_in(plan.launch_torque_Nm))
    return [
        *axes.frame("turns", "torque, ozf·in"),
        curve([axes.at(*point) for point in law], stroke=PALE, dashes="0.6 1"),
        words(*axes.at(1060, 1.3), "law without history (dotted)", 3.2, anchor="end", fill=PALE),
        curve([axes.at(m.turns, ozf_in(m.torque_Nm)) for m in up], width=0.7),
        curve([axes.at(m.turns, ozf_in(m.torque_Nm)) for m in shown_off], width=0.7, stroke=SECOND, dashes="2 1"),
        dot(*walk),
        words(walk[0] + 2, walk[1] + 4, "walk-in begins", 3.2),
        dot(*arrived),
        words(arrived[0] - 2, arrived[1] - 2, "at the hooks", 3.2, anchor="end"),
        dot(*peak),
        words(peak[0] - 2, peak[1] - 1, "stop", 3.2, anchor="end"),
        dot(*launch, fill=SECOND),
        words(launch[0] - 2, launch[1] + 1, "launch", 3.2, anchor="end", fill=SECOND),
    ]


def _ellipse_part(motor: Geometry, walk_stretch: float, up: list[History]) -> list[str]:
    axes = Axes(156, 14, 112, 86, 2200, 10.5)
    parts = axes.frame("turns", "hook distance over loop length")
    for stretch in (6.0, 7.0, walk_stretch, 9.0, DEFAULT_RUBBER.break_stretch):
        around = [i * math.pi / 120 for i in range(61)]
        most = motor.turns(stretch, 0.0)
        points = [axes.at(most * math.sin(a), stretch * math.cos(a)) for a in around]
        breaks = stretch == DEFAULT_RUBBER.break_stretch
        parts.append(curve(points, width=0.5 if breaks else 0.25, stroke=PALE, dashes="" if breaks else "1 1"))
        label = f"breaks at {stretch:.2f}" if breaks else f"{stretch:.1f}"
        parts.append(words(points[6][0], points[6][1] - 1.2, label, 3.0, fill=PALE))
    way = [axes.at(m.turns, m.distance_m / motor.loop_m) for m in up]
    return [
        *parts,
        curve(way, width=0.8),
        dot(*way[0]),
        dot(*way[-1]),
        words(way[-1][0] - 2, way[-1][1] - 2, "stop", 3.2, anchor="end"),
    ]


def coverage(batches: int = 500) -> list[str]:
    """Return how often the 90 % interval of the risk at a stretch of 9.0 holds the truth."""
    draw = random.Random(7)
    prior = StrengthPrior()
    truths: dict[str, Callable[[], tuple[float, float]]] = {
        "drawn from the prior": lambda: (
            prior.median * math.exp(draw.gauss(0, prior.median_sd_log)),
            prior.shape * math.exp(draw.gauss(0, prior.shape_sd_log)),
        ),
        "always 9.2, shape 40": lambda: (9.2, 40.0),
        "always 10.0, shape 55": lambda: (10.0, 55.0),
    }
    lines = []
    for name, truth in truths.items():
        for motors in (3, 10):
            held = 0
            for _ in range(batches):
                median, shape = truth()
                wound = []
                for _ in range(motors):
                    strength = median * (-math.log(draw.random()) / math.log(2)) ** (1 / shape)
                    reached = 9.0 * draw.uniform(0.95, 1.12)
                    wound.append(Wound(min(strength, reached), strength <= reached))
                interval = strength_of(wound).risk(9.0)
                held += interval.low <= 1 - 0.5 ** ((9.0 / median) ** shape) <= interval.high
            lines.append(f"{name}, {motors} motors: {held / batches:.1%} of {batches}")
    return lines


def main(words: list[str]) -> int:
    if words == ["--coverage"]:
        print("\n".join(coverage()))
        return 0
    page_file = DOCS / "fidelity.md"
    page_file.write_text(filled(page_file.read_text(encoding="utf-8")), encoding="utf-8")
    (DOCS / "fidelity.svg").write_text(picture(), encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
