"""Codes that a camera or a scanner reads, made by a library of an extra."""

from __future__ import annotations


def modules_of(text: str, *, border: int = 0) -> tuple[tuple[bool, ...], ...]:
    """Return the dark modules of a QR code (ISO/IEC 18004, error correction M) row by row.

    border: light modules around it.

    Raises:
        ImportError: the library for it is not installed.
    """
    import segno

    code = segno.make(text, error="m", boost_error=False, micro=False)
    return tuple(tuple(bool(cell) for cell in row) for row in code.matrix_iter(border=border))
