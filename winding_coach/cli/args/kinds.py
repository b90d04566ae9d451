"""What can be typed about each kind of thing on the shelf: its options, how they are read and shown."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from winding_coach.app.figures import RATIOS
from winding_coach.app.problem import UsageProblem
from winding_coach.app.typed import LONGEST_SHOWN, number, quantity, whole
from winding_coach.base.units import Kind, UnitSystem, listed, show
from winding_coach.cli.args.figures import MOST_STRANDS, MOST_WINDS
from winding_coach.traces.header import DIRECTIONS

LONGEST_TEXT = 500
STATES = ("in_use", "retired", "broken")
NONE = "none"
"""Typed in place of a value, it takes the value away."""

Read = Callable[[str, str, UnitSystem], Any]
"""option, what was typed, units → value."""
Show = Callable[[Any, UnitSystem], str]


@dataclass(frozen=True, slots=True)
class Option:
    """One field of a record as it is typed and shown. needed: it cannot be left out, nor taken away."""

    field: str
    flag: str
    metavar: str
    help: str
    read: Read
    show: Show
    needed: bool = False
    usual: Any = None


@dataclass(frozen=True, slots=True)
class KindSpec:
    """One kind of record: its table's name, its plural, its options, an example of `add` and of `edit`."""

    name: str
    plural: str
    options: tuple[Option, ...]
    add: str
    edit: str
    notes: tuple[str, ...] = field(default=())
    check: Callable[[Any], None] = lambda record: None
    """Refuses a record whose figures cannot be, with a UsageProblem."""


def a_name(option: str, typed: str) -> str:
    """Return a name as it may stand on the shelf, in a file's name and on a label.

    Raises:
        UsageProblem: it cannot.
    """
    from winding_coach.shelf.tables import LONGEST_NAME, is_name

    name = typed.strip()
    if not is_name(name):
        raise UsageProblem(
            f"{option}: '{typed[:LONGEST_SHOWN]}' cannot be a name: use up to {LONGEST_NAME} letters, digits, spaces,"
            " dots, dashes and plus signs."
        )
    return name


def _above_zero(kind: Kind) -> Read:
    def read(option: str, typed: str, units: UnitSystem) -> float:
        value = quantity(option, typed, kind, units)
        if not value > 0:
            raise UsageProblem(f"{option}: '{typed}' is not above zero; type a positive {kind}.")
        return value

    return read


def _from_zero(kind: Kind) -> Read:
    def read(option: str, typed: str, units: UnitSystem) -> float:
        value = quantity(option, typed, kind, units)
        if value < 0:
            raise UsageProblem(f"{option}: '{typed}' is below zero; type a positive {kind}.")
        return value

    return read


def _shown(kind: Kind) -> Show:
    return lambda value, units: show(value, kind, units)


def text(option: str, typed: str, units: UnitSystem) -> str:
    """Return a remark on one line.

    Raises:
        UsageProblem: it is too long or drives the terminal.
    """
    if len(typed) > LONGEST_TEXT or not typed.isprintable():
        raise UsageProblem(f"{option}: type one line of at most {LONGEST_TEXT} letters.")
    return typed.strip()


def _date(option: str, typed: str, units: UnitSystem) -> str:
    try:
        return datetime.date.fromisoformat(typed.strip()).isoformat()
    except ValueError:
        raise UsageProblem(f"{option}: '{typed[:LONGEST_SHOWN]}' is no date: type it as 2026-03-07.") from None


def _ratio(option: str, typed: str, units: UnitSystem) -> float:
    return number(option, typed.strip().removesuffix(":1"), *RATIOS)


def _strands(option: str, typed: str, units: UnitSystem) -> int:
    return whole(option, typed, 1, MOST_STRANDS)


def _winds(option: str, typed: str, units: UnitSystem) -> int:
    return whole(option, typed, 0, MOST_WINDS)


def _state(option: str, typed: str, units: UnitSystem) -> str:
    if typed not in STATES:
        raise UsageProblem(f"{option}: '{typed[:LONGEST_SHOWN]}' is no state: choose one of {', '.join(STATES)}.")
    return typed


def _hand(option: str, typed: str, units: UnitSystem) -> str:
    if typed not in DIRECTIONS:
        raise UsageProblem(f"{option}: '{typed[:LONGEST_SHOWN]}' is neither {' nor '.join(DIRECTIONS)}.")
    return typed


def _densities(option: str, typed: str, units: UnitSystem) -> tuple[float, ...]:
    read = _above_zero("linear density")
    return tuple(read(option, one, units) for one in listed(typed))


def _show_densities(values: tuple[float, ...], units: UnitSystem) -> str:
    return ", ".join(show(value, "linear density", units) for value in values)


def _plain(value: Any, units: UnitSystem) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)


def _named(option: str, typed: str, units: UnitSystem) -> str:
    return a_name(option, typed)


def _possible(motor: Any) -> None:
    """Refuse figures that no motor can have, before a wind stumbles over them."""
    from winding_coach.rubber.figures import FiguresError, MotorFigures
    from winding_coach.rubber.motor import geometry_of

    try:
        geometry_of(MotorFigures(motor.loop_m, motor.mass_kg, motor.orings_kg, motor.strands))
    except FiguresError as error:
        raise UsageProblem(str(error)) from None


REMARKS = Option("remarks", "--remarks", "TEXT", "whatever should be remembered", text, _plain, usual="")

BATCH = KindSpec(
    "batch",
    "batches",
    (
        Option("received", "--received", "DATE", "when it came, as in 2026-01-10", _date, _plain),
        Option(
            "densities_kg_per_m",
            "--density",
            "LIST",
            "linear densities of single strips as measured, with commas",
            _densities,
            _show_densities,
            usual=(),
        ),
        REMARKS,
    ),
    "batch add amber --received 2026-01-10 --density '2.19 g/m, 2.20 g/m, 2.21 g/m'",
    "batch edit amber --remarks 'dusted with talc'",
)
MOTOR = KindSpec(
    "motor",
    "motors",
    (
        Option(
            "loop_m",
            "--loop",
            "LENGTH",
            "relaxed length of the loop, as measured now",
            _above_zero("length"),
            _shown("length"),
            needed=True,
        ),
        Option(
            "mass_kg",
            "--mass",
            "MASS",
            "as weighed, O-rings included",
            _above_zero("mass"),
            _shown("mass"),
            needed=True,
        ),
        Option(
            "orings_kg", "--orings", "MASS", "mass of the O-rings (0)", _from_zero("mass"), _shown("mass"), usual=0.0
        ),
        Option("strands", "--strands", "N", "strands side by side (2: one loop)", _strands, _plain, usual=2),
        Option("batch", "--batch", "NAME", "batch of rubber it is cut from, on the shelf", _named, _plain),
        Option("made", "--made", "DATE", "when it was made, as in 2026-02-01", _date, _plain),
        Option("uses_before", "--used", "N", "winds it had before the shelf knew it (0)", _winds, _plain, usual=0),
        Option("state", "--state", "STATE", f"one of {', '.join(STATES)}", _state, _plain, usual="in_use"),
        REMARKS,
    ),
    "motor add th-07 --loop '30 cm' --mass '1.40 g' --orings '0.08 g' --batch amber",
    "motor edit th-07 --loop '30.6 cm'",
    check=_possible,
)
WINDER = KindSpec(
    "winder",
    "winders",
    (
        Option("ratio", "--ratio", "R", "motor turns for one crank turn", _ratio, _plain, needed=True),
        Option(
            "limit_Nm", "--limit", "TORQUE", "what the winder is rated for", _above_zero("torque"), _shown("torque")
        ),
        REMARKS,
    ),
    "winder add ten --ratio 10 --limit '50 mN.m'",
    "winder edit ten --limit '40 mN.m'",
)
MODEL = KindSpec(
    "model",
    "models",
    (
        Option("hooks_m", "--hooks", "LENGTH", "distance between its hooks", _above_zero("length"), _shown("length")),
        Option("mass_kg", "--mass", "MASS", "without motor", _above_zero("mass"), _shown("mass")),
        Option(
            "launch_torque_Nm",
            "--launch-torque",
            "TORQUE",
            "wanted at launch",
            _above_zero("torque"),
            _shown("torque"),
        ),
        Option("hand", "--hand", "WAY", "right or left: which way round its motors are wound", _hand, _plain),
        Option("turner", "--prop", "TEXT", "its rotor or propeller", text, _plain, usual=""),
        REMARKS,
    ),
    "model add Thistledown --hooks '22 cm' --mass '1.2 g' --prop 'propeller 40 cm'",
    "model edit Thistledown --launch-torque '3.4 mN.m'",
)
PERSON = KindSpec(
    "person",
    "people",
    (REMARKS,),
    "person add Wren",
    "person edit Wren --remarks 'winds with the left hand'",
    (
        "A nickname is enough. Of children keep no more than that: no family names, ages, schools or pictures. What is",
        "kept stays in the data folder of this computer, for its user's eyes only.",
    ),
)
