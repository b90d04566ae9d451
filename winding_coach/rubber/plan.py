"""A motor, a winder and a model in, the winding plan out. Impossible figures end as a `FiguresError`.

The torques of a plan are those of a motor with history (see `rubber.history`) wound along its own course.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from winding_coach.base.units import UnitSystem, show
from winding_coach.rubber.course import (
    NOMINAL_CRANK_REV_PER_S,
    Course,
    back_off_from,
    course_through,
    wind_along,
)
from winding_coach.rubber.figures import (
    FiguresError,
    ModelFigures,
    MotorFigures,
    Plan,
    WalkInRow,
    WinderFigures,
)
from winding_coach.rubber.history import History
from winding_coach.rubber.law import DEFAULT_RUBBER, Geometry, Rubber
from winding_coach.rubber.motor import HOOKS_SHARE, before_the_wind, breaking_turns, geometry_of, share_of, strength_cv
from winding_coach.rubber.table import table

STRETCH_SHARE = 0.73
"""Full stretch over the strand stretch at the target: 6.0-6.5 loop lengths at 80-90 % (common practice 6-7)."""
WALK_IN_SHARE = 0.915
"""Strand stretch of the walk-in over that at the target: it starts at 53 % of the target turns (practice 50-60 %)."""
SHORTEST_ROOM = 1.5
"""Room over loop; with less it is not stretched at all. Assumed."""
SHORTEST_HOOKS = 0.1
"""Hooks over loop; no wound motor packs into less. Assumed: rubber of 1 mm strip fills that length as a ball."""
OWN_BACK_OFF = 0.025
"""Back-off over target turns where no launch torque is wanted: 45 of 1800 turns (common practice, no source)."""
LIMIT_MARGIN = 0.95
"""A plan stays this far below the rating of winder and meter."""
SMALLEST_SHARE, LARGEST_SHARE = 0.2, 0.99
LOOP_SD_M = 2e-3
MASS_SD_KG = 1e-5
"""Standard errors of measuring and weighing a motor where none are given; assumed."""
WALK_IN_ROWS = 12
MUCH_BACK_OFF = 0.25
"""Back-off over target turns from which a thinner motor is suggested; assumed."""

DEFAULT_RESTS_ON = "the default rubber: typical values (common practice, no source)"


@dataclass(frozen=True, slots=True)
class _Drawn:
    """A course with what the motor shows on it up to the target."""

    course: Course
    up: list[History]

    @property
    def peak(self) -> History:
        return self.up[-1]


def make_plan(
    motor: MotorFigures,
    winder: WinderFigures,
    model: ModelFigures,
    *,
    rubber: Rubber = DEFAULT_RUBBER,
    room_m: float | None = None,
    meter_limit_Nm: float | None = None,
    units: UnitSystem = "metric",
    rests_on: str = DEFAULT_RESTS_ON,
) -> Plan:
    """Return the winding plan of a motor.

    room_m: length there is to stretch it in. meter_limit_Nm: rating of the meter. units: of the sentences in
    `limits`; every figure is SI. Costs a few milliseconds.

    Raises:
        FiguresError: figures that no motor, winder or model can have, or a limit that leaves nothing to wind.
    """
    body = geometry_of(motor, rubber)
    share = share_of(motor)
    if not 0.1 <= winder.ratio <= 100.0:
        raise FiguresError(f"A winder ratio of {winder.ratio:.4g} cannot be: give the motor turns for one crank turn.")
    _check_lengths(motor.loop_m, model.hooks_m, room_m, units)
    limits: list[str] = []
    hooks = _hooks(body, model, limits, units)
    breaks = breaking_turns(body, hooks, rubber)
    if breaks <= 0.0:
        raise FiguresError(
            f"Hooks {show(hooks, 'length', units)} apart would break a loop of {show(motor.loop_m, 'length', units)}:"
            " check both lengths."
        )
    start = before_the_wind(body, motor.use, hooks, rubber)

    def wind_to(at_share: float) -> _Drawn:
        course = planned_course(body, hooks, at_share * breaks, winder.ratio, room_m, units)
        return _Drawn(course, wind_along(course, start, course.target_turns, rubber))

    bound = _bound(winder.limit_Nm, meter_limit_Nm, units)
    wind = wind_to(share)
    if bound is not None and wind.peak.torque_Nm > LIMIT_MARGIN * bound.torque_Nm:
        wanted = share
        share = _largest_share(wind_to, LIMIT_MARGIN * bound.torque_Nm, share)
        if share < SMALLEST_SHARE:
            raise FiguresError(
                f"{bound.named} is too little for this motor: even {SMALLEST_SHARE:.0%} of its breaking turns"
                " exceed it."
            )
        limits.append(
            f"{bound.named} binds: the plan stops at {share:.0%} of the breaking turns instead of {wanted:.0%},"
            f" {show(LIMIT_MARGIN * bound.torque_Nm, 'torque', units)} being the most to wind to."
        )
        wind = wind_to(share)
    limits += _room_binds(wind.course, room_m, units)
    off = back_off_from(wind.course, wind.peak, rubber)
    launch, back_off = _launch(off, wind.peak, model, limits, units)
    peak = wind.peak
    torque_off = table([peak.turns - mark.turns for mark in off], [mark.torque_Nm for mark in off])
    stretched = next(mark for mark in wind.up if mark.turns >= wind.course.stretched_turns)
    return Plan(
        linear_density_kg_per_m=body.linear_density_kg_per_m,
        breaking_turns=breaks,
        breaking_turns_sd=breaks * _breaking_turns_cv(motor, rubber),
        share=share,
        target_turns=peak.turns,
        target_crank_turns=peak.turns / winder.ratio,
        peak_torque_Nm=peak.torque_Nm,
        stretch_distance_m=wind.course.stretch_distance_m,
        stretched_turns=stretched.turns,
        stretched_torque_Nm=stretched.torque_Nm,
        # The pull is at its highest before the first turn: what meter, winder and hands have to hold.
        stretched_pull_N=max(mark.pull_N for mark in wind.up),
        walk_in=_walk_in(wind, winder.ratio),
        back_off_turns=back_off,
        launch_torque_Nm=launch,
        launch_turns=peak.turns - back_off,
        # What the motor gives in unwinding from the launch on: less than was put in, by hysteresis and friction.
        energy_stored_J=2.0 * math.pi * torque_off.integral(back_off, peak.turns),
        break_risk=rubber.break_risk(max(mark.stretch_at_worst for mark in wind.up)),
        rests_on=rests_on,
        limits=tuple(limits),
    )


def share_for_risk(
    risk: float,
    motor: MotorFigures,
    winder: WinderFigures,
    model: ModelFigures,
    *,
    rubber: Rubber = DEFAULT_RUBBER,
    room_m: float | None = None,
    chance: Callable[[float], float] | None = None,
) -> float:
    """Return the share (0-1) of the breaking turns whose plan breaks with a wanted chance (0-1).

    chance: to break at a strand stretch; by default the rubber's own, as if its strength were known. What is not known
    of a batch makes it break more often: give what is expected over that, see `strength.Strength.risk`.

    Raises:
        FiguresError: the chance is not between 0 and a half, or figures that cannot be.
    """
    if not 0.0 < risk <= 0.5:
        raise FiguresError(f"A risk of {risk * 100:.4g} % cannot be planned for: choose above 0 and up to 50 %.")
    low, high = SMALLEST_SHARE, LARGEST_SHARE
    for _ in range(12):
        middle = 0.5 * (low + high)
        found = make_plan(replace(motor, share=middle), winder, model, rubber=rubber, room_m=room_m).break_risk
        if (found if chance is None else chance(rubber.stretch_at_risk(found))) > risk:
            high = middle
        else:
            low = middle
    return low


def _check_lengths(loop_m: float, hooks_m: float | None, room_m: float | None, units: UnitSystem) -> None:
    """Refuse hooks and a room in which this loop cannot be wound.

    Raises:
        FiguresError: one of them is too short.
    """
    loop = show(loop_m, "length", units)
    if room_m is not None and not 0.0 < room_m < math.inf:
        raise FiguresError(f"A room of {room_m:.4g} m cannot be: give the length there is to stretch the motor in.")
    if room_m is not None and room_m < SHORTEST_ROOM * loop_m:
        raise FiguresError(
            f"A room of {show(room_m, 'length', units)} is too short to stretch a loop of {loop} in: give the length"
            " from the meter's hook to where you can stand."
        )
    if hooks_m is not None and 0.0 < hooks_m < SHORTEST_HOOKS * loop_m:
        raise FiguresError(
            f"Hooks {show(hooks_m, 'length', units)} apart are too near for a loop of {loop}: wound, it is longer by"
            " its knots alone. Check both lengths."
        )


def _hooks(body: Geometry, model: ModelFigures, limits: list[str], units: UnitSystem) -> float:
    if model.hooks_m is None:
        hooks = HOOKS_SHARE * body.loop_m
        limits.append(
            f"The hook distance is not known: {show(hooks, 'length', units)} is supposed"
            f" ({HOOKS_SHARE:.0%} of the loop)."
        )
        return hooks
    if not 0.0 < model.hooks_m < 20.0:
        raise FiguresError(f"Hooks {model.hooks_m * 100:.4g} cm apart cannot be: give the model's hook distance.")
    return model.hooks_m


def planned_course(
    body: Geometry,
    hooks: float,
    target: float,
    ratio: float,
    room_m: float | None = None,
    units: UnitSystem = "metric",
) -> Course:
    """Return the course that a plan takes to `target` turns at the hooks, at a nominal pace.

    Raises:
        FiguresError: there is no way to stretch the motor beyond the hooks.
    """
    at_target = body.strand_stretch(hooks, target)
    full = STRETCH_SHARE * at_target * body.loop_m
    stretch = full if room_m is None else min(full, room_m)
    if not stretch > hooks:
        what = "Full stretch" if stretch == full else "The room"
        raise FiguresError(
            f"{what} ({show(stretch, 'length', units)}) is not longer than the hook distance"
            f" ({show(hooks, 'length', units)}): check hooks, loop length and room."
        )
    stretched = body.turns(WALK_IN_SHARE * at_target, stretch)
    return course_through(body, stretch, hooks, stretched, target, NOMINAL_CRANK_REV_PER_S * ratio)


def _room_binds(course: Course, room_m: float | None, units: UnitSystem) -> list[str]:
    if room_m is None or course.stretch_distance_m < room_m:
        return []
    body = course.motor
    full = STRETCH_SHARE / WALK_IN_SHARE * course.walk_stretch * body.loop_m
    return [
        f"The room is too short to stretch fully ({show(full, 'length', units)}): stretch to"
        f" {show(room_m, 'length', units)} and wind {course.stretched_turns:.0f} turns there"
        f" instead of {body.turns(course.walk_stretch, full):.0f}; then walk in as the plan says."
    ]


@dataclass(frozen=True, slots=True)
class _Bound:
    torque_Nm: float
    named: str


def _bound(winder_Nm: float | None, meter_Nm: float | None, units: UnitSystem) -> _Bound | None:
    ratings = []
    for rating, whose in ((winder_Nm, "winder"), (meter_Nm, "meter")):
        if rating is None:
            continue
        if not 0.0 < rating < math.inf:
            raise FiguresError(f"A {whose} rated for {rating * 1e3:.4g} mN·m cannot be: give its rated torque.")
        ratings.append(_Bound(rating, f"The rating of the {whose} ({show(rating, 'torque', units)})"))
    return min(ratings, key=lambda bound: bound.torque_Nm, default=None)


def _largest_share(wind_to: Callable[[float], _Drawn], limit_Nm: float, share: float) -> float:
    """Return the largest share, up to `share`, whose wind stays within a torque; below SMALLEST_SHARE if none does."""
    low, high = 0.9 * SMALLEST_SHARE, share
    for _ in range(12):
        middle = 0.5 * (low + high)
        if wind_to(middle).peak.torque_Nm > limit_Nm:
            high = middle
        else:
            low = middle
    return low


def _launch(
    marks: list[History], peak: History, model: ModelFigures, limits: list[str], units: UnitSystem
) -> tuple[float, float]:
    """Return the torque at launch and the turns to take off for it, along a back-off branch."""
    off = table([peak.turns - mark.turns for mark in marks], [-mark.torque_Nm for mark in marks])
    wanted = model.launch_torque_Nm
    if wanted is None:
        back_off = OWN_BACK_OFF * peak.turns
        return -off.at(back_off), back_off
    if not 0.0 < wanted < math.inf:
        raise FiguresError(f"A launch torque of {wanted * 1e3:.4g} mN·m cannot be: give the torque wanted at launch.")
    if wanted >= peak.torque_Nm:
        limits.append(
            f"The launch torque wanted ({show(wanted, 'torque', units)}) is not below the peak"
            f" ({show(peak.torque_Nm, 'torque', units)}): do not back off; a thicker motor would give it."
        )
        return peak.torque_Nm, 0.0
    # The pause at the peak may have let torque fall below a launch torque that was just under it.
    back_off = off.first_at_or_above(-wanted, 0.0) or 0.0
    if back_off > MUCH_BACK_OFF * peak.turns:
        limits.append(
            f"The launch torque wanted takes {back_off / peak.turns:.0%} of the turns off:"
            " a thinner motor would suit it."
        )
    return wanted, back_off


def _walk_in(wind: _Drawn, ratio: float) -> tuple[WalkInRow, ...]:
    """Return marks at whole crank turns between the ends of the walk-in, the ends included."""
    course = wind.course
    torque = table([mark.turns for mark in wind.up], [mark.torque_Nm for mark in wind.up])
    first, last = course.stretched_turns, course.walked_in_turns
    every = max(1, math.ceil((last - first) / ratio / WALK_IN_ROWS)) * float(ratio)
    inner = []
    turns = (math.floor(first / every) + 1) * every
    while turns < last:
        # A mark next to an end would only repeat it.
        if min(turns - first, last - turns) > 0.3 * every:
            inner.append(turns)
        turns += every
    return tuple(WalkInRow(n, n / ratio, course.distance_at(n), torque.at(n)) for n in (first, *inner, last))


def _breaking_turns_cv(motor: MotorFigures, rubber: Rubber) -> float:
    """Return the relative spread of breaking turns: strength of the rubber, then measuring and weighing.

    Turns go with loop^1.5 and mass^-0.5 at given strands, and with strand stretch^1.5 (the turns law).
    """
    length = 1.5 * LOOP_SD_M / motor.loop_m
    mass = 0.5 * MASS_SD_KG / (motor.mass_kg - motor.orings_kg)
    return math.hypot(strength_cv(rubber), length, mass)
