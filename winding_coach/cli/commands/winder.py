"""The winders on the shelf: add, list, show, edit, retire.

example:
  winding-coach winder add ten --ratio 10 --limit '50 mN.m'
  winding-coach wind --motor th-07 --winder ten

The limit is what its maker rates it for: a wind warns before it.
"""

from __future__ import annotations

import argparse

from winding_coach.cli.args.kinds import WINDER
from winding_coach.cli.commands.records import add_jobs, run_job


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the jobs of `winder`."""
    add_jobs(parser, WINDER)


def run(args: argparse.Namespace) -> int:
    """Do one job."""
    return run_job(args, WINDER)
