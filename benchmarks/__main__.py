"""Run everything once, print it and write docs/benchmarks.md: ``python -m benchmarks``, or ``make bench``.

``python -m benchmarks NAME ...`` runs some of the sections; the page keeps the others as they were.
"""

from __future__ import annotations

import datetime as dt
import os
import platform
import re
import sys
import time
from importlib.metadata import version
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

    from benchmarks.rounds import Row
    from benchmarks.studies import Growth, StudyRun

DOCS = Path(__file__).parents[1] / "docs"
PAGE, PICTURE = DOCS / "benchmarks.md", "pictures/study-growth.svg"
RIVALS = ("manifold3d", "trimesh", "shapely", "vtk", "opencv-python-headless", "pyamg", "scipy", "numpy", "numba")

HEAD = """# Benchmarks

Written by `make bench` on {date}: {machine}. {versions}.

Every ratio comes from one run in which the tasks took turns; times are medians. Times depend on the machine, ratios
much less: noise is about 20 %. A ratio above 1 means that Vatwright is faster. Where a library would need minutes it
did some layers, spread over the height, and the rest is by proportion. Compilation, once per machine, is left out.
"""


def _machine() -> str:
    memory = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 1e9 if hasattr(os, "sysconf") else 0.0
    load = f", other work on it at the start: load {os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else ""
    return (
        f"{os.cpu_count()} cores ({platform.machine()}), {memory:.0f} GB of memory, {platform.system()}, "
        f"Python {platform.python_version()}{load}"
    )


def _table(title: str, rows: list[Row]) -> str:
    lines = [
        f"### {title}",
        "",
        "| step | ours | against | theirs | ratio | aim |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    for row in rows:
        aim = "" if not row.bar else f"{row.bar:.0f}, " + ("reached" if row.ratio >= row.bar else "missed")
        lines.append(
            f"| {row.step} | {row.ours_s * 1e3:.3g} ms | {row.rival} | {row.theirs_s * 1e3:.3g} ms "
            f"| {row.ratio:.3g} | {aim} |"
        )
    return "\n".join(lines)


STUDIES = """## Whole studies

From the file to everything a study holds: mended, areas, outlines, runs, islands, pockets, torsion. U is the time to
read the file's bytes once (mapped into memory, summed as 64-bit numbers). The second study finds the first one kept.
Peak memory is that of a process of its own that studies the plate and keeps the study; a process that studies next to
nothing holds {idle:.0f} MB (interpreter, libraries, compiled code), which "less idle" leaves out. Processor time adds up
the cores: with nothing else on the machine a study takes between half and all of it.

| plate | layers | file | U | study | in U | processor | again | gain | peak memory | in files | less idle | longest silence |
| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |"""


def _studies(found: list[StudyRun]) -> str:
    rows = [
        f"| {r.name} | {r.layers:,} | {r.file_mb:.1f} MB | {r.unit_s * 1e3:.2g} ms | {r.first_s:.2f} s "
        f"| {r.first_s / r.unit_s:.0f} | {r.processor_s:.2f} s | {r.again_s * 1e3:.1f} ms "
        f"| {r.first_s / r.again_s:.0f} | {r.peak_mb:.0f} MB | {r.peak_mb / r.file_mb:.1f} "
        f"| {max(0.0, r.peak_mb - r.idle_mb) / r.file_mb:.1f} | {r.longest_silence_s:.2f} s |"
        for r in found
    ]
    return "\n".join([STUDIES.format(idle=found[0].idle_mb), *rows])


def _growth(found: list[Growth]) -> str:
    from benchmarks.growth_picture import picture

    (DOCS / PICTURE).write_text(picture(found), encoding="utf-8")
    lines = [
        "## Growth", "", "Time of a study, the file already read, and the exponent from one size to the next.", "",
        f"![Time of a study against triangles, layers and pieces]({PICTURE})", "",
    ]  # fmt: skip
    for growth in found:
        lines += [f"| {growth.what} | time | exponent |", "| --- | --- | --- |"]
        for k, (amount, seconds) in enumerate(zip(growth.amounts, growth.seconds, strict=True)):
            lines.append(f"| {amount:,} | {seconds:.3f} s | {_exponent(growth, k)} |")
        lines.append("")
    return "\n".join(lines)


def _exponent(growth: Growth, k: int) -> str:
    from math import log

    if k == 0:
        return ""
    return f"{log(growth.seconds[k] / growth.seconds[k - 1]) / log(growth.amounts[k] / growth.amounts[k - 1]):.2f}"


def _look() -> str:
    from benchmarks import quick_look

    return "\n\n".join(["## A quick look", _table("the demo job's sheet, one thing changed", quick_look.rows())])


def _sections() -> dict[str, Callable[[], str]]:
    """Every section of the page by its name, in the order of the page."""
    from benchmarks import (
        bench_pages,
        changed_question,
        first_minute,
        fleet,
        meshes,
        notebook,
        pressure,
        regions,
        studies,
    )

    return {
        "first": first_minute.section,
        "studies": lambda: _studies(studies.runs()),
        "growth": lambda: _growth(studies.growth()),
        "meshes": lambda: "\n\n".join(["## Areas and outlines of layers", *(_table(*t) for t in meshes.tables())]),
        "regions": lambda: "\n\n".join(["## Islands, pockets, torsion", _table(*regions.table())]),
        "pressure": lambda: "\n\n".join(["## Pressure under the platform", *(_table(*t) for t in pressure.tables())]),
        "look": _look,
        "changed": changed_question.section,
        "notebook": notebook.section,
        "fleet": fleet.section,
        "pages": bench_pages.section,
    }


def _kept_sections() -> dict[str, str]:
    """The sections of the page as it is, by heading."""
    if not PAGE.exists():
        return {}
    parts = re.split(r"^(?=## )", PAGE.read_text(encoding="utf-8"), flags=re.MULTILINE)[1:]
    return {part.partition("\n")[0]: part for part in parts}


def main() -> None:
    missing = [name for name in ("cv2", "vtk", "manifold3d", "pyamg", "trimesh") if find_spec(name) is None]
    if missing:
        sys.exit(f"Not installed: {', '.join(missing)}. Run: uv sync --group bench")
    from vatwright.wiring import warm_up

    date = dt.datetime.now(tz=dt.UTC).date().isoformat()
    versions = ", ".join(f"{name} {version(name)}" for name in RIVALS)
    head = HEAD.format(date=date, machine=_machine(), versions=versions)
    made = _sections()
    if unknown := set(sys.argv[1:]) - set(made):
        sys.exit(f"No such section: {', '.join(sorted(unknown))}. There are: {', '.join(made)}")
    warm_up()
    page = _kept_sections() if sys.argv[1:] else {}
    for name in sys.argv[1:] or made:
        began = time.perf_counter()
        text = made[name]()
        page[text.partition("\n")[0]] = text
        print(f"{text}\n\n({name}: {time.perf_counter() - began:.0f} s)", flush=True)
    PAGE.write_text("\n\n".join(part.strip() for part in (head, *page.values())) + "\n", encoding="utf-8")
    print(f"\nwritten: {PAGE}")


if __name__ == "__main__":
    main()
