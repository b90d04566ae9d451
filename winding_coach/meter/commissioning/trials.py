"""Counts read before, during and after something was done to a meter in; what that says of its build out.

Limits are assumed: shares of the motor's launch torque, or of what was hung. Pure.
"""

from __future__ import annotations

from dataclasses import dataclass

from winding_coach.meter.calibration import Calibration

PULL_SHARE, LAUNCH_SHARE = 0.02, 0.125
"""Of the launch torque: what a pull may read as; and launch torque over the cell's rating where it is not stated."""
RETURN_SHARE = 0.002
"""Of the torque that was let go: what may stay behind."""
LEAST_LOAD_SHARE = 0.05
"""Of the rating: less than this tells nothing of hysteresis."""


@dataclass(frozen=True, slots=True)
class Trial:
    """One thing that was tried: its name, what was measured (torques in N·m, lengths in m), and what to do.

    passed: None where it cannot be told.
    """

    name: str
    passed: bool | None
    figures: dict[str, float | int | None]
    words: str


def pull_trial(
    before: float,
    pulled: float,
    after: float,
    calibration: Calibration,
    pull_N: float,
    launch_Nm: float | None = None,
) -> Trial:
    """Judge a straight pull on the hook: the zero must not move under it. pull_N: the pull.

    launch_Nm: launch torque of the motors that the meter is for; else an eighth of the cell's rating.
    """
    zero = 0.5 * (before + after)
    moved = calibration.torque_Nm(pulled, zero)
    stays = calibration.torque_Nm(after, before)
    figures: dict[str, float | int | None] = {"moved_Nm": moved, "stays_Nm": stays, "Nm_per_N": moved / pull_N}
    if launch_Nm is None:
        if calibration.rating_Nm is None:
            words = (
                f"{_torque(moved)} under the pull; it cannot be judged without --launch-torque or the cell's rating."
            )
            return Trial("pull", None, figures, words)
        launch_Nm = LAUNCH_SHARE * calibration.rating_Nm
    # The motor pulls less at launch than at full stretch; a kilogram is about what the usual motor pulls between.
    figures["launch_share"] = moved / launch_Nm
    passed = abs(moved) <= PULL_SHARE * launch_Nm
    share = f"{abs(moved) / launch_Nm:.1%} of a launch torque of {1e3 * launch_Nm:.2f} mN·m"
    if passed:
        words = f"The zero stays under the pull: it moves by {_torque(moved)}, {share}."
    else:
        words = (
            f"Pull reaches the cell: {_torque(moved)}, {share}. Put the hook on the axis and the meter in line with the"
            " pull, and see that nothing but the arm touches the cell."
        )
    return Trial("pull", passed, figures, words)


def stretch_trial(before: float, stretched: float, calibration: Calibration, launch_Nm: float | None = None) -> Trial:
    """Judge what a motor reads at full stretch before its first turn: cross-talk of its pull, not torque."""
    reads = calibration.torque_Nm(stretched, before)
    figures: dict[str, float | int | None] = {"reads_Nm": reads}
    if launch_Nm is None and calibration.rating_Nm is not None:
        launch_Nm = LAUNCH_SHARE * calibration.rating_Nm
    said = f"At full stretch, with no turns on, it reads {_torque(reads)}: that is the pull, and no torque of the motor"
    if launch_Nm is None:
        return Trial("stretch", None, figures, f"{said}.")
    figures["launch_share"] = reads / launch_Nm
    passed = abs(reads) <= PULL_SHARE * launch_Nm
    words = f"{said}; {abs(reads) / launch_Nm:.1%} of a launch torque of {1e3 * launch_Nm:.2f} mN·m."
    return Trial(
        "stretch",
        passed,
        figures,
        words if passed else f"{words} Put the hook on the axis, the meter in line with the motor.",
    )


def release_trial(before: float, loaded: float, after: float, calibration: Calibration) -> Trial:
    """Judge what stays behind when a torque is let go: friction, creep or something that slips."""
    torque = calibration.torque_Nm(loaded, before)
    stays = calibration.torque_Nm(after, before)
    figures: dict[str, float | int | None] = {"torque_Nm": torque, "stays_Nm": stays}
    rating = calibration.rating_Nm
    if torque == 0 or (rating is not None and abs(torque) < LEAST_LOAD_SHARE * rating):
        return Trial("release", None, figures, f"{_torque(torque)} is too little to judge: load it with more.")
    passed = abs(stays) <= RETURN_SHARE * abs(torque)
    share = abs(stays / torque)
    if passed:
        words = f"It comes back to zero within {share:.2%} of {_torque(torque)}."
    elif stays * torque > 0:
        words = f"{_torque(stays)} of {_torque(torque)} stay behind ({share:.1%}): oil the bearing, free what rubs."
    else:
        words = f"It comes back past zero by {_torque(stays)} ({share:.1%}): the cell creeps, or the arm slips."
    return Trial("release", passed, figures, words)


def crank_trial(
    turns: int,
    pulses: int | None,
    *,
    quadrature: bool = False,
    pulses_per_turn: int = 1,
    left_hand: bool = False,
) -> Trial:
    """Judge the crank's sensor by a number of turns of the handle, the way it winds.

    pulses: counted meanwhile. pulses_per_turn: what the meter says of itself; of several to a turn one may be missing,
    since the handle need not stop to the degree where it began. left_hand: for motors wound the other way round: two
    sensors count down for them.
    """
    if pulses is None:
        return Trial("crank", None, {"turns": turns, "pulses": None}, "This meter has no crank sensor.")
    figures: dict[str, float | int | None] = {"turns": turns, "pulses": pulses, "pulses_per_turn": pulses / turns}
    expected = turns * pulses_per_turn
    if quadrature and left_hand:
        pulses = -pulses
    passed = pulses == expected or (pulses_per_turn > 1 and abs(pulses - expected) <= 1)
    if passed:
        words = f"{turns} turns, {pulses} pulses{', counted down: left-hand' if quadrature and left_hand else ''}."
    elif pulses == 0:
        words = "The crank's switch gives nothing: check its wiring and the magnet's distance."
    elif quadrature and abs(pulses + expected) <= (pulses_per_turn > 1):
        words = "It counts the wrong way: swap the two crank switches"
        words += "." if left_hand else ", or say --hand left if that is how you wind."
    elif pulses_per_turn > 1 and pulses % turns == 0:
        words = f"{pulses // turns} pulses per turn, and the meter says {pulses_per_turn}: put one of the two right."
    elif pulses % turns == 0:
        words = (
            f"{pulses // turns} pulses per turn: take all magnets but one away, or set a longer time against bounces."
        )
    elif pulses > expected:
        words = f"{pulses} pulses in {turns} turns: the switch bounces, or the magnet is at its edge."
    else:
        words = f"{pulses} pulses in {turns} turns: the magnet passes too far from the switch."
    return Trial("crank", passed, figures, words)


def _torque(torque_Nm: float) -> str:
    return f"{1e3 * torque_Nm:+.3f} mN·m"
