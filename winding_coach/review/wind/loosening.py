"""Torque of the walk-in in; how far the strands were let go, and what that adds to the chance to break, out. Pure.

What loosens the knots is not known. Three laws fit what is known equally badly, so the chance is worked out under each
of them and the mean is taken: no one is praised or blamed for the law that happens to be right.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from winding_coach.rubber.history import STOP_WIDTHS
from winding_coach.rubber.law import DEFAULT_RUBBER, Rubber
from winding_coach.rubber.path import PlanPath
from winding_coach.rubber.table import table

LET_GO = 0.05
"""First law: disorder for each unit of strand stretch that is let go while knots form; assumed, as all three."""
FAR_LET_GO, FAR, FORGETS_S = 0.10, 0.15, 4.0
"""Second law: only what is let go further than `FAR` below the largest strand stretch of late."""
STANDING_LET_GO, STANDS_BELOW_TURNS_PER_S = 0.10, 3.0
"""Third law: only what is let go while the crank stands."""
STAND_TOLD_S = 2.0
"""A stand is told so long after it began; what was let go meanwhile belongs to it."""
LOOKS_EVERY_S = 0.1
SMOOTH_S = 0.8
"""Ripple of the crank and noise are no strands let go."""
TAUT_SMOOTH_S = 2.0
"""The largest strand stretch is told from torque smoothed for longer: the greatest of noisy values is too great."""
LEAST_FALL = 0.006
"""Share of strand stretch, about an eighth of torque: less is ripple (simulated meters)."""
RELAXED_DECADES = 2.0
"""Stress that relaxation took before a fall stays taken for its while: so many decades of time (simulated)."""
IN_DOUBT = 1.08
"""Motors of one label differ so much in torque (assumed), and torque grows little with strand stretch: only what is
above that counts as strands stretched further than the path's."""
LEAST_KNOWN = 0.93
LOWEST, HIGHEST = 0.75, 1.15
"""Strand stretch over the path's: further no one gets whose motor still holds."""
TYPICAL, POINTS, HALVINGS = 0.8, 40, 16
"""The law without history is taken at this share of the turns at the hooks, at so many places."""


@dataclass(frozen=True, slots=True)
class Loosened:
    """let_go: strand stretch let go, in all. disorder: what it did to the knots under each law, as added strand stretch
    (ratio). break_risk: chance (0-1) that such a motor breaks by its peak, mean of the three laws."""

    let_go: float
    disorder: tuple[float, float, float]
    break_risk: float


class Strands:
    """Strand stretch over the path's, by torque over the path's torque: the law's hysteresis, run backwards."""

    def __init__(self, path: PlanPath, rubber: Rubber = DEFAULT_RUBBER) -> None:
        self._share = 0.5 * rubber.hysteresis_share
        self._per = 2.0 * path.walk_stretch / rubber.hysteresis_stretch
        turns = TYPICAL * path.walked_in_turns
        ratios = [LOWEST + (HIGHEST - LOWEST) * number / POINTS for number in range(POINTS + 1)]
        places = [path.distance_at_stretch(ratio * path.walk_stretch, turns) for ratio in ratios]
        self._by_law = table(ratios, [path.torque_ratio(turns, place) for place in places])
        self._relaxed = RELAXED_DECADES * rubber.relaxation_per_decade
        self._stops = (1.0, 1.0, 1.0, 1.0)
        self.ratio = 1.0

    def tell(self, torque_ratio: float, least: float = LOWEST) -> float:
        """Take torque over the path's; return strand stretch over the path's. least: less it cannot be."""
        low, high = least, HIGHEST
        for _ in range(HALVINGS):
            middle = 0.5 * (low + high)
            if self._torque(middle) < torque_ratio:
                low = middle
            else:
                high = middle
        self._stops, self.ratio = self._moved(middle), middle
        return middle

    def _moved(self, ratio: float) -> tuple[float, float, float, float]:
        moved = self._per * (ratio - self.ratio)
        first, second, third, fourth = (
            min(max(stop + moved / width, -1.0), 1.0) for stop, width in zip(self._stops, STOP_WIDTHS, strict=True)
        )
        return first, second, third, fourth

    def _torque(self, ratio: float) -> float:
        held = 1.0 - self._share * (1.0 - 0.25 * sum(self._moved(ratio)))
        return (held * self._by_law.at(ratio) - self._relaxed) / (1.0 - self._relaxed)


class Loosening:
    """`tell` it each moment from the walk-in to the peak; `by` says what came of it."""

    def __init__(self, path: PlanPath, rubber: Rubber = DEFAULT_RUBBER) -> None:
        self._path = path
        self._strands = Strands(path, rubber)
        self._taut = Strands(path, rubber)
        self._smooth: float | None = None
        self._taut_smooth = 1.0
        self._looked_s: float | None = None
        self._at_s = 0.0
        self._top = self._low = self._of_late = 1.0
        self._falling = False
        self._beyond = 0.0
        self._fell: list[tuple[float, float]] = []
        self._stood_s = -math.inf
        self._let_go = self._far = self._standing = 0.0
        self._worst = [0.0, 0.0, 0.0]

    def tell(self, at_s: float, torque_ratio: float, turns: float | None, turns_per_s: float | None) -> None:
        """Take one moment. torque_ratio: over this motor's torque on the path at `turns`, which are of the motor.

        turns: None where they are not counted; torque is then over that at full stretch. turns_per_s: how fast the
        motor is being turned, None where nothing shows it.
        """
        passed = at_s - self._at_s if self._smooth is not None else 0.0
        self._at_s = at_s
        if self._smooth is None or passed > 1.0:
            self._smooth = torque_ratio
        self._smooth += (torque_ratio - self._smooth) * min(1.0, passed / SMOOTH_S)
        self._taut_smooth += (torque_ratio - self._taut_smooth) * min(1.0, passed / TAUT_SMOOTH_S)
        if self._looked_s is not None and at_s - self._looked_s < LOOKS_EVERY_S:
            return
        since_s, self._looked_s = (0.0 if self._looked_s is None else at_s - self._looked_s), at_s
        ratio, stretch = self._strands.tell(self._smooth, self._least(turns)), self._path.walk_stretch
        self._fall(ratio, stretch)
        self._go_far(ratio, stretch, since_s)
        if turns_per_s is not None and abs(turns_per_s) < STANDS_BELOW_TURNS_PER_S:
            self._stood_s = at_s
        self._stand()
        if turns is not None:
            self._reach(self._taut.tell(self._taut_smooth / IN_DOUBT), turns)

    def _least(self, turns: float | None) -> float:
        """Nearer than the hooks no one gets: low torque says little of how far the strands were let go."""
        if turns is None:
            return LEAST_KNOWN
        at_hooks = self._path.strand_stretch(turns, self._path.hooks_m) / self._path.walk_stretch
        return min(max(at_hooks, LOWEST), 1.0)

    def _fall(self, ratio: float, stretch: float) -> None:
        fell = 0.0
        if self._falling:
            fell = max(self._low - ratio, 0.0)
            self._low = min(self._low, ratio)
            if ratio > self._low + LEAST_FALL:
                self._falling, self._top = False, ratio
        elif ratio < self._top - LEAST_FALL:
            self._falling, fell, self._low = True, self._top - ratio, ratio
        else:
            self._top = max(self._top, ratio)
        if fell:
            self._let_go += fell * stretch
            self._fell.append((self._at_s, fell * stretch))

    def _go_far(self, ratio: float, stretch: float, since_s: float) -> None:
        self._of_late = max(ratio, ratio + (self._of_late - ratio) * math.exp(-since_s / FORGETS_S))
        beyond = max(0.0, (self._of_late - ratio) * stretch - FAR)
        self._far += max(0.0, beyond - self._beyond)
        self._beyond = beyond

    def _stand(self) -> None:
        waiting = []
        for fell_s, fell in self._fell:
            if fell_s >= self._stood_s - STAND_TOLD_S and self._at_s - self._stood_s < LOOKS_EVERY_S + 1e-9:
                self._standing += fell
            elif self._at_s - fell_s < STAND_TOLD_S:
                waiting.append((fell_s, fell))
        self._fell = waiting

    @property
    def _disorder(self) -> tuple[float, float, float]:
        return LET_GO * self._let_go, FAR_LET_GO * self._far, STANDING_LET_GO * self._standing

    def _reach(self, ratio: float, turns: float) -> None:
        self._worst = [
            max(worst, self._path.stretch_at_worst(turns, loosened=loosened) * ratio)
            for worst, loosened in zip(self._worst, self._disorder, strict=True)
        ]

    def by(self, peak_turns: float, torque_scale: float = 1.0) -> Loosened:
        """Return what came of it by the peak, which was reached with so many turns of the motor."""
        path, disorder = self._path, self._disorder
        at_peak = [path.stretch_at_worst(peak_turns, path.hooks_m, loosened) for loosened in disorder]
        risks = [path.risk_at(max(worst, last), torque_scale) for worst, last in zip(self._worst, at_peak, strict=True)]
        return Loosened(self._let_go, disorder, sum(risks) / len(risks))
