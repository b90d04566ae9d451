"""People in a closed loop with the coach: `python -m tests.bench.closed_loop [WINDS] [--cells NAME,NAME]`.

Each wind draws a motor (4 % spread in strength, torque scale within ±8 %), a person and a meter by seed; prints the
table of what became of the winds. Uses all cores.
"""

from __future__ import annotations

import argparse
import os
import statistics
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import partial

import numpy as np

from tests.bench.people import SKILLS, Person, Seen
from tests.scenario import MOTOR, PLAN, SETTINGS, WINDER
from winding_coach.coach.said import Phase
from winding_coach.coach.settings import CoachSettings
from winding_coach.coach.step import Coach
from winding_coach.coach.view import CoachView
from winding_coach.inputs import BytesArrived, LinkUp
from winding_coach.rubber.path import PlanPath
from winding_coach.simulator.bench import Bench, MeterModel
from winding_coach.simulator.motor import SimulatedMotor

TICK_S = 0.025
STRENGTH_SPREAD = 0.04
TORQUE_SPREAD = 0.08


@dataclass(frozen=True)
class Cell:
    """Who winds, with what."""

    skill: str
    coached: bool
    meter: MeterModel = field(default_factory=lambda: MeterModel(channels="cd"))
    settings: CoachSettings = SETTINGS


CELLS: dict[str, Cell] = {
    "beginner alone": Cell("beginner", False),
    "beginner coached": Cell("beginner", True),
    "expert alone": Cell("expert", False),
    "practised coached": Cell("practised", True),
    "expert coached": Cell("expert", True),
    "coached, no crank sensor": Cell("beginner", True, MeterModel(channels="d")),
    "coached, no distance sensor": Cell("beginner", True, MeterModel(channels="c")),
    "coached, neither": Cell("beginner", True, MeterModel(channels="")),
    "coached, 10 lines/s": Cell("beginner", True, MeterModel(channels="cd", lines_per_s=10.0)),
    "coached, 1 % noise": Cell("beginner", True, MeterModel(channels="cd", noise_Nm=68e-6)),
}


@dataclass(frozen=True)
class Result:
    """What became of one wind. Ratios to the target; None where the wind did not come so far."""

    peak: float | None
    broken: bool
    risk: float
    stalled_s: float
    in_band: float
    held: float | None
    launch: float | None


def seen_of(view: CoachView) -> Seen:
    """What the screen shows."""
    prompt = view.prompt
    return Seen(
        torque_Nm=view.reading.torque_Nm,
        prompt=None if prompt is None else prompt.code,
        distance_m=None if prompt is None else prompt.distance_m,
        crank_turns=None if prompt is None else prompt.crank_turns,
        goal_Nm=view.targets.torque_Nm,
        alarm=view.alarms[0].code if view.alarms else None,
        at_m=view.reading.distance_m,
    )


def one(cell: Cell, seed: int) -> Result:
    """Wind one motor."""
    rng = np.random.default_rng([seed, 20260])
    scale = float(rng.uniform(1 - TORQUE_SPREAD, 1 + TORQUE_SPREAD))
    strength = float(np.clip(rng.normal(1.0, STRENGTH_SPREAD), 0.85, 1.15))
    motor = SimulatedMotor(MOTOR, torque_scale=scale)
    motor._breaks_at *= strength
    person = Person(SKILLS[cell.skill], PLAN, MOTOR, WINDER, rng, coached=cell.coached)
    bench = Bench(motor, person, WINDER.ratio, cell.meter, rng)
    coach = Coach(cell.settings)
    coach.step(LinkUp(0.0, "bench"))
    path = PlanPath(PLAN, MOTOR)
    at_s = 0.0
    top = 0.0
    top_turns = 0.0
    stalled = walked = banded = in_band = 0.0
    launch: float | None = None
    held: float | None = None
    while not bench.done and not motor.broken and at_s < 500.0:
        at_s = round(at_s + TICK_S, 6)
        data = bench.advance(TICK_S)
        if data:
            coach.step(BytesArrived(at_s, data))
        view = coach.view
        person.see(seen_of(view) if cell.coached else Seen(torque_Nm=view.reading.torque_Nm))
        truth = bench.truth
        if truth.torque_Nm > top and truth.doing != "backing off":
            top, top_turns = truth.torque_Nm, truth.turns
        if truth.doing == "walking in":
            walked += TICK_S
            stalled += TICK_S if truth.crank_rev_per_s < 0.15 else 0.0
            targets, rate = view.targets, view.reading.torque_rate_Nm_per_s
            if view.phase is Phase.WALK_IN and rate is not None and targets.rate_low_Nm_per_s is not None:
                banded += TICK_S
                high = targets.rate_high_Nm_per_s or 0.0
                in_band += TICK_S if targets.rate_low_Nm_per_s <= rate <= high else 0.0
        if truth.doing == "holding" and truth.hooked:
            launch, held = truth.torque_Nm, truth.turns
    target = PLAN.peak_torque_Nm * scale
    best = PLAN.target_turns - path.back_off_turns_to(PLAN.launch_torque_Nm / scale)
    return Result(
        peak=top / target if top_turns > 0.5 * PLAN.target_turns else None,
        broken=motor.broken,
        risk=own_risk(strength),
        stalled_s=stalled,
        in_band=in_band / banded if banded else 0.0,
        held=None if held is None else held / best,
        launch=None if launch is None else launch / PLAN.launch_torque_Nm,
    )


def own_risk(strength: float) -> float:
    """Whether this motor breaks on the plan's own wind to the target: the motor's risk, not the person's."""
    path = PlanPath(PLAN, MOTOR)
    worst = max(path.stretch_at_worst(turns) for turns in np.linspace(0.3, 1.0, 60) * PLAN.target_turns)
    return 1.0 if worst > 9.61 * strength else 0.0


def share(results: list[Result], of: Callable[[Result], bool]) -> float:
    """Share of winds for which something holds."""
    return sum(map(of, results)) / len(results)


def row(name: str, results: list[Result]) -> str:
    """One row of the table."""
    peak = share(results, lambda r: r.peak is not None and abs(r.peak - 1) <= 0.03)
    broken = share(results, lambda r: r.broken) - statistics.fmean(r.risk for r in results)
    stalled = statistics.median(r.stalled_s for r in results)
    band = statistics.fmean(r.in_band for r in results)
    held = statistics.fmean(r.held or 0.0 for r in results if not r.broken)
    launch = share(results, lambda r: r.launch is not None and abs(r.launch - 1) <= 0.05)
    figures = f"{peak:9.1%} {broken:9.1%} {stalled:9.2f} {band:9.1%} {held:9.1%} {launch:9.1%}"
    return f"{name:<30}{figures}   ({len(results)} winds)"


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("winds", nargs="?", type=int, default=100)
    parser.add_argument("--cells", default=",".join(CELLS))
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    print(f"{'':<30}{'peak ±3%':>9} {'broken+':>9} {'stalled':>9} {'in band':>9} {'turns':>9} {'launch':>9}")
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        for name in args.cells.split(","):
            cell = CELLS[name.strip()]
            seeds = range(args.seed * 100_000, args.seed * 100_000 + args.winds)
            print(row(name, list(pool.map(partial(one, cell), seeds, chunksize=4))), flush=True)


if __name__ == "__main__":
    main()
