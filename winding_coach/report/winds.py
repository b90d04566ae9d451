"""Records of winds in, a report out: one wind told at length, or several side by side."""

from __future__ import annotations

from collections.abc import Sequence

from winding_coach.base.units import UnitSystem
from winding_coach.coach.said import Phase
from winding_coach.report.page import Report, Section, Table
from winding_coach.report.step_table import steps_section
from winding_coach.report.wind_charts import BAND_SHARE, MOST_OVERLAID, overlaid, time_chart, turns_chart
from winding_coach.review.wind.compare import FIGURES, Column, best_column, column_of, label_of, median_column
from winding_coach.review.wind.happened import WindReview
from winding_coach.review.wind.record import WindRecord
from winding_coach.review.wind.telling import WHAT_IS_COUNTED, flown, title_of, told
from winding_coach.shelf.records import Flight

LEGEND = (
    f"Dashed: the plan's path, scaled to this motor; field: {BAND_SHARE:.0%} either way. Triangles with numbers: the"
    " crank stopped. ! warning, ✕ danger. Dot: peak; ring: launch."
)
EARLIER = " Fine dots: earlier winds of this motor."
SCORES = "Scores are from 0 to 100, by rules of our own."
REST = (
    "Values are from the present coach and estimator, run over the trace's inputs.",
    "Care: a stretched, wound motor can hurt eyes and hands. Local rules and the adult in charge come first.",
)
SIMULATED = "This wind was made with a simulated meter: no real motor was wound."
SIMULATED_ALL = "These winds were made with a simulated meter: no real motor was wound."
SIMULATED_SOME = "Some of these winds were made with a simulated meter: no real motor was wound in them."


INVENTED = "All of this is invented: no real person, motor or meter is in it."


def is_simulated(record: WindRecord) -> bool:
    """Whether the trace says that its meter was simulated, or all of it invented."""
    return not record.header.more.keys().isdisjoint(("simulated", "invented")) or (
        record.settings.calibration.id == "simulated"
    )


def _made_up(records: Sequence[WindRecord]) -> str:
    """Return what to mind of winds that are not real, "" if they are."""
    if all("invented" in record.header.more for record in records):
        return INVENTED
    made_up = sum(map(is_simulated, records))
    if made_up < len(records):
        return SIMULATED_SOME if made_up else ""
    return SIMULATED if len(records) == 1 else SIMULATED_ALL


def short_names(records: Sequence[WindRecord]) -> list[str]:
    """Return a letter and a name for each wind, by what tells them apart: person, motor, day, time, else the file.

    Letters go A to Z, then A2.
    """
    ways = (
        [record.header.person or "" for record in records],
        [(record.header.motor and record.header.motor.name) or "" for record in records],
        [f"{record.header.started:%d %b}" for record in records],
        [f"{record.header.started:%H:%M}" for record in records],
    )
    stems = [record.name.partition(".")[0] for record in records]
    chosen = next((way for way in ways if len(set(way)) == len(records) and all(way)), stems)
    names = []
    for number, name in enumerate(chosen):
        letter = chr(ord("A") + number % 26) + (f"{number // 26 + 1}" if number >= 26 else "")
        names.append(f"{letter} {name if len(name) <= 12 else name[:11] + '…'}")
    return names


def one_wind(
    record: WindRecord, earlier: Sequence[WindRecord], units: UnitSystem, flight: Flight | None = None
) -> Report:
    """Return the report of one wind; earlier: of the same motor, the newest first. flight: the last it was flown."""
    said = [*told(record, units), flown(record, flight) if flight is not None else ""]
    columns = [column_of("this wind", record, units), best_column("best path", record, units)]
    if earlier:
        count = len(earlier)
        columns.append(median_column(f"median of {count} before" if count > 1 else "wind before", earlier, units))
    remark = WHAT_IS_COUNTED
    if earlier:
        remark += f" Earlier winds of this motor: {', '.join(one.name for one in earlier)}."
    return Report(
        title=title_of(record),
        lead=record.name,
        warning=_made_up([record]),
        sections=(
            Section(
                "What happened",
                tuple(text for text in said if text),
                (turns_chart(record, earlier, units), time_chart(record, units)),
                LEGEND + (EARLIER if earlier else ""),
            ),
            *steps_of(record),
            Section(
                "To do better next time",
                (record.review.better,),
                table=_aims(record),
                items=also_better(record.review),
                remark=SCORES,
            ),
            Section("Figures", table=_figures(columns, units), remark=remark),
        ),
        foot=REST,
    )


def steps_of(record: WindRecord) -> tuple[Section, ...]:
    """Return the section on the steps of the walk-in, nothing where torque showed none."""
    walk = record.span(Phase.WALK_IN)
    found = steps_section(record.steps, None if walk is None else walk.from_s)
    return () if found is None else (found,)


def several_winds(records: Sequence[WindRecord], units: UnitSystem) -> Report:
    """Return the report of winds side by side."""
    names = short_names(records)
    columns = [column_of(name, record, units) for name, record in zip(names, records, strict=True)]
    items = [
        f"{name.partition(' ')[0]}: {title_of(record)} ({record.name}). {record.review.better}"
        for name, record in zip(names, records, strict=True)
    ]
    drawn = sum(bool(record.wound) for record in records)
    legend = "Each wind has its own dashes and its name at its peak."
    if drawn > MOST_OVERLAID:
        legend += f" The first {MOST_OVERLAID} are drawn."
    return Report(
        title=f"{len(records)} winds side by side",
        lead="",
        warning=_made_up(records),
        sections=(
            Section("The winds", items=tuple(items)),
            Section(
                "On the same axes",
                charts=tuple(overlaid(records, names, units, by_turns=by_turns) for by_turns in (True, False)),
                legend=legend,
            ),
            Section("Figures", table=_figures(columns, units), remark=WHAT_IS_COUNTED),
        ),
        foot=REST,
    )


def _figures(columns: Sequence[Column], units: UnitSystem) -> Table:
    rows = [(label_of(row, units), *(column.cells[number] for column in columns)) for number, row in enumerate(FIGURES)]
    return Table(("", *(column.head for column in columns)), tuple(rows))


def also_better(review: WindReview) -> tuple[str, ...]:
    """Return what else would have been better, a sentence for each aim; the one that matters most is told already."""
    others = [one for one in review.aims if one.better and one.better != review.better]
    return tuple(f"{one.title.capitalize()}, {one.score:.0f}: {one.better}" for one in others)


def _aims(record: WindRecord) -> Table | None:
    scored = [one for one in record.review.aims if one.score is not None]
    if not scored:
        return None
    rows = [(one.title, f"{one.score:.0f}") for one in scored]
    if record.review.score is not None:
        rows.append(("the complete wind", f"{record.review.score:.0f}"))
    return Table(("aim", "score"), tuple(rows))
