"""What a meter reads under pulls, with and without torque, straight and tilted, in; its cross-talk out. Pure.

Torque read = hung + a·F + e·F·sin α + c·F·hung: a is what the build lets through, e how far the hook is off the axis (a
pull along the axis has no moment about it), c by how much the pull changes the reading of a torque. Least squares.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

USUAL_PULL_N = 18.0
"""Pull at full stretch of the motor that is wound in practice, by the plan."""
USUAL_TILT_RAD = math.radians(1.0)
"""How well a meter is laid in line with a motor; assumed."""
FEWEST = 4


@dataclass(frozen=True, slots=True)
class PullPoint:
    """A pull and what was read. torque_Nm: hung on the arm. read_Nm: by the calibration, less its own zero."""

    pull_N: float
    tilt_rad: float
    torque_Nm: float
    read_Nm: float


@dataclass(frozen=True, slots=True)
class CrossTalk:
    """Nm_per_N: torque read for a newton of straight pull. offset_m: of the hook from the axis, by the tilted pulls.
    gain_per_N: share by which a newton changes the reading of a torque. None where the set does not tell. sd_Nm: what
    the fit leaves."""

    Nm_per_N: float
    offset_m: float | None
    gain_per_N: float | None
    sd_Nm: float

    def largest_Nm(self, pull_N: float, torque_Nm: float, tilt_rad: float = USUAL_TILT_RAD) -> float:
        """Return how much torque a pull may pretend, beside a torque and at a tilt."""
        parts = (self.Nm_per_N, (self.offset_m or 0.0) * math.sin(tilt_rad), (self.gain_per_N or 0.0) * torque_Nm)
        return abs(pull_N) * math.fsum(abs(part) for part in parts)

    def as_json(self) -> dict[str, float | None]:
        """Return the object that a calibration file keeps as `pull`."""
        return {
            "Nm_per_N": self.Nm_per_N,
            "offset_m": self.offset_m,
            "gain_per_N": self.gain_per_N,
            "sd_Nm": self.sd_Nm,
        }


def pull_reads_Nm(kept: Any, pull_N: float) -> float:
    """Return what a straight pull reads as, by the `pull` that a calibration keeps; 0 where it keeps none."""
    try:
        found = float(kept["Nm_per_N"]) * pull_N
    except (KeyError, TypeError, ValueError, OverflowError):
        return 0.0
    return found if math.isfinite(found) else 0.0


def crosstalk(points: Sequence[PullPoint]) -> CrossTalk | None:
    """Return the cross-talk of these points, None where they are too few or all of one pull."""
    import numpy as np

    pulls = np.array([point.pull_N for point in points])
    if len(points) < FEWEST or float(np.ptp(pulls)) == 0.0:
        return None
    hung = np.array([point.torque_Nm for point in points])
    read = np.array([point.read_Nm for point in points])
    leaning = pulls * np.sin([point.tilt_rad for point in points])
    largest = float(np.max(np.abs(hung)))
    columns = {"zero": np.ones(len(points)), "straight": pulls}
    if float(np.ptp(leaning)) > 0.0:
        columns["leaning"] = leaning
    both = pulls * hung
    if largest > 0.0 and float(np.ptp(both)) > 0.0:
        columns["gain"] = both
    design = np.column_stack(list(columns.values()))
    fitted, _, rank, _ = np.linalg.lstsq(design / np.max(np.abs(design), axis=0), read - hung, rcond=None)
    if rank < len(columns):
        return None
    values = dict(zip(columns, fitted / np.max(np.abs(design), axis=0), strict=True))
    rest = read - hung - design @ np.array(list(values.values()))
    sd = math.sqrt(float(rest @ rest) / max(len(points) - len(columns), 1))
    leans, gain = values.get("leaning"), values.get("gain")
    return CrossTalk(
        float(values["straight"]), None if leans is None else float(leans), None if gain is None else float(gain), sd
    )
