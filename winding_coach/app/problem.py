"""What a command says when it cannot go on: one clear sentence, and the exit status that goes with it."""

from __future__ import annotations

from winding_coach.base.errors import CoachError


class Problem(CoachError):
    """The work failed (exit status 1). The message is one sentence that says what to do."""

    exit_status = 1


class UsageProblem(Problem):
    """The command was typed wrongly (exit status 2)."""

    exit_status = 2
