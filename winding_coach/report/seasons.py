"""Seasons of people in, reports out: one person's progress, or all people side by side."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from winding_coach.base.units import counted
from winding_coach.report.chart import Chart, Curve, Mark
from winding_coach.report.page import Report, Section, Table
from winding_coach.review.season.table import PER_WINDS, Course, PersonSeason, shown
from winding_coach.review.season.trend import LEAST, LEVEL, MOST
from winding_coach.review.wind.telling import clock

FOREST = "time_in_rate_band"
MOST_DRAWN = 24
ROW = 17.0
LEAST_POINTS = 3
HOW_SURE = (
    f"Trend: the median of the slopes between all pairs of winds (Theil and Sen), for {PER_WINDS} winds, shares in"
    f" percentage points, with its interval of {LEVEL:.0%}; from {LEAST} winds on. Where the interval includes zero no"
    " trend is reported. Of twenty values that do not change, about one is reported to. Winds of one motor or day are"
    " more alike than the interval knows."
)
HEADS = (
    "In band: the rate of torque; stopped: the crank in the walk-in; peak, launch: torque off the plan's, either way."
)
INDEX = "Values are the coach's on the day, from the shelf's index; 'review TRACE' works them out again."


def simulated_words(count: int, total: int) -> str:
    """Return a sentence on winds of a simulated meter, "" where there are none."""
    if not count:
        return ""
    all_of = "All of these winds were" if count == total else f"{count} of these {total} winds were"
    return f"{all_of} made with a simulated meter: no real motor was wound in them."


def person_report(season: PersonSeason) -> Report:
    """Return a person's progress: each figure over the winds, its trend, in words and pictures."""
    told = [
        f"{course.figure.label} – {course.words}"
        for course in season.courses
        if course.trend is not None and course.trend.told
    ]
    broken = f", {season.broken} of which broke the motor" if season.broken else ""
    flights = (
        f" {counted(season.flights, 'flight')} {'was' if season.flights == 1 else 'were'} logged."
        if season.flights
        else ""
    )
    first = f"{counted(season.winds, 'wind')} from {season.first} to {season.last}{broken}.{flights}"
    if season.winds > MOST:
        first += f" Trends are over the newest {MOST}."
    summary = f"Changing for {PER_WINDS} winds: {'; '.join(told)}." if told else "No value is changing."
    rows = [
        (
            one.figure.label,
            str(len(one.points)),
            shown(one.figure, one.median),
            one.change,
            one.interval,
            one.told,
        )
        for one in season.courses
        if one.points
    ]
    return Report(
        title=f"{season.name}: {counted(season.winds, 'wind')}",
        lead="",
        warning=simulated_words(season.simulated, season.winds),
        sections=(
            Section("How it goes", (first, summary)),
            Section(
                "Over the winds",
                charts=tuple(_course_chart(one) for one in season.courses if len(one.points) >= LEAST_POINTS),
                legend="Dots: winds. Solid line: a trend; dashed: none is certain.",
            ),
            Section(
                f"Values and their change for {PER_WINDS} winds",
                table=Table(("figure", "winds", "median", "change", "interval", "told"), tuple(rows)),
                remark=HOW_SURE,
            ),
        ),
        foot=(INDEX,),
    )


def _scaled(course: Course) -> tuple[float, str]:
    return (100.0, f"{course.figure.label}, %") if course.figure.kind == "share" else (1.0, course.figure.label)


def _course_chart(course: Course) -> Chart:
    times, label = _scaled(course)
    points = course.points[-MOST:]
    curves = []
    trend = course.trend
    if trend is not None:
        ends = (points[0][0], points[-1][0])
        line = tuple((x, times * trend.at(x)) for x in ends)
        curves.append(Curve((line,), "wind", "", "" if trend.told else "6 4", 2.0))
    ys = [times * y for _, y in points]
    low, high = min(ys), max(ys)
    room = 0.08 * (high - low) or 0.1 * abs(high) or 1.0
    return Chart(
        title=label[:1].upper() + label[1:],
        about=f"{label} over {len(points)} winds; median {shown(course.figure, course.median)}; {course.words}.",
        x_label="number of the wind",
        y_label="",
        curves=tuple(curves),
        marks=tuple(Mark(x, times * y, "", "small", "dim") for x, y in points),
        y_range=(max(low - room, 0.0) if low >= 0.0 else low - room, high + room),
        height=260.0,
    )


def season_report(seasons: Sequence[PersonSeason]) -> Report:
    """Return the season of all people: a table, and whose rate in the band changes."""
    winds, broken = sum(one.winds for one in seasons), sum(one.broken for one in seasons)
    flights = sum(one.flights for one in seasons)
    first, last = min(one.first for one in seasons), max(one.last for one in seasons)
    better = [one.name for one in seasons if one.course(FOREST).verdict == "better"]
    worse = [one.name for one in seasons if one.course(FOREST).verdict == "worse"]
    people = "person" if len(seasons) == 1 else "people"
    said = [
        f"{counted(winds, 'wind')} by {len(seasons)} {people} from {first} to {last}; {broken} broke the motor,"
        f" {counted(flights, 'flight')} {'was' if flights == 1 else 'were'} logged."
    ]
    if better:
        said.append(f"The rate is more and more in its band for {', '.join(better)}.")
    if worse:
        said.append(f"It is less and less for {', '.join(worse)}.")
    rows = [
        (
            one.name,
            str(one.winds),
            str(one.broken),
            one.last,
            *(shown(one.course(key).figure, one.course(key).median) for key in _COLUMNS),
            one.course(FOREST).verdict or "–",
        )
        for one in seasons
    ]
    heads = ("person", "winds", "broke", "last", "in band", "stopped, s", "peak", "launch", "trend")
    return Report(
        title="The season",
        lead="",
        warning=simulated_words(sum(one.simulated for one in seasons), winds),
        sections=(
            Section("All people", tuple(said), charts=(_forest(seasons), _weeks(seasons)), in_terminal=False),
            Section("Medians", table=Table(heads, tuple(rows)), remark=f"{HEADS} {HOW_SURE}"),
            *_flights(seasons),
        ),
        foot=(INDEX,),
    )


def _flights(seasons: Sequence[PersonSeason]) -> tuple[Section, ...]:
    """Return each person's flights, () where none was logged."""
    flown = [(one, one.course("flight_s"), one.course("turns_left_share")) for one in seasons]
    rows = tuple(
        (
            one.name,
            str(len(course.points)),
            clock(course.median),
            clock(max(duration for _, duration in course.points)),
            shown(left.figure, left.median),
            course.verdict or "–",
        )
        for one, course, left in flown
        if course.points and course.median is not None
    )
    if not rows:
        return ()
    return (Section("Flights", table=Table(("person", "timed", "median", "best", "turns left", "trend"), rows)),)


_COLUMNS = ("time_in_rate_band", "stalled_s", "peak_off", "launch_off")


def _forest(seasons: Sequence[PersonSeason]) -> Chart:
    """Return each person's change of the time in the band, with its interval."""
    known = [(one.name, one.course(FOREST).trend) for one in seasons]
    told = [(name, trend) for name, trend in known if trend is not None][:MOST_DRAWN][::-1]
    marks = []
    for row, (_, trend) in enumerate(told):
        role, shape = (
            ("dim", "ring") if trend.told == 0 else ("good", "dot") if trend.told > 0 else ("danger", "square")
        )
        slope, low, high = (100.0 * PER_WINDS * value for value in (trend.slope, trend.low, trend.high))
        marks.append(Mark(slope, float(row), "", shape, role, low, high))
    ends = [x for mark in marks for x in (mark.low or 0.0, mark.high or 0.0)] or [0.0]
    reach = max(1.05 * max(abs(x) for x in ends), 0.1)
    zero = Curve((((0.0, -0.6), (0.0, len(told) - 0.4)),), "plan", "", "2 4", 1.0)
    left_out = f" The {MOST_DRAWN} with most winds are drawn." if len(known) > MOST_DRAWN else ""
    return Chart(
        title=f"Rate in its band: change for {PER_WINDS} winds",
        about="Change of the share of time in the band with its interval. "
        + "; ".join(f"{name}: {100 * PER_WINDS * trend.slope:+.1f} points" for name, trend in reversed(told))
        + f".{left_out}",
        x_label="percentage points (dot: rises, square: falls, ring: no trend)",
        y_label="",
        curves=(zero,) if told else (),
        marks=tuple(marks),
        x_range=(-reach, reach),
        y_range=(-0.6, len(told) - 0.4),
        y_names=tuple(name if len(name) <= 16 else name[:15] + "…" for name, _ in told),
        height=max(200.0, 100.0 + ROW * len(told)),
    )


def _weeks(seasons: Sequence[PersonSeason]) -> Chart:
    """Return how many winds there were in each week."""
    weeks: dict[int, int] = {}
    for season in seasons:
        for week, count in season.weeks:
            weeks[week] = weeks.get(week, 0) + count
    first, last = min(weeks), max(weeks)
    bars = tuple(((float(week - first), 0.0), (float(week - first), float(weeks[week]))) for week in sorted(weeks))
    begin = datetime.fromordinal(7 * first + 1)
    return Chart(
        title="Winds a week",
        about=f"Winds in each of {last - first + 1} weeks, {max(weeks.values())} at the most.",
        x_label=f"weeks since {begin:%Y-%m-%d}",
        y_label="",
        curves=(Curve(bars, "wind", "", "", 5.0 if last - first < 60 else 1.5),),
        x_range=(-1.0, float(last - first) + 1.0),
        y_range=(0.0, 1.08 * max(weeks.values())),
        height=260.0,
    )
