"""What each part of the screen says: a view in, text out. Pure; every figure keeps its width, so nothing jumps."""

from __future__ import annotations

from rich.text import Text

from winding_coach.coach.said import Level, Phase, Summary
from winding_coach.coach.view import CoachView
from winding_coach.coach.wording import distance_words
from winding_coach.screen.wording import CAUTIONS, LEVEL_SIGNS, LINK_WORDS, PHASE_BLOCKS, SOURCE_WORDS, STEPS
from winding_coach.units import SHOWN, UNITS, UnitSystem, show, shown_number, unit_label

GAUGE_WIDE = 15
LEVEL_STYLES = {Level.DANGER: "bold reverse red", Level.WARNING: "bold yellow", Level.CAUTION: "bold cyan"}
"""A sign and a word go with each: see `LEVEL_SIGNS`. Colours are the terminal's own sixteen."""


def torque_template(view: CoachView) -> str:
    """Return the widest torque figure that this wind can show, which sets the size of the digits."""
    unit, decimals = SHOWN[view.units]["torque"]
    most = 1.6 * view.plan.peak_torque_Nm / UNITS["torque"][unit]
    whole = len(str(int(max(most, 1.0))))
    return "-" + "8" * whole + "." + "8" * decimals


def torque_figure(view: CoachView) -> str:
    """Return the torque as digits, padded to the template; dashes where it is not live."""
    template = torque_template(view)
    torque_Nm = view.reading.torque_Nm
    if view.stale or torque_Nm is None:
        return template[1:].replace("8", "-").rjust(len(template))
    return _without_minus_nothing(shown_number(torque_Nm, "torque", view.units)).rjust(len(template))


def _without_minus_nothing(figure: str) -> str:
    """A figure that rounds to nothing has no sign."""
    return figure.lstrip("-") if figure.strip("-0.") == "" else figure


def phase_word(view: CoachView) -> str:
    """Return the phase in one word."""
    return PHASE_BLOCKS[view.phase]


def header(view: CoachView, trace_name: str | None, *, replaying: bool, frozen: bool) -> Text:
    """One line: link, meter, trace."""
    link = view.link
    parts = [f"meter {LINK_WORDS[link.state]}"]
    if link.port:
        parts.append(f"{link.meter or 'meter'} at {link.port}" if link.state == "up" else link.port)
    if link.lost_lines or link.bad_lines:
        parts.append(f"{link.lost_lines} lines lost, {link.bad_lines} damaged")
    if link.restarts:
        parts.append(f"meter restarted {link.restarts}×")
    if replaying:
        parts.append("REPLAY")
    if frozen:
        parts.append("FROZEN: z goes on")
    if trace_name:
        parts.append(f"saving {trace_name}")
    return Text(" · ".join(parts), style="reverse" if link.state != "up" else "", overflow="ellipsis", no_wrap=True)


def step_words(view: CoachView) -> Text:
    """Where the wind is: the steps, the present one marked."""
    text = Text(no_wrap=True, overflow="ellipsis")
    if view.phase not in STEPS:
        return text
    at = STEPS.index(view.phase)
    text.append(f"step {at + 1} of {len(STEPS)}\n", style="bold")
    if at + 1 < len(STEPS):
        text.append(f"then {PHASE_BLOCKS[STEPS[at + 1]].lower()}")
    return text


def prompt_words_of(view: CoachView) -> Text:
    """What to do now; without a meter, what to do about that."""
    link = view.link
    if view.summary is not None:
        return Text(_closing(view.summary), style="bold")
    if link.state in ("waiting", "down"):
        return Text(f"No meter: {link.reason or 'looking for one'}.", style="bold")
    return Text("" if view.prompt is None else view.prompt.text, style="bold")


def _closing(summary: Summary) -> str:
    return {
        "done": "Wound. Write the figures below on the motor's wrapper.",
        "broken": "The motor broke or came off. Clear the hook; mark the motor.",
        "stopped": "Stopped. Let the motor down with care before taking it off.",
        "lost": "The meter was lost. What was read is kept.",
    }[summary.outcome]


def alarm_line(view: CoachView, trouble: str | None) -> Text:
    """The alarm that matters most, with a sign, a word and how many more there are; else trouble with the trace."""
    if view.alarms:
        first = view.alarms[0]
        more = f"   (and {len(view.alarms) - 1} more)" if len(view.alarms) > 1 else ""
        return Text(f"{LEVEL_SIGNS[first.level]}  {first.text}{more}", style=LEVEL_STYLES[first.level])
    if trouble is not None:
        return Text(f"{LEVEL_SIGNS[Level.CAUTION]}  {trouble}", style=LEVEL_STYLES[Level.CAUTION])
    return Text("")


def gauge(view: CoachView, wide: int = GAUGE_WIDE) -> tuple[str, str]:
    """Return the rate gauge and the word for it. The band is the middle third, ═; the pointer is █."""
    rate, low, high = view.reading.torque_rate_Nm_per_s, view.targets.rate_low_Nm_per_s, view.targets.rate_high_Nm_per_s
    if low is None or high is None or high <= low:
        return "─" * wide, "no band"
    third = wide // 3
    scale = ["─"] * third + ["═"] * (wide - 2 * third) + ["─"] * third
    if rate is None or view.stale:
        return "".join(scale), "not known"
    place = third + (rate - low) / (high - low) * (wide - 2 * third - 1)
    scale[min(max(round(place), 0), wide - 1)] = "█"
    word = "too slow" if rate < low else "too fast" if rate > high else "moderate"
    return "".join(scale), "falling" if rate < min(low, 0.0) else word


def facts(view: CoachView) -> list[tuple[str, str]]:
    """The figures beside the torque: label and text, in a fixed order so that each keeps its place."""
    if view.summary is not None:
        return wrapper_rows(view, view.summary)
    reading, targets = view.reading, view.targets
    units = view.units
    scale, word = gauge(view)
    rising = None if view.stale else reading.torque_rate_Nm_per_s
    rate = "--".rjust(6) if rising is None else _signed(rising, units)
    turns = "--" if reading.turns is None else f"{reading.turns:.0f}"
    goal = "" if targets.turns is None else f" of {targets.turns:.0f}"
    crank = "--" if reading.crank_rev_per_s is None else f"{reading.crank_rev_per_s:4.1f} turns a second"
    standing = {True: "", False: ", standing", None: ", cannot tell"}[reading.cranking]
    return [
        ("goal", "--" if targets.torque_Nm is None else show(targets.torque_Nm, "torque", units)),
        ("stand at", _standing(view)),
        ("rate", f"{scale} {word}"),
        ("", f"{rate} {unit_label('torque', units)} a second"),
        ("turns", f"{turns}{goal}, {SOURCE_WORDS[reading.turns_source]}"),
        ("crank", f"{crank}{standing}"),
        ("break risk", "--" if reading.break_risk is None else f"{reading.break_risk:.1%}"),
    ]


def _standing(view: CoachView) -> str:
    wanted, at = view.targets.stand_at_m, view.reading.distance_m
    text = "--" if wanted is None else distance_words(wanted, view.units)
    return text if at is None else f"{text}, now {distance_words(at, view.units)}"


def _signed(torque_Nm: float, units: UnitSystem) -> str:
    figure = _without_minus_nothing(shown_number(torque_Nm, "torque", units))
    return (figure if figure.startswith("-") else f"+{figure}").rjust(6)


def wrapper_rows(view: CoachView, summary: Summary) -> list[tuple[str, str]]:
    """What to write on the motor's wrapper."""

    def torque(value_Nm: float | None) -> str:
        return "not known" if value_Nm is None else show(value_Nm, "torque", view.units)

    def turns(value: float | None) -> str:
        return "not counted" if value is None else f"{value:.0f} turns"

    off = summary.backed_off_turns
    return [
        ("peak", f"{torque(summary.peak_torque_Nm)}, {turns(summary.peak_turns)}"),
        (
            "backed off",
            "not counted" if off is None else f"{off:.0f} turns, {off / view.winder_ratio:.1f} of the crank",
        ),
        ("launch", f"{torque(summary.launch_torque_Nm)}, {turns(summary.launch_turns)}"),
        ("stored", "not known" if summary.energy_stored_J is None else f"{summary.energy_stored_J:.2f} J"),
        ("stalls", f"{summary.stalls}, {summary.stalled_s:.0f} s in all"),
        ("in the band", "not known" if summary.time_in_rate_band is None else f"{summary.time_in_rate_band:.0%}"),
        ("lines lost", str(summary.lost_lines)),
    ]


def facts_text(view: CoachView) -> Text:
    """The figures as lines of label and text."""
    text = Text(no_wrap=True, overflow="ellipsis")
    for number, (label, words) in enumerate(facts(view)):
        text.append("\n" if number else "")
        text.append(f"{label:<12}", style="dim")
        text.append(words)
    return text


def under_torque(view: CoachView) -> Text:
    """The unit of the digits, and the goal."""
    goal = view.targets.torque_Nm
    unit = unit_label("torque", view.units)
    if view.stale:
        return Text(f"{unit}   not live", style="bold")
    return Text(unit if goal is None else f"{unit}   goal {show(goal, 'torque', view.units)}")


def wants_cautions(view: CoachView) -> bool:
    """Whether no turn has been wound yet: the cautions stand where the chart will be."""
    return view.phase in (Phase.HOOK_UP, Phase.STRETCH_OUT) and view.summary is None


def cautions_text() -> Text:
    """The cautions."""
    text = Text()
    for number, line in enumerate(CAUTIONS):
        text.append(("\n" if number else "") + line, style="bold" if number == 0 else "")
    return text


def plain_lines(view: CoachView, trouble: str | None) -> Text:
    """All that matters in five plain lines, for a terminal too small for more."""
    unit = unit_label("torque", view.units)
    lines = [
        (f"{phase_word(view)}  {torque_figure(view).strip()} {unit}", "bold"),
        (prompt_words_of(view).plain, "bold"),
    ]
    text = Text()
    for line, style in lines:
        text.append(line + "\n", style=style)
    text.append_text(alarm_line(view, trouble))
    text.append(f"\n{LINK_WORDS[view.link.state]}; make the window larger for the chart\nq quit, s stop, t zero")
    return text
