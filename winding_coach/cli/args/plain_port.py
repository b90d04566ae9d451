"""`--lines plain`: a meter that prints one number a line; `--crank-port`: a crank sender beside the meter."""

from __future__ import annotations

from typing import TYPE_CHECKING

from winding_coach.app.problem import UsageProblem

if TYPE_CHECKING:
    import argparse

PLAIN = "plain://"
LOW_TRUST = (
    "Plain lines carry no clock and no check sum: times are of their arrival at this computer, and a damaged digit is"
    " not noticed. The crank is counted by a sender of its own (--crank-port), or not at all."
)


def add_lines_argument(parser: argparse.ArgumentParser | argparse._ArgumentGroup) -> None:
    """Add `--lines`."""
    parser.add_argument(
        "--lines",
        choices=("protocol", "plain"),
        default="protocol",
        help="plain: one number a line, counts or a torque with its unit, from a port that is named (protocol)",
    )


NO_WEIGHTS = (
    "Nothing can be tried on 'sim': run 'winding-coach meter emulate --weights' in another terminal, and name here"
    " the device that it prints."
)


def real_port(port: str | None) -> str | None:
    """Return a port's name as it was typed.

    Raises:
        UsageProblem: it is the simulated meter that `wind` brings along: no one can hang a weight on that.
    """
    if port == "sim":
        raise UsageProblem(NO_WEIGHTS)
    return port


def add_crank_argument(parser: argparse.ArgumentParser | argparse._ArgumentGroup) -> None:
    """Add `--crank-port`."""
    parser.add_argument(
        "--crank-port", metavar="PORT", help="of a crank sender with a radio: a device, or socket://ADDRESS:7008"
    )


def crank_port_of(args: argparse.Namespace) -> str | None:
    """Return the crank sender's port, None where there is none.

    Raises:
        UsageProblem: it is the meter's, or is to be found by itself: a sender answers no question.
    """
    found: str | None = args.crank_port
    wrong = wrong_crank_port(found or "", args.port)
    if wrong is not None:
        raise UsageProblem(f"--crank-port: {wrong[0].lower()}{wrong[1:]}")
    return found or None


def wrong_crank_port(typed: str, meter: str | None) -> str | None:
    """Return why a port cannot be a crank sender's beside the meter's, None where it can or none is typed."""
    if typed in ("auto", "sim"):
        return "Name the sender's port, as in socket://192.168.4.2:7008."
    if typed and typed == meter:
        return "That is the meter's own port; the sender has another."
    return None


def port_of(lines: str, port: str) -> str:
    """Return the port's name with what its lines are.

    Raises:
        UsageProblem: plain lines of a port that is not named: nothing tells a meter from another device.
    """
    if lines != "plain":
        return port
    if port in ("auto", "sim"):
        raise UsageProblem(
            "--lines plain: name the port, as in /dev/ttyUSB0; plain numbers do not say what they are of."
        )
    return port if port.startswith(PLAIN) else PLAIN + port
