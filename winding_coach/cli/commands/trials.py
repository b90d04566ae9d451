"""`meter check --tests`: what someone does to the meter, step by step, and what it says of the build."""

from __future__ import annotations

from typing import TYPE_CHECKING

from winding_coach.app.at_meter import Lines, MeterSession, say
from winding_coach.app.problem import UsageProblem
from winding_coach.base.units import GRAVITY_M_PER_S2

if TYPE_CHECKING:
    from winding_coach.meter.calibration import Calibration
    from winding_coach.meter.commissioning.trials import Trial

TRIALS = ("pull", "stretch", "release", "crank")
CRANK_TURNS = 20


def trials_from(typed: str) -> tuple[str, ...]:
    """Return the names of the trials that were typed, in their order.

    Raises:
        UsageProblem: one is none.
    """
    names = tuple(name.strip() for name in typed.split(","))
    wrong = [name for name in names if name not in TRIALS]
    if wrong:
        raise UsageProblem(f"--tests: there is no trial '{wrong[0][:20]}': choose of {', '.join(TRIALS)}.")
    return names


def try_meter(
    port: str,
    names: tuple[str, ...],
    calibration: Calibration,
    pull_kg: float,
    launch_Nm: float | None = None,
    crank_port: str | None = None,
    *,
    left_hand: bool = False,
) -> list[Trial]:
    """Lead someone through the trials; return what came of them. left_hand: how their motors are wound.

    Raises:
        Problem: the meter was lost, or the input ended.
    """
    from winding_coach.live.sources.serial_port import SerialSource

    source = SerialSource(port, crank_port=crank_port)
    try:
        at = MeterSession(source, Lines())
        does = {
            "pull": lambda: _pull(at, calibration, pull_kg, launch_Nm),
            "stretch": lambda: _stretch(at, calibration, launch_Nm),
            "release": lambda: _release(at, calibration),
            "crank": lambda: _crank(at, left_hand=left_hand),
        }
        return [does[name]() for name in names]
    finally:
        source.close()


def _steady(at: MeterSession) -> float:
    from winding_coach.meter.commissioning.guiding import Load

    point = at.steady_after_enter(Load(0.0, ""))
    assert point is not None
    return point.counts


def _pull(at: MeterSession, calibration: Calibration, pull_kg: float, launch_Nm: float | None) -> Trial:
    from winding_coach.meter.commissioning.trials import pull_trial

    say("Pull: take everything off the hook, hands off, then press Enter.")
    before = _steady(at)
    say(f"Pull: hang {pull_kg:g} kg straight from the hook (over a pulley, along the axis), then press Enter.")
    pulled = _steady(at)
    say("Pull: take it off again, then press Enter.")
    return pull_trial(before, pulled, _steady(at), calibration, pull_kg * GRAVITY_M_PER_S2, launch_Nm)


def _stretch(at: MeterSession, calibration: Calibration, launch_Nm: float | None) -> Trial:
    from winding_coach.meter.commissioning.trials import stretch_trial

    say("Stretch: take everything off the hook, hands off, then press Enter.")
    before = _steady(at)
    say(
        "Stretch: eye protection on; hook a motor on, walk out to full stretch in line with the meter, no turn on it,"
        " hold still, then press Enter."
    )
    return stretch_trial(before, _steady(at), calibration, launch_Nm)


def _release(at: MeterSession, calibration: Calibration) -> Trial:
    from winding_coach.meter.commissioning.trials import release_trial

    # What sticks rests on either side of its zero: begin on the side that the load does not come from.
    say("Release: take all weights off, press the arm lightly upwards, let go, hands off, then press Enter.")
    before = _steady(at)
    say("Release: load the arm with a weight, about half of what the cell takes, then press Enter.")
    loaded = _steady(at)
    say("Release: take it off again, gently, then press Enter.")
    return release_trial(before, loaded, _steady(at), calibration)


def _crank(at: MeterSession, *, left_hand: bool) -> Trial:
    from winding_coach.meter.commissioning.trials import crank_trial

    say("Crank: put the handle away from its switch, then press Enter.")
    at.wait_for_enter()
    begun = at.crank_turns
    way = "left-hand, as you wind" if left_hand else "forwards"
    say(f"Crank: turn the handle {CRANK_TURNS} times {way}, and stop where you began, then press Enter.")
    at.wait_for_enter()
    ended = at.crank_turns
    per_turn = at.pulses_per_turn
    pulses = None if begun is None or ended is None else round((ended - begun) * per_turn)
    return crank_trial(CRANK_TURNS, pulses, quadrature=at.quadrature, pulses_per_turn=per_turn, left_hand=left_hand)
