"""Every threshold of this room in one place, as shares of the full scale (the torque expected at the peak).

The figures were tuned on synthetic streams whose full scale was 1.85 ozf·in; `share` turns such a figure into a
share, so the tuning moves with the motor. Re-tune when recordings of real winds exist.
"""

from __future__ import annotations

from dataclasses import dataclass

TUNED_AT_OZF_IN = 1.85
"""Full scale of the streams on which the figures were tuned."""


def share(ozf_in: float) -> float:
    """A torque of the tuning streams as a share of full scale."""
    return ozf_in / TUNED_AT_OZF_IN


@dataclass(frozen=True, slots=True)
class Tuning:
    """What depends on the rate of the lines. Torques are shares of full scale.

    tick_hz: rate of bins and filters. gate: how far a sample may lie from the median of five. harmonics: of the
    crank that the pitch search can see. break_run: low samples in a row that make a break.
    """

    tick_hz: float
    gate: float
    harmonics: int
    break_run: int


SLOW_LINES = Tuning(tick_hz=10.0, gate=share(0.12), harmonics=1, break_run=3)
USUAL_LINES = Tuning(tick_hz=20.0, gate=share(0.08), harmonics=2, break_run=3)
QUICK_LINES = Tuning(tick_hz=20.0, gate=share(0.08), harmonics=2, break_run=4)


def tuning_for(lines_per_s: float) -> Tuning:
    """The tuning for a rate of lines: the nearest of 10, 80 and 320 a second, by ratio."""
    if lines_per_s < 28.0:
        return SLOW_LINES
    return USUAL_LINES if lines_per_s < 160.0 else QUICK_LINES


RATE_KNOWN_AFTER = 48
"""Samples from which the rate of the lines is measured."""

MOST_TORQUE = 1e3
"""Share of full scale above which a figure is no torque."""

STALE_S = 0.5
"""A reading older than this is not shown as live, and the filters start anew after such a gap."""

CLOCK_BACK_S = 2.0
"""A stamp this far back is a new clock, not a late line."""

USUAL_PERIOD_S = 0.8
"""Crank period taken while none is known."""

SHORTEST_PERIOD_S, LONGEST_PERIOD_S = 0.28, 2.2
"""Crank periods that the weights know: 3.5 to 0.45 revolutions a second."""

FOLLOW_PERIOD_S = 0.3
"""How quickly the weights follow a new crank period."""

SMOOTHER_SPAN_S = 2.5
RATE_LAG_S = 0.6
"""Age of the fast rate: what it is after a sudden change; it follows a slow bend about 0.8 s late."""
CHECK_LAG_S = 1.2
"""The fast rate is checked against one this old, from bins on both sides of it, to know its spread."""
CHECK_FOLLOW_S = 3.0
CHECK_GAIN = 3.2
SLOW_LAG_S = 2.5


@dataclass(frozen=True, slots=True)
class WindModel:
    """The wind for which the weights are best, in ozf·in where full scale is 1.85 (only ratios matter).

    falls: raised-cosine falls of torque, fall in size, fall_s long, falls_per_s. wander_per_s: spread of the rate
    besides, remembered for wander_s. slip: random walk of the torque, per √s. noise: of one line. ripple: size
    of the lines on the crank's harmonics, unsteady: relative spread of the crank's speed.
    """

    falls_per_s: float = 0.15
    fall_s: float = 0.5
    fall: float = 0.037
    wander_per_s: float = 0.007
    wander_s: float = 1.5
    slip: float = 0.01
    noise: float = 0.032
    ripple: tuple[float, ...] = (0.05, 0.05, 0.015)
    unsteady: float = 0.015


MODEL = WindModel()

# Torque for people to look at (shares of full scale, seconds)
SHOW_LEAST, SHOW_LEAVE = share(0.015), share(0.0025)
"""A jump is shown at once if it is this large, until smoothing has come this near."""
SHOW_SD = 4.0
"""And so many standard deviations of what ripple and noise have done of late."""
SHOW_FOLLOW_S, SHOW_MEAN_S = 2.0, 0.2
"""How long ripple and noise are remembered; over how long the samples after a jump are averaged."""
SHOW_NEAR_S, SHOW_LONGEST_S = 0.4, 2.5
"""How long smoothing must be near again; after the second it is believed in any case."""

PITCH_HZ = 10.0
PITCH_LEAST = share(0.05)
"""Mean torque below which ripple as a share of torque means nothing."""

# Motor broke (share of full scale, share of the reference torque, seconds)
BREAK_REFERENCE_S = 0.15
BREAK_ARMED = share(0.25)
BREAK_BELOW = 0.5
BREAK_ZERO_OF_REFERENCE = 0.15
BREAK_ZERO = share(0.08)
BREAK_WITHIN_S = 0.25

# Limit coming
LIMIT_AHEAD_S = 6.0
LIMIT_TORQUE_SD = share(0.02)
LIMIT_RATE_SD = share(0.012)
LIMIT_FIRE_Z = 1.0
LIMIT_CLEAR_Z = LIMIT_FIRE_Z - 0.7
LIMIT_NEAR = share(0.1)
LIMIT_NEAR_CLEAR = share(0.14)

# Crank from pulses
STALL_PERIODS = 1.3
STALL_LONGEST_S = 5.0
STALL_FIRST_S = 1.5
MOST_REV_PER_S = 6.0
PUT_RIGHT_SD = 0.5
GUESS_SHARE, GUESS_SHARE_BLIND = 0.06, 0.5
"""Standard deviation of turns estimated from ripple, as a share of them: with a clear ripple, and with none."""

# Crank from torque alone
RIPPLE_UP_S, RIPPLE_DOWN_S = 1.0, 10.0
RIPPLE_SMOOTH_S = 0.15
RIPPLE_TICK_HZ = 20.0
"""Bins a second that the ripple score needs."""
RIPPLE_LEAST = 2.0
"""Ripple over noise below which torque cannot tell whether the handle turns."""
STUCK_SAMPLES = 12
"""Equal samples in a row after which the meter is taken to be stuck: it tells nothing of the handle."""
RIPPLE_TURNS = (0.4, 0.7, 1.0)
STALL_ON, STALL_OFF = 2.5, 0.0


@dataclass(frozen=True, slots=True)
class RippleScore:
    """Weights of the logistic score. left: logarithm of the ripple left in each of `RIPPLE_TURNS` against the usual;
    clear: ln(1 + ripple²/noise²); left_clear: their products; period: ln of the crank period in seconds.
    """

    constant: float
    clear: float
    left: tuple[float, float, float]
    period: float
    left_clear: tuple[float, float, float]
    turn_period: float


RIPPLE_SCORE = RippleScore(
    constant=-1.032,
    clear=-1.792,
    left=(0.620, -0.270, -4.937),
    period=5.807,
    left_clear=(-0.311, -0.184, 0.584),
    turn_period=1.413,
)

# Pulses and torque together
STALL_EARLY_PERIODS = 1.05
"""A pulse this overdue is a stall at once if torque says so."""
STALL_LOST_PERIODS = 2.25
"""A pulse this overdue is a stall even if torque says that the handle turns: two pulses would have to be lost."""
TEMPLATE_HARMONICS = 3
TEMPLATE_MEMORY, TEMPLATE_SPREAD_GAIN = 0.88, 0.1
"""Weight of a turn in the template against the next one's, and the share of a turn's news that its spread takes in."""
TEMPLATE_LEAN = 0.5
"""Bins that say that there is no ripple: holds the template where turns are few."""
TEMPLATE_TURNS = 5
"""Turns before the template is used."""
TEMPLATE_ODD = 9.0
"""A turn whose variance is so many times the usual is no news of the template."""
TEMPLATE_LEAST2 = 1e-8
"""Least variance of a bin, as a share of torque: no meter is better than 0.01 %."""
TEMPLATE_BACK = 0.7
"""Turns before the last pulse that are looked at."""
TEMPLATE_SPEEDS = (0.8, 0.9, 1.0, 1.1)
TEMPLATE_STOPS = (0.2, 0.5, 0.8, 1.0)
"""Turns after the last pulse at which the handle may have stopped."""
TEMPLATE_KINKS, TEMPLATE_KINK_LENGTH = (-0.2, 0.2, 0.6, 1.0), 0.5
"""Turns after the last pulse at which torque may begin to bend (a step-in, a slip), and how long a bend is."""
TEMPLATE_KINK_PENALTY = 2.0
TEMPLATE_SLOPE_PER_S, TEMPLATE_KINK_PER_S = 0.05, 0.1
"""Standard deviations of the slope about the slow rate, and of a bend, shares of torque a second."""
TEMPLATE_TAIL = 10.0
"""Degrees of freedom of the errors: the fewer, the less a single bad bin tells."""
TEMPLATE_PRIOR = -6.5
"""Log odds of a stall when a pulse is overdue, before torque is asked."""
STALL_SURELY_NOT, STALL_TWO_LOST_PERIODS = -8.0, 3.25
"""Where torque is so sure that the handle turns, two lost pulses in a row are waited for too."""
CONTRADICTED_S = 3.0
"""After so long without a pulse while the ripple goes on, nobody knows."""
STALL_AGREES = 1.0
STALL_DOUBTS = -0.2
LOST_PULSE = (1.6, 2.4)
LOSSY_FIRST, LOSSY = 0.3, 0.1
"""Where torque cannot tell, a meter is taken to lose pulses until 220 came without a loss."""
DOUBLE_PULSE = 0.25
REVERSE_RATE = -0.045
"""Fast rate, share of full scale a second, at which a handle that turns turns backwards."""
REVERSE_CLEAR = -0.01
REVERSE_TOP = 0.75
"""Share of full scale from which torque must have fallen."""
REVERSE_FALL = 0.2
"""Share of full scale that torque must fall before a one-sensor count is corrected."""
WALK_M_PER_S = 0.08
"""Hooks that come together at this speed explain a falling torque."""

# Crank from torque alone, and what may be said of the chance that it stands
SAY_STANDS_AT_ONCE, SAY_STANDS, SAY_STANDS_TICKS = 0.95, 0.90, 3
"""That it stands is said from the first chance on at once, from the second on when it has been so for these bins."""
STANDS_UNTIL = 0.70
SAY_TURNS, TURNS_UNTIL = 0.05, 0.20
"""That it turns is said from this chance of standing down, until the second."""
REVERSE_UNCOUNTED_S = 2.0
"""Without a count a stride near the peak looks like a crank that goes back: it must last longer."""

# Torque without ripple
BAND_NONE, BAND_FULL = 0.02, 0.10
"""Chances that the crank stands below and above which the dead band is nothing and full."""
BAND_RIPPLE = 2.0
"""The full dead band over the ripple's amplitude: a smoother whose zeros are off lets through this much."""
BAND_HOLDS_S = 3.5
"""After a doubt it narrows over this time: as long as what was doubtful is among what is smoothed."""
BAND_SETTLES_S, BAND_SLOPE = 4.0, 0.5
"""Time in which torque settles within the band, and the share of the slow rate at which it continues there."""
RIPPLE_FALLS_S, RIPPLE_RISES_S = 3.0, 20.0
"""How quickly the ripple that is taken for granted falls and rises: what steps leave in it must not stay."""
