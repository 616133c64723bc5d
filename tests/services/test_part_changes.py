"""Changes to parts that do more than waiting, on plates made for each; times held against carries of the changed plates."""

from __future__ import annotations

import math

import numpy as np
import pytest
import trimesh
from attrs import evolve
from benchmarks.cases import write_stl
from benchmarks.first_evening import told, turned, write_shop
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from vatwright import wiring
from vatwright.answers.carry import lead
from vatwright.answers.part_changes import change_sentence, slow_sentence
from vatwright.files.read import read_job
from vatwright.geometry.mesh import merge_triangles
from vatwright.planning.carry.part_changes import FEW, few_rows
from vatwright.planning.carry.risks import HOLLOW
from vatwright.planning.demand.choice import covering
from vatwright.records.part import PartUse, PlateLoad
from vatwright.records.part_change import ChangeKind
from vatwright.services.carry_recipe import carry_recipe
from vatwright.services.part_changes import slanted
from vatwright.services.ports import PartGeometry
from vatwright.wiring import demo_folder


def bowl():
    body = trimesh.creation.cylinder(radius=20.0, height=30.0)
    hollow = trimesh.creation.cylinder(radius=18.0, height=30.0)
    hollow.apply_translation((0.0, 0.0, 4.0))
    return trimesh.boolean.difference([body, hollow], engine="manifold")


def table():
    rod, top = trimesh.creation.cylinder(radius=5.0, height=30.0), trimesh.creation.box(extents=(70.0, 50.0, 3.0))
    top.apply_translation((0.0, 0.0, 15.0))
    return trimesh.boolean.union([rod, top], engine="manifold")


def ball():
    inner, outer = (trimesh.creation.icosphere(subdivisions=2, radius=r) for r in (6.0, 9.0))
    return trimesh.boolean.difference([outer, inner], engine="manifold")


SHAPES = {
    "bowl": bowl,
    "table": table,
    "ball": ball,
    "die": lambda: trimesh.creation.box(extents=(15.0, 15.0, 25.0)),
    "vase": lambda: trimesh.creation.cylinder(radius=6.0, height=90.0),
    "slab": lambda: trimesh.creation.box(extents=(90.0, 60.0, 6.0)),
}


def read(part, *, layer_nm):
    solid = SHAPES[part.file]()
    return PartGeometry(name=part.name, corners_m=np.asarray(solid.vertices[solid.faces]) / 1e3)


@pytest.fixture(scope="module")
def job():
    """The demo's main job, proven on a load by tape measure."""
    found = read_job(demo_folder() / "harbour-lanterns.toml")
    proof = evolve(found.recipe.proof, parts=(), load=PlateLoad(pieces=5, section_m2=4e-4, height_m=0.06))
    return evolve(found, recipe=evolve(found.recipe, proof=proof))


def carried(job, hands=True, **counts):
    parts = tuple(PartUse(name=name, file=name, count=count) for name, count in counts.items())
    visits = job.hands if hands else evolve(job.hands, visits=0)
    return carry_recipe(evolve(job, parts=parts, hands=visits), read)


@pytest.fixture(scope="module")
def mixed(job):
    return carried(job, vase=1, slab=2)


def test_a_tall_vase_beside_wide_slabs_goes_on_a_plate_of_its_own(job, mixed):
    change = mixed.part_changes[0]
    assert (change.kind, change.part, change.rest, change.worth) == (ChangeKind.SPLIT, "vase", "slab", True)
    assert change.alone_s + change.rest_s == pytest.approx(change.to_s, rel=1e-9)
    assert change.to_s + change.saves_s == pytest.approx(mixed.time.to_s, rel=1e-9)
    # The two plates carried as jobs of their own take as long: the estimate asks a sixteenth of the worlds.
    apart = carried(job, vase=1).time.to_s + carried(job, slab=2).time.to_s
    assert change.to_s == pytest.approx(apart, rel=0.1)


def test_the_change_stands_before_the_verdict_and_every_number(mixed):
    said = change_sentence(mixed.part_changes[0])
    assert said.startswith("Print vase on a plate of its own (")


def test_a_ramp_where_the_first_layers_after_the_base_make_all_others_wait(job):
    """A recipe without a ramp, on a machine where no hand changes the settle: what a longer ramp is told to do, it does."""
    settings = evolve(job.recipe.settings, ramp_layers=0, layer_nm=100_000)
    settings = evolve(settings, body=evolve(settings.body, exposure_s=6.0))
    heron = read_job(demo_folder() / "harbour-lanterns.toml", to="Heron").target
    bare = evolve(job, target=heron, recipe=evolve(job.recipe, settings=settings))
    sheet = carried(bare, hands=False, die=40)
    change = next(c for c in sheet.part_changes if c.kind is ChangeKind.RAMP)
    assert change_sentence(change).startswith(f"Set {change.ramp_layers} ramp layers (ramp_layers = ")
    ramped = carried(evolve(bare, ramp_layers=change.ramp_layers), hands=False, die=40)
    assert ramped.advice("ramp.layers").to_value == change.ramp_layers
    assert ramped.time.to_s == pytest.approx(change.to_s, rel=0.1)
    assert ramped.success.mean > sheet.success.mean - 0.02
    assert not any(c.kind is ChangeKind.RAMP for c in ramped.part_changes)


def test_pieces_of_one_height_are_not_split_and_small_ones_not_changed(job):
    assert carried(job, vase=2).part_changes == ()


def test_a_bowl_is_vented_where_its_pool_makes_the_layers_slow(job):
    """The floor still needs its settle: a vent helps the walls, so a hand or nobody decides what it is worth."""
    changes = carried(job, bowl=4).part_changes
    vents = [change for change in changes if change.kind is ChangeKind.VENT]
    assert [(v.part, v.pockets, v.first_layer) for v in vents] == [("bowl", 1, 80)]
    assert 0.0015 <= vents[0].hole_m <= 0.004
    assert vents[0].settled_s <= vents[0].settle_s
    assert "Give bowl a hole of " in change_sentence(vents[0])


def test_a_wide_top_on_a_thin_rod_stands_better_at_a_slant_when_nobody_comes(job):
    change = carried(job, hands=False, table=4).part_changes[0]
    assert (change.kind, change.part, change.worth) == (ChangeKind.TILT, "table", True)
    assert change.settled_s < change.settle_s
    assert change_sentence(change).startswith("Tilt table by ")


def test_a_slant_turns_the_short_side_up_and_keeps_the_part():
    """A box b by c turned by a about its long side is b sin a + c cos a high (trigonometry); its volume stays."""
    solid = trimesh.creation.box(extents=(40.0, 20.0, 4.0))
    mesh = merge_triangles(np.asarray(solid.vertices[solid.faces]) / 1e3)
    for mesh_in in (mesh, evolve(mesh, vertices_m=mesh.vertices_m[:, [1, 0, 2]])):
        turned = slanted(mesh_in, math.radians(30.0))
        size = np.ptp(turned.vertices_m, axis=0)
        assert size[2] == pytest.approx(0.02 * 0.5 + 0.004 * math.sqrt(0.75), rel=1e-9)
        assert sorted(size[:2])[1] == pytest.approx(0.04, rel=1e-9)


def test_a_closed_hollow_is_cautioned_first_and_an_open_one_is_not(job, mixed):
    assert carried(job, ball=1).cautions[0] == HOLLOW
    assert HOLLOW not in mixed.cautions


@pytest.mark.parametrize("start", ["none", "one"])
def test_on_a_machine_known_by_name_and_size_the_change_is_first_too(tmp_path, start):
    """Slabs that make a vase of 120 mm wait; the plates of their own cost within a fifth of what is told."""
    write_shop(tmp_path)
    profile = ((18, 0), (18, 1.2), (20, 60), (24, 120), (22.5, 120), (18.5, 60), (16.5, 1.2), (0, 1.2))
    write_stl(tmp_path / "vase.stl", turned(profile, 24))
    both = told(tmp_path, "vase", 1, "Albatross", start, beside=("slab", 2))
    change = both.sheet.part_changes[0]
    assert (change.kind, change.part, change.worth) == (ChangeKind.SPLIT, "vase", True)
    assert lead(both.sheet)[0].text == change_sentence(change)
    alone = [told(tmp_path, shape, n, "Albatross", start).sheet.time.to_s for shape, n in (("vase", 1), ("slab", 2))]
    assert change.to_s == pytest.approx(sum(alone), rel=0.2)


def test_a_flat_face_that_makes_a_run_slow_is_said_first_and_small_pieces_are_not(tmp_path):
    write_shop(tmp_path)
    slabs, rings = (told(tmp_path, shape, 2, "Albatross", "none").sheet for shape in ("slab", "ring"))
    face = slabs.slow_face
    assert face.part == "slab"
    waits = next(s for s in slabs.time.shares if "settle" in s.label).to_s
    assert 0.5 * slabs.time.to_s < face.waits_s < waits
    assert face.total_s == slabs.time.to_s
    assert lead(slabs)[0].text == slow_sentence(face)
    assert rings.slow_face is None


@given(
    needed=arrays(float, 256, elements=st.one_of(st.floats(0.0, 1e4), st.just(math.inf))),
    share=st.floats(0.5, 0.99),
)
def test_a_few_worlds_cover_a_share_with_what_all_of_them_do(needed, share):
    rows = few_rows(needed, share)
    assert (np.diff(rows) >= 0).all()
    assert 0 <= rows.min() <= rows.max() < len(needed)
    if np.isfinite(needed).sum() >= FEW:
        assert len(rows) == pytest.approx(len(needed) / FEW, abs=1)
        assert covering(needed[rows], share) == covering(needed, share)


@pytest.mark.parametrize("room_c", [16.0, 18.0, 18.8, 20.0, 22.0])
def test_no_change_takes_longer_where_the_sheet_itself_is_sure_enough(room_c):
    """A few worlds may fall a little short of what all of them say: that is no reason to turn a part."""
    found = read_job(demo_folder() / "harbour-lanterns.toml")
    sheet = carry_recipe(evolve(found, room_k=273.15 + room_c), wiring.read_geometry, memory=wiring.study_memory())
    assert sheet.success.mean > found.confidence
    assert all(change.saves_s > 0.0 for change in sheet.part_changes)
