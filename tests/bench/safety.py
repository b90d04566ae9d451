"""What the coach must never do, looked for at length: `python -m tests.bench.safety [EXAMPLES] [SEED]`, or `mutants`.

Every example is a wind from one of seven cases and seven starts in which chance cranks, walks, pulls the lead, spoils
the lines and presses keys. `mutants` plants a fault in the coach, one after another, and says whether it was found.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from hypothesis import HealthCheck, Phase, seed, settings
from hypothesis.stateful import run_state_machine_as_test

from tests.trust.machine import SPOILS, AnyWind
from tests.trust.winder import CASES, Guarded, wound
from winding_coach.coach import alarms, dead_crank, intake, limits, prompts, said, step, watching
from winding_coach.coach.look import reading_of
from winding_coach.coach.moment import Moment
from winding_coach.coach.said import ReadingSaid

STEPS = 14
LED = (
    ("usual", 0.97, 16.0),
    ("usual", 0.7, 20.0),
    ("stiff motor, weak winder", 0.97, 6.0),
    ("dead crank sensor", 0.97, 8.0),
    ("no crank sensor", 0.4, 2.0),
    ("very stiff: not this motor", 0.7, 14.0),
)
"""Case, share of the turns that are on, seconds of cranking on whatever is said."""
DIES = ("usual", 0.4, 20.0)
"""The same, the crank sensor dying at once."""


def searched(examples: int, number: int) -> str | None:
    """Return what was broken in so many winds of chance, None if nothing was."""
    machine = seed(number)(type("Searched", (AnyWind,), {}))
    try:
        run_state_machine_as_test(
            machine,
            settings=settings(
                max_examples=examples,
                stateful_step_count=STEPS,
                deadline=None,
                database=None,
                phases=[Phase.generate],
                suppress_health_check=list(HealthCheck),
            ),
        )
    except AssertionError as error:
        return str(error).splitlines()[0]
    return None


def led() -> str | None:
    """Return what was broken in some winds of which each leads to a limit or a silence, None if nothing was."""
    wound.cache_clear()
    for name, start, seconds in LED:
        going = Guarded(next(case for case in CASES if case.name == name), start)
        going.wind.hands.rev_per_s = 1.5
        going.go_on(seconds)
        if going.guard.broken:
            return going.guard.broken[0]
    going = Guarded(next(case for case in CASES if case.name == DIES[0]), DIES[1])
    going.crank_dies()
    going.wind.hands.rev_per_s = 1.5
    going.go_on(DIES[2])
    if going.guard.broken:
        return going.guard.broken[0]
    for spoil in SPOILS:
        going = Guarded(CASES[0], 0.4)
        going.wind.spoil = spoil
        going.go_on(3.5)
        going.wind.spoil = ""
        going.take(going.wind.plug(False))
        going.go_on(0.5)
        going.take(going.wind.plug(True))
        going.go_on(1.0)
        if going.guard.broken:
            return going.guard.broken[0]
    return None


def _waits_for_the_first(self: dead_crank.DeadCrank, now: Moment, limits_: limits.Limits, **told: bool) -> bool:
    self.dead = self._never_counted(now, limits_)
    return self.dead


def _without(code: str) -> tuple[Any, str, Callable[..., Any]]:
    real = alarms.AlarmBank.tell

    def tell(self: alarms.AlarmBank, now: Moment, limits_: limits.Limits) -> list[Any]:
        said = [one for one in real(self, now, limits_) if one.code != code]
        for rule in [rule for rule in self._on if rule.code == code]:
            del self._on[rule]
        return said

    return alarms.AlarmBank, "tell", tell


def _taken_for_good(self: watching.Heard, at_s: float, *, good: bool) -> None:
    self.line_at_s = self.good_at_s = at_s


def _uncapped(self: limits.Limits, scale: float) -> limits.Limits:
    return replace(self, peak_Nm=self.peak_Nm * scale, stretched_Nm=self.stretched_Nm * scale)


def _turns_left(*given: Any) -> ReadingSaid:
    reading = REAL_READING(*given)
    return replace(reading, turns_left=100.0) if reading.turns_source == "estimated" else reading


def _counted(self: step.Coach) -> Moment:
    now = REAL_MOMENT(self)
    return replace(now, turns=100.0, counted=True) if now.turns is None else now


def _silent_anew(self: intake.Intake, phase: said.Phase) -> float:
    return self._since(self._up_at_s if self.heard.good_at_s is None else self.heard.good_at_s)


REAL_READING, REAL_MOMENT = reading_of, step.Coach._moment
REAL_ON: Callable[[alarms.AlarmBank], tuple[Any, ...]] = alarms.AlarmBank.__dict__["on"].fget
MUTANTS: dict[str, tuple[Any, str, Any]] = {
    "no stop at a limit": (prompts, "_stop", lambda scene: None),
    "the prompts see no limit": (prompts, "at_a_limit", lambda now, limits_: False),
    "readings are fresh for five seconds": (intake, "STALE_S", 5.0),
    "any line counts as a reading": (watching.Heard, "take", _taken_for_good),
    "ratings scale with the motor": (limits.Limits, "scaled", _uncapped),
    "a dead crank sensor is waited for": (dead_crank.DeadCrank, "tell", lambda self, now, limits_, **told: False),
    "a crank sensor that dies is believed": (dead_crank.DeadCrank, "tell", _waits_for_the_first),
    "the least alarm first": (alarms.AlarmBank, "on", property(lambda self: REAL_ON(self)[::-1])),
    "turns left from estimated turns": (step, "reading_of", _turns_left),
    "estimated turns count": (step.Coach, "_moment", _counted),
    "no alarm of overwinding": _without("overwind"),
    "no alarm of a silent meter": _without("meter_silent"),
    "silence begins anew with the link": (intake.Intake, "silent_s", _silent_anew),
}


def mutants(word: str = "") -> None:
    """Plant each whose name holds the word, and say how it was found."""
    found = tried = 0
    for name, (place, attribute, mutant) in MUTANTS.items():
        if word not in name:
            continue
        tried += 1
        real = place.__dict__[attribute]
        setattr(place, attribute, mutant)
        try:
            what, how = led(), "led"
            if what is None:
                what, how = searched(15, 1), "searched"
        except Exception as error:
            what, how = repr(error), "raised"
        finally:
            setattr(place, attribute, real)
        found += what is not None
        print(f"{name:<38} {'survived' if what is None else f'found ({how}): {what[:90]}'}", flush=True)
    print(f"{found} of {tried} found; without a mutant: {led() or 'nothing broken'}")


def main() -> None:
    """Search, or plant."""
    if sys.argv[1:2] == ["mutants"]:
        mutants(*sys.argv[2:3])
        return
    examples = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    number = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    began = time.monotonic()
    what = searched(examples, number)
    took_s = time.monotonic() - began
    print(f"{examples} winds of up to {STEPS} steps, seed {number}, {took_s:.0f} s: {what or 'nothing broken'}")


if __name__ == "__main__":
    main()
