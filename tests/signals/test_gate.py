"""The gate lets a signal through unchanged, two samples late, and takes out spikes of one or two samples."""

import pytest

from winding_coach.signals.gate import SampleGate


def through(values: list[float], threshold: float = 0.1) -> list[float]:
    gate = SampleGate(threshold)
    out = [gate.push(i * 0.0125, value) for i, value in enumerate(values)]
    assert [pair[0] for pair in out if pair] == [i * 0.0125 for i in range(2, len(values) - 2)]
    return [pair[1] for pair in out if pair]


def test_nothing_is_changed_below_the_threshold() -> None:
    values = [0.01 * i for i in range(30)]
    assert through(values) == values[2:-2]


@pytest.mark.parametrize("spike", [[3.0], [3.0, 3.0], [3.0, -3.0], [-0.5]])
def test_spikes_go(spike: list[float]) -> None:
    values = [1.0] * 10 + spike + [1.0] * 10
    assert through(values) == [1.0] * (len(values) - 4)


def test_a_step_stays_a_step() -> None:
    assert through([1.0] * 6 + [0.0] * 6) == [1.0] * 4 + [0.0] * 4


def test_reset_forgets() -> None:
    gate = SampleGate(0.1)
    for i in range(5):
        gate.push(i, 1.0)
    gate.reset()
    assert gate.push(9.0, 1.0) is None
