"""`meter calibrate`: known loads on the meter, one after another, to a calibration with its uncertainty."""

from __future__ import annotations

import argparse
import json
import math
import os
import re
import sys
import uuid
from collections.abc import Iterable
from dataclasses import asdict, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from winding_coach.app.at_meter import LEFT, Lines, MeterSession, say
from winding_coach.app.calibration_points import LAST, Taken, numbers_again, read_points, write_points
from winding_coach.app.home import Home
from winding_coach.app.problem import Problem, UsageProblem
from winding_coach.app.typed import number, quantity
from winding_coach.base.private import write_private
from winding_coach.base.units import GRAVITY_M_PER_S2, UnitSystem, listed
from winding_coach.cli.args.common import add_common_arguments
from winding_coach.cli.args.plain_port import add_lines_argument, port_of, real_port
from winding_coach.meter.calibration import Calibration, CalibrationError

if TYPE_CHECKING:
    from winding_coach.meter.commissioning.calibrating import Calibrated, Point
    from winding_coach.meter.commissioning.guiding import Load

USUAL_MASSES = "0 g, 10 g, 20 g, 50 g, 20 g, 10 g, 0 g"
FEWEST_LOADS = 3
FOLDER = "calibrations"


def add_calibrate_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of `meter calibrate`."""
    parser.add_argument("port", metavar="PORT", nargs="?", help="auto, a device or a URL (not with --points)")
    add_lines_argument(parser)
    parser.add_argument("--arm", metavar="LENGTH", help="from the axis to the thread, as in '30 mm'")
    parser.add_argument(
        "--arm-sd",
        default="0.3 mm",
        metavar="LENGTH",
        help="how well it is known (0.3 mm, a ruler; 0.05 mm by callipers)",
    )
    parser.add_argument("--masses", default=USUAL_MASSES, metavar="LIST", help=f"in their order ({USUAL_MASSES})")
    parser.add_argument("--mass-tolerance", default="0.1", metavar="PERCENT", help="how well they are known (0.1)")
    parser.add_argument("--sides", choices=("both", "right", "left"), default="both", help="of the arm (both)")
    parser.add_argument("--torques", metavar="LIST", help="of a reference, with signs, instead of masses on an arm")
    parser.add_argument("--points", metavar="FILE", help="a CSV of torque_mNm, counts taken before, instead of a meter")
    parser.add_argument("--latitude", metavar="DEGREES", help="of the place, for its gravity (9.80665 m/s² ± 0.15 %%)")
    parser.add_argument("--pull-masses", metavar="LIST", help="also hung straight from the hook, as in '0.5 kg, 1 kg'")
    parser.add_argument("--tilt", default="5", metavar="DEGREES", help="by which the pull leans to either side (5)")
    parser.add_argument("--motor-pull", default="18", metavar="NEWTONS", help="at full stretch, see plan (18)")
    parser.add_argument("--again", metavar="LIST", help="take only these loads of the last set again, as in 4,9")
    parser.add_argument(
        "--resume", action="store_true", help="continue the last set where it was interrupted, its loads kept"
    )
    parser.add_argument("--rating", metavar="TORQUE", help="torque at the load cell's rated capacity")
    parser.add_argument("--name", default="meter", metavar="NAME", help="of the meter (meter)")
    parser.add_argument("--valid-months", default="12", metavar="N", help="how long it is good for (12)")
    parser.add_argument("--out", metavar="FILE", help="write it here, not into the data folder")
    parser.add_argument(
        "--report", metavar="FILE.html", help="a page with the residuals, the uncertainty and every point"
    )
    parser.add_argument("--force", action="store_true", help="write it even if something is wrong with it")
    parser.add_argument("--plain", action="store_true", help="lines and Enter instead of the screen")
    parser.add_argument("--json", action="store_true", help="one JSON object at the end, and lines as with --plain")
    add_common_arguments(parser)


def calibrate_meter(args: argparse.Namespace, home: Home, units: UnitSystem) -> int:
    """Take the points, fit them, say what came of it, and keep it if nothing is wrong."""
    months = number("--valid-months", args.valid_months, 1, 120)
    rating = None if args.rating is None else quantity("--rating", args.rating, "torque", units)
    if rating is not None and rating <= 0:
        raise UsageProblem("--rating: it is above zero.")
    raws: list[int | None] = []
    taken = _taken(args, home, units, raws)
    from winding_coach.app.pulling import crosstalk_of
    from winding_coach.meter.commissioning.calibrating import calibrate

    plain, pulled = crosstalk_of(taken)
    now = datetime.now().astimezone().replace(microsecond=0)
    expires = _months_later(now, round(months))
    try:
        done = calibrate(
            plain,
            name=args.name,
            made=now.isoformat(),
            expires=expires,
            id=str(uuid.uuid4()),
            rating_Nm=rating,
            reference=_reference(args, units),
            pulled=pulled,
            motor_pull_N=number("--motor-pull", args.motor_pull, 0.1, 1000),
        )
    except CalibrationError as error:
        raise Problem(f"There is no calibration in these points. {error}") from None
    return _finish(args, home, replace(done, calibration=with_repeats(done.calibration, raws)))


def with_repeats(calibration: Calibration, raws: Iterable[int | None]) -> Calibration:
    """Return a calibration with how often its meter repeats a value, where these readings tell that."""
    from winding_coach.meter.frozen import REPEATS, learnt

    found = learnt(list(raws))
    return calibration if found is None else replace(calibration, more=calibration.more | {REPEATS: found.as_json()})


def keep_repeats(home: Home, named: str | None, raws: Iterable[int | None]) -> bool:
    """Put into the home's calibration how often its meter repeats a value; return whether that was done.

    named: the calibration file that was asked for; only the home's own is this meter's for certain.

    Raises:
        Problem: it cannot be written.
    """
    if named is not None or not home.calibration.exists():
        return False
    before = Calibration.from_json(home.calibration.read_text(encoding="utf-8"))
    after = with_repeats(before, raws)
    if after.more == before.more:
        return False
    _write_text(home.calibration, after.to_json())
    return True


# -- what was typed


def _reference(args: argparse.Namespace, units: UnitSystem) -> dict[str, float]:
    """What the torques rest on, as shares of them: standard uncertainties of masses, arm and gravity."""
    from winding_coach.meter.commissioning.budget import GRAVITY_KNOWN_SHARE, GRAVITY_SHARE

    masses = number("--mass-tolerance", args.mass_tolerance, 0, 50) / 100.0
    if args.arm is None:
        return {"reference": masses}
    arm = quantity("--arm-sd", args.arm_sd, "length", units) / quantity("--arm", args.arm, "length", units)
    return {"masses": masses, "arm": arm, "gravity": GRAVITY_SHARE if args.latitude is None else GRAVITY_KNOWN_SHARE}


def _gravity(args: argparse.Namespace) -> float:
    from winding_coach.meter.commissioning.budget import gravity_m_per_s2

    if args.latitude is None:
        return GRAVITY_M_PER_S2
    return gravity_m_per_s2(number("--latitude", args.latitude, -90, 90))


def _taken(args: argparse.Namespace, home: Home, units: UnitSystem, raws: list[int | None]) -> list[Taken]:
    """The points: of a file, or taken now; those that are taken are kept as they come out. raws: takes the readings."""
    if args.again is None and args.points is not None:
        _loads(args, units)
        return read_points(args.points)
    last = home.folder / FOLDER / LAST
    if args.again is not None and args.resume:
        raise UsageProblem("--resume continues a set, --again repeats loads of a complete one: use one of them.")
    before = read_points(str(last)) if args.again is not None else []
    places = numbers_again(args.again, len(before)) if args.again is not None else []
    loads = [before[place].load for place in places] if before else _loads(args, units)
    if args.port is None:
        raise UsageProblem("Name the meter's port, or a file of points with --points.")
    if not before and len({round(load.torque_Nm, 9) for load in loads}) < FEWEST_LOADS:
        raise UsageProblem(f"At least {FEWEST_LOADS} different loads are needed, zero among them.")
    port = port_of(args.lines, real_port(args.port) or "")
    already = _already(read_points(str(last)), loads) if args.resume else []
    take = _points_on_screen if on_screen(args) else _take_points
    points = list(already)
    try:
        take(port, loads, raws, points)
    except Problem as problem:
        if before or not points:
            raise
        write_points(last, [Taken(load, point) for load, point in zip(loads, points, strict=False)])
        raise Problem(f"{problem} The first {len(points)} loads are kept: --resume takes the rest.") from None
    taken = [Taken(load, point) for load, point in zip(loads, points, strict=True)]
    for place, one in zip(places, taken, strict=bool(places)):
        before[place] = one
    write_points(last, before or taken)
    return before or taken


def _already(kept: list[Taken], loads: list[Load]) -> list[Point]:
    """The points of a set that was interrupted.

    Raises:
        UsageProblem: they are not of these loads, or it was not interrupted.
    """
    same = all(
        math.isclose(one.load.torque_Nm, load.torque_Nm, rel_tol=1e-6, abs_tol=1e-12)
        and math.isclose(one.load.pull_N, load.pull_N, rel_tol=1e-4, abs_tol=1e-6)
        for one, load in zip(kept, loads, strict=False)
    )
    if not same or len(kept) > len(loads):
        raise UsageProblem("--resume: the last set was of other loads: give the same arm and masses, or start again.")
    if len(kept) == len(loads):
        raise UsageProblem("--resume: the last set is complete: --again takes single loads of it again.")
    return [one.point for one in kept]


def _loads(args: argparse.Namespace, units: UnitSystem) -> list[Load]:
    from winding_coach.meter.commissioning.guiding import Load

    if args.torques is not None:
        torques = [quantity("--torques", typed, "torque", units) for typed in listed(args.torques)]
        return [Load(torque, f"{1e3 * torque:g} mN·m") for torque in torques]
    if args.arm is None:
        if args.points is not None:
            return []
        raise UsageProblem("--arm: state the arm's length, as in --arm '30 mm', or the torques of a reference.")
    arm_m = quantity("--arm", args.arm, "length", units)
    if not 1e-3 <= arm_m <= 1.0:
        raise UsageProblem("--arm: it is between 1 mm and 1 m.")
    masses = [quantity("--masses", typed, "mass", units) for typed in listed(args.masses)]
    if min(masses) < 0:
        raise UsageProblem("--masses: a mass is not below zero.")
    gravity = _gravity(args)
    sides = {"both": (1, -1), "right": (1,), "left": (-1,)}[args.sides]
    found: list[Load] = []
    for side in sides:
        for mass in masses:
            torque = side * mass * gravity * arm_m
            word = f"{1e3 * mass:g} g, {'right' if side > 0 else 'left'}" if mass else "nothing"
            # The zero between the two sides is taken once.
            if not (mass == 0.0 and found and found[-1].torque_Nm == 0.0):
                found.append(Load(torque if mass else 0.0, word))
    if args.pull_masses is not None:
        from winding_coach.app.pulling import pull_loads

        pulls = [quantity("--pull-masses", typed, "mass", units) for typed in listed(args.pull_masses)]
        found += pull_loads(pulls, number("--tilt", args.tilt, 0, 30), found, gravity)
    return found


def _months_later(now: datetime, months: int) -> str:
    year, month = divmod(now.year * 12 + now.month - 1 + months, 12)
    return f"{year:04d}-{month + 1:02d}-{min(now.day, 28):02d}"


# -- at the meter


def on_screen(args: argparse.Namespace) -> bool:
    """Whether to guide on the screen: where there is one, and no one asked for plain lines."""
    if args.json or args.plain:
        return False
    return sys.stdin.isatty() and sys.stdout.isatty() and os.environ.get("TERM") != "dumb"


def _points_on_screen(port: str, loads: list[Load], raws: list[int | None], points: list[Point]) -> None:
    """Guide through the loads behind those of `points`, and put theirs there, whether it is left early or not."""
    from winding_coach.app.at_meter import GuidedMeter
    from winding_coach.live.sources.serial_port import SerialSource
    from winding_coach.screen.calibrate_app import CalibrateApp
    from winding_coach.screen.terminal import drawing

    guided = GuidedMeter(SerialSource(port), loads, points)
    guided.start()
    try:
        done = CalibrateApp(guided, drawing()).run()
    finally:
        guided.stop()
    points[:] = guided.view.points
    if not done:
        raise Problem(LEFT)
    raws += guided.raws


def _take_points(port: str, loads: list[Load], raws: list[int | None], found: list[Point]) -> None:
    """Ask for the loads behind those of `found`, line by line, and put their points there."""
    from winding_coach.live.sources.serial_port import SerialSource

    source = SerialSource(port)
    bench = MeterSession(source, Lines())
    first = len(found)
    try:
        while len(found) < len(loads):
            at = len(found)
            back = ", or b and Enter for the load before" if at == max(first, 1) else ""
            say(f"{at + 1} of {len(loads)}: {loads[at].ask.removesuffix('.')}, then press Enter{back}.")
            point = bench.steady_after_enter(loads[at], loads[:at], found)
            if point is None:
                found.pop()
                continue
            found.append(point)
            say(f"    {point.counts:,.1f} counts, scatter {point.sd_counts:.1f}, {point.readings} readings.")
    finally:
        source.close()
    raws += bench.raws


# -- what came of it


def _finish(args: argparse.Namespace, home: Home, done: Calibrated) -> int:
    from winding_coach.report.calibration import calibration_html, figures

    keep = args.force or not done.faults
    path = _write(args, home, done) if keep else None
    if args.report is not None:
        _write_text(Path(args.report), calibration_html(done))
    if args.json:
        found = asdict(done) | {"findings": list(done.findings), "file": None if path is None else str(path)}
        found["calibration"] = done.calibration.as_json()
        print(json.dumps(found))
    else:
        for name, value in figures(done):
            print(f"{name:<34} {value}")
        for words in done.findings:
            print(words)
        print(
            f"Kept as {path}."
            if path
            else "Not kept: put it right and take it again (single loads by --again), or add --force."
        )
    return 0 if keep else 1


def _write(args: argparse.Namespace, home: Home, done: Calibrated) -> Path:
    text = done.calibration.to_json()
    if args.out is not None:
        path = Path(args.out)
        _write_text(path, text)
        return path
    # Old calibrations stay: each has a file of its own, and the newest is what a wind takes.
    folder = home.folder / FOLDER
    name = re.sub(r"[^A-Za-z0-9._]+", "-", args.name).strip("-.")[:40] or "meter"
    _write_text(folder / f"{done.calibration.made[:19].replace(':', '')}-{name}.json", text)
    if home.calibration.exists():
        before = home.calibration.read_bytes()
        if not any(path.read_bytes() == before for path in folder.glob("*.json")):
            _write_text(folder / f"before-{done.calibration.id[:8]}.json", before.decode("utf-8", "replace"))
    _write_text(home.calibration, text)
    return home.calibration


def _write_text(path: Path, text: str) -> None:
    """Write a file so that a fault in mid-way leaves the old one."""
    try:
        write_private(path, text)
    except OSError as error:
        raise Problem(f"'{path}' cannot be written ({error.strerror}): name another place.") from None
