"""The one table of a wind's values: made by the coach, kept in traces and on the shelf, compared, shown. Pure.

A row is a field of `WindValues`: its name (SI, the unit in it), its type, and with `_row` all else. `Summary`, `Wind`
and `Again` have these fields by inheritance, the shelf's file a column for each; JSON, rounding, tolerance, sentences,
tables of reviews and seasons and docs/reference/reference.md follow. How each is made is in `coach/notes.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields, replace
from typing import Any, Final

from winding_coach.base.units import UnitSystem, show

LARGEST_WHOLE = 2**63
"""The shelf keeps whole numbers below this."""
OF_LAST_DIGIT = 0.6
"""By so much of the last digit that a trace has may a value differ from the trace's: half is its rounding."""
KINDS = {"mN·m": "torque", "mN·m/s": "rate", "share": "share", "turns": "turns", "times": "zero", "lines": "zero"}


@dataclass(frozen=True, slots=True)
class WindValue:
    """One value. unit, decimals: as written in JSON, torque in mN·m. what: for the reference.

    label: in tables of reviews; "" leaves it out where no review has a row of its own for it. wanted: 1 more is better,
    -1 less is, 0 neither; None leaves it out of a season. told: in the sentence of a wind's end, with the value where
    braces are (torque in the user's unit). where_known: its key is left out of JSON where it is not known.
    """

    unit: str
    decimals: int
    what: str
    label: str = ""
    wanted: int | None = None
    told: str = ""
    where_known: bool = False
    name: str = ""
    whole: bool = False

    @property
    def scale(self) -> float:
        """What is written in JSON for one of SI."""
        return 1e3 if self.unit.startswith("mN·m") else 1.0

    @property
    def key(self) -> str:
        """The name in JSON."""
        return self.name.replace("_Nm", "_mNm") if self.scale != 1.0 else self.name

    @property
    def kind(self) -> str:
        """How it is shown."""
        return KINDS.get(self.unit, "one")

    @property
    def sql_type(self) -> str:
        """Of its column on the shelf."""
        return "INTEGER" if self.whole else "REAL"

    @property
    def within(self) -> float:
        """By how much it may differ from a trace's, in SI."""
        return 0.0 if self.whole else OF_LAST_DIGIT * 10.0**-self.decimals / self.scale

    def of(self, values: WindValues) -> float | None:
        """Return this value of a wind, in SI."""
        found: float | None = getattr(values, self.name)
        return found

    def written_of(self, values: WindValues) -> float | None:
        """Return this value as it is written in JSON, not rounded."""
        value = self.of(values)
        return None if value is None else value if self.scale == 1.0 else value * self.scale


def _row(
    unit: str,
    decimals: int,
    what: str,
    *,
    label: str = "",
    wanted: int | None = None,
    told: str = "",
    where_known: bool = False,
) -> dict[str, WindValue]:
    return {"row": WindValue(unit, decimals, what, label, wanted, told, where_known)}


@dataclass(frozen=True, slots=True, kw_only=True)
class WindValues:
    """A wind's values, in SI; None for not known. Turns are of the motor."""

    peak_torque_Nm: float | None = field(
        default=None, metadata=_row("mN·m", 4, "highest torque, averaged over half a second")
    )
    peak_turns: float | None = field(default=None, metadata=_row("turns", 1, "in the motor at the peak"))
    backed_off_turns: float | None = field(default=None, metadata=_row("turns", 1, "taken off between peak and launch"))
    launch_torque_Nm: float | None = field(default=None, metadata=_row("mN·m", 4, "torque when it was ready to launch"))
    launch_turns: float | None = field(
        default=None, metadata=_row("turns", 1, "in the motor when it was ready to launch")
    )
    energy_stored_J: float | None = field(
        default=None,
        metadata=_row(
            "J",
            4,
            "work that the motor gives back from its turns at launch, by the plan's model scaled by this motor's torque"
            " at the peak",
            told="{:.2f} J stored",
        ),
    )
    stalls: int | None = field(default=None, metadata=_row("times", 0, "how often the crank stopped in the walk-in"))
    stalled_s: float | None = field(
        default=None, metadata=_row("s", 2, "how long the crank stopped, in all", label="crank stopped, s", wanted=-1)
    )
    time_in_rate_band: float | None = field(
        default=None,
        metadata=_row(
            "share",
            4,
            "part of the walk-in and the final turns with the rate in its band, 0-1",
            label="rate in its band",
            wanted=1,
            told="{:.0%} of the time in the rate band",
        ),
    )
    lost_lines: int | None = field(
        default=None,
        metadata=_row("lines", 0, "of the meter that did not arrive", label="lines lost", told="{} lines lost"),
    )
    duration_s: float | None = field(default=None, metadata=_row("s", 3, "length of the trace"))
    wait_s: float | None = field(
        default=None,
        metadata=_row(
            "s",
            1,
            "from the peak until the motor left the meter, ready to launch",
            told="{:.0f} s from the peak to the model",
            where_known=True,
        ),
    )


VALUES: Final = tuple(
    replace(one.metadata["row"], name=one.name, whole="int" in str(one.type)) for one in fields(WindValues)
)
BY_NAME: Final = {value.name: value for value in VALUES}


def as_json(values: WindValues, *, where_known: bool = False) -> dict[str, Any]:
    """Return the values as a trace's summary has them: those that are always there, or those only where known."""
    found = {value: value.written_of(values) for value in VALUES if value.where_known is where_known}
    return {
        value.key: one if one is None or value.whole else round(one, value.decimals)
        for value, one in found.items()
        if one is not None or not where_known
    }


def from_json(summary: dict[str, Any]) -> dict[str, Any]:
    """Return the values of a summary as it stands in a trace, in SI by name; what is no number is not known."""
    made: dict[str, Any] = {}
    for value in VALUES:
        one = number(summary.get(value.key))
        if one is not None:
            one = int(one) if value.whole else one if value.scale == 1.0 else one / value.scale
        made[value.name] = one
    return made


def number(found: object) -> Any:
    """Return what was found if it is a number that the shelf can keep."""
    good = isinstance(found, (int, float)) and not isinstance(found, bool) and abs(found) < LARGEST_WHOLE
    return found if good else None


def lacking(summary: dict[str, Any] | None) -> tuple[str, ...]:
    """Return the names of the values that a trace's summary does not have."""
    return tuple(value.name for value in VALUES if summary is None or value.key not in summary)


def told(values: WindValues, units: UnitSystem, *names: str) -> list[str]:
    """Return the parts of a sentence that show these values; nothing for what is not known."""
    found = []
    for row in (BY_NAME[name] for name in names):
        value = row.of(values)
        if value is not None and row.kind in ("torque", "rate"):
            found.append(row.told.format(show(value, "torque", units) + ("/s" if row.kind == "rate" else "")))
        elif value is not None:
            found.append(row.told.format(value))
    return found
