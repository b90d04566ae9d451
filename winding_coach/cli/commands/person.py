"""The people on the shelf: add, list, show, edit, retire.

example:
  winding-coach person add Wren
  winding-coach wind --motor th-07 --person Wren

A nickname is enough. Of children keep no more than that: no family names, ages, schools or pictures. What is kept
stays in the data folder of this computer, for its user's eyes only; a trace holds the nickname too.
"""

from __future__ import annotations

import argparse

from winding_coach.cli.args.kinds import PERSON
from winding_coach.cli.commands.records import add_jobs, run_job


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the jobs of `person`."""
    add_jobs(parser, PERSON)


def run(args: argparse.Namespace) -> int:
    """Do one job."""
    return run_job(args, PERSON)
