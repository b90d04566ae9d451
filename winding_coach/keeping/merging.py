"""Another data folder in, what it adds to this one out: planned first, then done. Nothing here is ever overwritten.

Winds and flights are the same if their ids are; things with a name are the same if name and figures are. What differs
under one id or name is a conflict: ours stays, and it is said.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from winding_coach.keeping.indexing import PRACTICE, calibration_of, is_trace_name, trace_files, wind_id, wind_of
from winding_coach.keeping.saving import copy_verified
from winding_coach.shelf.records import Batch, Flight, KeptCalibration, Model, Motor, Person, Strip, Wind, Winder
from winding_coach.shelf.store import Shelf, WindFilter
from winding_coach.shelf.tables import is_name, is_sound, table_of
from winding_coach.traces.files import trace_lines
from winding_coach.traces.glance import Glance, glance
from winding_coach.traces.rows import TraceError

KINDS: tuple[type[Batch] | type[Motor] | type[Winder] | type[Model] | type[Person], ...] = (
    Batch,
    Motor,
    Winder,
    Model,
    Person,
)
NAMES = ("person", "motor", "batch", "winder", "model")
FITS = "batches"
"""Folder of what was learned of batches, a file each."""
Record = Batch | Motor | Winder | Model | Person


@dataclass(slots=True)
class Merge:
    """What there is to do. winds: rows to add. copies: files and their names among our traces. back: how many of them
    are of winds that we have and whose file is missing here. conflicts: what differs, one sentence each. passed_over:
    their files that are no winds. same: how much is here already."""

    records: list[Record] = field(default_factory=list)
    winds: list[Wind] = field(default_factory=list)
    copies: list[tuple[Path, str]] = field(default_factory=list)
    back: int = 0
    typed: list[tuple[str, dict[str, Any]]] = field(default_factory=list)
    flights: list[Flight] = field(default_factory=list)
    strips: list[Strip] = field(default_factory=list)
    fits: list[tuple[Path, str]] = field(default_factory=list)
    calibrations: dict[str, KeptCalibration] = field(default_factory=dict)
    conflicts: list[str] = field(default_factory=list)
    passed_over: dict[str, str] = field(default_factory=dict)
    same: dict[str, int] = field(default_factory=dict)

    def is_here(self, what: str) -> None:
        """Count one that is the same on both sides."""
        self.same[what] = self.same.get(what, 0) + 1


def traces_of(folder: Path) -> Path:
    """Return where another folder keeps its traces: `traces` in it, else the folder itself."""
    inside = folder / "traces"
    return inside if inside.is_dir() else folder


def plan_merge(
    shelf: Shelf,
    home: Path,
    theirs: Shelf | None,
    folder: Path,
    *,
    under: str | None = None,
    told: Callable[[int, int], None] | None = None,
) -> Merge:
    """Compare another folder with this one, changing neither.

    theirs: their shelf, None if they have only traces. under: put before every name of theirs, with a dot.
    told: hears how many of how many of their traces are read.

    Raises:
        ShelfError: one of the shelves cannot be read.
    """
    merge = Merge()
    if theirs is not None:
        _plan_records(merge, shelf, theirs, under)
    _plan_winds(merge, shelf, home, theirs, folder, told)
    _plan_typed(merge, shelf, theirs, under)
    if theirs is not None:
        _plan_flights(merge, shelf, theirs)
        _plan_strips(merge, shelf, theirs, under)
    _plan_fits(merge, home, folder, under)
    return merge


def carry_out(merge: Merge, shelf: Shelf, home: Path) -> None:
    """Do what was planned: the shelf at once, then the files. Broken off, the next import brings the rest of them.

    Raises:
        OSError: a file cannot be copied.
        ShelfError: the shelf cannot be written; then it is as it was.
    """
    with shelf.writing():
        for record in merge.records:
            shelf.add(record)
        shelf.log(*merge.winds)
        for calibration in merge.calibrations.values():
            shelf.keep_calibration(calibration)
        shelf.meet(wind.meter for wind in merge.winds if wind.meter)
        for wind_noted, typed in merge.typed:
            shelf.note(wind_noted, **typed)
        for flight in merge.flights:
            shelf.fly(flight)
        for strip in merge.strips:
            shelf.weigh(strip)
    for source, name in merge.copies:
        copy_verified(source, home / "traces" / name)
    for source, name in merge.fits:
        copy_verified(source, home / FITS / name)


def _named(name: str | None, under: str | None) -> str | None:
    return name if name is None or under is None else f"{under}.{name}"


def _plan_records(merge: Merge, shelf: Shelf, theirs: Shelf, under: str | None) -> None:
    for kind in KINDS:
        for record in theirs.all(kind):
            renamed = dataclasses.replace(record, name=_named(record.name, under) or "")
            if isinstance(renamed, Motor):
                batch = _named(renamed.batch, under)
                renamed = dataclasses.replace(renamed, batch=batch if batch is None or is_name(batch) else None)
            if not is_name(renamed.name) or not is_sound(renamed):
                merge.passed_over[f"{table_of(kind)} {renamed.name}"] = "its name or one of its values cannot be"
                continue
            if not shelf.has(kind, renamed.name):
                merge.records.append(renamed)
                continue
            ours = shelf.get(kind, renamed.name)
            differs = [
                f"{one.name} {getattr(ours, one.name)!r} here, {getattr(renamed, one.name)!r} there"
                for one in dataclasses.fields(kind)
                if one.name != "name" and getattr(ours, one.name) != getattr(renamed, one.name)
            ]
            if differs:
                merge.conflicts.append(f"{table_of(kind)} {ours.name}: {'; '.join(differs)}.")
            else:
                merge.is_here(table_of(kind))


def _plan_winds(
    merge: Merge,
    shelf: Shelf,
    home: Path,
    theirs: Shelf | None,
    folder: Path,
    told: Callable[[int, int], None] | None,
) -> None:
    ours = shelf.files()
    traces = traces_of(folder)
    taken = set(trace_files(home / "traces")) | {kept.trace for kept in ours.values()}
    files = trace_files(traces)
    going_on = _not_logged(home / "traces", {kept.trace for kept in ours.values()})
    seen: set[str] = set()
    for number, name in enumerate(files, 1):
        if told is not None:
            told(number, len(files))
        try:
            found = glance(traces / name)
        except TraceError as error:
            merge.passed_over[name] = str(error)
            continue
        wind = wind_id(found.header)
        if found.header.more.get("practice") is True:
            merge.passed_over[name] = PRACTICE
        elif wind in seen:
            merge.passed_over[name] = "the same wind as another file of theirs"
        elif wind in going_on:
            merge.is_here("wind")
        elif wind in ours:
            _compare_winds(merge, shelf.wind(wind), home, found, _free(name, taken))
        else:
            here = _free(name, taken)
            taken.add(here)
            merge.winds.append(wind_of(found, here))
            merge.copies.append((traces / name, here))
            used = calibration_of(found)
            if used is not None:
                merge.calibrations[used.id] = used
        seen.add(wind)
    if theirs is not None:
        # Their file is missing or spoilt, but their shelf still knows the figures.
        merge.winds += [
            dataclasses.replace(wind, trace=_free(wind.trace, taken))
            for wind in theirs.winds(WindFilter(voided=None))
            if wind.id not in seen and wind.id not in ours and is_sound(wind) and is_trace_name(wind.trace)
        ]


def _not_logged(traces: Path, logged: set[str]) -> set[str]:
    """Return the ids of our traces that no row stands for yet: a wind that goes on while a backup of it comes in."""
    found = set()
    for name in trace_files(traces):
        if name not in logged:
            try:
                found.add(wind_id(glance(traces / name).header))
            except TraceError:
                continue
    return found


def _compare_winds(merge: Merge, wind: Wind, home: Path, found: Glance, free: str) -> None:
    """Count a wind that is on both sides as the same, packed or not, or as a conflict; bring back a missing file."""
    here = home / "traces" / wind.trace
    if not here.exists():
        # Packed differently, it comes under its own name, and the next look finds it moved.
        merge.copies.append((found.path, wind.trace if here.suffix == found.path.suffix else free))
        merge.back += 1
    elif wind.trace_sha256 in (None, found.sha256) or _same_lines(here, found.path):
        merge.is_here("wind")
    else:
        merge.conflicts.append(
            f"wind {wind.id[:8]}: '{found.path}' is not what '{here}' holds; ours stays: move it away and import again"
            " to take theirs."
        )


def _same_lines(one: Path, other: Path) -> bool:
    if one.suffix == other.suffix:
        return False  # Their fingerprints differ already.
    try:
        return list(trace_lines(one)) == list(trace_lines(other))
    except (OSError, TraceError):
        return False


def _free(name: str, taken: set[str]) -> str:
    """Return the name, or one beside it that is not taken."""
    if name not in taken:
        return name
    stem, dot, ending = name.partition(".wind.jsonl")
    return next(free for i in range(2, 1_000_000) if (free := f"{stem}-{i}{dot}{ending}") not in taken)


def _plan_typed(merge: Merge, shelf: Shelf, theirs: Shelf | None, under: str | None) -> None:
    """Take over what they typed of the winds that come in, and what would name things of theirs."""
    typed_there = {} if theirs is None else theirs.typed()
    typed_here = shelf.typed()
    for wind in merge.winds:
        typed = {key: value for key, value in typed_there.get(wind.id, {}).items() if value not in (None, "")}
        for name in NAMES:
            meant = typed.get(name, getattr(wind, name))
            if under is not None and meant is not None:
                typed[name] = _named(meant, under)
        if typed:
            merge.typed.append((wind.id, typed))
    coming = {wind.id for wind in merge.winds}
    for wind_id_there, typed in typed_there.items():
        if wind_id_there in coming or typed == typed_here.get(wind_id_there, {}) or under is not None:
            continue
        said = {key: value for key, value in typed.items() if value not in (None, "")}
        ours = {key: value for key, value in typed_here.get(wind_id_there, {}).items() if value not in (None, "")}
        if said and not ours:
            merge.typed.append((wind_id_there, said))
        elif said and said != ours:
            merge.conflicts.append(f"notes of wind {wind_id_there[:8]}: {ours} here, {said} there.")


def _plan_flights(merge: Merge, shelf: Shelf, theirs: Shelf) -> None:
    ours = {flight.id: flight for flight in shelf.flights(voided=True)}
    known = {_content(flight) for flight in ours.values()}
    winds = set(shelf.files()) | {wind.id for wind in merge.winds}
    for flight in reversed(theirs.flights(voided=True)):
        if ours.get(flight.id) == flight or (flight.id not in ours and _content(flight) in known):
            merge.is_here("flight")
        elif flight.id in ours:
            differs = [
                f"{one.name} {getattr(ours[flight.id], one.name)!r} here, {getattr(flight, one.name)!r} there"
                for one in dataclasses.fields(Flight)
                if getattr(ours[flight.id], one.name) != getattr(flight, one.name)
            ]
            merge.conflicts.append(f"flight of wind {flight.wind[:8]}: {'; '.join(differs)}.")
        elif flight.wind in winds and is_sound(flight):
            merge.flights.append(flight)


def _plan_strips(merge: Merge, shelf: Shelf, theirs: Shelf, under: str | None) -> None:
    """Take over weighed strips by their id; ours stay as they are, a strip is weighed once."""
    ours = {strip.id for strip in shelf.strips(voided=True)}
    for strip in theirs.strips(voided=True):
        batch = _named(strip.batch, under) or ""
        if strip.id in ours:
            merge.is_here("strip")
        elif is_sound(strip) and is_name(batch):
            merge.strips.append(dataclasses.replace(strip, batch=batch))


def _content(flight: Flight) -> Flight:
    return dataclasses.replace(flight, id="")


def _plan_fits(merge: Merge, home: Path, folder: Path, under: str | None) -> None:
    for source in sorted(path for path in (folder / FITS).glob("*.json") if path.is_file()):
        name = f"{_named(source.stem, under)}.json"
        here = home / FITS / name
        if not here.exists():
            merge.fits.append((source, name))
        elif here.read_bytes() == source.read_bytes():
            merge.is_here("fitted batch")
        else:
            merge.conflicts.append(f"fitted batch {source.stem}: '{source}' is not what '{here}' holds; ours stays.")
