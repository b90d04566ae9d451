"""What the coach's codes say in words, with the figure that matters, in the person's units. Pure tables.

Short enough to be taken in while cranking: one thing to do, one number.
"""

from __future__ import annotations

from winding_coach.coach.limits import Limits
from winding_coach.coach.moment import Moment
from winding_coach.coach.said import Phase
from winding_coach.units import INCH_M, UnitSystem, show, shown_number, unit_label

PHASE_WORDS: dict[Phase, str] = {
    Phase.HOOK_UP: "Set zero",
    Phase.STRETCH_OUT: "Stretch out",
    Phase.WIND_STRETCHED: "Wind stretched",
    Phase.WALK_IN: "Walk in",
    Phase.FINAL_TURNS: "Final turns",
    Phase.BACK_OFF: "Back off",
    Phase.READY: "Ready",
    Phase.DONE: "Done",
    Phase.BROKEN: "Broken",
    Phase.ABORTED: "Stopped",
}

SILENT = "no data for 2 seconds"
STRANGE = "what comes is no meter's data: another device, or another speed"
"""Why a link is silent."""

_PROMPT_WORDS = {
    "tare": "Nothing on the hook, hands off: zero is set by itself, or press t.",
    "stretch_to": "Hook up and stretch to {distance}.",
    "start_cranking": "Start cranking; stay at {distance}.",
    "walk_in_to": "Step in to {distance}{over}; crank on.",
    "hold_distance": "Stay at {distance}; crank on.",
    "crank_slower": "Crank slower.",
    "crank_faster": "Crank faster.",
    "keep_cranking": "Keep cranking{to_torque}.",
    "stop_at_peak": "Stop cranking: {torque}.",
    "back_off": "Back off about {crank} of the crank, to {torque}.",
    "back_off_enough": "Stop: {torque}.",
    "launch_ready": "Ready to launch: {torque}, {turns}.",
    "note_down": "Noted. Peak {peak}; launch {torque}, {turns}.",
}

_ALARM_WORDS = {
    "motor_broke": "Torque is gone: motor broke or came off the hook.",
    "overwind": "Stop cranking: past the limit of {peak}.",
    "meter_limit": "Meter past its rating: stop cranking.",
    "winder_limit": "Winder past its rating: stop cranking.",
    "meter_saturated": "Meter at the end of its range: stop cranking.",
    "meter_silent": "No data from the meter: stop and check the lead.",
    "overwind_soon": "Limit in {in_s}.",
    "crank_stalled": "Crank stands still: keep cranking.",
    "rising_too_fast": "Torque rises too fast: crank slower.",
    "torque_falling": "Torque falls: wait where you are, crank on.",
    "not_this_motor": "Reads {off} {side} its label: check the motor's tag and the zero.",
    "zero_moved": "Zero is off by {torque}: clear the hook and press t.",
}


def distance_words(distance_m: float | None, units: UnitSystem) -> str:
    """Return a distance to stand at: metres to the centimetre, or whole inches."""
    if distance_m is None:
        return "the mark"
    return f"{distance_m / INCH_M:.0f} in" if units == "inch" else f"{distance_m:.2f} m"


def _count(number: float, one: str, many: str, decimals: int = 0) -> str:
    text = f"{number:.{decimals}f}"
    return f"{text} {one if text in ('1', '1.0') else many}"


def _halves(turns: float) -> str:
    """Turns of the crank in whole and half ones."""
    whole, half = divmod(round(2.0 * turns), 2)
    if whole == 0:
        return "half a turn"
    return f"{whole}½ turns" if half else _count(whole, "turn", "turns")


def prompt_words(
    code: str,
    units: UnitSystem,
    *,
    distance_m: float | None = None,
    crank_turns: float | None = None,
    torque_Nm: float | None = None,
    turns: float | None = None,
    peak_Nm: float | None = None,
) -> str:
    """Return the sentence of a prompt. Figures that are not known are left out or named in words."""
    if code == "back_off" and crank_turns == 0.0:
        code = "back_off_enough"
    return _PROMPT_WORDS[code].format(
        distance=distance_words(distance_m, units),
        to_torque="" if torque_Nm is None else f" to {show(torque_Nm, 'torque', units)}",
        torque="torque not known" if torque_Nm is None else show(torque_Nm, "torque", units),
        crank="the planned turns" if crank_turns is None else _halves(crank_turns),
        over="" if crank_turns is None else f" over {_count(crank_turns, 'turn', 'turns')}",
        turns="turns not counted" if turns is None else _count(turns, "turn", "turns"),
        peak="not known" if peak_Nm is None else show(peak_Nm, "torque", units),
    )


def alarm_words(code: str, now: Moment, limits: Limits, units: UnitSystem) -> str:
    """Return the sentence of an alarm."""
    ratio = now.torque_Nm / now.plan_Nm if now.torque_Nm is not None and now.plan_Nm else None
    return _ALARM_WORDS[code].format(
        peak=show(limits.peak_Nm, "torque", units),
        torque=f"{shown_number(now.torque_Nm or 0.0, 'torque', units)} {unit_label('torque', units)}",
        in_s="a few seconds" if now.peak_in_s is None else _count(max(now.peak_in_s, 0.0), "second", "seconds"),
        off="far" if ratio is None else f"{abs(ratio - 1):.0%}",
        side="from" if ratio is None else ("above" if ratio > 1 else "below"),
    )
