"""The walk-in at places of one's own choosing, as tape marks on the floor: distances in, turns and torque out. Pure."""

from __future__ import annotations

from collections.abc import Iterable

from winding_coach.rubber.figures import Plan, WalkInRow
from winding_coach.rubber.path import PlanPath


def rows_at(plan: Plan, path: PlanPath, distances_m: Iterable[float]) -> tuple[WalkInRow, ...]:
    """Return what the plan wants at each hook distance: the turns at which to be there, and the torque then.

    Farther out than full stretch counts as full stretch, nearer than the hooks as the hooks.
    """
    hooks_m, ratio = plan.walk_in[-1].distance_m, plan.target_turns / plan.target_crank_turns
    rows = []
    for distance_m in distances_m:
        if distance_m >= plan.stretch_distance_m:
            turns = plan.stretched_turns
        else:
            turns = path.turns_at_stretch(path.walk_stretch, max(distance_m, hooks_m))
        rows.append(WalkInRow(turns, turns / ratio, distance_m, path.torque_at(turns)))
    return tuple(rows)
