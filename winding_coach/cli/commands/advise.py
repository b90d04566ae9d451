"""Say what to change next, from the logged winds and flights of one person with one model, each with its reason.

example:
  winding-coach advise
  winding-coach advise --person Wren --model Thistledown --ceiling '8 m'
  winding-coach advise --motor th-07 --json

Without names it takes those of the last flight. It is based on a fit of the person's own flights where there are
enough, else on rules of thumb, and says which. What it needs of each flight: duration and turns left. A change of
duration is given with the interval that should hold it four times in five.

Care: a new motor is unknown. Wear eye protection and keep within the ratings of winder and hooks; the adult in charge
and local rules come before what a program advises.
"""

from __future__ import annotations

import argparse
import json
import textwrap
from dataclasses import dataclass
from typing import TYPE_CHECKING

from winding_coach.app.shelving import looked, shelf_at
from winding_coach.base.units import UnitSystem, show
from winding_coach.cli.args import conditions
from winding_coach.cli.args.common import add_common_arguments, home_from, units_from
from winding_coach.cli.output.help_lines import command_lines

if TYPE_CHECKING:
    from winding_coach.review.advice.advice_words import Advice
    from winding_coach.review.advice.advise import Advised
    from winding_coach.rubber.figures import MotorFigures
    from winding_coach.shelf.records import Flight, Model, Motor, Person, Wind
    from winding_coach.shelf.store import Shelf

WIDTH = 80


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of `advise`."""
    parser.add_argument("--person", metavar="NAME", help="whose flights (who flew last)")
    parser.add_argument("--model", metavar="NAME", help="with this model (the one flown last)")
    parser.add_argument("--motor", metavar="NAME", help="whose next wind is asked about (the one flown last)")
    parser.add_argument("--ceiling", metavar="LENGTH", help="height of the hall (estimated from flights, else 8 m)")
    parser.add_argument("--json", action="store_true", help="one JSON object, values in SI units")
    add_common_arguments(parser)


def run(args: argparse.Namespace) -> int:
    """Advise."""
    from winding_coach.shelf.records import Motor

    home = home_from(args)
    units = units_from(args, home)
    ceiling_m = None
    if args.ceiling is not None:
        ceiling_m = conditions.ceiling_m("--ceiling", args.ceiling, units)
    with shelf_at(home, reading=True) as shelf:
        looked(home, shelf)
        motor = None if args.motor is None else shelf.find(Motor, args.motor)
        asked = advised_for(shelf, args.person, args.model, units, motor=motor, ceiling_m=ceiling_m)
    if args.json:
        named = {"person": asked.person, "model": asked.model, "motor": asked.motor}
        print(json.dumps(named | asked.advised.as_json(), ensure_ascii=False))
    else:
        print("\n".join(_lines(asked.advised, asked.person, asked.model, units)))
    return 0


@dataclass(frozen=True, slots=True)
class Asked:
    """Advice, and for whom: names, None where nothing says."""

    advised: Advised
    person: str | None
    model: str | None
    motor: str | None


def advised_for(
    shelf: Shelf,
    person_typed: str | None,
    model_typed: str | None,
    units: UnitSystem,
    *,
    motor: Motor | None = None,
    ceiling_m: float | None = None,
) -> Asked:
    """Return what to change next for a person with a model, as named or of the last flight.

    Raises:
        ShelfError: a name may be several, or the shelf cannot be read.
    """
    from winding_coach.review.advice.advise import advise
    from winding_coach.shelf.store import WindFilter

    person, model_name = _whose(person_typed, model_typed, shelf, motor)
    flown = shelf.flown(WindFilter(person=person, model=model_name))
    winds = [wind for wind, _ in flown]
    flights = {wind.id: flight for wind, flight in flown if flight is not None}
    motor = motor or _last_motor(shelf, winds, flights)
    motor_winds, batch_winds, uses, remarks = _about(shelf, motor)
    advised = advise(
        winds,
        flights,
        _model(shelf, model_name),
        motor=motor,
        motor_winds=motor_winds,
        batch_winds=batch_winds,
        uses=uses,
        remarks=remarks,
        ceiling_m=ceiling_m,
        units=units,
    )
    return Asked(advised, person, model_name, None if motor is None else motor.name)


def _whose(
    person_typed: str | None, model_typed: str | None, shelf: Shelf, motor: Motor | None
) -> tuple[str | None, str | None]:
    """Return person and model: as named, else of the last flight that fits what is named, else of the last wind."""
    from winding_coach.shelf.records import Model, Person
    from winding_coach.shelf.store import WindFilter

    person = None if person_typed is None else _name(shelf, Person, person_typed)
    model = None if model_typed is None else _name(shelf, Model, model_typed)
    if person is not None and model is not None:
        return person, model
    wanted = WindFilter(person=person, model=model, motor=None if motor is None else motor.name)
    flown = shelf.flown(wanted)
    last = next((wind for wind, flight in flown if flight is not None), flown[0][0] if flown else None)
    if last is None:
        return person, model
    return person or last.person, model or last.model


def _name(shelf: Shelf, kind: type[Person] | type[Model], typed: str) -> str:
    """Return the name that is meant; winds may name what the shelf never held."""
    begin_so = [one.name for one in shelf.all(kind) if one.name.casefold().startswith(typed.casefold())]
    return shelf.find(kind, typed).name if begin_so else typed


def _model(shelf: Shelf, name: str | None) -> Model | None:
    from winding_coach.shelf.records import Model

    return shelf.get(Model, name) if name is not None and shelf.has(Model, name) else None


def _last_motor(shelf: Shelf, winds: list[Wind], flights: dict[str, Flight]) -> Motor | None:
    """Return the motor that was flown last, if it is on the shelf."""
    from winding_coach.shelf.records import Motor

    last = next((wind for wind in winds if wind.id in flights), None)
    if last is None or last.motor is None or not shelf.has(Motor, last.motor):
        return None
    return shelf.get(Motor, last.motor)


def _about(shelf: Shelf, motor: Motor | None) -> tuple[list[Wind], list[Wind], int, list[str]]:
    """Return a motor's winds and its batch's, oldest first, how often it was wound, and the remarks on it."""
    from winding_coach.shelf.store import WindFilter

    if motor is None:
        return [], [], 0, []
    flown = shelf.flown(WindFilter(motor=motor.name))[::-1]
    winds = [wind for wind, _ in flown]
    batch = winds if motor.batch is None else shelf.winds(WindFilter(batch=motor.batch, newest=BATCH))[::-1]
    remarks = [motor.remarks, *(w.remarks for w, _ in flown), *(f.remarks for _, f in flown if f is not None)]
    return winds, batch, shelf.uses(motor.name), [text for text in remarks if text]


BATCH = 100
"""So many of the newest winds of a batch are asked for."""


def _lines(advised: Advised, person: str | None, model: str | None, units: UnitSystem) -> list[str]:
    from winding_coach.review.advice.advice_words import law_lines

    whose = " with ".join(name for name in (person, model) if name)
    lines = [f"Advice for {whose}." if whose else "Advice.", *_wrapped(advised.basis)]
    if advised.fit is not None:
        lines += [f"  {line}" for line in law_lines(advised.fit, units)]
    first = next((item for item in advised.items if item.topic != "whole"), None)
    for number, item in enumerate(advised.items, 1):
        lines += ["", *_wrapped(f"{number}. {item.do}")]
        effect = effect_words(item)
        lines += [f"   {line}" for line in _wrapped(f"{item.why} {effect}".strip(), WIDTH - 3)]
        if item is first and item.motor is not None and item.topic == "motor":
            lines += [
                "   Its plan:",
                *command_lines(f"   {_plan_words(item.motor, item.cut_loop_m, advised, units)}", WIDTH),
            ]
    if not advised.items:
        lines += ["", "There is nothing to advise yet."]
    return lines


def _plan_words(motor: MotorFigures, cut_loop_m: float | None, advised: Advised, units: UnitSystem) -> str:
    """Return the command that plans a motor's first wind, to be copied."""
    words = [f"winding-coach plan --loop '{show(cut_loop_m or motor.loop_m, 'length', units)}'"]
    words.append(f"--mass '{show(motor.mass_kg, 'mass', units)}'")
    if motor.orings_kg:
        words.append(f"--orings '{show(motor.orings_kg, 'mass', units)}'")
    if motor.strands != 2:
        words.append(f"--strands {motor.strands}")
    if advised.last is not None:
        words.append(f"--hooks '{show(advised.last.hooks_m, 'length', units)}'")
    return " ".join(words)


def _wrapped(text: str, width: int = WIDTH) -> list[str]:
    return textwrap.wrap(text, width, break_long_words=False, break_on_hyphens=False)


def effect_words(item: Advice) -> str:
    """Return the expected change of duration in words, empty where nothing tells."""
    from winding_coach.review.advice.advice_words import percent

    if item.gain is None or item.low is None or item.high is None:
        return ""
    guess = " (a guess from scaling laws)" if item.rests_on == "rules" else ""
    return f"Duration {percent(item.gain)}, between {percent(item.low)} and {percent(item.high)}{guess}."
