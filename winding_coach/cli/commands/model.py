"""The models on the shelf: add, list, show, edit, retire.

example:
  winding-coach model add Thistledown --hooks '22 cm' --mass '1.2 g' --prop 'propeller 40 cm'
  winding-coach wind --motor th-07 --model Thistledown
"""

from __future__ import annotations

import argparse

from winding_coach.cli.args.kinds import MODEL
from winding_coach.cli.commands.records import add_jobs, run_job


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the jobs of `model`."""
    add_jobs(parser, MODEL)


def run(args: argparse.Namespace) -> int:
    """Do one job."""
    return run_job(args, MODEL)
