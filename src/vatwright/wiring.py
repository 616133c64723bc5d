"""The one place that joins files, services and settings of the environment."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from attrs import evolve

from vatwright.errors import InputError
from vatwright.geometry.part_layers import OutlineStack
from vatwright.jobfiles.atomic import write_bytes_atomically
from vatwright.jobfiles.fields import nearest
from vatwright.jobfiles.part_mesh import PartFile, read_part
from vatwright.jobfiles.read import read_job, read_shop
from vatwright.jobfiles.study_cache import StudyCache, cache_folder, is_compiled, note_compiled
from vatwright.records.part import PartUse
from vatwright.services.ports import PartGeometry, Progress, silent
from vatwright.services.study_parts import PartBench, study_plate

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from vatwright.records.job import Job
    from vatwright.records.machine import Machine
    from vatwright.records.plan import CarrySheet
    from vatwright.records.study import Study

SHOP_VARIABLE = "VATWRIGHT_SHOP"
"""Environment variable that names the shop file where neither the command nor the job does."""


def read_geometry(part: PartUse, *, layer_nm: int) -> PartGeometry:
    """Return the geometry of a part's file in metres; satisfies the services' PartReader."""
    try:
        file = read_part(part.file, unit=part.unit, pixel_m=part.pixel_m, layer_nm=layer_nm)
    except InputError as problem:
        if not part.where:
            raise
        raise InputError([m._replace(where=f"{part.where}: {m.where}") for m in problem.mistakes]) from problem
    if file.masks is not None:
        return PartGeometry(
            name=part.name, masks=file.masks, pixel_m=file.masks.pixel_m, layers=len(file.masks), warnings=file.warnings
        )
    if len(file.corners):
        return PartGeometry(name=part.name, corners_m=file.corners_m, warnings=file.warnings)
    return PartGeometry(name=part.name, outlines=_outlines(file), warnings=file.warnings)


def _outlines(file: PartFile) -> tuple[OutlineStack, ...]:
    return tuple(
        OutlineStack(
            bottom_m=stack.z_bottom,
            tops_m=tuple(s.z_top for s in stack.slices),
            rings_m=tuple(s.rings for s in stack.slices),
        )
        for stack in file.slices or ()
    )


def study_memory() -> StudyCache | None:
    """Return what remembers studies from run to run; None where VATWRIGHT_CACHE is empty."""
    folder = cache_folder()
    return StudyCache(folder) if folder else None


def warm_up(progress: Progress = silent) -> None:
    """Compile what studies need, once per version and machine; every later run loads it in a fraction of a second.

    Parameters
    ----------
    progress : Progress
        Told what is being compiled; may raise to stop.
    """
    if is_compiled():
        return
    stages = ("mending", "areas", "sections", "regions", "torsion")

    def told(what: str, done: int, total: int) -> None:  # noqa: ARG001 - a Progress
        stage = what.rpartition(": ")[2]
        progress("compiling for this machine, once", stages.index(stage) if stage in stages else 0, len(stages))

    def two_boxes_that_overlap(part: PartUse, *, layer_nm: int) -> PartGeometry:
        return PartGeometry(name=part.name, corners_m=np.concatenate((_box(2 * layer_nm), _box(3 * layer_nm) + 1e-4)))

    part = PartUse(name="box", file="box", as_drawn=True)
    study_plate([part], PartBench(two_boxes_that_overlap, layer_nm=50_000, progress=told), machine=None)
    progress("compiling for this machine, once", len(stages), len(stages))
    note_compiled()


def _box(height_nm: int) -> NDArray[np.float64]:
    """Return the twelve triangles of a box of 10 mm x 10 mm (12, 3, 3) [m]."""
    corner = np.array([[x, y, z] for z in (0, 1) for y in (0, 1) for x in (0, 1)]) * (0.01, 0.01, height_nm * 1e-9)
    sides = ((0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5))
    return corner[[face for a, b, c, d in sides for face in ((a, b, c), (a, c, d))]]


def open_job(path: str, *, shop: str | None = None, to: str | None = None) -> Job:
    """Return the job in a file, with its shop from the option, the job, the folder or the environment."""
    shop_path = shop
    beside = Path(path).parent / "shop.toml"
    if shop_path is None and not beside.exists():
        shop_path = os.environ.get(SHOP_VARIABLE)
    return read_job(path, shop_path=shop_path, to=to)


def carry_job(job: Job, *, progress: Progress = silent) -> CarrySheet:
    """Return the carry sheet of a job whose part files are on disk."""
    # The planner brings compiled kernels and statistics with it: a study does without.
    from vatwright.services.carry_recipe import carry_recipe

    warm_up(progress)
    return carry_recipe(job, read_geometry, progress=progress, memory=study_memory())


def study_files(
    parts: Sequence[PartUse], *, layer_nm: int, machine: Machine | None = None, progress: Progress = silent
) -> Study:
    """Return the study of part files on disk, on one plate: the fullest one, which says so, where they need several."""
    warm_up(progress)
    bench = PartBench(read_geometry, layer_nm=layer_nm, progress=progress, memory=study_memory())
    plan = study_plate(parts, bench, machine=machine)
    if len(plan.layers) == 1:
        return plan.study
    where = f"{len(plan.layers)} plates of {machine.name}" if machine else f"{len(plan.layers)} plates"
    asked = sum(len(p.places) or p.count for p in parts)
    said = f"the {asked} pieces need {where}: this is the fullest one, with {plan.study.pieces} of them"
    return evolve(plan.study, warnings=(said, *plan.study.warnings))


def machine_of_shop(name: str, shop: str | None) -> Machine:
    """Return a machine of a shop file by its name."""
    path = shop or "shop.toml"
    found = read_shop(path).machines
    for machine in found:
        if machine.name == name:
            return machine
    known = [m.name for m in found]
    like = nearest(name, known)
    do = f"Perhaps {like} is meant" if like else f"It holds: {', '.join(known) or 'none'}"
    raise InputError.one(path, f"holds no machine called {name!r}", do)


def demo_folder() -> Path:
    """Return where the demo workshop's files are: inside the installed package, or in the source tree."""
    inside = Path(__file__).parent / "_demo"
    return inside if inside.is_dir() else Path(__file__).parents[2] / "demo"


def copy_demo(folder: str) -> list[Path]:
    """Copy the demo workshop into a new folder and return the files; refuses to write into one that holds something."""
    target = Path(folder)
    if target.exists() and any(target.iterdir()):
        raise InputError.one(folder, "is there already and not empty", "Name a new folder: vatwright demo NAME")
    written = []
    for source in sorted(demo_folder().rglob("*")):
        if source.suffix in {".toml", ".stl"}:
            copy = target / source.relative_to(demo_folder())
            copy.parent.mkdir(parents=True, exist_ok=True)
            write_bytes_atomically(copy, source.read_bytes())
            written.append(copy)
    return written
