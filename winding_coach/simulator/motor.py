"""A motor that is not there: turns, hook distance and time in; torque, pull, knots and, one day, the break out.

The rubber's memory is `rubber.history`, the same that plans use; this adds the break and one motor's own character.
"""

from __future__ import annotations

import math
from dataclasses import replace

from winding_coach.rubber.figures import MotorFigures
from winding_coach.rubber.history import History, advance, permanent_set
from winding_coach.rubber.law import DEFAULT_RUBBER, Geometry, Rubber
from winding_coach.rubber.motor import HOOKS_SHARE, before_the_wind, geometry_of


class SimulatedMotor:
    """One motor during one wind.

    torque_scale: how much stiffer it is than its figures say. strength_u: where its strength lies among motors,
    0 the strongest to 1 the weakest (0.5: breaks at the rubber's median). hooks_m: at which distance its earlier winds
    ended, None: the usual share of its loop. Figures are SI, turns of the motor.
    """

    def __init__(
        self,
        figures: MotorFigures,
        rubber: Rubber = DEFAULT_RUBBER,
        *,
        torque_scale: float = 1.0,
        strength_u: float = 0.5,
        hooks_m: float | None = None,
    ) -> None:
        """
        Raises:
            FiguresError: figures that no motor can have.
        """
        self.figures = figures
        self.geometry: Geometry = geometry_of(figures, rubber)
        self._rubber = rubber
        self._scale = torque_scale
        # Weibull: the stretch that a share `strength_u` of motors stands; ln 2 since the scale is the median.
        u = min(max(strength_u, 1e-9), 1 - 1e-9)
        self._breaks_at = rubber.break_stretch * (-math.log(u) / math.log(2.0)) ** (1.0 / rubber.break_shape)
        hooks_m = HOOKS_SHARE * figures.loop_m if hooks_m is None else hooks_m
        self._now: History = before_the_wind(self.geometry, figures.use, hooks_m, rubber)
        self._peak_stretch = 1.0
        self.broken = False

    def move(self, turns: float, distance_m: float, dt_s: float) -> None:
        """Bring the motor to a hook distance and turns in `dt_s` seconds."""
        if self.broken:
            return
        self._now = advance(self.geometry, self._now, distance_m, turns, dt_s, self._rubber)
        self._peak_stretch = max(self._peak_stretch, self._now.stretch)
        self.broken = self._now.stretch_at_worst > self._breaks_at

    @property
    def torque_Nm(self) -> float:
        """Torque at the hook; 0 once broken."""
        return 0.0 if self.broken else self._scale * self._now.torque_Nm

    @property
    def pull_N(self) -> float:
        """Pull along the motor; 0 once broken."""
        return 0.0 if self.broken else self._scale * self._now.pull_N

    @property
    def turns(self) -> float:
        """Turns on the motor."""
        return self._now.turns

    @property
    def knotted(self) -> float:
        """Fraction of the motor that is knotted, 0-1."""
        return self._now.knotted

    @property
    def looseness(self) -> float:
        """Disorder of the knots, as added strand stretch (ratio)."""
        return self._now.looseness

    @property
    def energy_J(self) -> float:
        """Strain energy held in the rubber; more than unwinding gives back, by hysteresis and friction. 0 broken."""
        if self.broken:
            return 0.0
        return self._scale * self.geometry.volume_m3 * self._rubber.energy_Pa(self._now.stretch)

    @property
    def strand_stretch(self) -> float:
        """Stretch of the strands, without the disorder."""
        return self._now.stretch

    def after_the_wind(self) -> MotorFigures:
        """Return the figures to be measured after this wind: longer by the permanent set, one use older.

        The loop as measured before holds the set of the earlier winds, which are taken to have gone as far.
        """
        figures, rubber = self.figures, self._rubber
        so_far = 0.0
        for _ in range(figures.use - 1):
            so_far = permanent_set(rubber, so_far, self._peak_stretch)
        grown = (1.0 + permanent_set(rubber, so_far, self._peak_stretch)) / (1.0 + so_far)
        return replace(figures, loop_m=figures.loop_m * grown, use=figures.use + 1)
