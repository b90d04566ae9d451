"""What to hear: a view in, a tone and at most one cue out. Pure; decides nothing that the coach has not said.

The rule it keeps: what is not known makes no sound. Stale torque has no tone, a view that stands still is silent.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum, StrEnum

from winding_coach.coach.said import Level
from winding_coach.coach.view import CoachView


class Cue(IntEnum):
    """The four things that a cue can say, least urgent first. Four is the most that MIL-STD-1472E (seen) lets a person
    be asked to tell apart."""

    STEP_IN = 1
    READY = 2
    STOP = 3
    DANGER = 4


class Side(StrEnum):
    """Where the torque rise is, against its band."""

    BELOW = "too slow"
    WITHIN = "good"
    ABOVE = "too fast"


CUE_S = {Cue.STEP_IN: 0.6, Cue.READY: 0.7, Cue.STOP: 0.8, Cue.DANGER: 0.5}
"""How long each lasts: half a second at least (MIL-STD-1472E, seen), so that it is not missed."""
CUE_WORDS = {Cue.STEP_IN: "step in", Cue.READY: "ready", Cue.STOP: "STOP", Cue.DANGER: "DANGER"}
LATE_S = 1.0
"""What was said longer ago than this is no news: it is seen, and not sounded."""
DANGER_INSISTS_S = 6.0
DANGER_REMINDS_S = 4.0
"""A danger sounds for six seconds, then twice in four seconds more for as long as it lasts: enough to be believed."""

LOW_EDGE_HZ, HIGH_EDGE_HZ = 800.0, 1250.0
"""The tone at the edges of the band: 1000 Hz in its middle, and 512 to 1953 Hz where it is held, one band's width
outside. All between 500 and 3000 Hz, where hearing is keen (MIL-STD-1472E, seen)."""
OFF_BY_AT_MOST = 1.0
PULSES_PER_S = {Side.BELOW: 2.0, Side.WITHIN: 0.0, Side.ABOVE: 5.0}
"""Outside the band the tone is broken into pulses, so that no one needs an ear for pitch."""
SLACK = 0.05
"""Of the band's width, that the rate must pass an edge by."""
SURE_S = 0.25
"""And stay there for, before the pulses change: a step in the walk-in swings the rate about."""

PROMPT_CUES = {
    "walk_in_to": Cue.STEP_IN,
    "walk_on": Cue.STEP_IN,
    "walk_quicker": Cue.STEP_IN,
    "step_now": Cue.STEP_IN,
    "launch_ready": Cue.READY,
}
"""And `stop_at_peak`, and `back_off` at its end, for STOP."""
FEET_STAND = frozenset({"wait_here"})
CRANKING_PROMPTS = FEET_STAND | {
    "keep_cranking",
    "walk_in_to",
    "hold_distance",
    "walk_on",
    "walk_slower",
    "walk_quicker",
    "step_now",
    "step_shorter",
    "crank_slower",
    "crank_faster",
}
"""While one of these stands the crank is to turn, and its pace may sound."""
UNHEARD_S = 0.5
"""A view that has not been renewed for so long is not live."""


@dataclass(frozen=True, slots=True)
class Tone:
    """The continuous tone. pulses_per_s: 0 for an unbroken one."""

    pitch_hz: float
    side: Side

    @property
    def pulses_per_s(self) -> float:
        """How often it is broken."""
        return PULSES_PER_S[self.side]


@dataclass(frozen=True, slots=True)
class Heard:
    """A cue and since when; two that are equal are the same one."""

    cue: Cue
    at_s: float


@dataclass(frozen=True, slots=True)
class AudioState:
    """All that is heard at a moment."""

    tone: Tone | None = None
    cue: Heard | None = None

    @property
    def words(self) -> str:
        """The same in words, for the screen; nothing while nothing is heard."""
        if self.cue is not None:
            return CUE_WORDS[self.cue.cue]
        return "" if self.tone is None else f"tone: {self.tone.side}"


SILENCE = AudioState()


class CueSelector:
    """Looks at one view after another and says what is to be heard."""

    def __init__(self, *, silent_in_band: bool = False) -> None:
        """silent_in_band: the tone is heard only outside the band."""
        self._silent_in_band = silent_in_band
        self._at_s = -1.0
        self._prompted_at_s: float | None = None
        self._cue: Heard | None = None
        self._side = Side.WITHIN
        self._other_since_s: float | None = None

    def hear(self, view: CoachView) -> AudioState:
        """Return what is to be heard with this view."""
        if view.at_s < self._at_s:
            # A replay that was wound back: what was heard then is news again.
            self._prompted_at_s = self._cue = self._other_since_s = None
        self._at_s = view.at_s
        cue = self._cue_of(view)
        return AudioState(self._tone_of(view), cue)

    def _cue_of(self, view: CoachView) -> Heard | None:
        if self._cue is not None and view.at_s - self._cue.at_s >= CUE_S[self._cue.cue]:
            self._cue = None
        for new in (_danger(view), self._prompted(view)):
            if new is not None and (self._cue is None or new.cue > self._cue.cue):
                self._cue = new
                if view.prompt is not None and new.cue is not Cue.DANGER:
                    self._prompted_at_s = view.prompt.at_s
        return self._cue

    def _prompted(self, view: CoachView) -> Heard | None:
        """The cue of a prompt that was said just now and has not sounded yet: it may have to wait for another."""
        prompt = view.prompt
        if prompt is None or prompt.at_s == self._prompted_at_s or view.summary is not None:
            return None
        if view.at_s - prompt.at_s > LATE_S:
            return None
        stops = prompt.code == "stop_at_peak" or (prompt.code == "back_off" and prompt.crank_turns == 0.0)
        cue = Cue.STOP if stops else PROMPT_CUES.get(prompt.code)
        return None if cue is None else Heard(cue, view.at_s)

    def _tone_of(self, view: CoachView) -> Tone | None:
        share = share_of_band(view)
        if share is None or view.prompt is None or view.prompt.code not in CRANKING_PROMPTS:
            self._side, self._other_since_s = Side.WITHIN, None
            return None
        known = _said_side(view)
        if known is None:
            self._settle(share, view.at_s)
        else:
            self._side, self._other_since_s = known, None
            share = min(share, -OFF_BY_AT_MOST) if known is Side.BELOW else max(share, 1.0)
        if self._silent_in_band and self._side is Side.WITHIN:
            return None
        held = min(max(share, -OFF_BY_AT_MOST), 1.0 + OFF_BY_AT_MOST)
        return Tone(LOW_EDGE_HZ * (HIGH_EDGE_HZ / LOW_EDGE_HZ) ** held, self._side)

    def _settle(self, share: float, at_s: float) -> None:
        """Change the side when the rate has been on another one for long enough."""
        low = SLACK if self._side is Side.BELOW else -SLACK
        high = 1.0 - SLACK if self._side is Side.ABOVE else 1.0 + SLACK
        side = Side.BELOW if share < low else Side.ABOVE if share > high else Side.WITHIN
        if side is self._side:
            self._other_since_s = None
        elif self._other_since_s is None:
            self._other_since_s = at_s
        elif at_s - self._other_since_s >= SURE_S:
            self._side, self._other_since_s = side, None


def share_of_band(view: CoachView) -> float | None:
    """Return where the torque rise is, 0 at the band's lower edge and 1 at its upper; None where that is not known."""
    rate, low, high = view.reading.torque_rate_Nm_per_s, view.targets.rate_low_Nm_per_s, view.targets.rate_high_Nm_per_s
    if view.stale or view.summary is not None or view.link.state != "up":
        return None
    if rate is None or low is None or high is None or high <= low:
        return None
    return (rate - low) / (high - low)


def _said_side(view: CoachView) -> Side | None:
    """What the coach says of the pace in so many words: a crank that stands is too slow, whatever torque does."""
    codes = {alarm.code for alarm in view.alarms}
    if view.reading.cranking is False or "crank_stalled" in codes:
        return Side.BELOW
    return Side.ABOVE if "rising_too_fast" in codes else None


def _danger(view: CoachView) -> Heard | None:
    """The danger that is on, in bouts that follow each other."""
    alarm = next((alarm for alarm in view.alarms if alarm.level is Level.DANGER), None)
    if alarm is None or view.summary is not None:
        return None
    bout_s = CUE_S[Cue.DANGER]
    since_s = max(view.at_s - alarm.at_s, 0.0)
    if since_s >= DANGER_INSISTS_S and (since_s - DANGER_INSISTS_S) % DANGER_REMINDS_S >= 2.0 * bout_s:
        return None
    return Heard(Cue.DANGER, alarm.at_s + bout_s * int(since_s / bout_s))
