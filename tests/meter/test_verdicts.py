"""Each planted defect is named, with status 1; good meters are not accused."""

from __future__ import annotations

import re
import runpy
from pathlib import Path

import pytest

from tests.meter.defects import DEFECTS, GOOD, Defect, Stream
from tests.meter.spoilt_sets import GOOD_BENCHES, LONG_G, SETS, SHORT_G, Bench, SpoiltSet
from winding_coach.meter.calibration import SIMULATED, CalibrationError
from winding_coach.meter.commissioning.calibrating import Calibrated, Point, calibrate
from winding_coach.meter.commissioning.checking import Arrivals, MeterCheck, check_meter
from winding_coach.meter.frames import Hello
from winding_coach.meter.reader import MeterReader, TorqueSample

SEEDS = range(1_000_001, 1_000_004)


def checked(chunks: list[tuple[float, bytes]], seconds: float) -> MeterCheck:
    """What the check finds in bytes that came at these times."""
    reader = MeterReader(SIMULATED)
    samples: list[TorqueSample] = []
    arrivals = Arrivals()
    for at_s, data in chunks:
        found = reader.feed(data)
        arrivals.take(at_s, data, found, reader.hello)
        samples += found
    return check_meter(reader, samples, sum(len(data) for _, data in chunks), seconds, arrivals=arrivals)


def fit(found: MeterCheck) -> bool:
    """Whether the command would end with status 0."""
    return found.passed


@pytest.mark.parametrize("defect", DEFECTS, ids=lambda defect: defect.name)
def test_a_defect_is_named_with_status_one(defect: Defect) -> None:
    for seed in SEEDS:
        found = checked(defect.chunks(seed), defect.stream.seconds)
        assert any(re.search(defect.says, words) for words in found.verdict), found.verdict
        assert not fit(found)


@pytest.mark.parametrize("name", GOOD)
def test_a_good_meter_is_not_accused(name: str) -> None:
    for seed in SEEDS:
        found = checked(GOOD[name].chunks(seed), GOOD[name].seconds)
        assert found.verdict == ("Meter OK.",), seed
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


@pytest.mark.parametrize("spoilt", SETS, ids=lambda spoilt: spoilt.name)
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


def test_the_page_of_verdicts_says_what_is_said() -> None:
    docs = Path(__file__).parents[2] / "docs"
    made = runpy.run_path(str(docs / "made_by" / "meter_verdicts.py"))
    page = (docs / "evidence" / "meter-verdicts.md").read_text(encoding="utf-8")
    assert made["filled"](page) == page, "run: python docs/made_by/meter_verdicts.py"
    assert len(DEFECTS) + len(SETS) > 60


def test_noise_is_judged_by_the_launch_torque_where_the_converter_is_not_named() -> None:
    """A meter of 2,400 counts of noise, 0.9 % of a launch torque, was fit for use if its hello had no `adc=`."""
    plain = Hello(1, (("board", "mine"), ("rate", "80"), ("ch", "c"), ("rst", "por")))
    for seed in SEEDS:
        found = checked(Stream(noise=2400.0, hello=plain).chunks(seed), 10.0)
        assert any(re.search(r"scatter by (0\.[89]|1\.0)% of a launch torque", words) for words in found.verdict), (
            found.verdict
        )
        assert not fit(found)
        assert fit(checked(Stream(noise=500.0, hello=plain).chunks(seed), 10.0))


@pytest.mark.parametrize("side", [-1, 0, 1], ids=["left", "both", "right"])
def test_a_stop_under_the_largest_of_three_loads_is_named(side: int) -> None:
    """`meter emulate --weights --fault stop` with the usual weights: 50 g, light on both sides, was a wrong mass."""
    low, high = (-12e-3 if side < 1 else -1.0), (12e-3 if side > -1 else 1.0)
    for seed in SEEDS:
        faults = said_of(Bench(reads=lambda m: min(max(m, low), high)).points(SHORT_G, seed))
        assert "touches a stop" in faults[0]
    lighter = Bench(hung=lambda i, g, s: 0.98 * g if g == 20 else g)
    assert "stop" not in said_of(lighter.points(SHORT_G, SEEDS[0]))[0]
