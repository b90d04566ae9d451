"""`value`: a frozen dataclass for what is made at every sample.

The type checker refuses to change one. At run time it is open: a frozen one takes seven times as long to make.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from dataclasses import dataclass as value
else:
    from dataclasses import dataclass

    def value(*, frozen: bool, slots: bool) -> Any:
        """Return a decorator that makes a class a dataclass; equal ones have equal hashes."""
        return dataclass(slots=slots, unsafe_hash=frozen)


__all__ = ("value",)
