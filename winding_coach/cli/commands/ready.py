"""What works here, before you need it: data folder, ports, meter, calibration, terminal, sound, extras.

It opens the port of a meter that it finds and listens for some seconds; otherwise it changes nothing.
A line says `works`, `fix` (it must be put right) or `without` (you can do without), and what to do.

examples:
  winding-coach ready
  winding-coach ready --meter /dev/ttyACM0
  winding-coach ready --meter none --json
"""

from __future__ import annotations

import argparse
import json
from dataclasses import asdict

from winding_coach.app.problem import Problem
from winding_coach.app.readiness import Finding, findings_at
from winding_coach.app.typed import number
from winding_coach.cli import printable
from winding_coach.cli.args.common import add_common_arguments, folder_from, home_from

HINT_AT = 9
_SHOWN = {"mend": "fix"}
"""States that are shown in another word than the one of the JSON."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of `ready`."""
    parser.add_argument("--meter", default="auto", metavar="PORT", help="auto, a device, a URL, or none to try (auto)")
    parser.add_argument("--seconds", default="2", metavar="S", help="how long to listen to the meter (2)")
    parser.add_argument("--json", action="store_true", help="one JSON object")
    add_common_arguments(parser)


def run(args: argparse.Namespace) -> int:
    """Say what works here; return 1 if something has to be mended."""
    seconds = number("--seconds", args.seconds, 0.2, 60)
    folder = folder_from(args)
    try:
        home_from(args)
        spoilt = None
    except Problem as problem:
        spoilt = str(problem)
    findings = findings_at(folder, spoilt, args.meter, seconds)
    to_mend = [finding for finding in findings if finding.state == "mend"]
    if args.json:
        print(json.dumps({"ready": not to_mend, "findings": [asdict(one) for one in findings]}, ensure_ascii=False))
    else:
        print(as_text(findings))
    return 1 if to_mend else 0


def as_text(findings: list[Finding]) -> str:
    """Return the findings as lines for a terminal, what to do under each, and a verdict."""
    lines = []
    for finding in findings:
        lines.append(
            f"{_SHOWN.get(finding.state, finding.state):<{HINT_AT}}{finding.name:<13}{printable(finding.found)}"
        )
        if finding.do:
            lines.append(f"{'':<{HINT_AT}}{'':<13}{printable(finding.do)}")
    names = [finding.name for finding in findings if finding.state == "mend"]
    have = {finding.name for finding in findings if finding.state == "works"}
    if names:
        verdict = f"Fix first: {', '.join(names)}."
    elif {"meter", "calibration"} <= have:
        verdict = "Ready to wind: winding-coach wind"
    else:
        verdict = "Ready to practise: winding-coach practice. A wind with a meter needs the meter and its calibration."
    return "\n".join([*lines, "", verdict])
