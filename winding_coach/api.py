"""For programs of others: open a saved wind, run the coach over it, have it as arrays. Stable from version to version.

    from winding_coach.api import coached, open_trace

    wind = coached(open_trace("recordings/good-wind.wind.jsonl.gz"))
    print(wind.phase[wind.torque_Nm.argmax()], wind.torque_Nm.max())

All else in the package may change with any version; `docs/interfaces.md` has the files and events. What goes wrong is
raised as a `winding_coach.base.errors.CoachError` whose text is a sentence.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from winding_coach.base.errors import CoachError
from winding_coach.coach.said import Said, Summary
from winding_coach.coach.step import Coach
from winding_coach.keeping.replaying import readings_again, settings_of
from winding_coach.traces.files import Trace, read_trace

__all__ = ["CoachError", "Coached", "coached", "open_trace"]


@dataclass(frozen=True, slots=True)
class Coached:
    """A wind as the present coach sees it, one row for each input after which torque was known; n rows.

    All arrays have shape (n,), in SI; NaN where a figure is not known. Turns are of the motor.

    at_s: seconds since the wind began.
    torque_Nm: smoothed, zero subtracted. torque_rate_Nm_per_s: its rate; torque_rate_sd_Nm_per_s: standard deviation.
    turns: counted so far. distance_m: from the meter's hook. crank_rev_per_s: of the winder's handle.
    turns_left: to the plan's peak. break_risk: chance that such a motor breaks by here, 0 to 1.
    phase: its code, as in the events.
    said: all that the coach said, in order. summary: the wind in figures, None where no such wind can be closed.
    """

    at_s: NDArray[np.float64]
    torque_Nm: NDArray[np.float64]
    torque_rate_Nm_per_s: NDArray[np.float64]
    torque_rate_sd_Nm_per_s: NDArray[np.float64]
    turns: NDArray[np.float64]
    distance_m: NDArray[np.float64]
    crank_rev_per_s: NDArray[np.float64]
    turns_left: NDArray[np.float64]
    break_risk: NDArray[np.float64]
    phase: NDArray[np.str_]
    said: tuple[Said, ...]
    summary: Summary | None


FIGURES = (
    "at_s",
    "torque_Nm",
    "torque_rate_Nm_per_s",
    "torque_rate_sd_Nm_per_s",
    "turns",
    "distance_m",
    "crank_rev_per_s",
    "turns_left",
    "break_risk",
)


def open_trace(path: str | Path) -> Trace:
    """Return a saved wind: its `header` (motor, plan, calibration), `inputs`, what was `said`, its `summary`.

    Raises:
        TraceError: the file cannot be read, or is no trace.
    """
    return read_trace(Path(path))


def coached(trace: Trace) -> Coached:
    """Run the present coach over a wind, with the settings it was wound with.

    Raises:
        TraceError: the trace knows no motor or no calibration.
    """
    coach = Coach(settings_of(trace))
    said: list[Said] = []
    rows: list[tuple[float | None, ...]] = []
    phases: list[str] = []
    for reading, phase in readings_again(coach, trace, said.extend):
        rows.append(tuple(getattr(reading, name) for name in FIGURES))
        phases.append(phase)
    columns = np.array(rows, dtype=np.float64).reshape(-1, len(FIGURES)).T
    figures = dict(zip(FIGURES, columns, strict=True))
    return Coached(**figures, phase=np.array(phases, dtype=np.str_), said=tuple(said), summary=coach.summary)
