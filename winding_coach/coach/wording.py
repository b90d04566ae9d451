"""What the coach's codes say in words, with the figure that matters, in the person's units. Pure tables.

Short enough to be taken in while cranking: one thing to do, one number. `reworded` says the same in other units.
"""

from __future__ import annotations

from dataclasses import replace

from winding_coach.base.standing import USUAL, Steps, exact_words, pace_words, paces_in, place_words
from winding_coach.base.units import INCH_M, UnitSystem, show, shown_number, unit_label
from winding_coach.coach.said import Alarm, AlarmFigures, Phase, Prompt
from winding_coach.coach.view import CoachView

PHASE_WORDS: dict[Phase, str] = {
    Phase.SET_ZERO: "Set zero",
    Phase.STRETCH_OUT: "Stretch out",
    Phase.WIND_STRETCHED: "Wind stretched",
    Phase.WALK_IN: "Walk in",
    Phase.FINAL_TURNS: "Final turns",
    Phase.BACK_OFF: "Back off",
    Phase.READY: "Ready",
    Phase.DONE: "Done",
    Phase.BROKEN: "Torque gone",
    Phase.STOPPED: "Stopped",
    Phase.LET_DOWN: "Let down",
    Phase.EMPTY: "Empty",
}

SILENT = "no data for 2 seconds"
STRANGE = "the data are not a meter's: another device, or another speed"
STANDS = "the meter's {what} has stopped: unplug the meter and plug it in again"
"""Why a link is silent."""

_PROMPT_WORDS = {
    "tare": "Clear the hook, hands off: zeroing automatically (or press t).",
    "stretch_to": "Hook up and stretch to {exactly}.",
    "start_cranking": "{When_there}tart cranking{stay_at}.",
    "walk_in_to": "{Behind}tep in{to_distance}{over}; keep cranking{to_torque}.",
    "hold_distance": "{Ahead}tay{at_distance}; keep cranking.",
    "walk_on": "{Was}Walk in slowly, without stopping; keep cranking.",
    "walk_slower": "{Was}Walk in very slowly; keep cranking.",
    "walk_quicker": "{Was}Walk faster; keep cranking.",
    "wait_here": "{Was}Wait here; keep cranking.",
    "step_now": "{Was}Step now{step}{to_place}; keep cranking.",
    "step_shorter": "Shorter steps{step}; keep the crank turning while you step.",
    "crank_slower": "Crank slower{on_to}{target_is}.",
    "crank_faster": "Crank faster.",
    "keep_cranking": "Keep cranking{to_torque}.",
    "stop_at_peak": "Stop cranking{at_torque}{in_to}.",
    "back_off": "Back off {crank} to {torque}{next_torque}.",
    "back_off_enough": "Stop here: launch torque {torque} reached.",
    "launch_ready": "Ready to launch: {torque}, {turns}.",
    "note_down": "Logged. Peak {peak}; launch {torque}, {turns}.",
    "launch_or_wind": "Launch, or take in {take_in} again: {torque}{wanted}.",
    "count_on": "Press c each crank turn: {to_go} to go{in_to}.",
    "hook_wound": "Hold the crank; hook it up, then out to {exactly}.",
    "step_out_wound": "Out to {exactly}, crank held; wait there.",
    "stay_wound": "It is too full to stretch: stay where you are, crank held.",
    "let_down": "Let it down slowly; hold on to the crank. {crank_left} left.",
    "let_down_slower": "Slower: keep the crank in your hand.",
    "empty": "Empty. {turns} were left.",
}

_STEP_WAS = {
    None: "",
    "good": "Good step. ",
    "long": "Shorter steps. ",
    "crank_stopped": "Keep the crank turning while you step. ",
}
"""What is said of the step before, ahead of what to do now."""

_PACE_WORDS = {
    "in": "{Step} in{over}; keep cranking.",
    "out": "{Step} out{over}; keep cranking.",
    "again": "Finish that step{over}; keep cranking.",
    "stay": "Stay where you are; keep cranking.",
}
"""The walk-in in paces, counted from where the person stands."""

_ALARM_WORDS = {
    "motor_broke": "Torque is gone. Broke: press b. Came off: hook it up again.",
    "meter_frozen": "Reading is not changing: stop, check the meter.",
    "other_meter": "Another meter answers ({board}): stop; o if it is yours.",
    "far_off": "Stop: torque is {off} {side} plan. {reasons}? o: continue.",
    "going_on": "Continuing in doubt ({reasons}): the lower target applies.",
    "turns_in": "Motor holds {turns_in} turns{or_zero}; included in the count.",
    "zero_refused": "Zero not set: {torque} on the hook. Clear it, press t again.",
    "other_way": "Left-hand wind: torque is counted the other way round.",
    "key_asked": "Torque does not show that yet: press the key again to confirm.",
    "distance_lost": "Distance sensor ignored: go by marks and torque.",
    "overwind": "Stop cranking: above the target of {peak}.",
    "meter_limit": "Above the meter's rating: stop cranking.",
    "winder_limit": "Above the winder's rating: stop cranking.",
    "meter_saturated": "Meter at the end of its range: stop cranking.",
    "meter_silent": "No data from the meter: stop and check the lead.",
    "overwind_soon": "Target torque in {in_s}: get ready to stop.",
    "crank_stalled": "Crank stopped: keep cranking.",
    "rising_too_fast": "Torque rising too fast: crank slower.",
    "torque_falling": "Torque falling: wait where you are, keep cranking.",
    "not_this_motor": "Torque is {off} {side} plan: wrong motor, or zero off?",
    "zero_moved": "Zero is off by {torque}: clear the hook and press t.",
}


_REASON_WORDS = {
    "motor": "another motor",
    "ratio": "winder ratio",
    "zero": "zero",
    "gain": "calibration",
    "turns": "turns left in it",
    "pulses": "lost pulses",
    "direction": "wrong direction",
    "stretch": "standing elsewhere",
    "flight": "its last flight",
}


def distance_words(distance_m: float | None, units: UnitSystem, steps: Steps = USUAL) -> str:
    """Return a place to stand in the person's own unit."""
    return "the mark" if distance_m is None else place_words(distance_m, units, steps)


def step_words(length_m: float, units: UnitSystem, steps: Steps = USUAL) -> str:
    """Return the length of a step, in whole centimetres (fives from ten on) or inches."""
    if units == "inch" or steps.unit in ("inches", "feet"):
        return f"{max(length_m / INCH_M, 1.0):.0f} in"
    cm = 100.0 * length_m
    return f"{5.0 * round(cm / 5.0) if cm >= 10.0 else max(cm, 1.0):.0f} cm"


def _count(number: float, one: str, many: str, decimals: int = 0) -> str:
    text = f"{number:.{decimals}f}"
    return f"{text} {one if text in ('1', '1.0') else many}"


def _halves(turns: float) -> str:
    """Turns of the crank in whole and half ones."""
    whole, half = divmod(round(2.0 * turns), 2)
    if whole == 0:
        return "half a crank turn"
    return f"{whole}½ crank turns" if half else _count(whole, "crank turn", "crank turns")


def _pattern(prompt: Prompt, paces: float | None) -> str:
    if prompt.code == "back_off" and prompt.crank_turns == 0.0:
        return _PROMPT_WORDS["back_off_enough"]
    if paces is None or prompt.code not in ("walk_in_to", "hold_distance"):
        return _PROMPT_WORDS[prompt.code]
    if prompt.code == "hold_distance":
        return _PACE_WORDS["stay"]
    # Told again after an alarm: from there it would be a second step.
    return _PACE_WORDS["again" if prompt.from_m == prompt.distance_m else "out" if paces < 0 else "in"]


def prompt_words(prompt: Prompt, units: UnitSystem, steps: Steps = USUAL) -> str:
    """Return the sentence of a prompt. Figures that are not known are left out or named in words."""
    distance_m, torque_Nm, crank, turns = prompt.distance_m, prompt.torque_Nm, prompt.crank_turns, prompt.turns
    exactly = "the mark" if distance_m is None else exact_words(distance_m, units, steps)
    paces = None if distance_m is None else paces_in(prompt.from_m, distance_m, steps)
    return _pattern(prompt, paces).format(
        distance=distance_words(distance_m, units, steps),
        exactly=exactly,
        Step="" if paces is None else pace_words(paces).capitalize(),
        to_torque="" if torque_Nm is None or crank is not None else f" to {show(torque_Nm, 'torque', units)}",
        at_torque="" if torque_Nm is None else f": {show(torque_Nm, 'torque', units)}",
        torque="torque not known" if torque_Nm is None else show(torque_Nm, "torque", units),
        crank="the planned crank turns" if crank is None else _halves(crank),
        in_to="" if distance_m is None else f"; step in to {distance_words(distance_m, units, steps)}",
        Behind="Behind: s" if prompt.side == "behind" else "S",
        Ahead="Ahead: s" if prompt.side == "ahead" else "S",
        to_distance=" a little" if distance_m is None else f" to {distance_words(distance_m, units, steps)}",
        at_distance=" where you are" if distance_m is None else f" at {distance_words(distance_m, units, steps)}",
        on_to="" if distance_m is None else "; the walk-in comes next",
        target_is="" if torque_Nm is None else f"; the target is {show(torque_Nm, 'torque', units)}",
        next_torque="" if prompt.next_Nm is None else f" (after the next: {show(prompt.next_Nm, 'torque', units)})",
        over="" if crank is None else f" over {_count(crank, 'crank turn', 'crank turns')}",
        to_go="some" if crank is None else _count(crank, "turn", "turns"),
        crank_left="Some crank turns" if crank is None else f"About {_count(crank, 'crank turn', 'crank turns')}",
        turns="turns not counted" if turns is None else _count(turns, "turn", "turns"),
        When_there="S" if prompt.side == "there" else f"When you stand at {exactly}, s",
        stay_at=f"; stay at {exactly}" if prompt.side == "there" else "",
        Was=_STEP_WAS[prompt.step_was],
        step="" if prompt.step_m is None else f", {step_words(prompt.step_m, units, steps)} at most",
        to_place="" if distance_m is None else f", to {distance_words(distance_m, units, steps)}",
        take_in="a few crank turns" if crank is None else _count(crank, "crank turn", "crank turns", 1),
        wanted="" if prompt.next_Nm is None else f", {show(prompt.next_Nm, 'torque', units)} wanted",
        peak="not known" if prompt.peak_Nm is None else show(prompt.peak_Nm, "torque", units),
    )


def in_words(prompt: Prompt, units: UnitSystem, steps: Steps = USUAL) -> Prompt:
    """Return a prompt with its sentence made again from its code and figures."""
    return replace(prompt, text=prompt_words(prompt, units, steps))


def alarm_words(code: str, figures: AlarmFigures, units: UnitSystem) -> str:
    """Return the sentence of an alarm."""
    ratio, in_s = figures.of_plan, figures.peak_in_s
    return _ALARM_WORDS[code].format(
        peak="the peak" if figures.peak_Nm is None else show(figures.peak_Nm, "torque", units),
        torque=f"{shown_number(figures.torque_Nm or 0.0, 'torque', units)} {unit_label('torque', units)}",
        in_s="a few seconds" if in_s is None else _count(max(in_s, 0.0), "second", "seconds"),
        off="far" if ratio is None else f"{abs(ratio - 1):.0%}",
        side="from" if ratio is None else ("above" if ratio > 1 else "below"),
        board=figures.board or "no name",
        or_zero=", as its last flight left" if figures.reasons == ("flight",) else ", or zero is off",
        turns_in="some" if figures.turns_in is None else f"about {round(figures.turns_in, -1):.0f}",
        reasons=reasons_words(figures.reasons),
    )


def reasons_words(reasons: tuple[str, ...]) -> str:
    """Return what it may be, in words, the best fit first."""
    words = [_REASON_WORDS[reason] for reason in reasons]
    return ", ".join(words).capitalize() or "Something does not match"


def _alarm_in(alarm: Alarm, units: UnitSystem) -> Alarm:
    return replace(alarm, text=alarm_words(alarm.code, alarm.figures, units))


def reworded(view: CoachView, units: UnitSystem) -> CoachView:
    """Return the view as the coach would have said it in other units; where steps end stays as it was coached."""
    if units == view.units:
        return view
    return replace(
        view,
        units=units,
        prompt=None if view.prompt is None else in_words(view.prompt, units, view.steps),
        alarms=tuple(_alarm_in(alarm, units) for alarm in view.alarms),
    )
