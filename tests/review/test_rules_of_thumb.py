"""The rules of thumb: common practice, no source."""

import pytest

from tests.review.test_next_motor import practised
from tests.scenario import MOTOR, WINDER
from winding_coach.review.advice.flown import Flown
from winding_coach.review.advice.rules_of_thumb import rule_for
from winding_coach.rubber.figures import ModelFigures
from winding_coach.rubber.plan import make_plan


def flown(left: float | None, off: float | None = 0.05, *, ceiling: bool | None = None, weighed: bool = True) -> Flown:
    from dataclasses import replace

    one = practised(0.0)
    return replace(
        one,
        model_kg=4e-3 if weighed else None,
        peak_turns=2000.0,
        launch_turns=None if off is None else 2000.0 * (1.0 - off),
        turns_left=None if left is None else left * 2000.0 * (1.0 - (off or 0.0)),
        ceiling=ceiling,
    )


@pytest.mark.parametrize(
    ("left", "off", "ceiling", "kind", "shorter_or_thinner"),
    [
        (0.34, 0.05, None, "length", True),
        (0.18, 0.05, None, "length", True),
        (0.34, 0.005, None, "density", False),
        (0.34, 0.025, None, "density", False),
        (0.34, 0.025, True, "length", True),
        (0.34, 0.005, True, "length", True),
        (0.09, 0.05, None, "same", False),
        (0.02, 0.05, None, "length", False),
        (0.02, 0.20, None, "density", True),
        (0.02, 0.05, True, "density", True),
    ],
)
def test_many_left_shorter_or_denser_few_left_longer_or_thinner(
    left: float, off: float, ceiling: bool | None, kind: str, shorter_or_thinner: bool
) -> None:
    rule = rule_for(flown(left, off, ceiling=ceiling))
    assert rule is not None
    assert (rule.kind, rule.factor < 1.0) == (kind, shorter_or_thinner)
    assert f"{left:.0%}" in rule.why


def test_who_backs_off_as_the_plan_does_by_itself_has_no_torque_to_spare() -> None:
    """A weak motor's owner was told to cut it shorter: the plan's own back-off counted as torque to spare."""
    plan = make_plan(MOTOR, WINDER, ModelFigures(hooks_m=0.22))
    own = plan.back_off_turns / plan.target_turns
    for turn in (-0.5, 0.0, 0.5):
        rule = rule_for(flown(0.34, own + turn * WINDER.ratio / plan.target_turns))
        assert rule is not None
        assert (rule.kind, rule.factor > 1.0) == ("density", True)
        assert "too weak" in rule.why
    spared = rule_for(flown(0.34, 2.0 * own))
    assert spared is not None
    assert spared.kind == "length"


def test_forty_of_117_is_a_great_many() -> None:
    # Common practice, no source.
    rule = rule_for(flown(40 / 117))
    assert rule is not None
    assert (rule.kind, rule.factor) == ("length", 0.90)
    assert "a great many" in rule.why
    assert "ballast" in rule.why


def test_what_lighter_rubber_gains_goes_with_power_to_stay_up() -> None:
    # Momentum theory: power goes with mass^1.5. A tenth of 3.2 g off 7.3 g.
    rule = rule_for(flown(0.34))
    assert rule is not None
    assert rule.gain == pytest.approx((1.0 - 0.32 / 7.3) ** -1.5 - 1.0)
    unweighed = rule_for(flown(0.34, weighed=False))
    assert unweighed is not None
    assert unweighed.gain is None


def test_without_turns_left_there_is_no_rule() -> None:
    assert rule_for(flown(None)) is None
    assert rule_for(flown(0.3, None)) is None
