"""Points of a calibration as a table: read, kept as they are taken, and single ones taken again."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from winding_coach.app.problem import Problem, UsageProblem
from winding_coach.base.private import write_private

if TYPE_CHECKING:
    from collections.abc import Sequence

    from winding_coach.meter.commissioning.calibrating import Point
    from winding_coach.meter.commissioning.guiding import Load

COLUMNS = ("torque_mNm", "counts")
ALL_COLUMNS = (*COLUMNS, "sd_counts", "readings", "words", "pull_N", "tilt_deg")
LAST = "last-points.csv"
"""In the folder of calibrations: the newest set, whatever was found of it."""


@dataclass(frozen=True, slots=True)
class Taken:
    """A load and the point that was taken of it."""

    load: Load
    point: Point


def read_points(path: str) -> list[Taken]:
    """Return the points of a CSV file; columns torque_mNm and counts, and what else `ALL_COLUMNS` names.

    Raises:
        Problem: it cannot be read, or a number is none.
    """
    from winding_coach.meter.commissioning.calibrating import Point
    from winding_coach.meter.commissioning.guiding import Load

    try:
        with open(path, encoding="utf-8", newline="") as opened:
            rows = list(csv.DictReader(opened.read(1_000_000).splitlines()))
    except OSError as error:
        raise Problem(f"The points '{path}' cannot be read ({error.strerror}): check the name.") from None
    except UnicodeDecodeError:
        raise Problem(f"The points '{path}' are not a text file.") from None
    found = []
    for line, row in enumerate(rows, 2):
        try:
            torque, counts = (float(row[column]) for column in COLUMNS)
            scatter, readings = float(row.get("sd_counts") or 0.0), int(row.get("readings") or 1)
            pull, tilt = (float(row.get(column) or 0.0) for column in ("pull_N", "tilt_deg"))
            if not all(map(math.isfinite, (torque, counts, scatter, pull, tilt))):
                raise ValueError
        except (KeyError, TypeError, ValueError):
            raise Problem(
                f"The points '{path}', line {line}: columns torque_mNm and counts must hold numbers."
            ) from None
        words = row.get("words") or f"{torque:g} mN·m"
        load = Load(torque * 1e-3, words, pull, math.radians(tilt))
        found.append(Taken(load, Point(torque * 1e-3, counts, scatter, readings, words)))
    return found


def write_points(path: Path, taken: Sequence[Taken]) -> None:
    """Keep the points, so that one can be taken again without the rest.

    Raises:
        Problem: they cannot be written.
    """
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\n")
    table.writerow(ALL_COLUMNS)
    for one in taken:
        point, load = one.point, one.load
        row = (f"{1e3 * point.torque_Nm:.9g}", f"{point.counts:.3f}", f"{point.sd_counts:.3f}", point.readings)
        table.writerow((*row, load.words, f"{load.pull_N:.6g}", f"{math.degrees(load.tilt_rad):.6g}"))
    try:
        write_private(path, text.getvalue())
    except OSError as error:
        raise Problem(f"'{path}' cannot be written ({error.strerror}): name another place.") from None


def numbers_again(typed: str, of: int) -> list[int]:
    """Return the places (from 0) of the loads to take again.

    Raises:
        UsageProblem: there are none such.
    """
    try:
        found = sorted({int(text) - 1 for text in typed.split(",")})
    except ValueError:
        found = [-1]
    if not found or found[0] < 0 or found[-1] >= of:
        raise UsageProblem(f"--again: numbers of loads, from 1 to {of}, as in --again 4,9.")
    return found
