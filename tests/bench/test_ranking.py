"""The judge of scores: more of a fault is more harm, and none is none."""

from __future__ import annotations

import pytest

from tests.bench.ranking import agreement, even

SEED = 3_390_000


def test_even_hands_without_a_fault_do_no_harm() -> None:
    harm = even("none", 0.0, SEED).harm
    assert harm.whole == pytest.approx(0.0, abs=0.01)
    assert harm.risk == pytest.approx(harm.even, abs=0.005)
    assert harm.past == pytest.approx(1.0, abs=0.01)


@pytest.mark.parametrize(
    ("fault", "less", "more"),
    # A few per cent short loses as many turns as it saves breaks: no harm, so further.
    [("past", 0.02, 0.06), ("short", 0.10, 0.20), ("launch", 0.1, 0.3), ("strides", 0.2, 0.4)],
)
def test_more_of_a_fault_is_more_harm(fault: str, less: float, more: float) -> None:
    some, much = even(fault, less, SEED).harm.whole, even(fault, more, SEED).harm.whole
    assert 0.005 < some < much


def test_agreement_is_kendalls() -> None:
    rows = [{"score": 90.0, "harm": 0.0}, {"score": 50.0, "harm": 0.3}, {"score": 70.0, "harm": 0.4}]
    # Three pairs, of which one disagrees: (2 - 1) / 3.
    tau, count = agreement([*rows, {"score": None, "harm": 1.0}])
    assert tau == pytest.approx(1 / 3)
    assert count == 3
