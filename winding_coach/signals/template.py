"""Bins of torque and turns of the handle in; where a pulse is overdue, whether torque went on or the handle stands.

The ripple over the handle's angle is learnt turn by turn. Where a pulse was lost torque follows that template on;
where the handle stands it stays at one of its angles. The two are weighed by a generalised likelihood ratio.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from itertools import islice
from typing import Any

import numpy as np
from numpy.typing import NDArray

from winding_coach.signals.tuning import (
    TEMPLATE_BACK,
    TEMPLATE_HARMONICS,
    TEMPLATE_KINK_LENGTH,
    TEMPLATE_KINK_PENALTY,
    TEMPLATE_KINK_PER_S,
    TEMPLATE_KINKS,
    TEMPLATE_LEAN,
    TEMPLATE_LEAST2,
    TEMPLATE_MEMORY,
    TEMPLATE_ODD,
    TEMPLATE_SLOPE_PER_S,
    TEMPLATE_SPEEDS,
    TEMPLATE_SPREAD_GAIN,
    TEMPLATE_STOPS,
    TEMPLATE_TAIL,
    TEMPLATE_TURNS,
)

Floats = NDArray[np.float64]

_FEWEST_BINS = 5
_ORDERS = np.arange(1.0, TEMPLATE_HARMONICS + 1.0)[:, None]
_SPEEDS = np.array(TEMPLATE_SPEEDS)[:, None]
_STOPS = np.array(TEMPLATE_STOPS)[:, None]
_KINKS = np.array(TEMPLATE_KINKS)[:, None]
_PENALTIES = np.array([0.0, *(TEMPLATE_KINK_PENALTY for _ in TEMPLATE_KINKS)])


class HandleTemplate:
    """The ripple as a share of torque over one turn, counted from the pulse; `spread`: what it leaves (rms of a bin).

    Turns are turned at an even speed as far as the template knows: what is uneven in every turn becomes part of it.
    """

    def __init__(self, tick_hz: float) -> None:
        self._tick_s = 1.0 / tick_hz
        self.reset()

    def reset(self) -> None:
        self.turns = 0
        self._waves: list[complex] = [0j] * TEMPLATE_HARMONICS
        self._normal = np.zeros((2 * TEMPLATE_HARMONICS, 2 * TEMPLATE_HARMONICS))
        self._wanted = np.zeros(2 * TEMPLATE_HARMONICS)
        self._left2 = 0.0

    @property
    def spread(self) -> float:
        """What the template left of late, rms of a bin, as a share of torque."""
        return math.sqrt(self._left2)

    def ripple(self, turn: NDArray[np.floating[Any]]) -> Floats:
        """Ripple as a share of torque at these turns since a pulse, any shape."""
        step = np.exp(-2j * math.pi * turn)
        at = step
        out = np.zeros(turn.shape)
        for wave in self._waves:
            out += (at * wave).real
            at = at * step
        return out

    def learn(self, bins: Iterable[float], newest_s: float, pulse_s: float, period_s: float) -> None:
        """A turn of period_s ended at pulse_s. bins: newest first, the middle of the newest at newest_s, not before it.

        Least squares over the turns of late, the older the less (Haykin 2002, Adaptive Filter Theory, ch. 9), each
        turn freed of its own level and slope first; a turn that fits badly, as in a step-in, counts less.
        """
        late = math.ceil((newest_s - pulse_s) / self._tick_s)
        early = int((newest_s - pulse_s + period_s) / self._tick_s) + 1
        torque = np.fromiter(islice(bins, late, early), np.float64)
        n = len(torque)
        level = float(torque.mean()) if n >= _FEWEST_BINS else 0.0
        if level <= 0.0:
            return
        turn = (newest_s - pulse_s - self._tick_s * np.arange(late, late + n, dtype=np.float64)) / period_s
        angles = 2 * math.pi * _ORDERS * turn
        rows = np.concatenate([np.cos(angles), np.sin(angles), (torque / level)[None]])
        along = turn - turn.mean()
        rows -= rows.mean(axis=1, keepdims=True)
        rows -= np.outer(rows @ along / float(along @ along), along)
        design, shares = rows[:-1], rows[-1]
        rest = shares - np.array([*(w.real for w in self._waves), *(w.imag for w in self._waves)]) @ design
        left2 = float(rest @ rest) / (n - 2)
        self.turns += 1
        weight = 1.0
        if self.turns > TEMPLATE_TURNS - 2:  # before, what is left is the ripple itself
            count = self.turns - (TEMPLATE_TURNS - 2)
            usual2 = TEMPLATE_ODD * self._left2 if count > 1 else left2
            weight = min(1.0, usual2 / max(left2, TEMPLATE_LEAST2))
            self._left2 += (min(left2, usual2) - self._left2) * max(TEMPLATE_SPREAD_GAIN, 1.0 / count)
        self._normal = TEMPLATE_MEMORY * self._normal + weight * (design @ design.T)
        self._wanted = TEMPLATE_MEMORY * self._wanted + weight * (design @ shares)
        lean = TEMPLATE_LEAN * np.eye(len(self._normal))
        found = np.linalg.solve(self._normal + lean, self._wanted).tolist()
        self._waves = [
            complex(*pair) for pair in zip(found[:TEMPLATE_HARMONICS], found[TEMPLATE_HARMONICS:], strict=True)
        ]

    def standing(
        self, bins: Iterable[float], newest_s: float, pulse_s: float, period_s: float, rate_Nm_per_s: float
    ) -> float | None:
        """Logarithm of how much better a stop since the pulse at pulse_s explains the bins than turning on does.

        None before there is a template. The best stop (of `TEMPLATE_STOPS`) against the best speed, either with or
        without a bend in the torque, by generalised likelihood ratio with long-tailed errors (Kay 1998, Fundamentals of
        Statistical Signal Processing II, ch. 6).
        """
        since = newest_s - pulse_s
        torque = np.fromiter(islice(bins, int((since + TEMPLATE_BACK * period_s) / self._tick_s) + 1), np.float64)
        n = len(torque)
        level = float(torque.mean()) if n > _FEWEST_BINS and self.turns >= TEMPLATE_TURNS - 1 else 0.0
        if level <= 0.0:
            return None
        turn = (since - self._tick_s * np.arange(n, dtype=np.float64)) / period_s
        on = np.where(turn > 0.0, turn * _SPEEDS, turn)
        stood = np.minimum(turn, _STOPS)
        shapes: Floats = 1.0 + self.ripple(np.concatenate([on, stood]))
        # A torque that turns raised stays where it is when they end, unless somebody walks.
        shapes = np.concatenate([shapes, shapes[len(on) :]])
        runs = np.concatenate([np.broadcast_to(turn, (len(on) + len(stood), n)), stood])
        left2 = max(self._left2, TEMPLATE_LEAST2)
        left = self._least_left(torque / level, turn, shapes, runs, left2, period_s, rate_Nm_per_s / level)
        going_on, standing = (TEMPLATE_TAIL + float(rows.min()) for rows in (left[: len(on)], left[len(on) :]))
        return 0.5 * (n + TEMPLATE_TAIL) * math.log(going_on / standing)

    def _least_left(
        self,
        shares: NDArray[np.floating[Any]],
        turn: NDArray[np.floating[Any]],
        shapes: NDArray[np.floating[Any]],
        runs: NDArray[np.floating[Any]],
        left2: float,
        period_s: float,
        rate_per_s: float,
    ) -> Floats:
        """Sum of squares over left2 that each hypothesis leaves, shape (hypotheses, 1 + bends).

        Level, slope and the slope's bend are fitted; the slope leans on the slow rate, the bend on none.
        """
        bends = np.concatenate([np.zeros((1, len(turn))), np.clip(turn - _KINKS, 0.0, TEMPLATE_KINK_LENGTH)])
        columns = np.empty((len(shapes), len(bends), 3, len(turn)))
        columns[:, :, 0] = shapes[:, None]
        columns[:, :, 1] = (shapes * runs)[:, None]
        columns[:, :, 2] = shapes[:, None] * bends
        slope, bend = ((per_s * period_s) ** 2 for per_s in (TEMPLATE_SLOPE_PER_S, TEMPLATE_KINK_PER_S))
        lean = left2 / np.array([1e9, slope, bend])
        wanted = np.array([0.0, rate_per_s * period_s, 0.0])
        normal = columns @ columns.transpose(0, 1, 3, 2) + np.diag(lean)
        fitted = np.linalg.solve(normal, (columns @ shares + lean * wanted)[..., None])
        rest = shares - (columns.transpose(0, 1, 3, 2) @ fitted)[..., 0]
        off = fitted[..., 0] - wanted
        squares = (rest * rest).sum(axis=-1) + (lean * off * off).sum(axis=-1)
        return np.asarray(squares / left2 + _PENALTIES)
