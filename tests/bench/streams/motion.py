"""What hands and feet do in an invented wind: the crank's angle and speed, and the hook distance, 320 times a second.

Written at twenty ticks a second as a person decides, then smoothed: nobody starts or stops a crank at once.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tests.bench.streams.drawing import Draw

Floats = NDArray[np.float64]
FINE_HZ = 320
TICK_HZ = 20
LOOP_M = 0.45
HOOKS_RATIO = 0.86
"""Distance between the model's hooks over the loop's length; assumed."""
FIRST_SHARE, STRETCHED_SHARE = 0.35, 0.55
"""Share of the peak's turns in the motor when the stream begins, and when the walk-in begins; assumed."""
STANDS_BEFORE_S = 2.0


@dataclass(frozen=True)
class Motion:
    """Fine grid from 0. angle: turns of the crank so far; speed: rev/s; ratio: hook distance over loop length.

    moves: feet move. share: turns in the motor over the peak's own.
    """

    t_s: Floats
    angle: Floats
    speed: Floats
    ratio: Floats
    moves: NDArray[np.bool_]
    share: Floats


@dataclass
class _Ticks:
    """What was decided for each tick: wanted speed as a multiple of the usual, hook distance over loop length."""

    speed: list[float] = field(default_factory=list)
    ratio: list[float] = field(default_factory=list)
    moves: list[bool] = field(default_factory=list)


def stretch_at_peak(wound: float) -> float:
    """Return the strand stretch at the hooks with a share of the turns that break (at a strand stretch of 9.6)."""
    breaking2 = 9.6 * (9.6**2 - HOOKS_RATIO**2)
    return float(np.max(np.roots([1.0, 0.0, -(HOOKS_RATIO**2), -breaking2 * wound**2]).real))


def twist_at_peak(wound: float) -> float:
    """Return turns over the turns scale at the peak."""
    return wound * math.sqrt(9.6 * (9.6**2 - HOOKS_RATIO**2))


def way(draw: Draw, share: float) -> float:
    """Return where the hooks should be, over the loop's length, with a share of the peak's turns wound."""
    peak = stretch_at_peak(draw.wound)
    begun = min(max(share - STRETCHED_SHARE, 0.0) / (0.94 - STRETCHED_SHARE), 1.0)
    stretch = 0.86 * peak + (0.995 - 0.86) * peak * begun
    square = stretch**2 - (min(share, 1.0) * twist_at_peak(draw.wound)) ** 2 / stretch
    if share >= 0.94:
        return HOOKS_RATIO
    return max(math.sqrt(max(square, 0.0)), HOOKS_RATIO)


class _Person:
    """Decides tick by tick. The wind is long enough for the feet; the crank decides when it ends."""

    def __init__(self, draw: Draw, random: np.random.Generator) -> None:
        self.draw, self.random = draw, random
        self.ticks = _Ticks()
        self.share, self.ratio = FIRST_SHARE, way(draw, FIRST_SHARE)
        self.per_turn = (1.0 - FIRST_SHARE) / (draw.duration_s * draw.rev_per_s)
        self.stands_until = STANDS_BEFORE_S
        self.slow_until, self.slow = 0.0, 1.0
        self.target: float | None = None
        self.changed_hands = bool(random.random() < 0.5)
        self.next_look = 0.0

    @property
    def now(self) -> float:
        return len(self.ticks.speed) / TICK_HZ

    def tick(self, speed: float, *, moves: bool = False) -> None:
        self.ticks.speed.append(speed)
        self.ticks.ratio.append(self.ratio)
        self.ticks.moves.append(moves)
        tired = 1.0 - self.draw.tired * max(self.share - 0.5, 0.0) / 0.5
        self.share += speed * tired * self.draw.rev_per_s * self.per_turn / TICK_HZ

    def wind(self) -> None:
        """Crank up to the peak's turns, walk in, with all that comes between."""
        while self.share < 1.0 and self.now < 1.8 * self.draw.duration_s:
            moves = self._feet()
            self.tick(self._crank(moves), moves=moves)

    def stand(self, seconds: float) -> None:
        for _ in range(round(seconds * TICK_HZ)):
            self.tick(0.0)

    def back_off(self) -> None:
        left = self.draw.looses
        while left > 0:
            turns = min(int(self.random.choice((1, 3))), left)
            speed = self.random.uniform(0.6, 1.1)
            tired = (1.0 - self.draw.tired) * self.draw.rev_per_s
            for _ in range(round(turns / (speed * tired) * TICK_HZ)):
                self.tick(-speed)
            left -= turns
            self.stand(self.random.uniform(0.5, 3.0))

    def _chance(self, per_min: float) -> bool:
        return bool(self.random.random() < per_min / 60.0 / TICK_HZ)

    def _crank(self, moves: bool) -> float:
        draw, random = self.draw, self.random
        if self.now < self.stands_until:
            return 0.0
        if not self.changed_hands and self.share > 0.7:
            self.changed_hands = True
            self.stands_until = self.now + random.uniform(1.0, 3.0)
        elif self._chance(draw.stalls_per_min):
            self.stands_until = self.now + float(np.exp(random.uniform(math.log(0.3), math.log(6.0))))
        elif self._chance(draw.slow_per_min):
            self.slow_until, self.slow = self.now + random.uniform(1.0, 4.0), random.uniform(0.2, 0.6)
        per_s = 0.2 if draw.walk == "slow walk" else 3.0
        if moves and random.random() < draw.stops_at_steps * per_s / TICK_HZ:
            self.stands_until = self.now + random.uniform(0.4, 2.0)
        return self.slow if self.now < self.slow_until else 1.0

    def _feet(self) -> bool:
        """Move them by a tick's worth; True while they move."""
        draw, random = self.draw, self.random
        wanted = way(draw, self.share)
        if draw.walk == "slow walk":
            if self.ratio <= wanted + 0.05:
                return False
            left_s = max(1.0 - self.share, 0.02) / (self.per_turn * draw.rev_per_s)
            needed = (self.ratio - HOOKS_RATIO) * LOOP_M / left_s
            pace = random.uniform(0.6, 1.4) * float(np.clip(1.3 * needed, 0.02, 0.10)) / LOOP_M / TICK_HZ
            self.ratio = max(self.ratio - pace, HOOKS_RATIO)
            return True
        if self.target is None and self.now >= self.next_look:
            step = (draw.step_m if draw.walk == "steps" else 0.5) / LOOP_M
            if self.ratio - wanted > step or (wanted <= HOOKS_RATIO < self.ratio):
                self.target = max(self.ratio - step * random.uniform(0.7, 1.3), HOOKS_RATIO)
                if random.random() < draw.step_out:
                    self.target = min(self.ratio + step, 9.0)
                hurry = 0.3 if self.ratio - wanted > 3.0 * step else 1.0
                self.next_look = self.now + hurry * random.uniform(0.5, 3.0)
        if self.target is None:
            return False
        pace = (0.45 if draw.walk == "steps" else 0.25) / LOOP_M / TICK_HZ
        self.ratio += float(np.clip(self.target - self.ratio, -pace, pace))
        if self.ratio == self.target:
            self.target = None
        return True


def smoothed(values: Floats, seconds: float) -> Floats:
    """Return the mean of fine values over a window around each."""
    half = max(round(seconds * FINE_HZ / 2), 1)
    total = np.concatenate([[0.0], np.cumsum(np.pad(values, half, mode="edge"))])
    mean: Floats = (total[2 * half :] - total[: -2 * half])[: len(values)] / (2 * half)
    return mean


def wander(n: int, seconds: float, random: np.random.Generator) -> Floats:
    """Return an Ornstein-Uhlenbeck process of standard deviation 1, cut at 2.5, on the fine grid."""
    keep = math.exp(-1.0 / (seconds * TICK_HZ))
    kicks = random.normal(0.0, math.sqrt(1.0 - keep * keep), n // (FINE_HZ // TICK_HZ) + 2)
    level, levels = float(random.normal()), []
    for kick in kicks.tolist():
        level = keep * level + kick
        levels.append(level)
    coarse = np.arange(len(levels)) * (FINE_HZ // TICK_HZ)
    fine: Floats = np.interp(np.arange(n), coarse, np.clip(levels, -2.5, 2.5))
    return fine


def move(draw: Draw) -> Motion:
    """Return what hands and feet do in this wind."""
    random = np.random.default_rng([draw.seed, round(draw.lines_per_s), 1])
    person = _Person(draw, random)
    person.wind()
    person.stand(float(np.exp(random.uniform(0.0, math.log(6.0)))))
    person.back_off()
    person.stand(2.0)
    ticks = person.ticks
    fine = FINE_HZ // TICK_HZ
    t_s = np.arange(len(ticks.speed) * fine) / FINE_HZ
    wanted = smoothed(smoothed(np.repeat(ticks.speed, fine), draw.ramp_s), draw.ramp_s / 2)
    path = np.interp(t_s, (np.arange(len(ticks.ratio)) + 0.5) / TICK_HZ, ticks.ratio)
    free = np.cumsum(wanted) / FINE_HZ * draw.rev_per_s
    share = FIRST_SHARE + free * person.per_turn  # before fatigue and wander: what tires
    tired = 1.0 - draw.tired * np.clip(share - 0.5, 0.0, 0.5) / 0.5
    base = wanted * tired * draw.rev_per_s * (1.0 + draw.wander * wander(len(t_s), draw.wander_s, random))
    even = np.cumsum(base) / FINE_HZ
    turn = 2.0 * math.pi * (even + draw.uneven_phase)
    angle = draw.angle + even + draw.uneven / (2.0 * math.pi) * np.sin(turn)
    speed = base * (1.0 + draw.uneven * np.cos(turn))
    moves = np.repeat(np.array(ticks.moves, dtype=bool), fine)
    return Motion(t_s, angle, speed, smoothed(path, 0.15), moves, FIRST_SHARE + even * person.per_turn)
