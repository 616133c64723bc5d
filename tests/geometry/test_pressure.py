import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Point, Polygon
from shapely.ops import unary_union

from vatwright.errors import DomainError, InputError
from vatwright.geometry.pressure import (
    effective_torsion,
    platform_grid,
    raft_arms,
    raft_field,
    squeeze_field,
)

PLATFORM = np.array([[0.0, 0.0], [0.30, 0.0], [0.30, 0.165], [0.0, 0.165]])
RAFT = [np.array([[0.05, 0.04], [0.25, 0.04], [0.25, 0.10], [0.05, 0.10]])]


def disc(x, y, radius, points=60):
    angle = np.linspace(0, 2 * np.pi, points, endpoint=False)
    return np.stack([x + radius * np.cos(angle), y + radius * np.sin(angle)], axis=1)


def groove(x):
    return np.array([[x, -0.01], [x + 0.0004, -0.01], [x + 0.0004, 0.15], [x, 0.15]])


def test_nodes_inside_agree_with_shapely():
    holes = [disc(0.05, 0.05, 0.02), disc(0.06, 0.06, 0.02), disc(0.30, 0.10, 0.03), groove(0.1501)]
    outline = PLATFORM.copy()
    outline[2] = (0.27, 0.15)
    grid = platform_grid(outline, holes, cells=90)
    solid = Polygon(outline).difference(unary_union([Polygon(hole) for hole in holes]))
    x, y = np.meshgrid(grid.x_m, grid.y_m)
    nodes = [Point(a, b) for a, b in zip(x.ravel(), y.ravel(), strict=True)]
    expected = np.array([solid.contains(node) for node in nodes])
    on_edge = np.array([solid.boundary.distance(node) < 1e-12 for node in nodes])
    assert ((grid.inside.ravel() == expected) | on_edge).all()
    assert 0 < expected.sum() < expected.size
    assert on_edge.sum() < 10


def test_arms_agree_with_shapely():
    hole = disc(0.05, 0.05, 0.021)
    grid = platform_grid(PLATFORM, [hole], cells=40)
    rim = Polygon(PLATFORM).difference(Polygon(hole)).boundary
    for j, i in np.argwhere(grid.inside & ~grid.joined.all(axis=0)):
        here = Point(grid.x_m[i], grid.y_m[j])
        shortest = grid.arm[:, j, i].min() * grid.pitch_m
        assert rim.distance(here) <= shortest * (1 + 1e-9) + 1e-6


def test_raft_arms_are_the_lengths_shapely_finds_along_each_row_and_column():
    raft, hole = disc(0.12, 0.08, 0.05), disc(0.12, 0.08, 0.02)
    grid = platform_grid(PLATFORM, cells=60)
    arms = raft_arms(grid, [raft, hole])
    hollow = Polygon(raft, [hole])
    for j, y in enumerate(grid.y_m):
        length = hollow.intersection(LineString([(-1, y), (1, y)])).length
        assert arms[0, j].sum() * grid.pitch_m == pytest.approx(length, abs=1e-12)
        assert arms[1, j].sum() * grid.pitch_m == pytest.approx(length, abs=1e-12)
    for i, x in enumerate(grid.x_m):
        length = hollow.intersection(LineString([(x, -1), (x, 1)])).length
        assert arms[2, :, i].sum() * grid.pitch_m == pytest.approx(length, abs=1e-12)
        assert arms[3, :, i].sum() * grid.pitch_m == pytest.approx(length, abs=1e-12)


def test_a_groove_narrower_than_the_pitch_vents():
    # Vented along the slot each half is a plate of its own, so J is the sum of the halves'.
    slot = np.array([[0.1498, -0.01], [0.1502, -0.01], [0.1502, 0.17], [0.1498, 0.17]])
    grid = platform_grid(PLATFORM, [slot], cells=150)
    assert grid.pitch_m > 0.0004
    half = platform_grid(PLATFORM * [0.1498 / 0.30, 1.0], cells=150)
    assert squeeze_field(grid, 50e-6).squeeze_integral_m == pytest.approx(
        2 * squeeze_field(half, 50e-6).squeeze_integral_m, rel=2e-3
    )
    # Rectangle 0.165 x 0.1498: a/b = 1.10147; handbook torsion tables give beta 0.141 at 1 and 0.166 at 1.2.
    beta = 4 * squeeze_field(half, 1.0).squeeze_integral_m / (0.165 * 0.1498**3)
    assert 0.141 < beta < 0.166


def test_centred_load_has_no_moment_and_an_offset_one_leans_its_way():
    holes = [disc(x, y, 0.006) for x in (0.05, 0.15, 0.25) for y in (0.04, 0.125)]
    grid = platform_grid(PLATFORM, holes, cells=150)
    centred = raft_arms(grid, [np.array([[0.05, 0.0425], [0.25, 0.0425], [0.25, 0.1225], [0.05, 0.1225]])])
    field = raft_field(grid, centred, gap_m=50e-6, printed_m=500e-6)
    scale = field.force_n(viscosity_pa_s=0.2, speed_m_s=1e-3) * 0.3
    assert np.abs(field.moment_n_m(viscosity_pa_s=0.2, speed_m_s=1e-3)).max() < 1e-6 * scale
    offset = raft_arms(grid, [np.array([[0.20, 0.10], [0.28, 0.10], [0.28, 0.15], [0.20, 0.15]])])
    field = raft_field(grid, offset, gap_m=50e-6, printed_m=500e-6)
    x, y = field.centre_of_pressure_m()
    assert 0.20 < x < 0.28
    assert 0.10 < y < 0.15
    moment = field.moment_n_m(viscosity_pa_s=0.2, speed_m_s=1e-3, about_m=(x, y))
    assert np.abs(moment).max() < 1e-9 * scale


def test_a_quarter_turn_changes_nothing():
    outline = np.array([[0.0, 0.0], [0.1, 0.01], [0.08, 0.07], [0.02, 0.06]])
    turned = outline[:, ::-1] * [1, -1]
    gap = 50e-6
    assert squeeze_field(platform_grid(turned, cells=100), gap).squeeze_integral_m == pytest.approx(
        squeeze_field(platform_grid(outline, cells=100), gap).squeeze_integral_m, rel=1e-5
    )


def test_torsion_runs_from_the_platforms_to_the_rafts_own():
    grid = platform_grid(PLATFORM, cells=300)
    raft = raft_arms(grid, RAFT)
    torsions = [effective_torsion(grid, raft, gap_m=50e-6, printed_m=p) for p in (0.0, 20e-6, 100e-6, 1e-3, 1e-2)]
    assert (np.diff(torsions) < 0).all()
    # Saint-Venant's series for rectangles (Timoshenko and Goodier, art. 109): the whole platform, then the raft alone.
    n = np.arange(1, 400, 2)

    def rectangle(a, b):
        return a * b**3 / 3 * (1 - 192 * b / (np.pi**5 * a) * (np.tanh(n * np.pi * a / (2 * b)) / n**5).sum())

    assert torsions[0] == pytest.approx(rectangle(0.30, 0.165), rel=1e-3)
    assert torsions[-1] == pytest.approx(rectangle(0.20, 0.06), rel=5e-3)


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.floats(0.3, 1.0), min_size=5, max_size=12),
    st.floats(1e-3, 0.3),
    st.floats(20e-6, 2e-3),
)
def test_bounds_and_scaling_of_any_star_shaped_platform(radii, size_m, gap_m):
    angle = 2 * np.pi * np.arange(len(radii)) / len(radii)
    outline = size_m * np.array(radii)[:, None] * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    grid = platform_grid(outline, cells=48)
    field = squeeze_field(grid, gap_m)
    torsion = 4 * field.squeeze_integral_m * gap_m**3
    # Polya 1948: of all sections of one area the disc is stiffest, J <= A^2 / (2 pi); 2 % for the grid.
    assert 0 < torsion <= 1.02 * Polygon(outline).area ** 2 / (2 * np.pi)
    assert (field.psi_per_m[grid.inside] > 0).all()
    assert (field.psi_per_m[~grid.inside] == 0).all()
    # Dimensions: J is a length to the fourth power, whatever the gap.
    doubled = 4 * squeeze_field(platform_grid(2 * outline, cells=48), 1.0).squeeze_integral_m
    assert doubled == pytest.approx(16 * torsion, rel=1e-5)


def test_wider_anywhere_resists_less():
    grid = platform_grid(PLATFORM, cells=100)
    gap = np.full(grid.inside.shape, 60e-6)
    before = squeeze_field(grid, gap).squeeze_integral_m
    gap[20:30, 40:70] *= 3
    assert squeeze_field(grid, gap).squeeze_integral_m < before


@pytest.mark.parametrize("printed_m", [0.0, 1e-3, 5e-3])
@pytest.mark.parametrize("cells", [64, 257, 512])
def test_few_cycles_whatever_the_holes_and_the_contrast(cells, printed_m):
    holes = [groove(x) for x in np.arange(0.01, 0.3, 0.02)]
    holes += [disc(x, y, 0.002) for x in np.arange(0.02, 0.3, 0.02) for y in np.arange(0.02, 0.16, 0.02)]
    grid = platform_grid(PLATFORM, holes, cells=cells)
    field = raft_field(grid, raft_arms(grid, RAFT), gap_m=50e-6, printed_m=printed_m, tilt=(1e-4, -5e-5))
    assert field.cycles <= 20


def test_refuses_what_it_cannot_use():
    with pytest.raises(InputError, match=r"holes_m\[1\]"):
        platform_grid(PLATFORM, [RAFT[0], np.zeros((2, 2))], cells=50)
    with pytest.raises(InputError, match="8 or more"):
        platform_grid(PLATFORM, cells=4)
    with pytest.raises(InputError, match="encloses no area"):
        platform_grid(np.array([[0.0, 0.0], [1.0, 0.0], [2.0, 0.0]]), cells=20)
    with pytest.raises(InputError, match="no grid node"):
        platform_grid(PLATFORM, [PLATFORM * 2 - 0.1], cells=20)
    grid = platform_grid(PLATFORM, cells=20)
    with pytest.raises(DomainError, match="everywhere under the platform"):
        raft_field(grid, np.ones_like(grid.inside), gap_m=50e-6, printed_m=0.0, tilt=(1e-3, 0.0))
    with pytest.raises(DomainError, match="printed_m"):
        effective_torsion(grid, np.ones_like(grid.inside), gap_m=50e-6, printed_m=-1e-6)
    with pytest.raises(DomainError, match="gap_m"):
        squeeze_field(grid, np.full(grid.inside.shape, np.nan))


def test_narrow_channels_between_many_pieces_are_solved_too():
    """Twenty-four squares 3 mm apart, printed 10 mm high: each squeezes alone, J = 0.1406 a^4 (Timoshenko and Goodier,
    the table of torsion of rectangular bars), and the plate far above them adds next to nothing."""
    side, pitch = 0.042, 0.045
    square = np.array([[0.0, 0.0], [side, 0.0], [side, side], [0.0, side]])
    loops = [square + np.array([0.005 + i * pitch, 0.005 + j * pitch]) for i in range(6) for j in range(4)]
    outline = np.array([[0.0, 0.0], [0.28, 0.0], [0.28, 0.19], [0.0, 0.19]])
    grid = platform_grid(outline, cells=280)
    alone = 24 * 0.1406 * side**4
    for printed_m in (0.003, 0.01):
        found = effective_torsion(grid, raft_arms(grid, loops), gap_m=50e-6, printed_m=printed_m)
        assert found == pytest.approx(alone, rel=0.02)
