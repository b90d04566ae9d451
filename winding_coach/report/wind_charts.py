"""Records of winds in, charts out: torque against turns and against time, one wind with its plan or several."""

from __future__ import annotations

from collections.abc import Sequence

from winding_coach.base.units import SHOWN, UNITS, UnitSystem, shown_number, unit_label
from winding_coach.coach.alarms import ABOVE_PLAN
from winding_coach.coach.phases import LOADED
from winding_coach.coach.said import Level, Phase
from winding_coach.coach.wording import PHASE_WORDS
from winding_coach.report.chart import Band, Chart, Curve, Mark, Point, Span
from winding_coach.report.chart import Level as LevelLine
from winding_coach.report.inks import SERIES
from winding_coach.review.wind.record import LEAST_GAP_S, Sample, WindRecord
from winding_coach.review.wind.telling import clock
from winding_coach.rubber.path import PlanPath

MOST_POINTS = 500
MOST_OVERLAID = len(SERIES)
BAND_SHARE = ABOVE_PLAN - 1.0
PLAN_POINTS = 120
NAMED_AT = 0.62
"""Share of the way at which the plan has its name."""
SIGNS = {Level.CAUTION: "!", Level.WARNING: "!", Level.DANGER: "✕"}


def _one(units: UnitSystem) -> float:
    """The torque shown as 1."""
    return UNITS["torque"][SHOWN[units]["torque"][0]]


def _parts(samples: Sequence[Sample], by_turns: bool, units: UnitSystem) -> tuple[tuple[Point, ...], ...]:
    """Points of a wind, in pieces where no torque came, thinned so that the extremes of each bit stay."""
    one = _one(units)
    pieces: list[list[Point]] = []
    before_s: float | None = None
    for sample in samples:
        x = sample.turns if by_turns else sample.at_s
        if x is None:
            continue
        if before_s is None or sample.at_s - before_s > LEAST_GAP_S:
            pieces.append([])
        before_s = sample.at_s
        pieces[-1].append((x, sample.torque_Nm / one))
    every = max(1, 2 * sum(map(len, pieces)) // MOST_POINTS)
    return tuple(_thinned(piece, every) for piece in pieces)


def _thinned(points: Sequence[Point], every: int) -> tuple[Point, ...]:
    if every <= 2:
        return tuple(points)
    kept: list[Point] = [points[0]]
    for start in range(0, len(points), every):
        bit = points[start : start + every]
        low, high = (pick(range(len(bit)), key=lambda i, bit=bit: bit[i][1]) for pick in (min, max))  # type: ignore[misc]
        kept += [bit[number] for number in sorted({low, high})]
    return (*kept, points[-1])


def _spans(record: WindRecord, by_turns: bool) -> tuple[Span, ...]:
    spans = []
    before = 0.0
    for span in record.phases:
        if span.phase not in LOADED and span.phase is not Phase.BROKEN:
            continue
        label = PHASE_WORDS[span.phase].lower()
        if not by_turns:
            spans.append(Span(span.from_s, span.to_s, label))
        elif span.turns is not None and span.turns > before and span.phase is not Phase.BROKEN:
            spans.append(Span(before, span.turns, label))
            before = span.turns
    return tuple(spans)


def _peak_and_launch(record: WindRecord, by_turns: bool, units: UnitSystem) -> list[Mark]:
    found, one = record.summary, _one(units)
    marks = []
    for name, torque_Nm, turns, shape in (
        ("peak", found.peak_torque_Nm, found.peak_turns, "dot"),
        ("launch", found.launch_torque_Nm, found.launch_turns, "ring"),
    ):
        if torque_Nm is None:
            continue
        near = [s for s in record.samples if s.phase in LOADED]
        if name == "launch":
            near = [s for s in near if s.phase is Phase.READY]
        sample = min(near, key=lambda s: abs(s.torque_Nm - torque_Nm), default=None)
        x = turns if by_turns else (None if sample is None else sample.at_s)
        if x is not None:
            marks.append(Mark(x, torque_Nm / one, f"{name} {shown_number(torque_Nm, 'torque', units)}", shape, "ink"))
    return marks


def _stall_marks(record: WindRecord, by_turns: bool, units: UnitSystem) -> list[Mark]:
    marks = []
    for number, stall in enumerate(record.stalls, 1):
        x = stall.turns if by_turns else stall.at_s
        if x is not None and stall.lowest_Nm is not None:
            marks.append(Mark(x, stall.lowest_Nm / _one(units), f"{number}", "triangle", "warning"))
    return marks


def _named(at: Point) -> Mark:
    """The plan's name on the upper edge of its band."""
    return Mark(at[0], (1 + BAND_SHARE) * at[1], f"plan ±{BAND_SHARE:.0%}", "none", "plan")


def turns_chart(record: WindRecord, others: Sequence[WindRecord], units: UnitSystem) -> Chart:
    """Return torque against turns with the plan's path and band, earlier winds thin, stalls, alarms, peak, launch."""
    plan, one, scale = record.settings.plan, _one(units), record.torque_scale
    path = PlanPath(plan, record.settings.motor)
    steps = [plan.target_turns * i / PLAN_POINTS for i in range(PLAN_POINTS + 1)]
    planned = [(turns, scale * path.torque_at(turns) / one) for turns in steps]
    off = [plan.back_off_turns * i / 20 for i in range(21)]
    down = [(plan.target_turns - turns, scale * path.back_off_torque_at(turns) / one) for turns in off]
    down[-1] = (down[-1][0], plan.launch_torque_Nm / one)
    curves = [Curve((*_parts(other.wound, True, units),), "dim", "", "1 2", 1.0) for other in others if other.wound]
    curves += [
        Curve((tuple(planned), tuple(down)), "plan", "", "6 3", 1.4),
        Curve(_parts(record.wound, True, units), "wind", "", "", 2.2),
    ]
    most = max([plan.target_turns, *(s.turns or 0.0 for s in record.wound)])
    top = max([plan.peak_torque_Nm * scale, *(s.torque_Nm for s in record.wound)]) / one
    earlier = "" if not others else f" Fine dots: {len(others)} earlier winds of this motor."
    signs = [
        (alarm.turns, SIGNS[alarm.level], str(alarm.level))
        for alarm in record.alarms
        if alarm.turns is not None and alarm.code != "crank_stalled"
    ]
    return Chart(
        title="Torque against turns",
        about=f"Torque against turns of the motor, over the plan's path and its band.{earlier} {_about(record, units)}",
        x_label="turns of the motor",
        y_label=f"torque, {unit_label('torque', units)}",
        curves=tuple(curves),
        bands=(Band(tuple((x, (1 - BAND_SHARE) * y, (1 + BAND_SHARE) * y) for x, y in planned)),),
        spans=_spans(record, True),
        marks=(
            *_stall_marks(record, True, units),
            *_peak_and_launch(record, True, units),
            _named(planned[int(NAMED_AT * PLAN_POINTS)]),
        ),
        top_signs=tuple(signs),
        x_range=(0.0, 1.06 * most),
        y_range=(0.0, 1.16 * top),
    )


def _about(record: WindRecord, units: UnitSystem) -> str:
    found = record.summary
    said = []
    for name, torque_Nm, turns in (
        ("Peak", found.peak_torque_Nm, found.peak_turns),
        ("launch", found.launch_torque_Nm, found.launch_turns),
    ):
        if torque_Nm is not None:
            at = "" if turns is None else f" at {turns:.0f} turns"
            said.append(f"{name} {shown_number(torque_Nm, 'torque', units)} {unit_label('torque', units)}{at}")
    stood = f" The crank stopped {len(record.stalls)} times." if record.stalls else ""
    return f"{', '.join(said)}.{stood}" if said else "The motor was not wound."


def time_chart(record: WindRecord, units: UnitSystem) -> Chart:
    """Return torque against time with the plan's torque at the turns of each moment, phases, stalls and alarms."""
    one, scale = _one(units), record.torque_scale
    plan = record.settings.plan
    path = PlanPath(plan, record.settings.motor)
    expected = [
        Sample(s.at_s, s.phase, scale * path.torque_at(s.turns), s.turns)
        for s in record.wound
        if s.turns is not None and s.phase in (Phase.WIND_STRETCHED, Phase.WALK_IN, Phase.FINAL_TURNS)
    ]
    planned = _parts(expected, False, units)
    shown = [s for s in record.samples if s.phase is not Phase.SET_ZERO]
    top = max([plan.peak_torque_Nm * scale, *(s.torque_Nm for s in shown)]) / one
    last = max((s.at_s for s in shown), default=1.0)
    first = min((s.at_s for s in shown), default=0.0)
    signs = [
        (alarm.from_s, SIGNS[alarm.level], str(alarm.level))
        for alarm in record.alarms
        if first <= alarm.from_s and alarm.code != "crank_stalled"
    ]
    begins = [f"{PHASE_WORDS[span.phase].lower()} from {clock(span.from_s)}" for span in record.phases]
    return Chart(
        title="Torque against time",
        about=f"Torque against time; the dashed line is the plan's torque at the turns of each moment. "
        f"{'; '.join(begins)}. {_about(record, units)}",
        x_label="seconds since the trace began",
        y_label=f"torque, {unit_label('torque', units)}",
        curves=(
            Curve(planned, "plan", "", "6 3", 1.4),
            Curve(_parts(shown, False, units), "wind", "", "", 2.0),
        ),
        bands=tuple(
            Band(tuple((x, (1 - BAND_SHARE) * y, (1 + BAND_SHARE) * y) for x, y in part))
            for part in planned
            if len(part) > 1
        ),
        spans=_spans(record, False),
        levels=(LevelLine(plan.launch_torque_Nm / one, "plan's launch"),),
        marks=(
            *_stall_marks(record, False, units),
            *_peak_and_launch(record, False, units),
            *(_named(part[int(NAMED_AT * len(part))]) for part in planned[-1:]),
        ),
        top_signs=tuple(signs),
        x_range=(first, last + 0.03 * (last - first)),
        y_range=(0.0, 1.16 * top),
    )


def overlaid(records: Sequence[WindRecord], names: Sequence[str], units: UnitSystem, *, by_turns: bool) -> Chart:
    """Return several winds on the same axes, each with its own dashes and its name; time is from the first turn."""
    curves = []
    shown = [(n, r) for n, r in zip(names, records, strict=True) if r.wound][:MOST_OVERLAID]
    one = _one(units)
    for (name, record), (role, dashes) in zip(shown, SERIES, strict=False):
        wound = record.wound
        if not by_turns:
            begin = wound[0].at_s
            wound = tuple(Sample(s.at_s - begin, s.phase, s.torque_Nm, s.turns) for s in wound)
        parts = _parts(wound, by_turns, units)
        top = max(wound, key=lambda s: s.torque_Nm)
        x = top.turns if by_turns else top.at_s
        at = None if x is None else (x, top.torque_Nm / one)
        curves.append(Curve(parts, role, name, dashes, 1.7, at))
    more = len([r for r in records if r.wound]) - len(shown)
    left_out = f" {more} more are in the table only." if more > 0 else ""
    names_told = ", ".join(name for name, _ in shown)
    return Chart(
        title="Torque against turns" if by_turns else "Torque against time",
        about=f"The winds {names_told} on the same axes.{left_out} The table below holds their values.",
        x_label="turns of the motor" if by_turns else "seconds since the first turn",
        y_label=f"torque, {unit_label('torque', units)}",
        curves=tuple(curves),
        x_range=(0.0, 1.03 * max((x for c in curves for part in c.parts for x, _ in part), default=1.0)),
        y_range=(0.0, 1.1 * max((y for c in curves for part in c.parts for _, y in part), default=1.0)),
    )
