"""Rupture under load: time near the peak, temperature and age in, what they do to a strength out. Pure, all assumed.

Form: a power law of time to rupture. Strength, as strand stretch, falls by the same share for each decade of time under
load (equivalent to Zhurkov's lifetime near one stress, where the logarithm of time goes with stress; for rubber see
Zuev & Gol'berg, Polymer Mechanics 4 (1968) 815). The share is assumed: stretched natural rubber with its crystals did
not break in an hour (Tosaka, Nippon Gomu Kyokaishi 84 (2011) 81), so it is small.
"""

from __future__ import annotations

import math
from dataclasses import replace

from winding_coach.rubber.figures import FiguresError
from winding_coach.rubber.strength import Strength

WEAKER_PER_DECADE = 0.01
"""Share of the strand stretch at break lost per decade of time under load; assumed, no source."""
WIND_S = 10.0
"""Seconds near the peak of a usual wind, to which strength belongs; assumed."""
USUAL_C = 21.0
DOUBT_PER_K, DOUBT_PER_YEAR = 0.002, 0.01
"""Doubt about the strand stretch at break for each kelvin off the usual temperature, and each year of age; assumed.

They widen the doubt and move nothing: rubber's strength falls with heat, abruptly from 40 to 130 °C (Rubber Chemistry
and Technology 55 (1982) 66), but by how much at a hall's temperature is not known."""
HOTTEST_C, OLDEST_YEARS, LONGEST_S = 60.0, 50.0, 3600.0


def stretch_for_time(stretch: float, held_s: float) -> float:
    """Return the strand stretch that would break as many in a usual wind as this one does when held for longer.

    Raises:
        FiguresError: a time that cannot be meant.
    """
    if not 0.0 <= held_s <= LONGEST_S:
        raise FiguresError(f"Holding it for {held_s:.4g} s cannot be planned: give 0 to {LONGEST_S:.0f} seconds.")
    return float(stretch * (1.0 + held_s / WIND_S) ** (WEAKER_PER_DECADE / math.log(10.0)))


def doubt_of(temperature_C: float | None, age_years: float | None) -> float:
    """Return the doubt about strength, as a logarithm of strand stretch, that temperature and age add.

    Raises:
        FiguresError: values beyond any hall or rubber.
    """
    if temperature_C is not None and not -20.0 <= temperature_C <= HOTTEST_C:
        raise FiguresError(f"{temperature_C:.4g} °C is no temperature to wind at: give -20 to {HOTTEST_C:.0f} °C.")
    if age_years is not None and not 0.0 <= age_years <= OLDEST_YEARS:
        raise FiguresError(f"Rubber of {age_years:.4g} years cannot be planned: give 0 to {OLDEST_YEARS:.0f} years.")
    by_heat = 0.0 if temperature_C is None else DOUBT_PER_K * abs(temperature_C - USUAL_C)
    return math.hypot(by_heat, 0.0 if age_years is None else DOUBT_PER_YEAR * age_years)


def doubted(strength: Strength, doubt: float) -> Strength:
    """Return a strength whose medians are less sure by so much: three points of a normal distribution."""
    if doubt == 0.0:
        return strength
    reach = math.exp(math.sqrt(3.0) * doubt)
    parts = ((1.0 / reach, 1 / 6), (1.0, 2 / 3), (reach, 1 / 6))
    return replace(
        strength,
        medians=tuple(median * factor for factor, _ in parts for median in strength.medians),
        shapes=strength.shapes * 3,
        weights=tuple(weight * share for _, share in parts for weight in strength.weights),
    )
