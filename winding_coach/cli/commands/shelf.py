"""All winds that were kept: list, season, notes; rebuild the index, recompute every wind, check everything.

example:
  winding-coach shelf winds --motor th-07
  winding-coach shelf season --by person --since 2026-03-01
  winding-coach shelf note 3a81f40f --remarks 'the hall was cold'
  winding-coach shelf rebuild
  winding-coach shelf recompute

Every wind is logged by itself when it closes; a wind that was killed is logged at the next start. The traces are the
record: the shelf's index of them can be rebuilt, what people typed is kept in the shelf's file alone. Back it up.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from winding_coach.app.problem import UsageProblem
from winding_coach.app.shelving import SHORT_ID, looked, shelf_at
from winding_coach.app.typed import whole
from winding_coach.base.units import UnitSystem, counted, show
from winding_coach.cli.args.common import home_from, units_from
from winding_coach.cli.args.duration import clock
from winding_coach.cli.args.kinds import NONE, a_name, text
from winding_coach.cli.args.wind_choice import add_wind_arguments, wind_filter
from winding_coach.cli.commands.records import a_job
from winding_coach.cli.output.tabular import table
from winding_coach.shelf.records import PURPOSES

if TYPE_CHECKING:
    from winding_coach.shelf.records import Flight, Wind
    from winding_coach.shelf.store import Shelf

GROUPS = ("all", "person", "motor", "batch", "model", "month")
MOST_WINDS = 10_000
NOTED = ("person", "motor", "batch", "winder", "model")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the jobs of `shelf`."""
    jobs = parser.add_subparsers(dest="job", required=True, metavar="JOB")
    winds = a_job(jobs, "winds", "the winds that were kept, the newest first", "shelf winds --motor th-07 --newest 5")
    add_wind_arguments(winds)
    winds.add_argument("--newest", metavar="N", default="20", help="how many (20)")
    winds.add_argument("--all", action="store_true", help="all of them")
    season = a_job(jobs, "season", "statistics over many winds and flights", "shelf season --by person")
    add_wind_arguments(season)
    season.add_argument("--by", choices=GROUPS, default="all", help="put together by (all)")
    note = a_job(
        jobs,
        "note",
        f"correct or add to a wind's entry; '{NONE}' takes the trace's word again",
        "shelf note 3a81f40f --person Pip --remarks 'the hall was cold'",
    )
    note.add_argument("wind", metavar="WIND", help="its id or trace; or last")
    for name in NOTED:
        note.add_argument(f"--{name}", metavar="NAME", help=f"the {name} it was")
    note.add_argument("--use", metavar="N", help="which wind of its motor it was, from 1")
    note.add_argument("--purpose", choices=(*PURPOSES, NONE), help="what it was wound for")
    note.add_argument("--remarks", metavar="TEXT", help="whatever should be remembered")
    for name, what in (
        ("void", "leave a wind that was a mistake out of everything; its trace stays, and 'restore' takes it back"),
        ("restore", "take a voided wind back in"),
    ):
        job = a_job(jobs, name, what, f"shelf {name} 3a81f40f")
        job.add_argument("wind", metavar="WIND", help="its id or trace; or last")
    a_job(jobs, "meters", "the meters that winds were measured with, and their calibrations", "shelf meters")
    what = "rebuild the index of winds from the traces; flights and everything typed stay"
    rebuild = a_job(jobs, "rebuild", what, "shelf rebuild")
    rebuild.add_argument(
        "--records",
        action="store_true",
        help="also put on the shelf what only traces name: motors, winders, models, people, as of their last wind",
    )
    what = "run the present estimator and coach over every trace again, on all cores; resumes where it was interrupted"
    recompute = a_job(jobs, "recompute", what, "shelf recompute --since 2026-03-01")
    add_wind_arguments(recompute)
    recompute.add_argument("--processes", metavar="N", help="how many at once (as many as cores)")
    check = a_job(jobs, "check", "whether the shelf and the traces are sound", "shelf check --full")
    check.add_argument("--full", action="store_true", help="read every trace and compare it with what was logged")


def run(args: argparse.Namespace) -> int:
    """Do one job."""
    if args.job in ("rebuild", "recompute", "check"):
        from winding_coach.cli.commands import upkeep

        return {"rebuild": upkeep.rebuilt, "recompute": upkeep.recomputed, "check": upkeep.checked}[args.job](args)
    return {"winds": _winds, "season": _season, "note": _note, "void": _void, "restore": _void, "meters": _meters}[
        args.job
    ](args)


def _winds(args: argparse.Namespace) -> int:
    from winding_coach.shelf.found import NOTHING, found_on
    from winding_coach.shelf.tables import as_dict

    home = home_from(args)
    units = units_from(args, home)
    with shelf_at(home, reading=True) as shelf:
        looked(home, shelf)
        flown = shelf.flown(wind_filter(args, shelf, None if args.all else args.newest))
        found = found_on(shelf)
    if args.json:
        objects = [
            as_dict(wind)
            | asdict(found.get(wind.id, NOTHING))
            | {"flight": None if flight is None else as_dict(flight)}
            for wind, flight in flown
        ]
        print(json.dumps({"winds": objects}, ensure_ascii=False))
        return 0
    if not flown:
        print("No such wind is on the shelf: 'winding-coach wind' logs one by itself.")
        return 0
    heads = ("started", "wind", "motor", "use", "person", "outcome", "turns", "peak", "launch", "stored J", "lasted")
    rows = [_row(wind, flight, units) for wind, flight in flown]
    print("\n".join(table((*heads, "left", "remarks"), rows, right=frozenset({"use", *heads[6:], "left"}))))
    return 0


def _row(wind: Wind, flight: Flight | None, units: UnitSystem) -> list[str]:
    def torque(value: float | None) -> str:
        return "" if value is None else show(value, "torque", units)

    return [
        wind.started[:16].replace("T", " "),
        wind.id[:SHORT_ID],
        wind.motor or "",
        "" if wind.use is None else str(wind.use),
        wind.person or "",
        f"{wind.outcome} (simulated)" if wind.simulated else wind.outcome,
        "" if wind.peak_turns is None else f"{wind.peak_turns:.0f}",
        torque(wind.peak_torque_Nm),
        torque(wind.launch_torque_Nm),
        "" if wind.energy_stored_J is None else f"{wind.energy_stored_J:.1f}",
        "" if flight is None or flight.duration_s is None else clock(flight.duration_s),
        "" if flight is None or flight.turns_left is None else f"{flight.turns_left:.0f}",
        wind.remarks,
    ]


def _season(args: argparse.Namespace) -> int:
    from winding_coach.shelf.season import season

    home = home_from(args)
    with shelf_at(home, reading=True) as shelf:
        looked(home, shelf)
        rows = season(shelf.flown(wind_filter(args, shelf)), args.by)
    if args.json:
        print(json.dumps({"by": args.by, "groups": [asdict(row) for row in rows]}, ensure_ascii=False))
        return 0
    if not rows:
        print("No such wind is on the shelf: 'winding-coach wind' logs one by itself.")
        return 0

    def share(value: float | None) -> str:
        return "" if value is None else f"{value:.0%}"

    def lasted(value: float | None) -> str:
        return "" if value is None else clock(value)

    lines = [
        [
            row.group or "(not known)",
            str(row.winds),
            str(row.broken),
            share(row.peak_share),
            share(row.in_band),
            "" if row.stalls is None else f"{row.stalls:.1f}",
            str(row.flights),
            lasted(row.mean_duration_s),
            lasted(row.best_duration_s),
            share(row.share_left),
        ]
        for row in rows
    ]
    heads = (args.by, "winds", "broken", "of breaking", "in band", "stalls", "flights", "mean", "best", "turns left")
    print("\n".join(table(heads, lines, right=frozenset(heads[1:]))))
    return 0


def _known(shelf: Shelf, kind: str, name: str | None) -> None:
    """Refuse a name that neither the shelf nor any wind knows, where the shelf knows others: it is a slip.

    Raises:
        UsageProblem: it is unknown.
    """
    from winding_coach.shelf.tables import KINDS

    if name is None or not shelf.all(KINDS[kind]) or shelf.has(KINDS[kind], name):
        return
    if all(getattr(wind, kind) != name for wind in shelf.winds()):
        raise UsageProblem(
            f"--{kind}: there is no {kind} '{name}' on the shelf: see 'winding-coach {kind} list', or add it first."
        )


def _note(args: argparse.Namespace) -> int:
    home = home_from(args)
    units = units_from(args, home)
    typed: dict[str, Any] = {}
    for name in NOTED:
        said = getattr(args, name)
        if said is not None:
            typed[name] = None if said.lower() == NONE else a_name(f"--{name}", said)
    if args.use is not None:
        typed["use"] = None if args.use.lower() == NONE else whole("--use", args.use, 1, MOST_WINDS)
    if args.purpose is not None:
        typed["purpose"] = None if args.purpose == NONE else args.purpose
    if args.remarks is not None:
        typed["remarks"] = None if args.remarks.lower() == NONE else text("--remarks", args.remarks, units)
    if not typed:
        raise UsageProblem("shelf note needs what to add, as in: winding-coach shelf note last --remarks 'cold hall'")
    with shelf_at(home) as shelf:
        looked(home, shelf)
        found = shelf.find_wind(args.wind)
        for name in NOTED:
            _known(shelf, name, typed.get(name))
        wind = shelf.note(found.id, **typed)
    if args.json:
        from winding_coach.shelf.tables import as_dict

        print(json.dumps(as_dict(wind), ensure_ascii=False))
    else:
        told = "; ".join(f"{name} {getattr(wind, name)}" for name in typed if getattr(wind, name) not in (None, ""))
        print(f"Wind {wind.id[:SHORT_ID]}: {told or 'as the trace shows it'}.")
    return 0


def _void(args: argparse.Namespace) -> int:
    """Leave a wind out everywhere, with its flights, or take it back in."""
    home = home_from(args)
    voided = args.job == "void"
    with shelf_at(home) as shelf:
        looked(home, shelf)
        wind = shelf.find_wind(args.wind)
        if wind.voided == voided:
            raise UsageProblem(f"Wind {wind.id[:SHORT_ID]} is {'voided already' if voided else 'not voided'}.")
        wind = shelf.note(wind.id, voided=voided)
        flights = len(shelf.flights([wind.id]))
    if args.json:
        from winding_coach.shelf.tables import as_dict

        print(json.dumps(as_dict(wind), ensure_ascii=False))
        return 0
    with_flights = f" with {counted(flights, 'flight')}" if flights else ""
    short = wind.id[:SHORT_ID]
    if voided:
        print(f"Wind {short}{with_flights} is left out now; 'shelf restore {short}' takes it back.")
    else:
        print(f"Wind {short}{with_flights} counts again.")
    return 0


def _meters(args: argparse.Namespace) -> int:
    from winding_coach.shelf.records import Meter

    home = home_from(args)
    with shelf_at(home, reading=True) as shelf:
        looked(home, shelf)
        meters, kept = shelf.all(Meter), shelf.calibrations()
    if args.json:
        calibrations = [json.loads(one.content) for one in kept]
        print(json.dumps({"meters": [asdict(one) for one in meters], "calibrations": calibrations}, ensure_ascii=False))
        return 0
    if not meters:
        print("No meter is on the shelf yet: the first wind puts it there.")
        return 0
    rows = [[one.name, one.calibration or "", (one.calibrated or "")[:10], one.remarks] for one in meters]
    print("\n".join(table(("meter", "last calibration", "made", "remarks"), rows)))
    return 0
