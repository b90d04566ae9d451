"""Flights that are not alike, entries taken back, strips and cuts, grown loops: as typed, against a real shelf."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.cli.test_shelf import TH_07, as_object, refused, said
from tests.shelf.examples import TH_07 as MOTOR
from tests.shelf.examples import THISTLEDOWN, a_wind
from tests.test_indexing import SUMMARY, make_trace
from winding_coach.keeping.indexing import EMPTY, look
from winding_coach.review.advice.flown import all_flown
from winding_coach.review.season.wear import grown, grown_since
from winding_coach.shelf.records import Batch, Flight, Strip
from winding_coach.shelf.store import Shelf, WindFilter

pytestmark = pytest.mark.usefixtures("hurried_disk")


@pytest.fixture(autouse=True)
def own_home(home: Path) -> Path:
    return home


@pytest.fixture
def shelf_file(home: Path) -> Path:
    home.mkdir(parents=True, exist_ok=True)
    return home / "shelf.sqlite"


def two_winds(path: Path) -> None:
    with Shelf(path) as shelf:
        shelf.add(Batch("amber"))
        shelf.add(MOTOR)
        shelf.log(a_wind(1), a_wind(2))


class TestFlightsThatAreNotAlike:
    def test_a_spoilt_flight_is_kept_and_changes_no_advice(
        self, shelf_file: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        two_winds(shelf_file)
        flight = as_object(
            capsys, "flight", "2:10", "--spoilt", "hit a beam", "--temperature", "66 F", "--humidity", "55 %"
        )
        assert (flight["spoilt"], flight["humidity"]) == ("hit a beam", 0.55)
        assert flight["temperature_C"] == pytest.approx(18.889, abs=1e-3)
        line = said(capsys, "flight", "list")
        assert "spoilt (hit a beam), left out of advice" in line
        with Shelf(shelf_file) as shelf:
            (kept,) = shelf.flights()
        assert all_flown([a_wind(2, loop_m=0.3, mass_kg=1.4e-3)], {a_wind(2).id: kept}, {}) == []
        alike = Flight("f", a_wind(2).id, kept.flown, 130.0)
        assert len(all_flown([a_wind(2, loop_m=0.3, mass_kg=1.4e-3, hooks_m=0.22)], {a_wind(2).id: alike}, {})) == 1

    def test_a_part_motor_counts_with_its_spacer(self) -> None:
        wind = a_wind(1, loop_m=0.15, mass_kg=0.7e-3, hooks_m=0.22)
        flight = Flight("f", wind.id, wind.started, 200.0, spacer_kg=0.65e-3, spacer_m=0.11)
        (flown,) = all_flown([wind], {wind.id: flight}, {"thistledown": THISTLEDOWN})
        assert flown.flying_kg == pytest.approx(1.2e-3 + 0.7e-3 + 0.65e-3)
        assert flown.hooks_m == pytest.approx(0.11)

    def test_conditions_are_taken_back_with_none(self, shelf_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
        two_winds(shelf_file)
        said(capsys, "flight", "6:52", "--kind", "official", "--ceiling-height", "30 ft", "--hall", "the old barn")
        flight = as_object(capsys, "flight", "--correct", "--kind", "none", "--remarks", "so it was")
        assert (flight["kind"], flight["hall"]) == (None, "the old barn")
        assert flight["ceiling_m"] == pytest.approx(9.144)

    def test_rest_and_age_are_numbers_that_are_shown_and_exported(
        self, shelf_file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        """They were in no flight's record: the shelf knew both, and nothing said so."""
        two_winds(shelf_file)
        with Shelf(shelf_file) as shelf:
            shelf.edit(Batch, "amber", received="2026-01-10")
        assert "rubber 56 days old" in said(capsys, "flight", "6:52", "--temperature", "19 C")
        # The second wind begins a minute after the first, which took 130.5 s: no rest at all.
        flight = as_object(capsys, "flight", "list")["flights"][0]
        assert (flight["rest_s"], flight["rubber_age_days"], flight["temperature_C"]) == (0.0, 56, 19.0)
        assert "19 °C; rested 0 min; rubber 56 days old" in said(capsys, "flight", "list")
        first = as_object(capsys, "shelf", "winds")["winds"][-1]
        assert (first["rest_s"], first["rubber_age_days"]) == (None, 56)
        said(capsys, "export", str(tmp_path / "season"))
        for table, column in (("winds", "rest_s"), ("flights", "rest_s"), ("flights", "rubber_age_days")):
            assert column in (tmp_path / "season" / f"{table}.csv").read_text(encoding="utf-8").partition("\n")[0]

    @pytest.mark.parametrize(
        ("words", "says"),
        [
            (("--temperature", "hot"), "no hall's temperature"),
            (("--temperature", "190"), "no hall's temperature"),
            (("--humidity", "130"), "--humidity"),
            (("--ceiling-height", "9 cm"), "no hall's"),
            (("--spacer-mass", "2 kg"), "no spacer's"),
        ],
    )
    def test_what_cannot_be_is_refused(
        self, shelf_file: Path, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], says: str
    ) -> None:
        two_winds(shelf_file)
        assert says in refused(capsys, 2, "flight", "6:52", *words)


class TestTakenBack:
    def test_a_voided_wind_is_left_out_and_restored(self, shelf_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
        two_winds(shelf_file)
        last = a_wind(2).id[:8]
        said(capsys, "flight", "6:52", "--left", "180")
        assert "with 1 flight is left out" in said(capsys, "shelf", "void", "last")
        with Shelf(shelf_file) as shelf:
            assert shelf.uses("th-07") == 1
            assert shelf.find_wind("last").id == a_wind(1).id
            assert [wind.id for wind in shelf.winds(WindFilter(voided=True))] == [a_wind(2).id]
            assert [wind.id for wind, flight in shelf.flown() if flight is not None] == []
        assert "voided already" in refused(capsys, 2, "shelf", "void", last)
        said(capsys, "shelf", "restore", last)
        with Shelf(shelf_file) as shelf:
            assert shelf.uses("th-07") == 2
            assert shelf.wind(a_wind(2).id).voided is False
        assert "not voided" in refused(capsys, 2, "shelf", "restore", last)

    def test_voiding_outlives_a_new_look_at_the_trace(self, shelf_file: Path) -> None:
        two_winds(shelf_file)
        with Shelf(shelf_file) as shelf:
            shelf.note(a_wind(1).id, voided=True)
            shelf.log(a_wind(1, peak_turns=1200.0))
            assert shelf.wind(a_wind(1).id).voided is True

    def test_a_voided_flight_leaves_room_for_the_right_one(
        self, shelf_file: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        two_winds(shelf_file)
        said(capsys, "flight", "65:20")
        said(capsys, "flight", "void")
        said(capsys, "flight", "6:52")
        assert "65:20" not in said(capsys, "flight", "list")
        assert "voided" in said(capsys, "flight", "list", "--all")
        said(capsys, "flight", "restore")
        with Shelf(shelf_file) as shelf:
            assert len(shelf.flights()) == 2
        assert "has no flight that was voided" in refused(capsys, 2, "flight", "restore")

    def test_a_voided_motor_is_in_no_list(self, capsys: pytest.CaptureFixture[str]) -> None:
        said(capsys, "motor", "add", *TH_07)
        assert "voided" in said(capsys, "motor", "void", "th-07")
        assert "There are no motors" in said(capsys, "motor", "list")
        assert "th-07" in said(capsys, "motor", "restore", "th-07")
        assert "th-07" in said(capsys, "motor", "list")


class TestNothingFalseOnTheShelf:
    """A wind with no meter or no turn went on the shelf, and a later `flight 6:52` was logged on it."""

    @pytest.mark.parametrize(
        "summary",
        [
            {"outcome": "stopped"},
            {"outcome": "lost", "peak_turns": 0.0, "peak_torque_mNm": 0.05},
            {"outcome": "done", "peak_turns": 4.0, "peak_torque_mNm": 0.1, "launch_turns": 4.0, "stalls": 0},
        ],
    )
    def test_an_empty_wind_stays_off_it(
        self, home: Path, shelf_file: Path, capsys: pytest.CaptureFixture[str], summary: dict[str, Any]
    ) -> None:
        make_trace(home / "traces", 1)
        make_trace(home / "traces", 2, {"event": "summary", "at_s": 1.0, **summary})
        flight = as_object(capsys, "flight", "6:52")
        assert flight["wind"].startswith("00000001")
        with Shelf(shelf_file) as shelf:
            assert len(shelf.winds()) == 1
            assert [why for _, why in shelf.passed_over().values()] == [EMPTY]

    def test_a_wind_without_counts_that_had_torque_is_one(self, home: Path, shelf_file: Path) -> None:
        make_trace(home / "traces", 1, {"event": "summary", "at_s": 1.0, "outcome": "done", "peak_torque_mNm": 6.1})
        with Shelf(shelf_file) as shelf:
            assert len(look(home / "traces", shelf).logged) == 1

    def test_a_flight_goes_only_to_a_wind_that_went_far_enough(
        self, home: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        make_trace(home / "traces", 1, {"event": "summary", "at_s": 1.0, "outcome": "stopped", "peak_turns": 300.0})
        assert "stopped at 2" in refused(capsys, 2, "flight", "6:52")
        make_trace(home / "traces", 2, {"event": "summary", "at_s": 1.0, "outcome": "stopped", "peak_turns": 1100.0})
        assert as_object(capsys, "flight", "6:52")["wind"].startswith("00000002")


class TestBeforeTheWind:
    def test_what_was_ticked_divides_the_winds_for_comparing(
        self, home: Path, shelf_file: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        more = {"checks": ["knot", "lubricant", "no such"], "wait_s": 42.0}
        make_trace(home / "traces", 1, SUMMARY | more)
        make_trace(home / "traces", 2, SUMMARY | {"checks": "knot"})
        make_trace(home / "traces", 3)
        winds = as_object(capsys, "shelf", "winds", "--checked", "lubricant")["winds"]
        assert [(wind["id"][:8], wind["checks"], wind["wait_s"]) for wind in winds] == [
            ("00000001", "knot,lubricant", 42.0)
        ]
        winds = as_object(capsys, "shelf", "winds", "--not-checked", "lubricant")["winds"]
        assert {wind["id"][:8] for wind in winds} == {"00000002", "00000003"}
        with Shelf(shelf_file) as shelf:
            look(home / "traces", shelf)
            assert shelf.winds(WindFilter(checked="brication")) == []


class TestStripsAndCuts:
    def test_weighed_strips_set_the_stripper(self, capsys: pytest.CaptureFixture[str]) -> None:
        said(capsys, "batch", "add", "amber")
        for mass in ("2.20 g", "2.24 g"):
            said(capsys, "batch", "weigh", "amber", "--width", "2.4 mm", "--length", "1 m", "--mass", mass)
        words = ("cut", "--batch", "amber", "--density", "2.22 g/m", "--loop", "31 cm")
        found = as_object(capsys, *words)
        assert found["cuts"][0]["width_m"] == pytest.approx(2.4e-3)
        assert found["cuts"][0]["strip_m"] == pytest.approx(0.64)
        text = said(capsys, *words)
        assert "2.40 mm" in text
        assert "64.0 cm" in text
        assert max(len(line) for line in text.splitlines()) <= 80
        said(capsys, "batch", "weigh", "amber", "--undo")
        assert len(as_object(capsys, "batch", "strips", "amber")["strips"]) == 1

    def test_a_kit_in_inches_fits_eighty_columns(self, capsys: pytest.CaptureFixture[str]) -> None:
        text = said(
            capsys, "cut", "--units", "inch", "--density", "0.055 g/in", "--mass", "1.4 g", "--thickness", "0.04 in",
            "--kit", "7", "--step", "2%",
        )  # fmt: skip
        assert len([line for line in text.splitlines() if "g/in" in line]) == 7
        assert max(len(line) for line in text.splitlines()) <= 80

    def test_strips_come_in_with_another_folder(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        with Shelf(tmp_path / "other" / "shelf.sqlite") as shelf:
            shelf.add(Batch("amber"))
            shelf.weigh(Strip("s1", "amber", "2026-02-01T10:00:00+01:00", 1.0, 2.2e-3, 2.4e-3))
        assert "1 strip" in said(capsys, "import", str(tmp_path / "other"))
        assert len(as_object(capsys, "batch", "strips", "amber")["strips"]) == 1
        assert "Here already" in said(capsys, "import", str(tmp_path / "other"))

    @pytest.mark.parametrize(
        ("words", "says"),
        [
            (("cut", "--loop", "30 cm"), "needs --density"),
            (("cut", "--density", "2.2 g/m", "--loop", "30 cm"), "weigh one"),
            (("cut", "--density", "2.2 g/m", "--loop", "0 cm", "--thickness", "1 mm"), "above zero"),
            (("cut", "--density", "2.2 g/m", "--loop", "30 cm", "--thickness", "1 mm", "--step", "2"), "--kit"),
            (("batch", "weigh", "amber", "--mass", "2 g"), "--length"),
            (("batch", "weigh", "amber", "--mass", "2 kg", "--length", "1 m"), "impossible"),
            (("batch", "weigh", "amber", "--undo"), "nothing to undo"),
        ],
    )
    def test_wrong_words_are_one_sentence(
        self, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], says: str
    ) -> None:
        said(capsys, "batch", "add", "amber")
        assert says in refused(capsys, 2, *words)


class TestAGrownLoop:
    def test_the_growth_since_it_was_measured_is_expected(self) -> None:
        assert grown_since(0, 0) == 0.0
        assert grown_since(0, 2) == pytest.approx(grown(3))
        assert (1 + grown_since(0, 2)) * (1 + grown_since(2, 5)) == pytest.approx(1 + grown_since(0, 5))
        assert grown_since(4, 2) == 0.0

    def test_a_healthy_motor_after_four_winds_is_planned_as_long_as_it_is(
        self, shelf_file: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        said(capsys, "motor", "add", *TH_07)
        with Shelf(shelf_file) as shelf:
            shelf.log(*(a_wind(n, batch=None) for n in range(1, 5)))
        assert main_plan_says(capsys, "has had 4 winds since its loop was measured")
        said(capsys, "motor", "edit", "th-07", "--loop", "31.2 cm")
        assert not main_plan_says(capsys, "since its loop was measured")


def main_plan_says(capsys: pytest.CaptureFixture[str], words: str) -> bool:
    from winding_coach.cli import main

    assert main(["plan", "--motor", "th-07", "--json"]) == 0
    return words in capsys.readouterr().err


class TestWhichNext:
    def test_the_motor_that_rested_longest_and_a_day(
        self, shelf_file: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        two_winds(shelf_file)
        said(capsys, "motor", "add", "th-09", "--loop", "31 cm", "--mass", "1.45 g")
        lines = said(capsys, "motor", "next").splitlines()
        assert lines[1].split()[:2] == ["th-07", "rested"]
        assert lines[2].split()[:2] == ["th-09", "new"]
        day = as_object(capsys, "motor", "next", "--flights", "4", "--officials", "1")["day"]
        assert day[-1] == {"motor": "th-07", "share": 0.9, "official": True}
        text = said(capsys, "motor", "next", "--flights", "4", "--officials", "1", "--person", "Wren")
        assert "official" in text
        assert "Advice would try" in text
        assert max(len(line) for line in text.splitlines()) <= 80
        assert "--officials" in refused(capsys, 2, "motor", "next", "--flights", "2", "--officials", "3")


class TestPurpose:
    def test_a_test_wind_goes_to_less_and_is_logged_apart(self, capsys: pytest.CaptureFixture[str]) -> None:
        words = ("plan", *TH_07[1:])
        usual, test = as_object(capsys, *words), as_object(capsys, *words, "--purpose", "test")
        assert test["target_turns"] == pytest.approx(usual["breaking_turns"] * 0.6)
        assert as_object(capsys, *words, "--purpose", "test", "--share", "70")["share"] == pytest.approx(0.7)

    def test_a_purpose_is_corrected_and_asked_for(self, shelf_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
        two_winds(shelf_file)
        said(capsys, "shelf", "note", "last", "--purpose", "trim")
        (wind,) = as_object(capsys, "shelf", "winds", "--purpose", "trim")["winds"]
        assert (wind["id"], wind["purpose"]) == (a_wind(2).id, "trim")
