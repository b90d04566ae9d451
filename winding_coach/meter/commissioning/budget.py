"""Parts of a reading's uncertainty in; combined uncertainty, degrees of freedom and coverage factor out. Pure.

Guide to the expression of uncertainty in measurement (JCGM 100:2008): annex G for the degrees of freedom.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

GRAVITY_SHARE = 0.0015
"""Standard uncertainty of 9.80665 m/s² where the place is not stated: 9.780 to 9.832 at sea level, rectangular."""
MANY_DOF = 1e6
GRAVITY_KNOWN_SHARE = 0.0002
"""Where its latitude is: height and rock leave some 2 parts in 10,000; assumed."""


@dataclass(frozen=True, slots=True)
class Part:
    """One part of a reading's uncertainty: its standard uncertainty at the largest torque, and where it is from.

    dof: degrees of freedom, infinite for limits that are stated.
    """

    name: str
    Nm: float
    source: str
    dof: float = math.inf


def combined(parts: Sequence[Part]) -> tuple[float, float]:
    """Return the combined standard uncertainty and its effective degrees of freedom (Welch and Satterthwaite, G.2b)."""
    variance = math.fsum(part.Nm**2 for part in parts)
    below = math.fsum(part.Nm**4 / part.dof for part in parts if part.dof < math.inf)
    return math.sqrt(variance), variance**2 / below if below > 0.0 else math.inf


def coverage_factor(dof: float, share: float = 0.95) -> float:
    """Return the factor of a standard uncertainty that covers this share: Student's t for whole dof."""
    from scipy.stats import norm, t

    p = 0.5 + 0.5 * share
    return float(norm.ppf(p)) if dof > MANY_DOF else float(t.ppf(p, float(max(math.floor(dof + 1e-9), 1))))


def gravity_m_per_s2(latitude_deg: float) -> float:
    """Return gravity at sea level by latitude: Somigliana's formula with the constants of WGS 84."""
    sin2 = math.sin(math.radians(latitude_deg)) ** 2
    return 9.7803253359 * (1.0 + 0.00193185265241 * sin2) / math.sqrt(1.0 - 0.00669437999013 * sin2)
