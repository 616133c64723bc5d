"""Cutting polygons: the area of a planar polygon is the shoelace sum (surveyor's formula), whatever the cut."""

from __future__ import annotations

import numpy as np
import pytest

from vatwright.files.parts.polygons import Polygons, triangles

TURN = np.array([[0.36, 0.48, -0.8], [-0.8, 0.6, 0.0], [0.48, 0.64, 0.6]])  # orthogonal: rows of length one


def polygon(outline):
    """An outline in the plane, laid somewhere in space."""
    flat = np.c_[np.asarray(outline, dtype=float), np.zeros(len(outline))]
    return flat @ TURN + [3, -4, 50], Polygons(np.array([len(outline)]), np.arange(len(outline)))


def area(vertices, rows):
    a, b, c = np.moveaxis(vertices[rows], 1, 0)
    return np.linalg.norm(np.cross(b - a, c - a).sum(axis=0)) / 2


def shoelace(outline):
    x, y = np.asarray(outline, dtype=float).T
    return abs(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)) / 2


@pytest.mark.parametrize("corners", [3, 4, 5, 17])
def test_a_regular_polygon_is_cut_without_a_word(corners):
    turn = 2 * np.pi * np.arange(corners) / corners
    outline = np.c_[np.cos(turn), np.sin(turn)]
    vertices, faces = polygon(outline)
    rows, said = triangles(vertices, faces)
    assert rows.shape == (corners - 2, 3)
    assert area(vertices, rows) == pytest.approx(corners / 2 * np.sin(2 * np.pi / corners), rel=1e-12)
    assert said == []


def test_a_hollow_face_keeps_its_area_and_is_named():
    outline = [[0, 0], [4, 0], [4, 4], [2, 1]]
    # The corner (2, 1) points inwards; from it the fan sees every other corner, from (0, 0) it does not.
    vertices, faces = polygon(np.roll(outline, 1, axis=0))
    assert triangles(vertices, faces)[1] == []
    vertices, faces = polygon(outline)
    rows, said = triangles(vertices, faces)
    assert area(vertices, rows) == pytest.approx(shoelace(outline))
    assert len(said) == 1
    assert said[0].startswith("1 face of more than three corners hollow")


@pytest.mark.parametrize(("lift", "words"), [(1e-3, 1), (1e-8, 0)])
def test_a_bent_face_is_named_and_rounding_is_not(lift, words):
    vertices, faces = polygon([[0, 0], [1, 0], [1, 1], [0, 1]])
    vertices[2] += lift * TURN[2]
    said = triangles(vertices, faces)[1]
    assert len(said) == words
    assert all("not flat" in s for s in said)


def test_faces_of_two_corners_are_left_out():
    vertices = np.eye(3)
    rows, said = triangles(vertices, Polygons(np.array([2, 3, 0, 1]), np.array([0, 1, 0, 1, 2, 2])))
    assert rows.tolist() == [[0, 1, 2]]
    assert said == ["3 faces of fewer than three corners left out"]
