"""What stands in the way of a wind without a screen, said as it comes and as it goes, while the coach goes on."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Mapping

from winding_coach.cli.output.lines_out import LinesOut

LOOK_EVERY_S = 0.2
"""A trouble shows itself after a second at most, so it is said within two."""


class Troubles:
    """Looks at each thing that can be in trouble, in a thread of its own."""

    def __init__(
        self,
        looked_at: Mapping[str, Callable[[], str | None]],
        err: LinesOut,
        out: LinesOut | None,
        at_s: Callable[[], float],
    ) -> None:
        """looked_at: by what is in trouble (trace, output, sound), what returns a sentence on it or None. err: takes
        the sentences; out: takes them as events too, None without JSON. at_s: the trace's clock."""
        self._looked_at, self._err, self._out, self._at_s = looked_at, err, out, at_s
        self._said: dict[str, str] = {}
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._run, name="troubles", daemon=True)

    def __enter__(self) -> Troubles:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._ending.set()
        self._thread.join(LOOK_EVERY_S)

    def _run(self) -> None:
        while not self._ending.wait(LOOK_EVERY_S):
            self.look()

    def look(self) -> None:
        """Look once, and say what has come and what has gone."""
        for of, ask in self._looked_at.items():
            now, before = ask(), self._said.get(of)
            if now == before:
                continue
            if now is not None:
                self._said[of] = now
                self._say(of, now, active=True)
            elif before is not None:
                del self._said[of]
                self._say(of, before, active=False)

    def _say(self, of: str, text: str, *, active: bool) -> None:
        self._err.put(text if active else f"Cleared: {text}", lasting=True)
        if self._out is not None:
            event = {"event": "trouble", "at_s": self._at_s(), "of": of, "text": text, "active": active}
            self._out.put(json.dumps(event, ensure_ascii=False), lasting=True)
