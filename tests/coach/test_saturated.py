"""Found by the firmware's chain: a moment at the end of the range was taken for torque, and for a break."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import pytest

from tests.scenario import coached, wind
from winding_coach.base.inputs import BytesArrived, Input
from winding_coach.meter.frames import OVERLOAD, RAW_MAX, SATURATED, FrameParser, Sample, encode


def saturated_between(begin_s: float, end_s: float) -> Iterator[Input]:
    """A good wind whose readings are at the end of the range for a while."""
    parser = FrameParser()
    for event in wind("good", 3):
        if not isinstance(event, BytesArrived):
            yield event
            continue
        lines = []
        for frame in parser.feed(event.data):
            if isinstance(frame, Sample) and begin_s <= event.at_s < end_s:
                frame = replace(frame, raw=RAW_MAX, flags=SATURATED | OVERLOAD)
            lines.append(encode(frame))
        yield replace(event, data=b"".join(lines))


@pytest.mark.no_cover
def test_a_moment_of_saturation_is_said_and_is_no_break() -> None:
    coach, said = coached(saturated_between(52.0, 52.5))
    alarms = {row["code"] for row in (one.as_json() for one in said) if row["event"] == "alarm" and row["active"]}
    assert "meter_saturated" in alarms
    assert "motor_broke" not in alarms
    summary, without = coach.summary, coached(wind("good", 3))[0].summary
    assert summary is not None
    assert without is not None
    assert summary.outcome == "done"
    # Full scale would be 114 mN·m.
    assert summary.peak_torque_Nm == without.peak_torque_Nm
