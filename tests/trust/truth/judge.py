"""Rules held against what is so: true turns, torque, place and age, never what the coach believes.

A rule is broken only where a program could have known better: `Clues` says whether count, torque and place as sent
contradict every honest wind (docs/evidence/trust.md). What passed the target without such a clue is counted apart.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

from tests.trust.truth.sender import Sent
from tests.trust.truth.words import asks_for_turns, in_danger, no_numbers, stops
from tests.trust.truth.world import NM_PER_COUNT, ZERO_COUNTS
from winding_coach.coach.phases import LOADED, PREPARING
from winding_coach.coach.said import Phase, Said, Summary
from winding_coach.coach.view import CoachView
from winding_coach.rubber.figures import Plan
from winding_coach.screen.figures import alarm_text, big_word, instruction, torque_figure

PAST = 1.03
PAST_BY_TORQUE = 1.06
"""Where only torque says so: by it turns are known to 3 % at best (docs/evidence/trust.md)."""
GRACE_S = 1.0
"""So long a word may stand after it became wrong."""
SCATTER = 0.15
"""Torque of honest motors over their label's: 8 % of stiffness, what 2 mm of loop and a tenth of a gram add, noise."""
FAR, FAR_FROM = 0.30, 0.35
"""Torque so far from the label's asks for a stop, once one of the two is a third of the peak: no harm before."""
HARM_NEAR, FAR_AT_MOST_S = 0.8, 10.0
"""From this share of the target on the stop is due at once, else within so long."""
STRONG = 1.12
"""Torque over the planned peak that no honest stiff motor shows before its target."""
AGE_S = 0.5
AGE_MARGIN_S = 0.2
"""A reading may be a look and a line older than the moment it is held against."""
MOMENT_S = 0.25
"""So long a danger may be gone while one thing takes over from another."""
CLOCKS = 0.01
"""Two clocks may differ by so much (resonators, with temperature): an age that grows no faster cannot be told."""
BLIND_S = 3.0
FROZEN_S = 2.5
OVER_S = 1.2
FAR_S = 4.0
FLIPS, FLIP_S = 4, 10.0
"""Stop, on, stop, on: once short of the peak a little more may be asked for."""
OUT_M = 0.05
BACK_S = 3.0
CLUE_S = 3.0
COUNT_PAST = "count past the target"


@dataclass(frozen=True, slots=True)
class Truth:
    """What is so at a look. share: of the true target, by turns or by strand stretch, whichever is more. hooked: the
    motor hangs on the meter."""

    at_s: float
    share: float
    torque_Nm: float
    distance_m: float
    hooked: bool
    broken: bool
    turning: bool
    off: bool


@dataclass(frozen=True, slots=True)
class Label:
    """The motor of the label at the turns by count and typed ratio: what an honest wind shows. share: as in `Truth`."""

    turns: float
    share: float
    torque_Nm: float


@dataclass
class Since:
    """How long something has held without a break."""

    from_s: float | None = None

    def held(self, holds: bool, at_s: float) -> float:
        """Return for how long, 0 where it does not hold."""
        if not holds:
            self.from_s = None
            return 0.0
        if self.from_s is None:
            self.from_s = at_s
        return at_s - self.from_s


@dataclass
class Clues:
    """What a program could have known from the lines: when each contradiction with an honest wind was there."""

    found: dict[str, float] = field(default_factory=dict)
    _far: Since = field(default_factory=Since)
    _scatter: Since = field(default_factory=Since)
    _strong: Since = field(default_factory=Since)
    _turns_in: Since = field(default_factory=Since)
    far_s: float = 0.0

    def look(self, at_s: float, plan: Plan, torque_Nm: float | None, label: Label | None, fixed: bool) -> None:
        """torque_Nm: size by the zero in use. fixed: at full stretch or at the hooks, where places are known."""
        peak_Nm = plan.peak_torque_Nm
        if label is not None and label.share >= PAST and (fixed or label.turns >= PAST * plan.target_turns):
            self.note(COUNT_PAST, at_s)
        if torque_Nm is None:
            self.far_s = 0.0
            return
        if self._strong.held(torque_Nm >= STRONG * peak_Nm, at_s) >= 0.8:
            self.note("torque past the peak", at_s)
        off, empty = 0.0, False
        if label is not None and fixed:
            empty = label.turns < 0.04 * plan.target_turns and torque_Nm > 0.06 * peak_Nm
            if label.torque_Nm > 0.08 * peak_Nm:
                off = torque_Nm / label.torque_Nm - 1.0
        if self._scatter.held(abs(off) > SCATTER, at_s) >= CLUE_S:
            self.note("torque is not this motor's", at_s)
        far = not -FAR / (1.0 + FAR) <= off <= FAR
        large = label is not None and max(label.torque_Nm, torque_Nm) > FAR_FROM * peak_Nm
        self.far_s = self._far.held(far and large, at_s)
        if self._turns_in.held(empty, at_s) >= 1.0:
            self.note("torque before any turn", at_s)

    def note(self, what: str, at_s: float) -> None:
        self.found.setdefault(what, at_s)

    def bound(self, at_s: float) -> float | None:
        """Return the share of the target from which a program knows that it is past; None: it cannot know."""
        known = [what for what, since_s in self.found.items() if since_s <= at_s - GRACE_S]
        if not known:
            return None
        return PAST if COUNT_PAST in known else PAST_BY_TORQUE


@dataclass
class Judge:
    """Looks every tenth of a second; `broken` holds each rule that was broken, once, with when and what was so."""

    plan: Plan
    rating_Nm: float
    limit_Nm: float | None
    stretch_m: float
    hooks_m: float
    honest: bool
    hides_age: bool
    broken: dict[str, str] = field(default_factory=dict)
    clues: Clues = field(default_factory=Clues)
    unknown_past: bool = False
    past: float = 0.0
    first_danger_share: float | None = None
    dangers: set[str] = field(default_factory=set)
    took_it_on: bool = False
    says_broke: bool = False
    _more: Since = field(default_factory=Since)
    _blind: Since = field(default_factory=Since)
    _over: Since = field(default_factory=Since)
    _frozen: Since = field(default_factory=Since)
    _stranger: Since = field(default_factory=Since)
    _old: Since = field(default_factory=Since)
    _quiet: Since = field(default_factory=Since)
    _blind_more: Since = field(default_factory=Since)
    _frozen_quiet: Since = field(default_factory=Since)
    _flips: deque[float] = field(default_factory=deque)
    _was: str = ""
    _in_m: float | None = None
    _newest: Sent | None = None
    _good_s: float = 0.0
    _stopped_s: float | None = None
    last_more_s: float = -1e9
    _next_deep_s: float = 0.0

    def arrived(self, lines: list[Sent]) -> None:
        """Take what the program got."""
        for one in lines:
            self._newest = one
            if one.torque_Nm is not None:
                self._good_s = one.converted_s

    def heard(self, said: tuple[Said, ...], at_s: float, true: Truth) -> None:
        """Take what was said."""
        for one in said:
            for where in no_numbers(one.as_json()):
                self._broke("no number", at_s, true, f"says {where}")
            if isinstance(one, Summary):
                self._closed(one, at_s, true)

    def pressed(self, key: str) -> None:
        """A key was pressed: who goes on all the same has been warned."""
        self.took_it_on = self.took_it_on or key in ("next", "go_on")
        self.says_broke = self.says_broke or key == "broke"

    def _closed(self, summary: Summary, at_s: float, true: Truth) -> None:
        if summary.outcome == "broken" and not self.says_broke:
            self._broke("broken by itself", at_s, true, "closes the wind as broken, and nobody said so")
        elif true.off:
            self._broke("left", at_s, true, "closes the wind while the motor is off the hook")

    def look(self, view: CoachView, true: Truth, label: Label | None) -> None:
        """Hold what is on the screen against what is so."""
        at_s, prompt = true.at_s, view.prompt
        zero_Nm = 0.0
        if view.zero_counts is not None:
            zero_Nm = (view.zero_counts - ZERO_COUNTS) * NM_PER_COUNT
        said_Nm = self._newest.torque_Nm if self._newest is not None else None
        size_Nm = None if said_Nm is None else abs(said_Nm - zero_Nm)
        at_stretch = true.distance_m > 0.95 * self.stretch_m
        fixed = true.hooked and (at_stretch or true.distance_m < 1.03 * self.hooks_m + 0.01)
        if true.turning:
            self.clues.look(at_s, self.plan, size_Nm if true.hooked else None, label, fixed)
        more = prompt is not None and asks_for_turns(prompt)
        self.last_more_s = at_s if more else self.last_more_s
        self._past(view, true, more)
        self._due(view, true, more, said_Nm)
        self._age(view, true)
        self._turns_about(view, true, more)
        self._ready(view, true)
        for alarm in view.alarms:
            if str(alarm.level) == "danger":
                self.dangers.add(alarm.code)
                if self.first_danger_share is None:
                    self.first_danger_share = true.share
        if at_s >= self._next_deep_s:
            self._next_deep_s = at_s + 1.0
            self._deep(view, true)

    def _past(self, view: CoachView, true: Truth, more: bool) -> None:
        if true.hooked and not true.broken:
            self.past = max(self.past, true.share)
        wrong = more and true.hooked and not true.broken and true.share > PAST
        held_s = self._more.held(wrong, true.at_s)
        if held_s <= GRACE_S or view.prompt is None:
            return
        bound = self.clues.bound(true.at_s)
        if bound is None:
            self.unknown_past = True
        elif true.share > bound:
            why = ", ".join(self.clues.found)
            self._broke("more past the target", true.at_s, true, f"says {view.prompt.code} ({why})")

    def _due(self, view: CoachView, true: Truth, more: bool, said_Nm: float | None) -> None:
        at_s, danger = true.at_s, in_danger(view) or view.link.state in ("silent", "down")
        loaded = view.phase in LOADED and not true.off and not true.broken
        blind_s = self._blind.held(loaded and (view.stale or view.reading.torque_Nm is None), at_s)
        if self._quiet.held(blind_s > BLIND_S and not danger, at_s) > MOMENT_S:
            self._broke("blind, no danger", at_s, true, f"shows no torque for {blind_s:.1f} s, without a danger")
        if self._blind_more.held(blind_s > BLIND_S and more, at_s) > GRACE_S:
            self._broke("blind, more", at_s, true, f"asks for more, without torque for {blind_s:.1f} s")
        newest = self._newest
        frozen = newest is not None and newest.frozen and view.phase in LOADED | PREPARING and view.summary is None
        frozen_s = self._frozen.held(frozen, at_s)
        if frozen_s > FROZEN_S:
            self.clues.note("readings stand", at_s)
        if self._frozen_quiet.held(frozen_s > FROZEN_S and not danger, at_s) > MOMENT_S:
            self._broke("frozen, no danger", at_s, true, f"readings stand for {frozen_s:.1f} s, without a danger")
        if frozen_s > FROZEN_S + GRACE_S and more:
            self._broke("frozen, more", at_s, true, f"asks for more on readings that stand for {frozen_s:.1f} s")
        stranger_s = self._stranger.held(loaded and newest is not None and newest.stranger, at_s)
        if stranger_s > BLIND_S and not (danger or view.alarms or self.took_it_on):
            self._broke("another board, not said", at_s, true, "another board's lines are taken without a word")
        rating = min(self.rating_Nm, self.limit_Nm or self.rating_Nm)
        over = said_Nm is not None and abs(said_Nm) > 1.05 * rating + 2e-4 and true.hooked
        if self._over.held(over, at_s) > OVER_S and not danger and not stops(view.prompt):
            self._broke("past a rating, no danger", at_s, true, "torque as sent is past a rating")
        due_s = FAR_S if true.share > HARM_NEAR else FAR_AT_MOST_S
        if self.clues.far_s > due_s + GRACE_S and more and true.turning and not self.took_it_on:
            self._broke("far from the label, more", at_s, true, f"far off for {self.clues.far_s:.1f} s, asks for more")

    def _age(self, view: CoachView, true: Truth) -> None:
        live = not view.stale and view.reading.torque_Nm is not None and view.summary is None
        age_s = true.at_s - self._good_s
        held_s = self._old.held(live and age_s > AGE_S + AGE_MARGIN_S + CLOCKS * true.at_s, true.at_s)
        if held_s > 0.05 and not self.hides_age:
            self._broke("old as live", true.at_s, true, f"shows torque as live, converted {age_s:.2f} s ago")

    def _turns_about(self, view: CoachView, true: Truth, more: bool) -> None:
        at_s, prompt = true.at_s, view.prompt
        word = "more" if more else "stop" if stops(prompt) and view.phase not in (Phase.BACK_OFF, Phase.READY) else ""
        if word and word != self._was:
            if self._was:
                self._flips.append(at_s)
            self._was = word
        while self._flips and self._flips[0] < at_s - FLIP_S:
            self._flips.popleft()
        if len(self._flips) >= FLIPS:
            self._broke("stop and crank in turns", at_s, true, f"{len(self._flips)} changes within {FLIP_S:.0f} s")
        if view.phase in PREPARING or not true.hooked:
            self._in_m = None
        elif prompt is not None and prompt.distance_m is not None and prompt.code != "stretch_to":
            place_m = prompt.distance_m
            if self._in_m is not None and place_m > max(self._in_m, true.distance_m) + OUT_M:
                self._broke("out after in", at_s, true, f"says {place_m:.2f} m after {self._in_m:.2f} m: {prompt.text}")
            self._in_m = place_m if self._in_m is None else min(self._in_m, place_m)

    def _ready(self, view: CoachView, true: Truth) -> None:
        out = true.distance_m > self.hooks_m + 0.5 * (self.stretch_m - self.hooks_m)
        if view.phase in (Phase.READY, Phase.DONE) and out and true.hooked and true.share > 0.2 and not self.took_it_on:
            self._broke("ready at full stretch", true.at_s, true, f"phase {view.phase} at {true.distance_m:.2f} m")

    def came_back(self, view: CoachView, true: Truth) -> None:
        """The motor hangs again for a while: the wind must go on, if there is torque by which that can be seen."""
        if view.phase not in LOADED | PREPARING and true.torque_Nm > 0.1 * self.plan.peak_torque_Nm:
            self._broke("does not go on", true.at_s, true, f"the motor hangs again, and the phase is {view.phase}")

    def motor_broke(self, true: Truth, at_risk: bool) -> None:
        """The motor broke. Its own risk, and what nobody could know, are no fault."""
        bound = self.clues.bound(true.at_s)
        if at_risk or bound is None or true.share <= bound or true.at_s - self.last_more_s > 0.5:
            return
        self._broke("broke, asked for more", true.at_s, true, f"({', '.join(self.clues.found)})")

    def _deep(self, view: CoachView, true: Truth) -> None:
        for part in (
            view.reading,
            view.prompt,
            view.alarms,
            view.targets,
            view.marks,
            view.shown_torque_Nm,
            view.slow_rate_Nm_per_s,
            view.peak_risk,
            view.zero_counts,
            view.phase_starts,
            view.summary,
        ):
            for where in no_numbers(part):
                self._broke("no number", true.at_s, true, f"the view holds {where}")
        words = (torque_figure(view), big_word(view).text, instruction(view), *alarm_text(view, None))
        for where in no_numbers(words):
            self._broke("no number", true.at_s, true, f"the screen shows {where}")

    def at_the_end(self, true: Truth, ended: str) -> None:
        """The wind is over: somebody honest, with nothing untrue, must have got a wound motor and no false danger."""
        if not self.honest:
            return
        if not true.broken and self.past < 0.88:
            self._broke("honest wind, no peak", true.at_s, true, f"ends ({ended}) at {self.past:.2f} of the target")
        if self.first_danger_share is not None and self.first_danger_share < 0.85:
            which = ", ".join(sorted(self.dangers))
            self._broke("honest wind, danger", true.at_s, true, f"{which} at {self.first_danger_share:.2f}")

    def failed(self, error: Exception, true: Truth) -> None:
        """The program raised."""
        self._broke("raised", true.at_s, true, repr(error)[:160])

    def _broke(self, rule: str, at_s: float, true: Truth, what: str) -> None:
        if rule not in self.broken:
            self.broken[rule] = (
                f"at {at_s:.1f} s, truly {true.share:.2f} of the target, {true.torque_Nm * 1e3:.2f} mN·m,"
                f" {true.distance_m:.2f} m{', broken' if true.broken else ''}: {what}"
            )
