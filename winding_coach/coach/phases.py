"""The phases of a wind as a table: from a phase, when the signal shows this, to the next. Pure.

A phase is what the coach wants now. It moves on when the signal shows that its step is done, follows a person
who runs ahead, and can always be moved on by a key.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from winding_coach.coach.limits import Limits
from winding_coach.coach.moment import Moment
from winding_coach.coach.said import Phase

PREPARING = frozenset({Phase.SET_ZERO, Phase.STRETCH_OUT})
WINDING = frozenset({Phase.WIND_STRETCHED, Phase.WALK_IN, Phase.FINAL_TURNS})
UNLOADING = frozenset({Phase.BACK_OFF, Phase.READY})
LOADED = WINDING | UNLOADING
OVER = frozenset({Phase.DONE, Phase.STOPPED})

UNHOOKED_FOR_S, ZERO_SEEN_S, ABOUT_NOTHING = 1.0, 3.5, 0.03
"""The second where torque is not about nothing then: so long it is seen, and said, that the zero has moved."""
BEGUN_TURNS_OF_CRANK = 2.0
BEGUN_SHARE = 0.12
"""Torque of this share of the full-stretch figure: cranking has begun, where no crank sensor tells."""
LAUNCH_REACHED = 1.0
STOPPED_NEAR, NEAR_LAUNCH = 0.97, 1.04
STILL_PER_S = 0.002
"""Without a crank sensor the hand is still when torque changes by less than this share of the peak, a second."""
FELL_FROM_TOP = 0.08
"""At fixed hooks only backing off takes this share off the top; relaxation takes half as much in a minute."""
NEAR_PEAK = 0.94
LIES_AT_HOOKS_S, LIES_AT_TARGET_S, LIES_COUNTED_S, LIES_IN_WALK_S = 2.0, 3.0, 4.5, 7.0
"""So long torque lies low before it counts as backed off; a step's is back sooner, or the crank is turned on."""
STANDS_LOW_S = 6.0
"""The crank stands so long, though after the first second the word was to go on."""
STILL_IN_WALK_S = 8.0
"""A walk that just balances the crank keeps torque still too, but hardly for so long."""
TAKEN_OFF_TURNS_OF_CRANK = 0.9
CRANKED_ON_SHARE = 0.08
CLIMBING = 1.04
CLIMBS_FOR_S, CLIMBS_COUNTED_S = 15.0, 6.0
"""Torque that climbs so long with the feet told to go quicker, or to step: they should be at the hooks."""
NOT_YET = 0.75
HELD_AT, HAIR_TURNS, HELD_FOR_S, STANDS_S = 0.92, 0.98, 1.2, 2.0
"""Torque that was near the target, or turns that are, and that stays at this share of it, with the crank still, so
long: nobody steps in any more. Torque that has been still for so long is that of feet and hand that stand; the slowest
crank moves it in less."""
ENDED_TURNS, STEP_LASTS_S = 0.95, 1.2
TURNS_REACHED = 1.01
"""Counted turns end the climb here: torque of a motor that is weaker than its label does not."""


def _begun(now: Moment, limits: Limits) -> bool:
    if now.turns is not None and now.counted:
        wound = now.turns if now.wound_turns is None else now.wound_turns
        return wound >= BEGUN_TURNS_OF_CRANK * limits.ratio
    begun_Nm = now.rest_Nm + BEGUN_SHARE * limits.stretched_Nm
    # Neither the swing of the smoothing nor the jump of a motor that is hooked up is a crank's.
    return now.in_phase_s > 1.0 and min(now.torque_Nm or 0.0, now.empty_Nm or 0.0) > begun_Nm


def _stretched_wound(now: Moment, limits: Limits) -> bool:
    if now.torque_Nm is not None and now.torque_Nm >= limits.stretched_Nm:
        return True
    # A motor weaker than its plan: turns are the reference that keeps it from being wound out at full stretch.
    return now.counted and now.turns is not None and now.turns >= 1.15 * limits.stretched_turns


def _stepped_in(now: Moment, limits: Limits) -> bool:
    """They walk in before the torque is there; who never stretched has not."""
    wound = now.torque_Nm is not None and now.phase_top_Nm >= 0.6 * limits.stretched_Nm
    return wound and now.distance_m is not None and now.distance_m < 0.93 * limits.stretch_m


def _walking_early(now: Moment, limits: Limits) -> bool:
    """Torque falls while the crank turns: the person has started to walk in."""
    far_enough = not now.counted or now.turns is None or now.turns > 0.75 * limits.stretched_turns
    return (
        far_enough
        and now.torque_Nm is not None
        and now.phase_top_Nm > 0.7 * limits.stretched_Nm
        and now.torque_Nm < (1 - 2 * FELL_FROM_TOP) * now.phase_top_Nm
        and bool(now.cranking)
    )


def _walked_in(now: Moment, limits: Limits) -> bool:
    """Only what measures the distance shows the hooks; torque and turns are alike for somebody half a metre out."""
    return now.distance_m is not None and now.distance_m <= 1.03 * limits.hooks_m + 0.02


def arrives(now: Moment, limits: Limits) -> bool:
    """Whether, where nobody measures, the way should be over: from here on the word for the feet is the hooks."""
    if now.distance_m is not None or now.torque_Nm is None or now.phase is not Phase.WALK_IN:
        return False
    far_out = now.counted and now.turns is not None and now.turns < 0.97 * limits.walked_in_turns
    if not far_out and now.torque_Nm >= NEAR_PEAK * limits.peak_Nm:
        return True
    if now.counted and now.turns is not None:
        return now.climbs_s >= CLIMBS_COUNTED_S and now.turns >= limits.walked_in_turns
    # Without turns or distance only the climb at the end tells: above what the plan's walk-in ends with, and rising.
    return now.climbs_s >= CLIMBS_FOR_S and now.torque_Nm > CLIMBING * limits.walked_in_Nm


def leaves_again(now: Moment, limits: Limits) -> bool:
    """Whether torque says that the way was not over after all."""
    was_there = now.phase_top_Nm >= NEAR_PEAK * limits.peak_Nm
    return now.torque_Nm is not None and not was_there and now.torque_Nm < NOT_YET * limits.walked_in_Nm


def _held_at_target(now: Moment, limits: Limits) -> bool:
    """Told to stop and step in to the hooks, the hand stands and torque stays: they are there."""
    if now.distance_m is not None or now.torque_Nm is None or not now.arriving:
        return False
    stands = now.still_s >= STANDS_S and (now.cranking is False or not now.counted)
    return stands and all_but_there(now, limits)


def all_but_there(now: Moment, limits: Limits) -> bool:
    """Whether who was told to stop need not go on: torque, or the count, is the target's but for a hair."""
    if now.counted and now.turns is not None and now.turns >= HAIR_TURNS * limits.target_turns:
        return True
    if now.torque_Nm is None or now.torque_Nm < HELD_AT * limits.peak_Nm:
        return False
    return now.phase_top_Nm >= STOPPED_NEAR * limits.peak_Nm


def _ended_at_target(now: Moment, limits: Limits) -> bool:
    """The target was reached where nobody measures; then torque fell and lies still: backed off, told or not.

    Who was told to step in and does so moves torque all the while.
    """
    short = now.counted and now.turns is not None and now.turns < ENDED_TURNS * limits.target_turns
    still = now.lies_s >= LIES_AT_TARGET_S and now.still_s >= STANDS_S and now.cranking is not True
    lies = now.counted and now.lies_s >= LIES_COUNTED_S
    return not short and (still or lies) and _fell_from(STOPPED_NEAR, now, limits)


def _turned_back(now: Moment, limits: Limits) -> bool:
    """The same where pulses go on while torque falls, for longer than a step takes."""
    return now.counted and now.reversing and _fell_from(NEAR_PEAK, now, limits)


def _fell_from(share: float, now: Moment, limits: Limits) -> bool:
    if now.distance_m is not None or not now.arriving or now.torque_Nm is None:
        return False
    reached = now.phase_top_Nm >= share * limits.peak_Nm
    return reached and now.torque_Nm < (1.0 - FELL_FROM_TOP) * now.phase_top_Nm


def _ended_already(now: Moment, limits: Limits) -> bool:
    """The last turns were seen only as they were over."""
    just = now.phase_before is Phase.WALK_IN and now.in_phase_s == 0.0
    return just and now.torque_Nm is not None and now.torque_Nm < (1.0 - FELL_FROM_TOP) * now.torque_top_Nm


def turns_reached(now: Moment, limits: Limits) -> bool:
    """Whether the counted turns are the target's, whatever torque says: the lower of both ends the climb."""
    return now.counted and now.turns is not None and now.turns >= TURNS_REACHED * limits.target_turns


def _peak_reached(now: Moment, limits: Limits) -> bool:
    return now.torque_Nm is not None and now.torque_Nm >= limits.peak_Nm


def _backing_off(now: Moment, limits: Limits) -> bool:
    """At the hooks torque goes down, and stays down, by backing off only."""
    if now.torque_Nm is None:
        return False
    fell = 1.0 - now.torque_Nm / now.phase_top_Nm if now.phase_top_Nm > 0.0 else 0.0
    return fell > FELL_FROM_TOP and now.phase_top_Nm > BEGUN_SHARE * limits.peak_Nm and now.lies_s >= LIES_AT_HOOKS_S


def _ended_early(now: Moment, limits: Limits) -> bool:
    """In the walk-in torque went down, stays down, and nothing cranks: they are done with winding."""
    if now.torque_Nm is None or now.cranking is True or now.phase_top_Nm <= 0.0 or now.in_doubt:
        return False
    out = now.distance_m is not None and now.distance_m > limits.hooks_m + 0.15
    # Where nothing counts turns, only quite still torque shows that nobody cranks or walks: they may not have heard.
    still = now.still_s >= STILL_IN_WALK_S
    waited = not now.led or (now.counted and now.waits_s >= LIES_IN_WALK_S)
    stays = still or (waited and now.lies_s >= LIES_IN_WALK_S)
    return stays and not out and now.torque_Nm < (1.0 - 1.5 * FELL_FROM_TOP) * now.phase_top_Nm


def _stands_low(now: Moment, limits: Limits) -> bool:
    """The counted crank stands though to go on was said, and torque is far down: somebody who ended far out is at the
    hooks. Who was at the target's torque may be on the way in, as the stop told them."""
    if now.torque_Nm is None or not now.counted or now.cranking is not False or now.arriving or now.in_doubt:
        return False
    out = now.distance_m is not None and now.distance_m > limits.hooks_m + 0.15
    fell = now.torque_Nm < (1.0 - 1.5 * FELL_FROM_TOP) * now.phase_top_Nm
    return fell and not out and now.phase_top_Nm < NEAR_PEAK * limits.peak_Nm


def _taken_off(now: Moment, limits: Limits) -> bool:
    """Two sensors saw the crank go back."""
    return now.taken_off >= TAKEN_OFF_TURNS_OF_CRANK * limits.ratio


def _cranked_on(now: Moment, limits: Limits) -> bool:
    """What was taken for a back-off was none, or they wind on: torque is well above its lowest and still rises."""
    if now.torque_Nm is None or now.torque_Nm >= limits.peak_Nm or now.taken_off > 0.0:
        return False
    risen = now.torque_Nm - now.phase_low_Nm
    return now.torque_Nm > 1.1 * limits.launch_Nm and risen > CRANKED_ON_SHARE * limits.peak_Nm and now.rises_s > 1.5


def _walks_on(now: Moment, limits: Limits) -> bool:
    """The same for somebody who was on the way in when it was taken for a back-off."""
    out = now.phase_before is Phase.WALK_IN if now.distance_m is None else not _walked_in(now, limits)
    return out and _cranked_on(now, limits)


def _stopped_at_peak(now: Moment, limits: Limits) -> bool:
    """Stopped by the prompt, a hair below the figure, or at the target's turns: that is the peak."""
    return _still(now, limits) and all_but_there(now, limits)


def _reversing(now: Moment, limits: Limits) -> bool:
    return now.reversing and now.torque_Nm is not None and now.torque_Nm < 0.96 * now.phase_top_Nm


def _still(now: Moment, limits: Limits) -> bool:
    if now.cranking is not None:
        return not now.cranking
    return now.rate_Nm_per_s is not None and abs(now.rate_Nm_per_s) < STILL_PER_S * limits.peak_Nm


def _launch_torque(now: Moment, limits: Limits) -> bool:
    return now.torque_Nm is not None and now.torque_Nm <= LAUNCH_REACHED * limits.launch_Nm


def _stopped_at_launch(now: Moment, limits: Limits) -> bool:
    return now.torque_Nm is not None and now.torque_Nm <= NEAR_LAUNCH * limits.launch_Nm and _still(now, limits)


def _above_launch(now: Moment, limits: Limits) -> bool:
    return now.torque_Nm is not None and now.torque_Nm > 1.06 * limits.launch_Nm and now.in_phase_s > 2.0


def _unhooked(now: Moment, limits: Limits) -> bool:
    moved = now.empty_Nm is not None and abs(now.empty_Nm) > ABOUT_NOTHING * limits.peak_Nm
    return now.gone_s >= (ZERO_SEEN_S if moved else UNHOOKED_FOR_S)


def _launch_turns(limits: Limits) -> float:
    return limits.target_turns - limits.back_off_turns


def _tapped_to(turns: Callable[[Limits], float], *, back: bool = False) -> Callable[[Moment, Limits], bool]:
    """Without the meter the tapped turns alone move on: at this many of them by the plan."""

    def reached(now: Moment, limits: Limits) -> bool:
        if not now.by_taps or now.turns is None:
            return False
        return now.turns <= turns(limits) + 0.5 if back else now.turns >= turns(limits) - 0.5

    return reached


def _broke(now: Moment, limits: Limits) -> bool:
    return now.broke


def _tared(now: Moment, limits: Limits) -> bool:
    return now.tared


@dataclass(frozen=True, slots=True, eq=False)
class Step:
    """From `at`, when `when` has held for `for_s`, to `to`."""

    at: Phase
    when: Callable[[Moment, Limits], bool]
    to: Phase
    for_s: float = 0.0


BY_SIGNAL: tuple[Step, ...] = (
    *(Step(phase, _broke, Phase.BROKEN) for phase in (*sorted(WINDING), Phase.BACK_OFF)),
    Step(Phase.SET_ZERO, _begun, Phase.WIND_STRETCHED),
    Step(Phase.SET_ZERO, _tared, Phase.STRETCH_OUT),
    Step(Phase.STRETCH_OUT, _begun, Phase.WIND_STRETCHED),
    Step(Phase.WIND_STRETCHED, _stretched_wound, Phase.WALK_IN),
    Step(Phase.WIND_STRETCHED, _stepped_in, Phase.WALK_IN, for_s=0.7),
    Step(Phase.WIND_STRETCHED, _walking_early, Phase.WALK_IN),
    Step(Phase.WALK_IN, _walked_in, Phase.FINAL_TURNS, for_s=0.3),
    Step(Phase.WALK_IN, _held_at_target, Phase.FINAL_TURNS, for_s=HELD_FOR_S),
    # Not from the walk-in: peak torque out there calls for stepping in, and the overwind alarm says to stop.
    Step(Phase.FINAL_TURNS, _peak_reached, Phase.BACK_OFF),
    Step(Phase.FINAL_TURNS, _stopped_at_peak, Phase.BACK_OFF, for_s=0.7),
    Step(Phase.FINAL_TURNS, _reversing, Phase.BACK_OFF, for_s=0.2),
    Step(Phase.FINAL_TURNS, _backing_off, Phase.BACK_OFF),
    Step(Phase.FINAL_TURNS, _taken_off, Phase.BACK_OFF),
    Step(Phase.FINAL_TURNS, _ended_already, Phase.BACK_OFF),
    Step(Phase.WALK_IN, _ended_at_target, Phase.FINAL_TURNS, for_s=0.2),
    Step(Phase.WALK_IN, _turned_back, Phase.FINAL_TURNS, for_s=STEP_LASTS_S),
    Step(Phase.WALK_IN, _taken_off, Phase.BACK_OFF),
    Step(Phase.WALK_IN, _ended_early, Phase.BACK_OFF),
    Step(Phase.WALK_IN, _stands_low, Phase.BACK_OFF, for_s=STANDS_LOW_S),
    Step(Phase.BACK_OFF, _walks_on, Phase.WALK_IN, for_s=0.5),
    Step(Phase.BACK_OFF, _cranked_on, Phase.FINAL_TURNS, for_s=0.5),
    Step(Phase.BACK_OFF, _launch_torque, Phase.READY),
    Step(Phase.BACK_OFF, _stopped_at_launch, Phase.READY, for_s=0.7),
    Step(Phase.WIND_STRETCHED, _tapped_to(lambda limits: limits.stretched_turns), Phase.WALK_IN),
    Step(Phase.WALK_IN, _tapped_to(lambda limits: limits.walked_in_turns), Phase.FINAL_TURNS),
    Step(Phase.FINAL_TURNS, _tapped_to(lambda limits: limits.target_turns), Phase.BACK_OFF),
    Step(
        Phase.BACK_OFF, _tapped_to(lambda limits: limits.target_turns - limits.back_off_turns, back=True), Phase.READY
    ),
    Step(Phase.READY, _unhooked, Phase.DONE),
    Step(Phase.READY, _above_launch, Phase.BACK_OFF, for_s=2.0),
)
"""The first that holds is taken; then the table is asked again, for a person who runs ahead."""

BY_NEXT_KEY: dict[Phase, Phase] = {
    Phase.SET_ZERO: Phase.STRETCH_OUT,
    Phase.STRETCH_OUT: Phase.WIND_STRETCHED,
    Phase.WIND_STRETCHED: Phase.WALK_IN,
    Phase.WALK_IN: Phase.FINAL_TURNS,
    Phase.FINAL_TURNS: Phase.BACK_OFF,
    Phase.BACK_OFF: Phase.READY,
    Phase.READY: Phase.DONE,
}


BY_BACK_KEY: dict[Phase, Phase] = {to: at for at, to in BY_NEXT_KEY.items() if to is not Phase.DONE}
"""Phases are taken back by a key one at a time; the signal may move on again only after `BACK_HOLDS_S`."""
BACK_HOLDS_S = 8.0


_STEPS_OF: dict[Phase, tuple[Step, ...]] = {phase: tuple(s for s in BY_SIGNAL if s.at == phase) for phase in Phase}


class SignalSteps:
    """Asks the table, and remembers since when a step has been due."""

    def __init__(self) -> None:
        self._due: dict[Step, float] = {}
        self._held: tuple[Phase, float] | None = None

    def hold(self, phase: Phase, until_s: float) -> None:
        """Do not move on to a phase that was just taken back."""
        self._due.clear()
        self._held = phase, until_s

    def next(self, now: Moment, limits: Limits) -> Phase | None:
        """Return the phase that the signal moves on to, None to stay."""
        for step in _STEPS_OF[now.phase]:
            held = self._held is not None and step.to is self._held[0] and now.at_s < self._held[1]
            if held or not step.when(now, limits):
                if self._due:
                    self._due.pop(step, None)
            elif now.at_s - self._due.setdefault(step, now.at_s) >= step.for_s:
                self._due.clear()
                return step.to
        return None


ASKS_FOR_S = 6.0
"""A phase key that torque speaks against does nothing the first time; pressed again within this it is meant."""
CLEARLY = 0.6
FAR_BELOW_TARGET, FAR_ABOVE_LAUNCH, LOADED_SHARE = 0.85, 1.2, 0.3


def speaks_against(now: Moment, limits: Limits, to: Phase) -> bool:
    """Whether torque, turns or the distance contradict a phase that a key asks for: it may have been bumped."""
    torque_Nm = now.torque_Nm
    if torque_Nm is None:
        return False
    if to is Phase.WALK_IN:
        few = not now.counted or now.turns is None or now.turns < CLEARLY * limits.stretched_turns
        return few and now.phase_top_Nm < CLEARLY * limits.stretched_Nm
    if to is Phase.FINAL_TURNS:
        out = now.distance_m is not None and now.distance_m > limits.hooks_m + 0.3
        early = now.counted and now.turns is not None and now.turns < 0.8 * limits.walked_in_turns
        return out or early or torque_Nm < CLEARLY * limits.walked_in_Nm
    if to is Phase.BACK_OFF:
        return now.cranking is True and torque_Nm < FAR_BELOW_TARGET * limits.peak_Nm and not turns_reached(now, limits)
    if to is Phase.READY:
        return torque_Nm > FAR_ABOVE_LAUNCH * limits.launch_Nm
    loaded = now.phase in LOADED and torque_Nm > LOADED_SHARE * limits.launch_Nm
    return to in OVER and loaded


def next_by_key(phase: Phase, key: str) -> Phase | None:
    """Return the phase that a key moves on to, or back to (`next`, `back`, `peak`, `stop`), None to stay."""
    if key == "back":
        return BY_BACK_KEY.get(phase)
    if key == "next":
        return BY_NEXT_KEY.get(phase)
    if key == "peak" and phase in WINDING:
        return Phase.BACK_OFF
    if key == "stop" and phase not in OVER and phase is not Phase.BROKEN:
        return Phase.STOPPED
    return None
