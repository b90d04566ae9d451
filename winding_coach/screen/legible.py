"""From how far the block letters of a window can be read. Pure geometry.

A letter h high seen from d takes 2·atan(h / 2d). ISO 9241-303 (from memory) asks for 16 minutes of arc at least and
prefers 20 to 22; 20 at 3 m are 17.5 mm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from winding_coach.screen.digits import HIGH
from winding_coach.screen.layout import Layout

WANTED_ARC_MIN = 20.0


@dataclass(frozen=True, slots=True)
class Eyes:
    """distance_m: from where the screen is read. screen_m: height of the window's glass, a laptop's as usual."""

    distance_m: float = 3.0
    screen_m: float = 0.19


def arc_minutes(height_m: float, distance_m: float) -> float:
    """Return the angle that a letter takes, in minutes of arc."""
    return math.degrees(2.0 * math.atan(height_m / (2.0 * distance_m))) * 60.0


def height_for(angle_min: float, distance_m: float) -> float:
    """Return the height of a letter that takes an angle (minutes of arc), in m."""
    return 2.0 * distance_m * math.tan(math.radians(angle_min / 60.0) / 2.0)


def letter_share(down: int, rows: int) -> float:
    """Return the share of the window's height that block letters of `down` half rows a font pixel take."""
    return HIGH * down / 2 / rows


def hint(layout: Layout, rows: int, eyes: Eyes) -> list[str]:
    """Return in words how large the letters are and what to do if that is too small for the distance."""
    if layout.plain:
        return ["This window has no room for large letters: 60 columns and 18 rows at least."]
    lines = []
    needed_m = height_for(WANTED_ARC_MIN, eyes.distance_m)
    smallest = math.inf
    for name, scale in (("torque", layout.torque), ("word", layout.word)):
        share = letter_share(scale[1], rows)
        angle = arc_minutes(share * eyes.screen_m, eyes.distance_m)
        smallest = min(smallest, angle)
        mm = share * eyes.screen_m * 1e3
        lines.append(f"{name:<7}{share:4.0%} of the height, {mm:3.0f} mm, {angle:3.0f} arc minutes")
    lines.append(
        f"at {eyes.distance_m:g} m with {eyes.screen_m * 1e3:.0f} mm of glass; {WANTED_ARC_MIN:.0f} arc minutes"
        f" ({needed_m * 1e3:.1f} mm) wanted"
    )
    if smallest < WANTED_ARC_MIN:
        lines.append("Too small for that: press g, make the window taller, or come nearer.")
    return lines
