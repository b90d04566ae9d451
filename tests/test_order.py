"""The order of the suite names files that there are, each once."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from tests import order

TOP = Path(__file__).parent.parent


def test_every_file_that_is_named_is_there() -> None:
    waiting = [name for files in order.WAITING for name in files]
    assert len(set(waiting)) == len(waiting)
    for name in (*waiting, *order.LONG, *order.TOGETHER, *order.UNTRACED, *order.SAMPLED):
        assert (TOP / name).exists(), name


def test_who_waits_has_a_worker_and_who_shares_winds_goes_together() -> None:
    first = order.WAITING[0][0]
    assert order.worker_of(first) == "waits-0"
    assert not order.traced(first)
    assert order.worker_of("tests/coach/test_winds.py") == "tests/coach/test_winds.py"
    assert order.worker_of("tests/meter/test_clock.py") is None
    assert order.traced("tests/meter/test_clock.py")
    assert order.traced("tests/coach/test_untrue.py")
    assert not order.traced("tests/coach/test_untrue.py", first=False)
    assert order.place_of("tests/firmware/test_avr.py") < order.place_of("tests/meter/test_clock.py")


@pytest.mark.no_cover
def test_nothing_is_measured_where_it_is_not_to_be() -> None:
    """In the workers of a distributed run it was all the same: pytest-cov had begun twice and paused once."""
    assert sys.gettrace() is None
