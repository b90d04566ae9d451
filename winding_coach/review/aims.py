"""Aims of a wind as a table: how well each was met, in a share and a sentence, and what to do better next time. Pure.

Practice and real winds are judged by the same table. Where the marks of a score lie is assumed, tried on simulated
hands only.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from winding_coach.coach.said import Phase
from winding_coach.review.winds import HELD, Wind

BROKEN_AT_MOST = 0.3
"""A wind that broke the motor scores no more than this, whatever else was good."""
GOOD_SHARE = 0.8
"""From here on an aim counts as met and no advice is given."""

Judged = tuple[float | None, str]
_NOT_REACHED: Judged = (0.0, "The wind did not get that far.")


@dataclass(frozen=True, slots=True)
class Aim:
    """What a wind is judged by. title: as an instruction. advice: for who missed it."""

    title: str
    judge: Callable[[Wind], Judged]
    advice: str


@dataclass(frozen=True, slots=True)
class AimScore:
    """How an aim was met. share: 0-1, None where it cannot be told. advice: None where it was met or not told."""

    code: str
    title: str
    share: float | None
    happened: str
    advice: str | None


@dataclass(frozen=True, slots=True)
class Score:
    """A wind's aims together. share: mean of those that can be told, at most `BROKEN_AT_MOST` for a broken motor;
    None if none can. next_time: advice for the aim that was missed most, None if all were met."""

    share: float | None
    aims: tuple[AimScore, ...]
    next_time: str | None


def _between(value: float, best: float, worst: float) -> float:
    """Return 1 at the best figure and beyond, 0 at the worst and beyond, straight between."""
    return min(1.0, max(0.0, (worst - value) / (worst - best)))


def _even_crank(wind: Wind) -> Judged:
    crank = wind.stretched
    if crank is None:
        return _NOT_REACHED
    if crank.unevenness is None or crank.mean_rev_per_s is None:
        return None, "The crank's speed is not known: the meter does not count its turns."
    return (
        _between(crank.unevenness, 0.08, 0.40),
        f"The crank went at {crank.mean_rev_per_s:.1f} turns a second, uneven by {crank.unevenness:.0%}.",
    )


def _pace(wind: Wind) -> Judged:
    parts = [(p.seconds, p.in_band) for p in (wind.stretched, wind.final) if p is not None and p.in_band is not None]
    if wind.stretched is None and wind.final is None:
        return _NOT_REACHED
    if not parts:
        return None, "The rate of torque cannot be told."
    in_band = sum(seconds * share for seconds, share in parts) / sum(seconds for seconds, _ in parts)
    return _between(in_band, 0.90, 0.30), f"Torque rose at the planned rate for {in_band:.0%} of the time."


def _hold_torque(wind: Wind) -> Judged:
    walk = wind.walk_in
    if walk is None:
        return _NOT_REACHED
    if walk.held is None or walk.lowest is None:
        return None, "Torque in the walk-in is not known."
    return (
        _between(walk.held, 0.80, 0.20),
        f"In the walk-in torque was within {HELD[1] - 1:.0%} of the path's for {walk.held:.0%} of the time;"
        f" at its lowest it was {walk.lowest:.0%} of it.",
    )


def _recover(wind: Wind) -> Judged:
    walk = wind.walk_in
    if walk is None:
        return _NOT_REACHED
    if walk.held is None:
        return None, "Torque in the walk-in is not known."
    if walk.falls == 0:
        return 1.0, "Torque never fell far below the path's."
    times = "once" if walk.falls == 1 else f"{walk.falls} times"
    return (
        _between(walk.longest_fall_s, 2.0, 9.0),
        f"Torque fell far below the path's {times}; the longest lasted {walk.longest_fall_s:.0f} s.",
    )


def _keep_turning(wind: Wind) -> Judged:
    walk = wind.walk_in
    if walk is None:
        return _NOT_REACHED
    if walk.stalls == 0:
        return 1.0, "The crank never stood still in the walk-in."
    times = "once" if walk.stalls == 1 else f"{walk.stalls} times"
    return _between(walk.stalled_s, 0.5, 8.0), f"The crank stood still {times}, {walk.stalled_s:.0f} s in all."


def _stop_at_peak(wind: Wind) -> Judged:
    peak = wind.peak
    if peak is None:
        return _NOT_REACHED
    if wind.broke:
        return 0.0, f"It broke at {peak:.0%} of the planned peak."
    off = peak - 1.0
    share = _between(off, 0.03, 0.12) if off > 0.0 else _between(-off, 0.03, 0.20)
    side = "at the planned peak" if abs(off) < 0.005 else f"{abs(off):.0%} {'above' if off > 0 else 'below'} the peak"
    return share, f"The crank stopped {side}, by torque or turns, whichever came first."


def _launch_torque(wind: Wind) -> Judged:
    launch = wind.launch_torque
    if launch is None:
        return _NOT_REACHED
    off = launch - 1.0
    side = "above" if off > 0 else "below"
    return (
        _between(abs(off), 0.05, 0.30),
        "Launch torque was as planned." if abs(off) < 0.005 else f"Launch torque was {abs(off):.0%} {side} the plan's.",
    )


def _whole_motor(wind: Wind) -> Judged:
    if wind.broke:
        return 0.0, "The motor broke."
    ready = any(span.phase in (Phase.READY, Phase.DONE) for span in wind.phases)
    return (1.0, "The motor came out whole, wound and backed off.") if ready else _NOT_REACHED


AIMS: dict[str, Aim] = {
    "even_crank": Aim("Crank evenly", _even_crank, "Take a pace that you can keep for a minute, and count it."),
    "pace": Aim(
        "Let torque rise at the planned rate",
        _pace,
        "Watch the rate gauge: crank slower when it leaves its band above, faster below.",
    ),
    "hold_torque": Aim(
        "Hold torque in the walk-in",
        _hold_torque,
        "Take small steps, as far as the mark says and no farther; wait while torque is below the path's.",
    ),
    "recover": Aim(
        "Recover from a fall",
        _recover,
        "When torque has fallen, stay where you are and crank on until it is back before the next step.",
    ),
    "keep_turning": Aim(
        "Never let the crank stand",
        _keep_turning,
        "Keep the crank turning while you step in; take shorter steps if you cannot do both.",
    ),
    "stop_at_peak": Aim(
        "Stop at the peak",
        _stop_at_peak,
        "Slow down as the peak comes near, and stop when torque or turns reach their figure, whichever is first.",
    ),
    "launch_torque": Aim(
        "Back off to launch torque",
        _launch_torque,
        "Take the last turns off one at a time, and wait for the figure to settle after each.",
    ),
    "whole_motor": Aim("Bring the motor out whole", _whole_motor, "Stop at the alarm: there are seconds, not minutes."),
}
"""By code, in the order of a wind."""


def score_of(wind: Wind, codes: Sequence[str] | None = None) -> Score:
    """Return how well a wind met its aims; codes of `AIMS`, all of them if None.

    Raises:
        KeyError: a code that is none.
    """
    aims = tuple(_scored(code, wind) for code in (AIMS if codes is None else codes))
    told = [aim for aim in aims if aim.share is not None]
    share = sum(aim.share or 0.0 for aim in told) / len(told) if told else None
    if share is not None and wind.broke:
        share = min(share, BROKEN_AT_MOST)
    missed = min((aim for aim in told if aim.advice is not None), key=lambda aim: aim.share or 0.0, default=None)
    return Score(share, aims, None if missed is None else missed.advice)


def _scored(code: str, wind: Wind) -> AimScore:
    aim = AIMS[code]
    share, happened = aim.judge(wind)
    return AimScore(code, aim.title, share, happened, None if share is None or share >= GOOD_SHARE else aim.advice)
