"""What is good and untrue: each test is named after what went wrong before, on winds with a truth of their own."""

from __future__ import annotations

from dataclasses import asdict, replace
from typing import Any

import pytest

from tests.coach.untrue import (
    World,
    changed_from,
    distance_once,
    negated,
    pulses_lost,
    stuck_from,
    weight_on,
)
from tests.scenario import PLAN, SETTINGS, coached, wind
from winding_coach.base.inputs import BytesArrived, Input, KeyPressed, LinkDown, LinkUp, TimePassed
from winding_coach.coach.ending import ENDS_AFTER_S
from winding_coach.coach.said import Alarm, Level, Phase, Prompt
from winding_coach.coach.step import Coach
from winding_coach.meter.frames import FrameParser, Hello, Sample, encode_hello, encode_sample
from winding_coach.simulator.bench import MeterModel

C, CD, ALONE = MeterModel(channels="c"), MeterModel(channels="cd"), MeterModel(channels="")
MORE = {"start_cranking", "keep_cranking", "crank_faster", "crank_slower", "walk_in_to", "hold_distance"}


def stopped(world: World, code: str, *, within_turns: float, of_turns: float) -> None:
    """The danger was said within so many turns of the untruth, and nothing that means more afterwards."""
    found = next(one for one in world.said if isinstance(one, Alarm) and one.code == code and one.active)
    assert found.level is Level.DANGER
    assert not world.broken
    assert world.top_turns < of_turns + within_turns + 60.0
    assert not MORE & {one.code for one in world.said if isinstance(one, Prompt) and one.at_s > found.at_s}
    off = [one for one in world.said if isinstance(one, Alarm) and one.code == code and not one.active]
    assert off == [], "it does not go out by itself"


# -- frozen


@pytest.mark.parametrize("meter", [C, ALONE], ids=["pulses", "alone"])
def test_a_reading_that_stuck_in_mid_wind_said_keep_cranking_until_it_broke(meter: MeterModel) -> None:
    stopped(
        World(spoil=stuck_from(400), meter=meter, longest_s=75.0).run(), "meter_frozen", within_turns=20, of_turns=400
    )


def test_a_reading_that_stuck_with_the_pulses_was_not_noticed() -> None:
    world = World(spoil=stuck_from(400, pulses=True), meter=C, longest_s=75.0).run()
    stopped(world, "meter_frozen", within_turns=20, of_turns=400)


# -- distance


@pytest.mark.parametrize("distance_mm", [8190, 0, -40, 2**31 - 1])
def test_one_absurd_distance_made_the_torque_scale_no_number_or_skipped_the_walk_in(distance_mm: int) -> None:
    world = World(spoil=distance_once(300, distance_mm), meter=CD, longest_s=55.0).run()
    true = World(meter=CD, longest_s=55.0).run()
    assert world.phases() == true.phases() == [Phase.SET_ZERO, Phase.STRETCH_OUT, Phase.WIND_STRETCHED]
    assert world.alarms() == true.alarms() == []
    # A distance that the protocol does not allow makes its line a bad one: one torque fewer in the scale's fit.
    assert asdict(world.coach.limits) == {
        name: value if value is None or isinstance(value, tuple) else pytest.approx(value, rel=1e-5)
        for name, value in asdict(true.coach.limits).items()
    }


def test_a_distance_sensor_that_dies_is_given_up() -> None:
    def dies(sample: Sample, world: World) -> Sample:
        return replace(sample, distance_mm=0) if world.at_s > 20.0 else sample

    world = World(spoil=dies, meter=CD, longest_s=40.0).run()
    assert "distance_lost" in world.alarms()
    assert world.coach.view.reading.distance_m is None


# -- direction


@pytest.mark.parametrize("meter", [C, ALONE], ids=["pulses", "alone"])
def test_a_motor_wound_the_other_way_had_no_limit(meter: MeterModel) -> None:
    """Readings of both ways are the same from where the direction is known."""
    other = World(spoil=negated, meter=meter, longest_s=90.0).run()
    usual = World(meter=meter, longest_s=90.0).run()
    assert other.alarms().count("other_way") == 1
    assert other.phases() == usual.phases()
    assert other.readings[-1].torque_Nm == pytest.approx(usual.readings[-1].torque_Nm, rel=0.02)


def test_a_winder_that_is_cranked_backwards_counts_all_the_same() -> None:
    """Two sensors count down there: its turns were none, and the sensor was given up for dead."""
    usual = World(meter=MeterModel(channels="q"), longest_s=40.0).run()
    other = World(meter=MeterModel(channels="q", left_hand=True), longest_s=40.0).run()
    assert other.alarms() == ["other_way"]
    assert other.coach.view.reading.turns_source == "counted"
    assert other.coach.view.reading.turns == pytest.approx(other.motor.turns, abs=12.0)
    assert other.coach.view.reading.turns == pytest.approx(usual.coach.view.reading.turns, abs=1.0)


def test_a_limit_holds_for_the_size_of_torque_before_any_direction_is_known() -> None:
    world = World(meter=C)
    world.coach.step(LinkUp(0.0, "p"))
    counts = round(84_200 - 1.1 * PLAN.peak_torque_Nm / SETTINGS.calibration.Nm_per_count)
    for number in range(80):
        world.coach.step(BytesArrived(number / 80, encode_sample(Sample(number, number * 12500, counts + number % 7))))
    assert "overwind" in [alarm.code for alarm in world.coach.view.alarms]


def test_torque_against_the_direction_that_was_told_stops_the_wind() -> None:
    told = replace(SETTINGS, direction="left")
    world = World(settings=told, meter=C, longest_s=40.0).run()
    (found,) = {one.figures.reasons for one in world.said if isinstance(one, Alarm) and one.code == "far_off"}
    assert found[0] == "direction"


# -- far from the label


@pytest.mark.parametrize(
    ("how", "first"),
    [
        ({"meter": replace(C, gain_error=-0.9)}, "gain"),
        ({"meter": replace(C, gain_error=-0.5)}, "ratio"),
        ({"ratio": 16.0, "meter": C}, "ratio"),
        ({"spoil": pulses_lost(0.3), "meter": C}, "pulses"),
        ({"spoil": pulses_lost(0.5), "meter": C}, "ratio"),
    ],
    ids=["gain x 0.1", "gain x 0.5", "ratio 16 typed as 10", "30 % of pulses lost", "50 % of pulses lost"],
)
def test_a_caution_that_went_out_at_the_walk_in_is_a_stop(how: dict[str, Any], first: str) -> None:
    """Half of the pulses, half of the gain and a ratio of twice as much are one and the same at full stretch."""
    world = World(longest_s=75.0, **how).run()
    stopped(world, "far_off", within_turns=100, of_turns=620)
    found = next(one for one in world.said if isinstance(one, Alarm) and one.code == "far_off")
    assert found.figures.reasons[0] == first
    assert world.coach.limits.peak_Nm <= 1.081 * PLAN.peak_torque_Nm


@pytest.mark.parametrize("turns", [500.0, 1250.0], ids=["at full stretch", "in the last turns"])
@pytest.mark.parametrize(
    "how", [{"gain": 0.4}, {"zero_Nm": 0.25 * PLAN.peak_torque_Nm}, {"zero_Nm": -0.25 * PLAN.peak_torque_Nm}], ids=str
)
def test_a_zero_that_steps_or_a_gain_that_falls_in_mid_wind_went_unsaid(how: dict[str, float], turns: float) -> None:
    """Where feet stand still torque cannot jump from one line to the next and stay there."""
    world = World(spoil=changed_from(turns, **how), meter=C).run()
    found = next(one for one in world.said if isinstance(one, Alarm) and one.code == "far_off")
    begun_s = next(truth.at_s for truth in world.truths if truth.turns >= turns)
    assert begun_s < found.at_s < begun_s + 1.5
    assert not MORE & {one.code for one in world.said if isinstance(one, Prompt) and one.at_s > found.at_s}
    assert world.top_turns < turns + 30.0
    assert set(found.figures.reasons) <= {"zero", "gain", "pulses"}
    assert world.past_target < 1.03


@pytest.mark.parametrize("how", [{"gain": 0.5}, {"zero_Nm": -0.35 * PLAN.peak_torque_Nm}], ids=str)
def test_what_creeps_during_the_walk_in_is_seen_at_the_hooks(how: dict[str, float]) -> None:
    """Slowly enough to be nobody's jump: the scale of full stretch does not hold any more."""
    world = World(spoil=changed_from(800.0, within_s=20.0, **how), meter=C).run()
    assert world.past_target < 1.03
    assert not world.broken
    assert "far_off" in world.alarms()


def test_going_on_in_doubt_takes_the_lower_of_both_targets() -> None:
    world = World(meter=replace(C, gain_error=0.5), longest_s=60.0, keys=((55.0, "go_on"),)).run()
    assert world.coach.limits.peak_Nm == PLAN.peak_torque_Nm
    assert [alarm.code for alarm in world.coach.view.alarms][:1] == ["going_on"]
    low = World(meter=replace(C, gain_error=-0.5), longest_s=60.0, keys=((55.0, "go_on"),)).run()
    assert low.coach.limits.peak_Nm == pytest.approx(0.5 * PLAN.peak_torque_Nm, rel=0.05)


# -- turns in


@pytest.mark.parametrize("turns", [60.0, 100.0, 150.0, 250.0])
def test_turns_left_in_the_motor_were_wound_past_the_target(turns: float) -> None:
    world = World(turns_in=turns, meter=C, longest_s=45.0).run()
    assert "turns_in" in world.alarms()
    assert world.coach.view.reading.turns == pytest.approx(world.motor.turns, abs=0.1 * turns + 12.0)


def test_an_empty_motor_is_not_said_to_hold_turns() -> None:
    for meter in (C, ALONE):
        assert "turns_in" not in World(meter=meter, longest_s=45.0).run().alarms()


def test_turns_in_that_were_told_are_counted_from() -> None:
    world = World(settings=replace(SETTINGS, turns_in=100.0), turns_in=100.0, meter=C, longest_s=40.0).run()
    assert world.coach.view.reading.turns == pytest.approx(world.motor.turns, abs=12.0)
    keyed = World(
        turns_in=40.0, meter=C, longest_s=40.0, keys=tuple((12.0 + n / 10, "more_turns_in") for n in range(4))
    )
    assert keyed.run().coach.view.reading.turns is not None


# -- zero


def test_a_zero_taken_with_a_weight_on_the_hook_cranked_to_twice_the_peak() -> None:
    weight = weight_on(1.0, 6.0, 1.5e-3)
    world = World(spoil=weight, meter=C, keys=((4.5, "tare"),), longest_s=12.0).run()
    assert "zero_refused" in world.alarms()
    assert world.coach.view.tared
    assert abs(world.coach.view.zero_counts - 84_200) < 20 + 60e-6 / SETTINGS.calibration.Nm_per_count  # type: ignore[operator]


# -- old


def test_a_link_that_delivers_less_than_the_time_s_lines_showed_old_torque_as_live() -> None:
    world = World(link=0.92, meter=C, longest_s=40.0).run()
    assert "meter_silent" in world.alarms()
    assert world.coach.view.stale


def lines(count: int, *, clock: bool = True, number: bool = True, crank: int = 0) -> list[bytes]:
    """Lines of a meter at rest, 80 a second, with some noise."""
    return [
        encode_sample(Sample(n if number else 7, n * 12500 if clock else 4242, 84_200 + (n * 7919) % 9, 0, crank))
        for n in range(count)
    ]


@pytest.mark.parametrize(
    ("clock", "number", "what"),
    [(False, True, "clock"), (True, False, "line number"), (False, False, "clock and line number")],
)
def test_a_clock_or_a_line_number_that_stands_says_why_the_coach_waits(clock: bool, number: bool, what: str) -> None:
    coach = Coach(SETTINGS)
    coach.step(LinkUp(0.0, "p"))
    for n, line in enumerate(lines(400, clock=clock, number=number)):
        coach.step(BytesArrived(n / 80, line))
    assert coach.view.link.state == "silent"
    assert what in str(coach.view.link.reason)
    assert coach.view.reading.torque_Nm is None


def test_forty_pulses_in_one_line_are_no_turns() -> None:
    coach = Coach(SETTINGS)
    coach.step(LinkUp(0.0, "p"))
    for n, line in enumerate(lines(80)):
        coach.step(BytesArrived(n / 80, line))
    for n, line in enumerate(lines(160, crank=40)[80:], 80):
        coach.step(BytesArrived(n / 80, line))
    assert coach.view.reading.turns == 0.0


def test_another_board_in_mid_wind_is_said() -> None:
    coach = Coach(SETTINGS)
    coach.step(LinkUp(0.0, "p"))
    coach.step(BytesArrived(0.0, encode_hello(Hello(1, (("board", "one"), ("ch", "c"))))))
    for n, line in enumerate(lines(80)):
        coach.step(BytesArrived(n / 80, line))
    coach.step(BytesArrived(1.0, encode_hello(Hello(1, (("board", "two"), ("ch", "c"))))))
    coach.step(BytesArrived(1.0, lines(81)[80]))
    assert [alarm.code for alarm in coach.view.alarms] == ["other_meter"]
    assert coach.view.stale
    coach.step(KeyPressed(3.1, "go_on"))
    assert "other_meter" not in [alarm.code for alarm in coach.view.alarms]


# -- what the last flight left


def test_turns_that_the_last_flight_left_are_told_from_a_stiff_motor() -> None:
    left = replace(SETTINGS, turns_expected=160.0)
    held = World(settings=left, turns_in=160.0, torque_scale=1.08, meter=C, longest_s=45.0).run()
    found = held.coach._gathering.turns_in.held
    assert found.source == "as left"
    assert found.turns == pytest.approx(160.0, abs=15.0)
    said = [one for one in held.said if isinstance(one, Alarm) and one.code == "turns_in"]
    assert "as its last flight left" in said[0].text
    assert said[0].as_json()["reasons"] == ["flight"]


def test_a_motor_that_was_let_down_since_is_found_empty() -> None:
    empty = World(settings=replace(SETTINGS, turns_expected=160.0), torque_scale=1.08, meter=C, longest_s=45.0).run()
    assert empty.coach._gathering.turns_in.held.turns < 10.0
    assert "turns_in" not in empty.alarms()


# -- broke or came off


@pytest.mark.parametrize(("gone", "outcome"), [(True, "gone"), (False, "lost")])
def test_a_wind_that_nobody_looks_after_ends_by_itself(gone: bool, outcome: str) -> None:
    """It waited for ever once torque was gone, or the meter's link was down."""
    coach, _ = coached(slipped(8.0)[:-1] if not gone else tuple(e for e in slipped(99.0) if e.at_s < 44.0))
    assert coach.view.phase is (Phase.BROKEN if gone else Phase.WIND_STRETCHED)
    if not gone:
        coach.step(LinkDown(45.0, "pulled"))
    coach.step(TimePassed(45.0 + ENDS_AFTER_S - 20.0))
    assert not coach.finished
    coach.step(KeyPressed(45.0 + ENDS_AFTER_S - 10.0, "count"))
    coach.step(TimePassed(45.0 + ENDS_AFTER_S + 10.0))
    assert not coach.finished, "somebody is there"
    coach.step(TimePassed(45.0 + 2.0 * ENDS_AFTER_S))
    assert coach.summary is not None
    assert coach.summary.outcome == outcome


def slipped(for_s: float) -> tuple[Input, ...]:
    """A wind at full stretch in which the torque is gone for some seconds, and back."""
    parser, shown = FrameParser(), []
    for event in wind("good"):
        if isinstance(event, BytesArrived) and event.at_s < 45.0:
            frames = [frame for frame in parser.feed(event.data) if isinstance(frame, Sample)]
            if 35.0 < event.at_s < 35.0 + for_s:
                frames = [replace(frame, raw=84_204 + (frame.seq * 7919) % 9) for frame in frames]
            event = BytesArrived(event.at_s, b"".join(encode_sample(frame) for frame in frames))
        if event.at_s < 45.0:
            shown.append(event)
    return tuple(shown)


def test_a_motor_that_slipped_off_for_eight_seconds_was_broken_and_the_wind_closed() -> None:
    coach, said = coached(slipped(8.0))
    assert "motor_broke" in [one.code for one in said if isinstance(one, Alarm)]
    phases = [phase for _, _, phase in coach.view.phase_starts]
    at = phases.index(Phase.BROKEN)
    assert phases[at + 1] == phases[at - 1] == Phase.WIND_STRETCHED, "it goes on where it was"
    assert coach.summary is None


@pytest.mark.parametrize(("key", "outcome"), [("broke", "broken"), ("quit", "gone")])
def test_a_motor_is_broken_only_when_somebody_says_so(key: str, outcome: str) -> None:
    coach, _ = coached((*slipped(20.0), KeyPressed(46.0, key)))
    assert coach.summary is not None
    assert coach.summary.outcome == outcome


def test_another_motor_can_be_hooked_up_after_one_came_off() -> None:
    coach, _ = coached((*slipped(20.0), KeyPressed(46.0, "next")))
    assert coach.view.phase is Phase.STRETCH_OUT
    assert coach.view.reading.turns in (None, 0.0)


@pytest.mark.parametrize("turns", [100.0, 200.0])
def test_turns_in_a_motor_are_said_by_torque_alone_as_it_is_hooked_up(turns: float) -> None:
    """Torque that comes at once came with the motor: no crank brings so much. It went unsaid, and "Start cranking" came
    on the way out."""
    world = World(turns_in=turns, meter=ALONE, longest_s=25.0).run()
    assert "turns_in" in world.alarms()
    assert world.coach._gathering.turns_in.held.turns == pytest.approx(turns, rel=0.35)
