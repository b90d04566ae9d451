"""A plan as lines for a terminal: what there is to plan with, the steps, the walk-in, how sure it is."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from statistics import fmean
from textwrap import wrap

from winding_coach.app.figures import Figures, motor_words, winder_words
from winding_coach.base.standing import (
    Steps,
    length_figure,
    length_unit,
    length_words,
    pace_words,
    paces_in,
    place_words,
    tape_words,
)
from winding_coach.base.units import GF_CM_NM, SHOWN, UnitSystem, show, show_energy, show_pull, shown_number, unit_label
from winding_coach.coach.band import RateBand
from winding_coach.coach.limits import limits_from
from winding_coach.coach.said import Phase
from winding_coach.coach.settings import CoachSettings
from winding_coach.meter.calibration import SIMULATED
from winding_coach.rubber.figures import Plan, WalkInRow
from winding_coach.rubber.held import JUMP_TURNS, WalkedIn
from winding_coach.rubber.path import PlanPath
from winding_coach.rubber.published import Ranges
from winding_coach.rubber.spread import Spread
from winding_coach.rubber.strength import LEVEL, Estimate

TOLD_APART = ("feet", "paces", "tape")
"""Units of standing that the table shows beside the length."""
RATES_OF = {
    Phase.WIND_STRETCHED: "at full stretch",
    Phase.WALK_IN: "in the walk-in",
    Phase.FINAL_TURNS: "to the target",
}
EVEN_IS_DEFAULT = (
    "The coach leads along the even way: it is no riskier under any of the three, and has no jump at the hooks."
)
WIDTH = 80
"""Columns of a terminal."""
PLACES = 16
"""A rate of a phase is its mean over so many places."""


@dataclass(frozen=True, slots=True)
class ModerateRate:
    """Torque rise in one phase, on average: what a crank turn brings by the plan, and the band a second that is
    moderate, as gauge and alarms have it."""

    phase: Phase
    per_crank_turn_Nm: float
    low_Nm_per_s: float
    high_Nm_per_s: float


@dataclass(frozen=True, slots=True)
class UnderLoad:
    """What was said of time, heat and age. held_s: wanted at the peak; risk_held: the chance to break then.

    doubt: that heat and age add to the strength, as a logarithm of strand stretch.
    """

    held_s: float = 0.0
    temperature_C: float | None = None
    age_years: float | None = None
    doubt: float = 0.0
    risk_held: float | None = None


@dataclass(frozen=True, slots=True)
class Planned:
    """A plan with what goes with it: the figures, how far it may be off, the risk with its interval.

    stops: the walk-in by the person's own steps, farthest first. ranges: what published values leave open; None with
    a fitted batch. ways: the even walk-in and one that holds torque, where that was asked for.
    """

    plan: Plan
    figures: Figures
    spread: Spread
    risk: Estimate
    steps: Steps
    stops: tuple[WalkInRow, ...]
    ranges: Ranges | None = None
    ways: tuple[WalkedIn, WalkedIn] | None = None
    under_load: UnderLoad = UnderLoad()


def moderate_rates(planned: Planned) -> tuple[ModerateRate, ...]:
    """Return the torque rises that the coach will ask for."""
    plan, figures = planned.plan, planned.figures
    limits = limits_from(CoachSettings(figures.motor, plan, SIMULATED, figures.winder, figures.model))
    band = RateBand(limits, PlanPath(plan, figures.motor))
    ends = (0.0, limits.stretched_turns, limits.walked_in_turns, limits.target_turns)
    rates = []
    for phase, (begin, end) in zip(RATES_OF, pairwise(ends), strict=True):
        places = [begin + (end - begin) * (at + 0.5) / PLACES for at in range(PLACES)]
        turn = [band.per_crank_turn(phase, turns) or 0.0 for turns in places]
        edges = [band.at(phase, turns) for turns in places]
        low, high = (fmean(edge[side] or 0.0 for edge in edges) for side in (0, 1))
        rates.append(ModerateRate(phase, fmean(turn), low, high))
    return tuple(rates)


def as_text(planned: Planned, units: UnitSystem) -> str:
    """Return the plan as lines for a terminal."""
    plan, motor, winder = planned.plan, planned.figures.motor, planned.figures.winder
    off, ratio = planned.spread.together, winder.ratio

    def torque(value_Nm: float, sd_Nm: float | None = None) -> str:
        text = shown_number(value_Nm, "torque", units)
        text += "" if sd_Nm is None else f" ± {shown_number(sd_Nm, 'torque', units)}"
        text += f" {unit_label('torque', units)}"
        return text if units == "inch" else f"{text} ({value_Nm / GF_CM_NM:.1f} gf·cm)"

    density_sd = shown_number(planned.spread.linear_density_sd_kg_per_m, "linear density", units)
    hooks = plan.walk_in[-1]
    rows = [
        ("Motor", motor_words(motor, units)),
        ("Winder", winder_words(winder, units)),
        (
            "Linear density",
            f"{shown_number(plan.linear_density_kg_per_m, 'linear density', units)} ± {density_sd}"
            f" {unit_label('linear density', units)}",
        ),
        ("Breaks at", f"{plan.breaking_turns:.0f} ± {plan.breaking_turns_sd:.0f} turns"),
        ("Wind to", f"{plan.target_turns:.0f} turns, {plan.share:.0%} of them (wind {motor.use} of this motor)"),
        (
            "Chance to break",
            f"{chance(planned.risk.value)} expected on the way to the target"
            f" ({chance(planned.risk.low)} to {chance(planned.risk.high)}, {LEVEL:.0%} interval)",
        ),
        ("Gives back", f"{show_energy(plan.energy_stored_J, units)} from launch on{_published_energy(planned, units)}"),
        *_rates(planned, units),
    ]
    far_m, near_m = plan.stretch_distance_m, hooks.distance_m
    steps = [
        f"Stretch to {length_words(far_m, units)}{_place(planned, far_m, units)},"
        f" {far_m / motor.loop_m:.1f} loop lengths; the pull reaches {show_pull(plan.stretched_pull_N, units)}.",
        f"Wind {plan.stretched_turns / ratio:.1f} crank turns there ({plan.stretched_turns:.0f} turns), to"
        f" {torque(plan.stretched_torque_Nm, off.stretched_torque_Nm)}.",
        f"Walk in to {length_words(near_m, units)}{_place(planned, near_m, units)}"
        f" while cranking to {hooks.crank_turns:.1f} crank turns, as below.",
        f"Crank to {plan.target_crank_turns:.1f} crank turns and stop at the target of"
        f" {torque(plan.peak_torque_Nm, off.peak_torque_Nm)}.",
        f"Back off {plan.back_off_turns / ratio:.1f} crank turns ({plan.back_off_turns:.0f} turns), to"
        f" {torque(plan.launch_torque_Nm)}: {plan.launch_turns:.0f} turns are left for launch.",
    ]
    lines = [line for name, value in rows for line in wrap(f"{name:<17} {value}", WIDTH, subsequent_indent=" " * 18)]
    lines += ["", *_filled(f"{i}. {step}" for i, step in enumerate(steps, 1)), "", *_walk_in(planned, units)]
    lines += ["", *_how_sure(planned, units), *_filled([f"Based on {plan.rests_on}."])]
    more = [*_under_load(planned), *_ways(planned), *_published(planned), *plan.limits]
    return "\n".join([*lines, *_filled(more)])


def chance(share: float) -> str:
    """Return a chance with the digits that mean something: tenths below ten per cent."""
    return f"{share:.1%}" if share < 0.1 else f"{share:.0%}"


def _filled(lines: Iterable[str]) -> Iterator[str]:
    """Yield the lines within the width of a terminal; what does not fit hangs below."""
    for line in lines:
        hang = " " * (15 if line.startswith("  ") else 3)
        yield from wrap(line, WIDTH, subsequent_indent=hang, break_long_words=False, break_on_hyphens=False)


def _under_load(planned: Planned) -> list[str]:
    """Say what time near the peak, heat and age are supposed to do; nothing where nothing was asked."""
    load, lines = planned.under_load, []
    if load.risk_held is not None:
        lines.append(
            f"Held at the target for {load.held_s:.0f} s: {chance(load.risk_held)} break"
            " (power law of time, assumed values)."
        )
    if load.doubt > 0.0:
        lines.append(f"Temperature and age add {load.doubt:.1%} of doubt to its strength (assumed); torque stays.")
    return lines


def _ways(planned: Planned) -> list[str]:
    """Say what a walk-in that holds torque costs, beside the even one; nothing where it was not asked for."""
    if planned.ways is None:
        return []
    lines = [
        "Two ways in; chance to break if any slack, long steps, or only steps with the crank stopped loosen the knots:"
    ]
    for name, way in zip(("even", "torque held"), planned.ways, strict=True):
        risks = ", ".join(f"{risk:.1%}" for risk in way.risk.values())
        lines.append(
            f"  {name:<12} {risks}; at the hooks from {way.arrived_turns:.0f} turns, where torque climbs by"
            f" {way.jump:.0%} of the target in {JUMP_TURNS:.0f} turns"
        )
    even, held = planned.ways
    better = all(even.risk[law] <= held.risk[law] + 5e-4 for law in even.risk) and even.jump < held.jump
    return [*lines, EVEN_IS_DEFAULT] if better else lines


def _published_energy(planned: Planned, units: UnitSystem) -> str:
    if planned.ranges is None:
        return ""
    return f"; published, up to the onset of crystals: {show_energy(planned.ranges.energy_J[1], units)}"


def _published(planned: Planned) -> list[str]:
    """Say how far published marks for breaking turns are apart, where no batch was fitted."""
    if planned.ranges is None:
        return []
    low, high = planned.ranges.breaking_turns
    return [
        f"Published, for good rubber of an unknown batch: it breaks at {low:.0f} to {high:.0f} turns.",
        "Break a test motor of yours and let 'batch fit' learn from it; from then on --batch plans by your winds.",
    ]


def _rates(planned: Planned, units: UnitSystem) -> list[tuple[str, str]]:
    """What a crank turn should add, and the highest good rate, phase by phase."""
    rates = moderate_rates(planned)
    digits = SHOWN[units]["torque"][1] + 1
    unit = unit_label("torque", units)

    def by_phase(figures: Iterable[str], unit: str) -> str:
        first, *others = (f"{RATES_OF[r.phase]}" for r in rates)
        figure, *more = figures
        return ", ".join(
            [f"{figure} {unit} {first}", *(f"{one} {where}" for one, where in zip(more, others, strict=True))]
        )

    each = (shown_number(r.per_crank_turn_Nm, "torque", units, digits) for r in rates)
    most = (shown_number(r.high_Nm_per_s, "torque", units) for r in rates)
    return [
        ("A crank turn adds", by_phase(each, unit)),
        ("Good rates", f"up to {by_phase(most, f'{unit}/s')}"),
    ]


def _place(planned: Planned, distance_m: float, units: UnitSystem) -> str:
    """A place in the person's own unit, in brackets, where that is more than the length beside it."""
    if planned.steps.unit not in TOLD_APART:
        return ""
    return f" ({place_words(distance_m, units, planned.steps)})"


def _walk_in(planned: Planned, units: UnitSystem) -> list[str]:
    """The table of the walk-in, and where to put tape for it."""
    told = planned.steps.unit in TOLD_APART
    heads = [
        f"{'crank turns':>14}",
        f"{'position, ' + length_unit(units):>14}",
        f"{'torque, ' + unit_label('torque', units):>16}",
    ]
    lines = ["  ".join([*heads, "  place"] if told else heads)]
    before_m: float | None = None
    for row in planned.stops:
        distance, moment = length_figure(row.distance_m, units), shown_number(row.torque_Nm, "torque", units)
        line = f"{row.crank_turns:>14.1f}  {distance:>14}  {moment:>16}"
        paces = paces_in(before_m, row.distance_m, planned.steps)
        place = place_words(row.distance_m, units, planned.steps) if paces is None else f"{pace_words(paces)} in"
        lines.append(f"{line}    {place}" if told else line)
        before_m = row.distance_m
    return [*lines, *(["", *wrap(tape_words(planned.steps, units), 80)] if planned.steps.unit == "tape" else [])]


def _how_sure(planned: Planned, units: UnitSystem) -> list[str]:
    spread = planned.spread

    def effect(turns: float, torque_Nm: float) -> str:
        return f"{abs(turns):.0f} turns and {show(abs(torque_Nm), 'torque', units)} at the target"

    return [
        "How far off this may be, by each of:",
        f"   the loop's length  {effect(spread.loop.breaking_turns, spread.loop.peak_torque_Nm)}",
        f"   the mass           {effect(spread.mass.breaking_turns, spread.mass.peak_torque_Nm)}",
        f"   the rubber         {effect(spread.strength.breaking_turns, spread.stiffness.peak_torque_Nm)}",
    ]
