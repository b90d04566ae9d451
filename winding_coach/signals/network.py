"""A network of one small hidden layer that turns a row of traits into log odds. Its numbers are in `crank_fit`."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
_UNIT = 1e-3


@dataclass(frozen=True, slots=True, eq=False)
class Network:
    """hidden: a row for each input, a column for each hidden unit; bias and out: of the hidden units."""

    hidden: Floats
    bias: Floats
    out: Floats
    constant: float

    def logit(self, inputs: Floats) -> float:
        """Return the log odds for one row of inputs."""
        return float(np.tanh(inputs @ self.hidden + self.bias) @ self.out) + self.constant

    @classmethod
    def read(cls, text: str) -> Network:
        """Read a table in thousandths: in each line a name and a weight for each unit; bias, out, constant last."""
        lines = [line.split() for line in text.strip().splitlines()]
        rows = {name: _UNIT * np.array([float(word) for word in words]) for name, *words in lines}
        bias, out, constant = (rows.pop(name) for name in ("bias", "out", "constant"))
        return cls(np.array(list(rows.values())), bias, out, float(constant[0]))

    def written(self, names: tuple[str, ...]) -> str:
        """Return the table that `read` takes; names: one for each input."""
        rows = [*zip(names, self.hidden, strict=True), ("bias", self.bias), ("out", self.out)]
        lines = [f"{name:<17}" + "".join(f" {round(value / _UNIT):5d}" for value in row) for name, row in rows]
        return "\n".join([*lines, f"{'constant':<17} {round(self.constant / _UNIT):5d}"])
