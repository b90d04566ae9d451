"""The motors on the shelf: add, list, show, edit, retire; labels to print and wrap around them.

example:
  winding-coach motor add th-07 --loop '30 cm' --mass '1.40 g' --orings '0.08 g' --batch amber
  winding-coach motor next --flights 6 --officials 3
  winding-coach wind --motor th-07
  winding-coach motor label th-07 th-08 --to labels.svg

A wind takes a motor's values by its name and knows which use of it it is: 80, 85, 90 % of the breaking turns for the
first, second and later winds unless --share says otherwise (common practice, no source).
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from winding_coach.app.problem import Problem, UsageProblem
from winding_coach.app.shelving import looked, shelf_at
from winding_coach.app.writing import write_whole
from winding_coach.base.units import UnitSystem, show
from winding_coach.cli.args.common import home_from, units_from
from winding_coach.cli.args.kinds import MOTOR
from winding_coach.cli.commands.motor_next import add_next, run_next
from winding_coach.cli.commands.records import Known, a_job, add_jobs, run_job

if TYPE_CHECKING:
    from winding_coach.shelf.records import Motor
    from winding_coach.shelf.store import Shelf


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the jobs of `motor`."""
    jobs = add_jobs(parser, MOTOR)
    for name, what in (("void", "leave out a motor that was entered by mistake"), ("restore", "take it back in")):
        a_job(jobs, name, what, f"motor {name} th-07").add_argument("name", metavar="NAME", help="its name")
    add_next(jobs)
    what = "labels to print, cut out and wrap around motors: name, mass, loop, linear density, batch"
    label = a_job(jobs, "label", what, "motor label th-07 th-08 --to labels.pdf", as_json=False)
    label.add_argument("names", nargs="*", metavar="NAME", help="which motors (all in use)")
    label.add_argument("--to", default="labels.svg", metavar="FILE", help="ends in .svg or .pdf (labels.svg)")


def run(args: argparse.Namespace) -> int:
    """Do one job."""
    if args.job == "label":
        return _label(args)
    if args.job == "next":
        return run_next(args)
    return run_job(args, MOTOR, known_besides)


def known_besides(shelf: Shelf, motors: list[Motor], units: UnitSystem) -> list[Known]:
    """Return uses, the share of the next wind and the linear density of each motor."""
    from winding_coach.rubber.motor import usual_share

    logged = shelf.uses_logged()
    found: list[Known] = []
    for motor in motors:
        uses = motor.uses_before + logged.get(motor.name.casefold(), 0)
        share = usual_share(uses + 1)
        density = density_kg_per_m(motor)
        found.append(
            {
                "uses": (uses, str(uses)),
                "next_share": (share, f"{share:.0%}" if motor.state == "in_use" else ""),
                "linear_density_kg_per_m": (density, show(density, "linear density", units)),
            }
        )
    return found


def density_kg_per_m(motor: Motor) -> float:
    """Return the linear density of one strand: mass without O-rings over the length of all strands."""
    return (motor.mass_kg - motor.orings_kg) / (motor.strands * motor.loop_m)


def _label(args: argparse.Namespace) -> int:
    from winding_coach.report.labels import LabelError, MotorLabel, labels_pdf, labels_svg
    from winding_coach.shelf.records import Motor
    from winding_coach.shelf.store import is_in_use

    home = home_from(args)
    units = units_from(args, home)
    with shelf_at(home, reading=True) as shelf:
        looked(home, shelf)
        if args.names:
            motors = [shelf.find(Motor, name) for name in args.names]
        else:
            motors = [motor for motor in shelf.all(Motor) if is_in_use(motor)]
        uses = {motor.name: shelf.uses(motor.name) for motor in motors}
    if not motors:
        raise Problem("There are no motors in use on the shelf: add one with 'motor add'.")
    labels = [
        MotorLabel(
            motor.name,
            motor.loop_m,
            motor.mass_kg,
            density_kg_per_m(motor),
            motor.batch,
            motor.strands,
            uses[motor.name],
            _code_of(motor.name),
        )
        for motor in motors
    ]
    ending = Path(args.to).suffix.lower()
    try:
        if ending == ".svg":
            data = labels_svg(labels, units).encode()
        elif ending == ".pdf":
            data = labels_pdf(labels, units)
        else:
            raise UsageProblem(f"--to: '{args.to}' must end in .svg or .pdf.")
    except LabelError as error:
        raise Problem(str(error)) from None
    write_whole(Path(args.to), data, "labels")
    count = "1 label" if len(labels) == 1 else f"{len(labels)} labels"
    print(f"{count} in {args.to}: print at 100 %, cut along the lines, wrap around the motor.")
    if labels[0].code is None:
        print("They carry no code for a scanner: pip install 'winding-coach[code]' adds it.", file=sys.stderr)
    return 0


def _code_of(name: str) -> tuple[tuple[bool, ...], ...] | None:
    """Return a code of a motor's name: what a scanner types is what the finished screen takes. None without the extra,
    or for a name too long for a label."""
    from winding_coach.app.codes import modules_of
    from winding_coach.report.labels import MOST_CODE_MODULES

    try:
        code = modules_of(name)
    except ImportError:
        return None
    return code if len(code) <= MOST_CODE_MODULES else None
