"""Makes the drawings and tables of docs/guides/meter-build.md. `python docs/made_by/meter_build.py` rewrites them.

Drawings are 1:1. The formulas are in winding_coach.meter.commissioning.mechanics, the motors in the winding plan.
"""

from __future__ import annotations

import math
import re
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.support.drawing import across, box, note, ring, upright
from winding_coach.meter.commissioning import mechanics as m
from winding_coach.report.svg import SECOND, curve, line, page, words
from winding_coach.rubber.figures import ModelFigures, MotorFigures, Plan, WinderFigures
from winding_coach.rubber.plan import make_plan

DOCS = Path(__file__).parents[1]
NAMES = ("bearing-and-arm", "wire", "from-the-front", "crank-wheel")

CELL = m.Cell(0.100)
ARM_M, STOP_M, CELL_GIVES_M, STOP_AT = 0.030, 0.040, 0.3e-3, 1.25
SHAFT_M, SPAN_M, OVERHANG_M = 4e-3, 0.060, 0.020
WIRE_M, WIRE_LONG_M, THICK_WIRE_M = 0.5e-3, 0.100, 0.8e-3
JOINT_M, JOINT_LONG_M, PIN_M, BASE_M = 0.3e-3, 0.020, 1.5e-3, 0.045
BAR_KG, BAR_LONG_M = 0.0060, 0.090
SHOWN_N, BIG_N, OFFSET_M = 18.0, 95.0, 0.5e-3
MAGNET_AT_MM, SLOTS = 25.0, 16
PEAKS_MNM = (0.3, 1.0, 3.0, 7.4, 15.0, 30.0, 60.0, 100.0)


def rating_Nm() -> float:
    return CELL.rating_Nm(ARM_M)


def counts_per_Nm() -> float:
    return CELL.counts_per_Nm(ARM_M)


def noise_Nm(lines_per_s: int) -> float:
    return m.Cell(CELL.rating_kg, noise_V={10: 50e-9, 80: 90e-9}[lines_per_s]).noise_Nm(ARM_M)


def arm_stiffness() -> float:
    """Of the cell at the arm, N·m/rad."""
    return rating_Nm() / (CELL_GIVES_M / ARM_M)


def table(head: str, rows: list[tuple[str, ...]], right: int = 1) -> str:
    columns = head.count("|") + 1
    marks = "|".join("---:" if 0 < i <= right else "---" for i in range(columns))
    return f"| {head} |\n|{marks}|\n" + "\n".join(f"| {' | '.join(row)} |" for row in rows)


def figures_table() -> str:
    return table(
        "of the example|value",
        [
            ("torque at the cell's rated capacity", f"{1e3 * rating_Nm():.1f} mN·m"),
            ("counts for 1 mN·m", f"{counts_per_Nm() * 1e-3:,.0f}"),
            ("share of the converter's range at the cell's rating", f"{CELL.range_share:.0%}"),
            ("10 g on a 30 mm arm", f"{1e3 * m.Cell(0.010).rating_Nm(ARM_M):.3f} mN·m"),
        ],
    )


def _micro(value_Nm: float) -> str:
    return f"{1e6 * value_Nm:,.2f}" if value_Nm < 1e-5 else f"{1e6 * value_Nm:,.0f}"


def noise_table() -> str:
    one, five = (m.pull_torque_Nm(SHOWN_N, OFFSET_M, math.radians(degrees)) for degrees in (1.0, 5.0))
    side = m.overhang_N(SHOWN_N * math.sin(math.radians(1.0)), OVERHANG_M, SPAN_M)
    radial = sum(m.friction_Nm(abs(force), SHAFT_M / 2) for force in side)
    thrust = m.friction_Nm(SHOWN_N, SHAFT_M / 2)
    catalogue = "coefficient 0.0015 at the bore's radius (a bearing maker's catalogue)"
    rows: list[tuple[str, ...]] = [
        ("converter, 10 lines/s", _micro(noise_Nm(10)), "50 nV rms at gain 128 (HX711 data sheet)"),
        ("converter, 80 lines/s", _micro(noise_Nm(80)), "90 nV rms at gain 128 (HX711 data sheet)"),
        ("zero with temperature, 5 °C", "8 to 15", "1.5 to 3 µN·m per degree"),
        ("creep of the cell, 0.1 % of 20 mN·m", _micro(20e-6), "usual data of small cells, from memory"),
        ("friction of two radial bearings, 18 N tilted by 1°", _micro(radial), catalogue),
        ("friction of a thrust bearing under 18 N: layout 1 only", _micro(thrust), catalogue),
        ("18 N half a millimetre off the axis, tilted by 1°", _micro(one), "pull × offset × sine of the tilt"),
        ("the same, tilted by 5°", _micro(five), "pull × offset × sine of the tilt"),
        ("18 N half a millimetre off, parallel to the axis", "0", "a bending moment of 9 mN·m, and no torque"),
    ]
    return table("part|µN·m|from", rows)


def calculations_table() -> str:
    steel = m.MUSIC_WIRE_PA
    wire, thick = (m.area_m2(d) * steel for d in (WIRE_M, THICK_WIRE_M))
    tight = m.torsion_Nm_per_rad(WIRE_M, WIRE_LONG_M)
    inertia = m.bar_inertia_kg_m2(BAR_KG, BAR_LONG_M)
    gap = m.stop_gap_m(CELL_GIVES_M, ARM_M, STOP_M, STOP_AT)
    side = m.overhang_N(BIG_N * math.sin(math.radians(5.0)), OVERHANG_M, SPAN_M)
    rows: list[tuple[str, ...]] = [
        (
            "stiffness of the cell at the arm",
            f"{arm_stiffness():.1f} N·m/rad",
            "0.3 mm at its rating, from memory: measure",
        ),
        (
            "arm on the cell, natural frequency",
            f"{m.frequency_Hz(arm_stiffness(), inertia):.0f} Hz",
            "√(k/I)/2π, bar of 6 g and 90 mm",
        ),
        ("gap at the stops, 40 mm from the axis", f"{1e3 * gap:.2f} mm", "acts at 1.25 times the rating"),
        (
            "joint wire 0.3 × 20 mm buckles at",
            f"{m.buckling_N(JOINT_M, JOINT_LONG_M):.1f} N",
            "4π²EI/L²; the rating is 1 N",
        ),
        ("joint wire, stiffness sideways", f"{m.guided_N_per_m(JOINT_M, JOINT_LONG_M):.0f} N/m", "12EI/L³"),
        ("wire 0.5 mm breaks at", f"{wire:.0f} N", "tensile strength 2.0 GPa, from memory"),
        ("wire 0.8 mm breaks at", f"{thick:.0f} N", "for motors that pull more than 49 N: eight times the pull"),
        (
            "wire 0.5 × 100 mm, in twist",
            f"{1e3 * tight:.1f} mN·m/rad",
            f"GJ/L; {tight / arm_stiffness():.2%} of the cell's",
        ),
        ("the same, longer under 18 N by", f"{1e6 * SHOWN_N / m.axial_N_per_m(WIRE_M, WIRE_LONG_M):.0f} µm", "EA/L"),
        (
            "cross pin 1.5 mm under 95 N",
            f"{m.double_shear_Pa(BIG_N, PIN_M) / 1e6:.0f} MPa",
            "F/2A, two sections; spring steel holds 400",
        ),
        (
            "front bearing, 95 N tilted by 5°",
            f"{side[0]:.0f} N",
            "F(a+b)/b; a small bearing of 4 mm holds some 200, from memory",
        ),
        ("tipping moment at the base, 95 N", f"{BIG_N * BASE_M:.1f} N·m", "45 mm high: screw or clamp the base down"),
        ("an arm that is 5° off level", f"{m.level_error(math.radians(5.0)):.2%}", "1 − cos α"),
    ]
    return table("calculated|value|from", rows)


def plan_for(peak_Nm: float) -> Plan:
    """The plan of a loop of 40 cm whose peak is this torque; its mass is sought."""
    low, high = 1e-5, 0.05
    for _ in range(40):
        mass = math.sqrt(low * high)
        plan = make_plan(MotorFigures(loop_m=0.40, mass_kg=mass), WinderFigures(), ModelFigures(hooks_m=0.30))
        low, high = (mass, high) if plan.peak_torque_Nm < peak_Nm else (low, mass)
    return plan


def motors_table() -> str:
    rows: list[tuple[str, ...]] = []
    for peak in PEAKS_MNM:
        plan = plan_for(peak * 1e-3)
        cell, arm = m.cell_for(peak * 1e-3)
        pull, noise = plan.stretched_pull_N, cell.noise_Nm(arm)
        thrust = m.friction_Nm(pull, SHAFT_M / 2) / (peak * 1e-3)
        rows.append(
            (
                f"{peak:g} mN·m",
                f"{2e3 * 0.4 * plan.linear_density_kg_per_m:.2g} g",
                f"{1e3 * plan.launch_torque_Nm:.2g} mN·m",
                f"{pull:.0f} N" if pull > 10 else f"{pull:.1f} N",
                f"{1e3 * cell.rating_kg:.0f} g",
                f"{1e3 * arm:.0f} mm",
                f"{1e3 * cell.rating_Nm(arm):.3g} mN·m",
                f"{1e6 * noise:.2f} µN·m",
                f"{noise / (peak * 1e-3):.3%}",
                f"{thrust:.1%}",
                f"{1e3 * (WIRE_M if 8 * pull < m.area_m2(WIRE_M) * m.MUSIC_WIRE_PA else THICK_WIRE_M):.1f} mm",
            )
        )
    head = "peak torque|motor|launch|pull|cell|arm|rating|noise, 80 lines/s|of the peak|thrust bearing|wire"
    return table(head, rows, right=10)


def pulls_table() -> str:
    rows: list[tuple[str, ...]] = []
    for loop_m, mass_kg in ((0.30, 1.40e-3), (0.30, 2.5e-3), (0.40, 10e-3)):
        plan = make_plan(MotorFigures(loop_m=loop_m, mass_kg=mass_kg), WinderFigures(), ModelFigures(hooks_m=0.22))
        pull, peak = f"{plan.stretched_pull_N:.0f} N", f"{1e3 * plan.peak_torque_Nm:.3g} mN·m"
        rows.append((f"{1e3 * mass_kg:g} g, loop of {100 * loop_m:.0f} cm", pull, peak))
    return table("motor|pull at full stretch|peak torque", rows, right=2)


# -- drawings


def hook(x: float, y: float) -> str:
    """A closed hook at the shaft's end, where the motor pulls to the left."""
    eye = [(x, y), (x - 5, y), (x - 8, y - 1.5), (x - 8.5, y - 4), (x - 6.5, y - 6), (x - 4, y - 5), (x - 3, y)]
    return curve(eye, width=0.9)


def pull_arrow(x: float, y: float) -> list[str]:
    head = curve([(x + 3, y - 1.3), (x, y), (x + 3, y + 1.3)], width=0.6, stroke=SECOND)
    return [line(x, y, x + 14, y, width=0.6, stroke=SECOND), head, words(x, y + 4.4, "pull", 3.1, fill=SECOND)]


FRONT, REAR, AXIS = 36.0, 96.0, 46.0
"""Middles of the two blocks, and the height of the axis on the page of a side view."""


def blocks() -> list[str]:
    """The base, both blocks in section with their ball bearings, and the shaft with its hook."""
    base = AXIS + 1e3 * BASE_M
    parts = [box(14, base, 160, 8, "#cfcfcf")]
    for x in (FRONT, REAR):
        parts += [box(x - 5, AXIS - 12, 10, base - AXIS + 12), box(x - 5, AXIS - 4.5, 4, 9, "#ffffff")]
        parts += [ring(x - 3, AXIS - 3.2, 1.1), ring(x - 3, AXIS + 3.2, 1.1), box(x - 1, AXIS - 2.4, 6, 4.8, "#ffffff")]
    return parts


def common_side() -> list[str]:
    hub = (FRONT + REAR) / 2
    return [
        box(hub - 5, AXIS - 7, 10, 14, "#9a9a9a"),
        *note(hub - 4, 24, "arm on its hub: front view", hub, AXIS - 7),
        *pull_arrow(3, AXIS + 7),
        words(4, 31, "motor", 3.1, fill=SECOND),
        *across(FRONT, REAR, AXIS + 36, f"{1e3 * SPAN_M:.0f}", from_y=AXIS + 20),
        *across(16, FRONT, AXIS + 36, f"{1e3 * OVERHANG_M:.0f}", from_y=AXIS + 2),
        *across(FRONT, hub, AXIS - 16, f"{1e3 * SPAN_M / 2:.0f} to the arm", from_y=AXIS - 12),
    ]


def bearing_and_arm() -> str:
    parts = [
        words(8, 10, "Layout 1, from the side, blocks in section. Millimetres, 1:1", 4, bold=True),
        *blocks(),
        box(16, AXIS - 2, 116, 4, "#ffffff"),
        hook(16, AXIS),
        *common_side(),
        box(REAR + 5, AXIS - 4.5, 4, 9, "#ffffff"),
        ring(REAR + 7, AXIS - 3.2, 1.3),
        ring(REAR + 7, AXIS + 3.2, 1.3),
        box(REAR + 9, AXIS - 5, 8, 10, "#9a9a9a"),
        line(REAR + 13, AXIS - 7, REAR + 13, AXIS + 7, width=1.5),
        box(REAR + 20, AXIS - 5, 8, 10, "#9a9a9a"),
        box(FRONT - 10, AXIS - 4, 4, 8, "#9a9a9a"),
        words(112, 17, "collar BEHIND its block: the pull presses it on", 3.1),
        *note(112, 20.6, "the thrust bearing; cross pin 1.5 through both", REAR + 13, AXIS - 5),
        *note(122, 30, "second collar: holds if the pin fails", REAR + 24, AXIS - 5),
        *upright(AXIS, AXIS + 1e3 * BASE_M, 166, f"{1e3 * BASE_M:.0f}", from_x=158),
        *note(136, 64, "thrust bearing", REAR + 7, AXIS + 4.5),
        words(136, 67.6, "4 × 9 × 4", 3.1),
        *note(44, 64, "ball bearings 4 × 9 × 4,", FRONT - 3, AXIS + 4.5),
        words(44, 67.6, "pressed in; the shaft slides", 3.1),
        *note(20, 17, "light collar: the shaft cannot slide back", FRONT - 8, AXIS - 4),
        words(134, AXIS + 1, "shaft Ø 4 steel", 3.1),
        *across(16, 132, AXIS + 28, "shaft 116", from_y=AXIS + 8),
        *across(FRONT - 5, FRONT + 5, AXIS + 41.5, "10", from_y=AXIS + 40),
        words(18, AXIS + 50, "base 160 × 160 × 8, screwed or clamped down", 3.1),
        words(
            8,
            108,
            "The pull (to the left) lifts nothing off: hook, shaft and collar are drawn against the rear block.",
            3.4,
        ),
    ]
    return page(190, 113, "Layout 1: shaft in bearings, collar behind its block", parts)


def wire() -> str:
    parts = [
        words(8, 10, "Layout 2, from the side: as layout 1, but a wire takes the pull. Millimetres, 1:1", 4, bold=True),
        *blocks(),
        box(16, AXIS - 2, 98, 4, "#ffffff"),
        hook(16, AXIS),
        *common_side(),
        box(REAR + 5.8, AXIS - 5, 8, 10, "#9a9a9a"),
        line(REAR + 9.8, AXIS - 7, REAR + 9.8, AXIS + 7, width=1.5),
        line(104, AXIS, 222, AXIS, width=0.6),
        box(14, AXIS + 45, 218, 8, "#cfcfcf"),
        box(214, AXIS - 12, 12, 57),
        box(214, AXIS - 2, 12, 4, "#9a9a9a"),
        box(226, AXIS - 4, 6, 8, "#9a9a9a"),
        box(FRONT - 9.3, AXIS - 4, 4, 8, "#9a9a9a"),
        *note(20, 17, "light collar, 0.3 clear: no push reaches the wire", FRONT - 8, AXIS - 4),
        *across(114, 214, AXIS + 36, f"{1e3 * WIRE_LONG_M:.0f} free", from_y=AXIS + 3),
        words(110, 17, "safety collar BEHIND its block, 0.8 clear of it:", 3.1),
        *note(110, 20.6, "catches the shaft if the wire breaks", REAR + 9.8, AXIS - 5),
        words(140, 30, "music wire 0.5 (0.8 above 49 N), on the axis,", 3.1),
        *note(140, 33.6, "soldered 10 deep into the shaft and the ferrule", 150, AXIS),
        *across(16, 114, AXIS + 28, "shaft 98", from_y=AXIS + 8),
        *note(150, 64, "ferrule: its nose fills the bore,", 222, AXIS + 2),
        words(150, 67.6, "its shoulder is BEHIND the block", 3.1),
        *note(44, 64, "ball bearings 4 × 9 × 4,", FRONT - 3, AXIS + 4.5),
        words(44, 67.6, "pressed in; the shaft slides", 3.1),
        words(18, AXIS + 50, "base 220 × 160 × 8, screwed or clamped down", 3.1),
        words(
            8,
            108,
            "Both bearings carry weight and arm only. The wire holds back 0.2 % of the torque, the same at each load:",
            3.4,
        ),
        words(
            8,
            112.4,
            "calibration takes it in. No thrust bearing, so hardly any friction: the one for motors below 3 mN·m.",
            3.4,
        ),
    ]
    return page(238, 117, "Layout 2: shaft in bearings, pull taken by a wire", parts)


def from_the_front() -> str:
    x, y, base = 80.0, 38.0, 38.0 + 1e3 * BASE_M
    joint, stop, left = x + 1e3 * ARM_M, x - 1e3 * STOP_M, x - 1e3 * ARM_M
    top = y + 2.5 + 1e3 * JOINT_LONG_M
    parts = [
        words(8, 10, "From the front (the motor's side): arm, cell and stops. Millimetres, 1:1", 4, bold=True),
        box(10, base, 156, 8, "#cfcfcf"),
        box(x - 45, y - 2.5, 90, 5, "#9a9a9a"),
        ring(x, y, 7, "#9a9a9a"),
        ring(x, y, 2),
        line(joint, y + 2.5, joint, top, width=0.5),
        box(joint - 4, top, 47, 12, "#f4f4f4"),
        ring(joint + 15, top + 6, 3.2, "#ffffff"),
        ring(joint + 24, top + 6, 3.2, "#ffffff"),
        box(joint + 31, top + 12, 12, base - top - 12, "#cfcfcf"),
        box(stop - 13, y - 16, 4, base - y + 16),
        box(stop - 13, y - 16, 17, 5),
        box(stop - 13, y + 11, 17, 5),
        line(stop, y - 18, stop, y - 3, width=1.6),
        line(stop, y + 3, stop, y + 18, width=1.6),
    ]
    for place in (left, joint + 3):
        at = left if place == left else joint
        parts += [line(at - 0.8, y - 4.2, at, y - 2.5, width=0.4), line(at + 0.8, y - 4.2, at, y - 2.5, width=0.4)]
    parts += [
        line(left, y - 2.5, left, y + 28, width=0.25, stroke=SECOND),
        box(left - 3, y + 28, 6, 8, "#ffffff"),
        *across(left, x, y - 18, "30", from_y=y - 8),
        *across(x, joint, y - 18, "30", from_y=y - 8),
        *across(stop, x, y - 23, "40 to the stops", from_y=y - 18),
        *upright(y + 2.5, top, joint - 9, "20", from_x=joint),
        *upright(y, base, 14, f"{1e3 * BASE_M:.0f}", from_x=26),
        *note(128, 26, "arm 90 × 8 × 5 aluminium, notches at ±30", x + 42, y - 2.5),
        *note(128, 48, "joint: steel wire 0.3 × 20 free, both", joint, y + 12),
        words(128, 51.6, "ends soldered or clamped: no play", 3.1),
        *note(158, 64, "load cell 47 × 12 × 6,", joint + 40, top + 3),
        words(158, 67.6, "two M3 into its post;", 3.1),
        words(158, 71.2, "nothing else touches it", 3.1),
        *across(joint - 4, joint, top + 18, "4", from_y=top + 12),
        *across(joint, joint + 31, top + 18, "31 to the post", from_y=top + 12),
        *across(joint + 31, joint + 43, top + 18, "12", from_y=top + 12),
        *upright(top + 12, base, joint + 50, f"{base - top - 12:.1f}", from_x=joint + 43),
        words(4, 21.4, "stops: M3", 3.1),
        *note(4, 25, "gap 0.50", stop, y - 6),
        *note(60, 66, "weight on a thread: here", left, y + 30),
        words(60, 69.6, "or in the right notch,", 3.1),
        words(60, 73.2, "never in both", 3.1),
        words(
            8,
            100,
            "Half a millimetre (a turn of an M3 screw) at 40 mm acts at 1.25 times the rating if the cell gives 0.3 mm",
            3.4,
        ),
        words(
            8,
            104.4,
            "at 30 mm. Set it by weights: at 1.1 times the rating it must be free, at 1.4 the reading must stay.",
            3.4,
        ),
    ]
    return page(202, 109, "Arm, cell and stops from the front", parts)


def _round(x: float, y: float, radius: float, degrees: float) -> tuple[float, float]:
    """The place on a circle, from the top on, clockwise."""
    turn = math.radians(degrees)
    return x + radius * math.sin(turn), y - radius * math.cos(turn)


def _sector(x: float, y: float, inner: float, outer: float, from_deg: float, to_deg: float) -> str:
    steps = [from_deg + (to_deg - from_deg) * i / 6 for i in range(7)]
    ends = [_round(x, y, outer, at) for at in steps] + [_round(x, y, inner, at) for at in reversed(steps)]
    return curve([*ends, ends[0]], width=0.35)


def crank_wheel() -> str:
    """The wheel with magnets, and the printed encoder."""
    y, parts = 58.0, [words(8, 10, "Crank sensors, from the handle's side. Millimetres, 1:1", 4, bold=True)]
    left, right = 48.0, 140.0
    parts += [ring(left, y, 30, "#f4f4f4"), ring(left, y, 5)]
    for degrees in (0, 90, 180, 270):
        parts.append(ring(*_round(left, y, MAGNET_AT_MM, degrees), 3, "#9a9a9a"))
    for name, degrees in (("A", 45.0), ("B", 67.5)):
        sx, sy = _round(left, y, MAGNET_AT_MM, degrees)
        parts += [box(sx - 1.5, sy - 1.5, 3, 3, "#ffffff"), words(sx + 2.5, sy + 1, name, 3.1, fill=SECOND)]
    parts += [
        *note(8, 22, "four magnets Ø 6 × 3, same pole outwards", left, y - MAGNET_AT_MM),
        *across(left, left + MAGNET_AT_MM, y + 34, "25", from_y=y + 4),
        words(8, 98, "A, B: switches on the stand, 2 to 4 from the magnets;", 3.1),
        words(8, 101.6, "B is 22.5° further on, a quarter of the way from magnet", 3.1),
        words(8, 105.2, "to magnet, and tells the direction. A alone counts.", 3.1),
        ring(right, y, 30, "#f4f4f4"),
        ring(right, y, 5),
    ]
    pitch = 360.0 / SLOTS
    parts += [_sector(right, y, 22, 28, i * pitch - pitch / 4, i * pitch + pitch / 4) for i in range(SLOTS)]
    parts += [
        *note(122, 22, f"printed wheel with {SLOTS} slots, slot as wide as bar", *_round(right, y, 28, 0)),
        *across(right, right + 25, y + 34, "25", from_y=y + 4),
        *note(178, 48, "light barrier A over the rim", *_round(right, y, 25, 90 - pitch)),
        *note(178, 70, "B a quarter of a slot's", *_round(right, y, 25, 90 + pitch / 4)),
        words(178, 73.6, "way further on", 3.1),
        words(122, 98, f"{SLOTS} slots at radius 25: {slot_mm():.1f} wide; at 3 turns/s one is", 3.1),
        words(122, 101.6, f"open for {1e3 / (2 * SLOTS * 3):.0f} ms: CRANK_BOUNCE_US 300,", 3.1),
        words(122, 105.2, f"CRANK_PULSES_PER_TURN {SLOTS}. Black filament, so that no", 3.1),
        words(122, 108.8, "light comes through the bars.", 3.1),
    ]
    return page(226, 113, "A wheel with four magnets, and a printed encoder", parts)


def slot_mm() -> float:
    """Width of a slot of the encoder, in the middle of its length."""
    return 2 * math.pi * 25.0 / (2 * SLOTS)


def pictures() -> dict[str, str]:
    return dict(zip(NAMES, (bearing_and_arm(), wire(), from_the_front(), crank_wheel()), strict=True))


def tables() -> dict[str, str]:
    made = {"figures": figures_table(), "noise": noise_table(), "calculations": calculations_table()}
    return made | {"motors": motors_table(), "pulls": pulls_table()}


def filled(text: str) -> str:
    for name, made in tables().items():
        marks = re.compile(rf"(<!-- {name} -->\n).*?(<!-- end -->)", re.DOTALL)
        text = marks.sub(lambda found, made=made: f"{found[1]}{made}\n{found[2]}", text)  # type: ignore[misc]
    return text


def main() -> None:
    path = DOCS / "guides" / "meter-build.md"
    path.write_text(filled(path.read_text(encoding="utf-8")), encoding="utf-8")
    for name, svg in pictures().items():
        (DOCS / "pictures" / f"meter-{name}.svg").write_text(svg, encoding="utf-8")


if __name__ == "__main__":
    main()
