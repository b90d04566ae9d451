"""A result in, a file out: whole or not at all, and it is said when one that was there is replaced."""

from __future__ import annotations

import os
from pathlib import Path

from winding_coach.app.problem import Problem
from winding_coach.base.private import written_whole


def write_whole(path: Path, content: bytes, what: str, mode: int = 0o666) -> bool:
    """Write a file, or leave what was there as it was; return whether there was one.

    what: is named in the sentence, as in "report". mode: of a new file, less the umask.

    Raises:
        Problem: it cannot be written.
    """
    # One that is a link is written where it leads to.
    real = Path(os.path.realpath(path))
    try:
        replaced = real.exists()
        if real.is_dir():
            raise Problem(f"The {what} '{path}' is a folder: name a file.")
        with written_whole(real, mode) as fresh:
            fresh.write_bytes(content)
            if replaced:
                fresh.chmod(real.stat().st_mode & 0o777)
    except (OSError, ValueError) as error:
        why = error.strerror if isinstance(error, OSError) else "no file can have such a name"
        raise Problem(f"The {what} '{path}' cannot be written ({why}): name another file.") from None
    return replaced
