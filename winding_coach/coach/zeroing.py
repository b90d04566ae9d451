"""When a zero may be taken: never under load, told from a zero that drifts. Pure.

A weight or a wound motor comes as a jump from where the hook was; a zero drifts from there slowly. What is on the hook
from the first line on is held against the calibration's own zero.
"""

from __future__ import annotations

from winding_coach.coach.settings import CoachSettings
from winding_coach.coach.watching import ZeroTaker

LOAD_SHARE = 0.05
"""Further than this share of the peak from the last zero known is something on the hook, not a zero."""
HOOKED_SHARE = 0.02
"""The same once a zero was taken and a motor may hang there: as much as thirty turns at full stretch, at most."""
DRIFT_SHARE_PER_S = 0.002
"""A reading that moves by less than this share of the peak a second drifts: temperature (assumed, generously)."""
JUMP_SHARE = 0.01
"""Further than this share of the peak within seconds is no drift."""
STILL_S = 1.0


class Zeroing:
    """`add` each good raw reading; `taken(...)` gives the counts for a zero, or None: `refused_Nm` is on the hook."""

    def __init__(self, settings: CoachSettings, peak_Nm: float) -> None:
        self._calibration = settings.calibration
        self._peak_Nm = peak_Nm
        self._taker = ZeroTaker()
        self._anchor = settings.calibration.zero_counts if settings.tare_counts is None else settings.tare_counts
        self._mean: float | None = None
        self._at_s = 0.0
        self.refused_Nm: float | None = None
        self.unloaded = False
        """Whether the reading is where the zero has drifted to: nothing is on the hook."""

    def add(self, t_s: float, raw: int) -> None:
        """Take one good raw reading; a slow drift from the last zero is followed, a jump is not."""
        self._taker.add(t_s, raw)
        passed_s = t_s - self._at_s
        passed_s = 0.0 if passed_s < 0.0 else 1.0 if passed_s > 1.0 else passed_s
        self._at_s = t_s
        self._mean = raw if self._mean is None else self._mean + (raw - self._mean) * passed_s
        off_Nm = self._torque_Nm(self._mean)
        size_Nm = abs(off_Nm)
        self.unloaded = size_Nm <= JUMP_SHARE * self._peak_Nm
        if size_Nm <= HOOKED_SHARE * self._peak_Nm:
            self.refused_Nm = None
            if self.unloaded and off_Nm:
                most_Nm = DRIFT_SHARE_PER_S * self._peak_Nm * passed_s
                self._anchor += (self._mean - self._anchor) * min(most_Nm / size_Nm, 1.0)

    def taken(self, still_s: float, *, hooked: bool) -> float | None:
        """Return the counts to take for zero, None where that is refused.

        still_s: for how long torque has been still. hooked: a motor may be on the hook already.
        """
        zero = self._taker.zero()
        if zero is None:
            return None
        off_Nm = self._torque_Nm(zero)
        share = HOOKED_SHARE if hooked else LOAD_SHARE
        if abs(off_Nm) > share * self._peak_Nm or still_s < STILL_S:
            self.refused_Nm = off_Nm
            return None
        self.refused_Nm = None
        self._anchor = zero
        return zero

    def _torque_Nm(self, raw: float) -> float:
        """Torque from the last zero known."""
        return self._calibration.torque_Nm(raw, self._anchor)
