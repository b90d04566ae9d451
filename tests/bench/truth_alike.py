"""What no program can tell apart: `python -m tests.bench.truth_alike`.

An untrue wind is led along the plan that its label gives, and its torque over count is held against the nearest honest
one: the labelled motor, stiffer or softer by up to 8 %, its zero off by up to 1 % of the peak. At full stretch and in
the last turns at the hooks, that is: on the walk-in a step of 3 cm changes torque by a tenth, and no one knows places
as well. Where nothing up to the target is further from it than honest motors are from their own plan (1.5 % of the
peak: assumed), count, torque and place do not tell. Then the honest wind's end is reached, and the untrue motor is at
the share of its target that stands beside.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import lsq_linear

from tests.trust.truth.untruths import Untruth
from tests.trust.truth.world import World
from winding_coach.rubber.path import PlanPath

SCALE, ZERO, SHAPE = 0.08, 0.01, 0.015
PAST = 1.03
STEPS = 160
REV_PER_S = 1.2


@dataclass(frozen=True)
class Nearest:
    """The honest wind that is nearest. off: the largest difference, a share of the peak. end: share of the true target
    that is on the motor where count says that the told one is."""

    scale: float
    zero: float
    off: float
    end: float

    @property
    def alike(self) -> bool:
        """Whether no program can tell them apart."""
        return self.off <= SHAPE


def torque_over_count(world: World, *, labelled: bool) -> tuple[np.ndarray, float]:
    """Return torque along the told path at even steps of the count, and the turns at its end."""
    told = world.settings().plan
    path = PlanPath(told, world.told_motor)
    motor = world.labelled_motor() if labelled else world.true_motor()
    per_count = 1.0 if labelled else world.ratio / world.told_ratio / (1.0 - world.amount("pulses lost", 0.0))
    before = 0.0 if labelled else world.turns_in
    gain = 1.0 if labelled else world.amount("gain", 1.0)
    motor.move(before, told.stretch_distance_m, 5.0)
    shown = np.empty(STEPS + 1)
    turns = before
    for step in range(STEPS + 1):
        counted = told.target_turns * step / STEPS
        turns = before + counted * per_count
        motor.move(turns, path.distance_at(counted), told.target_turns / STEPS / world.told_ratio / REV_PER_S)
        shown[step] = gain * motor.torque_Nm
    return shown, turns


def nearest(world: World) -> Nearest:
    """Return the honest wind that is nearest to an untrue one."""
    told = world.settings().plan
    peak_Nm = told.peak_torque_Nm
    label, _ = torque_over_count(world, labelled=True)
    shown, turns = torque_over_count(world, labelled=False)
    until = len(shown)
    if turns > PAST * world.plan().target_turns:
        # What comes after the target is passed comes too late to tell.
        until = int(STEPS * (PAST * world.plan().target_turns - world.turns_in) / (turns - world.turns_in)) + 1
    counted = np.linspace(0.0, 1.0, STEPS + 1) * told.target_turns
    known = (counted <= told.stretched_turns) | (counted >= 0.95 * told.target_turns)
    known[until:] = False
    label, shown = label[known], shown[known]
    basis = np.column_stack((label, np.full_like(label, peak_Nm)))
    fit = lsq_linear(basis, shown, bounds=((1.0 - SCALE, -ZERO), (1.0 + SCALE, ZERO)))
    off = float(np.max(np.abs(basis @ fit.x - shown))) / peak_Nm
    return Nearest(float(fit.x[0]), float(fit.x[1]), off, turns / world.plan().target_turns)


def largest(kind: str, amounts: np.ndarray) -> tuple[float, Nearest]:
    """Return the last of these amounts, from none on, that no program can tell from an honest wind."""
    found = float(amounts[0]), nearest(World(untruths=(Untruth(kind, float(amounts[0])),)))
    for amount in amounts[1:]:
        one = nearest(World(untruths=(Untruth(kind, float(amount)),)))
        if not one.alike:
            break
        found = float(amount), one
    return found


def _ratio(low: float, high: float, count: int) -> np.ndarray:
    return np.linspace(low, high, count)


ROWS: dict[str, tuple[str, np.ndarray, Callable[[float], str]]] = {
    "turns in the motor": ("turns in", _ratio(0.0, 250.0, 51), lambda amount: f"{amount:.0f} turns"),
    "gain too low": ("gain", _ratio(1.0, 0.4, 61), lambda amount: f"× {amount:.2f}"),
    "gain too high": ("gain", _ratio(1.0, 2.0, 101), lambda amount: f"× {amount:.2f}"),
    "pulses lost evenly": ("pulses lost", _ratio(0.0, 0.5, 51), lambda amount: f"{amount:.0%}"),
    "ratio typed too low": ("ratio typed", _ratio(1.0, 0.5, 51), lambda amount: f"× {amount:.2f}"),
    "ratio typed too high": ("ratio typed", _ratio(1.0, 2.0, 101), lambda amount: f"× {amount:.2f}"),
    "mass typed too low": ("mass typed", _ratio(1.0, 0.5, 51), lambda amount: f"× {amount:.2f}"),
    "mass typed too high": ("mass typed", _ratio(1.0, 1.6, 61), lambda amount: f"× {amount:.2f}"),
    "loop typed too short": ("loop typed", _ratio(1.0, 0.7, 61), lambda amount: f"× {amount:.3f}"),
    "loop typed too long": ("loop typed", _ratio(1.0, 1.3, 61), lambda amount: f"× {amount:.3f}"),
}


def table() -> Iterator[str]:
    """Give the table."""
    yield "| untrue | up to | looks like a motor of | largest difference | turns on it at the told target |"
    yield "|---|---|---|---|---|"
    for name, (kind, amounts, words) in ROWS.items():
        amount, one = largest(kind, amounts)
        motor = f"{one.scale:.2f} × its torque, zero {one.zero:+.1%}"
        yield f"| {name} | {words(amount)} | {motor} | {one.off:.1%} of the peak | {one.end:.3f} |"
    yield ""
    yield "| pair | looks like a motor of | largest difference | turns on it at the told target |"
    yield "|---|---|---|---|"
    for lost, gain in ((0.1, 0.92), (0.2, 0.85), (0.3, 0.75), (0.4, 0.7), (0.4, 0.6)):
        one = nearest(World(untruths=(Untruth("pulses lost", lost), Untruth("gain", gain))))
        motor = f"{one.scale:.2f} × its torque, zero {one.zero:+.1%}"
        yield f"| {lost:.0%} of pulses lost, gain × {gain} | {motor} | {one.off:.1%} of the peak | {one.end:.3f} |"
    for turns, scale in ((60.0, 0.92), (100.0, 0.92), (150.0, 0.92), (60.0, 1.08), (100.0, 1.08)):
        one = nearest(replace(World(scale=scale), untruths=(Untruth("turns in", turns),)))
        motor = f"{one.scale:.2f} × its torque, zero {one.zero:+.1%}"
        yield f"| {turns:.0f} turns in a motor of {scale} | {motor} | {one.off:.1%} of the peak | {one.end:.3f} |"


if __name__ == "__main__":
    for line in table():
        print(line, flush=True)
