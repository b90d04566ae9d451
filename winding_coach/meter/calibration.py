"""Counts to torque: a calibration is a value, loaded from a file; a tare replaces its zero for one wind. Pure.

torque = Nm_per_count·Δ + Nm_per_count2·Δ², Δ = raw − zero. The sign of Nm_per_count is the direction of the cell.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from typing import Any

from winding_coach.base.errors import WrongFile
from winding_coach.meter.frames import RAW_MAX, RAW_MIN

FORMAT = "winding-coach calibration"
VERSION = 1
LONGEST_TEXT = 1_000_000


class CalibrationError(WrongFile, ValueError):
    """A calibration that cannot be used; the message is one sentence that says why."""


@dataclass(frozen=True, slots=True)
class Calibration:
    """A calibration file, version 1. rating_Nm: torque at which the cell is fully loaded; sd_Nm: standard
    uncertainty of a reading; both None when not known."""

    id: str
    made: str
    meter: str
    zero_counts: float
    Nm_per_count: float
    Nm_per_count2: float = 0.0
    rating_Nm: float | None = None
    sd_Nm: float | None = None
    points: tuple[Any, ...] = field(default=(), hash=False)
    remarks: str = ""
    more: dict[str, Any] = field(default_factory=dict, hash=False)

    def torque_Nm(self, raw: float, zero_counts: float | None = None) -> float:
        """Return the torque of a raw reading, with the calibration's zero or one taken since."""
        off = raw - (self.zero_counts if zero_counts is None else zero_counts)
        return off * (self.Nm_per_count + self.Nm_per_count2 * off)

    def overloaded(self, raw: float) -> bool:
        """Whether the cell is past its rating, from the calibration's own zero: a tare does not unload a cell."""
        return self.rating_Nm is not None and abs(self.torque_Nm(raw)) > self.rating_Nm

    def as_json(self) -> dict[str, Any]:
        """Return the JSON object of the file."""
        return self.more | {
            "format": FORMAT,
            "version": VERSION,
            "id": self.id,
            "made": self.made,
            "meter": self.meter,
            "zero_counts": self.zero_counts,
            "Nm_per_count": self.Nm_per_count,
            "Nm_per_count2": self.Nm_per_count2,
            "rating_Nm": self.rating_Nm,
            "sd_Nm": self.sd_Nm,
            "points": list(self.points),
            "remarks": self.remarks,
        }

    def to_json(self) -> str:
        """Return the text of the file."""
        return json.dumps(self.as_json(), ensure_ascii=False, indent=2, allow_nan=False) + "\n"

    @staticmethod
    def from_json_dict(found: dict[str, Any]) -> Calibration:
        """Return the calibration of a JSON object.

        Raises:
            CalibrationError: it is none, of an unknown version, or a figure cannot be.
        """
        if found.get("format") != FORMAT:
            raise CalibrationError("It is no calibration file: 'format' is not \"winding-coach calibration\".")
        if found.get("version") != VERSION:
            raise CalibrationError(
                f"Its version is {found.get('version')!r:.20}; this program reads version {VERSION}."
            )
        slope = _number(found, "Nm_per_count")
        if slope == 0:
            raise CalibrationError("Its Nm_per_count is zero: every torque would read as nothing.")
        rating, sd = _number_or_none(found, "rating_Nm"), _number_or_none(found, "sd_Nm")
        if (rating is not None and rating <= 0) or (sd is not None and sd < 0):
            raise CalibrationError("Its rating_Nm is not above zero, or its sd_Nm is below.")
        zero = _number(found, "zero_counts")
        if not RAW_MIN <= zero <= RAW_MAX:
            raise CalibrationError("Its zero_counts is outside of the meter's range.")
        bend = _number_or_none(found, "Nm_per_count2") or 0.0
        if abs(2 * bend * 2 * RAW_MAX) >= abs(slope) and bend:
            raise CalibrationError("Its Nm_per_count2 bends the line back within the meter's range: calibrate again.")
        points = found.get("points")
        calibration = Calibration(
            id=_text(found, "id"),
            made=_text(found, "made"),
            meter=_text(found, "meter"),
            zero_counts=zero,
            Nm_per_count=slope,
            Nm_per_count2=bend,
            rating_Nm=rating,
            sd_Nm=sd,
            points=tuple(points) if isinstance(points, list) else (),
            remarks=_text(found, "remarks"),
            more={key: value for key, value in found.items() if key not in _KNOWN},
        )
        try:
            # What is kept unread must fit into a trace's header: no NaN, no half of a character, no endless depth.
            calibration.to_json().encode()
        except (ValueError, RecursionError):
            raise CalibrationError("It holds something that no JSON file can hold, such as NaN.") from None
        return calibration

    @staticmethod
    def from_json(text: str) -> Calibration:
        """Return the calibration in the text of a file.

        Raises:
            CalibrationError: as `from_json_dict`, or the text is not JSON.
        """
        if len(text) > LONGEST_TEXT:
            raise CalibrationError("It is far larger than a calibration file.")
        try:
            found = json.loads(text)
        except (ValueError, RecursionError):
            raise CalibrationError("It is not JSON.") from None
        if not isinstance(found, dict):
            raise CalibrationError("It is not a JSON object.")
        return Calibration.from_json_dict(found)


_KNOWN = {
    *("format", "version", "id", "made", "meter", "zero_counts", "Nm_per_count", "Nm_per_count2"),
    *("rating_Nm", "sd_Nm", "points", "remarks"),
}


def _number_or_none(found: dict[str, Any], key: str) -> float | None:
    value = found.get(key)
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not abs(value) < 1e300:
        raise CalibrationError(f"Its {key} is not a number.")
    return float(value)


def _number(found: dict[str, Any], key: str) -> float:
    value = _number_or_none(found, key)
    if value is None:
        raise CalibrationError(f"Its {key} is missing.")
    return value


def _text(found: dict[str, Any], key: str) -> str:
    value = found.get(key)
    if value is None:
        return ""
    if not isinstance(value, str):
        raise CalibrationError(f"Its {key} is not text.")
    return value


SIMULATED = Calibration(
    id="simulated",
    made="2026-01-01T00:00:00+00:00",
    meter="simulated",
    zero_counts=84_200.0,
    # 100 g cell, 30 mm arm, 5 V, gain 128: 72,994 counts for 1 mN·m and 29.4 mN·m at the cell's rating (worked out
    # from the converter's and a usual cell's data). The zero is invented.
    Nm_per_count=1e-3 / 72_994,
    rating_Nm=29.4e-3,
    sd_Nm=40e-6,
    remarks="The simulated meter's own values; the zero is invented.",
)
"""The calibration of the simulated meter."""
