"""An invented club for demonstrations: who is in it, what they fly, how they learn. A seed in, members out. Pure.

Nobody and nothing here is real: names, figures of skill, batches and models are drawn by chance.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from winding_coach.rubber.law import DEFAULT_RUBBER, Rubber
from winding_coach.simulator.flights import SimulatedModel
from winding_coach.simulator.hands import Style

CLUB = "Lantern Hall Flyers"
NAMES = (
    *("Wren", "Pip", "Juno", "Moth", "Fern", "Tansy", "Sorrel", "Linnet", "Teasel", "Rook"),
    *("Hazel", "Quill", "Sedge", "Ember", "Lark", "Flint", "Clover", "Bramble", "Dunlin", "Yarrow"),
)
"""Nicknames, invented."""
CEILING_M = 10.0
WINDERS = {"red": 20.0, "blue": 25.0}
"""The club's winders: turns of the motor for one of the crank."""
ORINGS_KG = 0.08e-3


@dataclass(frozen=True, slots=True)
class InventedBatch:
    """A batch of rubber. stiffness: torque over the default rubber's. density: linear, of the strip as delivered."""

    name: str
    stiffness: float
    density_kg_per_m: float
    rubber: Rubber


@dataclass(frozen=True, slots=True)
class Member:
    """One of the club. start, end: skill at first and in the long run, 0-1; learns: winds that halve what is left.

    heeds: whether advice is followed. flies: chance that a good wind is flown and logged.
    """

    name: str
    start: float
    end: float
    learns: float
    heeds: bool
    flies: float
    model: SimulatedModel
    winder: str
    loop_m: float
    density_kg_per_m: float
    launch_Nm: float

    def skill_after(self, winds: int) -> float:
        """Return the skill (0-1) after so many winds."""
        return self.end + (self.start - self.end) * float(0.5 ** (winds / self.learns))


def batches(rng: np.random.Generator) -> tuple[InventedBatch, ...]:
    """Return the season's batches, in the order in which they were delivered."""
    made = []
    for name in ("amber", "birch", "copper", "dusk"):
        strength = DEFAULT_RUBBER.break_stretch * math.exp(0.01 * float(rng.standard_normal()))
        made.append(
            InventedBatch(
                name,
                math.exp(0.04 * float(rng.standard_normal())),
                2.2e-3 * math.exp(0.03 * float(rng.standard_normal())),
                replace(DEFAULT_RUBBER, break_stretch=strength),
            )
        )
    return tuple(made)


def members(count: int, rng: np.random.Generator) -> tuple[Member, ...]:
    """Return so many members; beyond the names there are, they are numbered."""
    return tuple(_member(i, rng) for i in range(count))


def _member(number: int, rng: np.random.Generator) -> Member:
    round_trip, at = divmod(number, len(NAMES))
    name = NAMES[at] + (f"-{round_trip + 1}" if round_trip else "")
    start = float(rng.uniform(0.05, 0.7))
    model = SimulatedModel(
        name="Thistledown" if number == 0 else f"Lantern-{number + 1:02d}",
        mass_kg=float(rng.uniform(1.2e-3, 2.4e-3)),
        hooks_m=round(float(rng.uniform(0.18, 0.26)), 3),
        radius_m=float(rng.uniform(0.13, 0.19)),
        solidity=float(rng.uniform(0.10, 0.15)),
        pitch_rad=float(rng.uniform(0.36, 0.46)),
        drag=float(rng.uniform(0.03, 0.06)),
        blade_flex=float(rng.uniform(0.1, 0.4)),
        loses=float(rng.uniform(0.05, 0.15)),
        ceiling_m=CEILING_M,
    )
    hold = model.hold_torque_Nm(2.0 * model.mass_kg)
    launch = hold * float(rng.uniform(1.6, 2.4))
    # A motor of 2.2 g/m shows 3.2 mN·m with a twentieth of its turns backed off, and torque goes with density^1.5: so
    # this is about what such a model needs, as far off as a beginner would be.
    suits = 2.2e-3 * (launch / 3.2e-3) ** (2.0 / 3.0)
    return Member(
        name=name,
        start=start,
        end=min(0.98, start + float(rng.uniform(0.1, 0.6))),
        learns=float(rng.uniform(25.0, 90.0)),
        heeds=bool(rng.random() < 0.6),
        flies=float(rng.uniform(0.75, 0.95)),
        model=model,
        winder=str(rng.choice(list(WINDERS))),
        loop_m=round(model.hooks_m * float(rng.uniform(1.3, 2.2)), 3),
        density_kg_per_m=suits * float(rng.uniform(0.92, 1.18)),
        launch_Nm=launch,
    )


def style_of(skill: float, rng: np.random.Generator, stiffness: float) -> Style:
    """Return how somebody of this skill (0-1) winds today a motor so much stiffer than its figures say.

    Everything is invented: the unskilled crank unevenly, stop to step, run ahead and miss peak and launch torque.
    """
    rough = 1.0 - skill
    peak = 1.0 + (0.01 + 0.03 * rough) * float(rng.standard_normal())
    launch = 1.0 + (0.01 + 0.08 * rough) * float(rng.standard_normal())
    return Style(
        speed=1.25 + 0.25 * float(rng.uniform(-1.0, 1.0)),
        unevenness=0.04 + 0.12 * rough,
        stall_chance=0.18 * rough**2,
        stall_s=1.0 + 2.0 * rough,
        ahead=max(0.0, 0.30 * rough * float(rng.uniform(-0.5, 1.0))),
        late=0.10 * rough * float(rng.standard_normal()),
        # Who winds a weak motor to the plan's torque would wind it too far; most of that is noticed.
        peak=peak * stiffness**0.85,
        launch=max(0.6, launch),
        steps_m=(0.02 + 0.05 * rough, 0.045 + 0.12 * rough),
    )


@dataclass(frozen=True, slots=True)
class InventedMotor:
    """A motor of a member. stiffness: of this one over its batch's. strength_u: where its strength lies, 0 the best."""

    name: str
    batch: InventedBatch
    loop_m: float
    mass_kg: float
    strength_u: float
    stiffness: float
    uses: int = 0

    def stiffness_now(self) -> float:
        """Return its torque over the default rubber's: it loses by use."""
        return self.batch.stiffness * self.stiffness * (1.0 - TORQUE_LOSS_PER_USE) ** self.uses

    def strength_u_now(self) -> float:
        """Return where its strength lies now: each use brings it nearer to the weakest."""
        return 1.0 - (1.0 - self.strength_u) * (1.0 - STRENGTH_LOSS_PER_USE) ** self.uses


TORQUE_LOSS_PER_USE, STRENGTH_LOSS_PER_USE = 0.008, 0.02
"""Torque and strength that a motor loses each use; invented."""


def make_motor(
    name: str, batch: InventedBatch, loop_m: float, density_kg_per_m: float, rng: np.random.Generator
) -> InventedMotor:
    """Return a new motor, cut as near to the wanted figures as hands cut."""
    loop = loop_m * (1.0 + 0.01 * float(rng.standard_normal()))
    density = density_kg_per_m * (1.0 + 0.015 * float(rng.standard_normal()))
    return InventedMotor(
        name,
        batch,
        round(loop, 3),
        round(2.0 * loop * density + ORINGS_KG, 6),
        float(rng.uniform(0.02, 0.75)),
        math.exp(0.02 * float(rng.standard_normal())),
    )


def prefixes(names: Sequence[str]) -> dict[str, str]:
    """Return for each name the shortest small letters, two at least, that no other name has; numbered ones whole."""
    found: dict[str, str] = {}
    for name in names:
        begins = [name[:length].lower() for length in range(2, len(name))]
        alone = (
            part for part in begins if not any(other != name and other.lower().startswith(part) for other in names)
        )
        found[name] = name.lower() if "-" in name else next(alone, name.lower())
    return found
