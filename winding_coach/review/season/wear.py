"""The winds of one motor in; how far to wind it next and whether to retire it out. Pure."""

from __future__ import annotations

import math
import re
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from winding_coach.rubber.figures import FiguresError, MotorFigures
from winding_coach.rubber.flight import unwinding_of
from winding_coach.rubber.history import permanent_set
from winding_coach.rubber.law import DEFAULT_RUBBER, Rubber
from winding_coach.rubber.motor import usual_share
from winding_coach.rubber.strength import Estimate, StrengthPrior, Wound, strength_of
from winding_coach.shelf.records import Wind

TORQUE_LOST = 0.08
"""From this loss of torque at the same turns on a motor has had its day; our own rule, no source."""
TURNS_LOST = 0.06
"""So for the turns that it reaches; our own rule."""
MANY_USES = 12
"""From this use on it is asked whether a fresh motor would not do better; our own rule, no source."""
MOST_RISK = 0.06
"""A wind that breaks the motor more often than this is not advised: a broken motor may hurt the model; our own rule."""
SHARE_STEP, LEAST_SHARE = 0.05, 0.70
BATCH_WINDS = 60
"""The newest winds of a batch that its strength is taken from."""
EARLY = 2
SETTLED = 8
"""From this use on a loop grows no more."""
_HURT = re.compile(
    r"\b(nick|nicks|nicked|cut|cuts|crack|cracks|cracked|tear|tears|torn|frayed|fraying)\b", re.IGNORECASE
)


@dataclass(frozen=True, slots=True)
class NextShare:
    """How far to wind a motor next. share: of breaking turns. turns: at the peak. risk: chance to break (0-1).

    usual: what the usual series says for this use. instead: the share of the wind before, None for the first.
    winds, breaks: of the batch, that the risk rests on beside the default rubber.
    """

    use: int
    share: float
    usual: float
    turns: float
    risk: Estimate
    instead: float | None
    winds: int
    breaks: int


@dataclass(frozen=True, slots=True)
class Wear:
    """What a motor has gone through. torque_lost: share of torque at the same turns that is gone since its first
    winds, turns_lost: of the turns reached (None where too few winds tell). hurt: the words of a remark on a nick."""

    uses: int
    torque_lost: float | None
    turns_lost: float | None
    hurt: str | None
    reasons: tuple[str, ...]


def grown(use: int, rubber: Rubber = DEFAULT_RUBBER) -> float:
    """Return by which share a loop has grown before its use-th wind, when it was wound to the usual shares so far."""
    so_far = 0.0
    for wind in range(1, min(use, SETTLED)):
        stretch = rubber.break_stretch * usual_share(wind) ** (2.0 / 3.0)
        so_far = permanent_set(rubber, so_far, stretch)
    return so_far


def grown_since(measured_at_use: int, uses: int, rubber: Rubber = DEFAULT_RUBBER) -> float:
    """Return the share by which a loop should have grown since it was measured after `measured_at_use` winds, now
    that it has had `uses`; 0 for one measured since its last wind."""
    if measured_at_use >= uses:
        return 0.0
    return (1.0 + grown(uses + 1, rubber)) / (1.0 + grown(measured_at_use + 1, rubber)) - 1.0


def next_share(
    motor: MotorFigures, hooks_m: float, winds: Sequence[Wind], batch: Sequence[Wind], rubber: Rubber = DEFAULT_RUBBER
) -> NextShare:
    """Return how far to wind a motor next.

    motor: as measured now, its use that of the next wind. winds: of this motor. batch: of its batch, this motor's too;
    newest last. Where motors of the batch broke, the usual share of the use is lowered step by step
    until the risk is bearable.
    """
    # Where torque went and no one said why, the wind tells neither of a break nor of strength.
    told = [one for one in batch if one.peak_turns and one.breaking_turns and one.outcome != "gone"]
    wound = [_wound(one, rubber) for one in told[-BATCH_WINDS:]]
    strength = strength_of(wound, StrengthPrior(median=rubber.break_stretch, shape=rubber.break_shape))
    usual = usual_share(motor.use)

    def risk_at(share: float) -> Estimate:
        # Turns go with strand stretch to the power 1.5.
        return strength.risk(rubber.break_stretch * share ** (2.0 / 3.0))

    share = usual
    broke = sum(one.broke for one in wound)
    # Without a break there is only belief, and common practice is the better one.
    while broke and share > LEAST_SHARE and risk_at(share).value > MOST_RISK:
        share = round(share - SHARE_STEP, 2)
    _, breaks = unwinding_of(motor, hooks_m, 1.0, rubber)
    before = [one.share for one in winds if one.share is not None]
    return NextShare(
        use=motor.use,
        share=share,
        usual=usual,
        turns=share * breaks,
        risk=risk_at(share),
        instead=before[-1] if before else None,
        winds=len(wound),
        breaks=broke,
    )


def _wound(wind: Wind, rubber: Rubber) -> Wound:
    assert wind.peak_turns is not None
    assert wind.breaking_turns is not None
    share = min(max(wind.peak_turns / wind.breaking_turns, 0.05), 1.5)
    return Wound(rubber.break_stretch * share ** (2.0 / 3.0), wind.outcome == "broken")


def wear_of(winds: Sequence[Wind], remarks: Sequence[str], uses: int, rubber: Rubber = DEFAULT_RUBBER) -> Wear:
    """Return what a motor has gone through. winds: its own, oldest first. remarks: on it, its winds and flights."""
    measured = _measured(winds)
    scales = [
        one
        for one in (_scale(wind, at_use, rubber) for wind, at_use in measured if wind.outcome == "done")
        if one is not None
    ]
    torque_lost = _lost(scales)
    reached = [w.peak_turns / w.target_turns for w in winds if w.outcome == "done" and w.peak_turns and w.target_turns]
    turns_lost = _lost(reached)
    hurt = next((text for text in remarks if _HURT.search(text)), None)
    reasons = []
    if hurt is not None:
        reasons.append(f"a remark mentions damage (“{hurt}”)")
    if torque_lost is not None and torque_lost >= TORQUE_LOST:
        reasons.append(f"its torque at the same turns has fallen by {torque_lost:.0%} since its first winds")
    if turns_lost is not None and turns_lost >= TURNS_LOST:
        reasons.append(f"it reaches {turns_lost:.0%} fewer of the planned turns than in its first winds")
    if uses >= MANY_USES:
        reasons.append(f"it has been wound {uses} times")
    return Wear(uses, torque_lost, turns_lost, hurt, tuple(reasons))


def _lost(figures: Sequence[float]) -> float | None:
    """Return the share lost from the first figures to the last, None if there are too few."""
    if len(figures) < 2 * EARLY:
        return None
    return max(0.0, 1.0 - statistics.mean(figures[-EARLY:]) / statistics.mean(figures[:EARLY]))


def _measured(winds: Sequence[Wind]) -> list[tuple[Wind, int]]:
    """Return each wind with the use before which its loop was measured: the first with the same loop and mass."""
    first: dict[tuple[float | None, float | None], int] = {}
    found = []
    for wind in winds:
        use = wind.use or 1
        found.append((wind, min(first.setdefault((wind.loop_m, wind.mass_kg), use), use)))
    return found


def _scale(wind: Wind, measured_at_use: int, rubber: Rubber) -> float | None:
    """Return the torque at the peak over the law's for the motor at this use: softened, and grown since its loop was
    measured, for a loop that grew is no loop that wore out."""
    known = (wind.loop_m, wind.mass_kg, wind.peak_turns, wind.peak_torque_Nm, wind.hooks_m)
    if any(one is None or not one > 0.0 for one in known):
        return None
    assert wind.loop_m is not None
    assert wind.mass_kg is not None
    assert wind.peak_turns is not None
    assert wind.peak_torque_Nm is not None
    assert wind.hooks_m is not None
    use = wind.use or 1
    loop_m = wind.loop_m * (1.0 + grown_since(measured_at_use - 1, use - 1, rubber))
    motor = MotorFigures(loop_m, wind.mass_kg, wind.orings_kg or 0.0, wind.strands or 2, use=use)
    try:
        unwinding, _ = unwinding_of(motor, wind.hooks_m, wind.peak_turns, rubber)
    except FiguresError:
        return None
    law = unwinding.values[-1]
    return wind.peak_torque_Nm / law if law > 0.0 and math.isfinite(law) else None
