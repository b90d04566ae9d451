"""Weighed strips of a batch: `batch weigh`, `batch strips`; they say what a width on the stripper gives."""

from __future__ import annotations

import argparse
import json
import uuid
from dataclasses import asdict, replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

from winding_coach.app.home import Home
from winding_coach.app.problem import UsageProblem
from winding_coach.app.shelving import shelf_at
from winding_coach.app.typed import LONGEST_SHOWN, quantity
from winding_coach.base.units import Kind, UnitSystem, show
from winding_coach.cli.args.common import units_from
from winding_coach.cli.args.kinds import text
from winding_coach.cli.commands.records import a_job
from winding_coach.cli.output.tabular import table

if TYPE_CHECKING:
    from winding_coach.shelf.records import Strip

STRIP_JOBS = ("weigh", "strips")


def add_strip_jobs(jobs: Any) -> None:
    """Add the two jobs to those of `batch`."""
    weigh = a_job(
        jobs,
        "weigh",
        "log a weighed strip of a batch",
        "batch weigh amber --width '2.4 mm' --length '1 m' --mass 2.21g",
    )
    weigh.add_argument("name", metavar="NAME", help="the batch")
    weigh.add_argument("--length", metavar="LENGTH", help="of the strip, relaxed (needed)")
    weigh.add_argument("--mass", metavar="MASS", help="of the strip (needed)")
    weigh.add_argument("--width", metavar="LENGTH", help="as set on the stripper")
    weigh.add_argument("--remarks", metavar="TEXT", help="whatever should be remembered")
    weigh.add_argument("--undo", action="store_true", help="leave out the strip of this batch that was logged last")
    strips = a_job(jobs, "strips", "the weighed strips of a batch", "batch strips amber")
    strips.add_argument("name", metavar="NAME", help="the batch")


def run_strip_job(args: argparse.Namespace, home: Home) -> int:
    """Log a strip, take the last one back, or list them."""
    from winding_coach.shelf.records import Batch

    units = units_from(args, home)
    with shelf_at(home, reading=args.job == "strips") as shelf:
        batch = shelf.find(Batch, args.name).name
        if args.job == "weigh" and args.undo:
            logged = shelf.strips(batch)
            if not logged:
                raise UsageProblem(f"No strip of batch {batch} is logged: there is nothing to undo.")
            shelf.weigh(replace(logged[-1], voided=True))
        elif args.job == "weigh":
            shelf.weigh(_strip(args, batch, units))
        found = shelf.strips(batch)
    if args.json:
        print(json.dumps({"batch": batch, "strips": [asdict(one) for one in found]}, ensure_ascii=False))
    elif not found:
        print(f"No strip of batch {batch} is logged: winding-coach batch weigh {batch} --length '1 m' --mass '2.2 g'")
    else:
        print("\n".join(_lines(found, units)))
    return 0


def _strip(args: argparse.Namespace, batch: str, units: UnitSystem) -> Strip:
    """Return the strip that was typed.

    Raises:
        UsageProblem: length or mass are missing, or no strip is like that.
    """
    from winding_coach.rubber.cutting import Weighed, sheet_of
    from winding_coach.rubber.figures import FiguresError
    from winding_coach.shelf.records import Strip

    def needed(option: str, kind: Kind) -> float:
        typed = getattr(args, option.lstrip("-"))
        if typed is None:
            raise UsageProblem(f"batch weigh needs {option}, as in: --length '1 m' --mass '2.21 g' --width '2.4 mm'")
        value = quantity(option, typed, kind, units)
        if not value > 0:
            raise UsageProblem(f"{option}: '{typed[:LONGEST_SHOWN]}' is not above zero; type a positive {kind}.")
        return value

    length_m, mass_kg = needed("--length", "length"), needed("--mass", "mass")
    width_m = None if args.width is None else needed("--width", "length")
    density = mass_kg / length_m
    if not 0.1e-3 <= density <= 50e-3:
        raise UsageProblem(f"{density * 1e3:.3g} g/m is impossible for a strip: check length and mass.")
    if width_m is not None:
        try:
            sheet_of([Weighed(width_m, length_m, mass_kg)])
        except FiguresError as error:
            raise UsageProblem(str(error)) from None
    remarks = "" if args.remarks is None else text("--remarks", args.remarks, units)
    weighed = datetime.now().astimezone().isoformat(timespec="milliseconds")
    return Strip(str(uuid.uuid4()), batch, weighed, length_m, mass_kg, width_m, remarks)


def _lines(strips: list[Strip], units: UnitSystem) -> list[str]:
    rows = []
    for one in strips:
        density = one.mass_kg / one.length_m
        width = "" if one.width_m is None else _width(one.width_m, units)
        rows.append(
            [
                one.weighed[:16].replace("T", " "),
                width,
                show(one.length_m, "length", units),
                show(one.mass_kg, "mass", units, 3),
                show(density, "linear density", units),
                one.remarks,
            ]
        )
    heads = ("weighed", "width", "length", "mass", "linear density", "remarks")
    return table(heads, rows, right=frozenset(heads[1:5]))


def _width(width_m: float, units: UnitSystem) -> str:
    return f"{width_m / 0.0254:.4f} in" if units == "inch" else f"{width_m * 1e3:.2f} mm"
