"""What is wanted, paced: a prompt is said when it is new and due, so that nothing nags. Pure."""

from __future__ import annotations

from winding_coach.base.standing import USUAL, Steps
from winding_coach.base.units import UnitSystem
from winding_coach.coach.moment import Moment
from winding_coach.coach.phases import WINDING
from winding_coach.coach.said import Phase, Prompt
from winding_coach.coach.wanted import FEET, Wanted
from winding_coach.coach.wording import in_words

QUIET_S = 2.5
"""Advice changes no sooner than this within a phase; what is urgent does not wait."""
URGENT = frozenset({"stop_at_peak", "keep_cranking", "launch_ready"})
MOST_STOPPING_S = 8.0
"""At the peak the stop stands until the hand has stopped; below it not for ever: what is felt of the hand may be
wrong."""
RESUMES_EVERY_S = 12.0
"""After a second stop the crank is not sent on again any sooner after the first time: never stop and crank in turns."""
STOP_STANDS_S = 3.0
"""A stop that was said stands so long, whatever the rate does meanwhile."""
BACK_OFF_QUIET_S = 1.2
"""In the back-off each turn is told; its turns are slow, and there is nothing else to listen to."""


class Pacer:
    """Says a prompt when it is new and due, and remembers it."""

    def __init__(self, units: UnitSystem, steps: Steps = USUAL) -> None:
        self._units = units
        self._steps = steps
        self._at_m: float | None = None
        self._from_m: float | None = None
        self._last: Wanted | None = None
        self._last_phase: Phase | None = None
        self.prompt: Prompt | None = None
        self._slowed: set[Phase] = set()
        self._off_stopped = False
        self._resumed_s = -1e9

    @property
    def mark_m(self) -> float | None:
        """The mark that the walk-in was told last, None where the last word was another."""
        said = self.prompt
        walks = said is not None and said.code == "walk_in_to"
        return said.distance_m if walks and said is not None else None

    def stopping(self, at_s: float, *, there: bool = False) -> bool:
        """Whether the stop at the peak stands. there: all but at the target; then it stands until the hand has had time
        to stop."""
        said = self.prompt
        stands_s = MOST_STOPPING_S if there else STOP_STANDS_S
        return said is not None and said.code == "stop_at_peak" and at_s - said.at_s < stands_s

    @property
    def off_stopped(self) -> bool:
        """Whether the stop of this back-off was said; a torque that is far above again calls for a new one."""
        return self._off_stopped

    def _feet_quiet_s(self) -> float:
        """The lead paces its own words; but a word to the hand stands before the next to the feet."""
        return 0.0 if self._last is not None and self._last.code in FEET else QUIET_S

    def slowed_in(self, phase: Phase) -> bool:
        """Whether the crank was told in this phase to go slower for what comes next."""
        return phase in self._slowed

    def tell(self, now: Moment, choice: Wanted | None) -> Prompt | None:
        """Return the prompt to say now, None to stay quiet. `prompt` stays the one that was said last."""
        if choice is None:
            self._last = self.prompt = None
            self._last_phase = now.phase
            return None
        # A stop is one stop, though the phase goes on from the final turns to the back-off meanwhile.
        here = self._last_phase == now.phase or choice.code == "stop_at_peak" or self._resumes(now, choice)
        if self._last is not None and self.prompt is not None and here:
            if choice.same_as(self._last) or self._resumes_too_soon(now, choice):
                return None
            quiet_s = (
                self._feet_quiet_s()
                if choice.code in FEET
                else BACK_OFF_QUIET_S
                if choice.code == "back_off"
                else QUIET_S
            )
            due = now.at_s - self.prompt.at_s >= quiet_s
            urgent = choice.code in URGENT or choice.crank_turns == 0.0
            if not due and not (
                urgent and (choice.code, choice.crank_turns) != (self._last.code, self._last.crank_turns)
            ):
                return None
        if self._resumes(now, choice):
            self._resumed_s = now.at_s
        self._last, self._last_phase = choice, now.phase
        if choice.code == "back_off" and choice.crank_turns == 0.0:
            self._off_stopped = True
        elif choice.code == "stop_at_peak":
            self._off_stopped = False
        if choice.code == "crank_slower" and (choice.distance_m, choice.torque_Nm) != (None, None):
            self._slowed.add(now.phase)
        if choice.distance_m is not None:
            self._from_m, self._at_m = self._at_m, choice.distance_m
        self.prompt = in_words(
            Prompt(
                now.at_s,
                choice.code,
                "",
                choice.distance_m,
                choice.crank_turns,
                choice.torque_Nm,
                choice.turns,
                choice.peak_Nm,
                self._from_m,
                side=choice.side,
                next_Nm=choice.next_Nm,
                step_m=choice.step_m,
                step_was=choice.step_was,
            ),
            self._units,
            self._steps,
        )
        return self.prompt

    def _resumes(self, now: Moment, choice: Wanted) -> bool:
        """Whether this sends a crank on that was told to stop."""
        stopped = self._last is not None and self._last.code == "stop_at_peak"
        return stopped and now.phase in WINDING and choice.code != "stop_at_peak"

    def _resumes_too_soon(self, now: Moment, choice: Wanted) -> bool:
        return self._resumes(now, choice) and now.at_s - self._resumed_s < RESUMES_EVERY_S
