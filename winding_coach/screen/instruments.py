"""The small instruments beside the torque: rate gauge, turns, where to stand, limits. A view in, marks on a sheet out.

Each keeps its rows whatever it shows, and each says in a word what its marks show.
"""

from __future__ import annotations

from winding_coach.base.standing import short_words
from winding_coach.base.units import show, unit_label
from winding_coach.coach.said import Phase
from winding_coach.coach.view import CoachView
from winding_coach.screen.figures import (
    label_rows,
    next_mark,
    peak_aim_Nm,
    rate_word,
    seconds_to_peak,
    signed_rate,
    stand_at_m,
)
from winding_coach.screen.sheet import Sheet
from winding_coach.screen.wording import SOURCE_WORDS

LABEL_WIDE = 8
WIDEST = 64
SOON_S = 5.0
RISKY = 0.05
GOOD_WORDS = frozenset({"good"})
BAD_WORDS = frozenset({"too fast", "too slow", "falling"})


def draw_instruments(sheet: Sheet, column: int, row: int, columns: int, rows: int, view: CoachView) -> None:
    """Draw all of them in a field of the sheet, 8 rows or more."""
    columns = min(columns, WIDEST)
    if view.summary is not None:
        sheet.put(column, row, "for the motor's label", "bold")
        for number, (label, words) in enumerate(label_rows(view, view.summary), 1):
            sheet.put(column, row + number, label, "dim")
            sheet.put(column + 12, row + number, words, "ink", most=columns - 12)
        return
    gap = 1 if rows >= 11 else 0
    _rate(sheet, column, row, columns, view)
    _turns(sheet, column, row + 2 + gap, columns, view)
    _stand(sheet, column, row + 4 + 2 * gap, columns, view)
    _limits(sheet, column, row + 6 + 3 * gap, columns, view)


def _label(sheet: Sheet, column: int, row: int, word: str) -> int:
    sheet.put(column, row, word, "dim")
    return column + LABEL_WIDE


def _rate(sheet: Sheet, column: int, row: int, columns: int, view: CoachView) -> None:
    """The rate of torque rise: its band is the middle third of the scale."""
    at = _label(sheet, column, row, "rate")
    word = rate_word(view)
    after = sheet.put(at, row, f"{signed_rate(view)} {unit_label('torque', view.units)}/s", "ink")
    role = "good" if word in GOOD_WORDS else "bad" if word in BAD_WORDS else "dim"
    sheet.put(after + 2, row, word, role)
    low, high = view.targets.rate_low_Nm_per_s, view.targets.rate_high_Nm_per_s
    if low is None or high is None or high <= low:
        sheet.put(at, row + 1, "─" * (columns - LABEL_WIDE), "track")
        return
    wide = columns - LABEL_WIDE - 10
    third = wide // 3
    sheet.put(at, row + 1, "slow", "dim")
    sheet.put(at + 5, row + 1, "─" * wide, "track")
    sheet.put(at + 6 + wide, row + 1, "fast", "dim")
    sheet.put(at + 5 + third, row + 1, "━" * (wide - 2 * third), "good")
    rate = view.reading.torque_rate_Nm_per_s
    if rate is None or view.stale:
        return
    place = round(third + (rate - low) / (high - low) * (wide - 2 * third - 1))
    sheet.put(at + 5 + min(max(place, 0), wide - 1), row + 1, "█", "figure" if role == "good" else "bad")


def _turns(sheet: Sheet, column: int, row: int, columns: int, view: CoachView) -> None:
    """Turns on the motor, where they are from, and a bar to the turns of the peak with ticks where phases end."""
    reading, plan = view.reading, view.plan
    at = _label(sheet, column, row, "turns")
    wide = columns - LABEL_WIDE
    figure = "--" if reading.turns is None else f"{reading.turns:.0f}"
    # In the back-off turns come off: more than the goal is no excess.
    to = "down to" if view.phase is Phase.BACK_OFF else "of"
    goal = " left" if view.letting_down else "" if view.targets.turns is None else f" {to} {view.targets.turns:.0f}"
    after = sheet.put(at, row, f"{figure.rjust(len(f'{plan.target_turns:.0f}'))}{goal}", "ink")
    sheet.put(after, row, f"  {SOURCE_WORDS[reading.turns_source]}", "dim")
    draw_bar(sheet, at, row + 1, wide, None if reading.turns is None else reading.turns / plan.target_turns)
    for turns in (plan.stretched_turns, plan.walk_in[-1].turns if plan.walk_in else None):
        if turns is not None and (reading.turns or 0.0) < turns:
            sheet.put(at + min(int(turns / plan.target_turns * wide), wide - 1), row + 1, "┆", "goal")


def draw_bar(sheet: Sheet, column: int, row: int, wide: int, share: float | None) -> None:
    """Draw a bar filled to a share of its width (0-1, cut there); None leaves it empty."""
    sheet.put(column, row, "─" * wide, "track")
    sheet.put(column, row, "━" * round(min(max(share or 0.0, 0.0), 1.0) * wide), "wind")


def _stand(sheet: Sheet, column: int, row: int, columns: int, view: CoachView) -> None:
    """Where to stand, and the way from full stretch (right) to the hooks (left)."""
    at = _label(sheet, column, row, "stand")
    plan = view.plan
    wanted, seen = stand_at_m(view), view.reading.distance_m
    wide = columns - LABEL_WIDE - 1
    room = len(short_words(0.0, view.units, view.steps))
    text = "--" if wanted is None else short_words(wanted, view.units, view.steps)
    after = sheet.put(at, row, text.ljust(room), "bold")
    if seen is not None and not view.stale:
        after = sheet.put(after, row, f" now {short_words(seen, view.units, view.steps).rstrip()}", "ink")
    coming = next_mark(view)
    if coming is not None and view.reading.turns is not None:
        crank = max((coming[1] - view.reading.turns) / view.winder_ratio, 0.0)
        short = f"  then {short_words(coming[0], view.units, view.steps).rstrip()}"
        for text in (f"{short} in {crank:.0f} crank turns", short):
            if after + len(text) <= column + columns:
                sheet.put(after, row, text, "dim")
                break
    hooks_m = plan.walk_in[-1].distance_m if plan.walk_in else 0.0
    span = max(plan.stretch_distance_m - hooks_m, 1e-6)
    sheet.put(at, row + 1, "┃" + "─" * (wide - 1) + "┃", "track")
    for where, sign, role in ((wanted, "◆", "word"), (seen if not view.stale else None, "●", "figure")):
        if where is not None:
            place = round((where - hooks_m) / span * wide)
            sheet.put(at + min(max(place, 0), wide), row + 1, sign, role)


def _limits(sheet: Sheet, column: int, row: int, columns: int, view: CoachView) -> None:
    """The target and the seconds to it; the crank; the risk that the motor breaks, there and here."""
    at = _label(sheet, column, row, "target")
    reading = view.reading
    in_s = seconds_to_peak(view) if view.phase in (Phase.WALK_IN, Phase.FINAL_TURNS) else None
    after = sheet.put(at, row, show(peak_aim_Nm(view), "torque", view.units), "ink")
    if in_s is not None:
        after = sheet.put(after, row, f"  in {in_s:2.0f} s", "bad" if in_s < SOON_S else "ink")
    end = column + columns
    if view.peak_risk is not None:
        _risk(sheet, after, end, row, view.peak_risk, ("risk at target", "at target", "risk"))
    at = _label(sheet, column, row + 1, "crank")
    speed = None if view.stale else reading.crank_rev_per_s
    state = {True: "", False: "stopped", None: "unknown"}[None if view.stale else reading.cranking]
    words = state or ("" if speed is None else f"{abs(speed):3.1f} turns/s")
    sheet.put(at, row + 1, words, "bad" if reading.cranking is False and view.phase is Phase.WALK_IN else "ink")
    _risk(sheet, at, end, row + 1, reading.break_risk, ("risk now",))


def _risk(sheet: Sheet, after: int, end: int, row: int, risk: float | None, names: tuple[str, ...]) -> None:
    """A chance to break at the right of a row, under as much of its name as leaves the rest alone."""
    text = "  --" if risk is None else f"{risk:5.1%}"
    sheet.put_right(end, row, text, "bad" if (risk or 0.0) >= RISKY else "ink")
    room = end - len(text) - 1 - after
    name = next((name for name in names if len(name) < room), "")
    sheet.put_right(end - len(text) - 1, row, name, "dim")
