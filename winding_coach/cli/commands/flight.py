"""Log a flight after a wind: duration, turns left, height or ceiling, remarks; for the last wind or one that is named.

example:
  winding-coach flight 6:52 --left 180
  winding-coach flight 6:52 --left-crank 18 --height '7.5 m' --remarks 'touched a beam at the top'
  winding-coach flight --wind 3a81f40f --left 160 --correct
  winding-coach flight 2:10 --spoilt 'hit the basketball hoop'
  winding-coach flight 1:45 --kind test --spacer-mass '0.7 g' --spacer-length '15 cm' --temperature '19 C'
  winding-coach flight void
  winding-coach flight broke --wind 3a81f40f
  winding-coach flight list --motor th-07

Duration is typed as 6:52, '6 min 52', 412 or '412 s'. --left counts turns of the motor, --left-crank (or --left 18c)
turns of the winder's handle. 'flight broke' says that the motor broke: by torque alone it may have come off;
'flight intact' that it did not.
"""

from __future__ import annotations

import argparse
import json
import re
import uuid
from collections.abc import Callable
from dataclasses import asdict, replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

from winding_coach.app.home import Home
from winding_coach.app.patience import GivenUpError, patiently
from winding_coach.app.problem import Problem, UsageProblem
from winding_coach.app.shelving import LOOKED_AT, SHORT_ID, looked, shelf_at
from winding_coach.app.typed import number, quantity
from winding_coach.base.units import FOOT_M, UnitSystem
from winding_coach.cli.args.common import add_common_arguments, home_from, units_from
from winding_coach.cli.args.conditions import add_conditions, condition_words, conditions_in
from winding_coach.cli.args.duration import clock, duration_s, split_duration
from winding_coach.cli.args.kinds import text
from winding_coach.cli.args.wind_choice import meant
from winding_coach.cli.output.tabular import table

if TYPE_CHECKING:
    from winding_coach.shelf.found import Found
    from winding_coach.shelf.records import Flight, Wind

MOST_TURNS = 1e6
BROKE, INTACT = "broke", "intact"
_TURNS = re.compile(r"\d{1,6}(?:[.,]\d{1,2})?c?", re.ASCII)
_LENGTH = re.compile(r"\d{1,5}(?:[.,]\d{1,3})?(?:m|cm|ft|in)", re.ASCII)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of `flight`."""
    parser.add_argument(
        "duration", nargs="?", metavar="DURATION", help="how long it flew; or list, void, restore, broke, intact"
    )
    parser.add_argument("--wind", default=None, metavar="WIND", help="its id or trace (the last wind)")
    left = parser.add_mutually_exclusive_group()
    left.add_argument("--left", metavar="TURNS", help="turns left on the motor after landing")
    left.add_argument("--left-crank", metavar="TURNS", help="the same, counted in turns of the winder's handle")
    parser.add_argument("--height", metavar="LENGTH", help="the highest it was")
    ceiling = parser.add_mutually_exclusive_group()
    ceiling.add_argument("--ceiling", action="store_true", default=None, help="it touched the ceiling")
    ceiling.add_argument("--no-ceiling", dest="ceiling", action="store_false", help="it did not")
    parser.add_argument("--remarks", metavar="TEXT", help="whatever should be remembered")
    parser.add_argument("--correct", action="store_true", help="change what was logged of this wind's flight")
    add_conditions(parser)
    parser.add_argument("--all", action="store_true", help="with list: voided ones too")
    parser.add_argument("--motor", metavar="NAME", help="with list: flights with this motor")
    parser.add_argument("--person", metavar="NAME", help="with list: flights of this person")
    parser.add_argument("--json", action="store_true", help="one JSON object")
    add_common_arguments(parser)


def run(args: argparse.Namespace) -> int:
    """Log a flight, or list them."""
    from winding_coach.shelf.found import NOTHING, found_on

    home = home_from(args)
    units = units_from(args, home)
    if args.duration == "list":
        return _list(args, home, units)
    if args.duration in ("void", "restore"):
        return _void(args, home, units)
    if args.duration in (BROKE, INTACT):
        return _mark(args, home)
    changes = _changes(args, units)
    with shelf_at(home) as shelf:
        looked(home, shelf)
        wind = shelf.find_wind(args.wind or "last")
        if wind.outcome == "broken" and args.wind is None:
            raise UsageProblem(
                f"The motor of the last wind ({wind.id[:SHORT_ID]}) broke: name the wind that flew with --wind."
            )
        if args.left_crank is not None:
            if wind.ratio is None:
                raise Problem("The winder's ratio of this wind is not known: give --left in turns of the motor.")
            changes["turns_left"] = number("--left-crank", args.left_crank, 0, MOST_TURNS) * wind.ratio
        flight = flight_with(changes, wind, shelf.flights([wind.id]), correct=args.correct)
        flight = _sound(home, wind, flight)
        shelf.fly(flight)
        found = found_on(shelf).get(wind.id, NOTHING)
    if args.json:
        print(json.dumps(as_object(wind, flight, found), ensure_ascii=False))
    else:
        print(sentence(wind, flight, units, found))
    return 0


def _mark(args: argparse.Namespace, home: Home) -> int:
    """Say of a wind whether its motor broke."""
    from winding_coach.app.last_time import mark

    with shelf_at(home) as shelf:
        looked(home, shelf)
        wind = shelf.find_wind(args.wind or "last")
        said = mark(shelf, wind, broke=args.duration == BROKE)
        if args.json:
            from winding_coach.shelf.tables import as_dict

            print(json.dumps(as_dict(shelf.wind(wind.id)), ensure_ascii=False))
        else:
            print(said)
    return 0


def _void(args: argparse.Namespace, home: Home, units: UnitSystem) -> int:
    """Leave the flight of a wind out everywhere, or take it back in."""
    from winding_coach.shelf.found import NOTHING, found_on

    voided = args.duration == "void"
    with shelf_at(home) as shelf:
        looked(home, shelf)
        wind = shelf.find_wind(args.wind or "last")
        flown = [one for one in shelf.flights([wind.id], voided=True) if one.voided != voided]
        if not flown:
            what = "to void" if voided else "that was voided"
            raise UsageProblem(f"Wind {wind.id[:SHORT_ID]} has no flight {what}: see 'flight list --all'.")
        flight = replace(flown[0], voided=voided)
        shelf.fly(flight)
        found = found_on(shelf).get(wind.id, NOTHING)
    if args.json:
        print(json.dumps(as_object(wind, flight, found), ensure_ascii=False))
    else:
        more = " 'flight restore' takes it back in." if voided else ""
        print(f"{sentence(wind, flight, units)}{more}")
    return 0


def _changes(args: argparse.Namespace, units: UnitSystem) -> dict[str, Any]:
    """Return the fields of a flight that were typed."""
    changes: dict[str, Any] = {}
    if args.duration is not None:
        changes["duration_s"] = duration_s(args.duration)
    if args.left is not None:
        if args.left.strip().lower().endswith("c"):
            # As in the finished screen: 18c are crank turns.
            args.left_crank = args.left.strip()[:-1]
        else:
            changes["turns_left"] = number("--left", args.left, 0, MOST_TURNS)
    if args.height is not None:
        changes["height_m"] = quantity("--height", args.height, "length", units)
    if args.ceiling is not None:
        changes["ceiling"] = args.ceiling
    if args.remarks is not None:
        changes["remarks"] = text("--remarks", args.remarks, units)
    changes |= conditions_in(args, units)
    if not changes and args.left_crank is None:
        raise UsageProblem("A flight needs what there is to log, as in: winding-coach flight 6:52 --left 180")
    return changes


def changes_in(line: str, ratio: float | None, units: UnitSystem) -> dict[str, Any]:
    """Return the fields of a flight from one line: `6:52 180 7.5m ceiling` and then remarks; `18c` are crank turns.

    Raises:
        UsageProblem: the line holds no flight.
    """
    first, rest = split_duration(line)
    words = rest.split()
    changes: dict[str, Any] = {"duration_s": duration_s(first)}
    while words:
        word = words[0]
        if _TURNS.fullmatch(word) and "turns_left" not in changes:
            in_crank_turns = word.endswith("c")
            if in_crank_turns and ratio is None:
                raise UsageProblem("The winder's ratio is not known: type the turns left in turns of the motor.")
            turns = number("turns left", word.rstrip("c"), 0, MOST_TURNS)
            changes["turns_left"] = turns * (ratio or 1.0) if in_crank_turns else turns
        elif _LENGTH.fullmatch(word) and "height_m" not in changes:
            changes["height_m"] = quantity("height", word, "length", units)
        elif word == "ceiling":
            changes["ceiling"] = True
        else:
            break
        words.pop(0)
    if words:
        changes["remarks"] = text("remarks", " ".join(words), units)
    return changes


def log_line(home: Home, trace_name: str, line: str, units: UnitSystem) -> str:
    """Log the flight of the wind in a trace from one line, or correct it; return what was logged, as a sentence.

    Raises:
        Problem: the line holds no flight, or the shelf cannot take it.
    """
    from winding_coach.app.last_time import mark
    from winding_coach.keeping.indexing import look

    with shelf_at(home) as shelf:
        look(home.traces, shelf, newest=LOOKED_AT)
        wind = shelf.find_wind(trace_name)
        if line.strip().lower() in (BROKE, INTACT):
            return mark(shelf, wind, broke=line.strip().lower() == BROKE)
        flown = shelf.flights([wind.id])
        flight = flight_with(changes_in(line, wind.ratio, units), wind, flown, correct=bool(flown))
        flight = _sound(home, wind, flight)
        shelf.fly(flight)
    return sentence(wind, flight, units)


def keeper(home: Home, trace_name: str, units: UnitSystem) -> Callable[[str], tuple[bool, str]]:
    """Return what keeps a line typed in the finished screen, and says whether it did and what of it."""

    def keep(line: str) -> tuple[bool, str]:
        try:
            # The screen waits for it, so not for long.
            kept = patiently(lambda: log_line(home, trace_name, line, units), lambda _: None, gives_up_after_s=0.0)
            return True, kept
        except GivenUpError:
            return False, "The shelf's disk does not answer: press enter again in a while."
        except Problem as problem:
            return False, str(problem)

    return keep


def _sound(home: Home, wind: Wind, flight: Flight) -> Flight:
    """Return a flight with its energy.

    Raises:
        UsageProblem: more turns are left than there were, or the wind went too short a way to be flown.
    """
    _could_fly(wind)
    if wind.launch_turns is not None and (flight.turns_left or 0) > wind.launch_turns:
        raise UsageProblem(
            f"--left: more turns are left ({flight.turns_left:.0f}) than were on the motor at launch"
            f" ({wind.launch_turns:.0f}): check the value, and whether it is motor turns or crank turns."
        )
    return replace(flight, energy_used_J=energy_used_J(home, wind, flight.turns_left))


def _could_fly(wind: Wind) -> None:
    """Refuse a flight of a wind that was interrupted early.

    Raises:
        UsageProblem: it was.
    """
    from winding_coach.shelf.store import USED_FROM

    if wind.outcome in ("done", "broken") or not wind.target_turns:
        return
    reached = None if wind.peak_turns is None else wind.peak_turns / wind.target_turns
    if reached is None and wind.target_peak_torque_Nm:
        reached = (wind.peak_torque_Nm or 0.0) / wind.target_peak_torque_Nm
    if reached is not None and reached < USED_FROM:
        raise UsageProblem(
            f"Wind {wind.id[:SHORT_ID]} was stopped at {reached:.0%} of its target, so it has no flight: name the wind"
            " that flew with --wind; 'shelf winds' lists them."
        )


def flight_with(changes: dict[str, Any], wind: Wind, flown: list[Flight], *, correct: bool) -> Flight:
    """Return a new flight of a wind, or its last one changed.

    Raises:
        UsageProblem: there is one already and it is not to be corrected, or the other way round.
    """
    from winding_coach.shelf.records import Flight

    short = wind.id[:SHORT_ID]
    if correct:
        if not flown:
            raise UsageProblem(f"--correct: no flight of wind {short} is logged yet; leave it out.")
        return replace(flown[0], **changes)
    if flown and flown[0].duration_s is None and "duration_s" in changes:
        # Its turns left were found when the motor was let down; now the rest of it.
        return replace(flown[0], **changes)
    if flown:
        raise UsageProblem(f"The flight of wind {short} is logged already: add --correct to change it.")
    return Flight(str(uuid.uuid4()), wind.id, datetime.now().astimezone().isoformat(timespec="seconds"), **changes)


def energy_used_J(home: Home, wind: Wind, turns_left: float | None) -> float | None:
    """Return the work that the motor gave between launch and landing, by the wind's plan scaled by its torque.

    None where it is not known: turns were not counted, or the trace is not there.
    """
    from winding_coach.keeping.replaying import settings_of
    from winding_coach.rubber.path import PlanPath
    from winding_coach.traces.files import Trace
    from winding_coach.traces.glance import glance
    from winding_coach.traces.rows import TraceError

    if wind.energy_stored_J is None or wind.launch_turns is None or turns_left is None:
        return None
    try:
        seen = glance(home.traces / wind.trace)
        settings = settings_of(Trace(seen.path, seen.header))
    except TraceError:
        return None
    path = PlanPath(settings.plan, settings.motor)
    launched_J, left_J = path.energy_left_J(wind.launch_turns), path.energy_left_J(turns_left)
    return wind.energy_stored_J * (1.0 - left_J / launched_J) if launched_J > 0 else None


def as_object(wind: Wind, flight: Flight, found: Found) -> dict[str, Any]:
    """Return a flight with what it used and its wind found, as an object; figures carry their unit in their name."""
    from winding_coach.shelf.flying import use_of

    named = {"motor": wind.motor, "person": wind.person}
    return asdict(flight) | named | asdict(use_of(wind, flight)) | asdict(found)


def high(height_m: float, units: UnitSystem) -> str:
    """Return a height in metres or feet."""
    return f"{height_m / FOOT_M:.0f} ft" if units == "inch" else f"{height_m:.1f} m"


def sentence(wind: Wind, flight: Flight, units: UnitSystem, found: Found | None = None) -> str:
    """Return a flight in one line."""
    from winding_coach.shelf.flying import use_of

    use = use_of(wind, flight)
    motor = "" if wind.motor is None else f", motor {wind.motor}"
    parts = ["duration not known" if flight.duration_s is None else clock(flight.duration_s)]
    if flight.turns_left is not None:
        share = "" if use.left_share is None else f" of {wind.launch_turns:.0f} ({use.left_share:.0%})"
        parts.append(f"{flight.turns_left:.0f} turns left{share}")
    if use.turns_per_s is not None:
        parts.append(f"{use.turns_per_s:.2f} turns/s")
    if use.energy_used_J is not None:
        share = "" if use.energy_share is None else f" ({use.energy_share:.0%} of what was stored)"
        parts.append(f"{use.energy_used_J:.2f} J used{share}")
    if flight.height_m is not None:
        parts.append(f"{high(flight.height_m, units)} high")
    if flight.ceiling is not None:
        parts.append("ceiling touched" if flight.ceiling else "ceiling not touched")
    parts += condition_words(flight, units, found)
    if flight.remarks:
        parts.append(flight.remarks)
    if flight.voided:
        parts.append("voided")
    return f"Flight of wind {wind.id[:SHORT_ID]}{motor}: {'; '.join(parts)}."


def _list(args: argparse.Namespace, home: Home, units: UnitSystem) -> int:
    from winding_coach.shelf.flying import use_of
    from winding_coach.shelf.found import found_on
    from winding_coach.shelf.store import WindFilter

    with shelf_at(home, reading=True) as shelf:
        wanted = WindFilter(motor=meant(shelf, "motor", args.motor), person=meant(shelf, "person", args.person))
        winds = {wind.id: wind for wind in shelf.winds(wanted)}
        flights = [flight for flight in shelf.flights(voided=args.all) if flight.wind in winds]
        found = found_on(shelf)
    if args.json:
        objects = [as_object(winds[one.wind], one, found[one.wind]) for one in flights]
        print(json.dumps({"flights": objects}, ensure_ascii=False))
        return 0
    if not flights:
        such = "No such flight" if args.motor or args.person else "No flight"
        print(f"{such} is logged: log one with 'winding-coach flight 6:52 --left 180'.")
        return 0
    rows = []
    for flight in flights:
        wind = winds[flight.wind]
        use = use_of(wind, flight)
        rows.append(
            [
                flight.flown[:16].replace("T", " "),
                wind.id[:SHORT_ID],
                wind.motor or "",
                wind.person or "",
                "" if flight.duration_s is None else clock(flight.duration_s),
                "" if flight.turns_left is None else f"{flight.turns_left:.0f}",
                "" if use.left_share is None else f"{use.left_share:.0%}",
                "" if use.turns_per_s is None else f"{use.turns_per_s:.2f}",
                "" if use.energy_used_J is None else f"{use.energy_used_J:.2f}",
                "" if flight.height_m is None else high(flight.height_m, units),
                "" if flight.ceiling is None else "yes" if flight.ceiling else "no",
                "; ".join((["voided"] if flight.voided else []) + condition_words(flight, units, found[wind.id])),
                flight.remarks,
            ]
        )
    heads = ("flown", "wind", "motor", "person", "lasted", "left", "share", "turns/s", "used J", "height", "ceiling")
    print("\n".join(table((*heads, "what it was", "remarks"), rows, right=frozenset(heads[4:10]))))
    return 0
