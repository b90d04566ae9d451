"""One wind of one person in a closed loop, by seed: coach, simulated motor, meter and robot person; its figures out.

Figures are of the true motor, never of what the meter or the coach believes.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from tests.scenario import MOTOR, PLAN, SETTINGS, WINDER
from tests.support.alone import LonePerson
from tests.support.offline import analyse
from winding_coach.base.inputs import BytesArrived, Input, LinkUp
from winding_coach.coach.band import RateBand
from winding_coach.coach.limits import limits_from
from winding_coach.coach.live import LiveScale
from winding_coach.coach.said import Phase
from winding_coach.coach.settings import CoachSettings
from winding_coach.coach.step import Coach
from winding_coach.coach.view import CoachView
from winding_coach.rubber.law import DEFAULT_RUBBER
from winding_coach.rubber.path import PlanPath
from winding_coach.simulator.bench import Bench, MeterModel, Truth
from winding_coach.simulator.coached import CoachedPerson
from winding_coach.simulator.motor import SimulatedMotor
from winding_coach.simulator.people import Person, Shown
from winding_coach.simulator.skill import SKILLS, Skill
from winding_coach.sound.hearing import AudioState, Cue, CueSelector, Side

TICK_S = 0.025
BYTES_EVERY = 2
"""The coach gets its bytes every so many ticks, as a port delivers them in bunches."""
SHOWN_EVERY = 4
STRENGTH_SPREAD = 0.04
TORQUE_SPREAD = 0.08
STANDS_REV_PER_S = 0.15
LONGEST_S = 400.0
SIDES = {Side.BELOW: -1, Side.WITHIN: 0, Side.ABOVE: 1}
USUAL_METER = MeterModel(channels="cd")
PLAIN_METER = MeterModel(channels="", lines_per_s=10.0)
"""Alone the lines are not looked at: only the bench's clock needs some."""


@dataclass(frozen=True)
class Cell:
    """Who winds, with what. hears: the sound is on. marks: the coach says where to stand. live: it fits this motor."""

    skill: str
    coached: bool
    meter: MeterModel = USUAL_METER
    hears: bool = True
    marks: bool = True
    live: bool = True
    stalls_alike: bool = False
    no_reminder: bool = False
    least_m: float | None = None
    settings: CoachSettings = field(default=SETTINGS, repr=False)


@dataclass(frozen=True)
class Result:
    """What became of one wind. Ratios to the target; None where the wind did not come so far.

    peak: highest torque over this motor's own at the target turns. broken; risk: 1 if this motor breaks on the plan's
    own wind. stalled_s: crank standing in the walk-in. in_band: share of the walk-in. held: turns at launch over the
    best path's. launch: torque at launch over the wanted one. walked_s, lasted_s: length of walk-in and wind.
    """

    peak: float | None
    broken: bool
    risk: float
    stalled_s: float
    in_band: float | None
    held: float | None
    launch: float | None
    walked_s: float
    lasted_s: float
    peak_turns: float


class Unscaled(LiveScale):
    """For the ablation: never fitted to this motor."""

    def tell(
        self, at_s: float, phase: Phase, torque_Nm: float | None, turns: float | None, distance_m: float | None
    ) -> None:
        """Take nothing in."""


class UnscaledCoach(Coach):
    """A coach that keeps to the plan's torques."""

    def __init__(self, settings: CoachSettings) -> None:
        super().__init__(settings)
        self._gathering.live = Unscaled(self.limits, self._path)


def shown_of(view: CoachView, heard: AudioState, *, marks: bool = True) -> Shown:
    """What the screen shows and the sound plays."""
    prompt = view.prompt
    walking = prompt is not None and prompt.code in ("walk_in_to", "hold_distance")
    told = None if prompt is None or (walking and not marks) else prompt
    return Shown(
        torque_Nm=view.reading.torque_Nm,
        prompt=None if prompt is None else prompt.code,
        said_s=0.0 if prompt is None else prompt.at_s,
        distance_m=None if told is None else told.distance_m,
        crank_turns=None if told is None else told.crank_turns,
        at_m=view.reading.distance_m,
        step_m=None if told is None else told.step_m,
        cue_s=None if heard.cue is None else heard.cue.at_s,
        danger=heard.cue is not None and heard.cue.cue is Cue.DANGER,
        tone=None if heard.tone is None else SIDES[heard.tone.side],
    )


@dataclass(frozen=True)
class Drawn:
    """What chance has given this wind."""

    scale: float
    strength: float
    motor: SimulatedMotor
    person: Person
    bench: Bench


def draw(cell: Cell, seed: int) -> Drawn:
    """Draw motor, person and meter of a seed; cells with one seed get the same motor."""
    rng = np.random.default_rng([seed, 20260])
    scale = float(rng.uniform(1 - TORQUE_SPREAD, 1 + TORQUE_SPREAD))
    strength = float(np.clip(rng.normal(1.0, STRENGTH_SPREAD), 0.85, 1.15))
    # Strength is of the strand stretch at break: the simulated motor's own is its rubber's median.
    rubber = replace(DEFAULT_RUBBER, break_stretch=DEFAULT_RUBBER.break_stretch * strength)
    motor = SimulatedMotor(MOTOR, rubber, torque_scale=scale)
    skill: Skill = SKILLS[cell.skill]
    person: Person
    if cell.coached:
        if cell.stalls_alike:
            skill = replace(skill, steps_matter=False)
        if cell.no_reminder:
            skill = replace(skill, reminded=1.0)
        if cell.least_m is not None:
            skill = replace(skill, least_m=cell.least_m)
        person = CoachedPerson(skill, MOTOR.loop_m, rng, hears=cell.hears, full_Nm=PLAN.peak_torque_Nm)
        meter = cell.meter
    else:
        person = LonePerson(skill, MOTOR.loop_m, rng, plan=PLAN, winder=WINDER)
        meter = PLAIN_METER
    return Drawn(scale, strength, motor, person, Bench(motor, person, WINDER.ratio, meter, rng))


def wind(
    cell: Cell,
    seed: int,
    *,
    taken: Callable[[Input], None] | None = None,
    looked: Callable[[Coach, Truth], None] | None = None,
) -> Result:
    """Wind one motor. taken: called with each input of the coach; looked: called at each look of the person."""
    drawn = draw(cell, seed)
    bench, motor, person = drawn.bench, drawn.motor, drawn.person
    coach = (Coach if cell.live else UnscaledCoach)(cell.settings)
    ear = CueSelector()
    inputs: list[Input] = [LinkUp(0.0, "bench")]
    truths: list[Truth] = []
    waiting = b""
    tick = 0
    while not bench.done and not motor.broken and tick * TICK_S < LONGEST_S:
        tick += 1
        at_s = round(tick * TICK_S, 6)
        waiting += bench.advance(TICK_S)
        truths.append(bench.truth)
        if cell.coached:
            if tick % BYTES_EVERY == 0 and waiting:
                inputs.append(BytesArrived(at_s, waiting))
                waiting = b""
            for event in inputs:
                if taken is not None:
                    taken(event)
                coach.step(event)
            inputs.clear()
        if tick % SHOWN_EVERY == 0:
            if cell.coached:
                person.see(shown_of(coach.view, ear.hear(coach.view), marks=cell.marks))
            else:
                person.see(Shown(bench.truth.torque_Nm))
            if looked is not None:
                looked(coach, bench.truth)
    return judge(drawn, truths)


def judge(drawn: Drawn, truths: list[Truth]) -> Result:
    """Return what became of a wind."""
    up = [truth for truth in truths if truth.doing != "backing off" and truth.hooked] or truths[:1]
    top = max(up, key=lambda truth: truth.torque_Nm)
    walking = [number for number, truth in enumerate(truths) if truth.doing == "walking in"]
    holding = [truth for truth in truths if truth.doing == "holding" and truth.hooked]
    end = holding[-1] if holding else None
    broken = drawn.motor.broken
    best = PLAN.target_turns - _PATH.back_off_turns_to(PLAN.launch_torque_Nm / drawn.scale)
    peaked = top.turns > 0.5 * PLAN.target_turns and not any(truths[n].at_s >= top.at_s for n in walking[-1:])
    return Result(
        peak=top.torque_Nm / (PLAN.peak_torque_Nm * drawn.scale) if peaked else None,
        broken=broken,
        risk=own_risk(drawn.strength),
        stalled_s=sum(TICK_S for n in walking if truths[n].crank_rev_per_s < STANDS_REV_PER_S),
        in_band=in_band(truths, walking),
        held=None if end is None or broken else end.turns / best,
        launch=None if end is None or broken else end.torque_Nm / PLAN.launch_torque_Nm,
        walked_s=len(walking) * TICK_S,
        lasted_s=truths[-1].at_s,
        peak_turns=top.turns / PLAN.target_turns,
    )


def in_band(truths: list[Truth], walking: list[int]) -> float | None:
    """Share of the walk-in in which the rate is in the plan's band: true torque through the gauge's own filter."""
    if not walking:
        return None
    first = max(walking[0] - 400, 0)
    seen = truths[first : walking[-1] + 1]
    start_s = seen[0].at_s
    record = analyse(
        np.array([truth.at_s - start_s for truth in seen]),
        np.array([truth.torque_Nm for truth in seen]),
        PLAN.peak_torque_Nm,
        np.array([int(truth.turns / WINDER.ratio) for truth in seen]),
        lines_per_s=1.0 / TICK_S,
    )
    inside = counted = 0
    for sample, rate in zip(record.sample, record.rate_fast_Nm_per_s, strict=True):
        if first + sample < walking[0] or not np.isfinite(rate):
            continue
        low, high = _BAND.at(Phase.WALK_IN, seen[sample].turns)
        counted += 1
        inside += (low or 0.0) <= rate <= (high or 0.0)
    return inside / counted if counted else None


def own_risk(strength: float) -> float:
    """1 if this motor breaks on the plan's own wind to the target, with nobody's errors; else 0."""
    return float(DEFAULT_RUBBER.break_stretch * strength < _WORST)


_PATH = PlanPath(PLAN, MOTOR)
_BAND = RateBand(limits_from(SETTINGS), _PATH)
_WORST = max(_PATH.stretch_at_worst(turns) for turns in np.linspace(0.3, 1.0, 100) * PLAN.target_turns)
