"""The study of a plate: counts, places, plates, what is said about bad meshes, and areas against other libraries.

Closed forms are those of the box, the disc and the cube; trimesh builds the solids, shapely and manifold3d are the
references for areas of what was built or read.
"""

from __future__ import annotations

import itertools

import manifold3d
import numpy as np
import pytest
import shapely
import trimesh
from PIL import Image
from tests.files.part_files import binary_stl, model_xml, package, text_stl
from tests.real_meshes import real_mesh

from vatwright.errors import InputError
from vatwright.records.part import PartUse, Place
from vatwright.services.ports import PartGeometry
from vatwright.services.study_parts import PartBench, plate_layers, study_plate
from vatwright.wiring import demo_folder, machine_of_shop, read_geometry, study_files

LAYER_NM = 50_000
ROW_MM = 0.1  # rows of a study, where nothing is too large for it
CLEARANCE_MM = 2.0  # common practice, no source; records.part says so

# Saint-Venant (1855): J = beta a^4 of a square; beta from Timoshenko and Goodier, Theory of Elasticity, the table of
# torsion of rectangular bars, prints 0.1406; the series gives 0.1405770.
SQUARE_BETA = 0.1405770


@pytest.fixture(autouse=True)
def _studied_anew(monkeypatch):
    """No study of an earlier run may stand in for the one that is tested."""
    monkeypatch.setenv("VATWRIGHT_CACHE", "")


def box(size, at=(0.0, 0.0, 0.0)):
    """The triangles of a box [mm] whose least corner stands at `at`."""
    solid = trimesh.creation.box(extents=size)
    solid.apply_translation(np.asarray(at) + np.asarray(size) / 2.0)
    return np.asarray(solid.vertices[solid.faces])


CUBE = box((10, 10, 10))


class Shelf:
    """A reader of parts that are kept in memory [mm], which counts what it reads."""

    def __init__(self, **parts):
        self.parts = parts
        self.read = []

    def __call__(self, part, *, layer_nm):
        self.read.append(part.file)
        return PartGeometry(name=part.name, corners_m=self.parts[part.file] / 1e3)


class Steps:
    """Counts how often a part is mended, which every study of a mesh does once."""

    def __init__(self):
        self.studied = []

    def __call__(self, what, done, total):
        if what.endswith("mending"):
            self.studied.append(what.partition(":")[0])


def machine(name="Wren"):
    """A machine of the demo workshop; Wren: platform 150 x 92 mm, window 176 x 112 mm, 165 mm high."""
    return machine_of_shop(name, str(demo_folder() / "shop.toml"))


def use(file="cube", *, name=None, **more):
    return PartUse(name=name or file, file=file, **more)


def plan(parts, shelf=None, *, on=None, layer_nm=LAYER_NM, bench=None, **solids):
    bench = bench or PartBench(shelf or Shelf(**(solids or {"cube": CUBE})), layer_nm=layer_nm)
    return study_plate(parts, bench, machine=on)


def study(corners, *, layer_nm=LAYER_NM):
    """The study of one solid as it is drawn."""
    return plan([use("solid", as_drawn=True)], solid=corners, layer_nm=layer_nm).study


def areas_mm2(found):
    return found.area_m2 * 1e6


# ---- a cube, in every way


@pytest.mark.parametrize("at", [(0, 0, 0), (3.3, -7.7, -1.234), (123.4, 5.6, 78.9)])
def test_a_cube_of_10_mm_is_200_layers_of_100_mm2_and_1000_mm3(at):
    found = study(box((10, 10, 10), at))
    assert found.layers == 200
    assert areas_mm2(found) == pytest.approx(np.full(200, 100.0), rel=1e-9)
    assert found.perimeter_m * 1e3 == pytest.approx(np.full(200, 40.0), rel=1e-9)
    assert found.volume_m3 * 1e9 == pytest.approx(1000.0, rel=1e-9)
    assert found.surface_m2 * 1e6 == pytest.approx(600.0, rel=1e-9)
    assert found.height_m == pytest.approx(0.010, rel=1e-9)
    assert found.torsion_m4 == pytest.approx(np.full(200, SQUARE_BETA * 0.01**4), rel=1e-3)
    assert found.islands.tolist() == [1] * 200
    assert (found.closed, found.overlap_m3, found.warnings, found.fresh, found.pockets) == (True, 0.0, (), (), ())


@pytest.mark.parametrize("write", [binary_stl, text_stl])
@pytest.mark.parametrize(("unit", "times"), [("mm", 1.0), ("in", 1 / 25.4), ("cm", 0.1)])
def test_a_cube_from_a_file_in_any_unit(tmp_path, write, unit, times):
    path = tmp_path / "cube.stl"
    path.write_bytes(write((CUBE * times).astype(np.float32)))
    found = study_files([use(str(path), unit=unit, as_drawn=True)], layer_nm=LAYER_NM)
    assert found.layers == 200
    # Single precision keeps seven digits.
    assert areas_mm2(found) == pytest.approx(np.full(200, 100.0), rel=1e-6)


def test_a_cube_of_slices_only(tmp_path):
    # 3MF Consortium, slice extension 1.0: slices of a stack hold from the one below up to their ztop.
    ring = "".join(f'<s:vertex x="{x}" y="{y}"/>' for x, y in ((0, 0), (10, 0), (10, 10), (0, 10)))
    segments = "".join(f'<s:segment v2="{k}"/>' for k in (1, 2, 3, 0))
    polygon = f'<s:vertices>{ring}</s:vertices><s:polygon startv="0">{segments}</s:polygon>'
    slices = "".join(f'<s:slice ztop="{(k + 1) * 0.1!r}">{polygon}</s:slice>' for k in range(100))
    stack = f'<s:slicestack id="5" zbottom="0.0">{slices}</s:slicestack>'
    holder = '<object id="1" type="model" s:slicestackid="5"><mesh><vertices/><triangles/></mesh></object>'
    path = tmp_path / "cube.3mf"
    path.write_bytes(package({"3D/3dmodel.model": model_xml(stack + holder)}))
    found = study_files([use(str(path), as_drawn=True)], layer_nm=LAYER_NM)  # half the thickness of the slices
    assert found.layers == 200
    assert areas_mm2(found) == pytest.approx(np.full(200, 100.0), rel=1e-9)
    assert found.volume_m3 * 1e9 == pytest.approx(1000.0, rel=1e-9)
    with pytest.raises(InputError, match=r"cube\.3mf: turn: slices and layer pictures cannot be turned\. Leave out"):
        study_files([use(str(path), places=(Place(turn_deg=90.0),))], layer_nm=LAYER_NM)


# ---- counts and places


def test_every_piece_counts_once():
    found = plan([use(count=7)]).study
    assert found.pieces == 7
    assert found.islands.tolist() == [7] * 200
    assert areas_mm2(found) == pytest.approx(np.full(200, 700.0), rel=1e-9)
    assert found.torsion_m4 == pytest.approx(np.full(200, 7 * SQUARE_BETA * 0.01**4), rel=1e-3)
    assert found.volume_m3 * 1e9 == pytest.approx(7000.0, rel=1e-9)


def test_low_pieces_end_before_high_ones():
    found = plan([use("low", count=2), use("high")], low=box((10, 10, 4)), high=box((5, 5, 6))).study
    assert found.layers == 120
    assert areas_mm2(found)[:80] == pytest.approx(np.full(80, 225.0), rel=1e-9)
    assert areas_mm2(found)[80:] == pytest.approx(np.full(40, 25.0), rel=1e-9)
    assert found.islands.tolist() == [3] * 80 + [1] * 40


@pytest.mark.parametrize("on", [None, machine("Heron")])
def test_laid_out_pieces_stand_apart_and_on_the_platform(on):
    solids = {"cube": CUBE, "bar": box((40, 6, 3), (100, 100, 0)), "plate": box((30, 50, 2), (-70, 0, 9))}
    parts = [use("cube", count=9), use("bar", count=5), use("plate", count=2)]
    found = plan(parts, Shelf(**solids), on=on).study
    shapes = [shapely.Polygon(outline.loops_m[0]) for outline in found.outlines]
    assert len(shapes) == 16
    apart = [a.distance(b) for a, b in itertools.combinations(shapes, 2)]
    assert min(apart) * 1e3 > CLEARANCE_MM - 1e-9
    if on is not None:
        platform = shapely.box(-0.108, -0.067, 0.108, 0.067)  # Heron: 216 x 134 mm
        assert all(platform.contains(shape) for shape in shapes)
        middle = shapely.union_all(shapes).envelope.centroid
        assert (middle.x, middle.y) == pytest.approx((0.0, 0.0), abs=1e-9)


def test_moving_a_piece_moves_what_is_found_and_nothing_else():
    # A block on a foot: the block's arm starts in the resin as an island of its own.
    shape = np.concatenate([box((10, 10, 5)), box((4, 4, 2), (20, 0, 3))])
    bench = PartBench(Shelf(t=shape), layer_nm=LAYER_NM)
    still = plan([use("t", as_drawn=True)], bench=bench).study
    moved = plan([use("t", places=(Place(x_m=0.05, y_m=-0.03),))], bench=bench).study
    assert np.array_equal(still.area_m2, moved.area_m2)
    (a,), (b,) = still.fresh, moved.fresh
    assert (a.layer, a.area_m2 * 1e6) == (60, pytest.approx(16.0, rel=1e-6))
    assert (a.x_m * 1e3, a.y_m * 1e3) == pytest.approx((22.0, 2.0), abs=0.05)
    assert (b.x_m - a.x_m, b.y_m - a.y_m) == pytest.approx((0.05, -0.03), abs=1e-12)
    assert b.layer == a.layer
    shift = np.array(moved.base_outlines_m[0]) - np.array(still.base_outlines_m[0])
    assert shift == pytest.approx(np.broadcast_to([0.05, -0.03], shift.shape), abs=1e-12)


def test_a_part_is_read_and_studied_once_however_often_and_wherever_it_stands():
    shelf, steps = Shelf(cube=CUBE), Steps()
    bench = PartBench(shelf, layer_nm=LAYER_NM, progress=steps)
    plan([use(count=7)], bench=bench)
    plan([use(places=(Place(x_m=0.02), Place(x_m=-0.02, y_m=0.01)))], bench=bench)
    plan([use(count=2, name="the same under another name"), use(name="and another")], bench=bench)
    plate_layers([use(count=30)], bench, machine=machine())
    assert shelf.read == ["cube"]
    assert len(steps.studied) == 1
    plan([use(places=(Place(turn_deg=90.0), Place(turn_deg=450.0), Place(turn_deg=-270.0)))], bench=bench)
    assert len(steps.studied) == 2
    assert shelf.read == ["cube"]


def test_the_same_file_in_another_unit_is_another_part():
    shelf, steps = Shelf(cube=CUBE), Steps()
    plan([use(unit="mm"), use(unit="in")], bench=PartBench(shelf, layer_nm=LAYER_NM, progress=steps))
    assert len(steps.studied) == len(shelf.read) == 2


def test_a_part_under_two_names_counts_twice_and_is_shown_under_both():
    found = plan([use(name="lantern foot"), use(name="lamp foot", count=2)]).study
    assert found.pieces == 3
    assert sorted(outline.part for outline in found.outlines) == ["lamp foot", "lamp foot", "lantern foot"]


@pytest.mark.parametrize("quarters", [1, 2, 3, -1, 4])
def test_quarter_turns_are_exact(quarters):
    # Sines and cosines of a quarter turn are 0 and 1: nothing may be rounded, so that areas stay what they are.
    lower, upper = box((16, 8, 4)), box((8, 2, 4), (0, 0, 4))
    bench = PartBench(Shelf(part=np.concatenate([lower, upper])), layer_nm=LAYER_NM)
    straight = bench.layers(use("part"))
    turned = bench.layers(use("part"), turn_deg=90.0 * quarters)
    assert np.array_equal(turned.area_m2, straight.area_m2)
    assert turned.perimeter_m == pytest.approx(straight.perimeter_m, rel=1e-13)
    low, high = straight.bounds_m[:, :2]
    corner = [np.linalg.matrix_power(np.array([[0, -1], [1, 0]]), quarters % 4) @ c for c in (low, high)]
    assert turned.bounds_m[:, :2].tolist() == np.sort(corner, axis=0).tolist()
    assert turned.closed


@pytest.mark.parametrize("turn_deg", [30.0, 45.0, 123.4])
def test_other_turns_keep_area_perimeter_and_torsion(turn_deg):
    bench = PartBench(Shelf(part=box((30, 10, 1))), layer_nm=LAYER_NM)
    straight, turned = (bench.layers(use("part"), turn_deg=t) for t in (0.0, turn_deg))
    assert turned.area_m2 == pytest.approx(straight.area_m2, rel=1e-12)
    assert turned.perimeter_m == pytest.approx(straight.perimeter_m, rel=1e-12)
    assert turned.torsion_m4 == pytest.approx(straight.torsion_m4, rel=5e-3)
    width, depth, _ = (turned.bounds_m[1] - turned.bounds_m[0]) * 1e3
    c, s = abs(np.cos(np.radians(turn_deg))), abs(np.sin(np.radians(turn_deg)))
    assert (width, depth) == pytest.approx((30 * c + 10 * s, 30 * s + 10 * c), rel=1e-12)


# ---- plates and platforms


def test_pieces_that_do_not_fit_one_plate_need_more():
    # Squares of 40 mm with 3 mm between them and to the edge: 3 in a row of 150 mm and 2 rows in 92 mm.
    solids = {"tile": box((40, 40, 2))}
    for count, plates in ((6, 1), (7, 2), (12, 2), (13, 3)):
        found = plan([use("tile", count=count)], Shelf(**solids), on=machine())
        assert len(found.layers) == plates
        assert found.study.pieces == 6
        assert areas_mm2(found.study)[0] == pytest.approx(9600.0, rel=1e-9)


def test_plates_have_the_layers_of_their_own_pieces():
    solids = {"tile": box((40, 40, 2)), "post": box((30, 30, 8))}
    parts = [use("tile", count=6), use("post", count=1)]
    assert plan(parts, Shelf(**solids), on=machine()).layers == (40, 160)
    bench = PartBench(Shelf(**solids), layer_nm=LAYER_NM)
    assert sorted(plate_layers(parts, bench, machine=machine())) == [40, 160]
    assert (
        plate_layers([use("huge")], PartBench(Shelf(huge=box((400, 9, 9))), layer_nm=LAYER_NM), machine=machine()) == ()
    )


def test_a_study_of_several_plates_says_so(tmp_path):
    (tmp_path / "tile.stl").write_bytes(binary_stl(box((40, 40, 1))))
    asked = [use(str(tmp_path / "tile.stl"), unit="mm", count=13)]
    found = study_files(asked, layer_nm=LAYER_NM, machine=machine())
    assert found.warnings == ("the 13 pieces need 3 plates of Wren: this is the fullest one, with 6 of them",)
    assert study_files(asked, layer_nm=LAYER_NM).warnings == ()


def test_a_piece_is_turned_where_only_that_makes_it_fit():
    found = plan([use("bar")], on=machine(), bar=box((20, 120, 1)))
    (outline,) = found.study.outlines
    assert np.ptp(outline.loops_m[0], axis=0) * 1e3 == pytest.approx([120.0, 20.0])


def test_every_piece_that_cannot_stand_there_is_named_at_once():
    solids = {"slab": box((200, 100, 1)), "mast": box((5, 5, 170)), "cube": CUBE}
    parts = [
        use("slab", where="order.toml:7"),
        use("mast"),
        use("cube", places=(Place(x_m=0.066), Place(x_m=-0.08))),
    ]
    with pytest.raises(InputError) as refused:
        plan(parts, Shelf(**solids), on=machine(), layer_nm=1_000_000)
    said = str(refused.value).splitlines()
    beyond = (
        "beyond the platform of Wren. Move it inwards, check its unit, or leave out its place so that it is laid out."
    )
    assert said == [
        "mast: mast is 170.0 mm tall, Wren prints 165 mm. Check its unit, lay it down or split it, or pick a taller machine.",
        # The cube reaches from x = 66 to 76 mm, and from -80 mm; the platform ends at 75 mm.
        f"cube: as placed it reaches 1.0 mm {beyond}",
        f"cube: as placed it reaches 5.0 mm {beyond}",
        (
            "order.toml:7: slab is 200.0 x 100.0 mm and does not fit the platform of Wren (150 x 92 mm). Check its unit, turn "
            "or split it, or pick a larger machine."
        ),
    ]


def test_a_piece_may_stand_right_at_the_edge():
    found = plan([use("cube", places=(Place(x_m=0.065, y_m=0.036),))], on=machine())
    assert found.study.pieces == 1


def test_every_part_that_cannot_be_read_is_named_at_once(tmp_path):
    parts = [use(str(tmp_path / name), unit="mm", as_drawn=True) for name in ("one.stl", "two.stl")]
    with pytest.raises(InputError) as refused:
        study_files(parts, layer_nm=LAYER_NM)
    assert [m.where for m in refused.value.mistakes] == [p.file for p in parts]


def test_pieces_drawn_into_each_other_are_told():
    apart = plan([use("a", as_drawn=True), use("b", as_drawn=True)], a=CUBE, b=box((10, 10, 10), (10, 0, 0)))
    assert apart.study.warnings == ()
    into = plan([use("a", as_drawn=True), use("b", as_drawn=True)], a=CUBE, b=box((10, 10, 10), (9, 9, 0)))
    assert into.study.warnings == ("a and b stand in each other's rectangle: where they overlap, area counts twice",)
    assert areas_mm2(into.study)[0] == pytest.approx(200.0)


# ---- meshes with something wrong


def without(corners, *, x_mm):
    """A box without its two triangles at x."""
    return corners[~np.isclose(corners[:, :, 0], x_mm).all(axis=1)]


def one_turned(corners):
    turned = corners.copy()
    turned[3] = turned[3, ::-1]
    return turned


CROSSED = np.concatenate([box((20, 10, 10)), box((20, 10, 10), (10, 5, 0))])  # union 2 x 200 - 50 = 350 mm2
PILED = np.concatenate([CROSSED, box((20, 10, 10), (5, 2.5, 0))])  # inclusion and exclusion: 600 - 275 + 50 = 375 mm2
HOLLOW = np.concatenate([box((20, 20, 20)), box((10, 10, 10), (5, 5, 5))[:, ::-1]])


@pytest.mark.parametrize(
    ("corners", "area_mm2", "overlap_mm3", "closed", "said"),
    [
        (CROSSED, 350.0, 500.0, True, ["shells overlap by 500 mm3; it is counted once"]),
        (PILED, 375.0, 2250.0, True, ["shells overlap by 2250 mm3"]),
        (np.concatenate([CUBE, box((10, 10, 10), (10, 0, 0))]), 200.0, 0.0, True, ["shared by more than two faces"]),
        (np.concatenate([CUBE, CUBE]), 100.0, 0.0, True, ["Repeated faces dropped: 12"]),
        (CUBE[:, ::-1], 100.0, 0.0, True, ["inside out"]),
        (one_turned(CUBE), 100.0, 0.0, True, ["turned to agree"]),
        (without(CUBE, x_mm=10.0), 100.0, 0.0, False, ["Edges still open", "the mesh is open in 200 layers"]),
        (CUBE[[k for k in range(12) if k != 5]], 100.0, 0.0, False, ["Edges still open"]),
    ],
    ids=[
        "crossed",
        "three in one place",
        "touching",
        "twice",
        "inside out",
        "one turned",
        "side missing",
        "one missing",
    ],
)
def test_a_bad_mesh_is_told_and_its_numbers_hold(corners, area_mm2, overlap_mm3, closed, said):
    found = study(corners)
    assert areas_mm2(found) == pytest.approx(np.full(200, area_mm2), rel=1e-9)
    assert found.volume_m3 * 1e9 == pytest.approx(10.0 * area_mm2, rel=1e-9)
    assert found.overlap_m3 * 1e9 == pytest.approx(overlap_mm3, rel=1e-9, abs=1e-9)
    assert found.closed is closed
    text = "\n".join(found.warnings)
    assert all(words in text for words in said)
    assert all(warning.startswith("solid: ") for warning in found.warnings)


@pytest.mark.parametrize("shift_mm", [(1.7, 0.31), (5.013, 3.037), (0.9, 6.95)])
@pytest.mark.parametrize("count", [2, 3, 5])
def test_overlapping_boxes_have_the_area_of_shapely_s_union(shift_mm, count):
    solids = [box((12, 7, 0.2), (k * shift_mm[0], k * shift_mm[1], 0)) for k in range(count)]
    union = shapely.union_all([shapely.box(*_corners(solid)) for solid in solids])
    found = study(np.concatenate(solids))
    # What overlaps is measured in rows, a midpoint rule: off by at most half a row along the edges that run with the rows.
    shapes = [shapely.box(*_corners(solid)) for solid in solids]
    along = sum(2.0 * (shape.bounds[2] - shape.bounds[0]) for shape in shapes)
    assert areas_mm2(found) == pytest.approx(np.full(4, union.area), abs=0.5 * ROW_MM * along)
    beyond_once = sum(shape.area for shape in shapes) - union.area
    assert found.overlap_m3 * 1e9 == pytest.approx(0.2 * beyond_once, abs=0.2 * 0.5 * ROW_MM * along)


def _corners(solid):
    points = solid.reshape(-1, 3)
    return (*points.min(axis=0)[:2], *points.max(axis=0)[:2])


def test_a_cavity_is_left_out_and_pulls_as_a_pocket():
    found = study(HOLLOW)
    assert found.volume_m3 * 1e9 == pytest.approx(8000.0 - 1000.0, rel=1e-9)
    assert areas_mm2(found)[200] == pytest.approx(300.0, rel=1e-9)
    (pocket,) = found.pockets
    assert (pocket.first_layer, pocket.last_layer) == (100, 299)
    assert pocket.volume_m3 * 1e9 == pytest.approx(1000.0, rel=1e-6)
    # A sealed pool counts as solid for the flow round it: the whole square is squeezed (Bredt's condition).
    assert found.torsion_m4[200] * 1e12 < SQUARE_BETA * 20**4
    assert found.torsion_m4[200] * 1e12 > 0.8 * SQUARE_BETA * (20**4 - 10**4)


def test_a_tiny_part_has_its_four_layers():
    found = study(box((0.2, 0.2, 0.2)))
    assert areas_mm2(found) == pytest.approx(np.full(4, 0.04), rel=1e-9)
    assert found.torsion_m4 * 1e12 == pytest.approx(np.full(4, SQUARE_BETA * 0.2**4), rel=1e-2)


def test_a_huge_part_is_as_exact_as_a_small_one():
    found = study(box((800, 500, 20)), layer_nm=1_000_000)
    assert areas_mm2(found) == pytest.approx(np.full(20, 400_000.0), rel=1e-9)


@pytest.mark.parametrize(
    ("corners", "said"),
    [
        (np.zeros((0, 3, 3)), "solid: mesh: holds no triangle. Export the part again."),
        (box((10, 10, 0.02)), "solid: mesh: is 0.02 mm tall: no layer of 0.05 mm holds any of it."),
        (CUBE * (1, 1, 0), "solid: mesh: is 0 mm tall: no layer of 0.05 mm holds any of it."),
        (CUBE * (1, 0, 1), "solid: mesh: holds no volume: its faces have no thickness. Give it walls"),
        (np.concatenate([CUBE * (1, 0, 1), CUBE * (0, 1, 1)]), "holds no volume"),
        (
            np.where(np.arange(12)[:, None, None] == 4, np.nan, CUBE),
            "triangle 4 has a corner that is not a finite number",
        ),
    ],
    ids=["empty", "thinner than half a layer", "flat", "a sheet on end", "two sheets", "not a number"],
)
def test_a_part_of_which_nothing_would_print_is_refused(corners, said):
    with pytest.raises(InputError) as refused:
        study(corners)
    assert said in str(refused.value)


# ---- real meshes, through files


@pytest.mark.parametrize("name", ["gearwheel", "bunny", "nut", "sphere", "ant"])
def test_areas_and_volume_of_real_meshes_are_those_of_manifold3d_and_trimesh(tmp_path, name):
    raw = np.asarray(real_mesh(name), dtype=np.float64)
    corners = (raw - raw.reshape(-1, 3).min(axis=0)) * (40.0 / np.ptp(raw.reshape(-1, 3), axis=0).max())
    path = tmp_path / "part.stl"
    path.write_bytes(binary_stl(corners.astype(np.float32)))
    layer_mm = 0.4
    found = study_files([use(str(path), unit="mm", as_drawn=True)], layer_nm=400_000)
    reference = trimesh.load_mesh(path)
    bottom, top = reference.bounds[:, 2]
    assert found.layers == pytest.approx((top - bottom) / layer_mm, abs=1.0)
    shells = [_manifold(body) for body in reference.split(only_watertight=False)]
    heights = bottom + (np.arange(found.layers) + 0.5) * layer_mm
    area = np.array([_union(shells, z).area() for z in heights])
    # Where shells overlap, the overlap is measured in rows: off by at most half a row along the outlines.
    apart = np.array([sum(s.slice(z).area() for s in shells) for z in heights]) <= area * (1.0 + 1e-9)
    within = np.where(apart, 1e-6 * area + 1e-6 * area.max(), 0.5 * ROW_MM * found.perimeter_m * 1e3)
    assert (np.abs(areas_mm2(found) - area) <= within).all()
    assert apart.mean() > (0.5 if name == "ant" else 0.999)
    # The midpoint rule is off by at most half a layer times the total variation of the area.
    variation = np.abs(np.diff(area, prepend=0.0, append=0.0)).sum()
    whole = manifold3d.Manifold.batch_boolean(shells, manifold3d.OpType.Add).volume()
    assert found.volume_m3 * 1e9 == pytest.approx(whole, abs=0.5 * layer_mm * variation)
    if len(shells) == 1:
        assert whole == pytest.approx(reference.volume, rel=1e-6)
    assert found.volume_m3 * 1e9 == pytest.approx(
        float(area.sum()) * layer_mm, rel=1e-6, abs=within[~apart].sum() * layer_mm
    )
    assert found.closed


def _manifold(body):
    solid = manifold3d.Manifold(
        manifold3d.Mesh64(vert_properties=body.vertices, tri_verts=body.faces.astype(np.uint64))
    )
    assert solid.status() == manifold3d.Error.NoError
    return solid


def _union(shells, height):
    return manifold3d.CrossSection.batch_boolean([s.slice(height) for s in shells], manifold3d.OpType.Add)


# ---- layer pictures


def pictures(folder, masks):
    folder.mkdir()
    for number, mask in enumerate(masks):
        Image.fromarray(np.where(mask, 255, 0).astype(np.uint8)).save(folder / f"{number:04d}.png")
    return str(folder)


def test_pictures_of_a_cylinder_have_its_area_and_volume(tmp_path):
    pixel_mm, radius_mm, layers = 0.05, 8.0, 12
    y, x = (np.mgrid[:400, :400] - 199.5) * pixel_mm
    disc = x * x + y * y <= radius_mm**2
    folder = pictures(tmp_path / "cylinder", [disc] * layers)
    found = study_files([use(folder, pixel_m=pixel_mm / 1e3, as_drawn=True)], layer_nm=LAYER_NM)
    assert found.layers == layers
    # Gauss's bound for the points of a grid in a circle: the count differs from pi r^2 by at most 2 sqrt(2) pi r.
    bound = 2.0 * np.sqrt(2.0) * np.pi * radius_mm * pixel_mm
    assert areas_mm2(found) == pytest.approx(np.full(layers, np.pi * radius_mm**2), abs=bound)
    assert areas_mm2(found) == pytest.approx(np.full(layers, disc.sum() * pixel_mm**2), rel=1e-9)
    assert found.volume_m3 * 1e9 == pytest.approx(disc.sum() * pixel_mm**2 * layers * 0.05, rel=1e-9)
    # Along pixel edges a circle is as long as the square round it: 8 r.
    assert found.perimeter_m * 1e3 == pytest.approx(np.full(layers, 8.0 * radius_mm), rel=0.01)
    # A disc: J = pi R^4 / 2.
    assert found.torsion_m4 * 1e12 == pytest.approx(np.full(layers, np.pi * radius_mm**4 / 2.0), rel=0.01)


def test_pictures_lie_as_seen_from_above_with_the_far_edge_on_top(tmp_path):
    first, second = np.zeros((60, 100), dtype=bool), np.zeros((60, 100), dtype=bool)
    first[20:40, 40:60] = True
    second[20:40, 40:60] = True
    second[0:10, 90:100] = True  # far and to the right
    folder = pictures(tmp_path / "corner", [first, second])
    found = study_files([use(folder, pixel_m=1e-3, places=(Place(x_m=0.005),))], layer_nm=LAYER_NM)
    (fresh,) = found.fresh
    assert fresh.layer == 1
    assert (fresh.x_m, fresh.y_m) == pytest.approx((0.045 + 0.005, 0.025), abs=1e-9)
    assert fresh.area_m2 == pytest.approx(1e-4)


def test_dark_pictures_are_refused(tmp_path):
    folder = pictures(tmp_path / "dark", [np.zeros((5, 5), dtype=bool)] * 3)
    with pytest.raises(InputError, match=r"dark: pictures: all 3 are dark\. Give pictures whose light is white\."):
        study_files([use(folder, pixel_m=1e-4, as_drawn=True)], layer_nm=LAYER_NM)


# ---- the window


def test_reach_is_that_of_the_pieces_where_they_stand():
    # Wren's window is 176 x 112 mm: its middle is 56 mm from the nearer edges.
    middle = plan([use("cube", places=(Place(x_m=-0.005, y_m=-0.005),))], on=machine()).study.reach
    assert middle.span_m[:200] * 1e3 == pytest.approx(np.full(200, 56.0), abs=0.2)
    corner = plan([use("cube", places=(Place(x_m=0.060, y_m=0.030),))], on=machine()).study.reach
    # The corner nearest the middle is at x = 60, y = 30 mm: 28 mm from the side, 26 mm from the far edge.
    assert corner.span_m[:200] * 1e3 == pytest.approx(np.full(200, 26.0), abs=0.2)
    # Nearer to the frame the film lets go sooner, nowhere later than a full window does.
    assert (corner.reach_m[:200] < middle.reach_m[:200]).all()
    assert middle.reach_m.max() < 0.0271
    assert plan([use("cube")]).study.reach is None


def test_geometry_of_a_file_reaches_the_services_in_metres(tmp_path):
    path = tmp_path / "cube.stl"
    path.write_bytes(binary_stl(CUBE))
    found = read_geometry(use(str(path), unit="mm"), layer_nm=LAYER_NM)
    assert np.ptp(found.mesh.vertices_m, axis=0) == pytest.approx([0.01, 0.01, 0.01], rel=1e-6)


def test_a_part_in_the_wrong_unit_is_refused_before_it_is_studied():
    """A cube of 10 mm read as metres: ten metres, 200,000 layers; the study would take minutes and gigabytes."""
    shelf = Shelf(cube=CUBE * 1000.0)
    with pytest.raises(InputError, match=r"10000 x 10000 x 10000 mm, larger than any machine.*Check the unit"):
        study_plate([use("cube")], PartBench(shelf, layer_nm=LAYER_NM), machine=None)


def test_more_layers_than_a_run_has_are_refused_before_they_are_cut():
    with pytest.raises(InputError, match=r"100,000 layers, at most 50,000"):
        plan([use("tall")], layer_nm=1_000, tall=box((1, 1, 100)))


def test_a_number_that_is_none_is_refused_by_file_and_layer(monkeypatch):
    """A mesh whose torsion could not be solved: the layer is named, and nothing is built on it."""
    from attrs import evolve

    from vatwright.services import study_parts

    real = study_parts.layers_of_mesh

    def unsolved(mesh, **given):
        found = real(mesh, **given)
        torsion_m4 = found.torsion_m4.copy()
        torsion_m4[7] = np.nan
        return evolve(found, torsion_m4=torsion_m4)

    monkeypatch.setattr(study_parts, "layers_of_mesh", unsolved)
    with pytest.raises(InputError, match=r"cube: the torsion of layer 7 cannot be worked out"):
        plan([use("cube")], cube=box((10, 10, 10)))


# ---- half turns


def test_a_half_turn_is_what_looking_at_the_turned_mesh_finds():
    """The turned mesh is cut anew as a part of its own: an L with a flying arm and a cup, nothing of it symmetric."""
    shape = np.concatenate(
        [box((12, 5, 8)), box((4, 11, 8), (0, 5, 0)), box((3, 3, 2), (20, 1, 5)), box((6, 4, 3), (-9, 2, 0))]
    )
    turned = shape * (-1.0, -1.0, 1.0)
    bench = PartBench(Shelf(drawn=shape, turned=turned), layer_nm=LAYER_NM)
    ours = plan([use("drawn", places=(Place(x_m=0.01, turn_deg=180.0),))], bench=bench, on=machine()).study
    anew = plan([use("turned", places=(Place(x_m=0.01),))], bench=bench, on=machine()).study
    for name in ("area_m2", "perimeter_m", "torsion_m4", "islands"):
        assert getattr(ours, name) == pytest.approx(getattr(anew, name), rel=1e-9)
    assert np.array(ours.fresh) == pytest.approx(np.array(anew.fresh), rel=1e-9, abs=1e-12)
    assert ours.reach.span_m == pytest.approx(anew.reach.span_m, rel=1e-9)
    assert ours.reach.front_m == pytest.approx(anew.reach.front_m, rel=1e-9)
    assert shapely.union_all([shapely.Polygon(loop) for loop in ours.base_outlines_m]).symmetric_difference(
        shapely.union_all([shapely.Polygon(loop) for loop in anew.base_outlines_m])
    ).area == pytest.approx(0.0, abs=1e-15)
    for mine, other in zip(ours.hanging, anew.hanging, strict=True):
        assert np.sort(mine.front_m) == pytest.approx(np.sort(other.front_m), rel=1e-9)
        order, their = (np.lexsort(np.round(h.graph.centroid_m, 9).T) for h in (mine, other))
        assert mine.graph.box_m[order] == pytest.approx(other.graph.box_m[their], abs=1e-12)


def test_feet_are_nested_and_each_is_looked_at_once():
    legs = np.concatenate([box((40, 8, 3)), box((8, 32, 3), (0, 8, 0))])
    shelf = Shelf(foot=legs)
    found = plan([use("foot", count=60)], shelf, on=machine())
    assert len(found.layers) < 60 / 6  # three boxes of 42 mm beside each other, two rows
    assert shelf.read == ["foot"]
    shapes = [shapely.union_all([shapely.Polygon(loop) for loop in o.loops_m]) for o in found.study.outlines]
    assert min(a.distance(b) for a, b in itertools.combinations(shapes, 2)) * 1e3 > CLEARANCE_MM - 1e-9
