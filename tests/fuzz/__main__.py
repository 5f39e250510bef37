"""`python -m tests.fuzz [INPUTS [SEED]]`: fuzz everything, a million inputs unless said otherwise."""

from __future__ import annotations

import sys
import time

from tests.fuzz.run import coverage, fuzz, shares


def main() -> None:
    """Run, and print inputs, seconds and lines reached for each target."""
    total = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    for target, inputs in shares(total):
        began = time.monotonic()
        fuzz(target, inputs=inputs, seed=seed)
        took = time.monotonic() - began
        reached, there = coverage(target, inputs=min(inputs, 3_000), seed=seed)
        lines = f"{reached} of {there} lines" if there else ""
        print(f"{target.name:<15}{inputs:>9} inputs {took:8.1f} s   {lines}", flush=True)


if __name__ == "__main__":
    main()
