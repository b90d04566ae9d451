"""Rows of text in, aligned columns out, for a terminal or a file. Pure."""

from __future__ import annotations

from collections.abc import Sequence


def table(heads: Sequence[str], rows: Sequence[Sequence[str]], *, right: frozenset[str] = frozenset()) -> list[str]:
    """Return lines of columns two blanks apart; columns that are empty throughout are left out.

    right: heads of the columns whose figures end flush.
    """
    kept = [i for i, _ in enumerate(heads) if any(row[i] for row in rows)]
    widths = {i: max(len(heads[i]), *(len(row[i]) for row in rows)) for i in kept}

    def told(cells: Sequence[str]) -> str:
        return "  ".join(
            cells[i].rjust(widths[i]) if heads[i] in right else cells[i].ljust(widths[i]) for i in kept
        ).rstrip()

    return [told(heads), *(told(row) for row in rows)]
