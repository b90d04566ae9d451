"""Units at the edges: typed quantities in, figures with a unit out. Inside, everything is SI.

Conversions follow exactly from the international pound and inch and standard gravity
(NIST SP 811, appendix B); the tests hold the published decimals.
"""

from __future__ import annotations

import math
import re
from typing import Literal

from winding_coach.base.errors import WrongFigures

UnitSystem = Literal["metric", "inch"]
Kind = Literal["length", "mass", "linear density", "torque"]

INCH_M = 0.0254
FOOT_M = 0.3048
OUNCE_KG = 0.028349523125
GRAVITY_M_PER_S2 = 9.80665
OZF_N = OUNCE_KG * GRAVITY_M_PER_S2
OZF_IN_NM = OZF_N * INCH_M
GF_CM_NM = 1e-3 * GRAVITY_M_PER_S2 * 1e-2
G_PER_IN_KG_PER_M = 1e-3 / INCH_M

UNITS: dict[Kind, dict[str, float]] = {
    "length": {"m": 1.0, "cm": 1e-2, "mm": 1e-3, "in": INCH_M, "ft": FOOT_M},
    "mass": {"g": 1e-3, "mg": 1e-6, "kg": 1.0, "oz": OUNCE_KG},
    "linear density": {"g/m": 1e-3, "kg/m": 1.0, "g/in": G_PER_IN_KG_PER_M, "g/cm": 0.1},
    "torque": {
        "mN.m": 1e-3,
        "N.m": 1.0,
        "ozf.in": OZF_IN_NM,
        "gf.cm": GF_CM_NM,
        "lbf.in": 16 * OZF_IN_NM,
    },
}
"""SI value of one of each unit, by kind of quantity and the way it is typed."""

SHOWN: dict[UnitSystem, dict[Kind, tuple[str, int]]] = {
    "metric": {"length": ("cm", 1), "mass": ("g", 2), "linear density": ("g/m", 3), "torque": ("mN.m", 2)},
    "inch": {"length": ("in", 1), "mass": ("g", 2), "linear density": ("g/in", 4), "torque": ("ozf.in", 3)},
}
"""Unit and decimals that each unit system shows and takes when none is typed."""

PRINTED = {"mN.m": "mN·m", "N.m": "N·m", "ozf.in": "ozf·in", "gf.cm": "gf·cm", "lbf.in": "lbf·in"}
"""How a typed unit is printed, where that differs."""

_OTHER_SPELLINGS = {
    '"': "in",
    "inch": "in",
    "in.oz": "ozf.in",
    "oz.in": "ozf.in",
    "Nm": "N.m",
    "mNm": "mN.m",
    "'": "ft",
}
_NUMBER = re.compile(r"[+-]?(?:\d{1,12}(?:[.,]\d{0,12})?|[.,]\d{1,12})(?:[eE][+-]?\d{1,2})?", re.ASCII)
_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2}(?:,\d{3})+", re.ASCII)
_QUANTITY = re.compile(rf"({_NUMBER.pattern}|{_THOUSANDS.pattern})\s*((?![\d.,])\S*)\s*", re.ASCII)
_BETWEEN = re.compile(r"\s*(?:;|,(?!\d)|(?<!\d),)\s*")
_BARE_LIST = re.compile(r"[\d.,\s+-]+", re.ASCII)


NO_NUMBER = "–"
"""What is printed for a value that is none."""


class QuantityError(WrongFigures):
    """A typed quantity that is not one; the message is a whole sentence for the person who typed it."""


def parse_number(text: str) -> float:
    """Return a typed number, with a decimal point or a decimal comma.

    Raises:
        QuantityError: it is none, or may be thousands as well, as 1,310.
    """
    plain = text.strip()
    if _THOUSANDS.fullmatch(plain):
        joined, pointed = plain.replace(",", ""), plain.replace(",", ".", 1)
        raise QuantityError(f"'{plain[:40]}' may be {joined[:40]} or {pointed[:40]}: type the one that is meant.")
    if not _NUMBER.fullmatch(plain):
        shown = "".join(c if c.isprintable() else "?" for c in plain[:40])
        raise QuantityError(f"'{shown}' is not a number: type it as 1.4 or 1,4.")
    # Twelve digits and two of exponent: always finite.
    return float(plain.replace(",", "."))


def listed(text: str) -> list[str]:
    """Return the quantities of a typed list: between them stands a comma or a semicolon, within them a point or comma.

    A comma between two digits is a decimal comma, unless there is nothing but digits and commas: 0,10,20 are three.
    """
    if _BARE_LIST.fullmatch(text):
        return [part.strip() for part in text.split(",")]
    return _BETWEEN.split(text.strip())


def parse_quantity(text: str, kind: Kind, system: UnitSystem = "metric") -> float:
    """Return the SI value of a typed quantity such as `43 cm`, `14in` or `0.9 ozf.in`.

    Without a unit the one that `system` shows is taken.

    Raises:
        QuantityError: no number, or no unit of this kind.
    """
    shown = text if len(text) <= 40 else text[:37] + "…"
    shown = "".join(c if c.isprintable() else "?" for c in shown)
    match = _QUANTITY.fullmatch(text.strip())
    known = ", ".join(UNITS[kind])
    if match is None:
        raise QuantityError(
            f"'{shown}' is not a {kind}: type a number and one of {known}, as in '{example(kind, system)}'."
        )
    number, unit = match.groups()
    unit = unit.replace("·", ".").replace("*", ".").replace("-", ".")
    unit = _OTHER_SPELLINGS.get(unit, unit) or SHOWN[system][kind][0]
    if unit not in UNITS[kind]:
        raise QuantityError(f"'{shown}' has no unit of {kind}: use one of {known}, as in '{example(kind, system)}'.")
    return parse_number(number) * UNITS[kind][unit]


def counted(count: int, one: str, many: str | None = None) -> str:
    """Return a count with its noun, as in `1 wind` and `3 winds`. many: if it does not just take an s."""
    return f"{count} {one if count == 1 else many or one + 's'}"


def example(kind: Kind, system: UnitSystem) -> str:
    """A quantity of this kind as one would type it, for messages and help."""
    number = {"length": "30", "mass": "1.4", "linear density": "2.2", "torque": "3.5"}[kind]
    if system == "inch":
        number = {"length": "12", "mass": "1.4", "linear density": "0.055", "torque": "0.5"}[kind]
    return f"{number} {SHOWN[system][kind][0]}"


def show(value_si: float, kind: Kind, system: UnitSystem, decimals: int | None = None) -> str:
    """Return an SI value as text with its unit, in the unit system given."""
    return f"{shown_number(value_si, kind, system, decimals)} {unit_label(kind, system)}"


def shown_number(value_si: float, kind: Kind, system: UnitSystem, decimals: int | None = None) -> str:
    """Return an SI value as text without its unit, in the unit system given; a dash for what is no number."""
    unit, usual = SHOWN[system][kind]
    if not math.isfinite(value_si):
        return NO_NUMBER
    return f"{value_si / UNITS[kind][unit]:z.{usual if decimals is None else decimals}f}"


def show_pull(pull_N: float, system: UnitSystem) -> str:
    """Return a pull in newtons or pounds-force."""
    return f"{pull_N / (16 * OZF_N):.1f} lbf" if system == "inch" else f"{pull_N:.0f} N"


def show_energy(energy_J: float, system: UnitSystem, decimals: int = 1) -> str:
    """Return an energy in joules, with the inch units in foot-pounds beside it."""
    joules = f"{energy_J:.{decimals}f} J"
    return f"{joules} ({energy_J / (12 * 16 * OZF_IN_NM):.1f} ft·lbf)" if system == "inch" else joules


def unit_label(kind: Kind, system: UnitSystem) -> str:
    """The unit that `shown_number` leaves out, as printed."""
    unit = SHOWN[system][kind][0]
    return PRINTED.get(unit, unit)
