"""The guard that knows the truth: that its meter speaks the protocol, that it finds what is planted, and some winds.

At length: `python -m tests.bench.truth_search`.
"""

from __future__ import annotations

import re
from dataclasses import replace
from random import Random

import pytest

from tests.bench.truth_alike import nearest
from tests.bench.truth_search import Shrinker
from tests.trust.truth.planted import FAULTS
from tests.trust.truth.sender import RAW_MAX, Hand, Sender
from tests.trust.truth.untruths import KINDS, Untruth
from tests.trust.truth.wind import wound
from tests.trust.truth.words import asks_for_turns, no_numbers
from tests.trust.truth.world import NM_PER_COUNT, ZERO_COUNTS, World, world
from winding_coach.coach.said import Prompt
from winding_coach.meter.frames import LONGEST_LINE, FrameParser, Hello, Sample

PEAK_NM = 6e-3


def sent_by(one: World, seconds: float = 6.0) -> tuple[list[Sample], list[Hello], int]:
    """Return the samples and hellos of a crank that turns evenly at 3 mN·m, and how many lines could not be read, not
    counting those with a distance that the protocol does not have: they are bad lines, and must be."""
    sender = Sender(one, PEAK_NM, Random(1))
    for untruth in one.untruths:
        sender.begin(untruth, 0.0)
    parser, frames, was, outside = FrameParser(), [], Hand(0.0, 3e-3, 0.0, 1.5, ""), 0
    while was.at_s < seconds:
        now = Hand(was.at_s + 0.05, 3e-3, was.revolutions + 0.075, 1.5, "")
        for line in sender.lines(was, now):
            assert all(len(text) <= LONGEST_LINE for text in line.data.splitlines(keepends=True))
            frames += parser.feed(line.data)
            outside += sum(not 0 <= int(mm) < 2**16 for mm in re.findall(rb",d=(-?[0-9]+)", line.data))
        was = now
    bad = parser.bad_lines - outside
    return [f for f in frames if isinstance(f, Sample)], [f for f in frames if isinstance(f, Hello)], bad


def test_the_search_speaks_the_protocol() -> None:
    samples, hellos, bad = sent_by(World(ripple=0.0, zero_off=0.0, noise_Nm=0.0))
    assert bad == 0
    assert len(samples) == pytest.approx(6.0 * 40.0, abs=2)
    assert [sample.seq for sample in samples] == list(range(len(samples)))
    assert hellos[0].channels == "cd"
    assert samples[-1].crank == 9
    assert samples[-1].raw == pytest.approx(ZERO_COUNTS + 3e-3 / NM_PER_COUNT, abs=1)
    assert samples[-1].distance_mm == pytest.approx(1500, abs=20)
    assert 24_900 < samples[-1].t_us - samples[-2].t_us < 25_100


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_every_untruth_can_be_sent(kind: str) -> None:
    """Untrue lines are good lines: what is wrong with them is what they say. A distance out of the protocol's range is
    a bad one."""
    for seed in range(4):
        untruth = KINDS[kind](Random(seed))
        samples, _, bad = sent_by(World(untruths=(untruth,)))
        assert bad == 0
        assert kind == "silent" or samples


def test_untruths_are_what_they_say() -> None:
    frozen, _, _ = sent_by(World(untruths=(Untruth("raw frozen"),)))
    assert len({sample.raw for sample in frozen}) == 1
    assert frozen[-1].crank == 9
    both, _, _ = sent_by(World(untruths=(Untruth("all frozen"),)))
    assert {sample.crank for sample in both} == {0}
    other, _, _ = sent_by(World(untruths=(Untruth("torque negative", -1.0),)))
    assert other[-1].raw is not None
    assert other[-1].raw < ZERO_COUNTS - 2e-3 / NM_PER_COUNT
    full, _, _ = sent_by(World(untruths=(Untruth("end of range", 0.4),)))
    assert full[-1].raw == RAW_MAX
    lost, _, _ = sent_by(World(untruths=(Untruth("pulses lost", 0.5),)), 60.0)
    assert lost[-1].crank is not None
    assert 30 < lost[-1].crank < 60


def test_a_slow_link_and_a_slow_clock_send_the_same_lines() -> None:
    """So a program can only take both for old: lines are stamped 25 ms apart and come 27 ms apart."""
    slow_link, _, _ = sent_by(World(), 6.0)
    slow_clock, _, _ = sent_by(World(lines_per_s=36.8, untruths=(Untruth("clock runs wrong", 36.8 / 40.0),)), 6.0)
    for one, other in zip(slow_link, slow_clock, strict=False):
        assert one.seq == other.seq
        since = one.t_us - slow_link[0].t_us, other.t_us - slow_clock[0].t_us
        assert abs(since[0] - since[1]) < 100


def test_what_no_program_can_tell() -> None:
    """Turns in the motor beside a true count can be told; lost pulses with a low gain cannot."""
    few = nearest(World(untruths=(Untruth("turns in", 15.0),)))
    many = nearest(World(untruths=(Untruth("turns in", 60.0),)))
    assert few.alike
    assert not many.alike
    assert many.off > 0.04
    pair = nearest(World(untruths=(Untruth("pulses lost", 0.1), Untruth("gain", 0.92))))
    assert pair.alike
    assert pair.end > 1.1


def test_a_wind_comes_back_by_its_seed() -> None:
    assert world(1_000_012) == world(1_000_012)
    short = replace(world(1_000_012), untruths=(Untruth("raw frozen"), Untruth("silent", 0.0, 0.2, 5.0)))
    assert wound(short) == wound(short)


def test_words_that_ask_for_turns() -> None:
    assert asks_for_turns(Prompt(0.0, "keep_cranking", "Keep cranking."))
    assert asks_for_turns(Prompt(0.0, "anything_new", "Walk slowly; crank on."))
    assert not asks_for_turns(Prompt(0.0, "keep_cranking", "Stop: readings do not change."))
    assert not asks_for_turns(Prompt(0.0, "anything_new", "Stop cranking: turn the crank no further."))


def test_no_number_is_found_wherever_it_is() -> None:
    assert list(no_numbers({"a": [1.0, float("inf")]})) == [".a"]
    assert list(no_numbers("Reads nan% above its label."))
    assert not list(no_numbers("Nancy is in for information: 3 %."))


PLANTED = (
    ("an absurd distance makes NaN", World(untruths=(Untruth("absurd distance", 8190, 0.2, 0.05),))),
    ("readings that stand are believed", World(untruths=(Untruth("raw frozen", 0.0, 0.2),))),
    ("limits hold for torque above zero only", World(untruths=(Untruth("torque negative", -1.0),))),
    ("a backlog counts as now", World(untruths=(Untruth("backlog", 0.8, 0.1),))),
    ("it decides that the motor broke", World(untruths=(Untruth("slips off", 1.0, 0.2),))),
    ("no danger is one", World(untruths=(Untruth("silent", 0.0, 0.2, 8.0),))),
)


@pytest.mark.parametrize(("name", "where"), PLANTED, ids=[name for name, _ in PLANTED])
def test_a_planted_fault_is_found(name: str, where: World) -> None:
    """Each row of what went wrong, as a coach that is broken on purpose; all of them: `truth_search planted`."""
    fault = FAULTS[name]
    outcome = wound(replace(where, ratio=16.0), fault.make)
    assert set(outcome.broken_rules) & set(fault.rules), outcome


def test_a_wind_is_shrunk_to_the_untruth_that_it_takes() -> None:
    fault = FAULTS["an absurd distance makes NaN"]
    absurd = Untruth("absurd distance", 8190, 0.2, 0.05)
    pair = World(ratio=16.0, untruths=(Untruth("double pulses", 0.3), absurd))
    assert "no number" in wound(pair, fault.make).broken_rules
    assert Shrinker(fault.make).shrunk(pair, "no number").untruths == (absurd,)


SOUND = (1_000_002, 1_000_004, 1_000_006, 1_000_010, 1_000_011, 1_000_012, 1_000_016, 1_000_020, 1_000_022, 1_000_025)
"""Winds of the search in which no rule is broken any more: a stopped process, an absurd distance, a slow link, a motor
that slips off, a stuck distance, readings and pulses that stand with half the gain, the other way round with four
pulses a turn, a mass typed wrong, a slow link with readings that stand, nothing."""


@pytest.mark.parametrize("seed", SOUND)
def test_no_rule_is_broken(seed: int) -> None:
    assert wound(world(seed)).broken_rules == {}


def test_a_torque_that_falls_to_nothing_in_the_walk_in_raises_nothing() -> None:
    """The logarithm of a torque below zero ended the coach: a strain gauge that comes loose while one walks in."""
    assert "raised" not in wound(world(5_000_165)).broken_rules


def test_an_honest_wind_gets_its_turns() -> None:
    """A coach that stops every wind would break no other rule."""
    outcome = wound(World(seed=1_000_001, ratio=16.0, channels="c", walks="strides"))
    assert outcome.broken_rules == {}
    assert 0.95 < outcome.most < 1.03
    assert not outcome.broke
