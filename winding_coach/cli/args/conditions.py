"""What a flight was and in which air it was made: options in, fields of a flight out, and the same in words."""

from __future__ import annotations

import argparse
import re
from typing import TYPE_CHECKING, Any

from winding_coach.app.ago import for_long
from winding_coach.app.problem import UsageProblem
from winding_coach.app.typed import LONGEST_SHOWN, number, quantity
from winding_coach.base.units import FOOT_M, UnitSystem, counted, parse_number, show
from winding_coach.cli.args.kinds import NONE, text

if TYPE_CHECKING:
    from winding_coach.shelf.found import Found
    from winding_coach.shelf.records import Flight

COLDEST_C, HOTTEST_C = -20.0, 60.0
LOWEST_M, HIGHEST_M = 2.0, 100.0
"""Of a hall's ceiling; typed beyond these, it was a slip."""
LONGEST_SPACER_M = 5.0
HEAVIEST_SPACER_KG = 0.1
_TEMPERATURE = re.compile(r"([+-]?\d{1,3}(?:[.,]\d{1,2})?)\s*°?\s*([CF]?)", re.ASCII | re.IGNORECASE)


def add_conditions(parser: argparse.ArgumentParser) -> None:
    """Add the options that say what kind of flight it was and in which air."""
    from winding_coach.shelf.records import FLIGHT_KINDS

    kind = parser.add_argument_group("what it was", f"'{NONE}' takes a value away, with --correct")
    kind.add_argument("--kind", choices=(*FLIGHT_KINDS, NONE), help="what it was flown for")
    kind.add_argument("--spoilt", metavar="WHY", help="it hit something or was launched badly: advice leaves it out")
    kind.add_argument("--spacer-mass", metavar="MASS", help="a part-motor flight: mass of the spacer beside the motor")
    kind.add_argument("--spacer-length", metavar="LENGTH", help="and the spacer's length")
    air = parser.add_argument_group("the air and the hall")
    air.add_argument("--temperature", metavar="T", help="as in '19 C' or '66 F'")
    air.add_argument("--humidity", metavar="PERCENT", help="relative humidity")
    air.add_argument("--ceiling-height", metavar="LENGTH", help="height of the hall")
    air.add_argument("--hall", metavar="NAME", help="where it was")


def conditions_in(args: argparse.Namespace, units: UnitSystem) -> dict[str, Any]:
    """Return the fields of a flight that were typed, in SI; `none` gives None.

    Raises:
        UsageProblem: something typed is not what its option takes.
    """
    found: dict[str, Any] = {}
    for option, field, read in (
        ("--kind", "kind", lambda typed: typed),
        ("--spoilt", "spoilt", lambda typed: _words("--spoilt", typed, units)),
        ("--spacer-mass", "spacer_kg", lambda typed: _within("--spacer-mass", typed, "mass", units)),
        ("--spacer-length", "spacer_m", lambda typed: _within("--spacer-length", typed, "length", units)),
        ("--temperature", "temperature_C", lambda typed: temperature_C("--temperature", typed, units)),
        ("--humidity", "humidity", lambda typed: number("--humidity", typed.strip().rstrip("% "), 0, 100) / 100.0),
        ("--ceiling-height", "ceiling_m", lambda typed: ceiling_m("--ceiling-height", typed, units)),
        ("--hall", "hall", lambda typed: _words("--hall", typed, units)),
    ):
        typed = getattr(args, option.lstrip("-").replace("-", "_"))
        if typed is not None:
            found[field] = None if typed.strip().lower() == NONE else read(typed)
    return found


def _words(option: str, typed: str, units: UnitSystem) -> str:
    words = text(option, typed, units)
    if not words:
        raise UsageProblem(f"{option}: type a few words, or '{NONE}' to take it away.")
    return words


def _within(option: str, typed: str, kind: str, units: UnitSystem) -> float:
    value = quantity(option, typed, "mass" if kind == "mass" else "length", units)
    most = HEAVIEST_SPACER_KG if kind == "mass" else LONGEST_SPACER_M
    if not 0.0 < value <= most:
        raise UsageProblem(f"{option}: '{typed[:LONGEST_SHOWN]}' is no spacer's: type its {kind}, above zero.")
    return value


def temperature_C(option: str, typed: str, units: UnitSystem) -> float:
    """Return a typed temperature in degrees Celsius; without a unit it is Fahrenheit in the inch system.

    Raises:
        UsageProblem: it is none that people fly in.
    """
    match = _TEMPERATURE.fullmatch(typed.strip())
    value = COLDEST_C - 1.0
    if match is not None:
        value = parse_number(match[1])
        if (match[2].upper() or ("F" if units == "inch" else "C")) == "F":
            value = (value - 32.0) / 1.8
    if not COLDEST_C <= value <= HOTTEST_C:
        raise UsageProblem(
            f"{option}: '{typed[:LONGEST_SHOWN]}' is no hall's temperature: type it as '19 C' or '66 F'."
        )
    return value


def ceiling_m(option: str, typed: str, units: UnitSystem) -> float:
    """Return a typed height of a hall in metres.

    Raises:
        UsageProblem: no hall is so low or so high.
    """
    value = quantity(option, typed, "length", units)
    if not LOWEST_M <= value <= HIGHEST_M:
        raise UsageProblem(f"{option}: '{typed[:LONGEST_SHOWN]}' is no hall's: give its height in m or ft.")
    return value


def condition_words(flight: Flight, units: UnitSystem, found: Found | None = None) -> list[str]:
    """Return what is known of a flight's kind and air, and of what its wind found, a part of a sentence each."""
    words = []
    if flight.kind is not None:
        words.append(f"{flight.kind} flight")
    if flight.spoilt is not None:
        words.append(f"spoilt ({flight.spoilt}), left out of advice")
    if flight.spacer_kg is not None or flight.spacer_m is not None:
        sizes = [
            show(value, "mass" if of == "mass" else "length", units)
            for of, value in (("mass", flight.spacer_kg), ("length", flight.spacer_m))
            if value is not None
        ]
        words.append(f"part-motor, spacer {' and '.join(sizes)}")
    if flight.temperature_C is not None:
        inch = units == "inch"
        words.append(f"{flight.temperature_C * 1.8 + 32:.0f} °F" if inch else f"{flight.temperature_C:.0f} °C")
    if flight.humidity is not None:
        words.append(f"humidity {flight.humidity:.0%}")
    if flight.ceiling_m is not None:
        inch = units == "inch"
        words.append(
            f"ceiling at {flight.ceiling_m / FOOT_M:.0f} ft" if inch else f"ceiling at {flight.ceiling_m:.1f} m"
        )
    if flight.hall is not None:
        words.append(flight.hall)
    if found is not None and found.rest_s is not None:
        words.append(f"rested {for_long(found.rest_s)}")
    if found is not None and found.rubber_age_days is not None:
        words.append(f"rubber {counted(found.rubber_age_days, 'day')} old")
    return words
