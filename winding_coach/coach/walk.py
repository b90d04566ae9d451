"""The walk-in path from where it really began: turns in; where to be, and over how many turns of the crank, out. Pure.

Equal strand stretch, as planned, but through the turns and the distance at which this person left full stretch. One
mark follows the other so that the walk never stops: the next is told a reaction before this one is due.
"""

from __future__ import annotations

from winding_coach.coach.limits import Limits
from winding_coach.coach.prompts import mark_of
from winding_coach.rubber.path import PlanPath

STRETCH_SLACK = 0.04
"""The path may lie so much (share of strand stretch) beside the planned one; a late start is caught up with by then."""
LEAD_TURNS_OF_CRANK = 1.0
"""The next mark is told so long before this one is due: a reaction time of cranking."""
NEARLY_M = 0.05
"""Who is so near the mark, by a distance sensor, is told the next: nobody stops there and starts again."""
STRIDE_TURNS_OF_CRANK, LEAST_STRIDE = 6.0, 3.0
"""A mark is about so many turns away: long enough to be heard and done, short enough to hold the path."""
BENDS_M = 0.03
"""Between marks one walks evenly; where the path bends further from that than this, marks lie closer, to the least
stride. Found in the closed loop."""
SHIFT_M, MOST_SHIFT_M = 0.03, 0.15
"""Without a distance sensor, torque that says ahead or behind moves the marks by so much, so far at most."""


class Walk:
    """A path that starts at `turns` and `distance_m`, never past the plan's stretch by more than a slack."""

    def __init__(self, path: PlanPath, limits: Limits, turns: float, distance_m: float) -> None:
        self._path = path
        self._hooks_m = limits.hooks_m
        self._most_m = limits.stretch_m
        self._lead = LEAD_TURNS_OF_CRANK * limits.ratio
        self._stretch = self._through(turns, distance_m)
        self._shift_m = 0.0
        self._due_turns = 0.0
        self._begun = False
        self._from_m = distance_m
        self._mark_m = distance_m
        self._mark_in = 1.0
        self._asked: tuple[float, Limits] | None = None

    @property
    def mark_m(self) -> float:
        """Where to be in a few turns of the crank."""
        self._make()
        return self._mark_m

    @property
    def mark_in(self) -> float:
        """In how many turns of the crank."""
        self._make()
        return self._mark_in

    def distance_at(self, turns: float) -> float:
        """Return the hook distance to stand at."""
        wanted = self._path.distance_at_stretch(self._stretch, turns)
        return min(max(wanted, self._hooks_m), self._most_m)

    def turns_at(self, distance_m: float) -> float:
        """Return the turns at which the path is at a distance."""
        return self._path.turns_at_stretch(self._stretch, max(distance_m, self._hooks_m))

    def _through(self, turns: float, distance_m: float) -> float:
        """Strand stretch of a path from here; the first step on it comes a reaction later."""
        planned = self._path.walk_stretch
        here = self._path.strand_stretch(turns + self._lead, distance_m)
        return min(max(here, planned * (1.0 - STRETCH_SLACK)), planned * (1.0 + STRETCH_SLACK))

    def tell(
        self,
        turns: float,
        limits: Limits,
        told_m: float | None = None,
        distance_m: float | None = None,
        side: str | None = None,
    ) -> None:
        """Take the turns of now; `mark_m` and `mark_in` say where to be, in how many turns of the crank.

        told_m: the mark that the person has been told last. distance_m: where they stand, None if nobody measures. Who
        is "behind" (`side`) gets a path that goes on from there, so that nobody has to rush. Where only torque says
        ahead or behind, the next mark allows for it.
        """
        # Who is led by torque is told no marks: then nobody asks for them, and they are not worked out.
        told = told_m is not None and self._begun and told_m == self.mark_m
        there = distance_m is not None and distance_m <= self.mark_m + NEARLY_M
        if told and not there and turns < self._due_turns - self._lead:
            return
        if told:
            if side is not None and distance_m is None:
                by = SHIFT_M if side == "ahead" else -SHIFT_M
                self._shift_m = min(max(self._shift_m + by, -MOST_SHIFT_M), MOST_SHIFT_M)
            self._from_m = self.mark_m
        if side == "behind" and distance_m is not None:
            self._stretch = max(self._stretch, self._through(turns, distance_m))
        self._begun, self._asked = True, (turns, limits)

    def _stride(self, turns: float, ratio: float) -> float:
        """Return how many turns of the crank from here the next mark may be."""
        ends = max((self.turns_at(self._hooks_m) - turns) / ratio, 0.0)
        stride = STRIDE_TURNS_OF_CRANK
        while stride > LEAST_STRIDE and self._bend_m(turns, min(stride, ends) * ratio) > BENDS_M:
            stride -= 0.5
        return stride

    def _bend_m(self, turns: float, over: float) -> float:
        """Return how far the path lies outside of an even walk over so many turns, about in their middle."""
        here, half, there = (self.distance_at(turns + share * over) for share in (0.0, 0.5, 1.0))
        return half - 0.5 * (here + there)

    def _make(self) -> None:
        """Work out the mark that was asked for last."""
        if self._asked is None:
            return
        (turns, limits), self._asked = self._asked, None
        due = turns + self._lead
        wanted_m = self.distance_at(due + self._stride(due, limits.ratio) * limits.ratio) + self._shift_m
        # Never out again, and where stops are far apart on to the next of them, however many turns that takes.
        wanted_m = max(min(wanted_m, self._from_m - 2e-3), self._hooks_m)
        self._mark_m = mark_of(wanted_m, limits, inside=True)
        at = self.turns_at(max(self._mark_m - self._shift_m, self._hooks_m))
        self._due_turns = max(at, turns + self._lead + limits.ratio)
        self._mark_in = max(round((self._due_turns - turns - self._lead) / limits.ratio), 1)
