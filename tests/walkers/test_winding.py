"""Whole winds: the pipe and this process lead alike, judges see what is wrong, the oracle is better than a needle."""

from __future__ import annotations

from dataclasses import replace
from xml.etree import ElementTree

import pytest

from tests.bench.walkers.cells import CELLS, named
from tests.bench.walkers.drawing import picture
from tests.bench.walkers.judging import followed, judged, phases_without_cause
from tests.bench.walkers.people import draw
from tests.bench.walkers.piped import Piped
from tests.bench.walkers.senses import Word
from tests.bench.walkers.table import aims, mean, share, table
from tests.bench.walkers.winding import HOOKS_M, PLAN, SETTINGS, Cell, Truth, Wound, plan_of, wind

pytestmark = pytest.mark.no_cover


def test_a_wind_led_through_the_pipe_is_the_wind_led_in_this_process() -> None:
    cell = Cell("coach", "c", plain=True, lines_per_s=10.0)
    here = wind(cell, 1_000_001)
    piped = Piped(SETTINGS)
    there = wind(cell, 1_000_001, leader=piped)
    assert piped.close() == 0
    assert len(here.heard) > 15
    assert [word for word, _ in there.heard] == [word for word, _ in here.heard]
    assert judged(there) == judged(here)


def test_the_oracle_leads_who_can_walk_close_to_the_even_path() -> None:
    risks = [wind(Cell("oracle", feet="walks", plain=True), seed).risk["A"] for seed in range(1_000_000, 1_000_008)]
    alone = [wind(Cell("alone", feet="walks", plain=True), seed).risk["A"] for seed in range(1_000_000, 1_000_008)]
    assert sum(risks) / len(risks) < 0.11
    assert sum(risks) < 0.7 * sum(alone)


@pytest.mark.parametrize("led", ["alone", "oracle"])
def test_who_winds_comes_to_the_target_and_to_the_launch(led: str) -> None:
    rows = [judged(wind(Cell(led, feet="by the needle", plain=True), seed)) for seed in range(1_000_000, 1_000_006)]
    assert all(row["left"] for row in rows)
    assert [row["turns"] for row in rows] == pytest.approx([1.0] * 6, abs=0.07)
    assert [row["launch"] for row in rows] == pytest.approx([1.0] * 6, abs=0.15)


def test_a_wind_by_seed_is_the_same_again() -> None:
    cell = Cell("alone", feet="shuffles")
    assert judged(wind(cell, 1_000_003)) == judged(wind(cell, 1_000_003))


def wound(*heard: tuple[Word, Truth], **figures: object) -> Wound:
    _, plan, path = plan_of(1.0)
    drawn = replace(draw(1, plain=True), scale=1.0)
    return Wound(Cell(), drawn, plan, path, heard=list(heard), **figures)  # type: ignore[arg-type]


def truth(at_s: float, share: float, distance_m: float, stage: str = "winding", torque: float = 0.5) -> Truth:
    torque_Nm = torque * PLAN.peak_torque_Nm
    return Truth(at_s, share * PLAN.target_turns, distance_m, torque_Nm, 1.0, stage, True)


def phase(at_s: float, name: str) -> Word:
    return {"event": "phase", "at_s": at_s, "phase": name}


@pytest.mark.parametrize(
    ("name", "now", "wrong"),
    [
        ("walk_in", truth(9, 0.5, 1.96, torque=0.5), False),
        ("walk_in", truth(9, 0.2, 1.96, torque=0.2), True),
        ("final_turns", truth(9, 0.9, HOOKS_M + 0.1), False),
        ("final_turns", truth(9, 0.7, 1.2), True),
        ("back_off", truth(9, 0.7, 1.2), True),
        ("back_off", truth(9, 0.99, HOOKS_M), False),
        ("back_off", truth(9, 0.85, HOOKS_M), True),
        ("back_off", truth(9, 0.85, HOOKS_M, "stopped"), False),
        ("ready", truth(9, 0.85, HOOKS_M, "backing"), False),
        ("ready", truth(9, 0.7, 1.9), True),
        ("broken", truth(9, 0.7, 1.0), True),
        ("done", truth(9, 0.9, HOOKS_M, "holding"), True),
    ],
)
def test_a_phase_that_the_truth_contradicts_is_seen(name: str, now: Truth, wrong: bool) -> None:
    assert phases_without_cause(wound((phase(now.at_s, name), now))) == ([name] if wrong else [])


def test_followed_means_ready_after_the_back_off_with_the_true_figures() -> None:
    ready = (phase(50, "ready"), truth(50, 0.8, HOOKS_M, "backing"))
    figures = {"event": "summary", "at_s": 60.0, "peak_turns": None, "peak_torque_mNm": 5.0, "launch_torque_mNm": 4.0}
    summary = (figures, truth(60, 0.8, HOOKS_M, "gone"))
    true = {"peak_Nm": 5.1e-3, "launch_Nm": 3.9e-3, "meant": "stopped early"}
    assert followed(wound(ready, summary, **true)) is True
    assert followed(wound(summary, **true)) is False
    assert followed(wound(ready, (figures | {"launch_torque_mNm": 3.0}, summary[1]), **true)) is False
    assert followed(wound((ready[0], truth(50, 0.8, 1.0)), summary, **true)) is False
    assert followed(wound(ready, summary, peak_Nm=5.1e-3)) is None


def test_intervals_are_those_of_the_textbooks() -> None:
    # Wilson (1927) for 8 of 10, by hand: 0.490-0.943.
    found = share([True] * 8 + [False] * 2)
    assert (found.value, found.low, found.high) == pytest.approx((0.8, 0.490, 0.943), abs=0.001)
    values = [float(n % 7) for n in range(400)]
    spread = mean(values)
    half = 1.96 * 2.0 / 20.0
    assert (spread.low, spread.high) == pytest.approx((spread.value - half, spread.value + half), abs=0.05)


def test_cells_by_name_and_the_tables_of_their_rows() -> None:
    assert named("coach/*/walks") == [f"coach/{equipment}/walks" for equipment in ("meter", "crank", "distance")]
    assert CELLS["coach/distance/any"].channels == "cd"
    row = judged(wind(Cell("alone", feet="walks", plain=True), 1_000_002)) | {
        "cell": "alone/crank/walks",
        "seed": 1_000_002,
    }
    lines = table([row], ["alone/crank/walks"])
    assert len(lines) == 3
    assert all(line.count("|") == lines[0].count("|") for line in lines)
    assert all(line.count("|") == 6 for line in aims([row]))


def test_a_wind_is_drawn_with_its_torque_its_way_and_the_words_for_the_feet() -> None:
    figures = {"risk A": 0.1, "turns": 1.0, "launch": None}
    points = [(0.0, 0.0, 1.96), (780.0, 4.2e-3, 1.96), (1473.0, 7.8e-3, 0.22)]
    found = {"points": points, "told": [780.0, 900.0], "scale": 1.0, "figures": figures}
    drawn = ElementTree.fromstring(picture(found, "One <wind>"))
    lines = [part for part in drawn if part.tag.endswith("polyline")]
    assert len(lines) == 4
    assert (lines[2].get("points") or "").count(",") == 3
    said = " ".join(part.text or "" for part in drawn if part.tag.endswith("text"))
    assert "One <wind>" in said
    assert "not reached" in said
