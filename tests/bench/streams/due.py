"""When the mark that a stand leaves out would have come: by pulses alone nobody can see the stand before.

For each stand that is scored: the last magnet that passed before it, a mark later at the speed of the second before
it. That speed is the truth's own, no pulse is lost or doubled, and no line is waited for: bounds are a little too kind.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tests.bench.streams.making import PER_TURN, Sensor, Stream, counted
from tests.bench.streams.scoring import Score


def when_due(one: Stream, score: Score, sensor: Sensor) -> Score:
    """Return the score with each stand seen as the missing mark is due, none before the stand begins."""
    clean = counted(replace(one.draw, lost=0.0, doubled=0.0), one.motion, sensor, one.motion.t_s)
    passed_s = one.motion.t_s[1:][np.diff(clean) != 0]
    stands = []
    for stand in score.stands:
        before = passed_s[passed_s <= stand.from_s]
        last_s = float(before[-1]) if len(before) else stand.from_s
        due_s = last_s + stand.turn_s / PER_TURN[sensor]
        stands.append(replace(stand, delay_s=max(due_s - stand.from_s, 0.0)))
    return replace(score, stands=stands)
