"""A wind's record in, plain sentences out: what happened, in the order of the wind, each with its figure. Pure."""

from __future__ import annotations

from collections.abc import Sequence

from winding_coach.base.units import UnitSystem, show
from winding_coach.coach.phases import LOADED
from winding_coach.coach.said import Phase
from winding_coach.coach.wording import PHASE_WORDS
from winding_coach.review.wind.record import Stall, WindRecord
from winding_coach.shelf.records import Flight

OUTCOMES = {
    "done": "Done",
    "broken": "Broken",
    "gone": "Torque gone",
    "stopped": "Stopped",
    "lost": "The meter was lost",
}
MAX_STALLS = 8
HELD_SHARE = 0.01
"""A smaller fall of torque is within its ripple."""
WHAT_IS_COUNTED = (
    "Work is torque times turns at the hook. The work of the pull, put in by stretching out and taken out by walking"
    " in, is not in it: nothing measures it."
)

SAID_ELSEWHERE = frozenset({"crank_stalled", "overwind_soon", "key_asked", "other_way"})
"""Alarms that are no other warnings: stalls have their own sentence; the countdown to the target, a key that was asked
for again and the way that a motor is wound warn of nothing."""


def clock(at_s: float) -> str:
    """Return a moment of the wind as minutes and seconds."""
    return f"{int(at_s) // 60}:{int(at_s) % 60:02d}"


def title_of(record: WindRecord) -> str:
    """Return who wound what and when, as far as it is known."""
    header = record.header
    motor = (header.motor and header.motor.name) or "a motor without a name"
    by = f" by {header.person}" if header.person else ""
    use = f" {header.motor.use}" if header.motor is not None else ""
    return f"Wind{use} of {motor}{by}, {header.started:%Y-%m-%d %H:%M}"


def told(record: WindRecord, units: UnitSystem) -> list[str]:
    """Return what happened, one sentence or two for each thing; empty winds get one that says so."""
    if not record.samples:
        return ["No torque was measured in this wind.", *record.remarks]
    parts = [
        _whole(record, units),
        _pacing(record),
        _walk_in(record, units),
        _stalls(record.stalls, units),
        _work(record),
        _against_best(record),
        _alarms(record),
        _link(record),
    ]
    return [part for part in parts if part] + list(record.remarks)


def flown(record: WindRecord, flight: Flight) -> str:
    """Return what is logged of the wind's flight, "" if that is nothing."""
    parts = [] if flight.duration_s is None else [f"{clock(flight.duration_s)} long"]
    if flight.turns_left is not None:
        launch = record.summary.launch_turns
        share = f" ({flight.turns_left / launch:.0%} of those at launch)" if launch else ""
        parts.append(f"{flight.turns_left:.0f} turns left{share}")
        if launch and flight.duration_s:
            parts.append(f"{(launch - flight.turns_left) / flight.duration_s:.1f} turns/s of the motor")
    if flight.energy_used_J is not None:
        parts.append(f"{flight.energy_used_J:.1f} J used")
    if flight.ceiling:
        parts.append("touched the ceiling")
    return f"Its flight: {', '.join(parts)}." if parts else ""


def _turns(record: WindRecord, turns: float | None) -> str:
    if turns is None:
        return "turns not counted"
    return f"{turns:.0f} turns ({turns / record.settings.winder.ratio:.0f} crank turns)"


def _whole(record: WindRecord, units: UnitSystem) -> str:
    found = record.summary
    if found.peak_torque_Nm is None:
        return f"{OUTCOMES[found.outcome]} after {clock(found.duration_s)}: the motor was not wound."
    share = ""
    if found.peak_turns is not None:
        share = f", {found.peak_turns / record.settings.plan.breaking_turns:.0%} of the breaking turns"
    said = (
        f"{OUTCOMES[found.outcome]} in {clock(found.duration_s)}: to {show(found.peak_torque_Nm, 'torque', units)}"
        f" at {_turns(record, found.peak_turns)}{share}."
    )
    if found.launch_torque_Nm is not None:
        off = ""
        if found.backed_off_turns is not None:
            off = f" by {found.backed_off_turns / record.settings.winder.ratio:.1f} crank turns"
        said += f" Backed off{off} to {show(found.launch_torque_Nm, 'torque', units)}"
        said += "." if found.launch_turns is None else f", {found.launch_turns:.0f} turns left for launch."
    if found.wait_s is not None:
        said += f" It left the meter {clock(found.wait_s)} after the peak{_relaxed(record)}."
    return said


def _relaxed(record: WindRecord) -> str:
    """Return by how much torque had relaxed meanwhile, once it was ready; "" where that is not known."""
    ready = record.span(Phase.READY)
    launch_Nm = record.summary.launch_torque_Nm
    if ready is None or not launch_Nm:
        return ""
    first = [one.torque_Nm for one in record.samples if ready.from_s <= one.at_s <= ready.from_s + 1.0]
    known = [torque_Nm for torque_Nm in first if torque_Nm is not None]
    if not known or max(known) <= 0.0:
        return ""
    relaxed = 1.0 - launch_Nm / (sum(known) / len(known))
    if relaxed < 0.0:  # After the last turn off torque comes back first.
        return f"; torque came back by {-relaxed:.1%} once it was ready"
    return f"; torque relaxed by {relaxed:.1%} once it was ready"


def _pacing(record: WindRecord) -> str:
    spans = [span for span in record.phases if span.crank_rev_per_s is not None and span.phase in LOADED]
    if not spans:
        return "The pace of the crank is not known: no turns were counted."
    paces = [
        f"{PHASE_WORDS[span.phase].lower()} {span.to_s - span.from_s:.0f} s at {span.crank_rev_per_s:.2f} crank turns/s"
        for span in spans
    ]
    varied = record.review.figures.crank_variation
    more = "" if varied is None else f" At full stretch the time per crank turn varied by {varied:.0%}."
    guessed = " Turns are estimated from the torque signal." if record.turns_source == "estimated" else ""
    return f"Pace of the crank: {'; '.join(paces)}.{more}{guessed}"


def _walk_in(record: WindRecord, units: UnitSystem) -> str:
    found = record.review.figures
    if found.path_off is None or found.path_side is None:
        return ""
    side = "above" if found.path_side > 0 else "below"
    said = (
        f"In the walk-in torque lay {abs(found.path_side):.0%} {side} the plan's path on average"
        f" ({found.path_off:.0%} rms)"
    )
    if found.falls:
        times = "once" if found.falls == 1 else f"{found.falls} times"
        return f"{said} and fell far below it {times}, for {found.longest_fall_s or 0.0:.0f} s at most."
    return f"{said} and never fell far below it."


def _stalls(stalls: Sequence[Stall], units: UnitSystem) -> str:
    if not stalls:
        return ""
    each = []
    for stall in stalls[:MAX_STALLS]:
        lost = ""
        if stall.lost_Nm is not None and stall.before_Nm is not None:
            fell = stall.lost_Nm >= HELD_SHARE * stall.before_Nm
            lost = f", torque fell by {show(stall.lost_Nm, 'torque', units)}" if fell else ", torque held"
        each.append(f"at {clock(stall.at_s)} for {stall.lasted_s:.1f} s{lost}")
    more = f"; and {len(stalls) - MAX_STALLS} more" if len(stalls) > MAX_STALLS else ""
    return f"The crank stopped {'; '.join(each)}{more} (counted from the warning on)."


def _work(record: WindRecord) -> str:
    work = record.work
    left_J = None if record.summary.launch_torque_Nm is None else record.summary.energy_stored_J
    if work is None:
        return "Work is not known: no turns were counted."
    meter = "" if record.settings.calibration.sd_Nm is not None else ", the meter's own uncertainty not known"
    said = f"The crank did {work.wound_in_J:.1f} ± {work.sd_J:.1f} J of work"
    if work.returned_J > 0.0:
        said += f"; the back-off gave {work.returned_J:.2f} ± {work.returned_sd_J:.2f} J of it back"
    said += f" (± one standard uncertainty{meter})."
    if work.bridged_turns >= 0.5:
        said += f" {work.bridged_turns:.0f} turns passed without torque readings; a straight line replaces them."
    if left_J is not None:
        said += f" By the plan's model, scaled to this motor, {left_J:.1f} J remain for the flight."
    return said


def _against_best(record: WindRecord) -> str:
    found, plan = record.summary, record.settings.plan
    best_J = plan.energy_stored_J * record.torque_scale
    if found.energy_stored_J is None or found.launch_turns is None or best_J <= 0.0:
        return ""
    missing = plan.launch_turns - found.launch_turns
    ratio = record.settings.winder.ratio
    if abs(missing) < ratio:
        turns = "as many turns as planned, within one crank turn"
    else:
        turns = f"{abs(missing):.0f} turns {'fewer' if missing > 0 else 'more'} than planned"
    return (
        f"The best path would store {best_J:.1f} J in this motor: this wind stored"
        f" {found.energy_stored_J / best_J:.0%} of that, with {turns}."
    )


def _alarms(record: WindRecord) -> str:
    others = [one for one in record.alarms if one.code not in SAID_ELSEWHERE]
    if not others:
        return ""
    count: dict[str, list[str]] = {}
    for one in others:
        count.setdefault(one.code, []).append(clock(one.from_s))
    said = [f"{code.replace('_', ' ')} at {', '.join(times[:5])}" for code, times in count.items()]
    return f"Other warnings: {'; '.join(said)}."


def _link(record: WindRecord) -> str:
    parts = []
    if record.gaps:
        each = ", ".join(f"{gap.lasted_s:.1f} s at {clock(gap.at_s)}" for gap in record.gaps[:MAX_STALLS])
        more = f" and {len(record.gaps) - MAX_STALLS} more" if len(record.gaps) > MAX_STALLS else ""
        parts.append(f"no torque readings for {each}{more}")
    if record.restarts:
        parts.append(f"the meter restarted {'once' if record.restarts == 1 else f'{record.restarts} times'}")
    if record.summary.lost_lines:
        parts.append(f"{record.summary.lost_lines} lines were lost")
    return f"Meter: {'; '.join(parts)}." if parts else ""
