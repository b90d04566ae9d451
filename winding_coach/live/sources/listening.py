"""A simulated person who listens: hands at the bench that do what a coach says of the bench's own bytes.

The coach here is the same that runs at the other end of the port, stepped by the same bytes, so the hands hear what the
screen there says. Nothing comes back over the port but keys of the meter's own.
"""

from __future__ import annotations

import numpy as np

from winding_coach.base.inputs import BytesArrived, LinkUp, TimePassed
from winding_coach.coach.settings import CoachSettings
from winding_coach.coach.step import Coach
from winding_coach.coach.view import CoachView
from winding_coach.simulator.bench import Bench
from winding_coach.simulator.coached import CoachedPerson
from winding_coach.simulator.people import Shown
from winding_coach.simulator.skill import PRACTISED, Skill

LISTENS = "listens"
"""Name of this way to wind, beside the scripted styles."""
LOOKS_EVERY_S = 0.1
CUES = frozenset({"stop_at_peak", "step_now", "wait_here", "walk_on", "walk_quicker", "launch_ready"})


def listener(settings: CoachSettings, rng: np.random.Generator, skill: Skill = PRACTISED) -> CoachedPerson:
    """Return someone who has been at it for a while."""
    plan = settings.plan
    return CoachedPerson(
        skill, settings.motor.loop_m, rng, full_Nm=plan.peak_torque_Nm, hooks_m=plan.walk_in[-1].distance_m
    )


def shown_of(view: CoachView) -> Shown:
    """Return what there is to see and hear."""
    prompt = view.prompt
    if prompt is None:
        return Shown(torque_Nm=view.reading.torque_Nm, at_m=view.reading.distance_m)
    stops = prompt.code == "back_off" and prompt.crank_turns == 0.0
    return Shown(
        torque_Nm=view.reading.torque_Nm,
        prompt=prompt.code,
        said_s=prompt.at_s,
        distance_m=prompt.distance_m,
        crank_turns=prompt.crank_turns,
        at_m=view.reading.distance_m,
        cue_s=prompt.at_s if stops or prompt.code in CUES else None,
        step_m=prompt.step_m,
    )


class ListeningBench(Bench):
    """A bench whose person hears a coach."""

    person: CoachedPerson
    _coach: Coach
    _next_look_s = 0.0
    _crank_sent = b""

    def listen(self, person: CoachedPerson, settings: CoachSettings) -> None:
        """From now on `person`, whose hands these are, hears a coach with such settings."""
        self.person, self._coach = person, Coach(settings)
        self._coach.step(LinkUp(0.0, "bench"))

    def advance(self, dt_s: float) -> bytes:
        """Let time pass; return the bytes sent."""
        sent = super().advance(dt_s)
        crank = super().crank_sent() if sent else b""
        self._crank_sent += crank
        self._coach.step(BytesArrived(self.at_s, sent + crank) if sent else TimePassed(self.at_s))
        if self.at_s >= self._next_look_s:
            self._next_look_s = self.at_s + LOOKS_EVERY_S
            self.person.see(shown_of(self._coach.view))
        return sent

    def crank_sent(self) -> bytes:
        """Return what has come from the crank sender."""
        sent, self._crank_sent = self._crank_sent, b""
        return sent
