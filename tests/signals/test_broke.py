"""Breaks are seen in three samples at 80 lines a second; unwinding, step-ins, spikes and duplicates are not breaks."""

import pytest

from winding_coach.signals.broke import BreakDetector

SCALE = 0.013


def run(torques: list[float], lines_per_s: float = 80.0, detector: BreakDetector | None = None) -> list[int]:
    """Indices at which a break was told; torques as shares of full scale."""
    detector = detector or BreakDetector(SCALE, lines_per_s)
    return [i for i, share in enumerate(torques) if detector.add(i / lines_per_s, share * SCALE)]


@pytest.mark.parametrize(("lines_per_s", "delay"), [(10.0, 2), (80.0, 2), (320.0, 3)])
def test_a_break_is_told_once(lines_per_s: float, delay: int) -> None:
    steady = int(lines_per_s)
    assert run([0.9] * steady + [0.0] * steady, lines_per_s) == [steady + delay]


def test_the_rate_may_be_told_later() -> None:
    detector = BreakDetector(SCALE)
    detector.set_rate(320.0)
    assert run([0.9] * 320 + [0.0] * 320, 320.0, detector) == [323]


def test_not_armed_below_a_seventh_of_full_scale() -> None:
    assert run([0.12] * 80 + [0.0] * 80) == []


@pytest.mark.parametrize(
    "after",
    [
        [0.4] * 80,  # a big step towards the model
        [0.0] + [0.9] * 80,  # a spike
        [0.0, 0.0] + [0.9] * 80,  # of two samples
        [0.9 - 0.9 * i / 160 for i in range(160)],  # unwound in two seconds
    ],
)
def test_not_a_break(after: list[float]) -> None:
    assert run([0.9] * 80 + after) == []


def test_again_only_when_there_is_torque_again() -> None:
    assert run([0.9] * 80 + [0.0] * 400 + [0.9] * 80 + [0.0] * 80) == [82, 562]


def test_a_break_inside_a_gap() -> None:
    detector = BreakDetector(SCALE)
    run([0.9] * 80, detector=detector)
    assert [detector.add(4.0 + i / 80, 0.0) for i in range(3)] == [False, False, True]


def test_stamps_that_do_not_advance_are_skipped() -> None:
    detector = BreakDetector(SCALE)
    run([0.9] * 80, detector=detector)
    assert not any(detector.add(79 / 80, 0.0) for _ in range(10))


def test_reset() -> None:
    detector = BreakDetector(SCALE)
    run([0.9] * 80, detector=detector)
    detector.reset()
    assert not any(detector.add(i / 80, 0.0) for i in range(10))
