"""Alarms with hysteresis as a table: when each goes on, when it may stay on, for how long at least. Pure.

The bank keeps which are on; it is told every moment and says what changed. Order in the table is priority:
only the first that is on may sound.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from winding_coach.coach.limits import Limits
from winding_coach.coach.moment import Moment
from winding_coach.coach.phases import LOADED, OVER, PREPARING, WINDING, turns_reached
from winding_coach.coach.said import Alarm, AlarmFigures, Level, Phase

Test = Callable[[Moment, Limits], bool]

CRANKED = WINDING | {Phase.BACK_OFF}
IN_USE = frozenset(Phase) - OVER - {Phase.BROKEN}
EMPTY = frozenset({Phase.SET_ZERO, Phase.STRETCH_OUT, Phase.READY, Phase.BROKEN})
"""Where torque is nothing for a while: before the motor is hooked up and when it is off."""

FALLEN_SHARE, CAUGHT_SHARE = 0.70, 0.80
"""Every step-in makes a saw tooth; torque that stays below this share of the plan's means walking in too fast.
Found with the simulated motor (invented hands), not from logged winds."""
AHEAD_M = 0.12
"""Where the meter tells the distance: nearer than the path by this. On the path low torque will come back."""
ABOVE_PLAN = 1.08
"""In the walk-in torque recovers quickly from each step; only above the plan's torque is that too fast."""
TOO_FAST = 1.35
"""Times the upper edge of the band: beyond it torque rises too fast."""
SILENT_S = 2.0
STOPPED_AFTER_S = 3.0
"""Where no crank is felt: so long after the peak the hand has stopped."""
UNLIKE_PLAN = 0.11
"""Motors of one label differ by some 8 % in torque (assumed); beyond this it is another motor, or the zero is off."""
ZERO_SHARE = 0.03
TURNS_REV_PER_S = 0.4
DANGER_OVER, DANGER_STANDING = 1.06, 1.10
"""Above the target by this, with the crank turning or standing, is a danger: a turn of the crank more than a late
stop takes (simulated)."""
RIPPLE_AGREES_S = 1.5
SOON_SHARE, SOON_TURNS, SOON_S = 0.92, 0.94, 6.0
"""The target is counted down from this share of it, and so many seconds, on."""
STOPS_NEAR = 0.93
SAID_S = 8.0
"""What is said once stays to be read for so long."""


def stopped_beyond(now: Moment) -> bool:
    """Whether the hand has stopped after the peak: then it is time to back off."""
    return now.phase is Phase.BACK_OFF and (now.stopped or (now.cranking is None and now.in_phase_s > STOPPED_AFTER_S))


def _size(now: Moment) -> float | None:
    """Torque whichever way round: no limit waits for the direction to be known."""
    return None if now.torque_Nm is None else abs(now.torque_Nm)


def _overwind(now: Moment, limits: Limits) -> bool:
    # A hand that stops when it is told to goes past the target by a turn of the crank at most; that is no danger.
    # A crank that stands in mid-turn shows its ripple as torque.
    slow = now.crank_rev_per_s is not None and abs(now.crank_rev_per_s) < TURNS_REV_PER_S
    over = DANGER_STANDING if slow or now.cranking is False else DANGER_OVER
    size_Nm = _size(now)
    if size_Nm is not None and size_Nm >= over * limits.peak_Nm:
        return True
    # Turns are the cross-check: past the middle between the target and the breaking turns.
    return now.counted and now.turns is not None and now.turns >= 0.5 * (limits.target_turns + limits.breaking_turns)


def _overwound_still(now: Moment, limits: Limits) -> bool:
    # A danger is not over because nothing is known.
    if now.torque_Nm is None or abs(now.torque_Nm) >= 0.99 * limits.peak_Nm:
        return True
    return now.counted and now.turns is not None and now.turns >= 0.5 * (limits.target_turns + limits.breaking_turns)


def _limit_coming(now: Moment, limits: Limits) -> bool:
    near = now.torque_Nm is not None and now.torque_Nm >= SOON_SHARE * limits.peak_Nm
    if now.counted and now.turns is not None and now.turns < SOON_TURNS * limits.target_turns:
        return False  # The quick rise after a step, by torque of a motor that is stronger than its label.
    return near and now.peak_in_s is not None and now.peak_in_s <= SOON_S and now.cranking is not False


def _limit_near(now: Moment, limits: Limits) -> bool:
    # One countdown: torque that wavers does not begin it anew.
    return now.torque_Nm is not None and now.torque_Nm >= 0.95 * SOON_SHARE * limits.peak_Nm


def at_a_limit(now: Moment, limits: Limits) -> bool:
    """Whether more turns must not be asked for, whatever else is so."""
    size_Nm = _size(now)
    return (
        now.overloaded
        or now.saturated
        or now.frozen
        or now.another
        or now.in_doubt
        or (size_Nm is not None and size_Nm >= limits.peak_Nm)
        or turns_reached(now, limits)
        or _overwind(now, limits)
        or _winder(1.0)(now, limits)
    )


def _stalled(now: Moment, limits: Limits) -> bool:
    # Where only the ripple tells it, torque must be down too: a weak ripple looks like a crank that stands.
    if not now.counted and now.lies_s < RIPPLE_AGREES_S:
        return False
    if now.arriving and now.phase_top_Nm >= STOPS_NEAR * limits.peak_Nm:
        return False  # Told to stop a reaction before the target, and backing off: that is no stall.
    return now.cranking is False and not at_a_limit(now, limits)


def _not_turning(now: Moment, limits: Limits) -> bool:
    return now.cranking is not True and not at_a_limit(now, limits)


def _rising(times: float) -> Test:
    def test(now: Moment, limits: Limits) -> bool:
        if now.rate_Nm_per_s is None or now.rate_high_Nm_per_s is None:
            return False
        return now.rate_Nm_per_s - (now.rate_sd_Nm_per_s or 0.0) > times * now.rate_high_Nm_per_s

    return test


def _rising_walk_in(times: float) -> Test:
    rising = _rising(times)

    def test(now: Moment, limits: Limits) -> bool:
        reference_Nm = limits.stretched_Nm if now.expected_Nm is None else now.expected_Nm
        return now.torque_Nm is not None and now.torque_Nm > ABOVE_PLAN * reference_Nm and rising(now, limits)

    return test


def _below_plan(share: float) -> Test:
    def test(now: Moment, limits: Limits) -> bool:
        reference_Nm = limits.stretched_Nm if now.expected_Nm is None else now.expected_Nm
        # Who is led by torque is told to wait long before.
        low = not now.led and now.torque_Nm is not None and now.torque_Nm < share * reference_Nm
        on_path = now.off_path_m is not None and now.off_path_m > -AHEAD_M
        return low and not on_path and not at_a_limit(now, limits)

    return test


def _broke(now: Moment, limits: Limits) -> bool:
    return now.broke


def _torque_lost(now: Moment, limits: Limits) -> bool:
    return not now.torque_back


def _torque_off_plan(off_by: float) -> Test:
    def test(now: Moment, limits: Limits) -> bool:
        # A doubt has its own words.
        return not now.doubts and now.fitted is not None and not 1 - off_by <= now.fitted <= 1 + off_by

    return test


def _winder(share: float) -> Test:
    return lambda now, limits: (
        limits.winder_Nm is not None and now.torque_Nm is not None and abs(now.torque_Nm) >= share * limits.winder_Nm
    )


def _winder_still(now: Moment, limits: Limits) -> bool:
    return now.torque_Nm is None or _winder(0.97)(now, limits)


def _overloaded(now: Moment, limits: Limits) -> bool:
    return now.overloaded


def _saturated(now: Moment, limits: Limits) -> bool:
    return now.saturated


def _not_known_yet(now: Moment) -> bool:
    """Whether lines have just begun again, and torque is not known yet: no danger is over by that."""
    return now.torque_Nm is None and now.silent_s < SILENT_S


def _saturated_still(now: Moment, limits: Limits) -> bool:
    return now.saturated or _not_known_yet(now)


def _overloaded_still(now: Moment, limits: Limits) -> bool:
    return now.overloaded or _not_known_yet(now)


def _silent(now: Moment, limits: Limits) -> bool:
    return now.silent_s >= SILENT_S


def _no_reading(now: Moment, limits: Limits) -> bool:
    # The first lines after a silence are not torque yet.
    return now.silent_s > 0 or (now.torque_Nm is None and not now.saturated)


def _no_lines(now: Moment, limits: Limits) -> bool:
    return now.silent_s > 0


def _zero_off(share: float) -> Test:
    def test(now: Moment, limits: Limits) -> bool:
        return (
            now.tared
            and now.empty_Nm is not None
            and now.still_s > 1.0
            and now.cranking is not True
            and abs(now.empty_Nm) > share * limits.peak_Nm
            and (now.phase in PREPARING or now.gone_s > 0.5)
            and not now.turns_in_noticed
        )

    return test


def _frozen(now: Moment, limits: Limits) -> bool:
    return now.frozen


def _another(now: Moment, limits: Limits) -> bool:
    return now.another


def _in_doubt(now: Moment, limits: Limits) -> bool:
    return now.in_doubt


def _going_on(now: Moment, limits: Limits) -> bool:
    return now.going_on


def _refused(now: Moment, limits: Limits) -> bool:
    return now.zero_refused_Nm is not None


def _turns_in(now: Moment, limits: Limits) -> bool:
    return now.turns_in_noticed


def _distance_lost(now: Moment, limits: Limits) -> bool:
    return now.distance_lost


def _left_hand(now: Moment, limits: Limits) -> bool:
    return now.left_hand


def _asks(now: Moment, limits: Limits) -> bool:
    return now.asks


def _never(now: Moment, limits: Limits) -> bool:
    return False


@dataclass(frozen=True, slots=True, eq=False)
class Rule:
    """One alarm: on when `on` has held for `after_s`; off when `stay` has failed, but not before `least_s`.

    once: never on again in this wind.
    """

    code: str
    level: Level
    phases: frozenset[Phase]
    on: Test
    stay: Test
    after_s: float = 0.0
    least_s: float = 1.0
    once: bool = False


RULES: tuple[Rule, ...] = (
    Rule("motor_broke", Level.DANGER, CRANKED | {Phase.BROKEN}, _broke, _torque_lost, least_s=0.0),
    Rule("other_meter", Level.DANGER, IN_USE, _another, _another),
    Rule("meter_frozen", Level.DANGER, IN_USE, _frozen, _frozen),
    Rule("overwind", Level.DANGER, IN_USE, _overwind, _overwound_still),
    Rule("meter_limit", Level.DANGER, IN_USE, _overloaded, _overloaded_still),
    Rule("winder_limit", Level.DANGER, IN_USE, _winder(1.0), _winder_still),
    Rule("meter_saturated", Level.DANGER, IN_USE, _saturated, _saturated_still),
    Rule("meter_silent", Level.DANGER, LOADED, _silent, _no_reading, least_s=0.5),
    Rule("far_off", Level.DANGER, IN_USE, _in_doubt, _in_doubt),
    Rule("meter_silent", Level.CAUTION, PREPARING, _silent, _no_lines, least_s=0.5),
    Rule("overwind_soon", Level.CAUTION, WINDING, _limit_coming, _limit_near, after_s=0.2),
    Rule("crank_stalled", Level.WARNING, frozenset({Phase.WALK_IN}), _stalled, _not_turning, after_s=0.3, least_s=0.5),
    Rule(
        "rising_too_fast",
        Level.WARNING,
        frozenset({Phase.WALK_IN}),
        _rising_walk_in(TOO_FAST),
        _rising_walk_in(1.0),
        after_s=0.5,
    ),
    Rule("rising_too_fast", Level.WARNING, WINDING - {Phase.WALK_IN}, _rising(TOO_FAST), _rising(1.0), after_s=0.5),
    Rule(
        "torque_falling",
        Level.WARNING,
        frozenset({Phase.WALK_IN}),
        _below_plan(FALLEN_SHARE),
        _below_plan(CAUGHT_SHARE),
        after_s=1.0,
    ),
    Rule(
        "not_this_motor",
        Level.CAUTION,
        WINDING,
        _torque_off_plan(UNLIKE_PLAN),
        _torque_off_plan(0.8 * UNLIKE_PLAN),
        after_s=2.0,
    ),
    Rule("going_on", Level.CAUTION, IN_USE, _going_on, _going_on),
    Rule("zero_refused", Level.CAUTION, PREPARING, _refused, _refused),
    Rule("zero_moved", Level.CAUTION, EMPTY, _zero_off(ZERO_SHARE), _zero_off(0.6 * ZERO_SHARE), after_s=1.0),
    Rule("turns_in", Level.CAUTION, PREPARING | {Phase.WIND_STRETCHED}, _turns_in, _turns_in, after_s=0.5),
    Rule("distance_lost", Level.CAUTION, IN_USE, _distance_lost, _never, least_s=SAID_S, once=True),
    Rule("key_asked", Level.CAUTION, IN_USE, _asks, _asks, least_s=0.0),
    Rule("other_way", Level.CAUTION, IN_USE, _left_hand, _never, least_s=SAID_S, once=True),
)
"""First the one that matters most."""


class AlarmBank:
    """Which alarms are on. Tell it each moment; it says what changed."""

    def __init__(self, words: Callable[[str, AlarmFigures], str], rules: tuple[Rule, ...] = RULES) -> None:
        self._words = words
        self._rules = rules
        self._since: dict[Rule, float] = {}
        self._on: dict[Rule, Alarm] = {}
        self._once: set[Rule] = set()
        self._phase: Phase | None = None
        self._of_phase: tuple[Rule, ...] = ()
        self._tests: tuple[tuple[Test, Rule], ...] = ()
        self.codes: frozenset[str] = frozenset()
        """The codes of those that are on."""

    @property
    def on(self) -> tuple[Alarm, ...]:
        """The alarms that are on, the one that matters most first."""
        return tuple(self._on[rule] for rule in self._rules if rule in self._on) if self._on else ()

    def tell(self, now: Moment, limits: Limits) -> list[Alarm]:
        """Take one moment and the limits of now; return the alarms that went on or off with it."""
        on, since = self._on, self._since
        rules: Sequence[Rule] = self._of_phase
        if now.phase is not self._phase:
            # Rules of the phase before are asked once more: what they lit goes off.
            self._phase, rules = now.phase, self._rules
            self._of_phase = tuple(rule for rule in rules if now.phase in rule.phases)
            self._tests = tuple((rule.on, rule) for rule in self._of_phase)
        elif not on and not since:
            rules = [rule for test, rule in self._tests if test(now, limits)]
        changed: list[Alarm] = []
        for rule in rules:
            lit = on.get(rule)
            if lit is None:
                if not rule.on(now, limits) or rule in self._once or now.phase not in rule.phases:
                    if since:
                        since.pop(rule, None)
                elif now.at_s - since.setdefault(rule, now.at_s) >= rule.after_s:
                    changed.append(self._set(rule, now, limits, active=True))
                continue
            here = now.phase in rule.phases
            if here and (rule.stay(now, limits) or now.at_s - lit.at_s < rule.least_s):
                continue
            changed.append(self._set(rule, now, limits, active=False))
        return changed

    def _set(self, rule: Rule, now: Moment, limits: Limits, *, active: bool) -> Alarm:
        in_s = now.peak_in_s if active and rule.code == "overwind_soon" else None
        of_plan = now.of_plan if rule.code in ("far_off", "going_on") else now.fitted
        torque_Nm = now.zero_refused_Nm if rule.code == "zero_refused" else now.torque_Nm
        torque_Nm = now.empty_Nm if rule.code == "zero_moved" else torque_Nm
        reasons = ("flight",) if now.as_left and rule.code == "turns_in" else now.doubts
        figures = AlarmFigures(
            torque_Nm, limits.peak_Nm, of_plan, now.peak_in_s, reasons, now.turns_in or None, now.board
        )
        alarm = Alarm(now.at_s, rule.code, rule.level, active, self._words(rule.code, figures), in_s, figures)
        self._since.pop(rule, None)
        if active:
            self._on[rule] = alarm
            if rule.once:
                self._once.add(rule)
        else:
            del self._on[rule]
        self.codes = frozenset(lit.code for lit in self._on.values())
        return alarm
