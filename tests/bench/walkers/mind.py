"""What all minds share: hooking up, walking out, wills of one's own, backing off and leaving.

Subclasses say what is done about words, and how the feet walk in.
"""

from __future__ import annotations

from abc import ABC, abstractmethod

from tests.bench.walkers.body import Body
from tests.bench.walkers.people import Drawn
from tests.bench.walkers.senses import Senses, Word
from winding_coach.rubber.figures import Plan

HOOKS_UP_S, LEAVES_S, GONE_S = 1.5, 4.0, 2.5
STARTS_UNASKED_S = 4.0
BACKS_OFF_UNASKED_S, WAITS_FOR_A_WORD_S = 6.0, 25.0
"""Who ended early on purpose waits so long for a word before doing it alone; anybody waits so long for the next."""
OWN_BACK_OFF_REV = 3.0
REST_S, UNHOOKED_S = 60.0, 5.0
WALKS_TO_HOOKS_M_PER_S = 0.2


class Mind(ABC):
    """One person's mind. stage: waiting, hooking up, out, winding, stopped, backing, holding, gone.

    meant: what was done on purpose that nobody asked for ("stopped early", "backed off early"), for the score. pressed:
    keys of the coach, by name, that were pressed just now.
    """

    def __init__(self, drawn: Drawn, body: Body, senses: Senses, plan: Plan, ratio: float) -> None:
        self.drawn, self.walker = drawn, drawn.walker
        self.body, self.senses, self.plan, self.ratio = body, senses, plan, ratio
        self.stage = "waiting"
        self.since_s = 0.0
        self.meant = ""
        self.done = False
        self.pressed: list[str] = []
        self.start_told = False
        self.stretch_m = plan.stretch_distance_m
        self.left_stretch = False
        self._will = drawn.walker.wills
        self._first_rev = float(body.rng.uniform(5.0, 15.0)) if "cranks first" in self._will else 0.0
        self._rests_at = 0.6 * plan.stretched_turns if "rests" in self._will else 1e9
        self._unhooks_at = 0.4 * plan.stretched_turns if "unhooks" in self._will else 1e9
        self._paused_until_s = 0.0
        self._chunk_to = 0.0
        self._next_chunk_s = 0.0
        self._allowed_rev = 0.0
        self._early_turns = 1e9
        if "stops early" in self._will:
            self._early_turns = drawn.walker.share * plan.target_turns
        elif "backs off early" in self._will:
            self._early_turns = (0.80 + 0.6 * (drawn.walker.share - 0.70)) * plan.target_turns

    @property
    def turns(self) -> float:
        """Turns that were put on, by one's own count."""
        return self.body.rev * self.ratio

    def enter(self, stage: str) -> None:
        """Begin something else."""
        self.stage, self.since_s = stage, self.body.at_s

    def decide(self) -> None:
        """Do what is due; called some twenty times a second."""
        at_s = self.body.at_s
        for word in self.senses.news(at_s):
            self.heed(word)
        if self._pausing(at_s):
            return
        getattr(self, "_" + self.stage.replace(" ", "_"))(at_s - self.since_s)

    @abstractmethod
    def heed(self, word: Word) -> None:
        """Take a word to heart, or not."""

    @abstractmethod
    def walk_in(self) -> None:
        """Move the feet while winding, or not."""

    @abstractmethod
    def peaked(self) -> bool:
        """Whether to stop of one's own accord: the needle is where it should be."""

    # -- stages

    def _waiting(self, for_s: float) -> None:
        self.body.crank = 0.0

    def _hooking_up(self, for_s: float) -> None:
        if for_s < HOOKS_UP_S:
            return
        self.body.hooked = True
        if self.turns < self._first_rev * self.ratio:
            self.body.crank = 1.0
            return
        self.body.crank = 0.0
        to_m = 1.5 * self.body.distance_m if "skips the stretch" in self._will else self.stretch_m
        self.body.out(to_m)
        self.enter("out")

    def _out(self, for_s: float) -> None:
        if self.body.moving:
            self.since_s = self.body.at_s
        elif self.start_told or for_s >= STARTS_UNASKED_S:
            self.enter("winding")

    def _winding(self, for_s: float) -> None:
        if self.turns >= self._early_turns and ("stops early" in self._will or self.body.at_hooks):
            self.end_early()
            return
        self.body.crank = 1.0
        if self.peaked():
            self.enter("stopped")
            return
        self.walk_in()

    def end_early(self) -> None:
        """Stop or back off before the target, as this person means to."""
        self.meant = "stopped early" if "stops early" in self._will else "backed off early"
        self.body.crank = 0.0
        if self.meant == "stopped early":
            self.enter("stopped")
            if not self.body.at_hooks:
                self.body.walk(self.body.hooks_m, WALKS_TO_HOOKS_M_PER_S)
        else:
            self.back_off(OWN_BACK_OFF_REV)

    def _stopped(self, for_s: float) -> None:
        self.body.crank = 0.0
        if not self.body.at_hooks and not self.body.moving and self.meant:
            self.body.walk(self.body.hooks_m, WALKS_TO_HOOKS_M_PER_S)
        if self.body.moving:
            self.since_s = self.body.at_s
        elif for_s >= (BACKS_OFF_UNASKED_S if self.meant else WAITS_FOR_A_WORD_S):
            self.back_off(OWN_BACK_OFF_REV)

    def back_off(self, rev: float | None) -> None:
        """Turn back so many turns of the crank from here, None: until a word comes."""
        if self.stage != "backing":
            self.enter("backing")
            self._chunk_to = 1e9
            self._next_chunk_s = self.body.at_s
        self._allowed_rev = -1e9 if rev is None else self.body.rev - rev
        self.since_s = self.body.at_s

    def _backing(self, for_s: float) -> None:
        body, bits = self.body, self.walker.bits
        if bits and body.rev <= self._chunk_to + 0.15 and body.at_s >= self._next_chunk_s:
            self._chunk_to = body.rev - bits
            self._next_chunk_s = body.at_s + bits / body.back_speed + float(body.rng.uniform(1.0, 2.5))
        to = max(self._allowed_rev, self._chunk_to) if bits else self._allowed_rev
        # The hand stops in about an eighth of a turn.
        body.crank = -1.0 if body.rev > to + 0.1 else 0.0
        if for_s > WAITS_FOR_A_WORD_S and not self.body.crank:
            self.enter("holding")

    def _holding(self, for_s: float) -> None:
        self.body.crank = 0.0
        if for_s > LEAVES_S:
            self.body.hooked = False
            self.enter("gone")

    def _gone(self, for_s: float) -> None:
        self.done = for_s > GONE_S

    def _pausing(self, at_s: float) -> bool:
        """Rest at full stretch, or unhook in between, once each."""
        if self.stage != "winding":
            return False
        if self.turns >= self._rests_at:
            self._rests_at, self._paused_until_s = 1e9, at_s + REST_S
        if self.turns >= self._unhooks_at:
            self._unhooks_at, self._paused_until_s = 1e9, at_s + UNHOOKED_S
            self.body.hooked = False
        if at_s < self._paused_until_s:
            self.body.crank = 0.0
            return True
        self.body.hooked = True
        return False
