"""Quantities at the edges: published decimals, what may be typed, and what is shown read again."""

from __future__ import annotations

import math
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from winding_coach.base.inputs import KEYS, BytesArrived, Ended, KeyPressed, LinkDown, LinkUp, TimePassed
from winding_coach.base.units import (
    GF_CM_NM,
    INCH_M,
    OUNCE_KG,
    OZF_IN_NM,
    OZF_N,
    PRINTED,
    SHOWN,
    UNITS,
    Kind,
    QuantityError,
    UnitSystem,
    counted,
    example,
    listed,
    parse_quantity,
    show,
    show_energy,
    show_pull,
    shown_number,
    unit_label,
)

KINDS: tuple[Kind, ...] = get_args(Kind)
SYSTEMS: tuple[UnitSystem, ...] = get_args(UnitSystem)
TYPED = [(kind, unit) for kind in KINDS for unit in UNITS[kind]]
kinds = st.sampled_from(KINDS)
systems = st.sampled_from(SYSTEMS)


def value(text: str, kind: Kind, system: UnitSystem = "metric") -> float:
    """The SI value of a typed quantity."""
    return parse_quantity(text, kind, system)


class TestPublished:
    """NIST SP 811 (2008), appendix B: factors in its rounding, and the exact values of which they are rounded, from
    the international pound and inch and standard gravity."""

    @pytest.mark.parametrize(
        ("found", "exact", "rounded"),
        [
            (INCH_M, 0.0254, "2.54E-02"),
            (OUNCE_KG, 0.028349523125, "2.834952E-02"),
            (OZF_N, 0.27801385095378125, "2.780139E-01"),
            (OZF_IN_NM, 0.00706155181422604375, "7.061552E-03"),
            (UNITS["torque"]["lbf.in"], 0.1129848290276167, "1.129848E-01"),
            (GF_CM_NM, 0.0000980665, "9.80665E-05"),
        ],
    )
    def test_factors(self, found: float, exact: float, rounded: str) -> None:
        assert found == pytest.approx(exact, rel=4e-16)
        digits = len(rounded.partition("E")[0]) - 2
        assert f"{found:.{digits}E}" == rounded

    def test_a_gram_an_inch(self) -> None:
        """1 g/in is 1e-3/0.0254 kg/m, exactly: 0.0393701 in six digits."""
        assert value("1 g/in", "linear density") == pytest.approx(0.0393701, abs=5e-8)

    @pytest.mark.parametrize(
        ("text", "kind", "si"),
        [
            ("43 cm", "length", 0.43),
            ("14in", "length", 0.3556),
            ("1 ft", "length", 0.3048),
            ("2.4g", "mass", 2.4e-3),
            ("1 oz", "mass", 0.028349523125),
            ("3.15 g/m", "linear density", 3.15e-3),
            ("0.055 g/in", "linear density", 0.055 * 0.0393700787),
            ("0.9 ozf.in", "torque", 0.9 * 7.0615518e-3),
            ("6.4 mN.m", "torque", 6.4e-3),
            ("65.26 gf.cm", "torque", 6.39982e-3),
        ],
    )
    def test_typed(self, text: str, kind: Kind, si: float) -> None:
        assert value(text, kind) == pytest.approx(si, rel=1e-6)


class TestTyped:
    """What a person may type."""

    @pytest.mark.parametrize(
        ("text", "kind", "unit"),
        [
            ('1"', "length", "in"),
            ("1 inch", "length", "in"),
            ("1'", "length", "ft"),
            ("1 oz.in", "torque", "ozf.in"),
            ("1 in.oz", "torque", "ozf.in"),
            ("1 ozf·in", "torque", "ozf.in"),
            ("1 oz-in", "torque", "ozf.in"),
            ("1 ozf*in", "torque", "ozf.in"),
            ("1mNm", "torque", "mN.m"),
            ("1 mN·m", "torque", "mN.m"),
            ("1 Nm", "torque", "N.m"),
        ],
    )
    def test_other_spellings(self, text: str, kind: Kind, unit: str) -> None:
        assert value(text, kind) == UNITS[kind][unit]

    @pytest.mark.parametrize(("kind", "unit"), TYPED)
    @pytest.mark.parametrize("form", ["1 {}", "1{}", "  1   {} ", "1.0 {}", "1. {}", "+1 {}", "1e0 {}", "10e-1{}"])
    def test_any_unit_of_its_kind(self, form: str, kind: Kind, unit: str) -> None:
        assert value(form.format(unit), kind) == pytest.approx(UNITS[kind][unit])

    def test_below_one_and_below_nothing(self) -> None:
        assert value(".5 m", "length") == 0.5
        assert value("-2 mN.m", "torque") == pytest.approx(-2e-3)

    @pytest.mark.parametrize("kind", KINDS)
    def test_without_a_unit_the_systems_own_is_taken(self, kind: Kind) -> None:
        for system in SYSTEMS:
            assert value("1", kind, system) == UNITS[kind][SHOWN[system][kind][0]]

    @given(kinds, systems)
    def test_each_example_is_one(self, kind: Kind, system: UnitSystem) -> None:
        assert value(example(kind, system), kind, system) > 0
        assert example(kind, system).endswith(SHOWN[system][kind][0])


class TestRefused:
    """What is none has one sentence that says what to type."""

    @pytest.mark.parametrize(
        "text",
        [
            *(
                "",
                " ",
                "cm",
                "forty cm",
                "4,3,2 cm",
                "1/2 in",
                "1 2 cm",
                "nan",
                "inf cm",
                "1e400 cm",
                "0x10 cm",
                "٣ cm",
            ),
            *("--1 cm", "1_0 cm", "1e cm", "9" * 13, "1." + "0" * 13 + " cm", "5 cm 2", "1e1000 cm"),
        ],
    )
    def test_no_number(self, text: str) -> None:
        with pytest.raises(QuantityError, match="is not a length: type a number and one of m, cm, mm, in, ft"):
            value(text, "length")

    @pytest.mark.parametrize(
        ("text", "kind"), [("3 g", "length"), ("3 cm", "mass"), ("3 furlong", "length"), ("3 g", "torque")]
    )
    def test_a_unit_of_another_kind(self, text: str, kind: Kind) -> None:
        with pytest.raises(QuantityError, match=f"has no unit of {kind}: use one of") as caught:
            value(text, kind)
        assert example(kind, "metric") in str(caught.value)

    @given(st.text(max_size=200), kinds, systems)
    def test_any_text_is_a_finite_quantity_or_a_sentence(self, text: str, kind: Kind, system: UnitSystem) -> None:
        try:
            found = parse_quantity(text, kind, system)
        except QuantityError as error:
            sentence = str(error)
        else:
            sentence = "."
            assert math.isfinite(found)
        assert sentence.isprintable()
        assert sentence.endswith(".")
        assert len(sentence) < 200

    def test_the_largest_that_can_be_typed_is_finite(self) -> None:
        assert value("999999999999e99 kg", "mass") == pytest.approx(1e111)


class TestShown:
    """What is shown reads back as what was meant."""

    @given(kinds, systems, st.floats(-1e5, 1e5), st.none() | st.integers(0, 9))
    def test_what_is_shown_parses_back(
        self, kind: Kind, system: UnitSystem, number: float, decimals: int | None
    ) -> None:
        unit, usual = SHOWN[system][kind]
        si = number * UNITS[kind][unit]
        text = show(si, kind, system, decimals)
        half = 0.5000001 * 10.0 ** -(usual if decimals is None else decimals) * UNITS[kind][unit]
        assert abs(parse_quantity(text, kind, system) - si) <= half + abs(si) * 1e-12

    @given(kinds, systems, st.floats(-1e5, 1e5), st.none() | st.integers(0, 9))
    def test_number_and_label_are_its_parts(
        self, kind: Kind, system: UnitSystem, si: float, decimals: int | None
    ) -> None:
        assert f"{shown_number(si, kind, system, decimals)} {unit_label(kind, system)}" == show(
            si, kind, system, decimals
        )

    @pytest.mark.parametrize(
        ("si", "kind", "metric", "inch"),
        [
            (0.30, "length", "30.0 cm", "11.8 in"),
            (1.40e-3, "mass", "1.40 g", "1.40 g"),
            (2.2e-3, "linear density", "2.200 g/m", "0.0559 g/in"),
            (6.4e-3, "torque", "6.40 mN·m", "0.906 ozf·in"),
        ],
    )
    def test_by_unit_system(self, si: float, kind: Kind, metric: str, inch: str) -> None:
        assert (show(si, kind, "metric"), show(si, kind, "inch")) == (metric, inch)

    def test_no_shown_figure_is_minus_nothing(self) -> None:
        assert show(-1e-9, "torque", "metric") == "0.00 mN·m"
        assert shown_number(-1e-9, "torque", "inch") == "0.000"
        assert show(-0.0, "length", "metric") == "0.0 cm"

    def test_tables_name_units_that_are(self) -> None:
        assert all(SHOWN[system][kind][0] in UNITS[kind] for system in SYSTEMS for kind in KINDS)
        assert set(PRINTED) == {unit for _, unit in TYPED if "." in unit}


def test_inputs_are_values() -> None:
    """A list of them is a whole wind: equal ones are equal, none can be changed, and each bears its time."""
    events = (
        BytesArrived(1.0, b"x"),
        TimePassed(1.0),
        LinkUp(1.0, "p"),
        LinkDown(1.0, "gone"),
        KeyPressed(1.0, KEYS[0]),
        Ended(1.0),
    )
    assert len(set(events)) == 6
    assert {event.at_s for event in events} == {1.0}
    assert KeyPressed(1.0, "tare") == events[4]
    with pytest.raises(AttributeError):
        events[0].data = b"y"  # type: ignore[misc]


def test_a_count_has_its_noun() -> None:
    assert [counted(n, "wind") for n in (0, 1, 2)] == ["0 winds", "1 wind", "2 winds"]
    assert counted(2, "batch", "batches") == "2 batches"


class TestDecimalCommas:
    """Half of the world writes 1,4; a list's commas and thousands must not be taken for it."""

    @pytest.mark.parametrize(
        ("text", "metres"),
        [
            ("4,3 cm", 0.043),
            ("0,220 m", 0.22),
            (",5 m", 0.5),
            ("-1,25 m", -1.25),
            ("12,5 in", 0.3175),
            ("1,5e2 mm", 0.15),
        ],
    )
    def test_a_comma_is_a_point(self, text: str, metres: float) -> None:
        assert parse_quantity(text, "length") == pytest.approx(metres)

    @pytest.mark.parametrize("text", ["1,400 mm", "1,310", "12,345,678 mm"])
    def test_what_may_be_thousands_is_asked_for(self, text: str) -> None:
        with pytest.raises(QuantityError, match=r"may be .* or .*: type the one that is meant"):
            parse_quantity(text, "length")

    @pytest.mark.parametrize(
        ("text", "parts"),
        [
            ("0 g, 10 g,20 g", ["0 g", "10 g", "20 g"]),
            ("0,10,20", ["0", "10", "20"]),
            ("2,19 g/m, 2,20 g/m", ["2,19 g/m", "2,20 g/m"]),
            ("2,19 g/m; 2.20 g/m", ["2,19 g/m", "2.20 g/m"]),
            ("2,19 g/m", ["2,19 g/m"]),
            ("28 cm", ["28 cm"]),
        ],
    )
    def test_a_list_is_parted_at_its_own_commas(self, text: str, parts: list[str]) -> None:
        assert listed(text) == parts


def test_pulls_and_energies_in_both_systems() -> None:
    """4.448222 N in a pound-force and 1.355818 J in a foot-pound: NIST SP 811, appendix B.8."""
    assert show_pull(18.0, "metric") == "18 N"
    assert show_pull(4.448222 * 4.0, "inch") == "4.0 lbf"
    assert show_energy(12.34, "metric", 2) == "12.34 J"
    assert show_energy(13.55818, "inch") == "13.6 J (10.0 ft·lbf)"
