"""The online and the offline path agree to 1e-9, on every kind of stream, with gaps, new clocks and rubbish in it."""

import numpy as np
import pytest

from tests.signals.streams import FULL_SCALE_NM, Make, Stream, stream
from tests.support.offline import Floats, analyse
from winding_coach.signals.estimator import Estimator


def online(t: Floats, y: Floats, count: Floats | None, lines_per_s: float) -> tuple[list[int], Floats]:
    """Readings of the online path at the lines that completed a tick."""
    estimator = Estimator(FULL_SCALE_NM, lines_per_s)
    at: list[int] = []
    rows = []
    before: tuple[float | None, ...] = ()
    for i in range(len(t)):
        estimator.add(float(t[i]), float(y[i]), None if count is None else float(count[i]))
        reading = estimator.reading
        if reading is None:
            continue
        row = (
            estimator.smoothed_Nm,
            reading.rate_fast_Nm_per_s,
            reading.rate_fast_sd_Nm_per_s,
            reading.rate_slow_Nm_per_s,
        )
        if row != before:
            at.append(i)
            rows.append([np.nan if value is None else value for value in row])
            before = row
    return at, np.array(rows, dtype=np.float64)


def agree(t: Floats, y: Floats, count: Floats | None, lines_per_s: float) -> int:
    record = analyse(t, y, FULL_SCALE_NM, count, lines_per_s)
    at, rows = online(t, y, count, lines_per_s)
    # Of two ticks that one line completed, only the second is seen online
    seen = np.append(record.sample[1:] != record.sample[:-1], True)
    assert record.sample[seen].tolist() == at
    columns = (
        record.torque_Nm,
        record.rate_fast_Nm_per_s,
        record.rate_fast_sd_Nm_per_s,
        record.rate_slow_Nm_per_s,
    )
    for column, name in enumerate(("torque", "fast", "sd", "slow")):
        offline = columns[column][seen]
        assert np.isnan(offline).tolist() == np.isnan(rows[:, column]).tolist(), name
        scale = FULL_SCALE_NM
        assert np.nanmax(np.abs(offline - rows[:, column])) < 1e-9 * scale, name
    return len(at)


def cut(wind: Stream, seconds: float) -> tuple[Floats, Floats, Floats]:
    keep = wind.t_s < seconds
    assert wind.crank_count is not None
    return wind.t_s[keep], wind.torque_Nm[keep], wind.crank_count[keep].astype(np.float64)


@pytest.mark.parametrize("lines_per_s", [10.0, 80.0, 320.0])
@pytest.mark.parametrize("pulses", [True, False])
def test_agree(lines_per_s: float, pulses: bool) -> None:
    make = Make(stalls_per_minute=3.0, lost_pulses=0.02, double_pulses=0.01)
    t, y, count = cut(stream(11, lines_per_s, make), 45.0)
    assert agree(t, y, count if pulses else None, lines_per_s) > 400


@pytest.mark.parametrize("pulses", [True, False])
def test_agree_through_gaps_new_clocks_and_rubbish(pulses: bool) -> None:
    t, y, count = cut(stream(12), 60.0)
    keep = ~(((t > 10) & (t < 10.3)) | ((t > 20) & (t < 23)) | ((t > 33) & (t < 33.6)) | ((t > 23.1) & (t < 23.8)))
    t, y, count = t[keep], y[keep], count[keep]
    t[t > 40] -= 39.0  # the meter starts anew
    t[200] = t[199]
    t[300] = t[299] - 0.5
    y[400] = np.nan
    y[500:502] += 0.02
    assert agree(t + 1.7e9, y, count if pulses else None, 80.0) > 700


def test_agree_when_the_meter_told_a_wrong_rate() -> None:
    t, y, count = cut(stream(13, 10.0), 40.0)
    assert agree(t, y, count, 80.0) > 300


def test_agree_without_torque_or_ripple() -> None:
    t = np.arange(1600) / 80.0
    assert agree(t, np.full(1600, 0.006) + 1e-6 * t, None, 80.0) > 300
    nothing = analyse(t, np.zeros(1600), FULL_SCALE_NM)
    assert set(nothing.torque_Nm) == {0.0}
    assert set(nothing.rate_slow_Nm_per_s[60:]) == {0.0}


@pytest.mark.parametrize("n", [0, 1, 4, 5, 6, 9, 40])
def test_short_records(n: int) -> None:
    t = np.arange(n) / 80.0
    record = analyse(t, np.full(n, 0.004), FULL_SCALE_NM)
    assert record.torque_Nm == pytest.approx(np.full(len(record.t_s), 0.004))
    assert len(record.t_s) == (8 if n == 40 else 0)


def test_bins_fewer_lines_than_ticks_can_fill() -> None:
    t = np.arange(60) / 4.0
    assert agree(t, 0.004 + 1e-5 * t, None, 4.0) > 20


def test_lengths_must_match() -> None:
    with pytest.raises(ValueError, match="same length"):
        analyse(np.zeros(3), np.zeros(2), 1.0)
