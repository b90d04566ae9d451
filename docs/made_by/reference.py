"""Makes docs/reference/reference.md from the code: commands, events, files. Running this file writes it anew."""

from __future__ import annotations

import argparse
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import TypeAlias

from winding_coach.app.batches import BATCHES_FOLDER
from winding_coach.app.fault import FAULT_FILE
from winding_coach.app.home import CALIBRATION_FILE, SETTINGS_FILE, TRACES_FOLDER
from winding_coach.app.progress import PROGRESS_FILE
from winding_coach.base.inputs import KEYS
from winding_coach.base.wind_values import VALUES
from winding_coach.cli import COMMANDS, parser_of
from winding_coach.cli.commands.calibrate import FOLDER as CALIBRATIONS_FOLDER
from winding_coach.coach import wording
from winding_coach.coach.alarms import RULES
from winding_coach.coach.said import (
    ALARMS,
    PROMPTS,
    Alarm,
    Level,
    LinkSaid,
    Phase,
    PhaseSaid,
    Prompt,
    ReadingSaid,
    Said,
    Summary,
)
from winding_coach.shelf.store import SHELF_FILE

Group: TypeAlias = tuple[str, tuple[tuple[str, str], ...]]
"""Options under one title, each as typed and what it is."""
PAGE = Path(__file__).parents[1] / "reference" / "reference.md"
FILES = {
    f"{TRACES_FOLDER}/": "one file a wind, `DATE-TIME-MOTOR.wind.jsonl`; the record of everything, never changed",
    SHELF_FILE: "the shelf: motors, batches, winders, models, people, flights, remarks, and an index of the traces",
    CALIBRATION_FILE: "the meter's calibration, taken where none is named",
    f"{CALIBRATIONS_FOLDER}/": "the calibrations before it",
    f"{BATCHES_FOLDER}/": "what was learned of each batch of rubber",
    PROGRESS_FILE: "who has practised which lesson, and how well",
    FAULT_FILE: "the last fault of the program itself, for `report-fault`",
    SETTINGS_FILE: "what stands in for options that are not given",
}
"""What is kept in the folder of the data, and for what."""
SETTINGS = {
    "units": "`metric` or `inch`",
    "ratio": "of the winder: turns of the motor for one of the crank",
    "hooks": "distance between the model's hooks",
    "port": "where the meter is: `auto`, a device, a URL, `sim`",
    "crank_port": "where a crank sender is: a device, or `socket://ADDRESS:7008`",
    "person": "who winds",
    "steps": "unit in which you are told where to stand",
    "pace": "length of a pace",
    "tape": "distance of the tape marks on the floor, or `plan`",
    "read_from": "from how far the screen is read",
    "screen_height": "height of the screen's glass",
    "characters": "what the screen draws with",
    "sound": "`off`, `bell`, `tone` or `auto`",
    "speech": "`on` or `off`",
}
"""Names in the settings file, all text."""


def page() -> str:
    """Return the whole page."""
    parts = [
        "# Reference",
        "Made from the code by `python docs/made_by/reference.py`; a test fails when it is out of date. What formats"
        " promise is in [interfaces.md](../interfaces.md).",
        "Exit status of every command: 0 done, 1 the work failed or something is wrong (one line on stderr says what to"
        " do), 2 wrong usage.",
        "## Commands",
        table(("command", "job"), [(f"[`{name}`](#{name})", job) for name, job in COMMANDS.items()]),
    ]
    parsers = {name: parser_of(name) for name in COMMANDS}
    shared = shared_groups(parsers.values())
    for name, parser in parsers.items():
        parts += command(f"winding-coach {name}", parser, 3, shared)
    parts.append("## Options that several commands share")
    for title, rows in shared:
        parts += [f"### {title[0].upper()}{title[1:]}", table(("option", "what it is"), list(rows))]
    parts += ["## Events", *events(), "## Files", *files()]
    return "\n\n".join(parts) + "\n"


def table(heads: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> str:
    """Return a table."""
    lines = [heads, tuple("---" for _ in heads), *rows]
    return "\n".join(f"| {' | '.join(cell.replace('|', chr(92) + '|') for cell in line)} |" for line in lines)


def jobs_of(parser: argparse.ArgumentParser) -> dict[str, argparse.ArgumentParser]:
    """The jobs below a command, by name."""
    found = (action.choices for action in parser._actions if isinstance(action, argparse._SubParsersAction))
    return dict(next(found, {}))


def groups_of(parser: argparse.ArgumentParser) -> list[Group]:
    """The options of a parser by group: title and rows."""
    found = []
    for group in parser._action_groups:
        rows = tuple(
            (f"`{typed(action)}`", plain(action))
            for action in group._group_actions
            if action.dest != "help"
            and action.help != argparse.SUPPRESS
            and not isinstance(action, argparse._SubParsersAction)
        )
        if rows:
            found.append((str(group.title), rows))
    return found


def shared_groups(parsers: Iterable[argparse.ArgumentParser]) -> list[Group]:
    """Groups of options that are the same in several commands, in the order in which they are first met."""
    everything = [below for parser in parsers for below in (parser, *jobs_of(parser).values())]
    count = Counter(group for parser in everything for group in groups_of(parser))
    plain_titles = ("positional arguments", "options")
    return [group for group, times in count.items() if times > 1 and group[0] not in plain_titles]


def command(name: str, parser: argparse.ArgumentParser, depth: int, shared: list[Group]) -> Iterator[str]:
    """A command's part of the page, and those of the jobs below it."""
    yield f"{'#' * depth} {name.removeprefix('winding-coach ')}"
    yield str(parser.description).strip()
    groups = groups_of(parser)
    rows = [row for group in groups if group not in shared for row in group[1]]
    if rows:
        yield table(("option", "what it is"), rows)
    elsewhere = [f"[{group[0]}](#{anchor(group[0])})" for group in groups if group in shared]
    if elsewhere:
        yield f"And {', '.join(elsewhere)}."
    found = re.search(r"examples?:\n((?:  .*\n?)+)", parser.epilog or "")
    if found:
        yield f"```\n{found[1].replace(chr(10) + '  ', chr(10)).strip()}\n```"
    for job, below in jobs_of(parser).items():
        yield from command(f"{name} {job}", below, depth + 1, shared)


def anchor(title: str) -> str:
    """How a heading is linked to."""
    return re.sub(r"[^a-z0-9 -]", "", title.lower()).replace(" ", "-")


def typed(action: argparse.Action) -> str:
    """How an option or argument is typed."""
    value = action.metavar or (
        f"{{{','.join(map(str, action.choices))}}}" if action.choices is not None else action.dest.upper()
    )
    value = str(value)
    if action.nargs in ("?", "*", "+"):
        value = f"[{value}{' …' if action.nargs != '?' else ''}]"
    if not action.option_strings:
        return value
    return action.option_strings[-1] + ("" if action.nargs == 0 else f" {value}")


def plain(action: argparse.Action) -> str:
    """What an option is, in a line."""
    return " ".join(str(action.help or "").replace("%%", "%").split())


def events() -> Iterator[str]:
    """What the coach says, with every code."""
    yield "With `--headless --json` one object a line; `at_s` is seconds since the trace began, `null` is not known."
    said: tuple[Said, ...] = (
        LinkSaid(0.0, "up"),
        PhaseSaid(0.0, Phase.SET_ZERO),
        Prompt(0.0, PROMPTS[0], "", 1.0, 1.0, 1.0),
        Alarm(0.0, "overwind_soon", Level.WARNING, active=True, text=""),
        ReadingSaid(0.0),
        Summary(0.0, "done"),
    )
    rows = []
    for one in said:
        event, _, *fields = one.as_json()
        about = " ".join(str(one.__doc__).split()).replace(" figures: no JSON.", "").split(" The last three")[0]
        rows.append((f"`{one.as_json()[event]}`", ", ".join(f"`{field}`" for field in fields), about))
    yield table(("event", "fields beside `event` and `at_s`", "what it is"), rows)
    phases = [(f"`{phase}`", wording.PHASE_WORDS.get(phase, "")) for phase in Phase]
    yield table(("phase", "in words"), phases)
    yield table(("prompt", "in words"), [(f"`{code}`", words_of(code, wording._PROMPT_WORDS)) for code in PROMPTS])
    rows = []
    for code in ALARMS:
        rules = [rule for rule in RULES if rule.code == code]
        levels = ", ".join(dict.fromkeys(str(rule.level) for rule in rules))
        at = {str(phase) for rule in rules for phase in rule.phases}
        phase_words = "any" if len(at) >= len(Phase) - 3 else ", ".join(str(one) for one in Phase if str(one) in at)
        rows.append((f"`{code}`", levels, phase_words, words_of(code, wording._ALARM_WORDS)))
    yield table(("alarm", "level", "phases", "in words"), rows)
    yield f"Keys, as lines on stdin or pressed on the screen: {', '.join(f'`{key}`' for key in KEYS)}."
    yield "### Values of a wind"
    yield (
        "In the summary, on the shelf and in what is exported (there torque is in N·m). What a trace of before does not"
        " have, `replay --check` does not compare and `shelf recompute` fills in."
    )
    rows = [(f"`{one.key}`", one.unit, one.what + (", where known" if one.where_known else "")) for one in VALUES]
    yield table(("value", "unit", "what it is"), rows)


def words_of(code: str, patterns: dict[str, str]) -> str:
    """The words of a code, with … where a figure stands."""
    return re.sub(r"(\{[^}]*\}[ ]?)+\.?", "… ", patterns[code]).replace("… ;", "…;").replace("… ,", "…,").strip()


def files() -> Iterator[str]:
    """What is kept, and the settings."""
    yield (
        "In the folder of the data (`--home`, else `$WINDING_COACH_HOME`, else the platform's own;"
        " `winding-coach ready` names it):"
    )
    yield table(("file", "what it holds"), [(f"`{name}`", about) for name, about in FILES.items()])
    yield f"Names in `{SETTINGS_FILE}`, a JSON object of text; `wind --set-up` asks for most:"
    yield table(("setting", "what it is"), [(f"`{name}`", about) for name, about in SETTINGS.items()])


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
