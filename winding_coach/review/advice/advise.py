"""Winds and flights of one person with one model in, advice out: what to change next, why, and what it gains. Pure.

It is based on the fit of the person's own flights where there are enough, else on rules of thumb, and says which.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from winding_coach.base.units import UnitSystem
from winding_coach.review.advice import advice_words as words
from winding_coach.review.advice.advice_words import Advice
from winding_coach.review.advice.flight_fit import ENOUGH, FlightFit, fit_flights, usable
from winding_coach.review.advice.flown import Flown, flown_of
from winding_coach.review.advice.next_motor import base_of, best_changes, best_flown, options, telling
from winding_coach.review.advice.rules_of_thumb import rule_for
from winding_coach.review.season.wear import NextShare, Wear, next_share, wear_of
from winding_coach.rubber.figures import MotorFigures
from winding_coach.rubber.law import DEFAULT_RUBBER, Rubber
from winding_coach.shelf.records import Flight, Model, Motor, Wind

NEWEST = 40
"""So many flights are fitted: a model is trimmed and repaired, old flights tell of another one."""
WORTH_IT = 0.02
"""A change that is expected to gain less is not advised; our own rule."""
MUCH_MORE = 1.15
"""The flight that tells most is named when it tells so many times as much as the last one flown again; our own rule."""


@dataclass(frozen=True, slots=True)
class Advised:
    """All that is advised, the most worth first. basis: one sentence on what it rests on. fit: None with rules only."""

    basis: str
    items: tuple[Advice, ...]
    fit: FlightFit | None = None
    flights: int = 0
    last: Flown | None = None
    share: NextShare | None = field(default=None)
    wear: Wear | None = field(default=None)

    def as_json(self) -> dict[str, Any]:
        """Return it as an object, figures in SI."""
        fit = self.fit
        law = None
        if fit is not None:
            law = {
                "flying_mass_kg": round(fit.law.at_mass_kg, 7),
                "hold_torque_Nm": round(fit.law.hold_torque_Nm, 7),
                "hold_torque_sd_Nm": round(fit.law.hold_torque_Nm * fit.hold_sd, 7),
                "turns_per_s": round(fit.law.turns_per_s, 3),
                "turns_per_s_sd": round(fit.law.turns_per_s * fit.rate_sd, 3),
                "mass_exponent": round(fit.law.mass_exponent, 3),
                "mass_exponent_sd": round(fit.mass_exponent_sd, 3),
                "rate_exponent": round(fit.law.rate_exponent, 3),
                "rate_exponent_sd": round(fit.rate_exponent_sd, 3),
                "flights": fit.flights,
            }
        return {
            "basis": self.basis,
            "flights": self.flights,
            "flight_law": law,
            "advice": [one.as_json() for one in self.items],
        }


def advise(
    winds: Sequence[Wind],
    flights: Mapping[str, Flight],
    model: Model | None,
    *,
    motor: Motor | None = None,
    motor_winds: Sequence[Wind] = (),
    batch_winds: Sequence[Wind] = (),
    uses: int = 0,
    remarks: Sequence[str] = (),
    ceiling_m: float | None = None,
    units: UnitSystem = "metric",
    rubber: Rubber = DEFAULT_RUBBER,
) -> Advised:
    """Return what to change next.

    winds: of one person with one model; flights: by wind. motor: the one whose next wind is asked about, with its
    own winds, those of its batch, how often it has been wound and the remarks on it. units: of the sentences.
    """
    in_order = sorted(winds, key=lambda one: one.started)
    flown = [
        one
        for one in (flown_of(wind, flights[wind.id], model) for wind in in_order if wind.id in flights)
        if one is not None
    ][-NEWEST:]
    last = flown[-1] if flown else None
    items: list[Advice] = []
    fit: FlightFit | None = None
    known = [one for one in flown if usable(one) and one.left_share is not None]
    if len(known) >= ENOUGH:
        fit = fit_flights(known, ceiling_m=ceiling_m, rubber=rubber)
        items += _from_fit(fit, known, units, rubber)
        basis = words.basis_of_fit(fit)
    else:
        items += _from_rules(flown, units)
        basis = words.basis_of_rules(len(known), ENOUGH)
    items += _to_log(in_order, flights, flown, model)
    share, wear = None, None
    newest = next((one for one in reversed(motor_winds) if not one.simulated), None)
    if motor is not None and motor.state == "in_use" and newest is not None and newest.outcome == "gone":
        items.insert(0, words.whole(motor.name, newest.id))
    elif motor is not None and motor.state == "in_use":
        hooks_m = next((one.hooks_m for one in reversed(motor_winds) if one.hooks_m), None) or (model and model.hooks_m)
        wear = wear_of(motor_winds, remarks, uses, rubber)
        if wear.reasons:
            items.append(words.retire(motor.name, wear))
        if hooks_m and not wear.reasons:
            figures = MotorFigures(motor.loop_m, motor.mass_kg, motor.orings_kg, motor.strands, uses + 1)
            share = next_share(figures, hooks_m, motor_winds, batch_winds, rubber)
            items.append(words.share(motor.name, share))
    return Advised(basis, tuple(items), fit, len(known), last, share, wear)


def _from_fit(fit: FlightFit, known: Sequence[Flown], units: UnitSystem, rubber: Rubber) -> list[Advice]:
    """Return what would gain most, what else would, the flight that tells most, and what to fly when it counts."""
    base, best = base_of(fit, known, rubber), best_flown(fit, known, rubber)
    tried = options(fit, base, known, rubber=rubber)
    now = tried[0]
    items: list[Advice] = []
    for one in best_changes(tried, now.left_share if base.left_share is None else base.left_share):
        if one.gain < WORTH_IT:
            continue
        if one.kind == "launch":
            items.append(words.launch(base, one, now, fit, units))
        else:
            items.append(words.motor(base, now, one, fit, units))
    if len(items) > 1:
        items = [items[0], *(words.instead(one) for one in items[1:])]
    if not items:
        items.append(words.keep(base, now, units))
    if base is not known[-1]:
        items[0] = words.from_earlier(items[0], base)
    most = telling(tried, known)
    if most is not None and most.tells > MUCH_MORE * now.tells:
        items.append(words.experiment(most, now, units))
    if best is not known[-1] and best is not base:
        items.append(words.counts(best, units))
    return items


def _from_rules(flown: Sequence[Flown], units: UnitSystem) -> list[Advice]:
    with_left = [one for one in flown if one.left_share is not None]
    if not with_left:
        return []
    base = with_left[-1]
    rule = rule_for(base)
    assert rule is not None
    motor = base.motor
    rubber_kg = (motor.mass_kg - motor.orings_kg) * rule.factor
    made = replace(motor, mass_kg=rubber_kg + motor.orings_kg, name=None)
    if rule.kind == "length":
        made = replace(made, loop_m=motor.loop_m * rule.factor)
    return [words.by_rule(base, rule, made, units)]


def _to_log(
    winds: Sequence[Wind], flights: Mapping[str, Flight], flown: Sequence[Flown], model: Model | None
) -> list[Advice]:
    """Return what to log so that the next advice knows more; the first lack only."""
    if not winds:
        return [
            words.log("Log winds first: coach one with 'winding-coach wind', then its flight.", "There is none yet.")
        ]
    unlogged = sum(wind.outcome == "done" and wind.id not in flights for wind in winds)
    if not flights or not flown:
        if flights and (model is None or model.hooks_m is None):
            return [words.log("Log motor and hooks with each wind: choose motor and model from the shelf.", "")]
        return [words.log("Log the flights: duration and turns left after each.", "Winds alone do not show what flew.")]
    if all(one.left_share is None for one in flown):
        return [
            words.log(
                "Count the turns left after landing and log them.",
                "They are the best sign of whether the motor is too long, too short, too thick or too thin.",
            )
        ]
    if model is None or model.mass_kg is None:
        return [
            words.log(
                "Weigh the model without motor and put it on the shelf (model edit NAME --mass).",
                "Without its mass the flights cannot be fitted: the torque that holds height goes with it.",
            )
        ]
    if all(one.peak_turns is None or one.launch_torque_Nm is None for one in flown):
        return [words.log("Wind with the crank counted and the meter on.", "The launch must be known.")]
    if unlogged > len(flights):
        return [
            words.log(
                f"Log more flights: {unlogged} winds have none.",
                "Each flight with its turns left makes the fit surer.",
            )
        ]
    return []
