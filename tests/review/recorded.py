"""The records of the recordings, each worked out once for all tests of a process."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from winding_coach.keeping.replaying import settings_of
from winding_coach.review.wind.record import WindRecord, record_of
from winding_coach.traces.files import read_trace

RECORDINGS = Path(__file__).parent.parent.parent / "recordings"
NAMES = ("good-wind", "stalled-crank", "overwound-until-it-broke", "meter-reset-and-unplugged")


@lru_cache
def recorded(name: str) -> WindRecord:
    """Return the record of a recording."""
    trace = read_trace(RECORDINGS / f"{name}.wind.jsonl.gz")
    return record_of(trace.path.name, trace.header, settings_of(trace), trace.inputs)
