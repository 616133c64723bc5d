"""How solids of known shape should stand, studied as whole jobs: closed forms of height, layers, supports and room."""

from __future__ import annotations

import functools
import math

import numpy as np
import pytest
import trimesh
from tests.planning.workshop import demo_shop

from vatwright.answers.blocks import Sentence
from vatwright.answers.stand import stand_answer, stand_lead
from vatwright.errors import InputError, WillNotWork
from vatwright.records.part import CLEARANCE_M, MARGIN_M, PartUse
from vatwright.services import stand_part as stand_module
from vatwright.services.ports import PartGeometry
from vatwright.services.stand_part import StandWanted, stand_job, stand_part, standing_corners

LAYER_NM = 200_000
CUP = trimesh.boolean.difference(
    [
        trimesh.creation.cylinder(radius=14.0, height=30.0, sections=64),
        trimesh.creation.cylinder(radius=12.0, height=30.0, sections=64).apply_translation((0.0, 0.0, 3.0)),
    ],
    engine="manifold",
)
SOLIDS = {
    "slab": trimesh.creation.box(extents=(60.0, 40.0, 8.0)),
    "slab turned": trimesh.creation.box(extents=(40.0, 60.0, 8.0)),
    "rod": trimesh.creation.box(extents=(6.0, 6.0, 170.0)),
    "beam": trimesh.creation.box(extents=(6.0, 6.0, 400.0)),
    "cup": CUP,
}


def reader(corners_m):
    def read(part, *, layer_nm):
        return PartGeometry(name=part.name, corners_m=corners_m)

    return read


def solid(name):
    made = SOLIDS[name]
    return np.asarray(made.vertices[made.faces]) / 1000.0


def asked(name, machine="Wren", count=1):
    return PartUse(name=name, file=name, unit="mm", count=count), machine


def stood(corners_m, name, machine="Wren", count=1):
    part, _ = asked(name, machine, count)
    job = stand_job(
        demo_shop(), StandWanted(part, machine, resin="amber")
    )  # nothing proven: no part of a proof to read
    return stand_part(job, reader(corners_m), layer_nm=LAYER_NM)


@functools.cache
def sheet(name, machine="Wren", count=1):
    return stood(solid(name), name, machine, count)


def numbers(way):
    return (way.height_m, way.layers, way.supports_m2, way.pockets, way.pieces, way.to_s, way.body_settle_s, way.pull_n)


def test_a_slab_as_drawn_has_the_numbers_of_a_box():
    drawn = sheet("slab").ways[0]
    assert (drawn.tilt_deg, drawn.turn_deg, drawn.pockets) == (0.0, 0.0, 0)
    assert math.isclose(drawn.height_m, 0.008, rel_tol=1e-6)
    assert (drawn.layers, drawn.supports_m2) == (40, 0.0)
    # Wren's platform is 150 x 92 mm; pieces keep their clearance, and the margin from the edge.
    room = np.array((0.150, 0.092)) - 2.0 * MARGIN_M + CLEARANCE_M
    assert drawn.pieces == int(max(np.prod(room // (0.062, 0.042)), np.prod(room // (0.042, 0.062))))


def test_the_weakest_section_of_a_waist_is_the_waist():
    """An hourglass of discs: its 2 mm neck at 10 mm carries least, however the cones below and above it hang."""
    waist = np.array([[0.0, 0.0], [6.0, 0.0], [6.0, 4.0], [1.0, 10.0], [6.0, 16.0], [6.0, 20.0], [0.0, 20.0]])
    solid = trimesh.creation.revolve(waist, sections=48)
    drawn = stood(np.asarray(solid.vertices[solid.faces]) / 1000.0, "waist").ways[0]
    assert drawn.neck is not None
    assert math.isclose(drawn.neck_m, 0.010, abs_tol=2.0 * LAYER_NM / 1e9)


def test_a_slab_on_end_settles_no_longer_and_is_as_high_as_it_is_wide():
    ways = sheet("slab").ways
    end = [w for w in ways if math.isclose(w.height_m, 0.06, rel_tol=1e-6)]
    assert end, ways
    assert end[0].layers == 300
    assert end[0].body_settle_s <= ways[0].body_settle_s
    assert end[0].supports_m2 == 0.0


def test_turning_the_file_by_a_quarter_changes_no_number_as_drawn():
    one, other = (numbers(sheet(name).ways[0]) for name in ("slab", "slab turned"))
    assert one[:5] == pytest.approx(other[:5], rel=1e-6)


def test_a_way_written_and_studied_again_has_the_same_numbers():
    first = sheet("cup")
    part, _ = asked("cup")
    corners = standing_corners(part, first.advised, reader(solid("cup")), layer_nm=LAYER_NM)
    assert abs(corners[..., 2].min()) < 1e-12
    again = stood(corners, "cup").ways[0]
    assert numbers(again)[:5] == pytest.approx(numbers(first.advised)[:5], rel=1e-3)
    # Where a piece stands moves by a cell of the packer's grid, and with it the front: pull, rise and time follow.
    assert numbers(again)[5:] == pytest.approx(numbers(first.advised)[5:], rel=0.01)


def test_a_cup_open_towards_the_film_is_told_to_drain():
    found = sheet("cup")
    assert found.ways[0].pockets == 1
    assert found.advised.pockets == 0
    assert 80.0 <= found.advised.tilt_deg <= 100.0


def test_a_cup_upside_down_holds_its_pool_too():
    corners = solid("cup") * (1.0, -1.0, -1.0)
    assert stood(corners, "cup").ways[0].pockets == 1


def test_a_rod_too_tall_is_laid_down():
    found = sheet("rod")
    assert not found.ways[0].fits
    assert found.ways[0].to_s is None
    assert found.advised.fits
    assert found.advised.height_m < 0.165


def test_what_fits_in_no_direction_is_not_advised():
    found = sheet("beam")
    assert not found.advised.fits
    assert len(found.ways) == 1


def test_a_part_without_triangles_is_refused():
    part, _ = asked("pictures")
    job = stand_job(demo_shop(), StandWanted(part, "Wren"))

    def pictures(part, *, layer_nm):
        return PartGeometry(name=part.name, masks=[np.ones((4, 4), bool)], pixel_m=5e-5, layers=1)

    with pytest.raises(InputError, match="no mesh"):
        stand_part(job, pictures, layer_nm=LAYER_NM)


def test_in_a_room_that_nobody_has_checked_nothing_is_told():
    part, _ = asked("cup")
    job = stand_job(demo_shop(), StandWanted(part, "Wren", resin="amber", room_k=273.15 + 8.0))
    with pytest.raises(WillNotWork, match="warm or cool the resin"):
        stand_part(job, reader(solid("cup")), layer_nm=LAYER_NM)


def test_an_unknown_machine_is_refused_with_those_there_are():
    with pytest.raises(InputError, match="Albatross"):
        stand_job(demo_shop(), StandWanted(PartUse(name="cup", file="cup.stl"), "Pelican"))


def test_a_direction_that_cannot_be_worked_out_is_told(monkeypatch):
    studied, asked_for = stand_module._Studies.turned, []

    def turned(studies, part, direction):
        asked_for.append(direction)
        if direction == asked_for[0]:
            raise InputError.one("layer 3", "is no outline", "Mend the part")
        return studied(studies, part, direction)

    monkeypatch.setattr(stand_module._Studies, "turned", turned)
    told = stood(solid("slab"), "slab")
    assert "1 direction could not be worked out and is left out." in told.warnings
    assert sheet("slab").warnings == ()


def test_what_may_burst_is_said_right_after_what_to_do_however_it_stands():
    shells = [trimesh.creation.icosphere(subdivisions=2, radius=r) for r in (9.0, 7.0)]
    ball = trimesh.boolean.difference(shells, engine="manifold")
    found = stood(np.asarray(ball.vertices[ball.faces]) / 1000.0, "ball")
    first, second, *_ = [block for block in stand_answer(found).blocks if isinstance(block, Sentence)]
    assert first.text == stand_lead(found)
    assert "closed hollow" in second.text
    assert second.role == "refusal"
    assert found.warnings == ()
    assert sheet("cup").cautions == ()
