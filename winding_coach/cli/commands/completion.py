"""Print a script that lets the shell complete commands, options, files and the names on the shelf.

examples:
  winding-coach completion bash > ~/.local/share/bash-completion/completions/winding-coach
  winding-coach completion zsh > ~/.winding-coach.zsh    (and in ~/.zshrc: eval "$(cat ~/.winding-coach.zsh)")
  winding-coach completion fish > ~/.config/fish/completions/winding-coach.fish

It needs the extra 'completion' once, to make the script. Make it again after an update of the program.
"""

from __future__ import annotations

import argparse
from typing import Any

from winding_coach.app.problem import Problem
from winding_coach.cli import COMMANDS, parser_of
from winding_coach.cli.args.common import add_common_arguments, home_from

SHELLS = ("bash", "zsh", "fish")
KINDS = ("motor", "batch", "winder", "model", "person")
"""What has a name on the shelf, and commands and options of the same name."""
NAMED = {**{kind: kind for kind in KINDS}, "lesson": "lesson", "script": "script", "sim_script": "script"}
"""Options whose values have names, by destination, and where the names are from."""
FILES = ("FILE", "TRACE", "FILE.html")
FOLDERS = ("DIR", "FOLDER")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of `completion`."""
    parser.add_argument("shell", metavar="SHELL", nargs="?", choices=SHELLS, help=f"one of {', '.join(SHELLS)}")
    kinds = (*KINDS, "lesson", "script", "port")
    words = f"the names of a kind, one per line: {', '.join(kinds)}"
    parser.add_argument("--names", choices=kinds, metavar="KIND", help=words)
    add_common_arguments(parser)


def run(args: argparse.Namespace) -> int:
    """Print the script of a shell, or the names that it asks for."""
    if args.names is not None:
        for name in names_of(args.names, args):
            print(name)
        return 0
    print(script_for(args.shell or "bash"))
    return 0


def names_of(kind: str, args: argparse.Namespace) -> list[str]:
    """Return what may be typed after an option of this kind. Trouble with the shelf gives no names: a shell waits."""
    if kind == "lesson":
        from winding_coach.simulator.lessons import LESSONS

        return [lesson.name for lesson in LESSONS]
    if kind == "script":
        from winding_coach.simulator.hands import STYLES

        return list(STYLES)
    if kind == "port":
        from winding_coach.live.sources.ports import list_ports

        return ["auto", "sim", *(port.device for port in list_ports() if port.likely)]
    from winding_coach.app.shelving import shelf_at, shelf_file
    from winding_coach.shelf import records

    record = {kind: getattr(records, kind.title()) for kind in KINDS}[kind]
    try:
        home = home_from(args)
        if not shelf_file(home).exists():
            return []
        with shelf_at(home, reading=True) as shelf:
            return [found.name for found in shelf.all(record)]
    except Problem:
        return []


def script_for(shell: str) -> str:
    """Return the script of a shell.

    Raises:
        Problem: the library that makes it is not there.
    """
    try:
        import shtab
    except ImportError:
        raise Problem(
            "The script is made by the extra 'completion': pip install 'winding-coach[completion]'."
        ) from None
    parser = whole_parser()
    _mark(parser, shtab, None)
    return str(shtab.complete(parser, shell))


def whole_parser() -> argparse.ArgumentParser:
    """Return one parser with every command below it."""
    parser = argparse.ArgumentParser(prog="winding-coach")
    parser.add_argument("--version", action="store_true", help="the program's version")
    commands = parser.add_subparsers(metavar="COMMAND")
    for name, job in COMMANDS.items():
        below = parser_of(name)
        commands.add_parser(name, help=job, parents=[below], add_help=False, description=job)
    return parser


def _mark(parser: argparse.ArgumentParser, shtab: Any, command: str | None) -> None:
    """Tell the library of every option and argument what its values are, where that is not told by its choices."""
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for name, below in action.choices.items():
                _mark(below, shtab, command or name)
            continue
        of_shelf = command if command in KINDS and action.dest == "name" else None
        kind = of_shelf or NAMED.get(action.dest) or ("port" if action.metavar == "PORT" else None)
        if action.choices is not None or action.nargs == 0:
            continue
        if kind is not None:
            action.complete = shtab.cmd(f"winding-coach completion --names {kind}")  # type: ignore[attr-defined]
        elif action.metavar in FILES:
            action.complete = shtab.FILE  # type: ignore[attr-defined]
        elif action.metavar in FOLDERS:
            action.complete = shtab.DIRECTORY  # type: ignore[attr-defined]
