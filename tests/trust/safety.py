"""What the coach must never do, checked after every input of a wind by somebody who counts for themselves.

`Guard` takes the same inputs as the coach, reads the meter's lines on its own and says which rule was broken.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

from winding_coach.base.inputs import BytesArrived, Input, LinkDown, LinkUp
from winding_coach.coach.phases import LOADED, PREPARING, WINDING
from winding_coach.coach.said import Alarm, Level, Phase
from winding_coach.coach.step import Coach
from winding_coach.coach.view import CoachView
from winding_coach.meter.frames import NO_DATA, OVERLOAD, SATURATED, SETTLING, FrameParser, Sample
from winding_coach.screen.figures import big_word, torque_figure

MORE = frozenset({"start_cranking", "walk_in_to", "hold_distance", "crank_slower", "crank_faster", "keep_cranking"})
"""Prompts that mean: turn the crank on."""
MORE_ALARMS = frozenset({"crank_stalled", "torque_falling"})
"""Alarms whose words say so."""
MORE_WORDS = ("CRANK", "FASTER", "SLOWER", "WALK IN", "WALK TO", "HOLD", "WIND", "FINAL", "STEP", "PACE", "STAY")
"""How the large word begins where it says so."""
LOOK_BACK_S = 1.0
SURE_S = 0.8
"""Torque that has been past a limit for so long is past it, whatever ripple, noise and smoothing do."""
STALE_S = 0.5
BLIND_S = 2.5
"""Loaded and without a good reading for so long: that must be said as a danger."""
SHARE, ABSOLUTE_NM = 0.08, 2e-4
"""How far a shown torque may lie outside what came in the last second: smoothing, ripple."""
JUMP_SHARE, OVERSHOOT_SHARE = 0.3, 0.35
"""After a jump (a touched lead, a motor unhooked and hooked again, somebody who runs in with a wound motor) the
smoothing swings past for about a second: seen, 22 % above the torque that came back, 32 % below after torque had
halved within a second. It is left as it is; docs/evidence/trust.md says so."""
JUMP_BACK_S = 3.0
MOST_SCALE = 1.15
"""The coach may move a limit with this motor's own stiffness by so much."""


@dataclass(frozen=True, slots=True)
class Good:
    """A reading that counts: when it came and the raw counts."""

    at_s: float
    raw: int


class Guard:
    """Takes each input after the coach has; `broken` names the rules that the coach broke, with the moment."""

    def __init__(self, coach: Coach) -> None:
        self.coach = coach
        self.broken: list[str] = []
        self._parser = FrameParser()
        self._good: deque[Good] = deque()
        self._before: deque[Good] = deque()
        self._last: Sample | None = None
        self._last_at_s: float | None = None
        self._good_at_s: float | None = None
        self._loaded_at_s: float | None = None
        self._past_at_s: float | None = None

    def step(self, event: Input) -> None:
        """Let the coach take an input, then look."""
        if self.coach.finished:
            return
        self._take(event)
        self.coach.step(event)
        if not self.coach.finished:
            self._look(event.at_s, self.coach.view)

    def _take(self, event: Input) -> None:
        if isinstance(event, LinkUp):
            self._parser.reset()
        if isinstance(event, (LinkUp, LinkDown)):
            self._last = None
        if isinstance(event, BytesArrived):
            for frame in self._parser.feed(event.data):
                if not isinstance(frame, Sample):
                    continue
                self._last, self._last_at_s = frame, event.at_s
                if frame.raw is not None and not frame.flags & (NO_DATA | SATURATED | SETTLING):
                    self._good.append(Good(event.at_s, frame.raw))
                    self._before.append(self._good[-1])
                    self._good_at_s = event.at_s
        while self._good and self._good[0].at_s < event.at_s - LOOK_BACK_S:
            self._good.popleft()
        while self._before and self._before[0].at_s < event.at_s - JUMP_BACK_S:
            self._before.popleft()

    def _look(self, at_s: float, view: CoachView) -> None:
        torques = [self._torque(good.raw, view) for good in self._good]
        lately = [self._torque(good.raw, view) for good in self._good if good.at_s >= at_s - SURE_S]
        why = self._past(view, lately, at_s)
        said = view.prompt is not None and view.prompt.code in MORE
        if why is not None:
            if said and view.prompt is not None:
                self._broke(at_s, view, f"says {view.prompt.code} although {why}")
            for one in self.coach.said:
                if isinstance(one, Alarm) and one.active and one.code in MORE_ALARMS:
                    self._broke(at_s, view, f"says {one.code} although {why}")
            word = big_word(view).text
            if word.startswith(MORE_WORDS):
                self._broke(at_s, view, f"shows {word} although {why}")
        self._aim(at_s, view, said)
        self._danger(at_s, view, why, said)
        self._live(at_s, view, torques)
        self._estimate(at_s, view)

    def _torque(self, raw: int, view: CoachView) -> float:
        return self.coach.settings.calibration.torque_Nm(raw, view.zero_counts)

    def _past(self, view: CoachView, lately: list[float], at_s: float) -> str | None:
        """Why there may be no more turns now, None if there may."""
        settings, plan = self.coach.settings, self.coach.settings.plan
        shown = view.reading.torque_Nm
        if view.phase not in PREPARING | LOADED:
            return None
        # First what nobody's estimate can move, the coach's own aim last.
        surely = min(lately) if len(lately) >= 5 else 0.0
        if surely >= 1.02 * MOST_SCALE * plan.peak_torque_Nm:
            return f"{surely * 1e3:.2f} mN·m is far past the plan's peak"
        if settings.winder.limit_Nm is not None and surely >= 1.01 * settings.winder.limit_Nm:
            return f"{surely * 1e3:.2f} mN·m is past the winder's rating"
        fresh = self._last is not None and self._last_at_s is not None and at_s - self._last_at_s <= STALE_S
        if fresh and self._last is not None and self._last.flags & (SATURATED | OVERLOAD):
            return "the meter is past its range or rating"
        if (
            surely > 0.0
            and settings.calibration.rating_Nm is not None
            and surely >= 1.01 * settings.calibration.rating_Nm
        ):
            return "the meter is past its rating"
        reading = view.reading
        middle = 0.5 * (plan.target_turns + plan.breaking_turns)
        if reading.turns is not None and reading.turns_source in ("counted", "tapped") and reading.turns >= middle:
            return f"{reading.turns:.0f} turns are past the middle to breaking"
        if shown is not None and shown >= self.coach._limits.peak_Nm:
            return f"{shown * 1e3:.2f} mN·m is the peak"
        return None

    def _aim(self, at_s: float, view: CoachView, said: bool) -> None:
        """No torque that is asked for may be past a rating."""
        settings = self.coach.settings
        ratings = [rated for rated in (settings.winder.limit_Nm, settings.calibration.rating_Nm) if rated is not None]
        aim = view.prompt.torque_Nm if said and view.prompt is not None else None
        for asked in (aim, view.targets.torque_Nm if view.phase in WINDING else None):
            if asked is not None and ratings and asked > min(ratings):
                self._broke(at_s, view, f"asks for {asked * 1e3:.2f} mN·m, past the rating of {min(ratings) * 1e3:.2f}")

    def _danger(self, at_s: float, view: CoachView, why: str | None, said: bool) -> None:
        dangers = [alarm.code for alarm in view.alarms if alarm.level is Level.DANGER]
        if dangers:
            if said and view.prompt is not None:
                self._broke(at_s, view, f"says {view.prompt.code} beside the danger {dangers[0]}")
            if view.alarms[0].level is not Level.DANGER:
                self._broke(at_s, view, f"puts {view.alarms[0].code} before the danger {dangers[0]}")
            if big_word(view).role != "danger word":
                self._broke(at_s, view, f"shows {big_word(view).text} as usual in the danger {dangers[0]}")
        # Past a limit for a while, in the phases where turns come on: a danger must be said.
        if why is None or view.phase not in WINDING | PREPARING | {Phase.BACK_OFF} or "is the peak" in why:
            self._past_at_s = None
        else:
            self._past_at_s = at_s if self._past_at_s is None else self._past_at_s
            if at_s - self._past_at_s > 1.0 and not dangers:
                self._broke(at_s, view, f"is quiet although {why}")
        if view.phase not in LOADED:
            self._loaded_at_s = None
            return
        self._loaded_at_s = at_s if self._loaded_at_s is None else self._loaded_at_s
        blind_s = at_s - max(self._loaded_at_s, self._good_at_s or 0.0)
        if blind_s > BLIND_S and not dangers:
            self._broke(at_s, view, f"is quiet without a reading for {blind_s:.1f} s")
        if blind_s > BLIND_S and said and view.prompt is not None:
            self._broke(at_s, view, f"says {view.prompt.code} without a reading for {blind_s:.1f} s")

    def _live(self, at_s: float, view: CoachView, torques: list[float]) -> None:
        reading = view.reading
        shown = reading.torque_Nm
        if shown is None or view.stale:
            live = (reading.torque_rate_Nm_per_s, reading.cranking, reading.crank_rev_per_s, view.slow_rate_Nm_per_s)
            if any(figure is not None for figure in live) or any(c.isdigit() for c in torque_figure(view)):
                self._broke(at_s, view, "shows a figure beside a torque that is not live")
            return
        if self._good_at_s is None or at_s - self._good_at_s > STALE_S + 1e-6:
            since = "never" if self._good_at_s is None else f"{at_s - self._good_at_s:.2f} s ago"
            self._broke(at_s, view, f"shows {shown * 1e3:.2f} mN·m as live, the last good reading came {since}")
        elif torques and self.coach.view.tared:
            margin = ABSOLUTE_NM + SHARE * max(abs(torque) for torque in torques)
            before = [self._torque(good.raw, view) for good in self._before]
            if max(before) - min(before) > JUMP_SHARE * max(before):
                margin += OVERSHOOT_SHARE * max(before)
            if not min(torques) - margin <= shown <= max(torques) + margin:
                self._broke(at_s, view, f"shows {shown * 1e3:.2f} mN·m, not among what came in the last second")

    def _estimate(self, at_s: float, view: CoachView) -> None:
        reading = view.reading
        if reading.turns_source in ("counted", "tapped"):
            return
        if any(figure is not None for figure in (reading.turns_left, reading.break_risk, view.peak_risk)):
            self._broke(at_s, view, "works a figure out of turns that nobody counted")
        if self.coach._now is not None and self.coach._now.counted:
            self._broke(at_s, view, "lets rules take turns that nobody counted")

    def _broke(self, at_s: float, view: CoachView, what: str) -> None:
        if len(self.broken) < 20:
            self.broken.append(f"at {at_s:.2f} s in {view.phase}: {what}")
