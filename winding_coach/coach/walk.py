"""The walk-in path from where it really began: turns in, distance to stand at out. Pure.

Equal strand stretch, as planned, but through the turns and the distance at which this person left full stretch.
"""

from __future__ import annotations

from winding_coach.coach.limits import Limits
from winding_coach.coach.prompts import AHEAD_TURNS_OF_CRANK, mark_of
from winding_coach.rubber.path import PlanPath

STRETCH_SLACK = 0.04
"""The path may lie so much (share of strand stretch) beside the planned one; a late start is caught up with by then."""


class Walk:
    """A path that starts at `turns` and `distance_m`, never past the plan's stretch by more than a slack."""

    def __init__(self, path: PlanPath, limits: Limits, turns: float, distance_m: float) -> None:
        self._path = path
        self._hooks_m = limits.hooks_m
        self._most_m = limits.stretch_m
        planned = path.walk_stretch
        begun = path.strand_stretch(turns, distance_m)
        self._stretch = min(max(begun, planned * (1.0 - STRETCH_SLACK)), planned * (1.0 + STRETCH_SLACK))

    def distance_at(self, turns: float) -> float:
        """Return the hook distance to stand at."""
        wanted = self._path.distance_at_stretch(self._stretch, turns)
        return min(max(wanted, self._hooks_m), self._most_m)

    def turns_at(self, distance_m: float) -> float:
        """Return the turns at which the path is at a distance."""
        return self._path.turns_at_stretch(self._stretch, max(distance_m, self._hooks_m))

    def next_mark(self, turns: float, limits: Limits) -> tuple[float, float]:
        """Return where to be in a few turns of the crank, and in how many of them, at least one."""
        mark = mark_of(self.distance_at(turns + AHEAD_TURNS_OF_CRANK * limits.ratio), limits)
        return mark, max(round((self.turns_at(mark) - turns) / limits.ratio), 1)
