"""`meter conform`: check a meter against the line protocol, for firmware authors; each fault is named."""

from __future__ import annotations

import argparse
import json
import time
from dataclasses import asdict
from typing import TYPE_CHECKING

from winding_coach.app.home import Home
from winding_coach.app.problem import Problem, UsageProblem
from winding_coach.app.typed import number
from winding_coach.base.units import UnitSystem
from winding_coach.cli import printable
from winding_coach.cli.args.common import add_common_arguments
from winding_coach.cli.args.plain_port import real_port

if TYPE_CHECKING:
    from winding_coach.meter.commissioning.conforming import Conformance

SHORTEST_S, LONGEST_S = 1.0, 3600.0
ASK_AT_SHARE = 0.4
"""The question comes in the middle, so that its answer is told from the hello that comes by itself."""


def add_conform_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of `meter conform`."""
    parser.add_argument("port", metavar="PORT", help="a device or a URL")
    parser.add_argument("--seconds", default="12", metavar="S", help="how long (12: two hellos come in that time)")
    parser.add_argument("--json", action="store_true", help="one JSON object")
    add_common_arguments(parser)


def conform(args: argparse.Namespace, home: Home, units: UnitSystem) -> int:
    """Listen to a meter; print what is wrong with its lines; return 0 if nothing is."""
    from winding_coach.meter.commissioning.conforming import Conformance

    seconds = number("--seconds", args.seconds, SHORTEST_S, LONGEST_S)
    found = Conformance()
    if args.port == "auto":
        raise UsageProblem("Name the port: what speaks the protocol wrongly cannot be found by itself.")
    real_port(args.port)
    _listen(args.port, seconds, found)
    faults = found.faults
    if args.json:
        print(
            json.dumps(
                {
                    "lines": found.lines,
                    "samples": found.samples,
                    "crank_lines": found.sender.lines,
                    "notes": list(found.notes),
                    "faults": [asdict(fault) for fault in faults],
                }
            )
        )
    else:
        sender = found.sender
        of_sender = f", {sender.lines} of a crank sender, {sender.counts} counts" if sender.lines else ""
        print(f"{found.lines} lines, {found.samples} of data{of_sender}, in {seconds:g} s.")
        for fault in faults:
            often = "" if fault.times == 1 else f" ({fault.times} times)"
            print(fault.words + often)
            if fault.example:
                print(printable(f"    {fault.example}"))
        for note in found.notes:
            print(note)
        if not faults:
            print("It conforms to protocol 1.2, as far as these lines show.")
    return 1 if faults else 0


def _listen(port: str, seconds: float, found: Conformance) -> None:
    from winding_coach.live.sources.ports import plain_reason
    from winding_coach.live.sources.wires import open_wire

    try:
        wire = open_wire(port)
    except Exception as error:
        raise Problem(f"The meter cannot be tested: {plain_reason(port, error, opening=True)}.") from None
    began = time.monotonic()
    asked = False
    try:
        while (at_s := time.monotonic() - began) < seconds:
            data = wire.receive()
            if data:
                found.feed(time.monotonic() - began, data)
            if not asked and at_s > ASK_AT_SHARE * seconds:
                asked = True
                found.asked(at_s)
                wire.send(b"?")
    except Exception as error:
        raise Problem(f"The meter cannot be tested: {plain_reason(port, error, opening=False)}.") from None
    finally:
        wire.close()
    found.end(time.monotonic() - began)
