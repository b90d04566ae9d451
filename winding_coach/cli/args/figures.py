"""A motor's figures on the command line: typed quantities in, figures in SI out."""

from __future__ import annotations

import argparse

from winding_coach.app.figures import RATIOS, Figures
from winding_coach.app.problem import UsageProblem
from winding_coach.app.typed import number, quantity, whole
from winding_coach.base.units import Kind, UnitSystem
from winding_coach.rubber.figures import ModelFigures, MotorFigures, WinderFigures
from winding_coach.traces.header import DIRECTIONS

INVENTED_MOTOR = {"loop": "30 cm", "mass": "1.40 g", "orings": "0.08 g", "hooks": "22 cm"}
"""What is wound in practice and on a simulated meter where no motor is named. All invented."""
PURPOSE_SHARES: dict[str, str | None] = {"test": "60", "trim": "50", "official": None}
"""Per cent of the breaking turns for what a wind is for, None for the usual share of the use: test winds go to 50-70 %
(common practice, no source); `--share` overrides it."""
FOUND = "found"
"""For `--hand`: whatever the model's record says, the first crank turns show it."""
MOST_STRANDS, MOST_WINDS = 100, 10_000
"""Typed beyond these, it was a slip."""


def add_motor_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options that give a motor's figures; `figures_from` reads them back."""
    motor = parser.add_argument_group("the motor", "its measurements, with units, as in --loop '30 cm' --mass 1.4g")
    motor.add_argument("--motor", metavar="NAME", help="name of the motor, for the trace's file name")
    motor.add_argument("--loop", metavar="LENGTH", help="relaxed length of the loop, as measured now")
    motor.add_argument("--mass", metavar="MASS", help="mass as weighed, O-rings included")
    motor.add_argument("--orings", metavar="MASS", help="mass of the O-rings (0)")
    motor.add_argument("--strands", metavar="N", help="strands side by side: 2 for one loop (2)")
    motor.add_argument("--use", metavar="N", help="which wind of this motor, from 1 (1)")
    motor.add_argument("--share", metavar="PERCENT", help="share of the breaking turns to wind to (80, 85, 90 by use)")
    motor.add_argument(
        "--purpose", choices=tuple(PURPOSE_SHARES), help="test (60 %%), trim (50 %%) or official (the usual share)"
    )
    motor.add_argument("--batch", metavar="NAME", help="batch of rubber it is cut from: its name, or its file")
    gear = parser.add_argument_group("winder, model and room")
    gear.add_argument("--winder", metavar="NAME", help="winder on the shelf: its ratio and its rating (the only one)")
    gear.add_argument("--ratio", metavar="R", help="motor turns for one crank turn (10)")
    gear.add_argument("--winder-limit", metavar="TORQUE", help="what the winder is rated for")
    gear.add_argument("--hooks", metavar="LENGTH", help="distance between the model's hooks")
    gear.add_argument("--model", metavar="NAME", help="name of the model")
    gear.add_argument(
        "--hand",
        choices=(*DIRECTIONS, FOUND),
        help="which way round the motor is wound (the model's; else found from the first crank turns)",
    )
    gear.add_argument("--launch-torque", metavar="TORQUE", help="wanted at launch (else the plan's own)")
    gear.add_argument("--room", metavar="LENGTH", help="length there is to stretch the motor in")


def hand_of(args: argparse.Namespace) -> str | None:
    """Return which way round the motor is wound, by what was typed or the model's record; None: it is found."""
    hand: str | None = getattr(args, "hand", None)
    return None if hand == FOUND else hand


def share_for_purpose(args: argparse.Namespace) -> None:
    """Take the share that goes with `--purpose`, where no `--share` is given."""
    if args.share is None and getattr(args, "purpose", None) is not None:
        args.share = PURPOSE_SHARES[args.purpose]


def take_invented(args: argparse.Namespace, name: str | None = None) -> None:
    """Put the invented motor into the arguments where no motor's figures are given, under a name if it has none."""
    if args.loop is None and args.mass is None:
        for option, value in {**INVENTED_MOTOR, "motor": name}.items():
            if getattr(args, option) is None:
                setattr(args, option, value)


def figures_from(args: argparse.Namespace, system: UnitSystem) -> Figures:
    """Return the figures that were typed.

    Raises:
        UsageProblem: loop or mass are missing, or something typed is no quantity of its kind.
    """
    share_for_purpose(args)
    if args.loop is None or args.mass is None:
        needed = "--loop and --mass, as in: --loop '30 cm' --mass '1.40 g' --orings '0.08 g'."
        if args.motor is None:
            raise UsageProblem(f"A motor needs {needed}")
        raise UsageProblem(f"There is no motor '{args.motor}' on the shelf: see 'motor list', or give {needed}")

    def measured(option: str, typed: str | None, kind: Kind) -> float | None:
        value = None if typed is None else quantity(option, typed, kind, system)
        if value is not None and value < 0:
            raise UsageProblem(f"{option}: '{typed}' is below zero; type a positive {kind}.")
        return value

    share = None if args.share is None else number("--share", args.share.strip().removesuffix("%"), 0, 100) / 100
    ratio = 10.0 if args.ratio is None else number("--ratio", args.ratio.strip().removesuffix(":1"), *RATIOS)
    motor = MotorFigures(
        loop_m=measured("--loop", args.loop, "length") or 0.0,
        mass_kg=measured("--mass", args.mass, "mass") or 0.0,
        orings_kg=measured("--orings", args.orings, "mass") or 0.0,
        strands=2 if args.strands is None else whole("--strands", args.strands, 1, MOST_STRANDS),
        use=1 if args.use is None else whole("--use", args.use, 1, MOST_WINDS),
        share=share,
        name=args.motor,
    )
    winder = WinderFigures(ratio=ratio, limit_Nm=measured("--winder-limit", args.winder_limit, "torque"))
    launch_torque_Nm = measured("--launch-torque", args.launch_torque, "torque")
    model = ModelFigures(measured("--hooks", args.hooks, "length"), launch_torque_Nm, args.model)
    return Figures(motor, winder, model, measured("--room", args.room, "length"))
