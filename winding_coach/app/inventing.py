"""One member's invented season: by seed and number, winds simulated, coached and written as whole traces, and flown.

Deterministic and resumable: what comes next rests on a wind's summary alone, so a trace that is there is kept.
"""

from __future__ import annotations

import gzip
import math
import uuid
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from winding_coach import __version__
from winding_coach.base.inputs import BytesArrived, Ended, Input, KeyPressed, LinkUp
from winding_coach.base.private import write_private
from winding_coach.coach.said import ReadingSaid, Summary
from winding_coach.coach.settings import CoachSettings
from winding_coach.coach.step import Coach
from winding_coach.keeping.indexing import wind_of
from winding_coach.meter.calibration import SIMULATED, Calibration
from winding_coach.review.advice.advice_words import density_of
from winding_coach.review.advice.advise import advise
from winding_coach.rubber.course import back_off_from, wind_along
from winding_coach.rubber.figures import ModelFigures, MotorFigures, WinderFigures
from winding_coach.rubber.history import permanent_set
from winding_coach.rubber.law import DEFAULT_RUBBER
from winding_coach.rubber.motor import before_the_wind, geometry_of
from winding_coach.rubber.path import PlanPath
from winding_coach.rubber.plan import make_plan, planned_course
from winding_coach.shelf.records import Flight, Motor, Wind
from winding_coach.shelf.records import Model as ShelfModel
from winding_coach.simulator.bench import Bench, MeterModel
from winding_coach.simulator.club import (
    CLUB,
    ORINGS_KG,
    WINDERS,
    InventedBatch,
    InventedMotor,
    Member,
    batches,
    make_motor,
    members,
    prefixes,
    style_of,
)
from winding_coach.simulator.flights import fly
from winding_coach.simulator.hands import ScriptedHands
from winding_coach.simulator.motor import SimulatedMotor
from winding_coach.traces.files import file_name
from winding_coach.traces.glance import Glance, glance
from winding_coach.traces.header import Header
from winding_coach.traces.rows import TraceError, dump, input_row

FIRST_DAY = datetime.fromisoformat("2026-03-07T10:00:00+00:00")
WINDS_A_DAY = 6
BETWEEN_MIN = 35
TICK_S = 0.1
LONGEST_S = 600.0
SAYS_BROKE_AFTER_S = 5.0
"""Someone who is not there says so, too."""
IN_ROTATION, MOST_USES, TRIES_OUT, FLIGHTS_ADVISED_ON = 3, 10, 6, 12
"""Motors that a member flies in turn, uses after which one is retired, flights after which a new size is
tried, and the newest flights that advice on it is asked from."""
SEASON = uuid.UUID("6f2b8e3c-7d41-4c0a-9e5f-2a1d0c9b8e70")
METER = MeterModel(lines_per_s=1.0 / TICK_S, board="invented-uno", noise_Nm=12e-6)


@dataclass(frozen=True, slots=True)
class Order:
    """What to invent: which member of how many, how many winds, how many of the last of them with traces."""

    seed: int
    people: int
    person: int
    winds: int
    traces: int
    folder: Path


@dataclass
class Made:
    """What was invented for one member: records for the shelf. rows: winds without a trace. flights: of all winds."""

    rows: list[Wind] = field(default_factory=list)
    flights: list[Flight] = field(default_factory=list)
    motors: list[Motor] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class _Wound:
    """One wind before and after: what was asked for and what came of it."""

    settings: CoachSettings
    header: Header
    motor: InventedMotor


def club_of(seed: int, people: int) -> tuple[tuple[InventedBatch, ...], tuple[Member, ...]]:
    """Return the season's batches and members, the same for the same seed."""
    return batches(np.random.default_rng([seed, 1])), members(people, np.random.default_rng([seed, 2]))


def calibration_of(member: int) -> Calibration:
    """Return the calibration of the meter that a member uses, one of two."""
    number = member % 2 + 1
    return replace(SIMULATED, id=f"invented-{number}", meter=f"invented meter {number}", remarks=f"Invented: {CLUB}.")


def invent(order: Order, told: Callable[[], None] = lambda: None) -> Made:
    """Invent one member's season; traces go to the folder, the rest is returned. told: called after each wind."""
    delivered, people = club_of(order.seed, order.people)
    member = people[order.person]
    prefix = prefixes([one.name for one in people])[member.name]
    return _Season(order, member, prefix, delivered, told).run()


class _Season:
    def __init__(
        self, order: Order, member: Member, prefix: str, delivered: tuple[InventedBatch, ...], told: Callable[[], None]
    ) -> None:
        self._order, self._member, self._delivered, self._told = order, member, delivered, told
        self._prefix = prefix
        self._rng = np.random.default_rng([order.seed, 3, order.person])
        self._winder = WinderFigures(WINDERS[member.winder])
        self._figures = ModelFigures(member.model.hooks_m, member.launch_Nm, member.model.name)
        self._shelf_model = ShelfModel(member.model.name, member.model.hooks_m, member.model.mass_kg)
        self._loop_m, self._density = member.loop_m, member.density_kg_per_m
        self._rack: list[InventedMotor] = []
        self._cut = 0
        self._made = Made()
        self._since_change = 0
        self._flown_lately: list[tuple[Wind, Flight]] = []

    def run(self) -> Made:
        for number in range(self._order.winds):
            self._wind(number)
            self._told()
        self._made.motors += [_record(one, "in_use") for one in self._rack]
        return self._made

    # One wind

    def _wind(self, number: int) -> None:
        # Chance is drawn again for each wind, so that a season that was interrupted goes on as it would have.
        rng = self._rng = np.random.default_rng([self._order.seed, 4, self._order.person, number])
        motor = self._take(number)
        wound = self._prepared(motor, number)
        skill = self._member.skill_after(number)
        if number >= self._order.winds - self._order.traces:
            seen = self._traced(wound, skill, rng)
            wind = wind_of(seen, seen.path.name)
        else:
            wind = self._row(wound, skill, rng)
            self._made.rows.append(wind)
        self._put_back(motor, wind)
        # A trace that was there has drawn nothing, so the flight has a chance of its own.
        rng = np.random.default_rng([self._order.seed, 5, self._order.person, number])
        if wind.outcome == "done" and rng.random() < self._member.flies:
            flight = self._flown(wound, wind, rng)
            self._made.flights.append(flight)
            self._learn(wind, flight)

    def _take(self, number: int) -> InventedMotor:
        while len(self._rack) < IN_ROTATION:
            self._cut += 1
            at = min(number * len(self._delivered) // max(self._order.winds, 1), len(self._delivered) - 1)
            name = f"{self._prefix}-{self._cut:02d}"
            self._rack.append(make_motor(name, self._delivered[at], self._loop_m, self._density, self._rng))
        return self._rack.pop(0)

    def _prepared(self, motor: InventedMotor, number: int) -> _Wound:
        member = self._member
        figures = MotorFigures(motor.loop_m, motor.mass_kg, ORINGS_KG, use=motor.uses + 1, name=motor.name)
        calibration = calibration_of(self._order.person)
        plan = make_plan(figures, self._winder, self._figures, meter_limit_Nm=calibration.rating_Nm)
        settings = CoachSettings(figures, plan, calibration, self._winder, self._figures)
        day, nth = divmod(number, WINDS_A_DAY)
        started = FIRST_DAY + timedelta(days=7 * day, minutes=BETWEEN_MIN * nth + self._order.person, seconds=number)
        header = Header(
            id=str(uuid.uuid5(SEASON, f"{self._order.seed}/{self._order.people}/{member.name}/{number}")),
            started=started,
            software=f"winding-coach {__version__}",
            meter=calibration.meter,
            calibration=calibration,
            motor=figures,
            winder=self._winder,
            model=self._figures,
            person=member.name,
            plan=plan,
            more={
                "shelf": {"motor": motor.name, "batch": motor.batch.name, "winder": member.winder},
                "invented": f"no real person, motor or meter: a simulated season of the {CLUB}",
            },
        )
        return _Wound(settings, header, motor)

    def _traced(self, wound: _Wound, skill: float, rng: np.random.Generator) -> Glance:
        """Return the wind's trace, made if it is not there."""
        path = self._order.folder / f"{file_name(wound.header)}.gz"
        try:
            seen = glance(path)
            if seen.header.id == wound.header.id and seen.summary is not None:
                return seen
        except TraceError:
            pass  # Not there, or cut off when the command was: it is made again.
        motor = wound.motor
        body = SimulatedMotor(
            wound.settings.motor,
            motor.batch.rubber,
            torque_scale=motor.stiffness_now(),
            strength_u=motor.strength_u_now(),
            hooks_m=self._member.model.hooks_m,
        )
        style = style_of(skill, rng, motor.stiffness_now())
        hands = ScriptedHands(wound.settings.plan, wound.settings.motor, self._winder, style, rng)
        bench = Bench(body, hands, self._winder.ratio, METER, rng)
        _write(path, _rows(wound, bench))
        return glance(path)

    def _row(self, wound: _Wound, skill: float, rng: np.random.Generator) -> Wind:
        """Return a wind without a trace: the plan's figures, missed as someone of this skill would."""
        plan, motor = wound.settings.plan, wound.motor
        rough = 1.0 - skill
        style = style_of(skill, rng, motor.stiffness_now())
        # Turns go with torque^½ near the peak, where a tenth more torque is about a twentieth more turns.
        peak_turns = plan.target_turns * math.sqrt(style.peak / motor.stiffness_now())
        # As if it had been wound further: by its batch's strength, and by the loose knots of a rough walk-in.
        further = peak_turns / plan.target_turns * math.exp(0.08 * rough * abs(float(rng.standard_normal())))
        further *= (DEFAULT_RUBBER.break_stretch / motor.batch.rubber.break_stretch) ** 1.5
        # Survival is Weibull in stretch, which goes with turns^⅔.
        stands = (1.0 - plan.break_risk) ** (further ** (DEFAULT_RUBBER.break_shape / 1.5))
        broke = stands < motor.strength_u_now()
        return replace(
            _blank(wound),
            outcome="broken" if broke else "done",
            peak_torque_Nm=plan.peak_torque_Nm * style.peak,
            peak_turns=peak_turns,
            backed_off_turns=None if broke else peak_turns - plan.launch_turns / plan.target_turns * peak_turns,
            launch_torque_Nm=None if broke else plan.launch_torque_Nm * style.launch,
            launch_turns=None if broke else plan.launch_turns / plan.target_turns * peak_turns,
            energy_stored_J=None if broke else plan.energy_stored_J * motor.stiffness_now(),
            stalls=int(rng.poisson(6.0 * rough**2)),
            stalled_s=float(12.0 * rough**2),
            time_in_rate_band=float(np.clip(0.95 - 0.4 * rough + 0.05 * rng.standard_normal(), 0.0, 1.0)),
            lost_lines=0,
            duration_s=150.0,
        )

    def _put_back(self, motor: InventedMotor, wind: Wind) -> None:
        """Return the motor to the rack, longer by its set and older by one use; or throw it away."""
        body = geometry_of(MotorFigures(motor.loop_m, motor.mass_kg, ORINGS_KG))
        stretch = body.strand_stretch(self._member.model.hooks_m, wind.peak_turns or 0.0)
        so_far = 0.0
        for _ in range(motor.uses):
            so_far = permanent_set(motor.batch.rubber, so_far, stretch)
        grown = (1.0 + permanent_set(motor.batch.rubber, so_far, stretch)) / (1.0 + so_far)
        worn = replace(motor, loop_m=round(motor.loop_m * grown, 3), uses=motor.uses + 1)
        if wind.outcome == "broken":
            self._made.motors.append(_record(worn, "broken"))
        elif worn.uses >= MOST_USES:
            self._made.motors.append(_record(worn, "retired"))
        else:
            self._rack.append(worn)

    # Its flight

    def _flown(self, wound: _Wound, wind: Wind, rng: np.random.Generator) -> Flight:
        """Return the flight of a wind, by the simulated model, and how it was logged: not always all of it."""
        model, motor, figures = self._member.model, wound.motor, wound.settings.motor
        body = geometry_of(figures, motor.batch.rubber)
        peak_turns = wind.peak_turns or wound.settings.plan.target_turns
        course = planned_course(body, model.hooks_m, peak_turns, self._winder.ratio)
        start = before_the_wind(body, figures.use, model.hooks_m, motor.batch.rubber)
        up = wind_along(course, start, peak_turns, motor.batch.rubber)
        off = back_off_from(course, up[-1], motor.batch.rubber)
        launch_turns = wind.launch_turns if wind.launch_turns is not None else wound.settings.plan.launch_turns
        launch = next((mark for mark in off if mark.turns <= launch_turns), off[0])
        flown = fly(model, body, launch, figures.mass_kg, motor.batch.rubber, motor.stiffness_now())
        left = max(0.0, flown.turns_left + 6.0 * float(rng.standard_normal()))
        lasted = flown.duration_s * math.exp(0.04 * float(rng.standard_normal()))
        used_J = None
        if wind.energy_stored_J is not None and wind.launch_turns is not None:
            path = PlanPath(wound.settings.plan, figures)
            whole_J = path.energy_left_J(wind.launch_turns)
            used_J = wind.energy_stored_J * (1.0 - path.energy_left_J(min(left, wind.launch_turns)) / whole_J)
        counted = rng.random() < 0.92
        measured = rng.random() < 0.5
        when = wound.header.started + timedelta(minutes=5)
        return Flight(
            id=str(uuid.uuid5(SEASON, f"flight of {wind.id}")),
            wind=wind.id,
            flown=when.isoformat(),
            duration_s=float(round(lasted)),
            turns_left=float(round(min(left, launch_turns))) if counted else None,
            height_m=round(flown.height_m, 1) if measured else None,
            ceiling=flown.ceiling,
            remarks="touched a beam" if flown.ceiling and rng.random() < 0.3 else "",
            energy_used_J=used_J if counted else None,
        )

    def _learn(self, wind: Wind, flight: Flight) -> None:
        """After some flights a new size is cut: as advised, or by chance where no one heeds advice."""
        self._flown_lately = [*self._flown_lately, (wind, flight)][-FLIGHTS_ADVISED_ON:]
        self._since_change += 1
        if self._since_change < TRIES_OUT:
            return
        self._since_change = 0
        before = self._loop_m, self._density
        if self._member.heeds:
            self._apply_advice()
        else:
            self._loop_m *= float(self._rng.choice((0.95, 1.0, 1.05)))
        if (self._loop_m, self._density) != before and self._rack:
            # The oldest makes room for the new size.
            self._made.motors.append(_record(self._rack.pop(0), "retired"))

    def _apply_advice(self) -> None:
        """Take the first advice there is on motor or launch."""
        winds = [wind for wind, _ in self._flown_lately]
        flights = {flight.wind: flight for _, flight in self._flown_lately}
        advised = advise(winds, flights, self._shelf_model, ceiling_m=self._member.model.ceiling_m)
        for item in advised.items:
            if item.topic not in ("motor", "launch") or (item.gain is None and item.rests_on == "fit"):
                continue
            if item.motor is not None:
                self._loop_m = item.cut_loop_m or item.motor.loop_m
                self._density = density_of(replace(item.motor, loop_m=self._loop_m))
            if item.torque_Nm is not None:
                self._figures = replace(self._figures, launch_torque_Nm=item.torque_Nm)
            return


def _record(motor: InventedMotor, state: str) -> Motor:
    return Motor(
        motor.name, motor.loop_m, motor.mass_kg, ORINGS_KG, batch=motor.batch.name, state=state, remarks="invented"
    )


def _blank(wound: _Wound) -> Wind:
    """Return the row of a wind of which only the beginning is known."""
    seen = Glance(Path(file_name(wound.header)), wound.header, {}, 0, "")
    return replace(wind_of(seen, seen.path.name), trace_bytes=None, trace_sha256=None)


def _rows(wound: _Wound, bench: Bench) -> list[str]:
    """Return the lines of a wind's trace: what the meter sent, and between it what the coach said."""
    coach = Coach(wound.settings)
    name = file_name(wound.header)
    rows = [dump(wound.header.as_json())]

    def step(event: Input) -> None:
        row = input_row(event)
        if row is not None:
            rows.append(row)
        coach.step(event)
        for said in coach.said:
            if not isinstance(said, ReadingSaid):
                one: dict[str, Any] = said.as_json()
                rows.append(dump(one | {"trace": name} if isinstance(said, Summary) else one))

    step(LinkUp(0.0, "invented"))
    at_s, broke_at_s = 0.0, math.inf
    while not bench.done and not coach.finished and at_s < LONGEST_S:
        at_s = round(at_s + TICK_S, 6)
        data = bench.advance(TICK_S)
        if data:
            step(BytesArrived(at_s, data))
        if bench.truth.broken and not coach.finished:
            broke_at_s = min(broke_at_s, at_s)
            if at_s - broke_at_s >= SAYS_BROKE_AFTER_S:
                step(KeyPressed(at_s, "broke"))
    if not coach.finished:
        step(Ended(at_s))
    return rows


def _write(path: Path, rows: list[str]) -> None:
    """Write a trace whole or not at all, for the user's eyes only."""
    packed = gzip.compress("".join(f"{row}\n" for row in rows).encode("utf-8", "surrogatepass"), 6, mtime=0)
    write_private(path, packed)
