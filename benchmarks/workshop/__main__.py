"""Run invented workshops and print their score: ``python -m benchmarks.workshop --shops 30``, or ``make score``.

With ``--keep DIR`` each workshop is kept as it ends, and a later call goes on where the last one stopped, as long as the
code is the same to the letter.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import pickle
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from benchmarks.workshop.series import Series

KIND = 40
"""Workshops with numbers this far apart are of one kind: the same machines, loads and proofs, so they share studies."""


PUBLISHED = Path(__file__).resolve().parents[2] / "src" / "vatwright" / "invented_workshops.json"

LONG_RUNS = 20
"""Runs of the workshops that are followed for long."""


def workshops(seeds: Sequence[int], runs: Sequence[int], holds: float, keep: str, until: float) -> list[Series]:
    """Return the series of some workshops, one after the other, what they share worked out once; `runs` of each."""
    from benchmarks.workshop.series import Bench
    from benchmarks.workshop.shops import a_workshop

    bench = Bench()
    found = []
    for done, seed in enumerate(seeds):
        if time.time() > until:
            break
        found.append(bench.series(a_workshop(seed), seed=seed, runs=runs[done], holds=holds))
        if keep:
            path = _kept(keep, seed)
            path.with_suffix(".part").write_bytes(pickle.dumps(found[-1]))
            path.with_suffix(".part").rename(path)
        print(f"workshop {seed}: {done + 1} of {len(seeds)}", file=sys.stderr, flush=True)
    return found


def _folder(keep: str, holds: float) -> str:
    """Where workshops of this very code and question are kept."""
    here = Path(__file__).resolve().parent
    told = hashlib.blake2b(repr(holds).encode(), digest_size=8)
    for source in sorted([*here.glob("*.py"), *(here.parents[1] / "src").rglob("*.py")]):
        told.update(source.read_bytes())
    folder = Path(keep) / told.hexdigest()
    folder.mkdir(parents=True, exist_ok=True)
    return str(folder)


def _kept(keep: str, seed: int) -> Path:
    return Path(keep) / f"{seed:05d}.pickle"


def _known(keep: str, runs: Mapping[int, int]) -> Iterator[Series]:
    """Workshops that were kept, with as many runs as asked; what is read was written here by an earlier call."""
    for seed, count in runs.items() if keep else ():
        if _kept(keep, seed).exists():
            series = pickle.loads(_kept(keep, seed).read_bytes())
            if len(series.turns) >= count:
                yield series._replace(turns=series.turns[:count])


def _share(seeds: Iterable[int], processes: int) -> list[list[int]]:
    """Seeds for each process, those of one kind together."""
    kinds: dict[int, list[int]] = {}
    for seed in seeds:
        kinds.setdefault(seed % KIND, []).append(seed)
    return [[s for k, some in kinds.items() if k % processes == mine for s in some] for mine in range(processes)]


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--shops", type=int, default=30, help="how many workshops")
    ask.add_argument("--first", type=int, default=0, help="the first one's number")
    ask.add_argument("--runs", type=int, default=6, help="runs of each")
    ask.add_argument("--long", type=int, default=0, help=f"how many of them are followed over {LONG_RUNS} runs")
    ask.add_argument("--holds", type=float, default=0.95, help="how often the least is to hold")
    ask.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    ask.add_argument("--all", action="store_true", help="every run, not the score alone")
    ask.add_argument("--keep", default="", help="folder that keeps each workshop, to go on where the last call stopped")
    ask.add_argument("--publish", action="store_true", help="write the score that the page of what was learned shows")
    ask.add_argument("--minutes", type=float, default=1e6, help="begin no workshop after so many")
    asked = ask.parse_args()
    keep = _folder(asked.keep, asked.holds) if asked.keep else ""
    runs = {asked.first + k: LONG_RUNS if k < asked.long else asked.runs for k in range(asked.shops)}
    started = time.time()
    rows = list(_known(keep, runs))
    open_ = sorted(set(runs) - {s.seed for s in rows}, key=lambda seed: (runs[seed], seed))  # the long ones last
    told = (asked.holds, keep, started + 60.0 * asked.minutes)
    if asked.processes == 1:
        rows += workshops(open_, [runs[s] for s in open_], *told)
    elif open_:
        with ProcessPoolExecutor(asked.processes) as pool:
            shares = _share(open_, asked.processes)
            done = [pool.submit(workshops, mine, [runs[s] for s in mine], *told) for mine in shares]
            rows += [s for some in done for s in some.result()]
    rows.sort(key=lambda s: s.seed)
    from benchmarks.workshop.score import published, report, runs_of

    if asked.all:
        print("\n".join(line for series in rows for line in runs_of(series)), end="\n\n")
    print(report(rows))
    if asked.publish:
        command = f"python -m benchmarks.workshop --shops {asked.shops} --runs {asked.runs} --long {asked.long}"
        told = published(rows, made=datetime.now(UTC).date().isoformat(), command=command)
        PUBLISHED.write_text(json.dumps(told, indent=1) + "\n", encoding="utf-8")
    print(
        f"\n{len(rows)} workshops, {sum(len(s.turns) for s in rows)} runs, {(time.time() - started) / 60.0:.1f} minutes"
    )


if __name__ == "__main__":
    main()
