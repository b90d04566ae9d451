"""`winding-coach COMMAND`: one module a command, imported only when it is the one that was asked for.

Exit status: 0 done, 1 the work failed (one line on stderr), 2 wrong usage.
"""

from __future__ import annotations

import argparse
import importlib
import os
import sys
from pathlib import Path
from types import ModuleType
from typing import Any, NoReturn

from winding_coach import __version__
from winding_coach.app.fault import fault_told, keep_fault
from winding_coach.app.problem import Problem
from winding_coach.cli.args.common import folder_from
from winding_coach.cli.output.help_lines import HelpLines
from winding_coach.cli.output.log_file import end_log, start_log
from winding_coach.cli.output.plain import plain_output

COMMANDS = {
    "wind": "coach a live wind from a torque meter",
    "unwind": "let a wound motor down on the meter and count the turns left",
    "practice": "the same screen, with a simulated motor and meter driven by the keyboard",
    "replay": "run a saved wind through the same coach",
    "watch": "a second screen, read-only, in a terminal or a browser",
    "plan": "the winding plan of a motor",
    "cut": "how wide and how long to cut the strip of a motor; a kit around an optimum",
    "review": "what happened in a wind, in several, in a season; pages and pictures",
    "flight": "log a flight after a wind: duration, turns left, height, remarks",
    "advise": "what to change next, from logged winds and flights",
    "motor": "the shelf's motors: add, list, show, edit, retire; labels to print",
    "batch": "the shelf's batches of rubber, and what logged winds show about them",
    "winder": "the shelf's winders",
    "model": "the shelf's models",
    "person": "the shelf's people; a nickname is enough",
    "shelf": "all winds: list, season, notes; rebuild, recompute, check",
    "invent": "an invented season in an empty folder, to try the shelf on",
    "export": "winds and flights as CSV or Parquet, for other software",
    "import": "another folder's winds and shelf, without duplicates",
    "backup": "a verified copy of all data",
    "meter": "find, test, calibrate or simulate a meter",
    "ready": "what works here: ports, meter, terminal, sound, data folder, and what to do",
    "report-fault": "one file of what helps to find a fault of the program",
    "completion": "shell completion of commands, options and names",
}
"""Each command's name and job, in the order of the help. A module of the same name has
`add_arguments(parser)` and `run(args) -> int`; its docstring opens the command's help."""
GROUPS = (
    ("wind", ("wind", "unwind", "practice", "replay", "watch")),
    ("before and after", ("plan", "cut", "review", "flight", "advise")),
    ("the shelf", ("motor", "batch", "winder", "model", "person", "shelf", "invent", "export", "import", "backup")),
    ("meter and computer", ("meter", "ready", "report-fault", "completion")),
)
"""Headings of the help, and the commands under each."""
MODULES = {"import": "import_", "report-fault": "report_fault"}
"""Modules that cannot have their command's name."""

ANYWHERE = ("--home", "--units", "--log")
"""Options that people type before the command too."""

BEGIN = """to begin, without a meter:
  winding-coach wind --port sim    watch a simulated wind being coached
  winding-coach practice           wind one yourself, by the keyboard
  winding-coach review             what happened in it
  winding-coach plan --loop "30 cm" --mass "1.40 g" --hooks "22 cm"    a plan for a motor of your own"""

CAUTION = (
    "A stretched, wound motor can hurt eyes and hands: wear eye protection, keep within the ratings of\n"
    "winder and hooks, keep bystanders and children out of the motor's line. Local rules and the adult in\n"
    "charge come first."
)


class Parser(argparse.ArgumentParser):
    """A parser whose errors are one sentence, like all others; what there is to type, `--help` tells."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """Options are never abbreviated: `--winder` was taken for `--winder-limit`."""
        super().__init__(*args, **(kwargs | {"allow_abbrev": False}))

    def error(self, message: str) -> NoReturn:
        """Tell what is wrong with the words, and end."""
        if message.endswith("expected one argument"):
            message += " (one that begins with a dash is taken for an option)"
        self.exit(2, f"{self.prog}: {printable(message).removesuffix('.')}; '{self.prog} --help' shows what to type.\n")


def _overview() -> argparse.ArgumentParser:
    jobs = "\n\n".join(
        "\n".join([f"{heading}:", *(f"  {name:<14}{COMMANDS[name]}" for name in names)]) for heading, names in GROUPS
    )
    parser = Parser(
        prog="winding-coach",
        formatter_class=HelpLines,
        description="A live coach for winding rubber motors: reads a torque meter, says what to do, keeps a trace.",
        epilog=f"{jobs}\n\n{BEGIN}\n\nwinding-coach COMMAND --help shows more, with an example.\n\n{CAUTION}",
        usage="winding-coach COMMAND [options]",
    )
    parser.add_argument("--version", action="version", version=f"winding-coach {__version__}")
    return parser


def _module_of(name: str) -> ModuleType:
    return importlib.import_module(f"winding_coach.cli.commands.{MODULES.get(name, name)}")


def parser_of(name: str) -> argparse.ArgumentParser:
    """Return the parser of one command; it is also what the reference and the shells' completion are made from."""
    module = _module_of(name)
    about, _, more = str(module.__doc__).partition("\n\n")
    parser = Parser(
        prog=f"winding-coach {name}",
        formatter_class=HelpLines,
        description=about,
        epilog=more,
    )
    module.add_arguments(parser)
    return parser


def main(argv: list[str] | None = None) -> int:
    """Run one command and return the exit status. Nothing but the interpreter's own exits is raised."""
    with plain_output():
        return _main(argv)


def _command_first(words: list[str]) -> list[str]:
    """Put what is typed `ANYWHERE` after the command, where they are read, if they were typed before it."""
    given: list[str] = []
    while words and words[0].partition("=")[0] in ANYWHERE:
        count = 1 if "=" in words[0] else 2
        given += words[:count]
        words = words[count:]
    return [*words, *given] if words else given


def _main(argv: list[str] | None) -> int:
    words = _command_first(sys.argv[1:] if argv is None else argv)
    overview = _overview()
    if not words or words[0].startswith("-"):
        overview.parse_args(words)
        overview.print_help()
        return 2
    name = words[0]
    if name not in COMMANDS:
        overview.error(f"there is no command '{printable(name)}': choose one of {', '.join(COMMANDS)}.")
    module = _module_of(name)
    args = parser_of(name).parse_args(words[1:])
    log = None
    try:
        if getattr(args, "log", None) is not None:
            log = start_log(Path(args.log).expanduser(), words)
        status: int = module.run(args)
        sys.stdout.flush()
        return status
    except Problem as problem:
        print(f"winding-coach {name}: {printable(str(problem))}", file=sys.stderr)
        return problem.exit_status
    except OSError as error:
        if not _reader_gone(error):
            return _faulty(name, args, error)
        # The interpreter must not flush into the void at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1
    except KeyboardInterrupt:
        return 1
    except Exception as fault:  # No one outside can do anything with a traceback; it is kept for who can.
        return _faulty(name, args, fault)
    finally:
        if log is not None:
            end_log(log)


def _faulty(name: str, args: argparse.Namespace, fault: Exception) -> int:
    kept = keep_fault(folder_from(args), f"winding-coach {name}", fault)
    print(f"winding-coach {name}: {printable(fault_told(fault, kept=kept))}", file=sys.stderr)
    return 1


def _reader_gone(error: OSError) -> bool:
    """Whether nobody takes our output any more: `| head` has enough (a closed pipe), a terminal hung up."""
    if isinstance(error, BrokenPipeError):
        return True
    try:
        sys.stdout.flush()
    except OSError:
        return True
    return False


def printable(text: str) -> str:
    """Return `text` with every control character replaced, so that a name cannot drive the terminal."""
    return "".join(c if c.isprintable() else "?" for c in text)
