"""Fits the numbers of `signals/crank_fit.py`: `python -m tests.bench.fit_crank` (about fifteen minutes of a processor).

Invented streams of `tests/bench/streams`, tuning seeds only. The estimator reads each stream by torque alone, and its
traits are kept with the truth of each bin; a network of 16 hidden units is fitted to a third of them by the logistic
loss with a little shrinkage (L-BFGS), once for 20 bins/s (80 and 320 lines/s) and once for 10. The loss is that of the
chances themselves, so no further calibration is made: on streams not fitted to (the first 60 tuning seeds) the
best slope of the log odds was 0.998 and the best shift -0.015.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.optimize import minimize

from tests.bench.streams.drawing import TUNING
from tests.bench.streams.making import GREY, STANDING, Stream, stream
from tests.bench.streams.watching import estimator_for
from winding_coach.signals import crank_fit
from winding_coach.signals.network import Floats, Network
from winding_coach.signals.traits import NAMES

STREAMS = {80.0: range(60, 460), 320.0: range(50), 10.0: range(180)}
"""Seeds after the first tuning seed, by rate."""
HIDDEN = 16
SHRINKAGE = 1e-4
TAKEN = 3
FROM_S = 4.0
FILE = Path(crank_fit.__file__)


@dataclass(frozen=True)
class Known:
    """Inputs, one row a bin, and whether the crank stood."""

    inputs: Floats
    stood: Floats

    @classmethod
    def of(cls, parts: Iterable[Known]) -> Known:
        """Return all of them."""
        every = list(parts)
        return cls(np.concatenate([one.inputs for one in every]), np.concatenate([one.stood for one in every]))


def traits_of(one: Stream) -> Known:
    """Return the traits of a stream by torque alone, where the truth is not grey."""
    estimator = estimator_for(one.draw, "none")
    rows, stood, before = [], [], None
    for i, (t_s, torque) in enumerate(zip(one.t_s.tolist(), one.torque_Nm.tolist(), strict=True)):
        estimator.add(t_s, torque)
        traits = estimator.watch.traits
        if traits is not before and traits is not None and t_s > FROM_S and one.label[i] != GREY:
            rows.append(traits)
            stood.append(one.label[i] == STANDING)
        before = traits
    first = one.draw.seed % TAKEN
    return Known(np.array(rows)[first::TAKEN], np.array(stood, dtype=np.float64)[first::TAKEN])


def fitted(known: Known, hidden: int = HIDDEN, iterations: int = 220, seed: int = 0) -> Network:
    """Return the network that gives what is known the highest likelihood, shrunk a little."""
    middle, spread = known.inputs.mean(axis=0), known.inputs.std(axis=0) + 1e-9
    inputs, stood = (known.inputs - middle) / spread, known.stood
    n, width = inputs.shape
    random = np.random.default_rng(seed)
    share = stood.mean()
    parts = [random.normal(0.0, width**-0.5, width * hidden), np.zeros(hidden), random.normal(0.0, 0.3, hidden)]
    begin = np.concatenate([*parts, [np.log(share / (1.0 - share))]])

    def loss(values: Floats) -> tuple[float, Floats]:
        weights, bias, out = np.split(values[:-1], [width * hidden, (width + 1) * hidden])
        inner = np.tanh(inputs @ weights.reshape(width, hidden) + bias)
        logit = inner @ out + values[-1]
        error = (1.0 / (1.0 + np.exp(-logit)) - stood) / n
        back = (error[:, None] * out) * (1.0 - inner * inner)
        slope = np.concatenate([(inputs.T @ back).ravel(), back.sum(axis=0), inner.T @ error, [error.sum()]])
        worth = float(np.mean(np.logaddexp(0.0, logit) - stood * logit)) + SHRINKAGE * float(values @ values)
        return worth, slope + 2.0 * SHRINKAGE * values

    found = minimize(loss, begin, jac=True, method="L-BFGS-B", options={"maxiter": iterations}).x
    weights, bias, out = np.split(found[:-1], [width * hidden, (width + 1) * hidden])
    inner = weights.reshape(width, hidden) / spread[:, None]
    return Network(inner, bias - middle @ inner, out, float(found[-1]))


def write(networks: dict[float, Network]) -> None:
    """Write the module."""
    text = FILE.read_text(encoding="utf-8")
    head, tail = text[: text.index("_TORQUE_10")], text[text.index("TORQUE = {") :]
    tables = [f'_TORQUE_{hz:.0f} = """\n{net.written(NAMES)}\n"""' for hz, net in sorted(networks.items())]
    FILE.write_text(head + "\n".join(tables) + "\n\n" + tail, encoding="utf-8")


def main() -> None:
    argparse.ArgumentParser(prog="python -m tests.bench.fit_crank", description=__doc__).parse_args()
    made = {rate: Known.of(traits_of(stream(TUNING + i, rate)) for i in seeds) for rate, seeds in STREAMS.items()}
    write({10.0: fitted(made[10.0]), 20.0: fitted(Known.of([made[80.0], made[320.0]]))})


if __name__ == "__main__":
    main()
