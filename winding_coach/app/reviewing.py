"""Paths of traces in, records of winds out, on all cores; a trace that cannot be read is a sentence, not an end."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from winding_coach.app.side_by_side import side_by_side
from winding_coach.base.units import UnitSystem
from winding_coach.keeping.replaying import settings_of
from winding_coach.meter.calibration import Calibration
from winding_coach.review.wind.record import WindRecord, record_of
from winding_coach.rubber.figures import FiguresError
from winding_coach.traces.files import Trace, read_trace
from winding_coach.traces.rows import TraceError


@dataclass(frozen=True, slots=True)
class Read:
    """A trace's record, or the sentence that says why there is none."""

    path: Path
    record: WindRecord | None
    trouble: str = ""


def records_of(paths: Sequence[Path], units: UnitSystem, calibration: Calibration | None = None) -> list[Read]:
    """Return a record for each trace, in their order."""
    return side_by_side(partial(record_from, units=units, calibration=calibration), paths, "reviewing traces")


def record_from(path: Path, units: UnitSystem, calibration: Calibration | None = None) -> Read:
    """Return the record of one trace, or what is wrong with it."""
    try:
        trace = read_trace(path)
        settings = settings_of(trace, calibration=calibration, units=units)
        return Read(path, record_of(path.name, trace.header, settings, trace.inputs, _remarks(trace)))
    except TraceError as error:
        return Read(path, None, f"{error}{_kept(path)}")
    except FiguresError as error:
        return Read(path, None, f"The trace '{path}' cannot be coached again: {error}")


def _remarks(trace: Trace) -> list[str]:
    remarks = []
    if trace.cut:
        remarks.append("The trace was cut off: everything before is intact.")
    if trace.summary is None:
        remarks.append("The wind was not closed: the program ended in mid-wind, and the end may be missing.")
    return remarks


def _kept(path: Path) -> str:
    """Return what the coach said at the end of a trace that it cannot be run over again, "" if that cannot be read."""
    try:
        summary = read_trace(path).summary
    except TraceError:
        return ""
    if summary is None:
        return ""
    told = [
        f"{name} {value:g} {unit}"
        for key, name, unit in (
            ("peak_torque_mNm", "peak", "mN·m"),
            ("peak_turns", "at", "turns"),
            ("launch_torque_mNm", "launch", "mN·m"),
        )
        if isinstance(value := summary.get(key), (int, float)) and not isinstance(value, bool)
    ]
    return f" On the day it said: {', '.join(told)}." if told else ""
