"""Measuring: tasks take turns, so that whatever else the machine does hits all alike; medians and ratios count."""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Callable


class Row(NamedTuple):
    """One line of a table: a step, our time and another library's, and how many times ours the ratio should be."""

    step: str
    ours_s: float
    theirs_s: float
    rival: str
    bar: float = 0.0

    @property
    def ratio(self) -> float:
        return self.theirs_s / self.ours_s


def medians(rounds: int, **tasks: Callable[[], object]) -> dict[str, float]:
    """Median seconds of each task over interleaved rounds, after one round that does not count."""
    spent: dict[str, list[float]] = {name: [] for name in tasks}
    for turn in range(rounds + 1):
        for name, task in tasks.items():
            began = time.perf_counter()
            task()
            if turn:
                spent[name].append(time.perf_counter() - began)
    return {name: statistics.median(found) for name, found in spent.items()}


def in_a_fresh_process(code: str, *arguments: str) -> str:
    """What a program prints that runs by itself, so that its peak memory is its own."""
    return subprocess.run(
        [sys.executable, "-c", code, *arguments], check=True, capture_output=True, text=True
    ).stdout.strip()


PEAK = """
def peak_mb():
    try:
        with open("/proc/self/status") as status:
            return next(int(line.split()[1]) for line in status if line.startswith("VmHWM")) * 1024 / 1e6
    except OSError:
        import resource, sys
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * (1 if sys.platform == "darwin" else 1024) / 1e6
"""
"""Defines ``peak_mb``: the most memory the process ever held [MB]."""
