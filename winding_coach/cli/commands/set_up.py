"""Set-up before the first wind: asked on the screen, kept in the settings."""

from __future__ import annotations

import argparse
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from winding_coach.app.figures import RATIOS
from winding_coach.app.home import Home
from winding_coach.base.units import QuantityError, UnitSystem, parse_number, parse_quantity
from winding_coach.cli.args.from_shelf import tell
from winding_coach.cli.args.plain_port import wrong_crank_port
from winding_coach.cli.args.settings import PACES_M, TAPES_M, drawn_from, save_settings

if TYPE_CHECKING:
    from winding_coach.screen.set_up import Question

USUAL_STEPS = "usual"
LENGTHS = {
    "hooks": (0.001, 10.0, "Type the distance between the model's hooks, as in 22 cm."),
    "step_length": (
        *TAPES_M,
        "Type the length of a pace, or from tape mark to tape mark, as in 70 cm.",
    ),
    "read_from": (0.2, 20.0, "Type from how far you read the screen, as in 3 m."),
}
"""Answers that are lengths: from, to (m), and what is said else."""


def wants_set_up(args: argparse.Namespace, home: Home) -> bool:
    """Whether to ask first: never asked yet, the winder's ratio is not given either, and a real meter is meant."""
    return not home.settings and args.ratio is None and args.port != "sim"


def wrong_answers(answers: Mapping[str, str]) -> dict[str, str]:
    """Return a sentence for each answer that cannot be used."""
    wrong = {}
    try:
        ratio = parse_number(answers["ratio"].strip().removesuffix(":1"))
    except ValueError:
        ratio = 0.0
    if not RATIOS[0] <= ratio <= RATIOS[1]:
        wrong["ratio"] = "Type how many turns the motor gets for one crank turn, as in 10."
    for name, (low, high, sentence) in LENGTHS.items():
        if not answers.get(name):
            continue
        if name == "step_length" and answers.get("steps") == "paces":
            low = PACES_M[0]
        try:
            if not low <= parse_quantity(answers[name], "length", _units(answers)) <= high:
                wrong[name] = sentence
        except QuantityError as error:
            wrong[name] = str(error)
    wrong_port = wrong_crank_port(answers.get("crank_port", ""), answers["port"])
    if wrong_port is not None:
        wrong["crank_port"] = wrong_port
    if len(answers["person"]) > 40 or not answers["person"].isprintable():
        wrong["person"] = "A nickname of at most 40 letters is enough."
    return wrong


def _units(answers: Mapping[str, str]) -> UnitSystem:
    return "inch" if answers["units"] == "inch" else "metric"


def kept_answers(answers: Mapping[str, str]) -> dict[str, str]:
    """Return the answers as settings: lengths with a unit, so that another unit system does not change them.

    What was left empty stays empty, which takes an earlier answer out.
    """
    kept = dict(answers)
    for name in LENGTHS:
        if kept.get(name):
            kept[name] = f"{parse_quantity(answers[name], 'length', _units(answers)) * 1e3:.6g} mm"
    steps, length = kept.pop("steps", USUAL_STEPS), kept.pop("step_length", "")
    kept["steps"] = "" if steps == USUAL_STEPS else steps
    kept["pace"] = length if steps == "paces" else ""
    kept["tape"] = length if steps == "tape" else ""
    return kept


def ask(home: Home) -> Home:
    """Ask on the screen and keep the answers; a person who skips is asked again next time.

    Raises:
        Problem: the settings cannot be written.
    """
    from winding_coach.live.sources.ports import list_ports
    from winding_coach.screen.set_up import SetUpApp

    seen = [(port.device, f"{port.device}  {port.description}".strip()) for port in list_ports() if port.likely]
    answers = SetUpApp(questions(home.settings, seen), wrong_answers, drawn_from(home)).run()
    if answers is None:
        return home
    kept = save_settings(home, kept_answers(answers))
    # A motor may be asked for next, in words that sounded as if nothing had been saved.
    tell(["Your answers are saved; 'winding-coach wind --set-up' asks again."])
    return kept


def questions(settings: Mapping[str, object], seen: Sequence[tuple[str, str]]) -> tuple[Question, ...]:
    """Return what is asked, with the answers so far. seen: ports that are likely a meter, and their words."""
    from winding_coach.screen.set_up import Question

    def known(name: str, usual: str) -> str:
        value = settings.get(name, usual)
        return value if isinstance(value, str) else usual

    ports = (("auto", "the first meter found"), *seen[:4], ("sim", "none yet: a simulated one"))
    steps = (
        (USUAL_STEPS, "metres or inches"),
        ("feet", "feet and inches"),
        ("paces", "paces"),
        ("tape", "tape marks on the floor"),
    )
    sounds = (("auto", "a tone, or the terminal's bell"), ("bell", "only the bell"), ("off", "none"))
    return (
        Question("units", "units", "", known("units", "metric"), (("metric", "cm, mN·m"), ("inch", "in, ozf·in"))),
        Question("ratio", "winder's ratio", "motor turns for one crank turn, as in 10", known("ratio", "10")),
        Question("hooks", "model's hook distance", "as in 22 cm; may stay empty", known("hooks", "")),
        Question("port", "meter", "", known("port", "auto"), ports),
        Question(
            "crank_port",
            "crank sender's port",
            "as in socket://192.168.4.2:7008; may stay empty",
            known("crank_port", ""),
        ),
        Question("person", "person winding", "a nickname is enough; may stay empty", known("person", "")),
        Question("steps", "positions given in", "", known("steps", USUAL_STEPS), steps),
        Question(
            "step_length",
            "a pace, or tape to tape",
            "as in 70 cm; empty: 70 cm, or tape by the plan",
            known("pace", "") or known("tape", ""),
        ),
        Question("read_from", "screen is read from", "as in 3 m; may stay empty", known("read_from", "")),
        Question("sound", "sound", "", known("sound", "auto"), sounds),
    )
