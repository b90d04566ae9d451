"""The winding plan of a motor: where to stand, how far to crank, what torque to expect, and how certain that is.

example:
  winding-coach plan --loop "30 cm" --mass 1.40g --orings 0.08g --use 1 --ratio 10 --hooks "22 cm"

--card FILE.svg or FILE.html writes a page to print and tape to the winding stand. --steps tape says where to put
numbered tape marks on the floor, and what each means; wind, practice and replay then send you from mark to mark:
  winding-coach plan --loop "30 cm" --mass 1.40g --orings 0.08g --steps tape
"""

from __future__ import annotations

import argparse
import json
import math
import re
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

from winding_coach.app.batches import batch_from
from winding_coach.app.figures import Figures
from winding_coach.app.home import Home
from winding_coach.app.problem import UsageProblem
from winding_coach.app.typed import number, quantity, whole
from winding_coach.app.writing import write_whole
from winding_coach.base.standing import USUAL, Steps, place_words
from winding_coach.base.units import UnitSystem
from winding_coach.cli.args.common import add_common_arguments, home_from, units_from
from winding_coach.cli.args.conditions import temperature_C
from winding_coach.cli.args.figures import MOST_STRANDS, add_motor_arguments, figures_from, hand_of
from winding_coach.cli.args.from_shelf import pick, tell
from winding_coach.cli.args.settings import add_steps_arguments, fill_in, steps_from
from winding_coach.cli.output.plan_text import TOLD_APART, Planned, UnderLoad, as_text, moderate_rates
from winding_coach.rubber.batch import FittedBatch
from winding_coach.rubber.course import NOMINAL_CRANK_REV_PER_S, course_through
from winding_coach.rubber.doubts import doubts_of
from winding_coach.rubber.figures import FiguresError
from winding_coach.rubber.held import walked_even, walked_held
from winding_coach.rubber.law import DEFAULT_RUBBER
from winding_coach.rubber.motor import before_the_wind, geometry_of
from winding_coach.rubber.path import PlanPath
from winding_coach.rubber.plan import DEFAULT_RESTS_ON, LOOP_SD_M, MASS_SD_KG, make_plan, share_for_risk
from winding_coach.rubber.plan_json import plan_to_json_dict
from winding_coach.rubber.published import ranges_of
from winding_coach.rubber.rupture import LONGEST_S, OLDEST_YEARS, doubt_of, doubted, stretch_for_time
from winding_coach.rubber.spread import TORQUE_SD, spread_of
from winding_coach.rubber.stops import rows_at
from winding_coach.rubber.strength import LEVEL, Strength, strength_of


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
    more.add_argument("--hold", metavar="SECONDS", help="time that it is to be held at the peak (a usual wind's)")
    more.add_argument("--temperature", metavar="T", help="of the hall, as in '19 C': adds doubt, moves nothing")
    more.add_argument("--age", metavar="YEARS", help="of the rubber: adds doubt, moves nothing")
    more.add_argument(
        "--walk-in", choices=("even", "torque"), default="even", help="show a walk-in that holds torque, and its cost"
    )
    out = parser.add_argument_group("output")
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
        print(json.dumps(as_json(planned) | {"hand": hand_of(args)}, ensure_ascii=False))
    else:
        tell(doubts_of(planned.plan, planned.figures.motor, planned.figures.model, units))
        print(as_text(planned, units))
        if hand_of(args) is not None:
            print(f"\nWind it {hand_of(args)}-hand.")
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
    made = batch_from(args.batch, home)
    meter_limit = None
    if args.meter_limit is not None:
        meter_limit = quantity("--meter-limit", args.meter_limit, "torque", units)
    loop_sd = LOOP_SD_M if args.loop_error is None else quantity("--loop-error", args.loop_error, "length", units)
    mass_sd = MASS_SD_KG if args.mass_error is None else quantity("--mass-error", args.mass_error, "mass", units)
    try:
        strength, load = _strength(args, made, units)
        if args.risk is not None:
            figures = _for_risk(args, figures, made, strength)
        planned = _planned(figures, made, units, meter_limit, loop_sd, mass_sd, strength, load)
        if args.walk_in == "torque":
            planned = _with_ways(planned, made)
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
    strength: Strength,
    load: UnderLoad,
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
    stretch = rubber.stretch_at_risk(plan.break_risk)
    risk = strength.risk(stretch)
    if load.held_s:
        load = replace(load, risk_held=strength.risk(stretch_for_time(stretch, load.held_s)).value)
    ranges = ranges_of(plan, figures.motor, figures.winder, figures.model, room_m=figures.room_m)
    return Planned(plan, figures, spread, risk, USUAL, plan.walk_in, ranges if made is None else None, under_load=load)


def _strength(args: argparse.Namespace, made: FittedBatch | None, units: UnitSystem) -> tuple[Strength, UnderLoad]:
    """Return the strength with the doubt that heat and age add, and what was said of them."""
    held_s = (
        0.0 if args.hold is None else number("--hold", re.sub(r"(?<=[0-9]) *s$", "", args.hold.strip()), 0, LONGEST_S)
    )
    warm = None if args.temperature is None else temperature_C("--temperature", args.temperature, units)
    age = None if args.age is None else number("--age", args.age.strip(), 0, OLDEST_YEARS)
    doubt = doubt_of(warm, age)
    strength = strength_of(()) if made is None else made.strength
    return doubted(strength, doubt), UnderLoad(held_s, warm, age, doubt)


def _with_ways(planned: Planned, made: FittedBatch | None) -> Planned:
    """Return the plan with the rows of a walk-in that holds torque, and both ways judged."""
    rubber = DEFAULT_RUBBER if made is None else made.rubber
    plan, motor = planned.plan, planned.figures.motor
    body, hooks_m = geometry_of(motor, rubber), plan.walk_in[-1].distance_m
    pace = NOMINAL_CRANK_REV_PER_S * planned.figures.winder.ratio
    course = course_through(body, plan.stretch_distance_m, hooks_m, plan.stretched_turns, plan.target_turns, pace)
    start = before_the_wind(body, motor.use, hooks_m, rubber)
    even, held = walked_even(course, start, plan, rubber), walked_held(course, start, plan, rubber)
    return replace(planned, ways=(even, held), stops=held.rows)


def _with_steps(planned: Planned, steps: Steps, made: FittedBatch | None) -> Planned:
    """Return the plan with the walk-in by the person's own steps."""
    plan = planned.plan
    stops_m = steps.stops_m(plan.walk_in[-1].distance_m, plan.stretch_distance_m)
    if not stops_m or planned.ways is not None:
        return replace(planned, steps=steps)
    path = PlanPath(plan, planned.figures.motor, DEFAULT_RUBBER if made is None else made.rubber)
    return replace(planned, steps=steps, stops=rows_at(plan, path, reversed(stops_m)))


def _loop_from_strip(args: argparse.Namespace, units: UnitSystem) -> None:
    """Put the loop's length into the arguments, half the strip where there are two strands."""
    if args.loop is not None:
        raise UsageProblem("Give --loop or --strip, not both.")
    strip_m = quantity("--strip", args.strip, "length", units)
    args.loop = f"{strip_m / whole('--strands', args.strands or '2', 1, MOST_STRANDS):.9f} m"


def _for_risk(args: argparse.Namespace, figures: Figures, made: FittedBatch | None, strength: Strength) -> Figures:
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
        chance=lambda stretch: strength.risk(stretch).value,
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
        **({} if planned.ranges is None else {"published_ranges": asdict(planned.ranges)}),
        "moderate_rates": [asdict(rate) for rate in moderate_rates(planned)],
        "under_load": asdict(planned.under_load),
        **_ways_json(planned),
        **_steps_json(planned),
    }


def _ways_json(planned: Planned) -> dict[str, Any]:
    if planned.ways is None:
        return {}
    return {"ways": {name: asdict(way) for name, way in zip(("even", "torque"), planned.ways, strict=True)}}


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


def _write_card(path: Path, planned: Planned, units: UnitSystem) -> None:
    from winding_coach.report.card import card_html, card_svg

    figures = planned.figures
    by_steps = (planned.steps, planned.stops) if planned.steps.unit in TOLD_APART else None
    card = card_svg(planned.plan, figures.motor, figures.winder, figures.model, planned.spread, units, by_steps)
    write_whole(path, (card_html(card) if path.suffix.lower() == ".html" else card).encode("utf-8"), "card")
