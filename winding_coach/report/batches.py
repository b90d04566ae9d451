"""What is known of a batch in, a report out: how strips, torque and strength scatter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from winding_coach.base.units import G_PER_IN_KG_PER_M, UnitSystem, shown_number, unit_label
from winding_coach.report.chart import Band, Chart, Curve, Level, Mark
from winding_coach.report.page import Report, Section, Table
from winding_coach.review.wind.scatter import LEVEL as MEAN_LEVEL
from winding_coach.review.wind.scatter import POWER, densities_of
from winding_coach.rubber.batch import Batch, FittedBatch
from winding_coach.rubber.law import DEFAULT_RUBBER
from winding_coach.rubber.strength import LEVEL, Wound, kaplan_meier

POINTS = 60
DIFFERENCES = {"metric": 0.04e-3, "inch": 0.001 * G_PER_IN_KG_PER_M}
"""Densities so far apart are told apart in testing (common practice, no source): 0.001 g/in, about 0.04 g/m."""


@dataclass(frozen=True, slots=True)
class LearnedWind:
    """One wind of the batch: its trace, torque over the default rubber's, and how far it was wound."""

    trace: str
    scale: float | None
    wound: Wound | None


def batch_report(
    batch: Batch,
    made: FittedBatch,
    winds: Sequence[LearnedWind],
    densities_kg_per_m: Sequence[float],
    units: UnitSystem,
    warning: str = "",
) -> Report:
    """Return a batch's scatter in words, figures and pictures. winds: [] where only their figures are kept."""
    stretch = made.strength.break_stretch
    scales = batch.torque_scales
    said = [f"Based on {made.rests_on}."]
    if scales:
        said.append(
            f"Torque is {made.torque.value:.3f} of the default rubber's ({made.torque.low:.3f} to"
            f" {made.torque.high:.3f}); from motor to motor it scatters by {made.scale.spread:.1%}."
        )
    else:
        said.append("No wind shows its torque yet.")
    said.append(
        f"Half of its motors break at a strand stretch of {stretch.value:.2f} ({stretch.low:.2f} to"
        f" {stretch.high:.2f}); the default is {DEFAULT_RUBBER.break_stretch:.2f}. Intervals of {LEVEL:.0%}."
    )
    rows = [
        (
            one.trace,
            "–" if one.scale is None else f"{one.scale:.3f}",
            "–" if one.wound is None else f"{one.wound.stretch:.2f}",
            "–" if one.wound is None else ("broke" if one.wound.broke else "held"),
        )
        for one in winds
    ]
    sections = [
        Section(
            "How this batch behaves", tuple(said), charts=(_scales_chart(batch, made), _strength_chart(batch, made))
        ),
        Section("Strips", tuple(_densities(densities_kg_per_m, units))),
    ]
    if rows:
        table = Table(("trace", "torque scale", "strand stretch", "the motor"), tuple(rows))
        sections.append(Section("Winds", table=table))
    return Report(title=f"Batch {batch.name}", lead="", warning=warning, sections=tuple(sections))


def _densities(values: Sequence[float], units: UnitSystem) -> list[str]:
    found = densities_of(values)
    unit = unit_label("linear density", units)

    def density(value: float) -> str:
        return shown_number(value, "linear density", units)

    if found is None:
        only = f"Only one strip was measured ({density(values[0])} {unit})" if values else "No strip was measured"
        return [f"{only}: measure two at least to see how they scatter."]
    apart = DIFFERENCES[units]
    return [
        f"{found.count} strips: {density(found.mean)} {unit} on average, {density(found.low)} to"
        f" {density(found.high)} with {MEAN_LEVEL:.0%}; from strip to strip they scatter by {found.cv:.1%}.",
        f"To distinguish a batch {density(apart)} {unit} away, {found.strips_to_tell(apart)} strips of each are"
        f" needed ({POWER:.0%} of such tests would find it).",
    ]


def _scales_chart(batch: Batch, made: FittedBatch) -> Chart:
    scales = batch.torque_scales
    marks = tuple(Mark(float(n), scale, "", "dot", "wind") for n, scale in enumerate(scales, 1))
    last = len(scales) + 0.5
    return Chart(
        title="Torque of its winds over the default rubber's",
        about=f"Torque scale of {len(scales)} winds; the batch's is {made.torque.value:.3f}, from {made.torque.low:.3f}"
        f" to {made.torque.high:.3f}.",
        x_label="wind (field: interval of the batch's own)",
        y_label="torque scale",
        marks=marks,
        bands=(Band(((0.5, made.torque.low, made.torque.high), (last, made.torque.low, made.torque.high))),),
        levels=(Level(1.0, "default rubber"), Level(made.torque.value, "this batch", "wind")) if scales else (),
        x_range=(0.5, last) if scales else (0.0, 1.0),
    )


def _strength_chart(batch: Batch, made: FittedBatch) -> Chart:
    """Return the share of motors that hold at a strand stretch: fitted with its interval, and as logged."""
    wound, strength = batch.wound, made.strength
    reached = [one.stretch for one in wound]
    least, most = min([8.0, *reached]) - 0.2, max([10.2, *reached]) + 0.2
    places = [least + (most - least) * i / POINTS for i in range(POINTS + 1)]
    risks = [strength.risk(place) for place in places]
    steps, share = [(least, 1.0)], 1.0
    marks = []
    for step in kaplan_meier(reached, [one.broke for one in wound]):
        steps += [(step.value, share), (step.value, step.surviving)]
        share = step.surviving
        marks.append(Mark(step.value, share, "", "dot", "danger"))
    if wound:
        steps.append((max(*reached, steps[-1][0]), share))
    for one in wound:
        if not one.broke:
            at = next((after for place, after in reversed(steps) if place <= one.stretch), 1.0)
            marks.append(Mark(one.stretch, at, "", "bar", "ink"))
    return Chart(
        title="Motors that hold",
        about=f"Share of motors that hold at a strand stretch: {strength.breaks} broke, {strength.survivors} held.",
        x_label="strand stretch (dots: broke; upright strokes: held)",
        y_label="share that holds",
        curves=(
            Curve((tuple(zip(places, (1.0 - risk.value for risk in risks), strict=True)),), "wind", "", "6 3", 1.8),
            Curve((tuple(steps),), "ink", "", "", 1.6),
        ),
        bands=(Band(tuple((p, 1.0 - r.high, 1.0 - r.low) for p, r in zip(places, risks, strict=True))),),
        marks=(*marks, Mark(places[20], 1.0 - risks[20].low, f"fit, {LEVEL:.0%} interval", "none", "wind")),
        x_range=(least, most),
        y_range=(0.0, 1.05),
    )
