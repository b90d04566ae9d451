"""Winds of the real program ended at random moments: `python -m tests.bench.kills [NUMBER] [FIRST_SEED]`.

Prints what was lost of each kind; asserts nothing. The homes fill up as a team's would: one for all.
"""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from pathlib import Path

from tests.trust.killing import end_a_wind


def main() -> None:
    """End so many winds, each by its own seed."""
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    with tempfile.TemporaryDirectory(prefix="kills-") as folder:
        home = Path(folder)
        ways: Counter[str] = Counter()
        phases: Counter[str] = Counter()
        lost: list[float] = []
        wrong: list[str] = []
        for seed in range(first, first + number):
            try:
                left = end_a_wind(home, seed)
            except Exception as error:
                wrong.append(f"seed {seed}: {error!r}")
                continue
            ways[left.way] += 1
            phases[left.phase] += 1
            lost.append(left.lost_s)
            wrong += [f"seed {seed}, {left.way}, {left.phase}: {what}" for what in left.wrong]
            if (seed - first) % 20 == 19:
                print(f"{seed - first + 1} ended, {len(wrong)} wrong, most lost {max(lost):.3f} s", flush=True)
    print(f"{len(lost)} winds, seeds {first} to {first + number - 1}: {dict(ways)}")
    print(f"in phases {dict(phases)}")
    print(f"lost: {max(lost):.3f} s at most, {sum(one > 0 for one in lost)} lost anything; {len(wrong)} wrong")
    for what in wrong:
        print(what)


if __name__ == "__main__":
    main()
