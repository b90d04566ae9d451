"""How far to wind a motor next, and when it has had its day."""

from dataclasses import replace

import pytest

from winding_coach.review.season.wear import MANY_USES, MOST_RISK, TORQUE_LOST, grown, next_share, wear_of
from winding_coach.rubber.figures import MotorFigures
from winding_coach.rubber.flight import unwinding_of
from winding_coach.rubber.law import DEFAULT_RUBBER
from winding_coach.rubber.motor import usual_share
from winding_coach.shelf.records import Wind
from winding_coach.simulator.motor import SimulatedMotor

HOOKS_M = 0.22
MOTOR = MotorFigures(0.30, 1.40e-3, 0.08e-3)


def wind(share: float, number: int = 1, *, broke: bool = False, torque: float = 1.0, reached: float = 1.0) -> Wind:
    _, breaks = unwinding_of(MOTOR, HOOKS_M, 1000.0)
    turns = reached * share * breaks
    # The loop on the shelf is as it was measured when new; the one that is wound has grown.
    grew = replace(MOTOR, use=number, loop_m=MOTOR.loop_m * (1.0 + grown(number)))
    unwinding, _ = unwinding_of(grew, HOOKS_M, turns)
    return Wind(
        id=f"{number}",
        started=f"2026-03-07T10:{number:02d}:00+00:00",
        trace="",
        outcome="broken" if broke else "done",
        use=number,
        share=share,
        loop_m=MOTOR.loop_m,
        mass_kg=MOTOR.mass_kg,
        orings_kg=MOTOR.orings_kg,
        strands=2,
        hooks_m=HOOKS_M,
        breaking_turns=breaks,
        target_turns=share * breaks,
        peak_turns=turns,
        peak_torque_Nm=torque * unwinding.values[-1],
    )


@pytest.mark.parametrize(("use", "share"), [(1, 0.80), (2, 0.85), (3, 0.90), (9, 0.90)])
def test_the_usual_shares_where_nothing_speaks_against_them(use: int, share: float) -> None:
    # 80, 85, 90 % for first, second and later winds: common practice, no source.
    found = next_share(replace(MOTOR, use=use), HOOKS_M, [], [])
    assert (found.share, found.usual, found.instead) == (share, share, None)
    assert found.turns == pytest.approx(share * unwinding_of(MOTOR, HOOKS_M, 1.0)[1])
    # Turns go with strand stretch^1.5 (the ellipse of the turns law): the default rubber's own chance lies within.
    own = DEFAULT_RUBBER.break_risk(DEFAULT_RUBBER.break_stretch * share ** (2 / 3))
    assert found.risk.low <= own <= found.risk.high


def test_a_batch_that_breaks_early_is_wound_less() -> None:
    weak = [wind(0.88, i, broke=i % 2 == 0) for i in range(1, 13)]
    found = next_share(replace(MOTOR, use=3), HOOKS_M, [wind(0.85)], weak)
    assert found.share < found.usual
    assert found.risk.value <= MOST_RISK
    assert (found.winds, found.breaks, found.instead) == (12, 6, 0.85)


def test_a_wind_of_which_nobody_said_why_torque_went_tells_no_strength() -> None:
    """It was counted among those that held."""
    known = [wind(0.88, i, broke=i % 2 == 0) for i in range(1, 5)]
    unsaid = [replace(wind(0.95, i), outcome="gone") for i in range(5, 25)]
    motor = replace(MOTOR, use=3)
    assert next_share(motor, HOOKS_M, [], known + unsaid) == next_share(motor, HOOKS_M, [], known)


def test_survivors_make_it_surer() -> None:
    held = [wind(0.90, i) for i in range(1, 41)]
    alone = next_share(replace(MOTOR, use=3), HOOKS_M, [], [])
    assert next_share(replace(MOTOR, use=3), HOOKS_M, [], held).risk.high < alone.risk.high


def test_lost_torque_and_lost_turns_are_told() -> None:
    fresh = [wind(0.8, 1), wind(0.85, 2), wind(0.9, 3)]
    tired = [wind(0.9, i, torque=0.88, reached=0.9) for i in (4, 5)]
    wear = wear_of([*fresh, *tired], [], 5)
    # The torque is that at the same turns: the turns that are missing are not counted twice.
    assert wear.torque_lost == pytest.approx(0.12, abs=0.01)
    assert wear.turns_lost == pytest.approx(0.1, abs=0.01)
    assert len(wear.reasons) == 2


def simulated(tired: float = 1.0) -> list[Wind]:
    """Six winds of a simulated motor whose loop was measured once, when new. tired: torque of the last two."""
    figures, winds = MOTOR, []
    for use in range(1, 7):
        share = usual_share(use)
        turns = share * unwinding_of(figures, HOOKS_M, 1000.0)[1]
        motor = SimulatedMotor(replace(figures, share=None), hooks_m=HOOKS_M)
        for part in range(1, 51):
            motor.move(turns * part / 50, HOOKS_M, 2.0)
        torque_Nm = motor.torque_Nm * (tired if use > 4 else 1.0)
        winds.append(replace(wind(share, use), peak_turns=turns, target_turns=turns, peak_torque_Nm=torque_Nm))
        figures = motor.after_the_wind()
    return winds


def test_a_loop_that_grew_is_no_motor_that_wore_out() -> None:
    """A healthy motor was retired after five winds, "torque has fallen by 19 %": only its loop had grown."""
    wear = wear_of(simulated(), [], 6)
    assert wear.torque_lost is not None
    assert wear.torque_lost < 0.5 * TORQUE_LOST
    assert not wear.reasons
    assert "fallen" in wear_of(simulated(0.85), [], 6).reasons[0]


def test_a_loop_that_was_measured_anew_is_taken_as_it_is() -> None:
    figures = replace(MOTOR, loop_m=MOTOR.loop_m * (1.0 + grown(5)))
    old = [wind(0.9, use) for use in (1, 2, 3, 4)]
    torque = unwinding_of(replace(figures, use=5), HOOKS_M, 1000.0)[0].values[-1]
    new = [
        replace(wind(0.9, use), loop_m=figures.loop_m, peak_turns=1000.0, target_turns=1000.0, peak_torque_Nm=torque)
        for use in (5, 6)
    ]
    wear = wear_of([*old, *new], [], 6)
    assert wear.torque_lost == pytest.approx(0.0, abs=0.03)


def test_too_few_winds_tell_nothing() -> None:
    wear = wear_of([wind(0.8, 1), wind(0.85, 2)], ["nice climb"], 2)
    assert (wear.torque_lost, wear.turns_lost, wear.hurt, wear.reasons) == (None, None, None, ())


def test_a_motor_as_fresh_as_at_first_is_kept() -> None:
    wear = wear_of([wind(0.9, i) for i in range(1, 7)], [], 6)
    assert wear.torque_lost == pytest.approx(0.0, abs=1e-9)
    assert not wear.reasons


@pytest.mark.parametrize("remark", ["a nick near the knot", "Torn at the hook", "two small CUTS"])
def test_a_remark_on_damage_is_a_reason(remark: str) -> None:
    wear = wear_of([], ["fine", remark], 1)
    assert wear.hurt == remark
    assert remark in wear.reasons[0]


def test_words_that_only_begin_alike_are_no_damage() -> None:
    assert wear_of([], ["a cutting wind outside, nicknamed Zip"], 1).hurt is None


def test_many_uses_are_a_reason() -> None:
    assert "12 times" in wear_of([], [], MANY_USES).reasons[0]


def test_winds_without_figures_are_passed_over() -> None:
    bare = [replace(wind(0.9, i), peak_torque_Nm=None) for i in range(1, 7)]
    assert wear_of(bare, [], 6).torque_lost is None
    impossible = [replace(wind(0.9, i), orings_kg=1.0) for i in range(1, 7)]
    assert wear_of(impossible, [], 6).torque_lost is None


def test_a_loop_grows_in_its_first_winds() -> None:
    # The permanent set of the simulated motor, wound by the usual shares, is the same.
    figures = MOTOR
    for use in (1, 2):
        motor = SimulatedMotor(replace(figures, share=None), hooks_m=HOOKS_M)
        breaks = unwinding_of(figures, HOOKS_M, 1000.0)[1]
        motor.move((0.80, 0.85)[use - 1] * breaks, HOOKS_M, 60.0)
        figures = motor.after_the_wind()
    assert figures.loop_m / MOTOR.loop_m - 1.0 == pytest.approx(grown(3), abs=0.004)
    assert grown(1) == 0.0
    assert grown(30) == grown(8) < DEFAULT_RUBBER.set_limit
