"""No figure of the live path, and none that is printed, is no number."""

from __future__ import annotations

import math
from dataclasses import fields, is_dataclass
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.scenario import SETTINGS
from winding_coach.base.inputs import KEYS, BytesArrived, Input, KeyPressed, LinkDown, LinkUp, TimePassed
from winding_coach.base.units import Kind, show
from winding_coach.coach.step import Coach
from winding_coach.meter.frames import Sample, encode_sample


def numbers(value: Any) -> list[float]:
    """All floats inside a value."""
    if isinstance(value, float):
        return [value]
    if is_dataclass(value) and not isinstance(value, type):
        return [n for field in fields(value) for n in numbers(getattr(value, field.name))]
    if isinstance(value, (tuple, list)):
        return [n for one in value for n in numbers(one)]
    return []


SAMPLES = st.builds(
    Sample,
    st.integers(0, 2**16 - 1),
    st.integers(0, 2**32 - 1),
    st.none() | st.integers(-(2**23), 2**23 - 1) | st.integers(84_000, 700_000),
    st.integers(0, 31),
    st.none() | st.integers(0, 2**16 - 1),
    st.none() | st.integers(-(2**31), 2**31 - 1) | st.integers(0, 9000),
)


STEPS = st.one_of(
    st.tuples(st.just("lines"), st.lists(SAMPLES, max_size=5)),
    st.tuples(st.just("run"), st.integers(84_000, 700_000), st.integers(0, 9000), st.integers(0, 60)),
    st.tuples(st.just("key"), st.sampled_from(KEYS[:-1])),
    st.tuples(st.sampled_from(["down", "up", "time"])),
)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(STEPS, max_size=25))
def test_no_figure_of_the_live_path_is_nan_or_infinite(steps: list[tuple[Any, ...]]) -> None:
    coach = Coach(SETTINGS)
    coach.step(LinkUp(0.0, "p"))
    at_s, seq, crank = 0.0, 0, 0
    for kind, *what in steps:
        at_s = round(at_s + 0.25, 6)
        if kind == "lines":
            coach.step(BytesArrived(at_s, b"".join(encode_sample(sample) for sample in what[0])))
        elif kind == "run":
            raw, distance_mm, turns = what
            for n in range(40):
                seq += 1
                crank += turns * n // 40 - turns * (n - 1) // 40 if n else 0
                sample = Sample(seq % 65536, round((at_s + n / 80) * 1e6), raw + n % 5, 0, crank % 65536, distance_mm)
                coach.step(BytesArrived(round(at_s + n / 80, 6), encode_sample(sample)))
            at_s = round(at_s + 0.5, 6)
        elif kind == "key":
            coach.step(KeyPressed(at_s, what[0]))
        else:
            events: dict[str, Input] = {
                "down": LinkDown(at_s, "pulled"),
                "up": LinkUp(at_s, "p"),
                "time": TimePassed(at_s),
            }
            coach.step(events[kind])
        bad = [n for n in numbers(coach.view) + numbers(coach.said) if not math.isfinite(n)]
        assert bad == []


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_nothing_that_prints_lets_a_figure_through_that_is_none(value: float) -> None:
    kinds: tuple[Kind, ...] = ("torque", "length", "mass")
    for kind in kinds:
        shown = show(value, kind, "metric")
        assert "nan" not in shown
        assert "inf" not in shown
