"""What the coach says: link, phase, prompt, alarm, reading and summary, as values and as the JSON objects of a trace.

Torque is SI inside; `as_json` puts it into mN·m, rounds, and drops nothing: None is written as null.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any, TypeAlias

from winding_coach.base import wind_values
from winding_coach.base.values import value
from winding_coach.base.wind_values import WindValues


class Phase(StrEnum):
    """What the coach wants now. Two codes of events and traces are older than their names: `hook_up`, `aborted`."""

    SET_ZERO = "hook_up"
    STRETCH_OUT = "stretch_out"
    WIND_STRETCHED = "wind_stretched"
    WALK_IN = "walk_in"
    FINAL_TURNS = "final_turns"
    BACK_OFF = "back_off"
    READY = "ready"
    DONE = "done"
    BROKEN = "broken"
    STOPPED = "aborted"
    LET_DOWN = "let_down"
    EMPTY = "empty"


class Level(StrEnum):
    """How much an alarm matters, least first."""

    CAUTION = "caution"
    WARNING = "warning"
    DANGER = "danger"


PROMPTS = (
    "tare",
    "stretch_to",
    "start_cranking",
    "walk_in_to",
    "hold_distance",
    "walk_on",
    "walk_slower",
    "walk_quicker",
    "wait_here",
    "step_now",
    "step_shorter",
    "crank_slower",
    "crank_faster",
    "keep_cranking",
    "stop_at_peak",
    "back_off",
    "launch_ready",
    "note_down",
    "launch_or_wind",
    "count_on",
    "hook_wound",
    "step_out_wound",
    "stay_wound",
    "let_down",
    "let_down_slower",
    "empty",
)

ALARMS = (
    "overwind",
    "overwind_soon",
    "crank_stalled",
    "rising_too_fast",
    "torque_falling",
    "motor_broke",
    "not_this_motor",
    "winder_limit",
    "meter_limit",
    "meter_saturated",
    "meter_silent",
    "zero_moved",
    "meter_frozen",
    "other_meter",
    "far_off",
    "going_on",
    "turns_in",
    "zero_refused",
    "other_way",
    "distance_lost",
    "key_asked",
)


def _mNm(torque_Nm: float | None) -> float | None:
    return None if torque_Nm is None else round(torque_Nm * 1e3, 4)


def _rounded(figure: float | None, digits: int) -> float | None:
    return None if figure is None else round(figure, digits)


@dataclass(frozen=True, slots=True)
class LinkSaid:
    """The link went up, down or silent."""

    at_s: float
    state: str
    port: str | None = None
    reason: str | None = None

    def as_json(self) -> dict[str, Any]:
        return {"event": "link", "at_s": self.at_s, "state": self.state, "port": self.port, "reason": self.reason}


@dataclass(frozen=True, slots=True)
class PhaseSaid:
    """A phase began."""

    at_s: float
    phase: Phase

    def as_json(self) -> dict[str, Any]:
        return {"event": "phase", "at_s": self.at_s, "phase": str(self.phase)}


@dataclass(frozen=True, slots=True)
class Prompt:
    """The one thing to do now: code, words, and the figures that the words hold, where they apply.

    side: "ahead" of the path or "behind" it, where that is why; "there" where one stands where it was told. next_Nm:
    torque to expect after the next turn of the back-off. step_m: how long a step now may be; step_was: what the last
    one was (good, long, crank_stopped), where that is worth a word. In no JSON, only for words in other units: turns
    and peak noted, the place before.
    """

    at_s: float
    code: str
    text: str
    distance_m: float | None = None
    crank_turns: float | None = None
    torque_Nm: float | None = None
    turns: float | None = None
    peak_Nm: float | None = None
    from_m: float | None = None
    side: str | None = field(default=None, kw_only=True)
    next_Nm: float | None = field(default=None, kw_only=True)
    step_m: float | None = field(default=None, kw_only=True)
    step_was: str | None = field(default=None, kw_only=True)

    def as_json(self) -> dict[str, Any]:
        said: dict[str, Any] = {"event": "prompt", "at_s": self.at_s, "code": self.code, "text": self.text}
        if self.distance_m is not None:
            said["distance_m"] = round(self.distance_m, 3)
        if self.crank_turns is not None:
            said["crank_turns"] = round(self.crank_turns, 2)
        if self.torque_Nm is not None:
            said["torque_mNm"] = _mNm(self.torque_Nm)
        if self.next_Nm is not None:
            said["next_mNm"] = _mNm(self.next_Nm)
        if self.side is not None:
            said["side"] = self.side
        if self.step_m is not None:
            said["step_m"] = round(self.step_m, 3)
        if self.step_was is not None:
            said["step_was"] = self.step_was
        return said


@dataclass(frozen=True, slots=True)
class AlarmFigures:
    """What an alarm's words hold: torque then, the peak's, torque over the plan's there, seconds to the peak; what it
    may be, best fit first; turns in the motor beforehand; the board that answers."""

    torque_Nm: float | None = None
    peak_Nm: float | None = None
    of_plan: float | None = None
    peak_in_s: float | None = None
    reasons: tuple[str, ...] = ()
    turns_in: float | None = None
    board: str | None = None


@dataclass(frozen=True, slots=True)
class Alarm:
    """An alarm that went on (active) or off. `in_s`: seconds until the limit, for overwind_soon. figures: no JSON."""

    at_s: float
    code: str
    level: Level
    active: bool
    text: str
    in_s: float | None = None
    figures: AlarmFigures = AlarmFigures()

    def as_json(self) -> dict[str, Any]:
        said: dict[str, Any] = {
            "event": "alarm",
            "at_s": self.at_s,
            "code": self.code,
            "level": str(self.level),
            "active": self.active,
            "text": self.text,
        }
        if self.code == "overwind_soon":
            said["in_s"] = _rounded(self.in_s, 1)
        if self.figures.reasons:
            said["reasons"] = list(self.figures.reasons)
        if self.code == "turns_in":
            said["turns"] = _rounded(self.figures.turns_in, 0)
        return said


@value(frozen=True, slots=True)
class ReadingSaid:
    """What the signal shows now; None where it cannot be told. Turns are of the motor.

    turns_held (not in the event): counted since torque began to fall from its top, and left out of `turns`, for one
    sensor counts up either way and it is not clear yet which it was. `turns_left` and `break_risk` take them as on.
    """

    at_s: float
    torque_Nm: float | None = None
    torque_rate_Nm_per_s: float | None = None
    torque_rate_sd_Nm_per_s: float | None = None
    turns: float | None = None
    turns_source: str = "unknown"
    distance_m: float | None = None
    crank_rev_per_s: float | None = None
    cranking: bool | None = None
    turns_left: float | None = None
    break_risk: float | None = None
    turns_held: float = 0.0

    def as_json(self) -> dict[str, Any]:
        return {
            "event": "reading",
            "at_s": self.at_s,
            "torque_mNm": _mNm(self.torque_Nm),
            "torque_rate_mNm_per_s": _mNm(self.torque_rate_Nm_per_s),
            "torque_rate_sd_mNm_per_s": _mNm(self.torque_rate_sd_Nm_per_s),
            "turns": _rounded(self.turns, 1),
            "turns_source": self.turns_source,
            "distance_m": _rounded(self.distance_m, 3),
            "crank_rev_per_s": _rounded(self.crank_rev_per_s, 3),
            "cranking": self.cranking,
            "turns_left": _rounded(self.turns_left, 1),
            "break_risk": _rounded(self.break_risk, 4),
        }


@dataclass(frozen=True, slots=True)
class Summary(WindValues):
    """One wind in figures. `outcome` is done, broken, gone (broke or came off), stopped or lost; `trace` the file's
    name, if it was kept; `direction` right or left, as told or found; checks: what was ticked before the wind, in the
    JSON only where it is known. All else is in the table of a wind's values.
    """

    at_s: float
    outcome: str
    trace: str | None = None
    direction: str | None = None
    checks: tuple[str, ...] = ()
    # Known at the end of every wind, so not None here.
    stalls: int = field(default=0, kw_only=True)
    stalled_s: float = field(default=0.0, kw_only=True)
    lost_lines: int = field(default=0, kw_only=True)
    duration_s: float = field(default=0.0, kw_only=True)

    def as_json(self) -> dict[str, Any]:
        said = {"event": "summary", "at_s": self.at_s, "trace": self.trace, "outcome": self.outcome}
        known = wind_values.as_json(self, where_known=True) | ({"checks": list(self.checks)} if self.checks else {})
        return said | wind_values.as_json(self) | {"direction": self.direction} | known


@dataclass(frozen=True, slots=True)
class Unwound:
    """What was found. turns_left: of the motor, with its standard deviation; how: counted, by torque, or unknown.

    crank_turns: of the handle, None where not counted. torque_Nm: at rest before it was let down. returned_J: work
    given back while it was let down, by the pulses' count.
    """

    at_s: float
    turns_left: float | None
    turns_left_sd: float | None
    how: str
    crank_turns: float | None
    torque_Nm: float | None
    returned_J: float | None
    trace: str | None = None

    def as_json(self) -> dict[str, Any]:
        return {
            "event": "unwound",
            "at_s": self.at_s,
            "turns_left": _rounded(self.turns_left, 1),
            "turns_left_sd": _rounded(self.turns_left_sd, 1),
            "how": self.how,
            "crank_turns": _rounded(self.crank_turns, 2),
            "torque_mNm": _mNm(self.torque_Nm),
            "returned_J": _rounded(self.returned_J, 4),
            "trace": self.trace,
        }


Said: TypeAlias = LinkSaid | PhaseSaid | Prompt | Alarm | ReadingSaid | Summary | Unwound
