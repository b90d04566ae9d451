"""Find, test, calibrate or simulate a meter.

examples:
  winding-coach meter list
  winding-coach meter check auto --seconds 5
  winding-coach meter calibrate auto --arm "30 mm" --masses "0 g, 10 g, 20 g, 50 g, 20 g, 10 g, 0 g"
  winding-coach meter conform /dev/ttyACM0
  winding-coach meter emulate --script stall --fault unplug@60:4
"""

from __future__ import annotations

import argparse
import json
from dataclasses import asdict, replace
from typing import Any

from winding_coach.app.calibrations import calibration_from, expired
from winding_coach.app.home import Home
from winding_coach.app.listening import listen
from winding_coach.app.problem import UsageProblem
from winding_coach.app.typed import number, quantity
from winding_coach.base.units import UnitSystem, show
from winding_coach.cli import printable
from winding_coach.cli.args.common import add_common_arguments, home_from, units_from
from winding_coach.cli.args.plain_port import (
    LOW_TRUST,
    add_crank_argument,
    add_lines_argument,
    crank_port_of,
    port_of,
    real_port,
)
from winding_coach.cli.args.settings import fill_in
from winding_coach.cli.commands.calibrate import add_calibrate_arguments, calibrate_meter, keep_repeats
from winding_coach.cli.commands.conform import add_conform_arguments, conform
from winding_coach.cli.commands.emulate import FAULT_WORDS, add_emulate_arguments, emulate_meter
from winding_coach.cli.commands.trials import trials_from, try_meter
from winding_coach.cli.output.help_lines import HelpLines
from winding_coach.meter.calibration import SIMULATED, Calibration

CARE = """\
Weights fall, and a loaded arm springs back: eye protection on, hands and feet clear, within the rating of the cell and
its stand, bystanders and children at a distance. Local rules and the adult in charge come first."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the jobs of `meter` and their options."""
    jobs = parser.add_subparsers(dest="job", required=True, metavar="JOB")
    listing = _job(jobs, "list", "the serial ports of this computer, and which may be a meter", "meter list --json")
    listing.add_argument("--json", action="store_true", help="one JSON object")
    add_common_arguments(listing)
    check = _job(jobs, "check", "read a meter for some seconds and judge it", "meter check auto --seconds 10")
    check.add_argument("port", metavar="PORT", nargs="?", help="auto, a device or a URL (auto)")
    check.add_argument("--seconds", default="5", metavar="S", help="how long (5)")
    add_lines_argument(check)
    add_crank_argument(check)
    check.add_argument("--calibration", metavar="FILE", help="calibration file of the meter")
    check.add_argument(
        "--tests", dest="trials", metavar="LIST", help="of pull, stretch, release, crank: what you are asked to do"
    )
    check.add_argument(
        "--launch-torque", metavar="TORQUE", help="of the motors it is for (an eighth of the cell's rating)"
    )
    check.add_argument(
        "--hand", default="right", choices=("right", "left"), help="with --try crank: how your motors are wound (right)"
    )
    check.add_argument("--pull-mass", default="1 kg", metavar="MASS", help="what is hung for the pull (1 kg)")
    check.add_argument("--json", action="store_true", help="one JSON object")
    add_common_arguments(check)
    what = "known loads on the meter to a calibration with its uncertainty"
    example = 'meter calibrate auto --arm "30 mm" --rating "29 mN.m"'
    add_calibrate_arguments(_job(jobs, "calibrate", what, example, f"\n\n{CARE}"))
    what = "check a meter's lines against the protocol (for firmware authors)"
    add_conform_arguments(_job(jobs, "conform", what, "meter conform /dev/ttyACM0"))
    what = "a simulated meter on a pseudo-terminal or a local socket; prints what opens it"
    example = "meter emulate --script stall --fault unplug@60:4 --link meter.port"
    add_emulate_arguments(_job(jobs, "emulate", what, example, FAULT_WORDS))


def _job(
    jobs: argparse._SubParsersAction[argparse.ArgumentParser], name: str, about: str, example: str, more: str = ""
) -> argparse.ArgumentParser:
    return jobs.add_parser(
        name,
        help=about,
        description=about[0].upper() + about[1:] + ".",
        epilog=f"example:\n  winding-coach {example}{more}",
        formatter_class=HelpLines,
    )


def run(args: argparse.Namespace) -> int:
    """Do one job."""
    home = home_from(args)
    units = units_from(args, home)
    does = {"list": _list, "check": _check, "calibrate": calibrate_meter, "conform": conform, "emulate": emulate_meter}
    return does[args.job](args, home, units)


def _list(args: argparse.Namespace, home: Home, units: UnitSystem) -> int:
    from winding_coach.live.sources.ports import list_ports

    ports = list_ports()
    if args.json:
        print(json.dumps({"ports": [asdict(port) | {"likely": port.likely} for port in ports]}))
        return 0
    likely = [port for port in ports if port.likely]
    others = [port for port in ports if not port.likely]
    print(
        "Likely a meter:"
        if likely
        else "No port with a USB identity: plug the meter in, with a lead that carries data."
    )
    for port in likely:
        assert port.usb is not None
        vendor, product, serial_number = port.usb
        numbered = "" if serial_number is None else f", serial number {serial_number}"
        print(printable(f"  {port.device}  USB {vendor:04x}:{product:04x}{numbered}  {port.description}".rstrip()))
    if others:
        print("Without a USB identity, so most likely no meter:")
    for port in others:
        print(printable(f"  {port.device}  {port.description}".rstrip()))
    return 0


UNCALIBRATED = (
    "It is not calibrated yet: mN·m are by the figures of the simulated meter (a 100 g cell on a 30 mm arm); only the"
    " counts are its own."
)


def _check(args: argparse.Namespace, home: Home, units: UnitSystem) -> int:
    from winding_coach.meter.commissioning.checking import Arrivals, check_meter
    from winding_coach.meter.plain_lines import OF_TORQUE, TORQUE_PER_COUNT_NM
    from winding_coach.meter.reader import MeterReader

    seconds = number("--seconds", args.seconds, 0.2, 3600)
    launch = None if args.launch_torque is None else quantity("--launch-torque", args.launch_torque, "torque", units)
    if launch is not None and launch <= 0:
        raise UsageProblem("--launch-torque: it is above zero.")
    real_port(args.port)
    fill_in(args, home)
    args.port = port_of(args.lines, "auto" if args.port in (None, "sim") else args.port)
    if args.trials is not None:
        return _try(args, home, units, launch)
    calibration = _calibration_for_check(args.calibration, home)
    uncalibrated = calibration is SIMULATED and args.calibration is None
    reader = MeterReader(calibration)
    arrivals = Arrivals()
    crank_port = crank_port_of(args)
    samples, received = listen(args.port, seconds, reader, arrivals, crank_port=crank_port)
    if uncalibrated and reader.hello is not None and reader.hello.value(OF_TORQUE) is not None:
        # The numbers say themselves which torque they are.
        reader.calibration = replace(calibration, zero_counts=0.0, Nm_per_count=TORQUE_PER_COUNT_NM, rating_Nm=None)
        samples = [
            replace(one, torque_Nm=None if one.raw is None else one.raw * TORQUE_PER_COUNT_NM, overload=False)
            for one in samples
        ]
        uncalibrated = False
    found = check_meter(
        reader, samples, received, seconds, arrivals=arrivals, launch_Nm=launch, sender=crank_port is not None
    )
    # A reading that stands, or numbers without a clock, teach nothing of the meter's own noise.
    sound = found.signal is not None and not found.signal.frozen and not found.plain
    kept = sound and keep_repeats(home, args.calibration, (sample.raw for sample in samples))
    if args.json:
        print(json.dumps(asdict(found) | {"port": args.port, "repeats_kept": kept}))
    else:
        if kept:
            print("How often it repeats a value is kept with its calibration, so that a frozen reading is noticed.")
        _print_check(asdict(found), units)
        if uncalibrated and found.samples and found.board != SIMULATED.meter:
            print(UNCALIBRATED)
        if found.plain:
            print(LOW_TRUST)
        old = expired(calibration)
        if old is not None:
            print(old)
    return 0 if found.passed else 1


def _try(args: argparse.Namespace, home: Home, units: UnitSystem, launch: float | None) -> int:
    names = trials_from(args.trials)
    pull_kg = quantity("--pull-mass", args.pull_mass, "mass", units)
    if not 0.01 <= pull_kg <= 20.0:
        raise UsageProblem("--pull-mass: it is between 10 g and 20 kg.")
    found = try_meter(
        args.port,
        names,
        _calibration_for_check(args.calibration, home),
        pull_kg,
        launch,
        crank_port_of(args),
        left_hand=args.hand == "left",
    )
    if args.json:
        print(json.dumps({"port": args.port, "trials": [asdict(trial) for trial in found]}))
    else:
        for trial in found:
            print(f"{trial.name}: {trial.words}")
    return 1 if any(trial.passed is False for trial in found) else 0


def _calibration_for_check(named: str | None, home: Home) -> Calibration:
    """A meter is checked before it is calibrated: without a calibration, torque is by the simulated meter's figures."""
    if named is None and not home.calibration.exists():
        return SIMULATED
    return calibration_from(named, home, simulated=False)


def _print_check(found: dict[str, Any], units: UnitSystem) -> None:
    def known(value: float | None, text: str) -> str:
        return "not known" if value is None else text.format(value)

    def torque(value: float | None, more: str = "") -> str:
        return "not known" if value is None else show(value, "torque", units, 4) + more

    noise = torque(found["noise_Nm"], known(found["noise_counts"], " ({:.1f} counts), standard deviation"))
    flags = {"saturated": "at the end of the range", "no_data": "without a reading", "overload": "past the rating"}
    rows = [
        ("board", found["board"] or "does not say"),
        ("channels", found["channels"] or "torque only"),
        ("rate", known(found["rate_hz"], "{:.2f} lines/s, by its own clock")),
        ("longest gap", known(found["longest_gap_s"], "{:.3f} s")),
        ("noise", noise),
        ("drift", torque(found["drift_Nm_per_min"], " a minute")),
        ("reading", torque(found["mean_Nm"])),
        ("lines", f"{found['samples']} good, {found['lost_lines']} lost, {found['bad_lines']} damaged"),
        ("flags", ", ".join(f"{found[flag]} {words}" for flag, words in flags.items() if found[flag]) or "none"),
        ("restarts", str(found["restarts"])),
        ("crank", _crank(found["crank_pulses"], found["pulses_per_turn"])),
    ]
    sender = found["sender"]
    if sender is not None:
        rows.append(("sender", f"{sender['lines']} lines, {sender['lost']} lost, {sender['late']} late"))
    # Where nothing was understood there is nothing to tell but the verdict.
    for name, text in rows if found["samples"] else []:
        print(f"{name:<12} {text}")
    for words in found["verdict"]:
        print(words)


def _crank(pulses: int | None, per_turn: int) -> str:
    if pulses is None:
        return "no sensor"
    return f"{pulses} pulses" if per_turn == 1 else f"{pulses} pulses, {per_turn} per turn"
