"""The winding plan of a motor: where to stand, how far to crank, what torque to expect, and how sure that is.

example:
  winding-coach plan --loop "30 cm" --mass 1.40g --orings 0.08g --use 1 --ratio 10 --hooks "22 cm"

--card FILE.svg or FILE.html writes a page to print and tape to the winding stand. --steps tape says where to put
numbered tape marks on the floor, and what each stands for; wind, practice and replay then send you from mark to mark:
  winding-coach plan --loop "30 cm" --mass 1.40g --orings 0.08g --steps tape
"""

from __future__ import annotations

import argparse
import json
import math
from dataclasses import asdict, dataclass, replace
from itertools import pairwise
from pathlib import Path
from statistics import fmean
from textwrap import wrap
from typing import Any

from winding_coach.coach.band import RateBand
from winding_coach.coach.limits import limits_from
from winding_coach.coach.said import Phase
from winding_coach.coach.settings import CoachSettings
from winding_coach.command_line.batch import batch_from
from winding_coach.command_line.figures import (
    MOST_STRANDS,
    Figures,
    add_motor_arguments,
    figures_from,
    motor_words,
    winder_words,
)
from winding_coach.command_line.from_shelf import pick, tell
from winding_coach.command_line.home import Home, add_common_arguments, home_from, units_from
from winding_coach.command_line.problem import Problem, UsageProblem
from winding_coach.command_line.settings import add_steps_arguments, fill_in, steps_from
from winding_coach.command_line.typed import number, quantity, whole
from winding_coach.meter.calibration import SIMULATED
from winding_coach.rubber.batch import FittedBatch
from winding_coach.rubber.doubts import doubts_of
from winding_coach.rubber.figures import FiguresError, Plan, WalkInRow
from winding_coach.rubber.law import DEFAULT_RUBBER
from winding_coach.rubber.path import PlanPath
from winding_coach.rubber.plan import DEFAULT_RESTS_ON, LOOP_SD_M, MASS_SD_KG, make_plan, share_for_risk
from winding_coach.rubber.plan_json import plan_to_json_dict
from winding_coach.rubber.spread import TORQUE_SD, Spread, spread_of
from winding_coach.rubber.stops import rows_at
from winding_coach.rubber.strength import LEVEL, Estimate, strength_of
from winding_coach.standing import USUAL, Steps, pace_words, paces_in, place_words, tape_words
from winding_coach.units import GF_CM_NM, SHOWN, UnitSystem, show, shown_number, unit_label

TOLD_APART = ("feet", "paces", "tape")
"""Units of standing that the table shows beside the length."""
RATES_OF = {
    Phase.WIND_STRETCHED: "while stretched",
    Phase.WALK_IN: "in the walk-in",
    Phase.FINAL_TURNS: "to the peak",
}
PLACES = 16
"""A rate of a phase is its mean over so many places."""


@dataclass(frozen=True, slots=True)
class ModerateRate:
    """Torque rise in one phase, on average: what a turn of the crank brings by the plan, and the band a second that is
    moderate, as gauge and alarms have it."""

    phase: Phase
    per_crank_turn_Nm: float
    low_Nm_per_s: float
    high_Nm_per_s: float


@dataclass(frozen=True, slots=True)
class Planned:
    """A plan with what goes with it: the figures, how far it may be off, the risk with its interval.

    stops: the walk-in by the person's own steps, farthest first.
    """

    plan: Plan
    figures: Figures
    spread: Spread
    risk: Estimate
    steps: Steps
    stops: tuple[WalkInRow, ...]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of `plan`."""
    add_motor_arguments(parser)
    add_steps_arguments(parser)
    more = parser.add_argument_group("how sure it is")
    more.add_argument("--strip", metavar="LENGTH", help="length of the strip before it was tied, in place of --loop")
    more.add_argument("--risk", metavar="PERCENT", help="plan for this chance to break, in place of --share")
    more.add_argument("--loop-error", metavar="LENGTH", help="standard error of the loop's length (2 mm)")
    more.add_argument("--mass-error", metavar="MASS", help="standard error of the mass (0.01 g)")
    more.add_argument("--meter-limit", metavar="TORQUE", help="what the meter is rated for")
    out = parser.add_argument_group("what comes out")
    out.add_argument("--json", action="store_true", help="one JSON object, SI units")
    out.add_argument("--card", metavar="FILE", help="write a page to print: FILE.svg or FILE.html")
    add_common_arguments(parser)


def run(args: argparse.Namespace) -> int:
    """Print the plan of a motor."""
    home = home_from(args)
    units = units_from(args, home)
    if args.card is not None and Path(args.card).suffix.lower() not in (".svg", ".html"):
        raise UsageProblem(f"--card: '{args.card}' must end in .svg or .html.")
    planned = planned_from(args, home, units)
    if args.card is not None:
        _write_card(Path(args.card), planned, units)
    if args.json:
        print(json.dumps(as_json(planned), ensure_ascii=False))
    else:
        tell(doubts_of(planned.plan, planned.figures.motor, planned.figures.model, units))
        print(as_text(planned, units))
        if args.card is not None:
            print(f"\nThe card is in {args.card}.")
    return 0


def planned_from(args: argparse.Namespace, home: Home, units: UnitSystem) -> Planned:
    """Return the plan that the arguments ask for.

    Raises:
        UsageProblem: figures that cannot be.
        Problem: the batch cannot be read.
    """
    if args.strip is not None:
        _loop_from_strip(args, units)
    tell(pick(args, home).doubts)
    fill_in(args, home)
    figures = figures_from(args, units)
    made = batch_from(args, home)
    meter_limit = None
    if args.meter_limit is not None:
        meter_limit = quantity("--meter-limit", args.meter_limit, "torque", units)
    loop_sd = LOOP_SD_M if args.loop_error is None else quantity("--loop-error", args.loop_error, "length", units)
    mass_sd = MASS_SD_KG if args.mass_error is None else quantity("--mass-error", args.mass_error, "mass", units)
    try:
        if args.risk is not None:
            figures = _for_risk(args, figures, made)
        planned = _planned(figures, made, units, meter_limit, loop_sd, mass_sd)
        return _with_steps(planned, steps_from(args, units, planned.plan), made)
    except FiguresError as error:
        raise UsageProblem(str(error)) from None


def _planned(
    figures: Figures,
    made: FittedBatch | None,
    units: UnitSystem,
    meter_limit_Nm: float | None,
    loop_sd_m: float,
    mass_sd_kg: float,
) -> Planned:
    rubber = DEFAULT_RUBBER if made is None else made.rubber
    plan = make_plan(
        figures.motor,
        figures.winder,
        figures.model,
        rubber=rubber,
        room_m=figures.room_m,
        meter_limit_Nm=meter_limit_Nm,
        units=units,
        rests_on=DEFAULT_RESTS_ON if made is None else made.rests_on,
    )
    torque_sd = TORQUE_SD if made is None else math.hypot(made.scale.sd, made.scale.spread)
    spread = spread_of(
        plan, figures.motor, rubber=rubber, loop_sd_m=loop_sd_m, mass_sd_kg=mass_sd_kg, torque_sd=torque_sd
    )
    plan = replace(plan, breaking_turns_sd=spread.together.breaking_turns)
    strength = strength_of(()) if made is None else made.strength
    risk = strength.risk(rubber.stretch_at_risk(plan.break_risk))
    return Planned(plan, figures, spread, risk, USUAL, plan.walk_in)


def _with_steps(planned: Planned, steps: Steps, made: FittedBatch | None) -> Planned:
    """Return the plan with the walk-in by the person's own steps."""
    plan = planned.plan
    stops_m = steps.stops_m(plan.walk_in[-1].distance_m, plan.stretch_distance_m)
    if not stops_m:
        return replace(planned, steps=steps)
    path = PlanPath(plan, planned.figures.motor, DEFAULT_RUBBER if made is None else made.rubber)
    return replace(planned, steps=steps, stops=rows_at(plan, path, reversed(stops_m)))


def _loop_from_strip(args: argparse.Namespace, units: UnitSystem) -> None:
    """Put the loop's length into the arguments, half the strip where there are two strands."""
    if args.loop is not None:
        raise UsageProblem("Give --loop or --strip, not both.")
    strip_m = quantity("--strip", args.strip, "length", units)
    args.loop = f"{strip_m / whole('--strands', args.strands or '2', 1, MOST_STRANDS):.9f} m"


def _for_risk(args: argparse.Namespace, figures: Figures, made: FittedBatch | None) -> Figures:
    if args.share is not None:
        raise UsageProblem("Give --share or --risk, not both.")
    risk = number("--risk", args.risk.strip().removesuffix("%"), 0, 100) / 100
    share = share_for_risk(
        risk,
        figures.motor,
        figures.winder,
        figures.model,
        rubber=DEFAULT_RUBBER if made is None else made.rubber,
        room_m=figures.room_m,
    )
    return replace(figures, motor=replace(figures.motor, share=share))


def as_json(planned: Planned) -> dict[str, Any]:
    """Return the plan as an object: the keys of a trace's plan, then how far it may be off."""
    figures = planned.figures
    return {
        **plan_to_json_dict(planned.plan),
        "figures": {"motor": asdict(figures.motor), "winder": asdict(figures.winder), "model": asdict(figures.model)},
        "doubts": list(doubts_of(planned.plan, figures.motor, figures.model, "metric")),
        "break_risk_interval": {
            "level": LEVEL,
            "expected": planned.risk.value,
            "low": planned.risk.low,
            "high": planned.risk.high,
        },
        "spread": asdict(planned.spread),
        "moderate_rates": [asdict(rate) for rate in moderate_rates(planned)],
        **_steps_json(planned),
    }


def moderate_rates(planned: Planned) -> tuple[ModerateRate, ...]:
    """Return the torque rises that the coach will ask for."""
    plan, figures = planned.plan, planned.figures
    limits = limits_from(CoachSettings(figures.motor, plan, SIMULATED, figures.winder, figures.model))
    band = RateBand(limits, PlanPath(plan, figures.motor))
    ends = (0.0, limits.stretched_turns, limits.walked_in_turns, limits.target_turns)
    rates = []
    for phase, (begin, end) in zip(RATES_OF, pairwise(ends), strict=True):
        places = [begin + (end - begin) * (at + 0.5) / PLACES for at in range(PLACES)]
        turn = [band.per_crank_turn(phase, turns) or 0.0 for turns in places]
        edges = [band.at(phase, turns) for turns in places]
        low, high = (fmean(edge[side] or 0.0 for edge in edges) for side in (0, 1))
        rates.append(ModerateRate(phase, fmean(turn), low, high))
    return tuple(rates)


def _steps_json(planned: Planned) -> dict[str, Any]:
    """The person's own steps, where they chose some: tape marks from 1, and the walk-in from place to place."""
    if planned.steps == USUAL:
        return {}
    return {
        "tape_marks": [{"mark": number, "distance_m": at_m} for number, at_m in enumerate(planned.steps.tape_m, 1)],
        "stops": [
            {"place": place_words(row.distance_m, "metric", planned.steps), **asdict(row)} for row in planned.stops
        ],
    }


def as_text(planned: Planned, units: UnitSystem) -> str:
    """Return the plan as lines for a terminal."""
    plan, motor, winder = planned.plan, planned.figures.motor, planned.figures.winder
    off, ratio = planned.spread.together, winder.ratio

    def torque(value_Nm: float, sd_Nm: float | None = None) -> str:
        text = shown_number(value_Nm, "torque", units)
        text += "" if sd_Nm is None else f" ± {shown_number(sd_Nm, 'torque', units)}"
        text += f" {unit_label('torque', units)}"
        return text if units == "inch" else f"{text} ({value_Nm / GF_CM_NM:.1f} gf·cm)"

    density_sd = shown_number(planned.spread.linear_density_sd_kg_per_m, "linear density", units)
    hooks = plan.walk_in[-1]
    rows = [
        ("Motor", motor_words(motor, units)),
        ("Winder", winder_words(winder, units)),
        (
            "Linear density",
            f"{shown_number(plan.linear_density_kg_per_m, 'linear density', units)} ± {density_sd}"
            f" {unit_label('linear density', units)}",
        ),
        ("Breaks at", f"{plan.breaking_turns:.0f} ± {plan.breaking_turns_sd:.0f} turns"),
        ("Wind to", f"{plan.target_turns:.0f} turns, {plan.share:.0%} of them (wind {motor.use} of this motor)"),
        (
            "Chance to break",
            f"{plan.break_risk:.2%} on the way to the peak"
            f" ({planned.risk.low:.2%} to {planned.risk.high:.2%}, {LEVEL:.0%} interval)",
        ),
        ("Gives back", f"{plan.energy_stored_J:.1f} J from the launch on"),
        *_rates(planned, units),
    ]
    far_m, near_m = plan.stretch_distance_m, hooks.distance_m
    steps = [
        f"Stretch to {show(far_m, 'length', units)}{_place(planned, far_m, units)},"
        f" {far_m / motor.loop_m:.1f} loop lengths; the pull reaches {plan.stretched_pull_N:.0f} N.",
        f"Crank {plan.stretched_turns / ratio:.1f} turns there ({plan.stretched_turns:.0f} of the motor), to"
        f" {torque(plan.stretched_torque_Nm, off.stretched_torque_Nm)}.",
        f"Walk in to {show(near_m, 'length', units)}{_place(planned, near_m, units)}"
        f" while cranking to {hooks.crank_turns:.1f} turns, as below.",
        f"Crank to {plan.target_crank_turns:.1f} turns and stop at {torque(plan.peak_torque_Nm, off.peak_torque_Nm)}.",
        f"Back off {plan.back_off_turns / ratio:.1f} turns ({plan.back_off_turns:.0f} of the motor), to"
        f" {torque(plan.launch_torque_Nm)}: {plan.launch_turns:.0f} are left for the launch.",
    ]
    lines = [f"{name:<17} {value}" for name, value in rows]
    lines += ["", *(f"{i}. {step}" for i, step in enumerate(steps, 1)), "", *_walk_in(planned, units)]
    lines += ["", *_how_sure(planned, units), f"It rests on {plan.rests_on}."]
    return "\n".join([*lines, *plan.limits])


def _rates(planned: Planned, units: UnitSystem) -> list[tuple[str, str]]:
    """What a turn of the crank should bring, and what a second may bring at most, phase by phase."""
    rates = moderate_rates(planned)
    digits = SHOWN[units]["torque"][1] + 1
    each = (f"{shown_number(r.per_crank_turn_Nm, 'torque', units, digits)} {RATES_OF[r.phase]}" for r in rates)
    most = (shown_number(r.high_Nm_per_s, "torque", units) for r in rates)
    unit = unit_label("torque", units)
    return [
        ("A crank turn adds", f"{', '.join(each)} ({unit})"),
        ("Moderate is up to", f"{', '.join(most)} {unit}/s there; the gauge shows it"),
    ]


def _place(planned: Planned, distance_m: float, units: UnitSystem) -> str:
    """A place in the person's own unit, in brackets, where that is more than the length beside it."""
    if planned.steps.unit not in TOLD_APART:
        return ""
    return f" ({place_words(distance_m, units, planned.steps)})"


def _walk_in(planned: Planned, units: UnitSystem) -> list[str]:
    """The table of the walk-in, and where to put tape for it."""
    told = planned.steps.unit in TOLD_APART
    heads = [
        f"{'crank turns':>14}",
        f"{'stand at, ' + unit_label('length', units):>14}",
        f"{'torque, ' + unit_label('torque', units):>16}",
    ]
    lines = ["  ".join([*heads, "  place"] if told else heads)]
    before_m: float | None = None
    for row in planned.stops:
        distance, moment = shown_number(row.distance_m, "length", units), shown_number(row.torque_Nm, "torque", units)
        line = f"{row.crank_turns:>14.1f}  {distance:>14}  {moment:>16}"
        paces = paces_in(before_m, row.distance_m, planned.steps)
        place = place_words(row.distance_m, units, planned.steps) if paces is None else f"{pace_words(paces)} in"
        lines.append(f"{line}    {place}" if told else line)
        before_m = row.distance_m
    return [*lines, *(["", *wrap(tape_words(planned.steps, units), 80)] if planned.steps.unit == "tape" else [])]


def _how_sure(planned: Planned, units: UnitSystem) -> list[str]:
    spread = planned.spread

    def effect(turns: float, torque_Nm: float) -> str:
        return f"{abs(turns):.0f} turns and {show(abs(torque_Nm), 'torque', units)} at the peak"

    return [
        f"The error of the loop's length is worth {effect(spread.loop.breaking_turns, spread.loop.peak_torque_Nm)},",
        f"that of the mass {effect(spread.mass.breaking_turns, spread.mass.peak_torque_Nm)};",
        f"the rubber itself {effect(spread.strength.breaking_turns, spread.stiffness.peak_torque_Nm)}.",
    ]


def _write_card(path: Path, planned: Planned, units: UnitSystem) -> None:
    from winding_coach.report.card import card_html, card_svg

    figures = planned.figures
    by_steps = (planned.steps, planned.stops) if planned.steps.unit in TOLD_APART else None
    card = card_svg(planned.plan, figures.motor, figures.winder, figures.model, planned.spread, units, by_steps)
    try:
        path.write_text(card_html(card) if path.suffix.lower() == ".html" else card, encoding="utf-8")
    except OSError as error:
        raise Problem(f"The card '{path}' cannot be written ({error.strerror}): name another file.") from None
