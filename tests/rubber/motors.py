"""Motors that the tests of this room share."""

from __future__ import annotations

from winding_coach.base.units import INCH_M, OZF_IN_NM
from winding_coach.rubber.figures import ModelFigures, MotorFigures, WinderFigures

OZF_IN = OZF_IN_NM
TH_07 = MotorFigures(loop_m=0.30, mass_kg=1.40e-3, orings_kg=0.08e-3, name="th-07")
"""Invented."""
THISTLEDOWN = ModelFigures(hooks_m=0.22, name="Thistledown")
TEN_TO_ONE = WinderFigures(ratio=10.0)

# The check values of common practice (no source): 17.5 in of 0.080 g/in, a 15:1 winder, hooks 15 in apart.
KNOWN = MotorFigures(loop_m=17.5 * INCH_M, mass_kg=2.8e-3, use=3, share=0.89)
KNOWN_MODEL = ModelFigures(hooks_m=15 * INCH_M)
FIFTEEN_TO_ONE = WinderFigures(ratio=15.0)
