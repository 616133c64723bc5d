"""Run invented workshops and print their score: ``python -m benchmarks.workshop --shops 30``, or ``make score``."""

from __future__ import annotations

import argparse
import os
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from benchmarks.workshop.series import Series


def workshops(seeds: Sequence[int], runs: int, holds: float) -> list[Series]:
    """Return the series of some workshops, one after the other, what they share worked out once."""
    from benchmarks.workshop.series import Bench
    from benchmarks.workshop.shops import a_workshop

    bench = Bench()
    found = []
    for done, seed in enumerate(seeds):
        found.append(bench.series(a_workshop(seed), seed=seed, runs=runs, holds=holds))
        print(f"workshop {seed}: {done + 1} of {len(seeds)}", file=sys.stderr, flush=True)
    return found


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--shops", type=int, default=30, help="how many workshops")
    ask.add_argument("--first", type=int, default=0, help="the first one's number")
    ask.add_argument("--runs", type=int, default=6, help="runs of each")
    ask.add_argument("--holds", type=float, default=0.95, help="how often the least is to hold")
    ask.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    ask.add_argument("--all", action="store_true", help="every run, not the score alone")
    asked = ask.parse_args()
    seeds = range(asked.first, asked.first + asked.shops)
    started = time.monotonic()
    if asked.processes == 1:
        rows = workshops(seeds, asked.runs, asked.holds)
    else:
        # Workshops of one kind share their plates: each process gets every other block of five.
        blocks = [[s for s in seeds if s // 5 % asked.processes == k] for k in range(asked.processes)]
        with ProcessPoolExecutor(asked.processes) as pool:
            done = pool.map(workshops, blocks, [asked.runs] * len(blocks), [asked.holds] * len(blocks))
            rows = sorted((s for some in done for s in some), key=lambda s: s.seed)
    from benchmarks.workshop.score import report, runs_of

    if asked.all:
        print("\n".join(line for series in rows for line in runs_of(series)), end="\n\n")
    print(report(rows))
    print(
        f"\n{len(rows)} workshops, {sum(len(s.turns) for s in rows)} runs, {(time.monotonic() - started) / 60.0:.1f} minutes"
    )


if __name__ == "__main__":
    main()
