"""Practise on a simulated motor and meter, driven by the keyboard: a complete wind, or one of the lessons.

keys, beside those of a live wind (h shows them):
  up, down     crank faster, slower          k  hook up, or unhook
  right, left  step in, step out             r  crank the other way
  . ,          a large step in, out          x  let go of the crank

examples:
  winding-coach practice
  winding-coach practice --lessons --person Wren
  winding-coach practice --lesson 1 --person Wren
  winding-coach practice --lesson walk-in --script steady --speed max --headless

Nothing here can hurt; the real motor can: eye protection on, within the ratings of winder and hooks, bystanders and
children out of the motor's line. Local rules and the adult in charge come first.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from typing import TYPE_CHECKING

from winding_coach.app.batches import batch_from
from winding_coach.app.beginning import PRACTISED, header_for, settings_for, writer_for
from winding_coach.app.calibrations import SIMULATED_NAME, calibration_from
from winding_coach.app.problem import UsageProblem
from winding_coach.app.typed import MOST_SEED, whole
from winding_coach.base.standing import place_words
from winding_coach.cli.args.common import add_common_arguments, home_from, units_from
from winding_coach.cli.args.figures import add_motor_arguments, figures_from, hand_of, take_invented
from winding_coach.cli.args.from_shelf import pick, tell
from winding_coach.cli.args.settings import add_steps_arguments, fill_in, steps_from
from winding_coach.cli.args.speed import speed_from
from winding_coach.cli.commands.coaching import add_coaching_arguments, coach_it, needs_terminal, readings_hz
from winding_coach.coach.direction import LEFT
from winding_coach.rubber.law import DEFAULT_RUBBER

if TYPE_CHECKING:
    from winding_coach.coach.settings import CoachSettings
    from winding_coach.screen.remark import Remark
    from winding_coach.simulator.bench import Truth

STRETCHED = 0.93
"""From this share of full stretch on someone has stretched out."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of `practice`."""
    add_motor_arguments(parser)
    parser.add_argument("--lesson", metavar="NAME", help="take this lesson: its name or number")
    parser.add_argument("--lessons", action="store_true", help="list the lessons and what the person has reached")
    parser.add_argument(
        "--script",
        metavar="STYLE",
        help="let simulated hands wind: good, stall, hasty, overwind, ...; with --lesson: steady, hasty, staller",
    )
    parser.add_argument("--seed", metavar="N", help="same seed, same motor and meter (1; lessons: another each try)")
    parser.add_argument("--speed", default="1", metavar="TIMES", help="how fast time passes, or max (1)")
    parser.add_argument("--person", metavar="NAME", help="who practises; a nickname is enough")
    add_steps_arguments(parser)
    add_coaching_arguments(parser)
    add_common_arguments(parser)


def run(args: argparse.Namespace) -> int:
    """Practise one wind, or take or list lessons."""
    import numpy as np

    from winding_coach.cli.commands.lesson import list_lessons, take_lesson
    from winding_coach.live.sources.practice import PORT, PracticeSource
    from winding_coach.simulator.bench import Bench, MeterModel
    from winding_coach.simulator.hands import STYLES, KeyboardHands, ScriptedHands
    from winding_coach.simulator.motor import SimulatedMotor

    home = home_from(args)
    tell(pick(args, home, simulated=True).doubts)
    take_invented(args, "practice")
    fill_in(args, home)
    if args.lessons:
        return list_lessons(args, home)
    readings_hz(args)
    speed = speed_from(args.speed)
    units = units_from(args, home)
    figures = figures_from(args, units)
    made = batch_from(args.batch, home)
    settings = settings_for(figures, calibration_from(SIMULATED_NAME, home, simulated=True), units, made)
    settings = replace(settings, steps=steps_from(args, units, settings.plan), direction=hand_of(args))
    rubber = DEFAULT_RUBBER if made is None else made.rubber
    if args.lesson is not None:
        return take_lesson(args, home, settings, rubber, speed)
    if args.script is not None and args.script not in STYLES:
        raise UsageProblem(f"--script: there is no style '{args.script}': choose one of {', '.join(STYLES)}.")
    seed = whole("--seed", args.seed or "1", 0, MOST_SEED)
    needs_terminal(args)
    rng = np.random.default_rng(seed)
    nearest_m, farthest_m = settings.plan.walk_in[-1].distance_m, 1.15 * settings.plan.stretch_distance_m
    keyboard = KeyboardHands(figures.motor, nearest_m, farthest_m)
    scripted = args.script is not None
    hands = (
        ScriptedHands(settings.plan, figures.motor, figures.winder, STYLES[args.script], rng) if scripted else keyboard
    )
    motor = SimulatedMotor(figures.motor, rubber, strength_u=float(rng.uniform(0.05, 0.95)), hooks_m=nearest_m)
    bench = Bench(motor, hands, figures.winder.ratio, MeterModel(left_hand=args.hand == LEFT), rng)
    source = PracticeSource(bench, speed, hands=keyboard.command)
    writer = writer_for(home, header_for(settings, source.started, PORT, args.person, PRACTISED))
    earlier = None
    if not args.headless:
        from winding_coach.app.earlier import EarlierWinds

        earlier = EarlierWinds(home.traces, figures.motor.name)
    return coach_it(
        args,
        home,
        settings,
        source,
        writer,
        hand=None if scripted else source.hand,
        aside=lambda: bench.truth,
        earlier=earlier,
        note=None if scripted else lambda: at_the_hands(bench.truth, settings),
    )


def at_the_hands(truth: Truth, settings: CoachSettings) -> Remark:
    """Return what a person at a real stand would see for themselves: an empty hook, or a stretch that is too short."""
    from winding_coach.screen.remark import Remark

    plan = settings.plan
    if not truth.hooked:
        return Remark("The hook is empty: k hooks the motor up, then ← steps out.")
    if truth.distance_m < STRETCHED * plan.stretch_distance_m and truth.turns < 0.5 * plan.stretched_turns:
        here, there = (
            place_words(at_m, settings.units, settings.steps) for at_m in (truth.distance_m, plan.stretch_distance_m)
        )
        return Remark(f"You are at {here}: ← steps out to {there}, the comma key in large steps.")
    return Remark()
