"""A part seen from the front: its shadow on a wall, what is nearer hides what is behind, and light by Lambert's law."""

from __future__ import annotations

import math

import numpy as np
import pytest
import trimesh

from vatwright.geometry.attitude import tilted
from vatwright.geometry.mesh import Mesh
from vatwright.geometry.view import DIFFUSE, LIGHT, TONES, front_view


def mesh_of(solid):
    return Mesh(vertices_m=np.asarray(solid.vertices), faces=solid.faces)


@pytest.mark.parametrize("tilt", [0.0, 30.0, 45.0, 90.0])
def test_a_box_covers_what_its_shadow_does(tilt):
    wide, deep, tall = 0.03, 0.01, 0.02
    box = tilted(mesh_of(trimesh.creation.box(extents=(wide, deep, tall))), tilt_deg=tilt, turn_deg=0.0)
    # Of a rectangle tilted about the level axis of sight's normal: its height is that of the projected sides.
    height = tall * math.cos(math.radians(tilt)) + deep * math.sin(math.radians(tilt))
    tone = front_view(box, cell_m=1e-4)
    assert abs((tone > 0).sum() * 1e-8 / (wide * height) - 1.0) < 0.02


def test_a_ball_covers_a_disc_and_is_brightest_where_lambert_says():
    radius = 0.01
    tone = front_view(mesh_of(trimesh.creation.icosphere(subdivisions=5, radius=radius)), cell_m=1e-4)
    assert abs((tone > 0).sum() * 1e-8 / (math.pi * radius**2) - 1.0) < 0.01
    z, x = np.nonzero(tone == TONES)
    middle = (np.array(tone.shape) - 1.0) / 2.0
    # Full light is where the cosine to the light is nearest to one: a cap about it, its middle a little nearer the eye.
    there = np.array((z.mean(), x.mean())) - middle
    assert there[0] > 0.0 > there[1]
    assert math.isclose(there[0] / there[1], LIGHT[2] / LIGHT[0], rel_tol=0.1)


@pytest.mark.parametrize("degrees", [0.0, 40.0, 70.0])
def test_a_face_takes_the_cosine_of_its_angle_to_the_light(degrees):
    # A square that faces the eye, swung about the upright: Lambert's law, from memory.
    angle = math.radians(degrees)
    across = np.array((math.cos(angle), math.sin(angle), 0.0))
    corners = np.array((0 * across, across, across + np.array((0.0, 0.0, 1.0)), (0.0, 0.0, 1.0)))
    normal = np.array((math.sin(angle), -math.cos(angle), 0.0))
    expected = DIFFUSE + (1.0 - DIFFUSE) * max(float(normal @ LIGHT), 0.0)
    tone = front_view(Mesh(vertices_m=corners, faces=[[0, 1, 2], [0, 2, 3]]), cell_m=0.05)
    assert set(np.unique(tone[tone > 0])) == {1 + min(int(expected * TONES), TONES - 1)}


def test_what_is_nearer_hides_what_is_behind():
    far = trimesh.creation.box(extents=(0.02, 0.002, 0.02))
    near = trimesh.creation.icosphere(subdivisions=4, radius=0.005).apply_translation((0.0, -0.02, 0.0))
    alone = front_view(mesh_of(far), cell_m=5e-4)
    both = front_view(mesh_of(trimesh.util.concatenate([far, near])), cell_m=5e-4)
    behind = front_view(mesh_of(trimesh.util.concatenate([far, near.apply_translation((0.0, 0.04, 0.0))])), cell_m=5e-4)
    assert (both != alone).sum() > 100
    assert (behind == alone).all()
