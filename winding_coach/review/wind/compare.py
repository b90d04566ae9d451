"""Records of winds in, rows of figures side by side out: this wind, others, earlier winds, the best path. Pure."""

from __future__ import annotations

import statistics
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from winding_coach.base.units import UnitSystem, shown_number, unit_label
from winding_coach.base.wind_values import BY_NAME, VALUES, WindValue
from winding_coach.coach.said import Phase
from winding_coach.review.wind.record import WindRecord

Figure = Callable[[WindRecord], float | None]


@dataclass(frozen=True, slots=True)
class FigureRow:
    """One figure of a wind. key: its name with the unit, SI or mN·m, in JSON. kind: how it is shown.

    best: the same figure on the plan's path, scaled to this motor; None where the plan has none.
    """

    key: str
    label: str
    kind: str
    of: Figure
    best: Figure | None = None


def _crank(record: WindRecord, turns: float | None) -> float | None:
    return None if turns is None else turns / record.settings.winder.ratio


def _milli(value: float | None) -> float | None:
    return None if value is None else 1e3 * value


def _per_gram(record: WindRecord, energy_J: float | None) -> float | None:
    motor = record.settings.motor
    rubber_g = 1e3 * (motor.mass_kg - motor.orings_kg)
    return None if energy_J is None or rubber_g <= 0.0 else energy_J / rubber_g


def _winding_s(record: WindRecord) -> float | None:
    """Seconds from the first turn to the peak."""
    wound = record.wound
    if not wound:
        return None
    top = max(range(len(wound)), key=lambda number: wound[number].torque_Nm)
    return wound[top].at_s - wound[0].at_s


def _pace(phase: Phase) -> Figure:
    def of(record: WindRecord) -> float | None:
        span = record.span(phase)
        return None if span is None else span.crank_rev_per_s

    return of


def _walk_in_s(record: WindRecord) -> float | None:
    span = record.span(Phase.WALK_IN)
    return None if span is None else span.to_s - span.from_s


def _left(record: WindRecord) -> float | None:
    """Energy for the flight, where it came to a launch."""
    return None if record.summary.launch_torque_Nm is None else record.summary.energy_stored_J


def _returned(record: WindRecord) -> float | None:
    return None if record.work is None or record.work.returned_J == 0.0 else record.work.returned_J


def _seen(name: str) -> Figure:
    def of(record: WindRecord) -> float | None:
        value = getattr(record.review.figures, name)
        return None if value is None else float(value)

    return of


def _share(record: WindRecord) -> float | None:
    turns = record.summary.peak_turns
    return None if turns is None else turns / record.settings.plan.breaking_turns


def _scaled_energy(record: WindRecord) -> float | None:
    return record.settings.plan.energy_stored_J * record.torque_scale


def _lost_in_stalls(record: WindRecord) -> float | None:
    if record.review.figures.stalls is None:
        return None
    return sum(stall.lost_Nm or 0.0 for stall in record.stalls)


def _value(value: WindValue) -> FigureRow:
    """Return the row of a value that is shown as the coach made it."""

    def of(record: WindRecord) -> float | None:
        found = value.written_of(record.summary)
        return None if found is None else float(found)

    return FigureRow(value.key, value.label, value.kind, of)


_OWN: tuple[FigureRow, ...] = (
    FigureRow(
        "peak_torque_mNm",
        "peak torque",
        "torque",
        lambda r: _milli(r.summary.peak_torque_Nm),
        lambda r: _milli(r.settings.plan.peak_torque_Nm * r.torque_scale),
    ),
    FigureRow(
        "peak_turns",
        "turns at the peak",
        "turns",
        lambda r: r.summary.peak_turns,
        lambda r: r.settings.plan.target_turns,
    ),
    FigureRow("share_of_breaking_turns", "of breaking turns", "share", _share, lambda r: r.settings.plan.share),
    FigureRow(
        "backed_off_crank_turns",
        "crank turns backed off",
        "one",
        lambda r: _crank(r, r.summary.backed_off_turns),
        lambda r: _crank(r, r.settings.plan.back_off_turns),
    ),
    FigureRow(
        "launch_torque_mNm",
        "launch torque",
        "torque",
        lambda r: _milli(r.summary.launch_torque_Nm),
        lambda r: _milli(r.settings.plan.launch_torque_Nm),
    ),
    FigureRow(
        "launch_turns",
        "turns at launch",
        "turns",
        lambda r: r.summary.launch_turns,
        lambda r: r.settings.plan.launch_turns,
    ),
    FigureRow("crank_work_J", "work of the crank, J", "one", lambda r: None if r.work is None else r.work.wound_in_J),
    FigureRow("returned_J", "returned by back-off, J", "two", _returned),
    FigureRow("energy_stored_J", "left for the flight, J", "one", _left, _scaled_energy),
    FigureRow(
        "energy_stored_J_per_g",
        "left, J per g of rubber",
        "two",
        lambda r: _per_gram(r, _left(r)),
        lambda r: _per_gram(r, _scaled_energy(r)),
    ),
    FigureRow("winding_s", "first turn to peak, s", "zero", _winding_s),
    FigureRow("walk_in_s", "walk-in, s", "zero", _walk_in_s),
    FigureRow("crank_rev_per_s", "crank turns/s, stretched", "two", _pace(Phase.WIND_STRETCHED)),
    FigureRow("walk_in_crank_rev_per_s", "crank turns/s, walk-in", "two", _pace(Phase.WALK_IN)),
    FigureRow("crank_variation", "unevenness of the crank", "share", _seen("crank_variation")),
    FigureRow("path_off", "walk-in off the path", "share", _seen("path_off")),
    FigureRow("longest_fall_s", "longest fall, s", "zero", _seen("longest_fall_s")),
    FigureRow("time_in_rate_band", "rate in its band", "share", _seen("in_band")),
    FigureRow("stalls", "stalls", "zero", _seen("stalls")),
    FigureRow("stalled_s", "crank stopped, s", "one", _seen("stalled_s")),
    FigureRow("stalls_lost_mNm", "torque lost in stalls", "torque", lambda r: _milli(_lost_in_stalls(r))),
    FigureRow("torque_scale", "torque over the plan's", "two", _seen("torque_scale")),
    _value(BY_NAME["lost_lines"]),
    FigureRow("score", "score of 100", "zero", lambda r: r.review.score),
)
"""Rows of the review's own, `score` last."""
_KEYS = {row.key for row in _OWN}
FIGURES = (*_OWN[:-1], *(_value(one) for one in VALUES if one.label and one.key not in _KEYS), _OWN[-1])
"""In the order of reading: also each of a wind's values that has a label and no row of the review's own. `score` is by
rules of our own, see `winding_coach.review.wind.happened`."""

NOT_KNOWN = "–"
_DECIMALS = {"zero": 0, "turns": 0, "one": 1, "two": 2}


def figure_text(row: FigureRow, value: float | None, units: UnitSystem) -> str:
    """Return a figure for a table cell, without its unit."""
    if value is None:
        return NOT_KNOWN
    if row.kind in ("torque", "rate"):
        return shown_number(1e-3 * value, "torque", units)
    if row.kind == "share":
        return f"{value:.0%}"
    return f"{value:z.{_DECIMALS[row.kind]}f}"


def label_of(row: FigureRow, units: UnitSystem) -> str:
    """Return the label with the unit."""
    per_s = {"torque": "", "rate": "/s"}.get(row.kind)
    return row.label if per_s is None else f"{row.label}, {unit_label('torque', units)}{per_s}"


@dataclass(frozen=True, slots=True)
class Column:
    """One wind, or what winds are compared with: a head and a text for each of `FIGURES`."""

    head: str
    cells: tuple[str, ...]


def column_of(head: str, record: WindRecord, units: UnitSystem) -> Column:
    """Return a wind's own column."""
    return Column(head, tuple(figure_text(row, row.of(record), units) for row in FIGURES))


def best_column(head: str, record: WindRecord, units: UnitSystem) -> Column:
    """Return what the plan's path would give with this motor's own torque."""
    return Column(head, tuple("" if row.best is None else figure_text(row, row.best(record), units) for row in FIGURES))


def median_column(head: str, records: Sequence[WindRecord], units: UnitSystem) -> Column:
    """Return the medians of several winds, each over those that know the figure."""
    cells = []
    for row in FIGURES:
        known = [value for record in records if (value := row.of(record)) is not None]
        cells.append(figure_text(row, statistics.median(known) if known else None, units))
    return Column(head, tuple(cells))


def figures_json(record: WindRecord) -> dict[str, Any]:
    """Return all figures of a wind by their keys, null where not known."""
    found: dict[str, Any] = {}
    for row in FIGURES:
        value = row.of(record)
        whole = row.kind == "zero" and value is not None and value == int(value)
        found[row.key] = None if value is None else int(value) if whole else round(value, 4)
    return found
