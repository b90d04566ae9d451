"""`motor next`: which motor to wind next, and an order for the flights of a day."""

from __future__ import annotations

import argparse
import json
from datetime import datetime
from textwrap import wrap
from typing import TYPE_CHECKING, Any

from winding_coach.app.ago import since
from winding_coach.app.shelving import SHORT_ID, looked, shelf_at
from winding_coach.app.typed import whole
from winding_coach.base.units import counted, show
from winding_coach.cli.args.common import home_from, units_from
from winding_coach.cli.args.wind_choice import meant
from winding_coach.cli.commands.records import a_job
from winding_coach.cli.output.tabular import table

if TYPE_CHECKING:
    from winding_coach.base.units import UnitSystem
    from winding_coach.shelf.rest import Candidate
    from winding_coach.shelf.store import Shelf

MOST_FLIGHTS = 40
SHOWN = 12
MOST_ASKED = 3
WIDTH = 78


def add_next(jobs: Any) -> None:
    """Add the job to those of `motor`."""
    what = "which motor to wind next: rested longest first; with --flights an order for the day"
    job = a_job(jobs, "next", what, "motor next --flights 6 --officials 3 --person Wren")
    job.add_argument("--batch", metavar="NAME", help="only motors of this batch")
    job.add_argument("--flights", metavar="N", help="an order for N flights")
    job.add_argument("--officials", metavar="N", help="how many of them are official, flown last (0)")
    job.add_argument("--person", metavar="NAME", help="what advice wants tried by this person")
    job.add_argument("--model", metavar="NAME", help="and with this model")


def run_next(args: argparse.Namespace) -> int:
    """Say which motor to take."""
    from winding_coach.shelf.records import Motor
    from winding_coach.shelf.rest import candidates, day_of
    from winding_coach.shelf.store import WindFilter, is_in_use

    home = home_from(args)
    units = units_from(args, home)
    flights = None if args.flights is None else whole("--flights", args.flights, 1, MOST_FLIGHTS)
    officials = 0 if args.officials is None else whole("--officials", args.officials, 0, flights or MOST_FLIGHTS)
    with shelf_at(home, reading=True) as shelf:
        looked(home, shelf)
        batch = meant(shelf, "batch", args.batch)
        motors = [one for one in shelf.all(Motor) if is_in_use(one) and (batch is None or one.batch == batch)]
        winds = shelf.winds(WindFilter(simulated=False))
        ranked = candidates(motors, shelf.uses_logged(), winds, datetime.now().astimezone())
        advised = _advised(shelf, args, units)
    day = [] if flights is None or not ranked else day_of(ranked, flights, officials)
    if args.json:
        order = [{"motor": one.motor.name, "share": one.share, "official": official} for one, official in day]
        print(json.dumps({"next": [_object(one) for one in ranked], "day": order, "advice": advised}))
        return 0
    if not ranked:
        print("No motor on the shelf is in use: add one with 'motor add', or cut one: 'winding-coach cut --help'.")
        return 0
    lines = _day_lines(day) if day else _next_lines(ranked, units)
    unsaid = [one for one in ranked if one.unsaid is not None]
    for one in unsaid[:MOST_ASKED]:
        lines += ["", *question(one.motor.name, one.unsaid or "")]
    if len(unsaid) > MOST_ASKED:
        lines.append(f"And so for {counted(len(unsaid) - MOST_ASKED, 'more motor')}: they are the last in --json.")
    if advised:
        lines += ["", *wrap(f"Advice would try: {advised}", WIDTH)]
    print("\n".join(lines))
    return 0


def _advised(shelf: Shelf, args: argparse.Namespace, units: UnitSystem) -> str | None:
    """Return what advice would change first, None where no flights say."""
    from winding_coach.cli.commands.advise import advised_for

    if args.person is None and args.model is None:
        return None
    items = advised_for(shelf, args.person, args.model, units).advised.items
    return next((one.do for one in items if one.topic != "whole"), None)


def _object(one: Candidate) -> dict[str, Any]:
    rested_s = None if one.rested is None else round(one.rested.total_seconds())
    return {
        "motor": one.motor.name,
        "uses": one.uses,
        "next_share": one.share,
        "rested_s": rested_s,
        "state": one.state,
        "broken_in": one.broken_in,
        "asked_of_wind": one.unsaid,
    }


def _next_lines(ranked: list[Candidate], units: UnitSystem) -> list[str]:
    rows = [
        [
            one.motor.name,
            one.state,
            "" if one.rested is None else since(one.rested),
            str(one.uses),
            f"{one.share:.0%}",
            show(one.motor.loop_m, "length", units),
            show(one.motor.mass_kg, "mass", units),
        ]
        for one in ranked[:SHOWN]
    ]
    heads = ("motor", "rest", "last wound", "winds", "next to", "loop", "mass")
    lines = table(heads, rows, right=frozenset(heads[3:]))
    if len(ranked) > SHOWN:
        lines.append(f"and {len(ranked) - SHOWN} more: --json lists all.")
    return lines


def _day_lines(day: list[tuple[Candidate, bool]]) -> list[str]:
    rows = [
        [str(number), one.motor.name, "official" if official else "test", f"{one.share:.0%}", f"wind {one.uses + 1}"]
        for number, (one, official) in enumerate(day, 1)
    ]
    return table(("flight", "motor", "for", "wind to", "of this motor"), rows, right=frozenset({"flight", "wind to"}))


def question(motor: str, wind: str) -> list[str]:
    """Return the question whether a motor broke, in lines; the commands stand unbroken in a line each."""
    short = wind[:SHORT_ID]
    return [
        *wrap(
            f"Did motor {motor} break? In its last wind torque was lost, and the reason is not logged. Log it:", WIDTH
        ),
        f"  it broke:     winding-coach flight broke --wind {short}",
        f"  it came off:  winding-coach flight intact --wind {short}",
    ]
