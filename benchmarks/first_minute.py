"""What a command costs in a process of its own: the first carry on a machine, later ones, help, and the bare import."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from typing import NamedTuple

from vatwright.wiring import demo_folder

JOB = str(demo_folder() / "harbour-lanterns.toml")
BEST_OF = 3

HEAD = """## The first minute

The demo job's commands, each in a process of its own. The first carry finds nothing kept: no compiled code, no study, no
answer; it is measured once, the others are the best of three. Processor time adds up the cores.

Where a first carry's seconds go: nearly all into compilation. Of 67 s for the planner's 84 kernels (and 84 functions of the
compiler's library that they call) 28 s went into optimising and making machine code, 4 s into joining kernels with those they
call, 34 s into types and intermediate code, which is Python's own work, 1 s into keeping it. So two processes compile side by
side, and every kernel has one layout of its arrays and no loop that the compiler cuts for cores: such a loop is compiled
twice. Before, on the same machine: 270 s of processor for the first carry, 7.7 s for one whose answer is known, of which 4 s
compiled Python's own modules (set-up does that now, once) and 3 s loaded the compiler, scipy and the planner (a known answer
needs none).

| command | time | processor | peak memory |
| --- | --- | --- | --- |"""


class Ran(NamedTuple):
    """What one command took: time and processor time [s], most memory held at once [MB]."""

    wall_s: float
    processor_s: float
    peak_mb: float


def run(words: list[str], kept: str) -> Ran:
    """Run Python on these words with an own place for whatever is kept."""
    place = {"NUMBA_CACHE_DIR": f"{kept}/kernels", "VATWRIGHT_CACHE": f"{kept}/studies"}
    began = time.perf_counter()
    process = subprocess.Popen([sys.executable, *words], env=os.environ | place, stdout=subprocess.DEVNULL)
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode > 1:
        raise RuntimeError(f"{words} ended with {process.returncode}")
    return Ran(time.perf_counter() - began, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024.0)


def section() -> str:
    """Run every command and return the page's section."""
    carry = ["-m", "vatwright", "carry", JOB, "--without-notebook", "--json"]
    lines = [HEAD]
    with tempfile.TemporaryDirectory() as kept:
        lines.append(_row("`carry JOB`, nothing kept", run(carry, kept)))
        lines.append(_row("`carry JOB --to Heron`, parts known", run([*carry, "--to", "Heron"], kept)))
        for name, words in (
            ("`carry JOB`, its answer known", carry),
            ("`vatwright --help`", ["-m", "vatwright", "--help"]),
            ("`import vatwright.wiring`", ["-c", "import vatwright.wiring"]),
        ):
            lines.append(_row(name, min((run(words, kept) for _ in range(BEST_OF)), key=lambda r: r.processor_s)))
    return "\n".join(lines)


def _row(name: str, ran: Ran) -> str:
    return f"| {name} | {ran.wall_s:.2f} s | {ran.processor_s:.2f} s | {ran.peak_mb:.0f} MB |"
