"""A calibration in, a page out: figures with their uncertainty, residuals as a picture, every point, what to mind."""

from __future__ import annotations

from collections.abc import Sequence

from winding_coach.meter.commissioning.calibrating import Calibrated
from winding_coach.report.svg import INK, PALE, SECOND, clean, dot, line, page, round_marks, words

LEFT, RIGHT, TOP, BOTTOM = 24.0, 178.0, 16.0, 74.0


def residuals_svg(done: Calibrated) -> str:
    """Return the picture of what each load leaves: round marks where it was come to from below, square from above."""
    torques = [point["torque_Nm"] * 1e3 for point in done.calibration.points]
    left = [residual * 1e6 for residual in done.residuals_Nm]
    reach_x = 1.05 * done.largest_Nm * 1e3
    band = 1e6 * done.expanded_Nm
    reach_y = 1.15 * max(band, *(abs(value) for value in left))

    def at(x: float, y: float) -> tuple[float, float]:
        across = (x + reach_x) / (2.0 * reach_x)
        return LEFT + (RIGHT - LEFT) * across, TOP + (BOTTOM - TOP) * (0.5 - 0.5 * y / reach_y)

    parts = [
        words(LEFT, 9, "What the line leaves of each load", 4.4, bold=True),
        line(LEFT, BOTTOM, RIGHT, BOTTOM),
        line(LEFT, TOP, LEFT, BOTTOM),
        line(*at(-reach_x, 0.0), *at(reach_x, 0.0), stroke=PALE),
        words(0.5 * (LEFT + RIGHT), BOTTOM + 10.5, "torque, mN·m", 3.4, anchor="middle"),
        words(LEFT - 16.0, TOP - 3.0, "residual, µN·m", 3.4),
    ]
    parts += [line(*at(-reach_x, edge), *at(reach_x, edge), stroke=SECOND, dashes="1.5 1.5") for edge in (band, -band)]
    parts.append(words(RIGHT, at(0.0, band)[1] - 1.2, "expanded uncertainty (95 %)", 3.0, anchor="end", fill=SECOND))
    for mark in round_marks(reach_x):
        for sign in (-1.0, 1.0) if mark else (1.0,):
            x, _ = at(sign * mark, 0.0)
            parts += [
                line(x, BOTTOM, x, BOTTOM + 1.0),
                words(x, BOTTOM + 5.0, f"{sign * mark:g}", 3.2, anchor="middle"),
            ]
    for mark in round_marks(reach_y):
        for sign in (-1.0, 1.0) if mark else (1.0,):
            _, y = at(0.0, sign * mark)
            parts += [line(LEFT - 1.0, y, LEFT, y), words(LEFT - 1.8, y + 1.1, f"{sign * mark:g}", 3.2, anchor="end")]
    before = 0.0
    for torque, value in zip(torques, left, strict=True):
        x, y = at(torque, value)
        came_down = abs(torque) < abs(before)
        parts.append(_square(x, y) if came_down else dot(x, y, 1.0, INK))
        before = torque
    parts.append(words(LEFT, BOTTOM + 16.0, "Dots: the load was raised to this. Squares: lowered to it.", 3.2))
    return page(186, 94, "Residuals of the calibration", parts)


def _square(x: float, y: float) -> str:
    place = f'x="{x - 1.0:.2f}" y="{y - 1.0:.2f}" width="2" height="2"'
    return f'<rect {place} fill="none" stroke="{INK}" stroke-width="0.4"/>'


def _table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    top = "<tr>" + "".join(f"<th>{clean(cell)}</th>" for cell in head) + "</tr>" if head else ""
    return f"<table>{top}{_rows(rows)}</table>"


def _rows(rows: Sequence[Sequence[str]]) -> str:
    return "\n".join("<tr>" + "".join(f"<td>{clean(cell)}</td>" for cell in row) + "</tr>" for row in rows)


def figures(done: Calibrated) -> list[tuple[str, str]]:
    """Return the rows of name and value that page and terminal show."""
    made = done.calibration

    def micro(value_Nm: float | None) -> str:
        return "not found by this set" if value_Nm is None else f"{1e6 * value_Nm:+.1f} µN·m"

    slope = 1e-3 / made.Nm_per_count
    bend = "straight" if made.Nm_per_count2 == 0 else f"bent, {made.Nm_per_count2:.3e} N·m per count²"
    arms = "not found by this set" if done.arms_differ is None else f"{done.arms_differ:+.2%}"
    pull = "not measured: --pull-masses"
    if done.pull is not None:
        offset = "" if done.pull.offset_m is None else f", hook {1e3 * done.pull.offset_m:+.2f} mm off the axis"
        pull = f"{1e6 * done.pull.Nm_per_N:+.2f} µN·m per newton{offset}"
    return [
        ("meter", made.meter),
        ("made", f"{made.made}, to be repeated by {made.more['expires']}"),
        ("counts for 1 mN·m", f"{slope:,.1f}"),
        ("zero", f"{made.zero_counts:,.1f} counts"),
        ("line", bend),
        ("largest load", f"{1e3 * done.largest_Nm:.3f} mN·m"),
        ("standard uncertainty of a reading", f"{1e6 * done.sd_Nm:.1f} µN·m"),
        (
            "expanded, 95 %",
            f"{1e6 * done.expanded_Nm:.1f} µN·m, {done.expanded_Nm / done.largest_Nm:.2%} of the largest load",
        ),
        ("lower limit of use", f"{1e6 * done.lower_limit_Nm:.1f} µN·m (2.4 s)"),
        ("zero return", micro(done.zero_return_Nm)),
        ("up and down", micro(done.reversibility_Nm)),
        ("repeatability", micro(done.repeatability_Nm)),
        ("right against left", arms),
        ("pull", pull),
    ]


def calibration_html(done: Calibrated) -> str:
    """Return the report as one page for a browser or printer."""
    made = done.calibration
    points = [
        (
            point["words"] or "",
            f"{1e3 * point['torque_Nm']:.4f}",
            f"{point['counts']:,.1f}",
            f"{point['sd_counts']:.1f}",
            str(point["readings"]),
            f"{1e6 * residual:+.2f}",
        )
        for point, residual in zip(made.points, done.residuals_Nm, strict=True)
    ]
    parts = [(part.name, f"{1e6 * part.Nm:.2f} µN·m", part.source) for part in done.parts]
    findings = "".join(f"<li>{clean(words)}</li>" for words in done.findings) or "<li>Nothing was found wrong.</li>"
    tests = [
        (name, f"{test.ratio:.3g}", f"{test.dof_above}, {test.dof_below}", f"{test.chance:.2g}")
        for name, test in (("a bend", done.bend), ("a misfit between loads", done.misfit))
        if test is not None
    ]
    return f"""<!DOCTYPE html>
<html lang="en">
<head><meta charset="utf-8"><title>Calibration of {clean(made.meter)}</title>
<style>
body {{ font: 11pt/1.45 Helvetica, Arial, sans-serif; max-width: 190mm; margin: 10mm auto; padding: 0 4mm }}
body {{ color: {INK} }}
table {{ border-collapse: collapse; margin: 2mm 0 6mm }}
td, th {{ border: 0.2mm solid {PALE}; padding: 1mm 3mm; text-align: left }}
svg {{ max-width: 100%; height: auto }}
</style></head>
<body>
<h1>Calibration of {clean(made.meter)}</h1>
{_table((), figures(done))}
<h2>What to mind</h2>
<ul>{findings}</ul>
{residuals_svg(done)}
<h2>Uncertainty of a reading at the largest load</h2>
{_table(("part", "standard", "from"), parts)}
<h2>Tests of the line</h2>
{_table(("of", "F", "degrees of freedom", "by chance"), tests)}
<h2>Points</h2>
{_table(("load", "mN·m", "counts", "scatter", "readings", "residual, µN·m"), points)}
<p>Least squares with uncertainty after the Guide to the expression of uncertainty in measurement (JCGM 100:2008).
Points are in the order in which they were taken. No class of any standard is claimed.</p>
</body>
</html>
"""
