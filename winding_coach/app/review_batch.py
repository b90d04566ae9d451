"""A batch's name in, a report of how its strips and winds scatter out: from what was fitted, else from its traces."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import Any

from winding_coach.app.batches import batch_file, load_batch
from winding_coach.app.home import Home
from winding_coach.app.logged import logged_wind
from winding_coach.app.problem import Problem
from winding_coach.app.shelving import shelf_at, shelf_file
from winding_coach.app.side_by_side import side_by_side
from winding_coach.base.units import UnitSystem
from winding_coach.report.batches import LearnedWind, batch_report
from winding_coach.report.page import Report
from winding_coach.report.seasons import simulated_words
from winding_coach.rubber.batch import Batch, fitted, torque_scale_of
from winding_coach.rubber.batch_json import batch_to_json_dict
from winding_coach.rubber.figures import FiguresError
from winding_coach.shelf.records import Wind
from winding_coach.traces.rows import TraceError

MOST_WINDS = 24
"""Each takes a second to run again; the newest tell of the batch as it is now."""


def batch_review(named: str, home: Home, units: UnitSystem) -> tuple[Report, dict[str, Any]]:
    """Return a batch's report and its JSON. Winds of the shelf are run again where 'batch fit' has kept nothing.

    Raises:
        Problem: nothing is known of such a batch.
    """
    name, densities, winds = _from_shelf(named, home)
    kept = batch_file(name, home).exists()
    learned: list[LearnedWind] = []
    if kept:
        batch = load_batch(name, home)
    elif winds:
        # Where none of the traces is there, their names tell what is missing; some winds never had one.
        traced = [wind for wind in winds if wind.trace_bytes is not None]
        winds = [wind for wind in winds if (home.traces / wind.trace).exists()] or traced
        paths = [home.traces / wind.trace for wind in winds[:MOST_WINDS]]
        outcomes = {wind.trace: wind.outcome for wind in winds}
        learned = side_by_side(partial(learned_from, outcomes=outcomes), paths, "reading traces")
        batch = Batch(
            name,
            tuple(one.wound for one in learned if one.wound is not None),
            tuple(one.scale for one in learned if one.scale is not None),
        )
    elif densities:
        batch = Batch(name)
    else:
        raise Problem(f"Nothing is known of a batch '{named}': see 'batch list', or fit it with 'batch fit'.")
    try:
        made = fitted(batch)
    except FiguresError as error:
        raise Problem(str(error)) from None
    simulated = 0 if kept else sum(wind.simulated for wind in winds[:MOST_WINDS])
    report = batch_report(batch, made, learned, densities, units, simulated_words(simulated, len(learned)))
    found = {
        **batch_to_json_dict(batch),
        "rests_on": made.rests_on,
        "torque_scale": asdict(made.torque),
        "torque_spread": made.scale.spread,
        "break_stretch": asdict(made.strength.break_stretch),
        "densities_kg_per_m": list(densities),
        "winds": [
            {"trace": one.trace, "torque_scale": one.scale, "wound": None if one.wound is None else asdict(one.wound)}
            for one in learned
        ],
    }
    return report, found


def _from_shelf(named: str, home: Home) -> tuple[str, tuple[float, ...], list[Wind]]:
    """Return the batch's name, its measured densities and its winds, the newest first."""
    from winding_coach.shelf import records
    from winding_coach.shelf.schema import ShelfError
    from winding_coach.shelf.store import WindFilter

    if not shelf_file(home).exists():
        return named, (), []
    with shelf_at(home, reading=True) as shelf:
        densities: tuple[float, ...] = ()
        try:
            batch = shelf.find(records.Batch, named)
            weighed = (strip.mass_kg / strip.length_m for strip in shelf.strips(batch.name))
            named, densities = batch.name, (*batch.densities_kg_per_m, *weighed)
        except ShelfError as error:
            if "type more" in str(error):
                raise
        return named, densities, shelf.winds(WindFilter(batch=named))


def learned_from(path: Path, outcomes: Mapping[str, str]) -> LearnedWind:
    """Return what one trace tells of the rubber; a trace that cannot be read tells nothing, and its name says so.

    outcomes: of winds by the shelf, by the names of their traces.
    """
    try:
        wind = logged_wind(path, outcomes.get(path.name))
    except TraceError:
        return LearnedWind(f"{path.name} (cannot be read)", None, None)
    scale = None
    if wind.stretched is not None:
        try:
            scale = torque_scale_of(wind.stretched).scale
        except FiguresError:
            scale = None
    return LearnedWind(path.name, scale, wind.wound)
