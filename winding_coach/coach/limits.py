"""The figures of a plan that the rules hold a moment against, worked out once. Pure."""

from __future__ import annotations

from dataclasses import replace

from winding_coach.base.values import value
from winding_coach.coach.settings import CoachSettings
from winding_coach.rubber.plan import LIMIT_MARGIN


@value(frozen=True, slots=True)
class Limits:
    """SI; turns of the motor. winder_Nm, meter_Nm: None when not known.

    stops_m: where the person's own steps end, nearest first; () for the usual steps.
    """

    peak_Nm: float
    stretched_Nm: float
    walked_in_Nm: float
    launch_Nm: float
    stretched_turns: float
    walked_in_turns: float
    target_turns: float
    breaking_turns: float
    back_off_turns: float
    stretch_m: float
    hooks_m: float
    winder_Nm: float | None
    meter_Nm: float | None
    ratio: float
    stops_m: tuple[float, ...] = ()

    def scaled(self, scale: float) -> Limits:
        """Return the limits of a motor that shows `scale` times the plan's torque at the same stretch.

        The launch torque is the model's need and the ratings are ratings: they do not scale, and a stiff motor is
        not wound past them.
        """
        rated = [LIMIT_MARGIN * rating for rating in (self.winder_Nm, self.meter_Nm) if rating is not None]
        peak_Nm = min([self.peak_Nm * scale, *rated])
        return replace(
            self,
            peak_Nm=peak_Nm,
            stretched_Nm=self.stretched_Nm * scale,
            walked_in_Nm=self.walked_in_Nm * scale,
            launch_Nm=min(self.launch_Nm, peak_Nm),
        )


def limits_from(settings: CoachSettings) -> Limits:
    """Return the limits of a wind; `hooks_m` is the plan's last mark, where the walk-in ends."""
    plan = settings.plan
    last = plan.walk_in[-1]
    return Limits(
        peak_Nm=plan.peak_torque_Nm,
        stretched_Nm=plan.stretched_torque_Nm,
        walked_in_Nm=last.torque_Nm,
        launch_Nm=min(plan.launch_torque_Nm, plan.peak_torque_Nm),
        stretched_turns=plan.stretched_turns,
        walked_in_turns=last.turns,
        target_turns=plan.target_turns,
        breaking_turns=plan.breaking_turns,
        back_off_turns=plan.back_off_turns,
        stretch_m=plan.stretch_distance_m,
        hooks_m=last.distance_m,
        winder_Nm=settings.winder.limit_Nm,
        meter_Nm=settings.calibration.rating_Nm,
        ratio=settings.winder.ratio,
        stops_m=settings.steps.stops_m(last.distance_m, plan.stretch_distance_m),
    )
