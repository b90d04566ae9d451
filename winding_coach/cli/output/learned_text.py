"""What was learned of a batch's rubber as lines for a terminal, and which wind would show the rest."""

from __future__ import annotations

from collections.abc import Iterable
from textwrap import wrap

from winding_coach.rubber.batch import FittedBatch
from winding_coach.rubber.looseness import SPEAKS_FROM

WHAT_LOOSENS = {"A": "any slack", "B": "only long steps", "C": "only steps with the crank stopped"}
TELLS_LOOSENESS = "motors that break after walk-ins of different kinds, with a distance sensor"


WIDTH = 80


def filled(lines: Iterable[str]) -> list[str]:
    """Return the lines within the width of a terminal; what does not fit hangs below."""
    return [
        part
        for line in lines
        for part in wrap(line, WIDTH, subsequent_indent="  ", break_long_words=False, break_on_hyphens=False)
    ]


def property_lines(made: FittedBatch) -> list[str]:
    """Return each property over the default rubber's, then what these winds cannot show."""
    learned = made.learned
    if learned is None:
        return []
    told = [(name, learned.estimate(name)) for name in learned.told if name != "stiffness"]
    lines = [
        f"{name.capitalize()}: {one.value:.2f} of the default rubber's ({one.low:.2f} to {one.high:.2f})."
        for name, one in told
    ]
    lines.append(_looseness(made.laws))
    if learned.open:
        lines.append("Not shown by these winds, and what would show it:")
        lines += [f"  {one.name}: {one.tells}" for one in learned.open]
    return lines


def _looseness(laws: dict[str, float] | None) -> str:
    if laws is None:
        return f"What loosens the knots: not shown; it takes {TELLS_LOOSENESS}."
    law, share = max(laws.items(), key=lambda one: one[1])
    if share >= SPEAKS_FROM:
        return f"What loosens the knots: {WHAT_LOOSENS[law]} ({share:.0%} probable)."
    chances = ", ".join(f"{WHAT_LOOSENS[law]} {share:.0%}" for law, share in laws.items())
    return f"What loosens the knots: not settled ({chances}); it takes {TELLS_LOOSENESS}."
