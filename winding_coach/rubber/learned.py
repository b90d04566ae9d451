"""What was learned of a person's rubber: properties, each with its uncertainty, and the rubber they make. Values only.

How it is learned: `rubber.learning`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from winding_coach.rubber.figures import MotorFigures
from winding_coach.rubber.law import DEFAULT_RUBBER, Rubber
from winding_coach.rubber.strength import Estimate


@dataclass(frozen=True, slots=True)
class Property:
    """One thing that is learned, as the logarithm of its ratio to the general law's.

    fields: of `Rubber`. batch_sd: spread of a person's batches about the person's mean; person_sd: of people's means
    about the general law; both assumed. tells: the wind that would tell it.
    """

    name: str
    fields: tuple[str, ...]
    batch_sd: float
    person_sd: float
    tells: str

    @property
    def sd(self) -> float:
        """Spread of a batch about the general law."""
        return math.hypot(self.batch_sd, self.person_sd)


PROPERTIES = (
    Property(
        "stiffness", ("shear_modulus_Pa", "second_term_Pa"), 0.05, 0.07, "a wind at full stretch with its turns counted"
    ),
    Property("stiffening", ("invariant_limit",), 0.04, 0.06, "a wind to 85 % of the breaking turns or more"),
    Property("hysteresis", ("hysteresis_share",), 0.10, 0.20, "a back-off of some crank turns, turns counted"),
    Property("hysteresis width", ("hysteresis_stretch",), 0.15, 0.35, "an unwinding in full, turns counted"),
    Property("relaxation", ("relaxation_per_decade",), 0.20, 0.40, "a stop of a minute at full stretch, crank held"),
    Property("rope friction", ("rope_friction",), 0.30, 0.60, "an unwinding in full, turns counted"),
    Property("softening", ("softening_ratio",), 0.20, 0.40, "the first and the third wind of one motor"),
)
NAMES = tuple(one.name for one in PROPERTIES)


@dataclass(frozen=True, slots=True)
class Mark:
    """A moment of a wind. dt_s: since the mark before. torque_Nm: None where it is not to be compared."""

    dt_s: float
    turns: float
    distance_m: float
    torque_Nm: float | None = None


@dataclass(frozen=True, slots=True)
class WindMarks:
    """One logged wind, reduced: where the motor was, mark by mark from rest, and what it showed.

    count_turns: turns of the motor from one count to the next; where the crank turns back, so much is not known.
    """

    motor: MotorFigures
    hooks_m: float | None
    marks: tuple[Mark, ...]
    count_turns: float = 0.0


@dataclass(frozen=True, slots=True)
class Learned:
    """What the winds of one batch say. mean, covariance: of the logarithms of `PROPERTIES`, general belief included.

    misfit: size of the law's own error along a wind, relative, turns going on and coming off. winds: how many it rests
    on.
    """

    mean: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    misfit: tuple[float, float]
    winds: int
    told: tuple[str, ...] = field(default=())

    @property
    def sd(self) -> dict[str, float]:
        """Uncertainty of each property, as a logarithm."""
        return {name: math.sqrt(self.covariance[i][i]) for i, name in enumerate(NAMES)}

    def estimate(self, name: str) -> Estimate:
        """Return a property over the general law's, with its interval of 90 %."""
        i = NAMES.index(name)
        reach = 1.645 * math.sqrt(self.covariance[i][i])
        return Estimate(*(math.exp(self.mean[i] + z) for z in (0.0, -reach, reach)))

    @property
    def open(self) -> tuple[Property, ...]:
        """The properties that these winds cannot tell."""
        return tuple(one for one in PROPERTIES if one.name not in self.told)

    def rubber(self, base: Rubber = DEFAULT_RUBBER) -> Rubber:
        """Return the rubber of this batch."""
        return rubber_at(self.mean, base)


def rubber_at(logs: Sequence[float], base: Rubber = DEFAULT_RUBBER) -> Rubber:
    """Return the base with each property moved by its logarithm."""
    changes = {
        name: getattr(base, name) * math.exp(float(log))
        for one, log in zip(PROPERTIES, logs, strict=True)
        for name in one.fields
    }
    return replace(base, **changes)
