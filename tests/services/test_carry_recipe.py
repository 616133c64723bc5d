"""Carrying a recipe: which plates are studied, how often, and what is refused or stopped.

Numbers of the plan are tested where they are planned; here it matters that the planner gets the right studies.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import trimesh
from attrs import evolve, frozen

from vatwright.errors import InputError
from vatwright.files.read import read_job
from vatwright.records.part import PartUse, PlateLoad
from vatwright.services import carry_recipe as service
from vatwright.services.carry_recipe import carry_recipe
from vatwright.services.ports import PartGeometry
from vatwright.wiring import demo_folder

TILE = PartUse(name="tile", file="tile", count=6)
POST = PartUse(name="post", file="post", count=2)
SIZES_MM = {"tile": (40.0, 40.0, 2.0), "post": (10.0, 10.0, 3.0), "slab": (200.0, 120.0, 2.0)}


class Shelf:
    """A reader of boxes that counts what it reads."""

    def __init__(self):
        self.read = []

    def __call__(self, part, *, layer_nm):
        self.read.append((part.file, layer_nm))
        solid = trimesh.creation.box(extents=SIZES_MM[part.file])
        return PartGeometry(name=part.name, corners_m=np.asarray(solid.vertices[solid.faces]) / 1e3)


class Steps:
    """Keeps what it is told, and stops the work when it hears a word."""

    def __init__(self, stop=None):
        self.told, self.stop = [], stop

    def __call__(self, what, done, total):
        self.told.append((what, done, total))
        if self.stop and self.stop in what:
            raise KeyboardInterrupt


@pytest.fixture(scope="module")
def job():
    """The main job of the demo (Wren to Albatross), with parts of our own."""
    found = read_job(demo_folder() / "harbour-lanterns.toml")
    recipe = evolve(found.recipe, proof=evolve(found.recipe.proof, parts=(evolve(TILE, count=4), POST)))
    return evolve(found, recipe=recipe, parts=(TILE, POST))


def with_proof(job, **changes):
    return evolve(job, recipe=evolve(job.recipe, proof=evolve(job.recipe.proof, **changes)))


@frozen
class Told:
    """Stands in for the sheet of a planner that plans nothing."""

    part_changes: tuple = ()
    slow_face: None = None


@pytest.fixture
def planner(monkeypatch):
    """What the planner was handed, without planning."""
    handed = {}

    def plan(job, *, proven, target, plates, belief=None, found=None, known=None):
        handed.update(job=job, proven=proven, target=target, plates=plates)
        return Told()

    monkeypatch.setattr(service, "carry", plan)
    return handed


def test_both_plates_are_studied_and_every_file_read_once(job, planner):
    shelf, steps = Shelf(), Steps()
    assert carry_recipe(job, shelf, progress=steps) == Told()
    assert sorted(shelf.read) == [("post", 50_000), ("tile", 50_000)]
    assert planner["proven"].pieces == 6
    assert planner["target"].pieces == 8
    # 4 and 6 tiles of 1600 mm2, and 2 posts of 100 mm2, which are higher.
    assert planner["proven"].area_m2[[0, 50]] * 1e6 == pytest.approx([6600.0, 200.0], rel=1e-9)
    assert planner["target"].area_m2[[0, 50]] * 1e6 == pytest.approx([9800.0, 200.0], rel=1e-9)
    assert sum("mending" in what for what, _, _ in steps.told) == 2
    # The planner tells the step between; this one plans nothing.
    assert steps.told[-2:] == [("carrying the recipe", 0, 2), ("carrying the recipe", 2, 2)]


def test_plates_are_counted_on_both_machines(job, planner):
    # Tiles of 40 mm with 3 mm round each: 6 on Wren (150 x 92 mm), 6 x 3 = 18 on Albatross (296 x 166 mm).
    carry_recipe(evolve(job, parts=(evolve(TILE, count=20),)), Shelf())
    assert planner["plates"].origin == (40, 40, 40, 40)
    assert planner["plates"].target == (40, 40)
    assert planner["target"].pieces == 18


def test_a_piece_too_large_for_the_machine_it_comes_from_is_no_mistake(job, planner):
    carry_recipe(evolve(job, parts=(PartUse(name="slab", file="slab"),)), Shelf())
    assert planner["plates"].origin == ()
    assert planner["plates"].target == (40,)


def test_a_piece_too_large_for_the_machine_it_goes_to_is_refused(job):
    back = evolve(job, target=job.origin, parts=(PartUse(name="slab", file="slab", where="job.toml:9"),))
    with pytest.raises(
        InputError, match=r"job\.toml:9: slab is 200\.0 x 120\.0 mm and does not fit the platform of Wren"
    ):
        carry_recipe(back, Shelf())


def test_the_same_parts_on_the_same_machine_are_one_study(job, planner):
    same = with_proof(evolve(job, target=job.origin), parts=job.parts)
    carry_recipe(same, Shelf())
    assert planner["proven"] is planner["target"]


def test_a_load_from_a_tape_measure_stands_in_for_parts(job, planner):
    load = PlateLoad(pieces=6, section_m2=4e-4, height_m=0.03)
    carry_recipe(with_proof(job, parts=(), load=load), Shelf())
    proven = planner["proven"]
    assert proven.layers == 600  # 30 mm at 0.05 mm
    assert proven.area_m2.max() == pytest.approx(6 * 4e-4)
    # No outline of an area has a larger torsion constant than the disc: J <= A^2 / (2 pi) (Polya 1948).
    assert proven.torsion_m4.max() <= 6 * (4e-4) ** 2 / (2 * math.pi) * (1 + 1e-9)


def test_a_recipe_proven_on_nothing_is_refused(job):
    with pytest.raises(InputError, match=r"nothing says what it was proven on\. Name the parts it ran"):
        carry_recipe(with_proof(job, parts=(), load=None), Shelf())


def test_parts_that_cannot_be_read_are_refused(job):
    class Torn(Shelf):
        def __call__(self, part, *, layer_nm):
            raise InputError.one(part.file, "is torn", "Copy it again")

    with pytest.raises(InputError) as refused:
        carry_recipe(job, Torn())
    assert [m.where for m in refused.value.mistakes] == ["tile", "post"]


@pytest.mark.parametrize("stop", ["reading tile", "tile: mending", "post: ", "carrying the recipe"])
def test_progress_may_stop_the_work(job, planner, stop):
    steps = Steps(stop)
    with pytest.raises(KeyboardInterrupt):
        carry_recipe(job, Shelf(), progress=steps)
    assert stop in steps.told[-1][0]
    assert planner == {}


def test_memory_is_asked_before_a_part_is_read(job, planner):
    class Memory:
        def __init__(self):
            self.kept = {}

        def content_of(self, file):  # so plates are laid out anew from what it keeps
            return None

        def recall(self, part, *, layer_nm, turn_deg):
            return self.kept.get((part.file, layer_nm, turn_deg))

        def keep(self, part, layers, *, layer_nm, turn_deg):
            self.kept[part.file, layer_nm, turn_deg] = layers

    memory, first, second = Memory(), Shelf(), Shelf()
    carry_recipe(job, first, memory=memory)
    area = planner["target"].area_m2
    carry_recipe(job, second, memory=memory)
    assert len(first.read) == 2
    assert second.read == []
    assert np.array_equal(planner["target"].area_m2, area)


def test_a_proof_that_the_machine_had_no_room_for_is_refused_with_all_that_is_wrong_with_it(job):
    """Arithmetic: 200 pieces of 4 cm2 are six times the platform of 150 x 92 mm; 300 mm do not stand under 165."""
    impossible = with_proof(job, parts=(), load=PlateLoad(pieces=200, section_m2=4e-4, height_m=0.3))
    with pytest.raises(InputError) as refused:
        carry_recipe(impossible, Shelf())
    said = " ".join(str(m) for m in refused.value.mistakes)
    assert len(refused.value.mistakes) == 2
    assert "platform of Wren" in said
    assert "taller than Wren prints" in said
