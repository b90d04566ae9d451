"""How good somebody is at winding, as figures: beginner, practised, expert. Values only.

Every figure is an assumption, no source, but for the reaction time (about 0.7 s from sign to hand in the midst of
work: common practice of ergonomics, from memory). They were chosen before the coach was tuned and not moved with it.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Skill:
    """Times in s, lengths in m, shares and chances 0-1.

    reaction_s, reaction_spread: median and spread (of the logarithm) of the time from noticing to doing.
    looks_s: from one look at the screen or meter to the next, while walking; half of it while standing.
    attention: chance that a cue which is heard is noticed at once; otherwise the next look tells.
    tone_s: from the tone of the rate to the hand; it is followed, not read.
    step_m: length of a step-in that nobody measured out; least_m: smallest that can be made on purpose, by leaning
    and shuffling; step_spread: spread (of the logarithm) of both. judges: error of judging where one stands.
    crank_rev_per_s: comfortable speed; own_pace: spread of it between people; unevenness: of it from second to
    second; load_slows: share by which full torque slows it.
    stalls: chance that a step-in of step_m stops the crank, for about stall_s; it goes with the square of the step
    and is at most three times as much; without steps_matter it is the same for every step. reminded: times that
    chance while a word to crank on is fresh in mind.
    eager: share by which they walk in faster than they should.
    late_s: keeps cranking so much longer than meant, on average. reads: error of reading a torque off a meter.
    plans: how well the walk-in is known by heart, 0 not at all. allows: share of a motor's being stronger or weaker
    than its card, as noticed at full stretch, that is allowed for at the peak by somebody alone.
    """

    reaction_s: float = 0.7
    reaction_spread: float = 0.25
    looks_s: float = 0.9
    attention: float = 0.9
    tone_s: float = 0.5
    step_m: float = 0.05
    least_m: float = 0.015
    step_spread: float = 0.4
    judges: float = 0.03
    crank_rev_per_s: float = 1.2
    own_pace: float = 0.08
    unevenness: float = 0.08
    load_slows: float = 0.15
    stalls: float = 0.03
    stall_s: float = 1.2
    steps_matter: bool = True
    reminded: float = 0.6
    eager: float = 0.1
    late_s: float = 0.3
    reads: float = 0.01
    plans: float = 0.5
    allows: float = 0.25
    counts_past: float | None = 0.05


BEGINNER = Skill(
    reaction_s=0.8,
    reaction_spread=0.35,
    looks_s=1.2,
    attention=0.8,
    tone_s=0.6,
    step_m=0.08,
    least_m=0.02,
    step_spread=0.5,
    judges=0.05,
    unevenness=0.15,
    load_slows=0.25,
    stalls=0.18,
    stall_s=1.8,
    eager=0.25,
    late_s=0.8,
    reads=0.015,
    plans=0.0,
    allows=0.0,
    counts_past=None,
)
PRACTISED = Skill()
EXPERT = Skill(
    reaction_s=0.55,
    reaction_spread=0.2,
    looks_s=0.7,
    attention=0.97,
    tone_s=0.4,
    step_m=0.04,
    least_m=0.01,
    step_spread=0.25,
    judges=0.02,
    unevenness=0.05,
    load_slows=0.08,
    stalls=0.004,
    stall_s=0.8,
    eager=0.0,
    late_s=0.1,
    reads=0.007,
    plans=0.9,
    allows=0.5,
    counts_past=0.03,
)
SKILLS: dict[str, Skill] = {"beginner": BEGINNER, "practised": PRACTISED, "expert": EXPERT}
