"""Figures of one wind in; a score for each aim, one for the whole, and one sentence on what to do better out. Pure.

The rules that turn figures into scores are our own rule, no source: `AIMS` is where they are written down.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from winding_coach.coach.settings import CoachSettings
from winding_coach.coach.step import Coach
from winding_coach.inputs import Input
from winding_coach.review.figures import WindFigures, WindWatch
from winding_coach.rubber.figures import Plan
from winding_coach.units import UnitSystem, show

WELL = 90.0
"""From this score on there is nothing to mend."""
BROKEN_AT_MOST = 25.0
"""A wind whose motor broke scores no more than this, whatever went well before; our own rule, no source."""
STALL_COSTS, STALLED_SECOND_COSTS = 10.0, 2.0
"""Points off for each stall and each second of it; our own rule, no source."""


@dataclass(frozen=True, slots=True)
class AimScore:
    """One aim of a wind. figure: in `unit`, None if it did not come to that. score: 0-100, None: not scored."""

    aim: str
    title: str
    figure: float | None
    unit: str
    score: float | None


@dataclass(frozen=True, slots=True)
class WindReview:
    """What happened in one wind. score: 0-100, half from the mean of the aims' scores and half from the worst of
    them (our own rule, no source: one thing spoilt spoils a wind); None if nothing could be scored."""

    figures: WindFigures
    aims: tuple[AimScore, ...]
    score: float | None
    better: str

    def as_json(self) -> dict[str, Any]:
        """Return the review as an object; each figure with its unit."""
        return {
            "score": _rounded(self.score, 0),
            "better": self.better,
            "torque_scale": _rounded(self.figures.torque_scale, 3),
            "aims": [
                {"aim": one.aim, "figure": _rounded(one.figure, 4), "unit": one.unit, "score": _rounded(one.score, 0)}
                for one in self.aims
            ],
        }


def _rounded(value: float | None, digits: int) -> float | int | None:
    return None if value is None else round(value, digits) if digits else round(value)


def ramp(figure: float, full_at: float, none_at: float) -> float:
    """Return 100 at `full_at` and before, 0 at `none_at` and beyond, straight between."""
    return 100.0 * min(max((none_at - figure) / (none_at - full_at), 0.0), 1.0)


def _less_is_better(name: str, full_at: float, none_at: float) -> Callable[[WindFigures], float | None]:
    def score(figures: WindFigures) -> float | None:
        figure = getattr(figures, name)
        return None if figure is None else ramp(abs(figure), full_at, none_at)

    return score


def _stall_score(figures: WindFigures) -> float | None:
    if figures.stalls is None or figures.stalled_s is None:
        return None
    return max(100.0 - STALL_COSTS * figures.stalls - STALLED_SECOND_COSTS * figures.stalled_s, 0.0)


def _launch_score(figures: WindFigures) -> float | None:
    return None if figures.launch_ratio is None else ramp(abs(figures.launch_ratio - 1.0), 0.04, 0.25)


def _whole_score(figures: WindFigures) -> float | None:
    return None if figures.broken is None else 0.0 if figures.broken else 100.0


Words = Callable[[WindFigures, Plan, float, UnitSystem], str]
"""figures, plan, winder ratio, units."""


def _crank_words(figures: WindFigures, plan: Plan, ratio: float, units: UnitSystem) -> str:
    varied = "" if figures.crank_variation is None else f"the time of a turn varied by {figures.crank_variation:.0%}; "
    return f"Crank more evenly at full stretch: {varied}count aloud and keep the beat."


def _path_words(figures: WindFigures, plan: Plan, ratio: float, units: UnitSystem) -> str:
    side = figures.path_side or 0.0
    if side < 0:
        return (
            f"Step in later and in smaller steps: torque lay {-side:.0%} below the plan's in the walk-in;"
            " when it falls, wait and crank until it is back."
        )
    return f"Step in sooner: torque lay {side:.0%} above the plan's in the walk-in."


def _fall_words(figures: WindFigures, plan: Plan, ratio: float, units: UnitSystem) -> str:
    lasted = "" if figures.longest_fall_s is None else f": the longest fall lasted {figures.longest_fall_s:.0f} s"
    return f"When torque falls, stay where you are and crank until it is back{lasted}."


def _band_words(figures: WindFigures, plan: Plan, ratio: float, units: UnitSystem) -> str:
    share = 0.0 if figures.in_band is None else figures.in_band
    return f"Keep the rate of torque in its band: it was there for {share:.0%} of the time; small steps, one pace."


def _stall_words(figures: WindFigures, plan: Plan, ratio: float, units: UnitSystem) -> str:
    stalls = figures.stalls or 0
    times = "once" if stalls == 1 else f"{stalls} times"
    return (
        f"Never let the crank stand in the walk-in: it stood {times}, {figures.stalled_s or 0.0:.0f} s in all;"
        " step while you crank."
    )


def _peak(figures: WindFigures, plan: Plan, units: UnitSystem) -> str:
    return show(plan.peak_torque_Nm if figures.peak_Nm is None else figures.peak_Nm, "torque", units)


def _peak_words(figures: WindFigures, plan: Plan, ratio: float, units: UnitSystem) -> str:
    peak = _peak(figures, plan, units)
    reached = "" if figures.peak_reach is None else f", {1.0 - figures.peak_reach:.0%} short of it"
    return f"Crank on to the peak of {peak}: you stopped too early{reached}."


def _overshoot_words(figures: WindFigures, plan: Plan, ratio: float, units: UnitSystem) -> str:
    peak = _peak(figures, plan, units)
    return f"Stop at the peak of {peak}: you went {figures.overshoot or 0.0:.0%} past it; slow down before it comes."


def _launch_words(figures: WindFigures, plan: Plan, ratio: float, units: UnitSystem) -> str:
    launch = show(min(plan.launch_torque_Nm, plan.peak_torque_Nm), "torque", units)
    if figures.launch_ratio is None:
        return f"Back off to the launch torque of {launch} before you unhook."
    if figures.launch_ratio > 1.0:
        return f"Back off further, to {launch}: the launch torque was {figures.launch_ratio - 1.0:.0%} too high."
    return f"Back off less, to {launch}: the launch torque was {1.0 - figures.launch_ratio:.0%} too low."


def _back_off_words(figures: WindFigures, plan: Plan, ratio: float, units: UnitSystem) -> str:
    off = "" if figures.back_off_turns is None else f", you took off {figures.back_off_turns / ratio:.0f}"
    return (
        "Back off turn by turn and look at the torque after each: about"
        f" {plan.back_off_turns / ratio:.0f} of the crank were planned{off}."
    )


def _whole_words(figures: WindFigures, plan: Plan, ratio: float, units: UnitSystem) -> str:
    peak = _peak(figures, plan, units)
    return f"Bring the motor home whole: stop at {peak}, and unhook only when it is backed off."


@dataclass(frozen=True, slots=True)
class Aim:
    """One thing to do well: what is measured, the rule of its score, and the words when it was the worst."""

    name: str
    title: str
    figure: str
    unit: str
    score: Callable[[WindFigures], float | None]
    words: Words


AIMS: tuple[Aim, ...] = (
    Aim(
        "even_crank",
        "even cranking at full stretch",
        "crank_variation",
        "share of a turn's time",
        _less_is_better("crank_variation", 0.08, 0.40),
        _crank_words,
    ),
    Aim(
        "path",
        "walk-in on the path",
        "path_off",
        "share of the plan's torque",
        _less_is_better("path_off", 0.20, 0.45),
        _path_words,
    ),
    Aim(
        "recovery",
        "falls caught",
        "longest_fall_s",
        "s",
        _less_is_better("longest_fall_s", 6.0, 25.0),
        _fall_words,
    ),
    Aim(
        "rate_band",
        "rate in its band",
        "in_band",
        "share of the time",
        lambda figures: None if figures.in_band is None else ramp(-figures.in_band, -0.65, -0.25),
        _band_words,
    ),
    Aim("stalls", "crank never stands", "stalled_s", "s", _stall_score, _stall_words),
    Aim(
        "peak",
        "peak reached",
        "peak_reach",
        "times the peak asked for",
        lambda figures: None if figures.peak_reach is None else ramp(-figures.peak_reach, -0.97, -0.80),
        _peak_words,
    ),
    Aim(
        "overshoot",
        "stopped at the peak",
        "overshoot",
        "share past the peak",
        _less_is_better("overshoot", 0.04, 0.20),
        _overshoot_words,
    ),
    Aim("launch", "launch torque", "launch_ratio", "times the plan's launch torque", _launch_score, _launch_words),
    Aim(
        "back_off",
        "turns backed off",
        "back_off_off",
        "crank turns more than planned",
        _less_is_better("back_off_off", 1.5, 6.0),
        _back_off_words,
    ),
    Aim("whole", "motor whole", "broken", "1 if it broke", _whole_score, _whole_words),
)
"""In the order of a wind. Every score here is our own rule, no source; full marks are what even, patient hands of the
simulator and the steady learner reach, and nothing is where the wind was spoilt."""

BY_NAME = {aim.name: aim for aim in AIMS}


def review_of(
    figures: WindFigures,
    plan: Plan,
    winder_ratio: float,
    units: UnitSystem = "metric",
    wanted: Iterable[str] | None = None,
) -> WindReview:
    """Return the scores of a wind.

    wanted: names of the aims to be scored, one that was not come to scores 0; None: all that the wind came to.
    """
    asked = frozenset(BY_NAME if wanted is None else wanted)
    scored = []
    for aim in AIMS:
        if aim.name not in asked:
            continue
        score = aim.score(figures)
        if score is None and wanted is not None:
            score = 0.0
        figure = getattr(figures, aim.figure)
        scored.append(AimScore(aim.name, aim.title, None if figure is None else float(figure), aim.unit, score))
    known = [one for one in scored if one.score is not None]
    if not known:
        return WindReview(figures, tuple(scored), None, "Too little was wound to say what to do better.")
    worst = min(known, key=lambda one: one.score or 0.0)
    worst_score = worst.score or 0.0
    total = 0.5 * worst_score + 0.5 * sum(one.score or 0.0 for one in known) / len(known)
    if figures.broken:
        return WindReview(
            figures, tuple(scored), min(total, BROKEN_AT_MOST), _whole_words(figures, plan, winder_ratio, units)
        )
    better = "Nothing to mend: do it again, the same way."
    if worst_score < WELL:
        better = BY_NAME[worst.aim].words(figures, plan, winder_ratio, units)
    return WindReview(figures, tuple(scored), total, better)


def review(settings: CoachSettings, inputs: Iterable[Input]) -> WindReview:
    """Return the review of a wind from its inputs, as a trace keeps them.

    Raises:
        FiguresError: the plan contradicts itself.
    """
    coach, watch = Coach(settings), WindWatch(settings)
    for event in inputs:
        coach.step(event)
        watch.see(coach.view)
    return review_of(watch.figures, settings.plan, settings.winder.ratio, settings.units)
