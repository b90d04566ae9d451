"""How to cut a motor: the strip's width on the stripper and the length to cut, from the linear density that is wanted.

example:
  winding-coach batch weigh amber --width '2.4 mm' --length '1 m' --mass '2.21 g'
  winding-coach cut --batch amber --density '2.2 g/m' --loop '30 cm' --orings '0.08 g'
  winding-coach cut --batch amber --density '2.2 g/m' --mass '1.40 g' --orings '0.08 g' --kit 5 --step 3

Strips that were weighed with 'batch weigh' decide what a width gives; without any, --thickness of the sheet will do,
less surely. --mass is of the finished motor, with knot and O-rings. --kit makes motors of one mass around that density,
to fly one after the other. Weigh the first strip before you cut the rest.

Care: a stripper's blade is sharp. Cut away from your fingers; children cut only beside their adult.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import asdict
from textwrap import wrap
from typing import TYPE_CHECKING

from winding_coach.app.home import Home
from winding_coach.app.problem import UsageProblem
from winding_coach.app.shelving import shelf_at
from winding_coach.app.typed import number, quantity, whole
from winding_coach.base.units import Kind, UnitSystem, show
from winding_coach.cli.args.common import add_common_arguments, home_from, units_from
from winding_coach.cli.output.tabular import table

if TYPE_CHECKING:
    from winding_coach.rubber.cutting import Cut, Sheet

WIDTH = 78
MOST_IN_KIT = 15
SMALLEST_STEP, LARGEST_STEP = 0.5, 20.0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of `cut`."""
    parser.add_argument("--density", metavar="D", help="linear density wanted of one strand, as in '2.2 g/m'")
    size = parser.add_mutually_exclusive_group()
    size.add_argument("--loop", metavar="LENGTH", help="relaxed length of the loop wanted")
    size.add_argument("--mass", metavar="MASS", help="mass of the motor wanted, with knot and O-rings")
    parser.add_argument("--orings", metavar="MASS", help="mass of the O-rings (0)")
    parser.add_argument("--strands", metavar="N", help="strands side by side: 2 for one loop (2)")
    parser.add_argument("--knot", metavar="LENGTH", help="strip that the knot takes up (2 cm)")
    parser.add_argument("--batch", metavar="NAME", help="batch of rubber, with its weighed strips")
    parser.add_argument("--thickness", metavar="LENGTH", help="of the sheet, where no strip was weighed")
    parser.add_argument(
        "--kit", metavar="N", help="number of motors of one mass, with linear densities around this one"
    )
    parser.add_argument("--step", metavar="PERCENT", help="from one motor of the kit to the next (3)")
    parser.add_argument("--json", action="store_true", help="one JSON object, SI")
    add_common_arguments(parser)


def run(args: argparse.Namespace) -> int:
    """Work out the cut."""
    from winding_coach.rubber.cutting import KNOT_M, cut_for, kit, loop_of_mass
    from winding_coach.rubber.figures import FiguresError

    home = home_from(args)
    units = units_from(args, home)

    def typed(option: str, kind: Kind) -> float | None:
        given = getattr(args, option.lstrip("-"))
        value = None if given is None else quantity(option, given, kind, units)
        if value is not None and (value < 0 or (value == 0 and option not in ("--orings", "--knot"))):
            raise UsageProblem(f"{option}: '{given}' is not above zero; type a positive {kind}.")
        return value

    density, loop, mass = typed("--density", "linear density"), typed("--loop", "length"), typed("--mass", "mass")
    if density is None or (loop is None and mass is None):
        raise UsageProblem("cut needs --density, and --loop or --mass, as in: --density '2.2 g/m' --loop '30 cm'")
    orings, knot = typed("--orings", "mass") or 0.0, typed("--knot", "length")
    knot = KNOT_M if knot is None else knot
    strands = 2 if args.strands is None else whole("--strands", args.strands, 2, 100)
    count = 1 if args.kit is None else whole("--kit", args.kit, 2, MOST_IN_KIT)
    if args.step is not None and args.kit is None:
        raise UsageProblem("--step goes with --kit: say how many motors too.")
    step = 3.0 if args.step is None else number("--step", args.step.rstrip("% "), SMALLEST_STEP, LARGEST_STEP)
    thickness = typed("--thickness", "length")
    try:
        sheet = _sheet(home, args.batch, thickness)
        if loop is None:
            loop = loop_of_mass(density, mass or 0.0, strands=strands, orings_kg=orings, knot_m=knot)
        middle = cut_for(density, loop, sheet, strands=strands, orings_kg=orings, knot_m=knot)
        cuts = [middle]
        if count > 1:
            cuts = kit(
                density,
                middle.mass_kg,
                sheet,
                count=count,
                step=step / 100,
                strands=strands,
                orings_kg=orings,
                knot_m=knot,
            )
    except FiguresError as error:
        raise UsageProblem(str(error)) from None
    if args.json:
        print(json.dumps({"sheet": asdict(sheet), "cuts": [asdict(one) for one in cuts]}))
    else:
        print("\n".join(_lines(cuts, sheet, strands, knot, units)))
    return 0


def _sheet(home: Home, batch: str | None, thickness_m: float | None) -> Sheet:
    """Return what the batch's weighed strips say of a sheet, else its thickness."""
    from winding_coach.rubber.cutting import Weighed, sheet_of
    from winding_coach.shelf.records import Batch

    weighed: list[Weighed] = []
    if batch is not None:
        with shelf_at(home, reading=True) as shelf:
            strips = shelf.strips(shelf.find(Batch, batch).name)
        weighed = [Weighed(one.width_m, one.length_m, one.mass_kg) for one in strips if one.width_m is not None]
    return sheet_of(weighed, thickness_m)


def _lines(cuts: list[Cut], sheet: Sheet, strands: int, knot_m: float, units: UnitSystem) -> list[str]:
    inch = units == "inch"

    def width(value_m: float) -> str:
        return f"{value_m / 0.0254:.4f} in" if inch else f"{value_m * 1e3:.2f} mm"

    rests = (
        "its nominal thickness and the density of natural rubber; weigh a strip to be surer"
        if sheet.strips == 0
        else "1 weighed strip; weigh another to know the spread"
        if sheet.strips == 1
        else f"{sheet.strips} weighed strips, {sheet.strip_cv:.1%} apart"
    )
    rows = [
        [
            show(one.density_kg_per_m, "linear density", units),
            width(one.width_m),
            show(one.strip_m, "length", units),
            show(one.loop_m, "length", units),
            show(one.mass_kg, "mass", units),
        ]
        for one in cuts
    ]
    heads = ("linear density", "width", "strip", "loop", "motor")
    spread = cuts[0].density_sd_kg_per_m / cuts[0].density_kg_per_m
    said = (
        f"Set the stripper to the width, cut the strip and knot it into a ring of {strands} strands;"
        f" {show(knot_m, 'length', units)} of it is for the knot. The motor's mass is with knot and O-rings.",
        f"The width rests on {rests}. A single strip may be {spread:.1%} off (one standard deviation): weigh it before"
        " you knot it.",
    )
    return [*table(heads, rows, right=frozenset(heads)), "", *(line for one in said for line in wrap(one, WIDTH))]
