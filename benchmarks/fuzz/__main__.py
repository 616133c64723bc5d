"""Hand the readers of outside data what nobody would write: ``python -m benchmarks.fuzz``, or ``make fuzz``.

Guided by coverage where atheris is installed (``uv sync --group fuzz``), blind mutations of what is kept otherwise.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import random
import re
import subprocess
import sys
import tempfile
import time
import traceback
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

    from benchmarks.fuzz.readers import Reader

ROOT = Path(__file__).parents[2]
KEPT = ROOT / "tests" / "fuzzed" / "corpus"
_COUNT = "stat::number_of_executed_units:"
MOST_KEPT, KEPT_BYTES = 8, 2_000
"""Inputs that the tests keep of a reader, and how large each may be."""
SLOW_S = 5.0
"""An input of a few kilobytes that takes longer is a finding."""


class Findings:
    """What went wrong, each cause once, with the input that showed it."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.seen, self.runs = folder, {}, 0
        folder.mkdir(parents=True, exist_ok=True)

    def again(self, reader: Reader) -> None:
        """Hand in what was found before: what is mended since is forgotten."""
        before = [file.read_bytes() for file in self.folder.glob("*.bin")]
        for file in self.folder.iterdir():
            file.unlink()
        for data in before:
            self.take(reader, data)

    def take(self, reader: Reader, data: bytes) -> None:
        """Feed one input and keep what it does wrong."""
        began = time.process_time()
        try:
            reader.feed(data)
        except Exception as fault:  # noqa: BLE001 - whatever it is, it is what is looked for
            self._keep(f"{type(fault).__name__} {_place(fault)}", data, traceback.format_exc())
        if (took := time.process_time() - began) > SLOW_S:
            self._keep("slow", data, f"{took:.1f} s")
        self.runs += 1

    def _keep(self, cause: str, data: bytes, said: str) -> None:
        if cause not in self.seen:
            self.seen[cause] = said
            name = hashlib.sha256(cause.encode()).hexdigest()[:12]
            (self.folder / f"{name}.bin").write_bytes(data)
            (self.folder / f"{name}.txt").write_text(f"{cause}\n\n{said}", encoding="utf-8")


def _place(fault: BaseException) -> str:
    frames = traceback.extract_tb(fault.__traceback__)
    ours = [f for f in frames if "vatwright" in f.filename] or list(frames)
    return f"{Path(ours[-1].filename).name}:{ours[-1].name}"


def kept_inputs(name: str) -> list[bytes]:
    """Return the inputs that the tests keep for a reader."""
    return [f.read_bytes() for f in sorted((KEPT / name).glob("*"))]


def _known(reader: Reader) -> list[bytes]:
    """Return where a reader starts from; what it loads and compiles at its first call is not counted as slow."""
    known = [*reader.seeds(), *kept_inputs(reader.name)]
    for data in known:
        reader.feed(data)
    return known


def _blind(reader: Reader, findings: Findings, times: int) -> None:
    chance = random.Random(1)
    known = _known(reader)
    findings.again(reader)
    while findings.runs < times:
        findings.take(reader, mutated(chance.choice(known), known, chance)[: reader.longest])


def mutated(data: bytes, others: list[bytes], chance: random.Random) -> bytes:
    """Return `data` with a few pieces overwritten, taken out, repeated, or from another input."""
    found = bytearray(data)
    for _ in range(chance.randint(1, 6)):
        at = chance.randrange(len(found) + 1)
        length = chance.choice((1, 1, 2, 4, 8, 64))
        piece = chance.choice(others)
        start = chance.randrange(len(piece) + 1)
        found[at : at + chance.choice((0, length))] = chance.choice(
            (b"", chance.randbytes(length), bytes(found[at : at + length]) * 2, piece[start : start + length])
        )
    return bytes(found)


def _guided(make: Callable[[], Reader], findings: Findings, times: int, corpus: Path) -> None:
    import atheris

    # What is compiled must keep its code as it is.
    source = ROOT / "src"
    compiled = [f.relative_to(source) for f in source.rglob("*.py") if "\n@kernel" in f.read_text(encoding="utf-8")]
    skip = [".".join(f.with_suffix("").parts) for f in compiled]
    with atheris.instrument_imports(
        include=["vatwright.files", "vatwright.units", "vatwright.interfaces.web"], exclude=skip
    ):
        reader = make()
    corpus.mkdir(parents=True, exist_ok=True)
    for n, data in enumerate(_known(reader)):
        (corpus / f"seed-{n}").write_bytes(data)
    findings.again(reader)
    said = [
        f"-max_len={reader.longest}",
        f"-runs={times}",
        "-timeout=60",
        "-rss_limit_mb=4000",
        "-print_final_stats=1",
        "-verbosity=0",
    ]
    atheris.Setup(
        ["fuzz", *said, f"-artifact_prefix={findings.folder}/", str(corpus)], lambda data: findings.take(reader, data)
    )
    atheris.Fuzz()  # ends the process


def _one(name: str, times: int, folder: Path) -> None:
    def made() -> Reader:
        from benchmarks.fuzz.readers import readers

        return next(r for r in readers() if r.name == name)

    findings = Findings(folder / name / "findings")
    if find_spec("atheris"):
        _guided(made, findings, times, folder / name / "corpus")
    else:
        _blind(made(), findings, times)
        print(f"{_COUNT} {findings.runs}")


def main() -> int:
    """Run every reader in a process of its own and print what was found; 1 where something was."""
    asked = argparse.ArgumentParser(prog="python -m benchmarks.fuzz", description=__doc__)
    asked.add_argument("names", nargs="*", help="readers; all of them without a name")
    asked.add_argument("--times", type=int, default=20_000, help="inputs for each")
    asked.add_argument(
        "--folder", type=Path, default=ROOT / "demo-out" / "fuzz", help="where inputs and findings are kept"
    )
    asked.add_argument(
        "--keep", action="store_true", help="give the tests some of what reached another part of a reader"
    )
    asked.add_argument("--one", help=argparse.SUPPRESS)
    said = asked.parse_args()
    if said.one:
        _one(said.one, said.times, said.folder)
        return 0
    from benchmarks.fuzz.readers import readers

    known = [r.name for r in readers()]
    if unknown := set(said.names) - set(known):
        asked.error(f"no reader {', '.join(sorted(unknown))}; there are {', '.join(known)}")
    print("| reader | inputs | processor | findings |\n| --- | --- | --- | --- |", flush=True)
    found = [_row(name, said.times, said.folder) for name in said.names or known]
    for name in (said.names or known) if said.keep else ():
        _keep(name, said.folder / name / "corpus")
    return max(found)


def _keep(name: str, corpus: Path) -> None:
    """Copy a few inputs, small to large, into the folder of the tests; what atheris named is what it found."""
    found = sorted(
        (f for f in corpus.glob("*") if not f.name.startswith("seed-")), key=lambda f: (f.stat().st_size, f.name)
    )
    small = [f for f in found if f.stat().st_size <= KEPT_BYTES]
    (KEPT / name).mkdir(parents=True, exist_ok=True)
    for file in small[:: max(len(small) // MOST_KEPT, 1)][:MOST_KEPT]:
        (KEPT / name / file.name[:12]).write_bytes(file.read_bytes())


def _row(name: str, times: int, folder: Path) -> int:
    """Run one reader to its end, again after each input that ends its process, and print its row."""
    import resource

    began = resource.getrusage(resource.RUSAGE_CHILDREN)
    call = [sys.executable, "-m", "benchmarks.fuzz", "--one", name, "--times", str(times), "--folder", str(folder)]
    memory = Path("/dev/shm")
    with tempfile.TemporaryDirectory(dir=memory if memory.is_dir() else None) as room:
        there = {**os.environ, "TMPDIR": room}
        ended = subprocess.run(call, capture_output=True, text=True, errors="replace", check=False, cwd=ROOT, env=there)
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    took = used.ru_utime + used.ru_stime - began.ru_utime - began.ru_stime
    causes = [
        f.read_text(encoding="utf-8").partition("\n")[0] for f in sorted((folder / name / "findings").glob("*.txt"))
    ]
    count = re.findall(rf"{_COUNT} (\d+)", ended.stdout + ended.stderr)
    if ended.returncode or not count:
        causes.append(f"the process ended with {ended.returncode}: {ended.stderr[-400:]}")
    print(f"| {name} | {int(count[0]) if count else 0:,} | {took:.0f} s | {'; '.join(causes) or 'none'} |", flush=True)
    return bool(causes)


if __name__ == "__main__":
    sys.exit(main())
