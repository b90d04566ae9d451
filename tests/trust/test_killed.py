"""A wind that is killed, or whose port vanishes, loses at most a second; 200 of them: `python -m tests.bench.kills`."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.trust.killing import WAYS, end_a_wind


@pytest.mark.parametrize(("way", "after_s"), [(WAYS[0], 0.9), (WAYS[1], 1.6), (WAYS[2], 0.4)])
def test_what_a_killed_wind_leaves(home: Path, way: str, after_s: float) -> None:
    home.mkdir(exist_ok=True)
    left = end_a_wind(home, 1, way=way, after_s=after_s)
    assert left.wrong == ()
    assert left.lost_s <= 1.0
    assert left.inputs > 3
