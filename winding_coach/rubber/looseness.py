"""What loosens the knots: one wind's steps under three laws in, which of them a batch's breaks speak for out. Pure.

None of the laws is known to be right (fidelity.md). A: any slack while knots form. B: only slack past a threshold,
within seconds. C: only slack while the crank stands. On the even path all give the same.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace

from winding_coach.rubber.history import History, advance
from winding_coach.rubber.law import DEFAULT_RUBBER, Geometry, Rubber
from winding_coach.rubber.strength import Strength, StrengthPrior, Wound, strength_of

LAWS = ("A", "B", "C")
PAST_THRESHOLD, THRESHOLD, FORGETS_S = 0.10, 0.15, 4.0
"""Law B: disorder for slack beyond a threshold under the largest strand stretch of late; assumed."""
STANDING, STANDS_BELOW_TURNS_PER_S = 0.10, 3.0
"""Law C: disorder for strand stretch let go while the motor gains fewer turns a second; assumed."""
SPEAKS_FROM = 0.8
"""Probability from which the winds speak for a law."""
GRID = (41, 21)


class Loosening:
    """One motor during one wind: feed it its states in order. worst: by law, the largest strand stretch so far."""

    def __init__(self, start: History, rubber: Rubber = DEFAULT_RUBBER) -> None:
        self.worst = dict.fromkeys(LAWS, start.stretch)
        self._slack = dict.fromkeys(LAWS, 0.0)
        self._rubber = rubber
        self._before = start
        self._of_late = start.stretch
        self._beyond = 0.0

    def see(self, now: History, dt_s: float) -> None:
        """Take in the next state. Its own looseness must be that of knotting alone (`without_slack`)."""
        before, slack = self._before, self._slack
        self._of_late = max(now.stretch, now.stretch + (self._of_late - now.stretch) * math.exp(-dt_s / FORGETS_S))
        beyond = max(0.0, self._of_late - now.stretch - THRESHOLD)
        if now.knotted > before.knotted:
            let_go = max(0.0, before.stretch - now.stretch)
            slack["A"] += self._rubber.loose_by_slack * let_go
            slack["B"] += PAST_THRESHOLD * max(0.0, beyond - self._beyond)
            if abs(now.turns - before.turns) < STANDS_BELOW_TURNS_PER_S * dt_s:
                slack["C"] += STANDING * let_go
        self._beyond, self._before = beyond, now
        for law in LAWS:
            self.worst[law] = max(self.worst[law], now.stretch * (1.0 + now.looseness + slack[law]))


def without_slack(rubber: Rubber) -> Rubber:
    """Return a rubber whose history counts the disorder of knotting alone."""
    return replace(rubber, loose_by_slack=0.0)


def worst_by_law(
    motor: Geometry, start: History, moments: Iterable[tuple[float, float, float]], rubber: Rubber = DEFAULT_RUBBER
) -> dict[str, float]:
    """Return the largest strand stretch of a wind under each law. moments: seconds since the last, turns, distance."""
    plain = without_slack(rubber)
    loosening, now = Loosening(start, rubber), start
    for dt_s, turns, distance_m in moments:
        now = advance(motor, now, distance_m, turns, dt_s, plain)
        loosening.see(now, dt_s)
    return loosening.worst


def spoken_for(wound: Sequence[Wound], prior: StrengthPrior | None = None) -> dict[str, float] | None:
    """Return the probability of each law after a batch's breaks and survivals; each has a third beforehand.

    None where no wind was followed with its distances: the laws differ only by steps.
    """
    followed = [one for one in wound if one.by_law is not None]
    if not followed:
        return None
    prior = prior or StrengthPrior()
    logs = [_log_evidence([one.under(i) for one in followed], prior) for i in range(len(LAWS))]
    weights = [math.exp(log - max(logs)) for log in logs]
    return {law: weight / sum(weights) for law, weight in zip(LAWS, weights, strict=True)}


def strength_by_law(wound: Sequence[Wound], prior: StrengthPrior | None = None) -> Strength:
    """Return the strength of a batch over all three laws, each as likely as the winds make it.

    Raises:
        FiguresError: a strand stretch that no wound motor has.
    """
    likely = spoken_for(wound, prior)
    if likely is None:
        return strength_of(wound, prior)
    parts = [
        (strength_of([one.under(i) for one in wound], prior), share)
        for i, share in enumerate(likely.values())
        if share > 1e-3
    ]
    total = sum(share for _, share in parts)
    return Strength(
        tuple(median for part, _ in parts for median in part.medians),
        tuple(shape for part, _ in parts for shape in part.shapes),
        tuple(weight * share / total for part, share in parts for weight in part.weights),
        parts[0][0].breaks,
        parts[0][0].survivors,
    )


def _log_evidence(wound: Sequence[Wound], prior: StrengthPrior) -> float:
    """Return the logarithm of how well a belief about strength foresees these winds, breaks by their logarithm."""
    logs: list[float] = []
    for i in range(GRID[0]):
        a = 8.0 * i / (GRID[0] - 1) - 4.0
        median = math.log(prior.median) + a * prior.median_sd_log
        for j in range(GRID[1]):
            b = 8.0 * j / (GRID[1] - 1) - 4.0
            shape = prior.shape * math.exp(b * prior.shape_sd_log)
            log = -0.5 * (a * a + b * b)
            for one in wound:
                power = shape * (math.log(one.stretch) - median)
                log -= math.log(2.0) * math.exp(min(power, 500.0))
                log += math.log(shape * math.log(2.0)) + power if one.broke else 0.0
            logs.append(log)
    top = max(logs)
    return top + math.log(sum(math.exp(log - top) for log in logs))
