"""How a figure becomes a score: one rule for each aim, with its reason. Our own rule, no source, as all of them. Pure.

A score is 100 only where nothing could have been better and falls from there without a step, straight between the
points of its rule. Over 90 is what even, patient, quick hands reach. `holds` is how far the whole wind's score can be
above this one: little where a motor is lost or a flight spoilt, much where it is only a matter of manner.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass

WELL = 90.0
"""From this score on there is nothing to mend."""
CAPS, MANNER = 10.0, 60.0
"""Points by which the whole can be above one aim: where the motor was endangered or the flight spoilt, and where it is
a matter of manner that shows in the others too."""


@dataclass(frozen=True, slots=True)
class Rule:
    """points: (figure, score), figures rising, scores not. holds: see above. weight: in the mean. why: the reason."""

    points: tuple[tuple[float, float], ...]
    holds: float
    weight: float
    why: str

    def score(self, figure: float) -> float:
        """Return 0 to 100; less than the first figure scores as the first, more than the last as the last."""
        at = bisect_right([point[0] for point in self.points], figure)
        if at == 0 or at == len(self.points):
            return self.points[min(at, len(self.points) - 1)][1]
        (low, above), (high, below) = self.points[at - 1], self.points[at]
        return above + (below - above) * (figure - low) / (high - low)


RULES: dict[str, Rule] = {
    "even_crank": Rule(
        ((0.0, 100.0), (0.06, 94.0), (0.10, 88.0), (0.20, 60.0), (0.40, 10.0), (0.60, 0.0)),
        MANNER,
        0.5,
        "Relaxation takes 3 % of the stress in ten times the time: a pace that strays makes torque stray, and what is"
        " read from it.",
    ),
    "path": Rule(
        ((0.0, 100.0), (0.10, 95.0), (0.14, 91.0), (0.16, 80.0), (0.20, 72.0), (0.30, 50.0), (0.45, 22.0), (0.70, 0.0)),
        CAPS,
        1.0,
        "Of the torque of this motor on the path. 20 % less is strands let go by 1 %, 20 % more is nearer to the"
        " break; both must be made up for in the turns at the hooks.",
    ),
    "knots": Rule(
        ((0.0, 100.0), (0.02, 94.0), (0.05, 86.0), (0.10, 73.0), (0.20, 55.0), (0.40, 33.0), (0.70, 13.0), (1.0, 0.0)),
        CAPS,
        3.0,
        "Chance to break that the walk-in added, mean of three laws of what loosens knots: one motor more in twenty is"
        " as much as the plan itself risks.",
    ),
    "recovery": Rule(
        ((0.0, 100.0), (3.0, 94.0), (6.0, 86.0), (12.0, 60.0), (25.0, 15.0), (40.0, 0.0)),
        MANNER,
        0.5,
        "While torque is far down the strands lie loose, and knots that form then form loosely.",
    ),
    "rate_band": Rule(
        ((-1.0, 100.0), (-0.80, 93.0), (-0.65, 85.0), (-0.45, 50.0), (-0.25, 10.0), (0.0, 0.0)),
        MANNER,
        0.5,
        "Share of the time in the band of good rates (common practice, no source).",
    ),
    "stalls": Rule(
        ((0.0, 100.0), (1.0, 93.0), (3.0, 80.0), (8.0, 60.0), (20.0, 35.0), (60.0, 0.0)),
        CAPS,
        1.0,
        "Under one of the three laws what is let go while the crank is stopped is what loosens the knots. Each stall"
        " counts as 1 s more than it lasted: its beginning is noticed late.",
    ),
    "peak": Rule(
        (
            (-1.0, 100.0),
            (-0.98, 95.0),
            (-0.97, 91.0),
            (-0.95, 83.0),
            (-0.90, 69.0),
            (-0.80, 51.0),
            (-0.65, 32.0),
            (0.0, 0.0),
        ),
        CAPS,
        2.0,
        "Turns that were not put on are not flown, and the last ones hold the most. 3 % of torque is the band of the"
        " stop: a crank turn.",
    ),
    "overshoot": Rule(
        ((0.0, 100.0), (0.02, 95.0), (0.03, 90.0), (0.06, 68.0), (0.10, 48.0), (0.20, 22.0), (0.50, 0.0)),
        CAPS,
        2.0,
        "Beyond the peak the chance to break rises with the 45th power of strand stretch.",
    ),
    "danger": Rule(
        ((0.0, 100.0), (0.1, 40.0), (20.0, 15.0), (60.0, 0.0)),
        CAPS,
        2.0,
        "A limit of motor, winder or meter was passed: seconds of it. What went well before makes it no better.",
    ),
    "launch": Rule(
        ((0.0, 100.0), (0.02, 96.0), (0.04, 91.0), (0.08, 79.0), (0.15, 60.0), (0.25, 42.0), (0.50, 18.0), (1.0, 0.0)),
        CAPS,
        2.0,
        "The launch torque is the model's need: above it climbs too steeply, below it turns are lost.",
    ),
    "back_off": Rule(
        ((0.0, 100.0), (1.0, 94.0), (2.0, 86.0), (4.0, 55.0), (7.0, 15.0), (12.0, 0.0)),
        MANNER,
        0.5,
        "Crank turns more or fewer than planned: torque falls steeply at first, so a few turns are the motor's"
        " last ones.",
    ),
    "whole": Rule(
        ((0.0, 100.0), (1.0, 0.0)),
        CAPS,
        2.0,
        "A motor that broke flies no more.",
    ),
}
