"""Recorded winds are told as they were: phases, stalls, gaps, work; and what they are held against."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from itertools import pairwise

import numpy as np
import pytest

from tests.review.recorded import NAMES, RECORDINGS, recorded
from tests.scenario import MOTOR, PLAN, SETTINGS, WINDER, wind
from winding_coach.base.inputs import BytesArrived, Input, LinkUp
from winding_coach.base.wind_values import VALUES
from winding_coach.coach.said import Phase
from winding_coach.review.wind.compare import (
    FIGURES,
    NOT_KNOWN,
    best_column,
    column_of,
    figures_json,
    label_of,
    median_column,
)
from winding_coach.review.wind.energy import work_of
from winding_coach.review.wind.record import Stall, WindRecord, record_of
from winding_coach.review.wind.telling import WHAT_IS_COUNTED, flown, told
from winding_coach.rubber.figures import FiguresError
from winding_coach.shelf.records import Flight
from winding_coach.simulator.bench import Bench, MeterModel
from winding_coach.simulator.hands import STYLES, ScriptedHands
from winding_coach.simulator.motor import SimulatedMotor
from winding_coach.traces.files import read_trace
from winding_coach.traces.header import Header

LIMIT_COMING_S = 112.0
"""In the good wind the limit is coming then."""
HEADER = Header(id="1", started=datetime(2026, 11, 25, 9, 22, 52, tzinfo=UTC), motor=MOTOR, winder=WINDER)


def test_a_record_says_the_same_as_the_kept_summary() -> None:
    record = recorded("stalled-crank")
    trace = read_trace(RECORDINGS / "stalled-crank.wind.jsonl.gz")
    assert trace.summary is not None
    kept = {key: value for key, value in trace.summary.items() if key != "trace"}
    said = {key: value for key, value in record.summary.as_json().items() if key != "trace"}
    assert {key: said[key] for key in kept} == kept
    assert set(said) - set(kept) <= {"direction", "checks", *(value.key for value in VALUES)}, "said since"


def test_stalls_are_those_that_the_coach_counted() -> None:
    record = recorded("stalled-crank")
    assert len(record.stalls) == record.summary.stalls == 6
    assert sum(stall.lasted_s for stall in record.stalls) == pytest.approx(record.summary.stalled_s, abs=0.01)
    assert all(stall.lost_Nm is not None and stall.lost_Nm >= 0.0 for stall in record.stalls)
    assert max(stall.lost_Nm or 0.0 for stall in record.stalls) > 0.5e-3
    assert Stall(0.0, 1.0, None, None, None).lost_Nm is None


def test_turns_between_counts_never_jump() -> None:
    record = recorded("good-wind")
    turns = [sample.turns or 0.0 for sample in record.wound]
    peak = turns.index(max(turns))
    # Twenty samples a second at 1.25 turns of a 10:1 crank: about 0.6 of a turn from one to the next.
    steps = [after - before for before, after in pairwise(turns[: peak + 1])]
    assert 0.0 <= min(steps) <= max(steps) < 2.0
    assert turns[0] < 25.0
    assert record.wound[-1].torque_Nm > 0.9 * (record.summary.launch_torque_Nm or 0.0)


def test_gaps_and_a_restart_are_told() -> None:
    record = recorded("meter-reset-and-unplugged")
    assert [round(gap.lasted_s) for gap in record.gaps] == [1, 4]
    assert record.restarts == 1
    assert record.work is not None
    assert record.work.bridged_turns > 50.0
    said = " ".join(told(record, "metric"))
    assert "4.3 s at 1:19" in said
    assert "restarted once" in said
    assert "a straight line replaces them" in said
    whole = recorded("good-wind").work
    assert whole is not None
    assert record.work.wound_in_J == pytest.approx(whole.wound_in_J, abs=3.0 * whole.sd_J)


def test_work_is_what_the_simulated_motor_took_and_gave() -> None:
    rng = np.random.default_rng(5)
    motor = SimulatedMotor(MOTOR)
    hands = ScriptedHands(PLAN, MOTOR, WINDER, STYLES["good"], rng)
    bench = Bench(motor, hands, WINDER.ratio, MeterModel(lines_per_s=20.0), rng)
    inputs: list[Input] = [LinkUp(0.0, "simulated")]
    turns, torques = [motor.turns], [motor.torque_Nm]
    while not bench.done:
        data = bench.advance(0.05)
        turns.append(motor.turns)
        torques.append(motor.torque_Nm)
        if data:
            inputs.append(BytesArrived(round(0.05 * len(turns), 6), data))
    work = made(tuple(inputs)).work
    took_J, gave_J = work_of(turns, torques)
    assert work is not None
    assert abs(work.wound_in_J - took_J) < 2.0 * work.sd_J < 1.0
    assert abs(work.returned_J - gave_J) < 2.0 * work.returned_sd_J < 0.5


def test_a_broken_motor_gives_nothing_back() -> None:
    record = recorded("overwound-until-it-broke")
    found = figures_json(record)
    assert found["returned_J"] is None
    assert found["energy_stored_J"] is None
    assert "Broken" in told(record, "metric")[0]
    assert record.samples[-1].phase is Phase.BROKEN
    assert all(sample.phase is not Phase.BROKEN for sample in record.wound)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("units", ["metric", "inch"])
def test_sentences_are_whole_and_columns_too(name: str, units: str) -> None:
    record = recorded(name)
    said = told(record, units)  # type: ignore[arg-type]
    assert all(sentence.endswith((".", ")")) for sentence in said)
    cells = [
        *column_of("x", record, units).cells,  # type: ignore[arg-type]
        *best_column("x", record, units).cells,  # type: ignore[arg-type]
        *median_column("x", [record, record], units).cells,  # type: ignore[arg-type]
    ]
    assert len(cells) == 3 * len(FIGURES)
    assert not [text for text in (*said, *cells) if "nan" in text.lower().replace("mn·m", "") or "None" in text]
    assert "work of the pull" in WHAT_IS_COUNTED
    assert "ozf·in" in label_of(FIGURES[0], "inch")


def made(inputs: tuple[object, ...], settings: object = SETTINGS) -> WindRecord:
    return record_of("x", HEADER, settings, inputs, ["Said of the trace."])  # type: ignore[arg-type]


def test_nothing_at_all_is_said_to_be_nothing() -> None:
    record = made(())
    assert told(record, "metric") == ["No torque was measured in this wind.", "Said of the trace."]
    assert set(column_of("x", record, "metric").cells) == {NOT_KNOWN, "0"}
    assert set(median_column("x", [], "metric").cells) == {NOT_KNOWN}
    assert record.work is None
    assert record.turns_source == "unknown"
    assert record.span(Phase.WALK_IN) is None


def test_a_wind_that_was_left_early_promises_no_flight() -> None:
    inputs = [one for one in wind("good", 3) if one.at_s < LIMIT_COMING_S]
    record = made(tuple(inputs))
    said = " ".join(told(record, "metric"))
    assert "Stopped in 1:" in said
    assert "remain for the flight" not in said
    assert figures_json(record)["energy_stored_J"] is None
    # An alarm that is on at the end ends there.
    assert [(alarm.code, alarm.to_s) for alarm in record.alarms] == [("overwind_soon", inputs[-1].at_s)]
    before = made(tuple(one for one in inputs if one.at_s < 8.0))
    assert "the motor was not wound" in told(before, "metric")[0]


def test_without_a_count_work_is_by_estimated_turns_or_not_told() -> None:
    inputs = wind("good", 3, MeterModel(channels=""))
    record = made(inputs)
    said = " ".join(told(record, "metric"))
    assert record.summary.peak_turns is None
    assert "turns not counted" in said
    assert record.turns_source in ("estimated", "unknown")
    if record.turns_source == "estimated":
        assert "estimated from the torque signal" in said


def test_lost_lines_and_many_stalls_are_told_shortly() -> None:
    record = recorded("stalled-crank")
    many = replace(
        record,
        stalls=record.stalls * 3,
        gaps=recorded("meter-reset-and-unplugged").gaps * 6,
        summary=replace(record.summary, lost_lines=3),
        restarts=2,
    )
    said = " ".join(told(many, "metric"))
    assert "and 10 more" in said
    assert "and 4 more" in said
    assert "3 lines were lost" in said
    assert "restarted 2 times" in said
    fewer = replace(
        record, summary=replace(record.summary, launch_turns=1200.0, peak_turns=None, backed_off_turns=None)
    )
    said = " ".join(told(fewer, "metric"))
    assert "fewer than planned" in said
    assert "Backed off to" in said
    unlaunched = replace(record, summary=replace(record.summary, launch_turns=None))
    assert "turns left for launch" not in " ".join(told(unlaunched, "metric"))


def test_a_flight_is_told_as_far_as_it_is_known() -> None:
    record = recorded("good-wind")
    said = flown(record, Flight("f", "w", "2026-03-01", 300.0, 127.0, ceiling=True, energy_used_J=11.25))
    assert said == (
        "Its flight: 5:00 long, 127 turns left (10% of those at launch), 3.8 turns/s of the motor,"
        " 11.2 J used, touched the ceiling."
    )
    assert flown(record, Flight("f", "w", "2026-03-01")) == ""
    uncounted = replace(record, summary=replace(record.summary, launch_turns=None))
    assert flown(uncounted, Flight("f", "w", "2026-03-01", turns_left=90.0)) == "Its flight: 90 turns left."


def test_figures_that_are_none_are_refused_or_judge_nobody() -> None:
    inputs = read_trace(RECORDINGS / "good-wind.wind.jsonl.gz").inputs[::12]
    settings = recorded("good-wind").settings
    absurd = replace(settings.plan, stretched_torque_Nm=1e-300)
    with pytest.raises(FiguresError, match="does not fit this motor"):
        made(inputs, replace(settings, plan=absurd))
    # Turns below none: the plan has no torque there.
    backwards = made(inputs, replace(settings, winder=replace(settings.winder, ratio=-1.0)))
    assert backwards.review.figures.torque_scale is None
    assert backwards.review.figures.path_off is None


def test_a_calibration_without_uncertainty_says_so() -> None:
    record = recorded("good-wind")
    settings = replace(record.settings, calibration=replace(record.settings.calibration, sd_Nm=None))
    assert "the meter's own uncertainty not known" in " ".join(told(replace(record, settings=settings), "metric"))


def test_a_torque_without_a_launch_unhooks_nothing() -> None:
    record = recorded("good-wind")
    short = replace(record, summary=replace(record.summary, launch_torque_Nm=None))
    assert len(short.wound) >= len(record.wound)


def test_the_countdown_of_a_good_wind_is_no_warning() -> None:
    record = recorded("good-wind")
    assert "overwind_soon" in [alarm.code for alarm in record.alarms]
    assert "warnings" not in " ".join(told(record, "metric"))
    spoilt = recorded("overwound-until-it-broke")
    assert "Other warnings: overwind at" in " ".join(told(spoilt, "metric"))


@pytest.mark.parametrize(("launch_Nm", "said"), [(0.99, "relaxed by"), (1.02, "came back by 2.0%")])
def test_torque_that_comes_back_after_the_last_turn_off_did_not_relax(launch_Nm: float, said: str) -> None:
    """A wind was told that -2.1 % of its torque had relaxed."""
    wind = recorded("good-wind")
    ready = wind.span(Phase.READY)
    assert ready is not None
    first = [one.torque_Nm for one in wind.samples if ready.from_s <= one.at_s <= ready.from_s + 1.0]
    summary = replace(wind.summary, launch_torque_Nm=launch_Nm * sum(first) / len(first), wait_s=12.0)
    assert said in " ".join(told(replace(wind, summary=summary), "metric"))
