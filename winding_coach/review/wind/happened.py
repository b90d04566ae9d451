"""Figures of one wind in; a score for each aim, one for the whole, and one sentence on what to do better out. Pure.

The rules that turn figures into scores are our own, no source: `review.rules` is where they are written down.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from winding_coach.base.inputs import Input
from winding_coach.base.units import UnitSystem, show
from winding_coach.coach.loop import taken
from winding_coach.coach.settings import CoachSettings
from winding_coach.coach.step import Coach
from winding_coach.review.wind.figures import WindFigures, WindWatch
from winding_coach.review.wind.rules import RULES, WELL
from winding_coach.rubber.figures import Plan


@dataclass(frozen=True, slots=True)
class AimScore:
    """One aim of a wind. figure: in `unit`, None if it did not come to that. score: 0-100, None: not scored.

    better: what would have been better, "" where there is nothing to improve.
    """

    aim: str
    title: str
    figure: float | None
    unit: str
    score: float | None
    better: str = ""


@dataclass(frozen=True, slots=True)
class WindReview:
    """What happened in one wind. score: 0-100, the mean of the aims' scores by weight, and no more above each of them
    than its rule lets it be (our own rule, no source: one thing spoilt spoils a wind); None if nothing could be scored.
    """

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
                {
                    "aim": one.aim,
                    "figure": _rounded(one.figure, 4),
                    "unit": one.unit,
                    "score": _rounded(one.score, 0),
                    "better": one.better,
                }
                for one in self.aims
            ],
        }


def _rounded(value: float | None, digits: int) -> float | int | None:
    return None if value is None else round(value, digits) if digits else round(value)


def _plain(name: str) -> Callable[[WindFigures], float | None]:
    def measure(figures: WindFigures) -> float | None:
        figure = getattr(figures, name)
        return None if figure is None else abs(float(figure))

    return measure


def _less(name: str) -> Callable[[WindFigures], float | None]:
    """More is better: rules are for figures of which less is."""

    def measure(figures: WindFigures) -> float | None:
        figure = getattr(figures, name)
        return None if figure is None else -float(figure)

    return measure


def _stalled(figures: WindFigures) -> float | None:
    if figures.stalls is None or figures.stalled_s is None:
        return None
    return figures.stalls + figures.stalled_s


def _launch_off(figures: WindFigures) -> float | None:
    return None if figures.launch_ratio is None else abs(figures.launch_ratio - 1.0)


Words = Callable[[WindFigures, Plan, float, UnitSystem], str]
"""figures, plan, winder ratio, units."""


def _crank_words(figures: WindFigures, plan: Plan, ratio: float, units: UnitSystem) -> str:
    varied = (
        "" if figures.crank_variation is None else f"the time per crank turn varied by {figures.crank_variation:.0%}; "
    )
    return f"Crank more evenly at full stretch: {varied}count aloud and keep the beat."


def _path_words(figures: WindFigures, plan: Plan, ratio: float, units: UnitSystem) -> str:
    if figures.path_side is None:
        return "Walk in all the way to the hooks, cranking: the walk-in was hardly begun."
    side = figures.path_side
    if side < 0:
        return (
            f"Step in later and in smaller steps: torque was {-side:.0%} below plan in the walk-in;"
            " when it falls, wait and crank until it is back."
        )
    return f"Step in sooner: torque was {side:.0%} above plan in the walk-in."


def _knot_words(figures: WindFigures, plan: Plan, ratio: float, units: UnitSystem) -> str:
    added = 0.0 if figures.risk_added is None else figures.risk_added
    return (
        f"Walk in so that torque falls less: the walk-in added {added:.0%} to the break risk; shorter steps or a"
        " slow walk, with the crank turning."
    )


def _danger_words(figures: WindFigures, plan: Plan, ratio: float, units: UnitSystem) -> str:
    return (
        f"Stop before a limit: one was exceeded for {figures.danger_s or 0.0:.0f} s; slow down from 90% of the"
        f" target, and stop at {_peak(figures, plan, units)}."
    )


def _fall_words(figures: WindFigures, plan: Plan, ratio: float, units: UnitSystem) -> str:
    lasted = "" if figures.longest_fall_s is None else f": the longest fall lasted {figures.longest_fall_s:.0f} s"
    return f"When torque falls, stay where you are and crank until it is back{lasted}."


def _band_words(figures: WindFigures, plan: Plan, ratio: float, units: UnitSystem) -> str:
    share = 0.0 if figures.in_band is None else figures.in_band
    return f"Keep the torque rate in its band: it was there {share:.0%} of the time; small steps, one pace."


def _stall_words(figures: WindFigures, plan: Plan, ratio: float, units: UnitSystem) -> str:
    stalls = figures.stalls or 0
    times = "once" if stalls == 1 else f"{stalls} times"
    return (
        f"Keep the crank turning during the walk-in: it stopped {times}, {figures.stalled_s or 0.0:.0f} s in all;"
        " step in while cranking."
    )


def _peak(figures: WindFigures, plan: Plan, units: UnitSystem) -> str:
    return show(plan.peak_torque_Nm if figures.peak_Nm is None else figures.peak_Nm, "torque", units)


def _peak_words(figures: WindFigures, plan: Plan, ratio: float, units: UnitSystem) -> str:
    peak = _peak(figures, plan, units)
    reached = "" if figures.peak_reach is None else f", {1.0 - figures.peak_reach:.0%} short of it"
    return f"Keep cranking to the target of {peak}: you stopped too early{reached}."


def _overshoot_words(figures: WindFigures, plan: Plan, ratio: float, units: UnitSystem) -> str:
    peak = _peak(figures, plan, units)
    return f"Stop at the target of {peak}: you went {figures.overshoot or 0.0:.0%} above it; slow down before it."


def _launch_words(figures: WindFigures, plan: Plan, ratio: float, units: UnitSystem) -> str:
    launch = show(min(plan.launch_torque_Nm, plan.peak_torque_Nm), "torque", units)
    if figures.launch_ratio is None:
        return f"Back off to the launch torque of {launch} before you unhook."
    if figures.launch_ratio < 1.0 and figures.back_off_turns is None:
        return f"Keep cranking to the target: this wind ended at {figures.launch_ratio:.0%} of the launch torque."
    if figures.launch_ratio > 1.0:
        return f"Back off further, to {launch}: the launch torque was {figures.launch_ratio - 1.0:.0%} too high."
    return f"Back off less, to {launch}: the launch torque was {1.0 - figures.launch_ratio:.0%} too low."


def _back_off_words(figures: WindFigures, plan: Plan, ratio: float, units: UnitSystem) -> str:
    off = "" if figures.back_off_turns is None else f", you took off {figures.back_off_turns / ratio:.0f}"
    return (
        "Back off one crank turn at a time and watch the torque after each: about"
        f" {plan.back_off_turns / ratio:.0f} were planned{off}."
    )


def _whole_words(figures: WindFigures, plan: Plan, ratio: float, units: UnitSystem) -> str:
    peak = _peak(figures, plan, units)
    return f"Keep the motor intact: stop at {peak}, and unhook only after the back-off."


@dataclass(frozen=True, slots=True)
class Aim:
    """One thing to do well. figure: of `WindFigures`, in `unit`. measure: what its rule takes. words: what would have
    been better."""

    name: str
    title: str
    figure: str
    unit: str
    measure: Callable[[WindFigures], float | None]
    words: Words

    def score(self, figures: WindFigures) -> float | None:
        """Return 0 to 100, None if it did not come to that."""
        measured = self.measure(figures)
        return None if measured is None else RULES[self.name].score(measured)


AIMS: tuple[Aim, ...] = (
    Aim(
        "even_crank",
        "even cranking at full stretch",
        "crank_variation",
        "share of a crank turn's time",
        _plain("crank_variation"),
        _crank_words,
    ),
    Aim(
        "path",
        "walk-in on the path",
        "path_off",
        "share of the plan's torque",
        _plain("path_off"),
        _path_words,
    ),
    Aim("knots", "knots kept tight", "risk_added", "break risk added", _plain("risk_added"), _knot_words),
    Aim(
        "recovery",
        "falls caught",
        "longest_fall_s",
        "s",
        _plain("longest_fall_s"),
        _fall_words,
    ),
    Aim(
        "rate_band",
        "rate in its band",
        "in_band",
        "share of the time",
        _less("in_band"),
        _band_words,
    ),
    Aim("stalls", "crank kept turning", "stalled_s", "s", _stalled, _stall_words),
    Aim(
        "peak",
        "target reached",
        "peak_reach",
        "times the target",
        _less("peak_reach"),
        _peak_words,
    ),
    Aim(
        "overshoot",
        "stopped at the target",
        "overshoot",
        "share above the target",
        _plain("overshoot"),
        _overshoot_words,
    ),
    Aim("danger", "no limit exceeded", "danger_s", "s", _plain("danger_s"), _danger_words),
    Aim("launch", "launch torque", "launch_ratio", "times the plan's launch torque", _launch_off, _launch_words),
    Aim(
        "back_off",
        "turns backed off",
        "back_off_off",
        "crank turns more than planned",
        _plain("back_off_off"),
        _back_off_words,
    ),
    Aim("whole", "motor intact", "broken", "1 if it broke", _plain("broken"), _whole_words),
)
"""In the order of a wind; their rules are in `review.rules`."""

BY_NAME = {aim.name: aim for aim in AIMS}
_NOTHING = "Nothing to improve: do the same again."


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
        better = "" if score is None or score >= WELL else aim.words(figures, plan, winder_ratio, units)
        scored.append(AimScore(aim.name, aim.title, None if figure is None else float(figure), aim.unit, score, better))
    known = [(RULES[one.aim], one.score, one) for one in scored if one.score is not None]
    if not known:
        return WindReview(figures, tuple(scored), None, "Too little was wound to say what to do better.")
    mean = sum(rule.weight * score for rule, score, _ in known) / sum(rule.weight for rule, _, _ in known)
    total = min(mean, *(score + rule.holds for rule, score, _ in known))
    # What holds the score down most is what to improve first.
    to_improve = [one for one in known if one[2].better] or known
    worst = min(to_improve, key=lambda one: (one[1] + one[0].holds, one[1]))[2]
    if figures.broken and "whole" in asked:
        worst = next(one for _, _, one in known if one.aim == "whole")
    return WindReview(figures, tuple(scored), total, worst.better or _NOTHING)


def review(settings: CoachSettings, inputs: Iterable[Input]) -> WindReview:
    """Return the review of a wind from its inputs, as a trace keeps them.

    Raises:
        FiguresError: the plan contradicts itself.
    """
    coach, watch = Coach(settings), WindWatch(settings)
    for _ in taken(coach, inputs, close=False):
        watch.see(coach.view)
    return review_of(watch.figures, settings.plan, settings.winder.ratio, settings.units)
