"""Settings stand in for options that were not given: a motor on the shelf comes before them, the default after them."""

from __future__ import annotations

import argparse
import json
from collections.abc import Mapping
from typing import TYPE_CHECKING

from winding_coach.app.home import SETTINGS_FILE, Home
from winding_coach.app.problem import Problem, UsageProblem
from winding_coach.app.typed import quantity
from winding_coach.base.private import write_private
from winding_coach.base.standing import MOST_MARKS, PACE_M, STEP_UNITS, USUAL, Steps, StepUnit, tape_at_m
from winding_coach.base.units import QuantityError, UnitSystem, parse_quantity, show
from winding_coach.rubber.figures import Plan

if TYPE_CHECKING:
    from winding_coach.screen.legible import Eyes
    from winding_coach.screen.terminal import Drawing

FILLED_IN = ("ratio", "hooks", "port", "crank_port", "person", "steps", "pace", "tape")
"""Options that the settings of the same name stand in for; the other settings are read apart."""
PACES_M = (0.2, 2.0)
TAPES_M = (0.05, 2.0)
BY_PLAN = "plan"
"""`--tape` for tape at the rows of the plan's own walk-in, which are even in turns: the best of those tried."""


def fill_in(args: argparse.Namespace, home: Home) -> None:
    """Set the options that were not given to what the settings say.

    Raises:
        Problem: a setting is not text.
    """
    if getattr(args, "steps", None) is None:
        if getattr(args, "tape", None) is not None:  # who says how the tape lies stands at tape
            args.steps = "tape"
        elif getattr(args, "pace", None) is not None:
            args.steps = "paces"
    for name in FILLED_IN:
        kept = home.settings.get(name)
        if getattr(args, name, None) is None and kept not in (None, ""):
            if not isinstance(kept, str):
                raise Problem(f"The settings in '{home.folder}' name {name} {kept!r}: write it as text, in quotes.")
            setattr(args, name, kept)


def add_steps_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options that set the unit of positions; `steps_from` reads them back."""
    steps = parser.add_argument_group("positions, in your own unit")
    steps.add_argument(
        "--steps", metavar="UNIT", help=f"positions in {', '.join(STEP_UNITS)} (metres, or inches with --units inch)"
    )
    steps.add_argument("--pace", metavar="LENGTH", help=f"with paces: how long one is ({PACE_M * 100:.0f} cm)")
    steps.add_argument(
        "--tape",
        metavar="LENGTH",
        help="with tape: from mark to mark, from the meter's hook on, or 'plan' for the rows of the plan (plan)",
    )


def steps_from(args: argparse.Namespace, units: UnitSystem, plan: Plan) -> Steps:
    """Return the unit of standing that was asked for, with its tape marks laid out for a plan.

    Raises:
        UsageProblem: there is no such unit, or no one can pace or tape like that.
    """
    unit = _unit(args.steps)
    pace_m = PACE_M if args.pace is None else _between("--pace", args.pace, PACES_M, units)
    if unit != "tape":
        return USUAL if unit is None else Steps(unit, pace_m)
    if args.tape is None or args.tape.strip() == BY_PLAN:
        rows = sorted({round(row.distance_m, 4) for row in plan.walk_in} | {round(plan.stretch_distance_m, 4)})
        return Steps(unit, pace_m, tuple(rows))
    spacing_m = _between("--tape", args.tape, TAPES_M, units)
    if plan.stretch_distance_m / spacing_m >= MOST_MARKS:
        raise UsageProblem(f"--tape: that makes more than {MOST_MARKS} marks: put them further apart.")
    return Steps(unit, pace_m, tape_at_m(spacing_m, plan.stretch_distance_m))


def _unit(typed: str | None) -> StepUnit | None:
    if typed is None:
        return None
    found = next((unit for unit in STEP_UNITS if unit == typed.strip()), None)
    if found is None:
        raise UsageProblem(f"--steps: '{typed[:40]}' is not one of {', '.join(STEP_UNITS)}.")
    return found


def _between(option: str, typed: str, bounds_m: tuple[float, float], units: UnitSystem) -> float:
    length_m = quantity(option, typed, "length", units)
    if not bounds_m[0] <= length_m <= bounds_m[1]:
        low, high = (show(bound, "length", units, 0) for bound in bounds_m)
        raise UsageProblem(f"{option}: '{typed[:40]}' is not between {low} and {high}.")
    return length_m


def eyes_from(home: Home) -> Eyes:
    """Return from where the screen is read, and the height of its glass: the settings `read_from` and `screen_height`.

    Raises:
        Problem: one of them is no length above zero.
    """
    from winding_coach.screen.legible import Eyes

    usual = Eyes()
    lengths = {"read_from": usual.distance_m, "screen_height": usual.screen_m}
    for name in lengths:
        kept = home.settings.get(name)
        if kept is None:
            continue
        try:
            lengths[name] = parse_quantity(kept, "length") if isinstance(kept, str) else 0.0
        except QuantityError:
            lengths[name] = 0.0
        if not lengths[name] > 0.0:
            raise Problem(
                f"The settings in '{home.folder}' name {name} {kept!r}: write a length in quotes, as \"3 m\"."
            )
    return Eyes(lengths["read_from"], lengths["screen_height"])


def drawn_from(home: Home) -> Drawing:
    """Return how to draw in this terminal: the setting `characters`, else as the terminal tells.

    Raises:
        Problem: it is not one of those there are.
    """
    from winding_coach.screen.sheet import CHARACTERS
    from winding_coach.screen.terminal import drawing

    kept = home.settings.get("characters")
    known = next((each for each in CHARACTERS if each == kept), None)
    if kept is not None and known is None:
        raise Problem(
            f"The settings in '{home.folder}' name characters {kept!r}: write one of {', '.join(CHARACTERS)}."
        )
    return drawing(known)


def save_settings(home: Home, changed: Mapping[str, str]) -> Home:
    """Write the settings with some changed, whole or not at all; return the home with them. Empty text takes one out.

    Raises:
        Problem: they cannot be written.
    """
    settings = {name: value for name, value in (home.settings | dict(changed)).items() if value != ""}
    file = home.folder / SETTINGS_FILE
    try:
        write_private(file, json.dumps(settings, ensure_ascii=False, indent=1) + "\n")
    except OSError as error:
        raise Problem(
            f"The settings cannot be written to '{file}' ({error.strerror}): name a folder with --home."
        ) from None
    return Home(home.folder, settings)
