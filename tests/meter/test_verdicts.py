"""Each planted defect is named, with status 1; good meters are not accused."""

from __future__ import annotations

import re

import pytest

from tests.meter.defects import DEFECTS, GOOD, Defect
from tests.meter.spoilt_sets import GOOD_BENCHES, LONG_G, SETS, SHORT_G, SpoiltSet
from winding_coach.meter.calibrating import Calibrated, Point, calibrate
from winding_coach.meter.calibration import SIMULATED, CalibrationError
from winding_coach.meter.checking import MeterCheck, check_meter
from winding_coach.meter.reader import MeterReader, TorqueSample

NOT_YET = frozenset(
    {
        "drift of 13 % of launch torque a minute",
        "the same drift in five seconds",
        "spikes on 2 % of the lines",
        "bit 4 always set",
        "bit 3 always clear",
        "bit 5 always set",
        "every value eight times",
        "every value twice",
        "nothing but settling lines",
        "frozen from the start",
        "frozen after six of ten seconds",
        "hum of 50 Hz, 39 times the converter's noise",
        "hum of 50 Hz, six times the noise",
        "hum of 60 Hz",
        "hum of 50 Hz at ten lines a second",
        "something shakes at 7 Hz",
        "wide scatter",
        "at the end of the range",
        "past the rating",
        "the converter is not connected",
        "one line in ten without a reading",
        "data line held low: 783 lines a second of 0",
        "a restart",
        "2 % of the lines lost",
        "2 % of the lines damaged",
        "jumper at 10, hello says 80",
        "no hello",
        "one hello in twenty seconds",
        "another speed of the port",
        "carriage return alone",
        "t_us in milliseconds",
        "a clock 10 % fast",
        "a clock that wraps at 2^30",
        "stamps up to 9 ms late",
        "ch=c and no c=",
        "zero at four fifths of the range",
        "the zero jumps by 0.3 mN·m",
        "a loose contact",
        "0.9 s without a line",
        "50 g is 2 % heavier",
        "20 g is 2 % heavier",
        "10 g is 2 % lighter",
        "70 g is 2 % heavier",
        "20 g is 2 % lighter among five",
        "10 and 20 g are swapped",
        "20 g is hung on the other side once",
        "saturated on both sides",
        "saturated on the right",
        "the stop touches beyond 12 mN·m",
        "both stops touch beyond 12 mN·m",
        "the left stop touches under the largest",
        "the zero drifts by 0.3 mN·m",
        "the zero drifts by 0.1 mN·m",
        "the zero jumps in mid-way",
        "10 g left hanging at the end",
        "10 g left hanging between the sides",
        "a load that was not changed",
        "the cell creeps",
    }
)

SEEDS = range(1_000_001, 1_000_004)


def checked(chunks: list[tuple[float, bytes]], seconds: float) -> MeterCheck:
    """What the check finds in bytes that came at these times."""
    reader = MeterReader(SIMULATED)
    samples: list[TorqueSample] = []
    for _, data in chunks:
        samples += reader.feed(data)
    return check_meter(reader, samples, sum(len(data) for _, data in chunks), seconds)


def fit(found: MeterCheck) -> bool:
    """Whether the command would end with status 0."""
    return found.samples > 0


def cases() -> list[object]:
    return [
        pytest.param(defect, id=defect.name, marks=[pytest.mark.xfail(strict=True)] if defect.name in NOT_YET else [])
        for defect in DEFECTS
    ]


@pytest.mark.parametrize("defect", cases())
def test_a_defect_is_named_with_status_one(defect: Defect) -> None:
    for seed in SEEDS:
        found = checked(defect.chunks(seed), defect.stream.seconds)
        assert any(re.search(defect.says, words) for words in found.verdict), found.verdict
        assert not fit(found)


@pytest.mark.parametrize("name", GOOD)
def test_a_good_meter_is_not_accused(name: str) -> None:
    for seed in SEEDS:
        found = checked(GOOD[name].chunks(seed), GOOD[name].seconds)
        assert found.verdict == ("It is fit for use.",), seed
        assert fit(found)


def calibrated(points: list[Point]) -> Calibrated:
    """What the calibration of these points finds."""
    return calibrate(
        points, name="x", made="2026-03-01T14:00:00+01:00", expires="2027-03-01", id="x", rating_Nm=29.4e-3
    )


def said_of(points: list[Point]) -> tuple[str, ...]:
    """The faults that end the command with status 1, the first one first."""
    try:
        return calibrated(points).faults
    except CalibrationError as error:
        return (str(error),)


def set_cases() -> list[object]:
    return [
        pytest.param(spoilt, id=spoilt.name, marks=[pytest.mark.xfail(strict=True)] if spoilt.name in NOT_YET else [])
        for spoilt in SETS
    ]


@pytest.mark.parametrize("spoilt", set_cases())
def test_what_spoils_a_calibration_is_named_first(spoilt: SpoiltSet) -> None:
    for seed in SEEDS:
        faults = said_of(spoilt.bench.points(spoilt.masses_g, seed))
        assert faults
        assert re.search(spoilt.says, faults[0]), faults


@pytest.mark.parametrize("masses_g", [SHORT_G, LONG_G], ids=["short", "long"])
@pytest.mark.parametrize("name", GOOD_BENCHES)
def test_a_good_calibration_is_not_accused(name: str, masses_g: tuple[int, ...]) -> None:
    for seed in SEEDS:
        assert calibrated(GOOD_BENCHES[name].points(masses_g, seed)).faults == ()
