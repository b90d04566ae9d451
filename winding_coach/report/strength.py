"""The winds of a batch in, a picture of its strength out: what survived at which strand stretch, and the fit."""

from __future__ import annotations

from collections.abc import Sequence

from winding_coach.report.svg import INK, PALE, SECOND, Axes, curve, dot, line, page, words
from winding_coach.rubber.strength import LEVEL, Strength, Wound, kaplan_meier

POINTS = 60


def strength_svg(name: str, wound: Sequence[Wound], strength: Strength) -> str:
    """Return the survival curve (Kaplan-Meier) of the logged motors under the fitted one with its interval."""
    stretches = [one.stretch for one in wound]
    least = min([8.0, *stretches]) - 0.2
    most = max([10.2, *stretches]) + 0.2
    axes = Axes(20, 22, 130, 72, most, 1.05, least)
    marks = [least + (most - least) * i / POINTS for i in range(POINTS + 1)]
    risks = [strength.risk(mark) for mark in marks]
    title = f"Batch {name}: motors that hold at a strand stretch"
    parts = [
        words(12, 10, title, 5, bold=True),
        *axes.frame("strand stretch", "share that holds", 3.4),
        curve([axes.at(m, 1.0 - r.value) for m, r in zip(marks, risks, strict=True)], stroke=SECOND, width=0.7),
        curve([axes.at(m, 1.0 - r.low) for m, r in zip(marks, risks, strict=True)], stroke=PALE, dashes="1 1"),
        curve([axes.at(m, 1.0 - r.high) for m, r in zip(marks, risks, strict=True)], stroke=PALE, dashes="1 1"),
        *_logged(axes, wound, least),
        words(20, 114, f"Fit with the belief beforehand, and its interval of {LEVEL:.0%} (dotted).", 3.4, fill=SECOND),
        words(20, 119, "Steps: logged motors (Kaplan-Meier). Dots: broke. Upright strokes: held so far.", 3.4),
    ]
    return page(165, 124, title, parts)


def _logged(axes: Axes, wound: Sequence[Wound], least: float) -> list[str]:
    curve_marks = kaplan_meier([one.stretch for one in wound], [one.broke for one in wound])
    steps = [(least, 1.0)]
    parts = []
    for mark in curve_marks:
        steps += [(mark.value, steps[-1][1]), (mark.value, mark.surviving)]
        parts.append(dot(*axes.at(mark.value, mark.surviving), 1.1, INK))
    furthest = max((one.stretch for one in wound), default=least)
    steps.append((max(furthest, steps[-1][0]), steps[-1][1]))
    for one in wound:
        if not one.broke:
            share = next((after for at, after in reversed(steps) if at <= one.stretch), 1.0)
            x, y = axes.at(one.stretch, share)
            parts.append(line(x, y - 1.6, x, y + 1.6))
    return [curve([axes.at(*step) for step in steps], width=0.8), *parts]
