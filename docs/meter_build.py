"""Makes the drawings and tables of docs/meter-build.md. `python docs/meter_build.py` rewrites them.

Drawings are not to scale. Figures marked so on the page are from memory.
"""

from __future__ import annotations

import re
from pathlib import Path

from winding_coach.report.svg import INK, PALE, SECOND, curve, dot, line, page, words
from winding_coach.units import GRAVITY_M_PER_S2

DOCS = Path(__file__).parent
NAMES = ("bearing-and-arm", "wire-carrier", "gauged-rod")

SUPPLY_V, GAIN, CELL_MV_PER_V = 5.0, 128, 1.0
CELL_KG, ARM_M = 0.100, 0.030
NOISE_NV = {10: 50.0, 80: 90.0}
PULL_N, OFF_AXIS_M, BEARING_MU, BEARING_RADIUS_M = 10.0, 0.5e-3, 0.0015, 3e-3


def rating_Nm() -> float:
    return CELL_KG * GRAVITY_M_PER_S2 * ARM_M


def counts_per_Nm() -> float:
    full_scale_V = 0.5 * SUPPLY_V / GAIN
    return 2**23 * (SUPPLY_V * CELL_MV_PER_V * 1e-3 / full_scale_V) / rating_Nm()


def noise_Nm(lines_per_s: int) -> float:
    full_scale_V = 0.5 * SUPPLY_V / GAIN
    return NOISE_NV[lines_per_s] * 1e-9 / full_scale_V * 2**23 / counts_per_Nm()


def noise_table() -> str:
    def micro(value_Nm: float) -> str:
        return f"{1e6 * value_Nm:,.2f}" if value_Nm < 1e-5 else f"{1e6 * value_Nm:,.0f}"

    rows = [
        ("converter, 10 a second", micro(noise_Nm(10)), "50 nV rms at gain 128 (HX711 data sheet)"),
        ("converter, 80 a second", micro(noise_Nm(80)), "90 nV rms at gain 128 (HX711 data sheet)"),
        ("zero with temperature, 5 °C", "8 to 15", "1.5 to 3 µN·m a degree"),
        ("creep of the cell, 0.1 % of 20 mN·m", micro(0.001 * 20e-3), "usual data of small cells, from memory"),
        (
            "friction of a ball bearing under 10 N",
            micro(BEARING_MU * PULL_N * BEARING_RADIUS_M),
            "coefficient 0.0015 at a radius of 3 mm, from memory",
        ),
        ("10 N of pull half a millimetre off the axis", micro(PULL_N * OFF_AXIS_M), "10 N × 0.5 mm"),
    ]
    head = "| part | µN·m | from |\n|---|---:|---|\n"
    return head + "\n".join(f"| {name} | {value} | {source} |" for name, value, source in rows)


def figures_table() -> str:
    rows = [
        ("torque that loads the cell fully", f"{1e3 * rating_Nm():.1f} mN·m"),
        ("counts for 1 mN·m", f"{counts_per_Nm() * 1e-3:,.0f}"),
        ("share of the converter's range at the cell's rating", f"{counts_per_Nm() * rating_Nm() / 2**23:.0%}"),
        ("10 g on a 30 mm arm", f"{1e3 * 0.010 * GRAVITY_M_PER_S2 * ARM_M:.3f} mN·m"),
    ]
    return "| figure | value |\n|---|---:|\n" + "\n".join(f"| {name} | {value} |" for name, value in rows)


# -- drawings


def box(x: float, y: float, width: float, height: float, fill: str = "#e8e8e8") -> str:
    return (
        f'<rect x="{x:.2f}" y="{y:.2f}" width="{width:.2f}" height="{height:.2f}" fill="{fill}"'
        f' stroke="{INK}" stroke-width="0.4"/>'
    )


def ring(x: float, y: float, radius: float) -> str:
    return f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{radius:g}" fill="#ffffff" stroke="{INK}" stroke-width="0.4"/>'


def note(x: float, y: float, text: str, to_x: float, to_y: float, *, anchor: str = "start") -> list[str]:
    """Words with a thin line from their side to what they name."""
    lift = -3.6 if to_y < y else 1.0
    return [line(x, y + lift, to_x, to_y, width=0.2, stroke=PALE), words(x, y, text, 3.3, anchor=anchor)]


def hook(x: float, y: float) -> str:
    """A hook that opens to the left, where the motor pulls."""
    return curve([(x, y), (x - 6, y), (x - 9, y - 2), (x - 9, y - 5), (x - 6, y - 7), (x - 4, y - 5)], width=0.8)


def arrow(x1: float, y1: float, x2: float, y2: float) -> list[str]:
    length = ((x2 - x1) ** 2 + (y2 - y1) ** 2) ** 0.5
    ux, uy = (x2 - x1) / length, (y2 - y1) / length
    left = (x2 - 3 * ux - 1.3 * uy, y2 - 3 * uy + 1.3 * ux)
    right = (x2 - 3 * ux + 1.3 * uy, y2 - 3 * uy - 1.3 * ux)
    shaft = line(x1, y1, x2, y2, width=0.6, stroke=SECOND)
    return [shaft, curve([left, (x2, y2), right], width=0.6, stroke=SECOND)]


def bearing_and_arm() -> str:
    y = 44.0
    side = [
        words(8, 10, "From the side", 4, bold=True),
        hook(26, y),
        *arrow(16, y + 8, 4, y + 8),
        words(4, y + 14, "pull", 3.3, fill=SECOND),
        line(26, y, 96, y, width=1.4),
        box(38, y - 10, 9, 20),
        ring(42.5, y - 4.5, 2),
        ring(42.5, y + 4.5, 2),
        box(70, y - 10, 9, 20),
        ring(74.5, y - 4.5, 2),
        ring(74.5, y + 4.5, 2),
        box(33.5, y - 5, 2.5, 10, "#bbbbbb"),
        box(32, y + 10, 66, 5, "#cfcfcf"),
        box(90, y - 2, 4, 4, "#777777"),
        *note(30, 24, "collar on a thrust bearing: takes the pull", 34.5, y - 5),
        *note(56, 31, "two ball bearings, in line", 74.5, y - 10),
        *note(60, 66, "one stiff base", 60, y + 15),
        *note(84, 37, "arm", 92, y - 2),
    ]
    x, y = 124.0, 36.0
    end = [
        words(116, 10, "From the winder's end", 4, bold=True),
        ring(x, y, 4),
        dot(x, y, 0.8),
        box(x + 4, y - 1.5, 27, 3, "#777777"),
        dot(x + 30, y + 2.2, 1.2),
        box(x + 27, y + 3.6, 30, 7),
        box(x + 50, y + 10.6, 7, 14, "#cfcfcf"),
        box(x - 8, y + 24.6, 68, 4, "#cfcfcf"),
        line(x + 14, y - 7, x + 14, y - 2.5, width=1.2),
        line(x + 14, y + 2.5, x + 14, y + 7, width=1.2),
        line(x, y + 7, x + 30, y + 7, width=0.2, stroke=PALE),
        words(x + 2, y + 11.5, "30 mm", 3.2),
        *note(118, 22, "shaft", x - 1, y - 3.5),
        *note(140, 22, "stops, 0.3 mm from the arm", x + 14, y - 7),
        *note(128, 76, "load cell: a beam, fixed at one end", x + 36, y + 10.6),
        *note(158, 32, "joint without play", x + 31, y + 1.5),
    ]
    caption = words(
        8,
        86,
        "The pull ends in the collar. The cell feels nothing but the arm, which pushes or pulls across its beam.",
        3.6,
    )
    return page(190, 92, "Layout 1: shaft in bearings, arm on a load cell", [*side, *end, caption])


def wire_carrier() -> str:
    y = 40.0
    parts = [
        hook(34, y),
        *arrow(22, y + 8, 8, y + 8),
        words(8, y + 14, "pull", 3.3, fill=SECOND),
        box(34, y - 3, 22, 6, "#bbbbbb"),
        line(56, y, 150, y, width=0.7),
        box(150, y - 7, 10, 14),
        box(150, y + 7, 10, 22, "#cfcfcf"),
        box(43, y + 3, 3, 18, "#777777"),
        dot(44.5, y + 21, 1.4),
        box(47, y + 17, 30, 6),
        box(70, y + 23, 7, 6, "#cfcfcf"),
        box(32, y + 29, 130, 4, "#cfcfcf"),
        line(36, y + 12, 36, y + 22, width=1.2),
        line(36, y + 22, 36, y + 29, width=0.4),
        line(48.5, y - 16, 48.5, y - 5, width=0.6),
        line(48.5, y - 16, 62, y - 16, width=0.6),
        *note(62, 14, "thread to each side keeps the carrier on the axis", 48.5, y - 12),
        *note(92, 30, "music wire 0.5 mm, 150 mm long: strong in pull, soft in twist", 100, y),
        *note(104, 56, "clamp on the base", 150, y + 12),
        *note(82, 66, "load cell along the axis, pushed across", 76, y + 21),
        *note(8, 66, "stops", 35, y + 20),
        words(
            8, 84, "No bearing, so no friction: the wire carries the pull, and what little twist it holds back is", 3.6
        ),
        words(8, 89, "the same at each load, so calibration takes it in.", 3.6),
    ]
    return page(190, 94, "Layout 2: carrier on a music wire", parts)


def gauged_rod() -> str:
    y = 38.0
    parts = [
        hook(30, y),
        *arrow(18, y + 8, 6, y + 8),
        words(6, y + 14, "pull", 3.3, fill=SECOND),
        box(30, y - 3, 12, 6, "#bbbbbb"),
        box(42, y - 2, 84, 4, "#ffffff"),
        box(126, y - 12, 12, 24),
        box(138, y - 16, 6, 32, "#cfcfcf"),
        curve([(74, y + 1.6), (80, y - 1.6)], width=0.9, stroke=SECOND),
        curve([(82, y - 1.6), (88, y + 1.6)], width=0.9, stroke=SECOND),
        *note(60, 20, "four gauges at 45°, two on each side, as a full bridge", 81, y - 2),
        *note(96, 58, "thin tube or rod: twist of some hundred microstrain", 104, y + 2),
        *note(150, 30, "clamp", 138, y - 4),
        words(
            8,
            72,
            "Pull stretches all four alike and cancels; so does temperature. Twist does not. It needs no arm and",
            3.6,
        ),
        words(
            8,
            77,
            "no bearing, but gauges that sit true: a gauge half a degree off takes in 1.1 % of the pull's strain.",
            3.6,
        ),
    ]
    return page(190, 82, "Layout 3: gauges on a rod", parts)


def pictures() -> dict[str, str]:
    return dict(zip(NAMES, (bearing_and_arm(), wire_carrier(), gauged_rod()), strict=True))


def tables() -> dict[str, str]:
    return {"figures": figures_table(), "noise": noise_table()}


def filled(text: str) -> str:
    for name, table in tables().items():
        marks = re.compile(rf"(<!-- {name} -->\n).*?(<!-- end -->)", re.DOTALL)
        text = marks.sub(lambda found, table=table: f"{found[1]}{table}\n{found[2]}", text)  # type: ignore[misc]
    return text


def main() -> None:
    path = DOCS / "meter-build.md"
    path.write_text(filled(path.read_text(encoding="utf-8")), encoding="utf-8")
    for name, svg in pictures().items():
        (DOCS / f"meter-{name}.svg").write_text(svg, encoding="utf-8")


if __name__ == "__main__":
    main()
