"""Who winds what with which meter: everything that is drawn for one wind, by seed. All ranges and shares are assumed.

Cells with one seed get the same person, motor and meter, whoever leads them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

FEET = ("shuffles", "strides", "at once", "walks", "on the word", "by the needle")
"""Shuffles 3-8 cm; strides 20-60 cm; goes to a mark at once; walks on without stopping; steps only on the word; steps
when the needle is back, whatever is said."""
WILLS = (
    "stops early",
    "backs off early",
    "winds past",
    "cranks first",
    "skips the stretch",
    "rests",
    "unhooks",
    "goes back out",
    "stays behind",
)
WILL_SHARES = (0.08, 0.04, 0.06, 0.05, 0.03, 0.05, 0.04, 0.08, 0.12)
"""Each drawn by itself, so that most people have none and some two."""
CHANGES_TO_A_WALK = 0.5
"""Share of those who step who can walk slowly without stopping where they are told to."""


@dataclass(frozen=True, slots=True)
class Walker:
    """One person. Lengths in m, times in s, speeds of the crank in revolutions a second.

    feet: one of FEET. step_m, step_m_per_s: usual step and its speed. pause_s: from step to step. walk_m_per_s: own
    pace of a slow walk. can_walk: can go without stopping. place: tape, guess or unknown; bias: of where one thinks to
    stand. words_pace: what the words of pace mean to this person, times the coach's meaning; relative: "slower" and
    "quicker" are taken from the present pace. shortens: does so when asked. stalls: never, sometimes, always at a step.
    looks_s: from look to look. bits: back-off in turns at once, 0: all. share: of the target turns, for who ends early.
    """

    feet: str
    wills: frozenset[str]
    step_m: float
    step_m_per_s: float
    pause_s: float
    walk_m_per_s: float
    can_walk: bool
    place: str
    bias: float
    behind_m: float
    words_pace: float
    relative: bool
    shortens: bool
    twice: float
    crank_rev_per_s: float
    uneven: float
    tires: float
    stalls: str
    gets_tired: bool
    changes_hands: bool
    looks_s: float
    looks_walking: bool
    hears: bool
    reaction_s: float
    obeys_numbers: bool
    bits: int
    share: float


@dataclass(frozen=True, slots=True)
class Drawn:
    """A person with a motor and a meter.

    scale: torque of this motor over its figures'. label: mass over the label's. turns_in: turns in it at first.
    way: 1 or -1, the way it is wound.
    """

    walker: Walker
    scale: float
    label: float
    turns_in: float
    way: int
    lines_per_s: float
    ripple: float
    noise: float
    slip: float
    pulses: int
    pulses_lost: float

    @property
    def label_right(self) -> bool:
        """Whether torque is what the label says within 6 %, and the motor was empty and turned the usual way."""
        return abs(self.scale - 1.0) <= 0.06 and self.label == 1.0 and not self.turns_in and self.way == 1


def _walker(rng: np.random.Generator) -> Walker:
    def within(low: float, high: float) -> float:
        return float(rng.uniform(low, high))

    def one(*choices: str, p: tuple[float, ...] | None = None) -> str:
        return str(rng.choice(choices, p=p))

    feet = one(*FEET)
    wills = frozenset(w for w, share in zip(WILLS, WILL_SHARES, strict=True) if rng.random() < share)
    return Walker(
        feet=feet,
        wills=wills,
        step_m=within(0.0, 1.0),
        step_m_per_s=within(0.3, 0.6),
        pause_s=within(0.5, 1.5),
        walk_m_per_s=within(0.02, 0.10),
        can_walk=rng.random() < CHANGES_TO_A_WALK,
        place=one("tape", "guess", "unknown"),
        bias=within(-0.15, 0.15),
        behind_m=within(0.0, 0.5),
        words_pace=float(np.exp(within(np.log(0.5), np.log(2.0)))),
        relative=rng.random() < 0.3,
        shortens=rng.random() < 0.7,
        twice=0.25 if rng.random() < 0.3 else 0.0,
        crank_rev_per_s=within(0.5, 2.2),
        uneven=within(0.05, 0.20),
        tires=within(0.0, 0.4),
        stalls=one("never", "sometimes", "always", p=(0.5, 0.3, 0.2)),
        gets_tired=rng.random() < 0.15,
        changes_hands=rng.random() < 0.3,
        looks_s=within(0.5, 3.0),
        looks_walking=rng.random() < 0.75,
        hears=rng.random() < 0.8,
        reaction_s=within(0.5, 1.5),
        obeys_numbers=rng.random() < 0.5,
        bits=int(rng.choice((0, 1, 3), p=(0.4, 0.3, 0.3))),
        share=within(0.70, 0.95),
    )


STEPS = {
    "shuffles": (0.03, 0.08),
    "strides": (0.20, 0.60),
    "at once": (0.25, 0.50),
    "walks": (0.10, 0.25),
    "on the word": (0.08, 0.40),
    "by the needle": (0.10, 0.30),
}
"""Usual lengths of a step by feet, m. Who goes at once walks to a mark without a stop, at 0.25 m/s."""


def draw(
    seed: int,
    *,
    feet: str | None = None,
    will: str | None = None,
    plain: bool = False,
    lines_per_s: float | None = None,
) -> Drawn:
    """Return what a seed gives. feet, will: these instead of the drawn ones. plain: with no wills but `will`, and a
    motor that is empty, labelled right and wound the usual way. lines_per_s: of the meter, None to draw it."""
    rng = np.random.default_rng([seed, 1606])
    walker = _walker(rng)
    low, high = STEPS[feet or walker.feet]
    walker = replace(
        walker,
        feet=feet or walker.feet,
        step_m=low + walker.step_m * (high - low),
        step_m_per_s=0.25 if (feet or walker.feet) == "at once" else walker.step_m_per_s,
        can_walk=walker.can_walk or (feet or walker.feet) == "walks",
        wills=frozenset({will} if will else ()) if plain or will else walker.wills,
    )
    scale = float(rng.uniform(0.92, 1.08))
    label = float(rng.uniform(0.90, 1.10)) if rng.random() < 1 / 30 else 1.0
    turns_in = float(rng.uniform(0.0, 200.0)) if rng.random() < 0.1 else 0.0
    way = -1 if rng.random() < 0.1 else 1
    drawn_rate = float(rng.choice((10.0, 80.0, 320.0), p=(0.15, 0.7, 0.15)))
    return Drawn(
        walker=walker,
        scale=scale,
        label=1.0 if plain else label,
        turns_in=0.0 if plain else turns_in,
        way=1 if plain else way,
        lines_per_s=lines_per_s or drawn_rate,
        ripple=float(rng.uniform(0.0, 0.06)),
        noise=float(np.exp(rng.uniform(np.log(0.0005), np.log(0.015)))),
        slip=float(rng.uniform(0.005, 0.03)),
        pulses=int(rng.choice((1, 4))),
        pulses_lost=float(rng.uniform(0.0, 0.05)),
    )
