"""Device clock against arrival: how old a line is when it comes. Pure.

The smallest lag seen is taken for none; a lag that grows faster than clocks differ is a backlog on the way.
"""

from __future__ import annotations

CLOCKS_DIFFER = 0.01
"""A board's clock may be off by so much (a ceramic resonator: 0.5 %, with temperature; manufacturers' data sheets)."""


class Arrival:
    """`age_s(at_s, device_s)` of each line, in the order they came; `reset` with a new clock."""

    def __init__(self) -> None:
        self.reset()

    def reset(self) -> None:
        """The device's clock or the link is new."""
        self._least_s: float | None = None
        self._before_s = 0.0

    def age_s(self, at_s: float, device_s: float) -> float:
        """Return the age of a line that came at `at_s` (our clock) and was made at `device_s` (the device's)."""
        lag_s = at_s - device_s
        if self._least_s is None:
            self._least_s = lag_s
        else:
            least_s = self._least_s
            if at_s > self._before_s:
                least_s += CLOCKS_DIFFER * (at_s - self._before_s)
            self._least_s = least_s if least_s < lag_s else lag_s
        self._before_s = at_s
        return lag_s - self._least_s if lag_s > self._least_s else 0.0
