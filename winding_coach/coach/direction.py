"""Which way round the motor is wound: the sign that its torque has, found or told. Pure.

Torque counts as positive from here on, whichever way round; limits hold for its size before that is known.
"""

from __future__ import annotations

from winding_coach.coach.said import Phase

RIGHT, LEFT = "right", "left"
"""Names of the directions: right-hand is the one in which the meter was calibrated, its torque positive."""
SHARE, FOR_S = 0.08, 0.3
"""Of the full-stretch torque, for so long: then it is no zero error."""
UNTARED_SHARE = 0.25
"""Before a zero was taken."""
AGAIN_SHARE, AGAIN_FOR_S = 0.15, 1.0
"""A direction found may have been a bump: so much the other way, before the walk-in, is believed."""
TURNED_BACK, TURNED_SHARE = 2.0, 0.05
"""Turns by which a crank counts down while torque grows by this share of the full-stretch torque: so it winds."""
OPEN = frozenset({Phase.SET_ZERO, Phase.STRETCH_OUT, Phase.WIND_STRETCHED})


class Direction:
    """`sign` to multiply torque with; `name` right or left once known, `told` what was said beforehand."""

    def __init__(self, stretched_Nm: float, told: str | None = None) -> None:
        self._stretched_Nm = stretched_Nm
        self.told = told
        self.found: str | None = None
        self.sign = -1 if told == LEFT else 1
        """What torque is multiplied with."""
        self._since: tuple[float, int] | None = None

    @property
    def name(self) -> str | None:
        """The direction to go by, None while it is neither found nor told."""
        return self.found or self.told

    @property
    def contradicted(self) -> bool:
        """Whether torque goes the other way round than was told."""
        return self.told is not None and self.found is not None and self.found != self.told

    def add(self, t_s: float, torque_Nm: float, phase: Phase, *, tared: bool) -> bool:
        """Take a calibrated torque, its sign as the cell has it; return whether the sign has just changed."""
        if phase not in OPEN:
            return False
        again = self.found is not None
        share = AGAIN_SHARE if again else SHARE if tared else UNTARED_SHARE
        way = 1 if torque_Nm > 0 else -1
        if abs(torque_Nm) < share * self._stretched_Nm:
            self._since = None
            return False
        if self._since is None or self._since[1] != way:
            self._since = t_s, way
        name = RIGHT if way > 0 else LEFT
        if t_s - self._since[0] < (AGAIN_FOR_S if again else FOR_S) or name == self.found:
            return False
        before = self.sign
        self.found = name
        self.sign = -1 if name == LEFT else 1
        return self.sign != before


class CrankWay:
    """Which way a crank with two sensors goes to wind: `sign` to multiply its count with. A winder that is cranked
    backwards for a left-hand motor counts down."""

    def __init__(self, stretched_Nm: float) -> None:
        self._least_Nm = TURNED_SHARE * stretched_Nm
        self.sign = 1
        self._top: tuple[float, float] | None = None

    def add(self, crank_turns: float, torque_Nm: float, phase: Phase) -> bool:
        """Take the count as it came and a torque; return whether the sign has just changed."""
        if phase not in OPEN:
            return False
        turns, size_Nm = self.sign * crank_turns, abs(torque_Nm)
        if self._top is None or turns >= self._top[0] or size_Nm < self._top[1]:
            self._top = turns, size_Nm
        back = self._top[0] - turns >= TURNED_BACK and size_Nm - self._top[1] > self._least_Nm
        if back:
            self.sign, self._top = -self.sign, None
        return back
