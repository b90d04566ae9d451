"""A view in, the figures and words that the parts of the screen show out. Pure; figures keep their width."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from winding_coach.base.inputs import CHECKS
from winding_coach.base.standing import pace_words, paces_in, place_figure
from winding_coach.base.units import SHOWN, UNITS, UnitSystem, show, show_energy, shown_number
from winding_coach.coach.checks import checks_for
from winding_coach.coach.phases import LOADED
from winding_coach.coach.said import Level, Phase, Prompt, Summary
from winding_coach.coach.view import CoachView
from winding_coach.coach.wording import alarm_words, reworded
from winding_coach.rubber.figures import WalkInRow
from winding_coach.screen.wording import (
    ALARM_BLOCKS,
    CHECK_FOOT,
    CHECK_HEAD,
    CHECK_ROWS,
    CHECK_WORDS,
    CLOSING,
    LEVEL_SIGNS,
    LINK_BLOCKS,
    LINK_HELD,
    LINK_TAPS,
    LINK_WORDS,
    OUTCOME_BLOCKS,
    PACE_BLOCKS,
    PHASE_BLOCKS,
    PROMPT_BLOCKS,
)

OFF_BELOW = 0.1
"""Of the launch torque: no motor that waits for its launch holds so little."""
LONGEST_COUNTDOWN_S = 60.0
SLOWEST_SHOWN_REV_PER_S = 0.3
"""A crank that turns slower, or stands, has no rate per turn worth showing."""


@dataclass(frozen=True, slots=True)
class BigWord:
    """The one thing to do now, for block letters. unit: of the figure at its end. role: for its colour."""

    text: str
    unit: str = ""
    role: str = "word"


def torque_template(view: CoachView) -> str:
    """Return the widest torque figure that this wind can show, which sets the size of the digits."""
    unit, decimals = SHOWN[view.units]["torque"]
    most = 1.25 * view.plan.peak_torque_Nm / UNITS["torque"][unit]
    return "-" + "8" * len(str(int(max(most, 1.0)))) + "." + "8" * decimals


def _digits(torque_Nm: float, view: CoachView, template: str) -> str:
    """Return a torque that is never wider than the template: decimals give way, then it is out of range."""
    decimals = SHOWN[view.units]["torque"][1]
    for kept in range(decimals, -1, -1):
        figure = shown_number(torque_Nm, "torque", view.units, kept)
        if figure.strip("-0.") == "":
            figure = figure.lstrip("-")
        if len(figure.lstrip("-")) < len(template) and _digits_in(figure) <= _digits_in(template):
            return figure.rjust(len(template))
    return "+" * len(template)


def _digits_in(figure: str) -> int:
    """Return how many digits are in a figure: each is several times as wide as a point."""
    return sum(map(str.isdigit, figure))


def torque_figure(view: CoachView) -> str:
    """Return the torque as digits, padded to the template; dashes where it is not live."""
    template = torque_template(view)
    noted = noted_torque(view)
    if noted is not None:
        return _digits(noted, view, template)
    torque_Nm = live_torque(view)
    if torque_Nm is None:
        return template[1:].replace("8", "-").rjust(len(template))
    return _digits(torque_Nm, view, template)


def live_torque(view: CoachView) -> float | None:
    """Return the torque to show, None where it is not live. A jump is in it at once."""
    if view.stale or view.reading.torque_Nm is None:
        return None
    return view.reading.torque_Nm if view.shown_torque_Nm is None else view.shown_torque_Nm


def noted_torque(view: CoachView) -> float | None:
    """Return the torque that a closed wind is remembered by, None while it goes on: launch, else peak."""
    if view.summary is None:
        return None
    launch_Nm = view.summary.launch_torque_Nm
    return view.summary.peak_torque_Nm if launch_Nm is None else launch_Nm


def peak_aim_Nm(view: CoachView) -> float:
    """Return the torque to stop at, the one that the words name: the coach's own aim, else the plan's."""
    return view.plan.peak_torque_Nm if view.targets.peak_Nm is None else view.targets.peak_Nm


def seconds_to_peak(view: CoachView) -> float | None:
    """Return the seconds until the peak torque at the present rate, None where torque does not lead there."""
    reading = view.reading
    if view.stale or reading.torque_Nm is None:
        return None
    rate = max(reading.torque_rate_Nm_per_s or 0.0, view.slow_rate_Nm_per_s or 0.0)
    left_Nm = max(peak_aim_Nm(view) - reading.torque_Nm, 0.0)
    return left_Nm / rate if rate > 0.0 and left_Nm < LONGEST_COUNTDOWN_S * rate else None


def big_word(view: CoachView) -> BigWord:
    """Return the one thing to do now in one or two words, with its figure."""
    if view.summary is not None:
        return BigWord(OUTCOME_BLOCKS[view.summary.outcome], role="word")
    if view.link.state in LINK_BLOCKS and not by_taps(view):
        return BigWord(LINK_BLOCKS[view.link.state], role="danger word")
    backing = view.prompt is not None and view.prompt.code == "back_off"
    stopping = view.prompt is not None and view.prompt.code == "stop_at_peak"
    for alarm in view.alarms:
        if stopping and alarm.level is not Level.DANGER:
            # A warning is advice: nothing but a danger comes before the stop.
            break
        if alarm.code == "meter_silent" and by_taps(view):
            continue
        if alarm.code == "overwind" and backing:
            # The hand has stopped: what is left to do about it is what the prompt says.
            continue
        if alarm.code in ALARM_BLOCKS:
            return BigWord(ALARM_BLOCKS[alarm.code], role="danger word")
        if alarm.code == "overwind_soon":
            in_s = seconds_to_peak(view)
            return BigWord(
                "STOP" if in_s is None else f"STOP IN {in_s:.0f}", "" if in_s is None else "s", "danger word"
            )
    prompt = view.prompt
    pattern = None if prompt is None else PROMPT_BLOCKS.get(prompt.code)
    if prompt is None or pattern is None:
        return BigWord(PHASE_BLOCKS[view.phase])
    if prompt.code == "back_off" and prompt.crank_turns == 0.0:
        return BigWord("STOP", role="danger word")
    urgent = prompt.code in ("stop_at_peak", "crank_slower") or any(one.level is Level.DANGER for one in view.alarms)
    distance, unit = "", ""
    if prompt.distance_m is not None:
        paces = paces_in(prompt.from_m, prompt.distance_m, view.steps)
        if paces is not None and prompt.code in PACE_BLOCKS:
            return _pace_word(prompt, paces)
        distance, unit = place_figure(prompt.distance_m, view.units, view.steps)
    crank = "" if prompt.crank_turns is None else f"{round(2.0 * prompt.crank_turns) / 2.0:g}"
    if "{crank}" in pattern:
        unit = "" if not crank else "crank turn" if crank in ("0.5", "1") else "crank turns"
    elif "{distance}" not in pattern:
        unit = ""
    text = pattern.format(distance=distance, crank=crank).strip()
    return BigWord(text, unit, "danger word" if urgent else "word")


def _pace_word(prompt: Prompt, paces: float) -> BigWord:
    """A step in paces, told from where one stands."""
    if prompt.code == "hold_distance" or prompt.from_m == prompt.distance_m:
        return BigWord(PACE_BLOCKS[prompt.code])
    way = "IN" if paces >= 0 else "OUT"
    if abs(paces) > 1.0:
        return BigWord(f"{abs(paces):g} PACES", way.lower())
    return BigWord({"half a pace": "HALF PACE", "one pace": "1 PACE"}.get(pace_words(paces), "SHORT STEP"), way.lower())


def by_taps(view: CoachView) -> bool:
    """Whether the meter is gone in mid-wind, and taps carry the count on."""
    return view.phase in LOADED and view.reading.turns_source == "tapped" and view.reading.turns is not None


def instruction(view: CoachView) -> str:
    """Return what to do now as a sentence; without a meter or its data, what to do about that."""
    link = view.link
    if view.summary is not None:
        return CLOSING[view.summary.outcome]
    if link.state in LINK_BLOCKS and not by_taps(view):
        why = link.reason or "looking for one"
        if view.phase in LOADED:
            return LINK_TAPS if view.reading.turns is not None else LINK_HELD[link.state].format(why=why)
        known = why.startswith(("no ", "the "))
        return f"{why[0].upper()}{why[1:]}." if known else f"{LINK_BLOCKS[link.state].capitalize()}: {why}."
    return "" if view.prompt is None else view.prompt.text


def alarm_text(view: CoachView, trouble: str | None) -> tuple[str, str]:
    """Return the alarm that matters most, with its sign and how many more there are, and its role; else the trouble."""
    if view.alarms:
        first = view.alarms[0]
        in_s = seconds_to_peak(view) if first.code == "overwind_soon" else None
        if in_s is not None:
            # It counts on; the sentence was made when the alarm went on.
            first = replace(first, text=alarm_words(first.code, replace(first.figures, peak_in_s=in_s), view.units))
        more = f"   (and {len(view.alarms) - 1} more)" if len(view.alarms) > 1 else ""
        return f"{LEVEL_SIGNS[first.level]}  {first.text}{more}", str(first.level)
    if trouble is not None:
        return f"{LEVEL_SIGNS[Level.CAUTION]}  {trouble}", "caution"
    return "", "ink"


def rate_word(view: CoachView) -> str:
    """Return how the torque rise is, against its band, in a word."""
    rate, low, high = view.reading.torque_rate_Nm_per_s, view.targets.rate_low_Nm_per_s, view.targets.rate_high_Nm_per_s
    if rate is None or view.stale:
        return "not known"
    if low is None or high is None or high <= low:
        return "no target rate"
    if rate < min(low, 0.0):
        return "falling"
    return "too slow" if rate < low else "too fast" if rate > high else "good"


def signed_rate(view: CoachView) -> str:
    """Return the fast rate with its sign, always of one width."""
    rate = view.reading.torque_rate_Nm_per_s
    decimals = SHOWN[view.units]["torque"][1]
    if rate is None or view.stale:
        return "--".rjust(decimals + 3)
    figure = shown_number(rate, "torque", view.units)
    if figure.strip("-0.") == "":
        figure = figure.lstrip("-")
    return (figure if figure.startswith("-") else f"+{figure}").rjust(decimals + 3)


def per_turn_words(view: CoachView) -> str:
    """Return what a crank turn adds at this rate, and what the plan asks of the next; "" where none is asked.

    A digit more than torque itself has: a crank turn adds little.
    """
    asked, crank = view.targets.per_crank_turn_Nm, view.reading.crank_rev_per_s
    rate = view.reading.torque_rate_Nm_per_s
    if asked is None:
        return ""
    decimals = SHOWN[view.units]["torque"][1] + 1
    wanted = shown_number(asked, "torque", view.units, decimals)
    turns = rate is not None and crank is not None and crank >= SLOWEST_SHOWN_REV_PER_S and not view.stale
    now = shown_number((rate or 0.0) / (crank or 1.0), "torque", view.units, decimals) if turns else "--"
    return f"{now.rjust(decimals + 3)} per crank turn (plan {wanted})"


def label_rows(view: CoachView, summary: Summary) -> list[tuple[str, str]]:
    """Return what to write on the motor's label, as label and text."""

    def torque(value_Nm: float | None) -> str:
        return "not known" if value_Nm is None else show(value_Nm, "torque", view.units)

    def turns(value: float | None) -> str:
        return "not counted" if value is None else f"{value:.0f} turns"

    motor, plan = view.motor, view.plan
    rows = [] if motor is None else [("motor", f"{motor.name or 'without a name'}, wind {motor.use}")]
    peak = f"{torque(summary.peak_torque_Nm)}, {turns(summary.peak_turns)}"
    if summary.outcome == "broken":
        breaking = f"{plan.breaking_turns:.0f} ± {plan.breaking_turns_sd:.0f} turns"
        return [
            *rows,
            ("broke after", peak),
            ("was planned", f"{plan.target_turns:.0f} turns"),
            ("to break at", breaking),
        ]
    off, band = summary.backed_off_turns, summary.time_in_rate_band
    rows.append(("peak", peak))
    if off is not None:
        rows.append(("backed off", f"{off:.0f} turns, {off / view.winder_ratio:.1f} crank turns"))
    if summary.launch_torque_Nm is not None:
        rows.append(("launch", f"{torque(summary.launch_torque_Nm)}, {turns(summary.launch_turns)}"))
    if summary.energy_stored_J is not None:
        rows.append(("stored", show_energy(summary.energy_stored_J, view.units, 2)))
    many = "stall" if summary.stalls == 1 else "stalls"
    stalls = "no stall" if not summary.stalls else f"{summary.stalls} {many} {summary.stalled_s:.0f} s"
    if summary.wait_s is not None:
        rows.append(("waited", f"{clock_words(summary.wait_s)} since the peak"))
    rows.append(("walk-in", stalls if band is None else f"rate good {band:.0%}, {stalls}"))
    return [*rows, ("lines lost", str(summary.lost_lines))] if summary.lost_lines else rows


def label_line(view: CoachView, summary: Summary) -> str:
    """Return the same in one line, where there is no room for rows."""

    def noted(torque_Nm: float | None, turns: float | None) -> str:
        torque = "not known" if torque_Nm is None else show(torque_Nm, "torque", view.units)
        return torque if turns is None else f"{torque} with {turns:.0f} turns"

    parts = [f"Peak {noted(summary.peak_torque_Nm, summary.peak_turns)}"]
    if summary.backed_off_turns is not None:
        parts.append(f"{summary.backed_off_turns:.0f} off")
    if summary.launch_torque_Nm is not None:
        parts.append(f"launch {noted(summary.launch_torque_Nm, summary.launch_turns)}")
    return f"{'; '.join(parts)}."


def stand_at_m(view: CoachView) -> float | None:
    """Return where to stand: where the walk-in's last sentence sent one, which the path may have left behind."""
    prompt = view.prompt
    if prompt is not None and prompt.code in ("walk_in_to", "hold_distance") and prompt.distance_m is not None:
        return prompt.distance_m
    return view.targets.stand_at_m


def next_mark(view: CoachView) -> tuple[float, float] | None:
    """Return the next walk-in mark of the plan (distance in m, turns), None past the last or without turns."""
    turns, at_m = view.reading.turns, stand_at_m(view)
    if turns is None or at_m is None or view.phase not in (Phase.WIND_STRETCHED, Phase.WALK_IN):
        return None
    rows = view.plan.walk_in
    stops = view.steps.stops_m(rows[-1].distance_m, view.plan.stretch_distance_m) if rows else ()
    marks = [(at, _turns_at(rows, at)) for at in reversed(stops)] or [(row.distance_m, row.turns) for row in rows]
    return next((mark for mark in marks if mark[1] > turns and mark[0] < at_m - 0.02), None)


def _turns_at(rows: Sequence[WalkInRow], distance_m: float) -> float:
    """The turns at which the plan's walk-in is at a distance, straight between its rows."""
    for before, after in pairwise(rows):
        if after.distance_m <= distance_m:
            way_m = before.distance_m - after.distance_m
            share = (before.distance_m - distance_m) / way_m if way_m > 0 else 0.0
            return before.turns + max(share, 0.0) * (after.turns - before.turns)
    return rows[-1].turns


def clock_words(seconds: float) -> str:
    """Return a time of the wind as minutes and seconds."""
    return f"{int(seconds) // 60:d}:{int(seconds) % 60:02d}"


def all_ticked(view: CoachView) -> bool:
    """Whether the list before the wind is done."""
    return view.motor is not None and view.checks == checks_for(view.motor)


def check_lines(view: CoachView) -> tuple[str, ...]:
    """Return the list before the wind, what is ticked of it by a sign."""
    wanted = CHECKS[:-1] if view.motor is None else checks_for(view.motor)
    held = next((alarm.figures.turns_in for alarm in view.alarms if alarm.code == "turns_in"), None)
    figures = {
        "peak": show(view.plan.peak_torque_Nm, "torque", view.units),
        "turns_in": "none seen" if held is None else f"about {held:.0f}",
    }
    lines = [CHECK_HEAD]
    for row in CHECK_ROWS:
        cells = [
            f"{CHECKS.index(name) + 1} {'✓' if name in view.checks else '○'} {CHECK_WORDS[name].format(**figures)}"
            for name in row
            if name in wanted
        ]
        lines.append("   ".join(cells))
    return (*lines, CHECK_FOOT)


def waiting_line(view: CoachView) -> str:
    """Return how long ago the peak was, and torque now over the launch torque."""
    began_s, torque_Nm = view.marks.peak_at_s, live_torque(view)
    parts = [] if began_s is None else [f"{clock_words(view.at_s - began_s)} since the peak"]
    if torque_Nm is not None and view.plan.launch_torque_Nm > 0.0:
        goal_Nm = view.targets.torque_Nm or view.plan.launch_torque_Nm
        share = torque_Nm / goal_Nm
        parts.append("the motor is off the meter" if share < OFF_BELOW else f"torque is {share:.0%} of launch torque")
    return "; ".join(parts)


def plain_lines(view: CoachView, trouble: str | None) -> list[tuple[str, str]]:
    """Return all that matters as a few plain lines (text, role), for a terminal too small for more."""
    unit = show(0.0, "torque", view.units).split()[1]
    figure = torque_figure(view).strip()
    live = "" if view.summary is not None or not view.stale else " not live"
    alarm, role = alarm_text(view, trouble)
    lines = [(f"{PHASE_BLOCKS[view.phase]}  {figure} {unit}{live}", "word"), (instruction(view), "bold")]
    if alarm:
        lines.append((alarm, role))
    lines.append((f"{LINK_WORDS[view.link.state]}. A larger window shows more.", "dim"))
    lines.append(("t zero, n next, s stop, q quit", "dim"))
    return lines


def figures_in(view: CoachView, units: UnitSystem) -> CoachView:
    """Return the view with its figures and the coach's sentences in other units."""
    return reworded(view, units)
