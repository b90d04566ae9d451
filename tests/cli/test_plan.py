"""`plan` from the shell's side: what is typed, what is printed, what is refused."""

from __future__ import annotations

import json
import math
import re
from pathlib import Path
from typing import Any

import pytest

from winding_coach.cli import main
from winding_coach.rubber.batch import Batch
from winding_coach.rubber.batch_json import batch_to_json_dict
from winding_coach.rubber.figures import ModelFigures, MotorFigures, WinderFigures
from winding_coach.rubber.plan import make_plan
from winding_coach.rubber.plan_json import plan_from_json_dict
from winding_coach.rubber.strength import Wound

TH_07 = ["--loop", "30cm", "--mass", "1.40g", "--orings", "0.08g", "--ratio", "10", "--hooks", "22cm"]
PLAN = make_plan(MotorFigures(0.30, 1.40e-3, 0.08e-3), WinderFigures(10.0), ModelFigures(0.22))


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("WINDING_COACH_HOME", str(tmp_path))
    return tmp_path


def said(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert main(["plan", *words]) == 0
    return capsys.readouterr().out


def as_object(capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, Any]:
    found = json.loads(said(capsys, *words, "--json"))
    assert isinstance(found, dict)
    return found


def refused(capsys: pytest.CaptureFixture[str], status: int, *words: str) -> str:
    assert main(["plan", *words]) == status
    out, error = capsys.readouterr()
    assert out == ""
    assert error.startswith("winding-coach plan: ")
    assert error.count("\n") == 1
    return error


def test_json_is_the_plan_and_how_sure_it_is(capsys: pytest.CaptureFixture[str]) -> None:
    found = as_object(capsys, *TH_07)
    plan = plan_from_json_dict(found)
    assert plan.walk_in == PLAN.walk_in
    assert plan.peak_torque_Nm == PLAN.peak_torque_Nm
    assert found["spread"]["loop"]["breaking_turns"] == pytest.approx(16.4, abs=0.1)
    assert found["break_risk_interval"]["low"] < plan.break_risk < found["break_risk_interval"]["high"]


def test_the_text_has_the_figures_with_their_units(capsys: pytest.CaptureFixture[str]) -> None:
    text = " ".join(said(capsys, *TH_07).split())
    for piece in ("2.200 ± 0.022 g/m", "1637 ± 71 turns", "6.78 ± 0.41 mN·m (69.2 gf·cm)", "11.8 J", "1.81 m"):
        assert piece in text
    assert "The room is too short" in said(capsys, *TH_07, "--room", "120 cm")
    assert "Based on the default rubber" in text
    inches = said(capsys, *TH_07, "--units", "inch")
    assert "g/in" in inches
    assert "ozf·in" in inches
    assert "Stretch to 71 in" in inches
    assert " cm" not in inches
    assert not re.search(r"\bN\b", inches), "a pull in newtons"
    assert "lbf" in inches


def test_a_strip_is_twice_its_loop(capsys: pytest.CaptureFixture[str]) -> None:
    by_strip = as_object(capsys, "--strip", "60cm", *TH_07[2:])
    assert by_strip == as_object(capsys, *TH_07)
    four = as_object(capsys, "--strip", "60cm", "--strands", "4", "--mass", "1.40g", "--orings", "0.08g")
    assert four["linear_density_kg_per_m"] == pytest.approx(2.2e-3)
    assert four["stretch_distance_m"] < 0.6 * by_strip["stretch_distance_m"]
    refused(capsys, 2, "--strip", "60cm", *TH_07)
    refused(capsys, 2, "--strip", "60cm", *TH_07[2:], "--strands", "two")


def test_measuring_better_makes_it_surer(capsys: pytest.CaptureFixture[str]) -> None:
    usual = as_object(capsys, *TH_07)["spread"]
    better = as_object(capsys, *TH_07, "--loop-error", "0.5mm", "--mass-error", "1mg")["spread"]
    assert better["loop"]["breaking_turns"] == pytest.approx(usual["loop"]["breaking_turns"] / 4, rel=0.01)
    assert abs(better["mass"]["breaking_turns"]) < 0.2 * abs(usual["mass"]["breaking_turns"])


def test_a_wanted_risk_sets_the_share(capsys: pytest.CaptureFixture[str]) -> None:
    found = as_object(capsys, *TH_07, "--risk", "3%")
    # What is not known of the batch's strength is in it: were strength known, fewer would break.
    assert found["break_risk_interval"]["expected"] == pytest.approx(0.03, rel=0.02)
    assert found["break_risk"] < 0.02
    refused(capsys, 2, *TH_07, "--risk", "3", "--share", "80")
    refused(capsys, 2, *TH_07, "--risk", "three")
    assert "cannot be planned for" in refused(capsys, 2, *TH_07, "--risk", "90")


def test_a_batch_by_name_and_by_file(capsys: pytest.CaptureFixture[str], home: Path) -> None:
    batch = Batch("amber", (Wound(9.0, True), Wound(9.1, True)), (1.08, 1.07, 1.06))
    (home / "batches").mkdir()
    file = home / "batches" / "amber.json"
    file.write_text(json.dumps(batch_to_json_dict(batch)))
    found = as_object(capsys, *TH_07, "--batch", "amber")
    assert found == as_object(capsys, *TH_07, "--batch", str(file))
    assert found["breaking_turns"] < 0.97 * PLAN.breaking_turns
    assert found["rests_on"].startswith("batch 'amber': torque from 3 winds, strength from 2 breaks")
    assert "no batch 'grey'" in refused(capsys, 1, *TH_07, "--batch", "grey")
    for spoilt, word in (("{", "JSON"), ("[]", "no batch file"), ('{"format": "x"}', "no batch file")):
        file.write_text(spoilt)
        assert word in refused(capsys, 1, *TH_07, "--batch", "amber")
    file.write_bytes(b"\xff\xfe")
    assert "not a text file" in refused(capsys, 1, *TH_07, "--batch", "amber")
    assert "cannot be read" in refused(capsys, 1, *TH_07, "--batch", str(home) + "/")


def test_cards(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    svg, html = tmp_path / "card.svg", tmp_path / "card.html"
    assert f"The card is in {svg}." in said(capsys, *TH_07, "--card", str(svg))
    assert as_object(capsys, *TH_07, "--card", str(html))
    assert svg.read_text(encoding="utf-8").startswith("<svg ")
    assert svg.read_text(encoding="utf-8") in html.read_text(encoding="utf-8")
    assert "must end in" in refused(capsys, 2, *TH_07, "--card", "card.pdf")
    assert "cannot be written" in refused(capsys, 1, *TH_07, "--card", str(tmp_path / "none" / "card.svg"))


def test_limits_are_said(capsys: pytest.CaptureFixture[str]) -> None:
    text = said(capsys, *TH_07, "--meter-limit", "5 mN.m")
    assert "The rating of the meter (5.00 mN·m) binds" in text


@pytest.mark.parametrize(
    ("words", "word"),
    [
        ([], "--loop and --mass"),
        (["--loop", "30cm", "--mass", "1.4kg"], "check|weigh"),
        ([*TH_07, "--meter-limit", "5 cm"], "--meter-limit"),
        ([*TH_07, "--loop-error", "20cm"], "measure"),
        ([*TH_07, "--hooks", "3m"], "check"),
    ],
)
def test_wrong_figures_are_refused_in_one_line(capsys: pytest.CaptureFixture[str], words: list[str], word: str) -> None:
    error = refused(capsys, 2, *words)
    assert any(piece in error for piece in word.split("|"))


def test_tape_marks_are_told_with_the_turns_and_torque_they_stand_for(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    card = tmp_path / "card.svg"
    text = said(capsys, *TH_07, "--steps", "tape", "--tape", "25 cm", "--card", str(card))
    assert "Tape on the floor, measured from below the meter's hook: 1 at 25.0 cm, 2 at 50.0 cm" in " ".join(
        text.split()
    )
    assert "Stretch to 1.81 m (6 cm outside mark 7)" in text
    found = as_object(capsys, *TH_07, "--steps", "tape", "--tape", "25 cm")
    assert found["tape_marks"][3] == {"mark": 4, "distance_m": 1.0}
    # The same walk-in as the plan's own rows: at their distances their turns and torque.
    own = as_object(capsys, *TH_07, "--steps", "tape", "--tape", "plan")
    assert own["stops"][-1]["place"] == "mark 1"
    for stop, row in zip(own["stops"], PLAN.walk_in, strict=True):
        assert stop["turns"] == pytest.approx(row.turns, abs=0.3)
        assert stop["torque_Nm"] == pytest.approx(row.torque_Nm, rel=1e-3)
    for stop in found["stops"]:
        assert f"{stop['crank_turns']:.1f}" in text
        assert f">{stop['crank_turns']:.1f}</text>" in card.read_text()
    assert "Tape on the floor" in card.read_text()


def test_steps_in_other_units_are_told_beside_the_length(capsys: pytest.CaptureFixture[str]) -> None:
    assert "5 ft 11 in" in said(capsys, *TH_07, "--steps", "feet")
    paces = said(capsys, *TH_07, "--steps", "paces", "--pace", "60 cm")
    assert paces.count("half a pace in") > 3
    assert "place" not in said(capsys, *TH_07)
    assert "tape_marks" not in as_object(capsys, *TH_07)
    assert said(capsys, *TH_07, "--pace", "60 cm") == paces, "the length of a pace says that it is paces"
    taped = said(capsys, *TH_07, "--steps", "tape", "--tape", "25 cm")
    assert said(capsys, *TH_07, "--tape", "25 cm") == taped
    assert "is not one of metres, inches, feet" in refused(capsys, 2, *TH_07, "--steps", "yards")


def test_the_set_up_stands_in_for_what_is_not_typed(capsys: pytest.CaptureFixture[str], home: Path) -> None:
    settings = {"ratio": "15", "hooks": "300 mm", "units": "inch", "steps": "tape", "tape": "200 mm"}
    (home / "settings.json").write_text(json.dumps(settings))
    found = as_object(capsys, *TH_07[:6])
    assert found["target_turns"] / found["target_crank_turns"] == pytest.approx(15.0)
    assert found["walk_in"][-1]["distance_m"] == pytest.approx(0.30)
    assert found["tape_marks"][0]["distance_m"] == pytest.approx(0.2)
    typed = as_object(capsys, *TH_07, "--tape", "25 cm")
    assert typed["target_turns"] / typed["target_crank_turns"] == pytest.approx(10.0), "an option comes first"
    assert typed["walk_in"][-1]["distance_m"] == pytest.approx(0.22)
    assert typed["tape_marks"][0]["distance_m"] == pytest.approx(0.25)
    assert "ozf·in" in said(capsys, *TH_07)


def test_what_a_crank_turn_adds_adds_up_to_the_plan(capsys: pytest.CaptureFixture[str]) -> None:
    """Turns of the crank times the rise of each are the torques that the same plan gives, phase by phase."""
    words = ["plan", "--loop", "30 cm", "--mass", "1.40 g", "--orings", "0.08 g", "--ratio", "10", "--hooks", "22 cm"]
    assert main([*words, "--json"]) == 0
    plan = json.loads(capsys.readouterr().out)
    hooks = plan["walk_in"][-1]
    torques = (0.0, plan["stretched_torque_Nm"], hooks["torque_Nm"], plan["peak_torque_Nm"])
    crank = [turns / 10.0 for turns in (0.0, plan["stretched_turns"], hooks["turns"], plan["target_turns"])]
    rates = plan["moderate_rates"]
    assert [rate["phase"] for rate in rates] == ["wind_stretched", "walk_in", "final_turns"]
    for number, rate in enumerate(rates):
        rise = (torques[number + 1] - torques[number]) / (crank[number + 1] - crank[number])
        # A mean over places, of whole turns ahead: near the ends they reach into the next phase.
        assert rate["per_crank_turn_Nm"] == pytest.approx(rise, rel=0.03)
        assert rate["low_Nm_per_s"] < rate["per_crank_turn_Nm"] < rate["high_Nm_per_s"], "at one turn a second"
    assert main(words) == 0
    shown = " ".join(capsys.readouterr().out.split())
    said = ", ".join(f"{1e3 * rate['per_crank_turn_Nm']:.3f}" for rate in rates).split(", ")
    assert (
        f"A crank turn adds {said[0]} mN·m at full stretch, {said[1]} in the walk-in, {said[2]} to the target" in shown
    )


def test_what_published_values_leave_open_is_carried(capsys: pytest.CaptureFixture[str], home: Path) -> None:
    """G. Hinze's marks, 9 to 13 per root of the section, over this motor's; crystals from 4.5 on bound the energy."""
    found = as_object(capsys, *TH_07)
    low, high = found["published_ranges"]["breaking_turns"]
    section_m2 = 1.32e-3 / 0.30 / 930.0
    assert [low, high] == pytest.approx([mark * 0.30 / math.sqrt(section_m2) for mark in (9.0, 13.0)])
    assert low < found["breaking_turns"] < high
    energy = found["published_ranges"]["energy_J"]
    assert energy[0] == found["energy_stored_J"]
    assert 1.05 < energy[1] / energy[0] < 1.20
    text = said(capsys, *TH_07)
    assert f"breaks at {low:.0f} to {high:.0f} turns" in text
    (home / "batches").mkdir()
    (home / "batches" / "amber.json").write_text(json.dumps(batch_to_json_dict(Batch("amber", (), (1.05,)))))
    assert "published_ranges" not in as_object(capsys, *TH_07, "--batch", "amber")


def test_time_at_the_peak_counts_and_heat_and_age_widen_the_doubt(capsys: pytest.CaptureFixture[str]) -> None:
    usual = as_object(capsys, *TH_07)
    held = as_object(capsys, *TH_07, "--hold", "90 s")
    assert held["under_load"]["risk_held"] > 1.2 * usual["break_risk_interval"]["expected"]
    assert "Held at the target for 90 s" in said(capsys, *TH_07, "--hold", "90")
    old = as_object(capsys, *TH_07, "--age", "6", "--temperature", "31 C")
    assert old["under_load"]["doubt"] == pytest.approx(math.hypot(0.02, 0.06))
    width = [one["break_risk_interval"]["high"] - one["break_risk_interval"]["low"] for one in (usual, old)]
    assert width[1] > width[0]
    assert old["peak_torque_Nm"] == usual["peak_torque_Nm"]
    assert "6.3% of doubt" in said(capsys, *TH_07, "--age", "6", "--temperature", "31 C")
    assert "add" not in said(capsys, *TH_07).partition("Based on")[2]
    refused(capsys, 2, *TH_07, "--hold", "long")
    refused(capsys, 2, *TH_07, "--age", "99")
    refused(capsys, 2, *TH_07, "--temperature", "hot")


def test_a_walk_in_that_holds_torque_with_its_cost(capsys: pytest.CaptureFixture[str]) -> None:
    found = as_object(capsys, *TH_07, "--walk-in", "torque")
    even, held = found["ways"]["even"], found["ways"]["torque"]
    torques = [row["torque_Nm"] for row in held["rows"]]
    # The last step arrives at the hooks, where there is no more to give.
    assert torques[:-1] == pytest.approx([torques[0]] * (len(torques) - 1), rel=0.02)
    assert held["jump"] > 3 * even["jump"]
    assert all(even["risk"][law] <= held["risk"][law] + 5e-4 for law in "ABC")
    assert held["peak_torque_Nm"] == pytest.approx(even["peak_torque_Nm"], rel=0.02)
    text = said(capsys, *TH_07, "--walk-in", "torque")
    assert "The coach leads along the even way" in text
    assert "Two ways in" not in said(capsys, *TH_07)
