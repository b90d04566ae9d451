"""Coverage-guided fuzzing: `python -m tests.bench.fuzz TARGET --seconds N [--corpus DIR] [--seed N]`.

Needs atheris, which is no dependency of the project: `pip install atheris` beside it, in an environment of its own.
A fault ends the run; the bytes that found it are left in the corpus folder. The targets are `tests/trust/targets.py`'s.
"""

from __future__ import annotations

import argparse
import importlib
import sys
import tempfile
from pathlib import Path


def main() -> None:
    """Fuzz one target; libFuzzer's own figures (runs, coverage, seconds, memory) are printed at the end."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("target")
    parser.add_argument("--seconds", type=int, default=3600)
    parser.add_argument("--corpus", help="folder of inputs that is gone on with (a fresh one)")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--longest", type=int, default=4096, help="bytes of an input at most")
    args = parser.parse_args()
    try:
        atheris = importlib.import_module("atheris")
    except ImportError:
        sys.exit("Install atheris in this environment first: pip install atheris")
    with atheris.instrument_imports(include=["winding_coach"]):
        targets = importlib.import_module("tests.trust.targets")
    if args.target not in targets.TARGETS:
        sys.exit(f"There is no target '{args.target}': choose one of {', '.join(targets.TARGETS)}.")
    corpus = Path(args.corpus or tempfile.mkdtemp(prefix=f"fuzz-{args.target}-"))
    corpus.mkdir(parents=True, exist_ok=True)
    for number, seed in enumerate(targets.seeds(args.target)):
        (corpus / f"seed-{number}").write_bytes(seed)
    options = [
        f"-max_total_time={args.seconds}",
        f"-seed={args.seed}",
        f"-max_len={args.longest}",
        f"-artifact_prefix={corpus}/",
        "-print_final_stats=1",
        "-timeout=30",
        "-rss_limit_mb=2048",
        str(corpus),
    ]
    atheris.Setup([sys.argv[0], *options], targets.TARGETS[args.target])
    atheris.Fuzz()


if __name__ == "__main__":
    main()
