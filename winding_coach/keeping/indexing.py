"""Traces in, the shelf's index of winds out: what is new in the folder of traces is logged, or all of it anew.

A trace is read, never changed. What a wind's row holds comes from its trace alone, so a rebuilt index is the same.
"""

from __future__ import annotations

import json
import os
import time
import uuid
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path, PurePosixPath
from typing import Any

from winding_coach.base.inputs import CHECKS
from winding_coach.base.wind_values import from_json, number
from winding_coach.shelf.index import IndexedFile
from winding_coach.shelf.records import KeptCalibration, Motor, Wind
from winding_coach.shelf.store import Shelf
from winding_coach.traces.files import SUFFIX, read_trace
from winding_coach.traces.glance import Glance, glance
from winding_coach.traces.header import Header
from winding_coach.traces.rows import TraceError

BEING_WRITTEN_S = 10.0
"""A trace that is not closed and was written to so lately is a wind going on: even a meter's silence is written."""
AT_ONCE = 100
"""So many winds are put on the shelf in one go."""
ENDINGS = (SUFFIX, f"{SUFFIX}.gz")
SIMULATED = "simulated"
PRACTICE = "a practised wind"
EMPTY = "nothing was wound"
EMPTY_SHARE = 0.05
"""Of the torque to wind to: less of it, and not a whole turn of the crank, is no wind."""


@dataclass(frozen=True, slots=True)
class Found:
    """What a look into the folder gave. Paths are below it.

    logged: winds that are new or changed. broke: motors marked broken by them. moved: winds whose file has another
    name now. passed_over: files that are no winds to keep, and why. missing: winds whose file is not there. damaged:
    winds whose file has lost what it held, and why; as with missing ones, their row stays as it was. later: so many
    new files were left for another time.
    """

    logged: tuple[Wind, ...] = ()
    broke: tuple[str, ...] = ()
    moved: tuple[str, ...] = ()
    passed_over: dict[str, str] = field(default_factory=dict)
    missing: tuple[str, ...] = ()
    damaged: dict[str, str] = field(default_factory=dict)
    later: int = 0


def wind_of(seen: Glance, name: str) -> Wind:
    """Return the row of a wind. name: of its file, below the folder of the traces.

    A wind that was not closed is coached again for its figures; its outcome is `open`.
    """
    header, summary = seen.header, seen.summary
    motor, plan, winder, model = header.motor, header.plan, header.winder, header.model
    shelf = header.more.get("shelf")
    named = shelf if isinstance(shelf, dict) else {}
    values = from_json(summary if summary is not None else _coached_again(seen.path))
    outcome = "open" if summary is None else str(summary.get("outcome") or "open")
    return Wind(
        id=wind_id(header),
        started=header.started.isoformat(),
        trace=name,
        outcome=outcome,
        person=header.person,
        motor=None if motor is None else motor.name,
        purpose=_text(header.more.get("purpose")),
        checks=None if summary is None else _checks(summary.get("checks")),
        batch=_text(named.get("batch")),
        winder=_text(named.get("winder")),
        model=None if model is None else model.name,
        meter=header.meter,
        calibration=None if header.calibration is None else header.calibration.id,
        use=None if motor is None else number(motor.use),
        share=plan.share if plan is not None else None if motor is None else motor.share,
        loop_m=None if motor is None else motor.loop_m,
        mass_kg=None if motor is None else motor.mass_kg,
        orings_kg=None if motor is None else motor.orings_kg,
        strands=None if motor is None else number(motor.strands),
        breaking_turns=None if plan is None else plan.breaking_turns,
        target_turns=None if plan is None else plan.target_turns,
        target_peak_torque_Nm=None if plan is None else plan.peak_torque_Nm,
        target_launch_torque_Nm=None if plan is None else plan.launch_torque_Nm,
        ratio=None if winder is None else winder.ratio,
        hooks_m=None if model is None else model.hooks_m,
        simulated=header.meter == SIMULATED,
        direction=_text(None if summary is None else summary.get("direction")) or header.direction,
        trace_bytes=seen.size,
        trace_sha256=seen.sha256,
        **values,
    )


def is_empty(wind: Wind) -> bool:
    """Whether nothing was wound: no meter, nothing on the hook, or left before the first turn.

    One that was cut off is not judged: what it held may be lost.
    """
    turned = max(wind.peak_turns or 0.0, wind.launch_turns or 0.0) >= (wind.ratio or 1.0)
    loaded = (wind.peak_torque_Nm or 0.0) >= EMPTY_SHARE * (wind.target_peak_torque_Nm or 0.0)
    return wind.outcome not in ("broken", "open") and not turned and not (loaded and wind.peak_torque_Nm)


def calibration_of(seen: Glance) -> KeptCalibration | None:
    """Return the calibration that a wind was measured with."""
    used = seen.header.calibration
    if used is None:
        return None
    said = used.as_json()
    return KeptCalibration(used.id, used.meter, _text(said.get("made")), json.dumps(said, sort_keys=True))


def wind_id(header: Header) -> str:
    """Return the wind's id; a trace without one is known by what stands on its first line."""
    return header.id or str(uuid.uuid5(uuid.NAMESPACE_OID, json.dumps(header.as_json(), sort_keys=True)))


def _text(value: object) -> str | None:
    return value if isinstance(value, str) else None


def _checks(value: object) -> str | None:
    """Return what was ticked, of the names that there are."""
    found = [name for name in CHECKS if name in value] if isinstance(value, list) else []
    return ",".join(found) or None


def _coached_again(path: Path) -> dict[str, Any]:
    """Return the summary of a wind that was not closed, as if it had been now; empty if it cannot be coached."""
    # The coach and its libraries are loaded only when there is such a wind: listing must not wait for them.
    from winding_coach.keeping.replaying import summary_again

    try:
        return summary_again(read_trace(path)).as_json()
    except TraceError:
        return {}


def trace_files(folder: Path) -> dict[str, int]:
    """Return the size of each trace file in the folder and below, by its path in it, in the order of the names."""
    return dict(sorted(_walk(str(folder), "")))


def is_trace_name(name: str) -> bool:
    """Whether this can be a trace's path below the folder of traces: nothing that leads out of it."""
    path = PurePosixPath(name)
    return name.endswith(ENDINGS) and not path.is_absolute() and ".." not in path.parts and name.isprintable()


def _is_file(entry: os.DirEntry[str]) -> bool:
    try:
        return entry.is_file() or not os.path.exists(entry.path)
    except OSError:
        return False


def _walk(folder: str, below: str) -> Iterator[tuple[str, int]]:
    try:
        entries = list(os.scandir(folder))
    except OSError:
        return  # No folder, no traces.
    for entry in entries:
        if entry.is_dir(follow_symlinks=False):
            yield from _walk(entry.path, f"{below}{entry.name}/")
        elif entry.name.endswith(ENDINGS) and _is_file(entry):  # A FIFO or a device would be read for ever.
            try:
                yield f"{below}{entry.name}", entry.stat().st_size
            except OSError:
                continue  # Gone since, or a link to nowhere: missing, then.


def look(folder: Path, shelf: Shelf, *, newest: int | None = None, now_s: float | None = None) -> Found:
    """Log what is new or changed in the folder of traces.

    newest: so many files at most, those whose names sort last; None takes all.
    now_s: the time of day, to tell winds that are going on; None asks the system.

    Raises:
        ShelfError: the shelf cannot be read or written.
    """
    files = trace_files(folder)
    passed = shelf.passed_over()
    known = {kept.trace: kept.size for kept in shelf.files().values()}
    fresh = [
        name
        for name, size in files.items()
        if known.get(name, -1) != size and (name not in passed or passed[name][0] != size)
    ]
    if not fresh:
        return Found(
            missing=tuple(sorted(name for name, size in known.items() if size is not None and name not in files))
        )
    taken = fresh if newest is None else fresh[-newest:]
    found = _log(folder, shelf, taken, files, time.time() if now_s is None else now_s)
    return replace(found, later=len(fresh) - len(taken))


def rebuild(
    folder: Path, shelf: Shelf, *, told: Callable[[int, int], None] | None = None, now_s: float | None = None
) -> Found:
    """Log every trace anew; rows of winds whose trace is missing stay. told: hears how many of how many are done.

    Raises:
        ShelfError: the shelf cannot be read or written; then it is as it was.
    """
    files = trace_files(folder)
    with shelf.writing():
        shelf.pass_over({}, anew=True)
        return _log(folder, shelf, list(files), files, time.time() if now_s is None else now_s, told=told, anew=True)


def _log(
    folder: Path,
    shelf: Shelf,
    fresh: list[str],
    files: dict[str, int],
    now_s: float,
    *,
    told: Callable[[int, int], None] | None = None,
    anew: bool = False,
) -> Found:
    """Log these files. anew: what motors broke is not marked again, people may have mended it since."""
    known = shelf.files()
    sorting = _Sorting(folder, files, now_s, known)
    logged: list[Wind] = []
    broke: list[str] = []
    for start in range(0, len(fresh), AT_ONCE):
        winds: dict[str, Wind] = {}
        kept: dict[str, KeptCalibration] = {}
        for done, name in enumerate(fresh[start : start + AT_ONCE], start + 1):
            if told is not None:
                told(done, len(fresh))
            seen = sorting.taken(name)
            if seen is None:
                continue
            wind = wind_of(seen, name)
            if is_empty(wind) and wind.id not in known:
                sorting.passed[name] = EMPTY
                continue
            winds[wind.id] = wind
            used = calibration_of(seen)
            if used is not None:
                kept[used.id] = used
        with shelf.writing():
            shelf.log(*winds.values())
            for calibration in kept.values():
                shelf.keep_calibration(calibration)
            shelf.meet(wind.meter for wind in winds.values() if wind.meter)
            shelf.pass_over({name: (files[name], why) for name, why in sorting.passed.items()})
            if not anew:
                broke += _mark_broken(shelf, winds.values())
        logged += winds.values()
    missing = tuple(sorted(place for place in sorting.places.values() if place not in files | sorting.untraced))
    return Found(tuple(logged), tuple(broke), tuple(sorting.moved), sorting.passed, missing, sorting.damaged)


class _Sorting:
    """Tells which files are winds to log, and remembers why the others are not."""

    def __init__(self, folder: Path, files: dict[str, int], now_s: float, known: dict[str, IndexedFile]) -> None:
        self.moved: list[str] = []
        self.passed: dict[str, str] = {}
        self.damaged: dict[str, str] = {}
        self.places = {wind: kept.trace for wind, kept in known.items()}
        self.untraced = {kept.trace: 0 for kept in known.values() if kept.size is None}
        self._folder, self._files, self._now_s = folder, files, now_s
        self._closed = {kept.trace: wind for wind, kept in known.items() if kept.outcome != "open"}

    def taken(self, name: str) -> Glance | None:
        """Return what a file tells if it is a wind to log."""
        try:
            seen = glance(self._folder / name)
        except TraceError as error:
            (self.damaged if name in self._closed else self.passed)[name] = str(error)
            return None
        wind = wind_id(seen.header)
        if name in self._closed and (seen.summary is None or wind != self._closed[name]):
            self.damaged[name] = (
                f"The trace '{self._folder / name}' has lost its end since it was logged: put a backup in its place."
                if seen.summary is None
                else f"The trace '{self._folder / name}' holds another wind than was logged: give it a name of its own."
            )
            return None
        if seen.header.more.get("practice") is True:
            self.passed[name] = PRACTICE
            return None
        if seen.summary is None and abs(self._now_s - _written_s(self._folder / name)) < BEING_WRITTEN_S:
            return None
        place = self.places.get(wind)
        if place is not None and place != name:
            replaced = seen.summary is not None and place not in self._closed
            if place in self._files and not replaced:
                self.passed[name] = f"the same wind as {place}"
                return None
            if seen.summary is None and place in self._closed:
                self.passed[name] = f"the wind of {place} without its end"
                return None
            if place not in self._files:
                self.moved.append(name)
        self.places[wind] = name
        if seen.summary is not None:
            self._closed[name] = wind
        return seen


def _written_s(path: Path) -> float:
    try:
        return path.stat().st_mtime
    except OSError:
        return 0.0


def _mark_broken(shelf: Shelf, winds: Iterable[Wind]) -> list[str]:
    """Mark the motors that broke, and return their names. On a simulated meter no real motor breaks."""
    broke = []
    for wind in winds:
        if wind.outcome != "broken" or wind.simulated or wind.motor is None or not shelf.has(Motor, wind.motor):
            continue
        if shelf.get(Motor, wind.motor).state == "in_use":
            broke.append(shelf.edit(Motor, wind.motor, state="broken").name)
    return broke
