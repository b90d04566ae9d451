"""The whole screen as one picture: what is seen in, a sheet of cells out. Pure; the app only looks and paints."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from winding_coach.base.units import show, unit_label
from winding_coach.coach.said import Phase
from winding_coach.coach.view import CoachView
from winding_coach.screen.chart import AlarmMark, ChartData, Points, draw_chart
from winding_coach.screen.digits import block_rows, height, width
from winding_coach.screen.figures import (
    BigWord,
    alarm_text,
    all_ticked,
    big_word,
    check_lines,
    clock_words,
    instruction,
    label_line,
    live_torque,
    noted_torque,
    per_turn_words,
    plain_lines,
    torque_figure,
    torque_template,
    waiting_line,
)
from winding_coach.screen.instruments import draw_instruments
from winding_coach.screen.layout import Layout, layout_for
from winding_coach.screen.sheet import Characters, Sheet, wrapped
from winding_coach.screen.side import ROWS, SideView, draw_side
from winding_coach.screen.wording import (
    CAUTION_LINE,
    HAND_OVER,
    LETTING_DOWN_STEPS,
    LINK_SIGNS,
    LINK_WORDS,
    NO_METER,
    PHASE_BLOCKS,
    SIMULATED_BOARD,
    SIMULATED_SIGN,
    STEPS,
)

HEARD_WIDE = 16
_BRACKETS = re.compile(r" \([^()]*\)")
ENOUGH_CHART = 6
"""Rows of chart that are left when another picture shares its room."""


@dataclass(frozen=True, slots=True)
class Scene:
    """What there is to draw. keys: the line at the bottom. mode: REPLAY, WATCH, FROZEN and the like, or nothing.

    place: (share, words) of a replay's place, None when live. note: a remark for the row of alarms while there is
    none. cautions_seen: closed by a key. side: what a simulated bench knows; side_first: if there is no room for both
    it and the chart, this is drawn. ports: what is seen on them, for who has no meter yet. heard:
    what sounds now, in a word or two. characters: what the terminal's font has. notice: lines in the chart's place.
    notice_page: counts on; which part of a notice that is too long is shown, else its beginning.
    ended: how it ended, in a word, where that is not the wind's own outcome; the note is then the sentence.
    """

    view: CoachView
    points: Points = ()
    trace_name: str | None = None
    trouble: str | None = None
    mode: str = ""
    keys: str = ""
    glance: bool = False
    cautions_seen: bool = False
    alarms: tuple[AlarmMark, ...] = ()
    others: tuple[Points, ...] = field(default=())
    place: tuple[float, str] | None = None
    note: str = ""
    side: SideView | None = None
    side_first: bool = False
    ports: str = ""
    heard: str = ""
    characters: Characters = "all"
    notice: tuple[str, ...] = ()
    notice_page: int | None = None
    ended: str = ""


def face(scene: Scene, columns: int, rows: int) -> Sheet:
    """Return the picture."""
    sheet = Sheet(columns, rows, scene.characters)
    layout = layout_for(columns, rows, torque_template(scene.view), glance=scene.glance)
    if layout.plain:
        _plain(sheet, scene)
        return sheet
    _header(sheet, scene)
    if layout.rail >= 0:
        _rail(sheet, layout.rail, scene.view)
    _word(sheet, layout, scene)
    _sentences(sheet, layout, scene)
    _torque(sheet, layout, scene.view)
    if not layout.glance:
        gap = 4 if columns >= 100 else 2
        begin = layout.torque_columns + 1 + gap
        draw_instruments(sheet, begin, layout.torque_at, columns - begin - 1, layout.torque_rows, scene.view)
        _lower(sheet, layout, scene)
    sheet.fill(0, rows - 1, columns, 1, "panel")
    sheet.put(1, rows - 1, scene.keys, "panel", most=columns - 2)
    return sheet


def _plain(sheet: Sheet, scene: Scene) -> None:
    row = 0
    for text, role in plain_lines(scene.view, scene.trouble):
        for line in wrapped(text, sheet.columns, 3):
            sheet.put(0, row, line, role)
            row += 1


def _header(sheet: Sheet, scene: Scene) -> None:
    """Link, lines lost, mode, trace and time in one bar."""
    link = scene.view.link
    sheet.fill(0, 0, sheet.columns, 1, "panel")
    up = link.state == "up"
    at = sheet.put(1, 0, f"{LINK_SIGNS[link.state]} {LINK_WORDS[link.state]}", "panel" if up else "panel bad")
    if link.meter == SIMULATED_BOARD:
        at = sheet.put(at + 2, 0, SIMULATED_SIGN, "panel bold")
    clock = clock_words(scene.view.at_s)
    end = sheet.put_right(sheet.columns - 1, 0, clock, "panel bold")
    if scene.mode:
        at = sheet.put(at + 2, 0, scene.mode, "panel bold")
    if scene.heard:
        # Padded, so that the rest of the bar does not jump with what is heard.
        at = sheet.put(at + 2, 0, f"♪ {scene.heard}".ljust(HEARD_WIDE), "panel bold")
    parts = []
    if link.crank is not None:
        parts.append(link.crank)
    if link.lost_lines or link.bad_lines:
        parts.append(f"{link.lost_lines} lines lost, {link.bad_lines} damaged")
    if link.restarts:
        parts.append(f"meter restarted {link.restarts}×")
    if scene.trace_name:
        parts.append(scene.trace_name)
    if link.port and up:
        parts.append(link.port if link.meter == SIMULATED_BOARD else f"{link.meter or 'meter'} at {link.port}")
    room = end - at - 4
    while parts and len("  ".join(parts)) > room and len(parts) > 1:
        parts.pop()
    if parts and room > 8:
        text = "  ".join(parts)
        sheet.put_right(end - 2, 0, text if len(text) <= room else f"{text[: room - 1]}…", "panel dim")


def _rail(sheet: Sheet, row: int, view: CoachView) -> None:
    """The steps: done, now, to come; by sign and not only by colour."""
    steps = LETTING_DOWN_STEPS if view.letting_down else STEPS
    now = steps.index(view.phase) if view.phase in steps else len(steps)
    if view.phase in (Phase.BROKEN, Phase.STOPPED):
        reached = [steps.index(phase) for _, _, phase in view.phase_starts if phase in steps]
        now = max(reached, default=-1) + 1
    wide = sheet.columns >= 96
    at = 1
    for number, phase in enumerate(steps):
        word = PHASE_BLOCKS[phase].lower()
        if number == now:
            at = sheet.put(at, row, f"● {word.upper()}", "word")
        elif number < now:
            at = sheet.put(at, row, f"✓ {word}", "dim")
        else:
            at = sheet.put(at, row, f"○ {word}", "dim")
        if number + 1 < len(steps):
            at = sheet.put(at + 1, row, "──" if wide else "", "track") + 1


def _word(sheet: Sheet, layout: Layout, scene: Scene) -> None:
    big = BigWord(scene.ended) if scene.ended else big_word(scene.view)
    across, down = layout.word
    role = big.role
    sheet.blocks(1, layout.word_at, block_rows(big.text, across, down), role)
    foot = layout.word_at + height(down) - 1
    sheet.put(1 + width(big.text, across) + 1, foot, big.unit, role)


def _sentences(sheet: Sheet, layout: Layout, scene: Scene) -> None:
    """What to do in a sentence, and the alarm under it; each keeps its row."""
    view, columns = scene.view, sheet.columns
    text, role = alarm_text(view, scene.trouble)
    if len(text) > columns - 2:
        text = _BRACKETS.sub("", text)
    lines = wrapped(scene.note if scene.ended else instruction(view), columns - 2, 1 if text else 2)
    for number, line in enumerate(lines):
        sheet.put(1, layout.prompt_at + number, line, "prompt")
    if text:
        sheet.fill(0, layout.alarm_at, columns, 1, role)
        sheet.put(1, layout.alarm_at, text, role, most=columns - 2)
    elif view.summary is not None and len(lines) == 1:
        sheet.put(1, layout.alarm_at, _closing(scene, layout, columns - 2), "bold", most=columns - 2)
    elif view.phase is Phase.READY and view.summary is None and len(lines) == 1:
        sheet.put(1, layout.alarm_at, waiting_line(view), "bold", most=columns - 2)
    elif scene.note and not scene.ended and len(lines) == 1:
        sheet.put(1, layout.alarm_at, scene.note, "other", most=columns - 2)
    elif layout.glance and len(lines) == 1 and wants_cautions(view):
        sheet.put(1, layout.alarm_at, CAUTION_LINE, "dim", most=columns - 2)


def _closing(scene: Scene, layout: Layout, columns: int) -> str:
    """What is left to say of a closed wind: its values where they have no room of their own, and its file."""
    view = scene.view
    if layout.glance and view.summary is not None:
        return label_line(view, view.summary)
    if scene.trace_name is None or scene.mode:
        return ""
    saved = f"Saved as {scene.trace_name}."
    after = " `winding-coach review` shows how it went."
    return saved + after if len(saved + after) <= columns else saved


def _torque(sheet: Sheet, layout: Layout, view: CoachView) -> None:
    """The digits, and under them the unit, the target and what is left to it."""
    across, down = layout.torque
    goal, torque = view.targets.torque_Nm, live_torque(view)
    noted, live = noted_torque(view), not view.stale
    role = "figure" if live or noted is not None else "stale"
    figure = torque_figure(view).strip()
    negative = figure.startswith("-") and role == "figure"
    body = figure[1:] if negative else figure
    begin = 1 + layout.torque_columns - width(body, across)
    sheet.blocks(begin, layout.torque_at, block_rows(body, across, down), role)
    if negative:
        sheet.blocks(begin - width("-", across) - across // 2, layout.torque_at, block_rows("-", across, down), role)
    foot = layout.torque_at + height(down)
    at = sheet.put(1, foot, unit_label("torque", view.units), "bold")
    if noted is not None:
        launched = view.summary is not None and view.summary.launch_torque_Nm is not None
        sheet.put(at + 2, foot, "noted at launch" if launched else "noted at the peak", "dim")
        return
    if not live:
        sheet.put(at + 2, foot, "not live", "bad")
        return
    if goal is None:
        return
    word = "about" if view.phase is Phase.WALK_IN else "target"
    room = sheet.columns if layout.glance else layout.torque_columns + 4
    words = f"{word} {show(goal, 'torque', view.units)}"
    if at + 2 + len(words) >= room:
        words = show(goal, "torque", view.units).split()[0]
    at = sheet.put(at + 2, foot, words, "goal")
    left = None if torque is None else goal - torque
    each = per_turn_words(view)
    if left is not None and at + 16 < room:
        words = f"{show(abs(left), 'torque', view.units).split()[0]} {'to go' if left > 0 else 'above'}"
        words = words.replace("to go", "below") if view.phase in (Phase.BACK_OFF, Phase.READY) else words
        at = sheet.put(at + 2, foot, words, "dim")
    if each and at + 3 + len(each) < room:
        sheet.put(at + 3, foot, each, "dim")


def wants_cautions(view: CoachView) -> bool:
    """Whether no turn has been wound yet, and it is for a wind."""
    return view.phase in (Phase.SET_ZERO, Phase.STRETCH_OUT) and view.summary is None and not view.letting_down


def _lower(sheet: Sheet, layout: Layout, scene: Scene) -> None:
    """The chart; before the first turn the cautions in its place, without a meter what to do about it."""
    at, rows, columns = layout.chart_at, layout.chart_rows, sheet.columns
    if scene.place is not None:
        _place(sheet, at + rows - 1, scene.place)
        rows -= 1
    view = scene.view
    if view.link.state in ("waiting", "down") and not scene.points and not view.summary:
        _notice(sheet, at, rows, (*NO_METER, scene.ports) if scene.ports else NO_METER)
    elif scene.notice and scene.side is not None and wants_cautions(view):
        # A lesson on a simulated bench: what is asked for would be hidden by a list for a real motor.
        _notice(sheet, at, rows, page_of(scene.notice, rows, scene.notice_page))
    elif wants_cautions(view) and not scene.cautions_seen and not all_ticked(view):
        _notice(sheet, at, rows, check_lines(view))
    elif view.phase is Phase.READY and view.summary is None and not scene.cautions_seen:
        _notice(sheet, at, rows, HAND_OVER)
    elif scene.notice:
        _notice(sheet, at, rows, page_of(scene.notice, rows, scene.notice_page))
    else:
        if scene.side is not None and (rows >= ROWS + ENOUGH_CHART or scene.side_first):
            draw_side(sheet, 1, at, columns - 2, scene.side, view)
            at, rows = at + ROWS, rows - ROWS
        draw_chart(sheet, 1, at, columns - 2, rows, ChartData(view, scene.points, scene.alarms, scene.others))


def page_of(lines: tuple[str, ...], rows: int, page: int | None) -> tuple[str, ...]:
    """Return what is shown of a heading and its lines where not all have room: one part after the other."""
    if page is None or len(lines) <= rows or rows < 2:
        return lines
    each = rows - 1
    pages = -(-(len(lines) - 1) // each)
    at = page % pages
    return (f"{lines[0]}  {at + 1} of {pages}", *lines[1 + at * each : 1 + (at + 1) * each])


def _notice(sheet: Sheet, row: int, rows: int, lines: tuple[str, ...]) -> None:
    """A framed notice as large as its lines, framed where there is room; lines that are too many are left out."""
    lines = lines[:rows]
    framed = rows >= len(lines) + 2
    wide = min(sheet.columns - 2, max(len(line) for line in lines) + 6)
    top = row + max((rows - len(lines) - 2) // 2, 0) if framed else row
    left = 1
    if framed:
        sheet.box(left, top, wide, len(lines) + 2, "goal")
    for number, line in enumerate(lines):
        sheet.put(left + 3, top + number + framed, line, "bold" if number == 0 else "ink", most=wide - 5)


def _place(sheet: Sheet, row: int, place: tuple[float, str]) -> None:
    """Where a replay is: a bar and words."""
    share, words = place
    wide = sheet.columns - 4 - len(words)
    sheet.put(1, row, "─" * wide, "track")
    sheet.put(1, row, "━" * round(min(max(share, 0.0), 1.0) * (wide - 1)), "goal")
    sheet.put(1 + round(min(max(share, 0.0), 1.0) * (wide - 1)), row, "◆", "word")
    sheet.put(wide + 2, row, words, "ink")
