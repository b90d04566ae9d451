"""What is advised, in plain words: options, rules, wear and shares in; `Advice` with reason and effect out. Pure."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from winding_coach.base.units import UnitSystem, counted, show
from winding_coach.review.advice.flight_fit import FlightFit
from winding_coach.review.advice.flown import Flown
from winding_coach.review.advice.next_motor import Option
from winding_coach.review.advice.rules_of_thumb import Rule
from winding_coach.review.season.wear import NextShare, Wear, grown
from winding_coach.rubber.figures import MotorFigures

FEW = 0.12
"""Below this share of turns left a motor was well used."""
STANDS_OUT = 0.08
"""A share of turns left that is so far from what the fit has is put down to chance in words."""
SURE_TO_SAY = 0.005
"""A change of a share below this is said as none."""


@dataclass(frozen=True, slots=True)
class Advice:
    """One thing to do. topic: motor, launch, experiment, counts, share, retire, log or whole (it asks whether the motor
    broke). rests_on: fit, rules or law.

    gain, low, high: expected change of duration as a share, with its interval of 80 %; None where nothing tells.
    motor: the one to fly, measured at the use of the flight that it is compared with; cut_loop_m: its loop when new,
    before it has grown. torque_Nm: to launch at.
    """

    topic: str
    do: str
    why: str
    rests_on: str
    gain: float | None = None
    low: float | None = None
    high: float | None = None
    motor: MotorFigures | None = None
    torque_Nm: float | None = None
    cut_loop_m: float | None = None

    def as_json(self) -> dict[str, Any]:
        """Return it as an object, figures in SI."""
        motor = self.motor
        made = None
        if motor is not None:
            made = {
                "loop_m": round(motor.loop_m, 4),
                "mass_kg": round(motor.mass_kg, 7),
                "orings_kg": motor.orings_kg,
                "strands": motor.strands,
                "linear_density_kg_per_m": round((motor.mass_kg - motor.orings_kg) / (motor.strands * motor.loop_m), 7),
            }
        return {
            "topic": self.topic,
            "do": self.do,
            "why": self.why,
            "rests_on": self.rests_on,
            "duration_change": _rounded(self.gain),
            "duration_change_low": _rounded(self.low),
            "duration_change_high": _rounded(self.high),
            "motor": made,
            "cut_loop_m": _rounded(self.cut_loop_m, 4),
            "launch_torque_Nm": _rounded(self.torque_Nm, 6),
        }


def _rounded(value: float | None, digits: int = 4) -> float | None:
    return None if value is None else round(value, digits)


def density_of(motor: MotorFigures) -> float:
    """Return the linear density of one strand."""
    return (motor.mass_kg - motor.orings_kg) / (motor.strands * motor.loop_m)


def percent(share: float) -> str:
    """Return a change as a signed percentage, as +4% or −3%."""
    return f"{share * 100:+.0f}%".replace("-", "−").replace("+0%", "±0%").replace("−0%", "±0%")


def _motor_text(made: MotorFigures, units: UnitSystem) -> str:
    rings = " with O-rings" if made.orings_kg else ""
    return (
        f"{show(made.loop_m, 'length', units)} loop, {show(made.mass_kg, 'mass', units)}{rings},"
        f" {show(density_of(made), 'linear density', units)}"
    )


def basis_of_fit(fit: FlightFit) -> str:
    """Return what the fit rests on, as one sentence."""
    return f"Based on a fit of {fit.flights} flights of this person with this model."


def basis_of_rules(flights: int, enough: int) -> str:
    """Return that only rules of thumb speak, and why."""
    have = "no flight" if flights == 0 else "1 flight" if flights == 1 else f"{flights} flights"
    return (
        f"Based on rules of thumb (common practice, no source): {have} with launch, duration, turns left and the"
        f" model's mass {'is' if flights < 2 else 'are'} logged, {enough} are needed for a fit."
    )


def law_lines(fit: FlightFit, units: UnitSystem) -> list[str]:
    """Return what the fit has found out about the model, in words."""
    law = fit.law
    digits = 3 if units == "metric" else 4
    hold = show(law.hold_torque_Nm, "torque", units, digits)
    hold_sd = show(law.hold_torque_Nm * fit.hold_sd, "torque", units, digits)
    return [
        f"It holds its height at {hold} (± {hold_sd}), flying at {show(law.at_mass_kg, 'mass', units)} with motor,",
        f"and uses {law.turns_per_s:.1f} turns/s then (± {law.turns_per_s * fit.rate_sd:.1f}); at twice the"
        f" torque {law.turns_per_s * 2.0**law.rate_exponent:.1f}.",
    ]


def keep(base: Flown, now: Option, units: UnitSystem) -> Advice:
    """Nothing is worth changing."""
    left = "" if base.left_share is None else f" {base.left_share:.0%} of the turns were left."
    return Advice(
        "motor",
        f"Keep this motor: {_motor_text(base.motor, units)}.",
        f"No change of length, density or launch torque is expected to gain 2 %.{left} From here only tests help:"
        " linear densities 1 to 2 % apart can be distinguished (common practice, no source), each flown several times.",
        "fit",
        motor=now.motor,
        torque_Nm=now.launch_torque_Nm,
    )


def motor(base: Flown, now: Option, best: Option, fit: FlightFit, units: UnitSystem) -> Advice:
    """Another length or density."""
    made, was = best.motor, base.motor
    left, were = _left(base, now)
    mass = show(abs(made.mass_kg - was.mass_kg), "mass", units)
    mass_was = base.flying_kg
    mass_now = (base.model_kg or 0.0) + made.mass_kg
    hold_was, hold_now = fit.law.hold_torque_at(mass_was), fit.law.hold_torque_at(mass_now)
    to_spare = f"{now.launch_torque_Nm / hold_was:.1f} times what holds height"
    if best.kind == "length":
        side = "shorter" if best.factor < 1.0 else "longer"
        do = (
            f"Make the loop {side} at the same linear density: {show(made.loop_m, 'length', units)} instead of"
            f" {show(was.loop_m, 'length', units)} ({_motor_text(made, units)})."
        )
        if best.factor < 1.0:
            why = (
                f"{were}, and rubber that is not used is ballast. {mass} less motor lets the model hold its height"
                f" with {1.0 - hold_now / hold_was:.0%} less torque, so that {best.left_share:.0%} would be left."
            )
        else:
            why = (
                f"{were}{': the motor was well used' if left < FEW else ''}. A longer loop takes"
                f" {percent(best.peak_turns / now.peak_turns - 1.0)} turns at the same torque, worth more than the"
                f" {mass} it weighs."
            )
        why += " Keep the density: torque depends on it and not on the length."
    else:
        side = "denser (thicker)" if best.factor > 1.0 else "thinner"
        do = (
            f"Take {side} rubber at the same length: {show(density_of(made), 'linear density', units)} instead of"
            f" {show(density_of(was), 'linear density', units)} ({_motor_text(made, units)})."
        )
        turns = percent(best.peak_turns / now.peak_turns - 1.0)
        stiffer = percent(best.factor**1.5 - 1.0)
        if best.factor > 1.0 and left < FEW:
            why = (
                f"{were}: the motor was well used. Denser rubber stores more at the same"
                f" length: {stiffer} torque at {turns} turns."
            )
        elif best.factor > 1.0:
            why = (
                f"{were} when torque was too low to hold height"
                f" ({show(hold_was, 'torque', units)}). More density gives {stiffer} torque at {turns} turns, so that"
                f" {best.left_share:.0%} would be left."
            )
        else:
            why = (
                f"There is torque to spare (launched at {to_spare}; {left:.0%} of the turns left). Thinner rubber"
                f" takes {turns} turns and {mass} off."
            )
        why += " Keep the length: it would not change the torque."
    cut_m, cut = _cut(made, was.use, units)
    do += cut
    if best.launch_factor != 1.0:
        do += f" Launch it at {show(best.launch_torque_Nm, 'torque', units)}."
    return Advice("motor", do, why, "fit", best.gain, best.low, best.high, made, best.launch_torque_Nm, cut_m)


def launch(base: Flown, best: Option, now: Option, fit: FlightFit, units: UnitSystem) -> Advice:
    """More or less back-off of the same motor."""
    turns = best.launch_turns - now.launch_turns
    more = best.launch_factor < 1.0
    count = f"{abs(turns):.0f} turns" if not base.ratio else f"{abs(turns) / base.ratio:.1f} crank turns"
    do = (
        f"Back off {'more' if more else 'less'} (about {count}): launch at"
        f" {show(best.launch_torque_Nm, 'torque', units)} instead of {show(now.launch_torque_Nm, 'torque', units)}."
    )
    if more:
        why = (
            f"Above what it needs, torque is spent on climbing and on turning faster (rate goes with"
            f" torque^{fit.law.rate_exponent:.1f}); {now.height_m:.0f} m high is more than the flight needs."
        )
        if base.ceiling:
            why = "The ceiling was touched: what torque is above that is wasted."
    else:
        why = f"The turns that are not backed off lift it to about {best.height_m:.0f} m, and it sinks from there."
    return Advice("launch", do, why, "fit", best.gain, best.low, best.high, torque_Nm=best.launch_torque_Nm)


def _cut(made: MotorFigures, use: int, units: UnitSystem) -> tuple[float, str]:
    """Return the loop to cut, and the sentence that says so where it is another than that of the motor in use."""
    growth = grown(use)
    cut_m = made.loop_m / (1.0 + growth)
    if growth < SURE_TO_SAY:
        return cut_m, ""
    return cut_m, f" Cut it at {show(cut_m, 'length', units)}: a new loop grows by {growth:.0%} until its wind {use}."


def _left(base: Flown, now: Option) -> tuple[float, str]:
    """Return the share of turns left and how to say it: as counted, or as the fit has it if the flight stands out."""
    counted = base.left_share
    if counted is not None and abs(counted - now.left_share) < STANDS_OUT:
        return counted, f"{counted:.0%} of the turns were left"
    return now.left_share, f"By all flights together {now.left_share:.0%} of the turns are left"


def instead(item: Advice) -> Advice:
    """Return an item as the second choice."""
    return replace(item, do=f"Or: {item.do[0].lower()}{item.do[1:]}")


def from_earlier(item: Advice, base: Flown) -> Advice:
    """Return an item that starts from an earlier flight than the last."""
    return replace(item, do=f"Go back to what flew on {_day(base)}, and from there: {item.do[0].lower()}{item.do[1:]}")


def counts(best: Flown, units: UnitSystem) -> Advice:
    """What to fly when a flight counts."""
    lasted = "" if best.duration_s is None else f" It lasted {minutes(best.duration_s)}."
    at = "" if best.launch_torque_Nm is None else f", launched at {show(best.launch_torque_Nm, 'torque', units)}"
    use = _ordinal(best.motor.use)
    return Advice(
        "counts",
        f"For a flight that counts, fly what flew on {_day(best)}: {_motor_text(best.motor, units)}, in its {use}"
        f" wind{at}.",
        f"Of all that was flown it is expected to last longest.{lasted}",
        "fit",
        motor=best.motor,
        torque_Nm=best.launch_torque_Nm,
    )


def minutes(seconds: float) -> str:
    """Return a duration as people say it, as 4:05."""
    whole = round(seconds)
    return f"{whole // 60}:{whole % 60:02d}"


def _day(flown: Flown) -> str:
    return flown.started[:16].replace("T", " ")


def experiment(telling: Option, now: Option, units: UnitSystem) -> Advice:
    """The flight that tells most."""
    if telling.kind == "length":
        what = f"the same rubber with a loop of {show(telling.motor.loop_m, 'length', units)}"
    elif telling.kind == "density":
        what = f"the same loop of {show(density_of(telling.motor), 'linear density', units)}"
    else:
        what = "this motor"
    at = "" if telling.launch_factor == 1.0 else f", launched at {show(telling.launch_torque_Nm, 'torque', units)}"
    worth = telling.tells / max(now.tells, 1e-3)
    as_many = f"{worth:.1f} times as much as one more flight like the last" if worth < 20.0 else "far more than that"
    about = {
        "length": "how mass and turns count",
        "density": "the torque that holds height, and how mass counts",
        "launch": "how fast turns go at another torque",
        "same": "how much flights scatter",
    }[telling.kind]
    return Advice(
        "experiment",
        f"To learn most, fly {what}{at}.",
        f"It shows {as_many}: {about}.",
        "fit",
        telling.gain,
        telling.low,
        telling.high,
        telling.motor,
        telling.launch_torque_Nm,
    )


def by_rule(base: Flown, rule: Rule, made: MotorFigures, units: UnitSystem) -> Advice:
    """What a rule of thumb says; its effect is a guess, between nothing and twice what scaling gives."""
    if rule.kind == "same":
        do = f"Keep this motor: {_motor_text(base.motor, units)}; repeat the flight."
    elif rule.kind == "length":
        do = (
            f"Make the loop {'shorter' if rule.factor < 1.0 else 'longer'} at the same linear density:"
            f" {show(made.loop_m, 'length', units)} instead of {show(base.motor.loop_m, 'length', units)}"
            f" ({_motor_text(made, units)})."
        )
    else:
        do = (
            f"Take {'denser (thicker)' if rule.factor > 1.0 else 'thinner'} rubber at the same length:"
            f" {show(density_of(made), 'linear density', units)} instead of"
            f" {show(density_of(base.motor), 'linear density', units)} ({_motor_text(made, units)})."
        )
    low, high = (None, None) if rule.gain is None else (0.0, 2.0 * rule.gain)
    if rule.kind == "same":
        return Advice("motor", do, rule.why, "rules")
    cut_m, cut = _cut(made, base.motor.use, units)
    return Advice("motor", do + cut, rule.why, "rules", rule.gain, low, high, made, cut_loop_m=cut_m)


def retire(name: str, wear: Wear) -> Advice:
    """A motor that has had its day."""
    return Advice(
        "retire",
        f"Retire {name}: keep it for practice, not for a flight that counts."
        if wear.hurt is None
        else f"Retire {name} now: do not wind it again.",
        f"{'; '.join(wear.reasons)}."[0].upper() + f"{'; '.join(wear.reasons)}."[1:],
        "law" if wear.torque_lost else "rules",
    )


def share(name: str, one: NextShare) -> Advice:
    """How far to wind next."""
    use = _ordinal(one.use)
    risk = one.risk
    why = f"Chance to break it: {risk.value:.1%} ({risk.low:.1%} to {risk.high:.1%}), from "
    why += (
        "the default rubber alone."
        if not one.winds
        else f"{counted(one.winds, 'wind')} of its batch with {counted(one.breaks, 'break')}."
    )
    if one.share < one.usual:
        why = f"The usual {one.usual:.0%} would break it too often. {why}"
    else:
        why += " Usual shares are 80, 85 and 90 % for first, second and later winds (common practice, no source)."
    if one.instead is not None and abs(one.share / one.instead - 1.0) > SURE_TO_SAY:
        why += f" That is {percent(one.share / one.instead - 1.0)} turns against its wind before."
    return Advice(
        "share",
        f"Wind {name} to {one.share:.0%} of its breaking turns next, its {use} wind: {one.turns:.0f} turns at the"
        " peak.",
        why,
        "law",
    )


def _ordinal(number: int) -> str:
    return {1: "first", 2: "second", 3: "third"}.get(number, f"{number}th")


def log(do: str, why: str) -> Advice:
    """What to write down, so that there is something to advise from."""
    return Advice("log", do, why, "rules")


def whole(name: str, wind: str) -> Advice:
    """The question whether a motor is whole, before anything is said of its next wind."""
    short = wind[:8]
    return Advice(
        "whole",
        f"Say whether motor {name} broke: 'flight broke --wind {short}', or 'flight intact --wind {short}'.",
        "In its last wind torque was lost, and the reason is not logged: log it before its next wind.",
        "rules",
    )
