"""Calibrated samples, crank counts and taps in; a `Reading` out: torque, its two rates, the crank, the turns.

Everything runs on device time and in bounded memory. Whatever the samples do, a gap of half a second or a new clock
starts the filters anew and keeps the turns.
"""

from __future__ import annotations

import math
from collections import deque
from operator import mul

import numpy as np

from winding_coach.signals.alpha_beta import AlphaBeta
from winding_coach.signals.bins import Bins
from winding_coach.signals.following import Follower
from winding_coach.signals.gate import SampleGate
from winding_coach.signals.level import Level
from winding_coach.signals.pitch import F_USE, Pitch, PitchSearch
from winding_coach.signals.reading import CrankState, Reading
from winding_coach.signals.reverse import ReverseWatch
from winding_coach.signals.ripple import RippleWatch
from winding_coach.signals.smoother import period_index, rows, taps
from winding_coach.signals.stall import PulseCrank
from winding_coach.signals.template import HandleTemplate
from winding_coach.signals.tuning import (
    CHECK_FOLLOW_S,
    CHECK_GAIN,
    CHECK_LAG_S,
    CLOCK_BACK_S,
    CONTRADICTED_S,
    FOLLOW_PERIOD_S,
    LONGEST_PERIOD_S,
    MOST_TORQUE,
    PITCH_HZ,
    PITCH_LEAST,
    RATE_KNOWN_AFTER,
    RATE_LAG_S,
    RIPPLE_TICK_HZ,
    SHORTEST_PERIOD_S,
    SLOW_LAG_S,
    STALE_S,
    TEMPLATE_PRIOR,
    USUAL_PERIOD_S,
    WALK_M_PER_S,
    tuning_for,
)
from winding_coach.signals.turns import RippleTurns, TurnCounter
from winding_coach.signals.walking import Walk
from winding_coach.signals.watch import TorqueWatch


class Estimator:
    """The online path. `full_scale_Nm` is the torque expected at the peak of this wind; it scales the thresholds.

    lines_per_s_hint: what the meter says of its rate; it is measured anyway. two_sensors: the crank count goes
    down in reverse; with one sensor turns that come off are told from the torque.
    """

    def __init__(self, full_scale_Nm: float, lines_per_s_hint: float | None = None, two_sensors: bool = False) -> None:
        if not (math.isfinite(full_scale_Nm) and full_scale_Nm > 0.0):
            raise ValueError(f"The full scale of the torque must be above zero, not {full_scale_Nm} N·m.")
        self._scale_Nm = full_scale_Nm
        self.two_sensors = two_sensors
        self.amended = 0.0
        """Revolutions by which lost and double pulses were put right so far."""
        self._turns = TurnCounter()
        self._by_ripple = RippleTurns(self._turns)
        self._follow = Follower(full_scale_Nm)
        self._reverse = ReverseWatch(full_scale_Nm)
        self._crank = PulseCrank()
        self._walk = Walk()
        known = lines_per_s_hint is not None and 0.0 < lines_per_s_hint < math.inf
        self.lines_per_s = lines_per_s_hint if known and lines_per_s_hint else 80.0
        self._tune()
        self._forget()

    def _tune(self) -> None:
        tuning = self._tuning = tuning_for(self.lines_per_s)
        self._gate = SampleGate(tuning.gate * self._scale_Nm)
        self._cells = Bins(tuning.tick_hz)
        self._slow = AlphaBeta(SLOW_LAG_S, tuning.tick_hz)
        self._pitch_search = PitchSearch(tuning.tick_hz, tuning.harmonics)
        self._span = taps(tuning.tick_hz)
        self._bins: deque[float] = deque(maxlen=self._span)
        self._fast: deque[float] = deque(maxlen=round((CHECK_LAG_S - RATE_LAG_S) * tuning.tick_hz) + 1)
        self._follow_period = 1.0 / (FOLLOW_PERIOD_S * tuning.tick_hz)
        self._follow_spread = 1.0 / (CHECK_FOLLOW_S * tuning.tick_hz)
        self._ripple = RippleWatch(self.lines_per_s, tuning.tick_hz)
        self._template = HandleTemplate(tuning.tick_hz)
        self.watch = TorqueWatch(tuning.tick_hz)
        self._level = Level(tuning.tick_hz)
        self._pitch_every = round(tuning.tick_hz / PITCH_HZ)

    def _forget(self) -> None:
        """Nothing is known of the torque: the next sample is the first, of any clock."""
        self._origin_s: float | None = None
        self._newest_s = 0.0
        self._count = 0
        self._forget_torque()

    def _forget_torque(self) -> None:
        self._gate.reset()
        self._follow.reset()
        self._cells.reset()
        self._bins.clear()
        self._fast.clear()
        self._slow.reset()
        self._pitch_search.reset()
        self._pitch: Pitch | None = None
        self._known_period_s: float | None = None
        self._ripple.reset()
        self._template.reset()
        self.watch.reset()
        self._level.reset()
        self._goes_back = False
        self._turned: tuple[float, float] | None = None
        self._reverse.reset()
        self._walk.reset()
        self._tap_s: float | None = None
        self._contradicted = 0
        self._by_ripple.reset()
        self._period_s = USUAL_PERIOD_S
        self._checks = 0
        self._spread2 = 0.0
        self._torque: float | None = None
        self.smoothed_Nm = 0.0
        """Torque before `level`: what `offline` gives."""
        self._gated = 0.0
        self._reading: Reading | None = None

    # -- what happens

    def add(
        self, t_s: float, torque_Nm: float, crank_turns: float | None = None, distance_m: float | None = None
    ) -> None:
        """Take a sample: device seconds, torque, the meter's cumulative crank count and hook distance if it has them.

        A stamp that does not advance is dropped, and so is what is no number or no torque (a thousand times full
        scale); a stamp that is 2 s back or more begins a new clock.
        """
        if not math.isfinite(t_s) or not abs(torque_Nm) < MOST_TORQUE * self._scale_Nm:
            return
        if self._origin_s is None:
            self._origin_s = t_s
        # Small numbers keep their digits: a stamp may be counted from 1970.
        now = t_s - self._origin_s
        step = now - self._newest_s
        if self._count and step <= 0.0:
            if step > -CLOCK_BACK_S:
                return
            self.reset()
            self._origin_s, now = t_s, 0.0
        elif self._count and step > STALE_S:
            self._forget_torque()
            self._crank.reset()
        self._newest_s = now
        self._count += 1
        if self._count == RATE_KNOWN_AFTER:
            self._measure_rate(now)
        self._reading = None
        if crank_turns is not None:
            self._count_crank(now, crank_turns)
        self._crank.at(now)
        if distance_m is not None:
            self._walk.add(now, distance_m)
        gated = self._gate.push(now, torque_Nm)
        if gated is not None:
            self._gated = gated[1]
            self._ripple.sample(gated[1])
            for mean in self._cells.add(*gated):
                self._tick(mean)
            if self._torque is not None:
                self._follow.add(*gated, self._torque)

    def at(self, t_s: float) -> None:
        """It is t_s (device clock) and no sample came: after half a second nothing is known any more."""
        if self._origin_s is not None and t_s - self._origin_s - self._newest_s > STALE_S:
            self.gap(t_s)

    def gap(self, t_s: float) -> None:
        """Samples are missing until t_s: forget the torque, keep turns and clock."""
        del t_s
        self._forget_torque()
        self._crank.reset()

    def tap(self, t_s: float) -> None:
        """A helper counted one turn of the handle at t_s (device clock)."""
        self._turns.tapped()
        self._reading = None
        if self._origin_s is not None:
            now = t_s - self._origin_s
            if self._tap_s is not None and SHORTEST_PERIOD_S < now - self._tap_s < LONGEST_PERIOD_S:
                self._known_period_s = now - self._tap_s
            self._tap_s = now

    @property
    def contradicted(self) -> bool:
        """Whether the meter's count has stood for seconds while the ripple says that the handle turns."""
        return self._contradicted > CONTRADICTED_S * self._tuning.tick_hz

    def sensor_lost(self) -> None:
        """The crank sensor is dead: its count is no longer fed, and the handle is known by its ripple only."""
        self._turns.sensor_lost()
        self._level.reset()
        self._crank.reset()
        self._contradicted = 0
        self._reading = None

    def reset(self) -> None:
        """The meter started anew: any clock, any count. The turns stay."""
        self._turns.new_clock()
        self._crank.reset()
        self._forget()

    # -- what comes of it

    @property
    def reading(self) -> Reading | None:
        """The present reading, None until there is torque to show."""
        if self._reading is None and self._torque is not None and self._origin_s is not None:
            self._reading = self._read(self._origin_s)
        return self._reading

    @property
    def crank_state(self) -> CrankState:
        """What the handle does, without the making of a whole reading."""
        return self._crank_state(self._turns.source == "counted")[0]

    def _read(self, origin_s: float) -> Reading:
        tick_hz = self._tuning.tick_hz
        counted = self._turns.source == "counted"
        state, confidence = self._crank_state(counted)
        fast, fast_sd = None, None
        if self._fast:
            fast = self._fast[-1]
            fast_sd = CHECK_GAIN * math.sqrt(self._spread2) if self._checks >= tick_hz else None
        elif self._slow.count >= tick_hz:
            fast = self._slow.rate
        return Reading(
            t_s=origin_s + self._newest_s,
            torque_Nm=self._torque or 0.0,
            rate_fast_Nm_per_s=fast,
            rate_fast_sd_Nm_per_s=fast_sd,
            rate_slow_Nm_per_s=self._slow.rate if self._slow.count >= SLOW_LAG_S * tick_hz else None,
            cranking=None if state is CrankState.UNKNOWN else state is not CrankState.STALLED,
            crank_rev_per_s=self._rev_per_s(state, counted),
            crank_turns=self._turns.turns,
            turns_source=self._turns.source,
            gated_Nm=self._gated,
            shown_Nm=self._follow.shown(self._torque or 0.0),
            crank_state=state,
            crank_confidence=confidence,
            crank_turns_sd=self._turns.sd,
            p_standing=None if counted else self.watch.standing,
            distance_m=self._walk.distance_m,
            walk_m_per_s=self._walk.m_per_s(self._newest_s),
        )

    def _crank_state(self, counted: bool) -> tuple[CrankState, float]:
        """What the handle does, and how sure that is."""
        if counted and self._crank.state is not CrankState.UNKNOWN:
            state = self._crank.state
            if state is CrankState.TURNING and self._reverse.backwards and not self.two_sensors:
                state = CrankState.REVERSING
            if self.contradicted:
                return CrankState.UNKNOWN, 0.0
            return state, 0.8 if self._contradicted else 0.99
        standing = self.watch.standing
        if counted or standing is None:
            return CrankState.UNKNOWN, 0.0
        back = self._goes_back and self.watch.state is not CrankState.STALLED
        return (CrankState.REVERSING, 1.0 - standing) if back else self.watch.said

    def _rev_per_s(self, state: CrankState, counted: bool) -> float | None:
        if state is CrankState.STALLED:
            return 0.0
        if counted:
            speed = self._crank.rev_per_s(self._newest_s)
        else:
            speed = 1.0 / self._known_period_s if state is not CrankState.UNKNOWN and self._known_period_s else None
        return -speed if speed and speed > 0.0 and state is CrankState.REVERSING else speed

    def _measure_rate(self, now: float) -> None:
        measured = (self._count - 1) / now
        before = self._tuning
        self.lines_per_s = measured
        if tuning_for(measured) is not before:
            self._tune()
            self._forget_torque()
            self._crank.reset()

    def _count_crank(self, now: float, crank_turns: float) -> None:
        change = self._turns.counted(now, crank_turns)
        if not change:
            return
        crank = self._crank
        before_s = crank.pulse_s
        amends = crank.moved(now, change)
        if amends > 0.0:
            # A meter of several pulses a turn lost one of them.
            amends *= min(abs(change), 1.0)
        self.amended += amends
        if before_s is not None and crank.period_s is not None and math.isclose(now - before_s, crank.period_s):
            self._turned = now, crank.period_s
        if amends:
            self._turns.put_right(amends)
        if not self.two_sensors:
            self._take_off(self._reverse.pulse(change + amends))

    def _take_off(self, turns: float) -> None:
        """Turns that one sensor counted up came off."""
        if turns:
            self._turns.put_right(turns)

    def _target_period_s(self) -> float:
        if self._turns.source == "counted" and self._crank.period_s is not None:
            self._known_period_s = self._crank.period_s
        elif self._turns.source != "counted" and self._pitch is not None and self._pitch.f_ratio > F_USE:
            self._known_period_s = 1.0 / self._pitch.hz
        if self._known_period_s is None:
            return USUAL_PERIOD_S
        return min(max(self._known_period_s, SHORTEST_PERIOD_S), LONGEST_PERIOD_S)

    def _tick(self, mean: float) -> None:
        """Take the mean torque of the bin that has just ended."""
        bins, slow = self._bins, self._slow
        bins.appendleft(mean)
        slow.add(mean)
        full = len(bins) == self._span
        alone = self._turns.source != "counted"
        # Where pulses stay away the sensor may be dead: then torque must not begin from nothing.
        if alone or self._crank.state is CrankState.STALLED:
            if full and slow.count % self._pitch_every == 0:
                self._search_pitch()
            shows = slow.level >= PITCH_LEAST * self._scale_Nm and not self._ripple.stuck
            scale = 1.0 / self._scale_Nm
            self.watch.tick(mean * scale, self._ripple.noise_of_bin * scale, self._pitch, known=shows)
        elif self.watch.begun:
            self.watch.reset()
        self._period_s += (self._target_period_s() - self._period_s) * self._follow_period
        if not full:
            self._torque = self.smoothed_Nm = slow.level
            return
        now, late, checked = rows(self._tuning.tick_hz, period_index(self._period_s))
        self._torque = self.smoothed_Nm = sum(map(mul, now, bins))
        if alone:
            ripple_Nm = self.watch.ripple * self._scale_Nm
            self._torque = self._level.tick(self.smoothed_Nm, slow.rate, self.watch.standing, ripple_Nm)
        fast = self._fast
        fast.append(sum(map(mul, late, bins)))
        self._watch_crank(self._torque, fast[-1])
        if len(fast) == fast.maxlen:
            error = fast[0] - sum(map(mul, checked, bins))
            self._checks += 1
            self._spread2 += (error * error - self._spread2) * max(self._follow_spread, 1.0 / self._checks)

    def _watch_crank(self, torque_Nm: float, rate_Nm_per_s: float) -> None:
        """What the ripple says to the pulses, and whether turns come off."""
        ripple, counted, watch = self._ripple, self._turns.source == "counted", self.watch
        if not counted or self._slow.level < PITCH_LEAST * self._scale_Nm or self._tuning.tick_hz < RIPPLE_TICK_HZ:
            ripple.forget()
        else:
            ripple.tick(self._bins, self._period_s)
        self._crank.score = self._standing_score(counted)
        # Pulses that stay away while the ripple goes on: the sensor may be dead.
        alone_stands = watch.standing is None or watch.state is CrankState.STALLED
        stands = self._crank.state is CrankState.STALLED if counted else alone_stands
        against = counted and ripple.standing is False and stands
        self._contradicted = self._contradicted + 1 if against else 0
        walk = self._walk.m_per_s(self._newest_s)
        may_turn = not stands and (walk is None or walk > -WALK_M_PER_S)
        taken_off = self._reverse.tick(torque_Nm, rate_Nm_per_s, may_turn)
        self._goes_back = watch.goes_back(falls=self._reverse.backwards)
        if counted:
            if not self.two_sensors:
                self._take_off(taken_off)
        elif not stands and self._known_period_s is not None:
            turned = (1.0 - (watch.standing or 0.0)) / (self._known_period_s * self._tuning.tick_hz)
            clear = self._pitch is not None and self._pitch.f_ratio > F_USE
            self._by_ripple.add(turned, self._span, self._reverse.backwards, self._goes_back, clear)

    def _standing_score(self, counted: bool) -> float | None:
        """What torque says to the pulses: log odds that the handle stands. Overdue pulses ask the template."""
        score, bins, middle_s = self._ripple.score, self._bins, self._cells.newest_s
        if not counted or self._slow.level < PITCH_LEAST * self._scale_Nm or self._ripple.stuck:
            return score
        if self._turned is not None and middle_s >= self._turned[0]:
            self._template.learn(bins, middle_s, *self._turned)
            self._turned = None
        late = self._crank.overdue(self._newest_s)
        found = self._template.standing(bins, middle_s, *late, self._slow.rate) if late else None
        return score if found is None else found + (score or 0.0) + TEMPLATE_PRIOR

    def _search_pitch(self) -> None:
        if sum(self._bins) < PITCH_LEAST * self._scale_Nm * self._span:
            self._pitch = None
        else:
            self._pitch = self._pitch_search.update(np.array(self._bins))
