"""Makes the tables and the picture of docs/evidence/fidelity.md; running this file rewrites both.

`--coverage` measures how often the 90 % interval of the risk holds the truth, over 500 simulated batches a line.
"""

from __future__ import annotations

import math
import random
import sys
from collections.abc import Callable
from dataclasses import fields, replace
from pathlib import Path

DOCS = Path(__file__).parents[1]
sys.path.insert(0, str(DOCS.parent))

from tests.rubber.evidence import HOOKS_M, SHARE, Row, fitted_rows, independent_rows, ozf_in, plan_of  # noqa: E402
from tests.rubber.motors import FIFTEEN_TO_ONE, KNOWN, KNOWN_MODEL, TEN_TO_ONE, TH_07, THISTLEDOWN  # noqa: E402
from winding_coach.report.svg import PALE, SECOND, Axes, curve, dot, page, words  # noqa: E402
from winding_coach.rubber.course import back_off_from, course_through, wind_along  # noqa: E402
from winding_coach.rubber.figures import Plan  # noqa: E402
from winding_coach.rubber.held import walked_even, walked_held  # noqa: E402
from winding_coach.rubber.history import History  # noqa: E402
from winding_coach.rubber.law import DEFAULT_RUBBER, Geometry, Rubber, geometry, torque_Nm  # noqa: E402
from winding_coach.rubber.motor import before_the_wind, geometry_of  # noqa: E402
from winding_coach.rubber.plan import make_plan  # noqa: E402
from winding_coach.rubber.strength import StrengthPrior, Wound, strength_of  # noqa: E402

MOTOR, HOOKS = replace(KNOWN, share=SHARE), HOOKS_M

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
    "hysteresis_from": "assumed; published crystals begin at 4.5 to 5.2",
    "hysteresis_full": "assumed",
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


def evidence(rows: list[Row], last: str) -> str:
    heads = ("kind", "what", "outside", "law", "agreement", last)
    return markdown(heads, [(row.kind, row.what, row.says, row.law, row.verdict, row.source) for row in rows])


def onset_rows() -> list[tuple[str, str, str]]:
    """What the plan of the check values becomes when unloading loses stress only from a later stretch on."""
    rows = []
    for begins, full in ((1.5, 4.5), (3.0, 5.2), (4.5, 5.2), (5.2, 5.9)):
        rubber = replace(DEFAULT_RUBBER, hysteresis_from=begins, hysteresis_full=full)
        plan = make_plan(MOTOR, FIFTEEN_TO_ONE, KNOWN_MODEL, rubber=rubber)
        per_gram = plan.energy_stored_J / (1e3 * MOTOR.mass_kg)
        rows.append((f"{begins:g}, {full:g}", f"{per_gram:.1f} J/g", f"{ozf_in(plan.launch_torque_Nm):.3f} ozf·in"))
    return rows


def ways_rows() -> list[tuple[str, ...]]:
    """The two ways in of th-07, judged under each law of loosening."""
    motor = replace(TH_07, use=3)
    plan, body = make_plan(motor, TEN_TO_ONE, THISTLEDOWN), geometry_of(motor)
    hooks = plan.walk_in[-1].distance_m
    course = course_through(body, plan.stretch_distance_m, hooks, plan.stretched_turns, plan.target_turns, 12.0)
    start = before_the_wind(body, 3, hooks)
    rows = []
    for name, way in (("even", walked_even(course, start, plan)), ("torque held", walked_held(course, start, plan))):
        risks = (f"{risk:.1%}" for risk in way.risk.values())
        rows.append((name, *risks, f"{way.arrived_turns:.0f}", f"{way.jump:.0%}"))
    return rows


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
        "independent": evidence(independent_rows(), "source"),
        "fitted": evidence(fitted_rows(), "by"),
        "onset": markdown(
            ("hysteresis from, in full from", "energy given back", "torque after the back-off"), onset_rows()
        ),
        "ways": markdown(
            ("way in", "A: any slack", "B: long steps", "C: crank stopped", "at the hooks, turns", "climb in 15 turns"),
            [*ways_rows()],
        ),
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
    page_file = DOCS / "evidence" / "fidelity.md"
    page_file.write_text(filled(page_file.read_text(encoding="utf-8")), encoding="utf-8")
    (DOCS / "pictures" / "fidelity.svg").write_text(picture(), encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
