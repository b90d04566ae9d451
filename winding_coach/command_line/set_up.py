"""Set-up before the first wind: asked on the screen, kept in the settings, filled in where an option is missing."""

from __future__ import annotations

import argparse
import json
import os
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from winding_coach.command_line.figures import RATIOS
from winding_coach.command_line.home import SETTINGS_FILE, Home
from winding_coach.command_line.problem import Problem
from winding_coach.units import QuantityError, UnitSystem, parse_quantity

if TYPE_CHECKING:
    from winding_coach.screen.legible import Eyes

FILLED_IN = ("ratio", "hooks", "port", "person")
"""Options that the settings of the same name stand in for."""


def fill_in(args: argparse.Namespace, home: Home) -> None:
    """Set the options that were not given to what the settings say.

    Raises:
        Problem: a setting is not text.
    """
    for name in FILLED_IN:
        kept = home.settings.get(name)
        if getattr(args, name, None) is None and kept not in (None, ""):
            if not isinstance(kept, str):
                raise Problem(f"The settings in '{home.folder}' name {name} {kept!r}: write it as text, in quotes.")
            setattr(args, name, kept)


def eyes_from(home: Home) -> Eyes:
    """Return from where the screen is read, and the height of its glass: the settings `read_from` and `screen_height`.

    Raises:
        Problem: one of them is no length above zero.
    """
    from winding_coach.screen.legible import Eyes

    usual = Eyes()
    lengths = {"read_from": usual.distance_m, "screen_height": usual.screen_m}
    for name in lengths:
        kept = home.settings.get(name)
        if kept is None:
            continue
        try:
            lengths[name] = parse_quantity(kept, "length") if isinstance(kept, str) else 0.0
        except QuantityError:
            lengths[name] = 0.0
        if not lengths[name] > 0.0:
            raise Problem(
                f"The settings in '{home.folder}' name {name} {kept!r}: write a length in quotes, as \"3 m\"."
            )
    return Eyes(lengths["read_from"], lengths["screen_height"])


def wants_set_up(args: argparse.Namespace, home: Home) -> bool:
    """Whether to ask first: never asked yet, and the winder's ratio is not given either."""
    return not home.settings and args.ratio is None


def wrong_answers(answers: Mapping[str, str]) -> dict[str, str]:
    """Return a sentence for each answer that cannot be used."""
    wrong = {}
    try:
        ratio = float(answers["ratio"].removesuffix(":1"))
    except ValueError:
        ratio = 0.0
    if not RATIOS[0] <= ratio <= RATIOS[1]:
        wrong["ratio"] = "Type how many turns the motor gets for one turn of the crank, as in 10."
    if answers["hooks"]:
        try:
            if not 0 < parse_quantity(answers["hooks"], "length", _units(answers)) < 10:
                wrong["hooks"] = "Type the distance between the model's hooks, as in 22 cm."
        except QuantityError as error:
            wrong["hooks"] = str(error)
    if len(answers["person"]) > 40 or not answers["person"].isprintable():
        wrong["person"] = "A nickname of at most 40 letters is enough."
    return wrong


def _units(answers: Mapping[str, str]) -> UnitSystem:
    return "inch" if answers["units"] == "inch" else "metric"


def kept_answers(answers: Mapping[str, str]) -> dict[str, str]:
    """Return the answers as they are kept: lengths with a unit, so that another unit system does not change them."""
    kept = {name: value for name, value in answers.items() if value}
    if kept.get("hooks"):
        metres = parse_quantity(kept["hooks"], "length", _units(answers))
        kept["hooks"] = f"{metres * 1e3:.6g} mm"
    return kept


def save_settings(home: Home, changed: Mapping[str, str]) -> Home:
    """Write the settings with some changed, whole or not at all; return the home with them.

    Raises:
        Problem: they cannot be written.
    """
    settings = home.settings | dict(changed)
    file = home.folder / SETTINGS_FILE
    fresh = Path(f"{file}.new")
    try:
        home.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        with open(fresh, "w", encoding="utf-8") as opened:
            json.dump(settings, opened, ensure_ascii=False, indent=1)
            opened.write("\n")
            opened.flush()
            os.fsync(opened.fileno())
        fresh.replace(file)
    except OSError as error:
        raise Problem(
            f"The settings cannot be written to '{file}' ({error.strerror}): name a folder with --home."
        ) from None
    return Home(home.folder, settings)


def ask(home: Home) -> Home:
    """Ask on the screen and keep the answers; a person who skips is asked again next time.

    Raises:
        Problem: the settings cannot be written.
    """
    from winding_coach.screen.set_up import Question, SetUpApp
    from winding_coach.screen.terminal import drawing
    from winding_coach.sources.ports import list_ports

    def known(name: str, usual: str) -> str:
        value = home.settings.get(name, usual)
        return value if isinstance(value, str) else usual

    seen = [(port.device, f"{port.device}  {port.description}".strip()) for port in list_ports() if port.likely]
    ports = (("auto", "the first meter found"), *seen[:4], ("sim", "none yet: a simulated one"))
    questions = (
        Question("units", "units", "", known("units", "metric"), (("metric", "cm, mN·m"), ("inch", "in, ozf·in"))),
        Question(
            "ratio", "winder's ratio", "turns of the motor for one turn of the crank, as in 10", known("ratio", "10")
        ),
        Question("hooks", "model's hook distance", "as in 22 cm; may stay empty", known("hooks", "")),
        Question("port", "meter", "", known("port", "auto"), ports),
        Question("person", "who winds", "a nickname is enough; may stay empty", known("person", "")),
    )
    answers = SetUpApp(questions, wrong_answers, drawing()).run()
    return home if answers is None else save_settings(home, kept_answers(answers))
