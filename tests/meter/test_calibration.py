"""Counts to torque and the calibration file: what it says comes back, and what it may not say has a sentence."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from winding_coach.meter.calibration import LONGEST_TEXT, SIMULATED, Calibration, CalibrationError
from winding_coach.meter.frames import RAW_MAX, RAW_MIN

FILE: dict[str, Any] = {
    "format": "winding-coach calibration",
    "version": 1,
    "id": "4b1c",
    "made": "2026-03-01T10:00:00+00:00",
    "meter": "lantern-1",
    "zero_counts": 84_200,
    "Nm_per_count": 1.37e-8,
    "Nm_per_count2": 0,
    "rating_Nm": 0.0294,
    "sd_Nm": 4e-5,
    "points": [{"Nm": 0.0, "counts": 84_200}, {"Nm": 0.002942, "counts": 298_950}],
    "remarks": "10 g an 30 mm, Zimmer 21 °C",
}
"""A file as its page describes it; the figures are invented."""


def changed(**changes: object) -> str:
    """The file's text with some keys changed; `...` takes the key out."""
    return json.dumps({key: value for key, value in (FILE | changes).items() if value is not ...})


def why(text: str) -> str:
    """The sentence with which a file is refused."""
    with pytest.raises(CalibrationError) as caught:
        Calibration.from_json(text)
    return str(caught.value)


numbers = st.floats(-1e9, 1e9)
calibrations = st.builds(
    Calibration,
    id=st.text(max_size=9),
    made=st.just("2026-03-01T10:00:00+00:00"),
    meter=st.text(max_size=9),
    zero_counts=st.floats(RAW_MIN, RAW_MAX),
    Nm_per_count=st.floats(1e-12, 1e-3) | st.floats(-1e-3, -1e-12),
    Nm_per_count2=st.floats(-1e-20, 1e-20),
    rating_Nm=st.none() | st.floats(1e-6, 1e3),
    sd_Nm=st.none() | st.floats(0.0, 1.0),
    points=st.lists(st.dictionaries(st.sampled_from(["Nm", "counts"]), numbers), max_size=3).map(tuple),
    remarks=st.just("") | st.just("zwei Läufe\n— °C"),
    more=st.dictionaries(st.sampled_from(["cell", "arm_m"]), numbers | st.none(), max_size=2),
)


class TestTorque:
    """torque = Nm_per_count·Δ + Nm_per_count2·Δ², Δ = raw − zero."""

    def test_ten_grams_on_an_arm_of_30_mm(self) -> None:
        """10 g × 9.80665 m/s² (standard gravity) × 30 mm = 2.942 mN·m, on a cell of 72,994 counts a mN·m."""
        torque = SIMULATED.torque_Nm(84_200 + 72_994 * 2.942)
        assert torque == pytest.approx(0.010 * 9.80665 * 0.030, rel=1e-4)

    def test_rating_of_the_simulated_cell(self) -> None:
        """100 g on 30 mm, by the same arithmetic: 29.4 mN·m."""
        assert SIMULATED.rating_Nm == pytest.approx(0.100 * 9.80665 * 0.030, rel=1e-3)
        assert SIMULATED.torque_Nm(SIMULATED.zero_counts) == 0.0

    def test_the_sign_of_the_slope_is_the_direction_of_the_cell(self) -> None:
        reverse = Calibration("", "", "", 1000.0, -2e-8)
        assert reverse.torque_Nm(0) == pytest.approx(2e-5)
        assert reverse.torque_Nm(2000) == pytest.approx(-2e-5)

    @pytest.mark.parametrize(
        ("load", "deflection"),
        [(150_000, 0.11019), (600_000, 0.43899), (2_550_000, 1.84646), (2_850_000, 2.06128), (3_000_000, 2.16844)],
    )
    def test_a_bent_line_of_a_real_load_cell(self, load: int, deflection: float) -> None:
        """NIST StRD, data set Pontius: rows of its data, its certified coefficients and residual deviation."""
        cell = Calibration("", "", "", 0.0, 7.32059160401003e-07, -3.16081871345029e-15)
        residual = deflection - 6.73565789473684e-04 - cell.torque_Nm(load)
        assert abs(residual) < 3 * 2.05177424076185e-04

    def test_a_tare_replaces_the_zero_and_nothing_else(self) -> None:
        assert SIMULATED.torque_Nm(100_000, 100_000) == 0.0
        assert SIMULATED.torque_Nm(172_994, 100_000) == pytest.approx(1e-3)
        assert SIMULATED.zero_counts == 84_200.0

    @given(calibrations, st.integers(RAW_MIN, RAW_MAX))
    def test_every_reading_has_a_finite_torque(self, calibration: Calibration, raw: int) -> None:
        assert math.isfinite(calibration.torque_Nm(raw))

    def test_overload_is_judged_from_the_calibrations_own_zero(self) -> None:
        past = 84_200 + 72_994 * 29.5
        assert SIMULATED.overloaded(past)
        assert SIMULATED.overloaded(84_200 - 72_994 * 29.5)
        assert not SIMULATED.overloaded(84_200 + 72_994 * 29.3)

    def test_without_a_rating_nothing_is_overload(self) -> None:
        assert not Calibration("", "", "", 0.0, 1.0).overloaded(RAW_MAX)


class TestFile:
    """The file, version 1."""

    def test_is_read_as_its_page_says(self) -> None:
        found = Calibration.from_json(json.dumps(FILE))
        assert (found.id, found.made, found.meter) == ("4b1c", "2026-03-01T10:00:00+00:00", "lantern-1")
        assert (found.zero_counts, found.Nm_per_count, found.Nm_per_count2) == (84_200.0, 1.37e-8, 0.0)
        assert (found.rating_Nm, found.sd_Nm) == (0.0294, 4e-5)
        assert found.points == tuple(FILE["points"])
        assert found.remarks == FILE["remarks"]
        assert found.more == {}

    def test_is_written_as_its_page_says(self) -> None:
        assert json.loads(Calibration.from_json(json.dumps(FILE)).to_json()) == FILE

    @given(calibrations)
    def test_comes_back_as_it_was(self, calibration: Calibration) -> None:
        assert Calibration.from_json(calibration.to_json()) == calibration

    def test_what_is_not_known_may_be_null_or_absent(self) -> None:
        spare = dict.fromkeys(("rating_Nm", "sd_Nm", "Nm_per_count2", "remarks", "points"), None)
        absent: dict[str, object] = dict.fromkeys(spare, ...)
        assert Calibration.from_json(changed(**spare)) == Calibration.from_json(changed(**absent))
        found = Calibration.from_json(changed(**spare))
        assert (found.rating_Nm, found.sd_Nm, found.Nm_per_count2) == (None, None, 0.0)
        assert (found.remarks, found.points) == ("", ())

    def test_unknown_keys_are_kept(self) -> None:
        found = Calibration.from_json(changed(colour="green", cell={"serial": [1, None]}))
        assert found.more == {"colour": "green", "cell": {"serial": [1, None]}}
        assert json.loads(found.to_json())["cell"] == {"serial": [1, None]}

    def test_a_calibration_can_be_looked_up(self) -> None:
        """It is a value: equal ones are one key, though its points are lists of whatever the file held."""
        assert len({Calibration.from_json(json.dumps(FILE)), Calibration.from_json(changed())}) == 1


class TestRefused:
    """Each reason has one sentence that says it."""

    @pytest.mark.parametrize(
        ("text", "sentence"),
        [
            ("", "It is not JSON."),
            ("{", "It is not JSON."),
            ("torque", "It is not JSON."),
            ("[" * 100_000, "It is not JSON."),
            ('{"a":' * 100_000, "It is not JSON."),
            ("9" * 5000, "It is not JSON."),
            ("[]", "It is not a JSON object."),
            ("3", "It is not a JSON object."),
            (" " * (LONGEST_TEXT + 1), "It is far larger than a calibration file."),
            ("{}", "It is no calibration file: 'format' is not \"winding-coach calibration\"."),
            (changed(format="trace"), "It is no calibration file: 'format' is not \"winding-coach calibration\"."),
            (changed(version=2), "Its version is 2; this program reads version 1."),
            (changed(version=...), "Its version is None; this program reads version 1."),
            (changed(version="9" * 90), "Its version is '9999999999999999999; this program reads version 1."),
            (changed(Nm_per_count=...), "Its Nm_per_count is missing."),
            (changed(Nm_per_count=None), "Its Nm_per_count is missing."),
            (changed(zero_counts=...), "Its zero_counts is missing."),
            (changed(Nm_per_count=0), "Its Nm_per_count is zero: every torque would read as nothing."),
            (changed(rating_Nm=0), "Its rating_Nm is not above zero, or its sd_Nm is below."),
            (changed(rating_Nm=-0.03), "Its rating_Nm is not above zero, or its sd_Nm is below."),
            (changed(sd_Nm=-1e-9), "Its rating_Nm is not above zero, or its sd_Nm is below."),
            (changed(zero_counts=RAW_MAX + 1), "Its zero_counts is outside of the meter's range."),
            (changed(zero_counts=-1e299), "Its zero_counts is outside of the meter's range."),
            (
                changed(Nm_per_count2=-1.37e-8 / 2 / 2**23),
                "Its Nm_per_count2 bends the line back within the meter's range: calibrate again.",
            ),
            (changed(id=7), "Its id is not text."),
            (changed(made=["2026"]), "Its made is not text."),
            (changed(meter=True), "Its meter is not text."),
            (changed(remarks={}), "Its remarks is not text."),
            (changed(cell=float("nan")), "It holds something that no JSON file can hold, such as NaN."),
            (changed(points=[float("inf")]), "It holds something that no JSON file can hold, such as NaN."),
            (changed(remarks="\ud800"), "It holds something that no JSON file can hold, such as NaN."),
        ],
    )
    def test_says_why(self, text: str, sentence: str) -> None:
        assert why(text) == sentence

    @pytest.mark.parametrize("key", ["zero_counts", "Nm_per_count", "Nm_per_count2", "rating_Nm", "sd_Nm"])
    @pytest.mark.parametrize(
        "value", ["NaN", "Infinity", "-Infinity", "1e308", "1e999", "1" + "0" * 400, '"1"', "true", "[1]"]
    )
    def test_no_figure_that_is_none(self, key: str, value: str) -> None:
        assert why(changed(**{key: "HERE"}).replace('"HERE"', value)) == f"Its {key} is not a number."

    def test_a_slight_bend_is_no_fault(self) -> None:
        assert Calibration.from_json(changed(Nm_per_count2=1e-18)).Nm_per_count2 == 1e-18

    @given(
        st.recursive(
            st.none() | st.booleans() | st.floats() | st.text(),
            lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
        ),
        st.sampled_from(sorted(FILE)),
    )
    def test_any_value_anywhere_is_read_or_refused(self, value: object, key: str) -> None:
        try:
            found = Calibration.from_json(changed(**{key: value}))
        except CalibrationError as error:
            sentence = str(error)
        else:
            sentence = "It is read."
            assert Calibration.from_json(found.to_json()) == found
        assert sentence.startswith("It")
        assert "\n" not in sentence
