"""`meter emulate --weights`: a simulated meter on the calibration bench, whose weights are hung by typing them."""

from __future__ import annotations

import math
import re
import sys
import threading
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from winding_coach.app.at_meter import say
from winding_coach.app.problem import UsageProblem
from winding_coach.base.units import GRAVITY_M_PER_S2, parse_number

if TYPE_CHECKING:
    from winding_coach.simulator.weights import WeightBench

FAULTS: dict[str, tuple[str, dict[str, Any]]] = {
    "sticks": ("the bearing holds back 0.12 mN·m", {"sticks_Nm": 0.12e-3}),
    "arms": ("the arm's middle is 0.5 mm off the axis", {"arms_off_m": 0.5e-3}),
    "stop": ("the arm touches a stop at 12 mN·m", {"stop_Nm": 12e-3}),
    "creeps": ("the cell creeps by 3 % of a load", {"creeps": 0.03}),
    "drifts": ("the zero drifts by 0.3 mN·m a minute", {"zero_drift_Nm_per_s": 5e-6}),
    "bends": ("the cell's line is bent", {"bend_per_Nm": 0.5}),
    "saturates": ("the converter ends at 13 mN·m", {"end_counts": 1.03e6}),
    "pull": ("a straight pull is felt, 20 µN·m per newton", {"pull_Nm_per_N": 20e-6}),
    "hook": ("the hook is 0.5 mm off the axis", {"hook_off_m": 0.5e-3}),
    "hum": ("hum of 50 Hz", {"hum_Nm": 20e-6}),
    "noise": ("readings scatter by 0.3 mN·m", {"noise_Nm": 0.3e-3}),
    "frozen": ("the converter repeats its first value", {"frozen": True}),
}
"""What may be wrong at the bench, by name. Figures invented."""

_WEIGHT = re.compile(r"(\d[\d.,]*)\s*(k?g)\s*,?\s*(right|left)", re.ASCII)
_PULL = re.compile(r"(\d[\d.,]*)\s*(k?g)\s+(?:pull|straight|from the hook)(?:[\s,]+(-?\d[\d.,]*)\s*(?:deg|°))?")
HELP = "type what hangs: '20 g right', '20 g left', '1 kg pull', '1 kg pull 5 deg', '20 g right, 1 kg pull', or 'off'"


@dataclass(slots=True)
class Hung:
    """What hangs: grams on the arm (right positive), kilograms on the hook, and how the pull leans in degrees."""

    grams: float = 0.0
    pull_kg: float = 0.0
    tilt_deg: float = 0.0

    @property
    def words(self) -> str:
        """In words."""
        parts = []
        if self.grams:
            parts.append(f"{abs(self.grams):g} g {'right' if self.grams > 0 else 'left'}")
        if self.pull_kg:
            parts.append(f"{self.pull_kg:g} kg pull" + (f" {self.tilt_deg:g} deg" if self.tilt_deg else ""))
        return ", ".join(parts) or "nothing"


def hung_from(typed: str) -> Hung | None:
    """Return what was typed, None where it is none of it."""
    if typed.strip().lower() in ("off", "nothing", "0 g", "0"):
        return Hung()
    weight, pull = _WEIGHT.search(typed), _PULL.search(typed)
    if weight is None and pull is None:
        return None
    found = Hung()
    try:
        if weight is not None:
            side = 1.0 if weight[3] == "right" else -1.0
            found.grams = side * parse_number(weight[1]) * (1000.0 if weight[2] == "kg" else 1.0)
        if pull is not None:
            found.pull_kg = parse_number(pull[1]) * (1.0 if pull[2] == "kg" else 1e-3)
            found.tilt_deg = parse_number(pull[3] or "0")
    except ValueError:
        return None
    return found if abs(found.grams) <= 10_000 and found.pull_kg <= 50 and abs(found.tilt_deg) <= 45 else None


def meter_with(faults: list[str]) -> Any:
    """Return the meter of the bench with its faults.

    Raises:
        UsageProblem: one is none.
    """
    from winding_coach.simulator.weights import WeighedMeter

    changes: dict[str, Any] = {}
    for name in faults:
        if name not in FAULTS:
            raise UsageProblem(f"--fault: with --weights there is no '{name[:20]}': choose one of {', '.join(FAULTS)}.")
        changes |= FAULTS[name][1]
    return WeighedMeter(**changes)


@dataclass
class TypedBench:
    """A bench whose weights come from lines of standard input; it ends with the input."""

    bench: WeightBench
    arm_m: float
    plugged: bool = True
    done: bool = False
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def start(self) -> None:
        """Listen to standard input in a thread of its own."""
        say(HELP)
        threading.Thread(target=self._listen, name="weights", daemon=True).start()

    def _listen(self) -> None:
        for typed in sys.stdin:
            if not typed.strip():
                continue
            hung = hung_from(typed)
            if hung is None:
                say(f"'{typed.strip()[:40]}' is nothing to hang: {HELP}.")
                continue
            self.hang(hung)
            say(f"hangs: {hung.words}")
        self.done = True

    def hang(self, hung: Hung) -> None:
        """Hang it."""
        weight_N = abs(hung.grams) * 1e-3 * GRAVITY_M_PER_S2
        torque = hung.grams * 1e-3 * GRAVITY_M_PER_S2 * self.arm_m
        with self._lock:
            self.bench.hang(
                torque, weight_N, pull_N=hung.pull_kg * GRAVITY_M_PER_S2, tilt_rad=math.radians(hung.tilt_deg)
            )

    def advance(self, dt_s: float) -> bytes:
        """Let time pass and return the bytes sent meanwhile."""
        with self._lock:
            return self.bench.advance(dt_s)

    def answer(self, data: bytes) -> None:
        """Take what the host sent."""
        with self._lock:
            self.bench.answer(data)
