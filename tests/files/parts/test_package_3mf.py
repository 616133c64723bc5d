"""3MF: the rules of the core specification and the slice extension 1.0 (3MF Consortium), case by case."""

from __future__ import annotations

import io
import struct
import zipfile

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import Polygon
from tests.files.part_files import (
    CUBE,
    CUBE_FACES,
    RELATIONS,
    mesh_xml,
    model_xml,
    one_object,
    package,
    put,
    three_mf,
    volume,
)

from vatwright.errors import InputError
from vatwright.files.parts.mesh import Limits, read_part

ONE = one_object(CUBE, CUBE_FACES)


def read(folder, data, **given):
    return read_part(put(folder, "lamp.3mf", data), **given)


def refusal(folder, data, **given):
    with pytest.raises(InputError) as caught:
        read(folder, data, **given)
    return str(caught.value)


def zipped(entries, **how):
    """A zip written entry by entry, for packages no library would write."""
    store = io.BytesIO()
    with zipfile.ZipFile(store, "w") as archive:
        for name, data in entries:
            info = zipfile.ZipInfo(name)
            info.compress_type = how.get("method", zipfile.ZIP_DEFLATED)
            archive.writestr(info, data)
    return store.getvalue()


# ---- units and transforms


@pytest.mark.parametrize(
    ("attributes", "unit", "origin", "edge_m"),
    [
        ("", "mm", "the 3MF default", 1e-3),  # core specification: millimeter unless stated
        ('unit="millimeter"', "mm", "the file says so", 1e-3),
        ('unit="micron"', "um", "the file says so", 1e-6),
        ('unit="centimeter"', "cm", "the file says so", 1e-2),
        ('unit="meter"', "m", "the file says so", 1.0),
        ('unit="inch"', "in", "the file says so", 0.0254),  # exact, international agreement of 1959
        ('unit="foot"', "ft", "the file says so", 0.3048),
    ],
)
def test_the_unit_is_the_files_own(tmp_path, attributes, unit, origin, edge_m):
    part = read(tmp_path, three_mf(ONE, attributes=attributes))
    assert (part.kind, part.unit, part.unit_origin) == ("3MF", unit, origin)
    assert volume(part.corners_m) == pytest.approx(edge_m**3, rel=1e-12)


def test_a_unit_given_besides_is_not_used(tmp_path):
    part = read(tmp_path, three_mf(ONE, attributes='unit="inch"'), unit="mm")
    assert part.unit == "in"
    assert part.warnings == ("mm was given and not used: lamp.3mf is in inches",)


def test_a_transform_moves_row_vectors(tmp_path):
    # Core specification (from memory): [x y z 1] times the 4 x 3 matrix; here x -> y, y -> 2 z, z -> 3 x, shifted.
    build = '<item objectid="1" transform="0 1 0 0 0 2 3 0 0 10 20 30"/>'
    corners = read(tmp_path, three_mf(ONE, build)).corners
    assert corners.reshape(-1, 3).min(axis=0).tolist() == [10, 20, 30]
    assert corners.reshape(-1, 3).max(axis=0).tolist() == [13, 21, 32]
    assert volume(corners) == pytest.approx(6, rel=1e-12)


def test_a_mirrored_part_keeps_its_outside(tmp_path):
    corners = read(tmp_path, three_mf(ONE, '<item objectid="1" transform="-1 0 0 0 1 0 0 0 1 0 0 0"/>')).corners
    assert corners.reshape(-1, 3).min(axis=0).tolist() == [-1, 0, 0]
    assert volume(corners) == pytest.approx(1)


def test_components_nest_and_their_transforms_follow_one_another(tmp_path):
    resources = (
        ONE
        + '<object id="2"><components><component objectid="1" transform="2 0 0 0 2 0 0 0 2 0 0 0"/>'
        + '<component objectid="1" transform="1 0 0 0 1 0 0 0 1 5 0 0"/></components></object>'
        + '<object id="3"><components><component objectid="2" transform="0 1 0 -1 0 0 0 0 1 0 0 7"/>'
        + "</components></object>"
    )
    build = '<item objectid="3" transform="1 0 0 0 1 0 0 0 1 100 0 0"/><item objectid="1"/>'
    corners = read(tmp_path, three_mf(resources, build)).corners
    assert len(corners) == 36
    doubled, moved, plain = corners[:12].reshape(-1, 3), corners[12:24].reshape(-1, 3), corners[24:]
    assert (doubled.min(axis=0).tolist(), doubled.max(axis=0).tolist()) == ([98, 0, 7], [100, 2, 9])
    assert (moved.min(axis=0).tolist(), moved.max(axis=0).tolist()) == ([99, 5, 7], [100, 6, 8])
    np.testing.assert_array_equal(plain, CUBE[CUBE_FACES])
    assert volume(corners) == pytest.approx(8 + 1 + 1)


@given(numbers=st.lists(st.floats(-4, 4), min_size=12, max_size=12))
def test_volume_grows_with_the_determinant(tmp_path_factory, numbers):
    scale = abs(np.linalg.det(np.array(numbers).reshape(4, 3)[:3]))
    if scale < 1e-3:
        return
    text = " ".join(map(repr, numbers))
    corners = read(tmp_path_factory.mktemp("3mf"), three_mf(ONE, f'<item objectid="1" transform="{text}"/>')).corners
    assert volume(corners - corners[0, 0]) == pytest.approx(scale, rel=1e-6)


def test_only_what_is_built_is_read(tmp_path):
    resources = ONE + f'<object id="2">{mesh_xml(CUBE * 50, CUBE_FACES)}</object>'
    assert volume(read(tmp_path, three_mf(resources)).corners) == pytest.approx(1)


def test_what_is_marked_as_support_is_read_and_named(tmp_path):
    part = read(tmp_path, three_mf(ONE.replace('type="model"', 'type="support"')), unit="mm")
    assert "object 1 is marked as support; it is studied like any other" in part.warnings


# ---- the package


def test_the_model_part_is_found_through_the_relationships(tmp_path):
    relations = RELATIONS.replace("/3D/3dmodel.model", "/Parts/My%20Lamp.model")
    parts = {"Parts/my lamp.model": model_xml(ONE), "other.model": model_xml("", "")}
    assert len(read(tmp_path, package(parts, relations)).corners) == 12


def test_without_relationships_the_only_model_part_is_read(tmp_path):
    part = read(tmp_path, package({"3D/a.model": model_xml(ONE)}, None), unit="mm")
    assert "its only model part was read" in part.warnings[0]
    message = refusal(tmp_path, package({"a.model": model_xml(ONE), "b.model": model_xml(ONE)}, None))
    assert "does not say which part is the model" in message


def test_objects_in_other_model_parts_are_found(tmp_path):
    resources = (
        '<object id="9"><components><component objectid="1" p:path="/3D/Objects/cube.model"/></components></object>'
    )
    parts = {"3D/Objects/cube.model": model_xml(ONE, "")}
    part = read(tmp_path, three_mf(resources, '<item objectid="9"/>', 'requiredextensions="p"', **parts))
    assert volume(part.corners) == pytest.approx(1)
    message = refusal(tmp_path, three_mf(resources, '<item objectid="9"/>'))
    assert "has no part '/3D/Objects/cube.model'" in message
    inch = {"3D/Objects/cube.model": model_xml(ONE, "", 'unit="inch"')}
    assert "its unit is in, unlike" in refusal(tmp_path, three_mf(resources, '<item objectid="9"/>', **inch))


@pytest.mark.parametrize(
    "name", ["../evil.model", "3D/../../evil", "/etc/passwd", "C:/evil.txt", "..\\evil", "a\\..\\b"]
)
def test_names_that_lead_outside_are_refused(tmp_path, name):
    stand_in = "x" * len(name)  # the library that writes the zip would tidy the name itself
    data = zipped([("_rels/.rels", RELATIONS), ("3D/3dmodel.model", model_xml(ONE)), (stand_in, "")])
    assert "leads outside the package" in refusal(tmp_path, data.replace(stand_in.encode(), name.encode()))


def test_two_entries_of_one_name_are_refused(tmp_path):
    entries = [("_rels/.rels", RELATIONS), ("3D/3dmodel.model", model_xml(ONE)), ("3D/3DMODEL.model", model_xml(ONE))]
    assert "same name" in refusal(tmp_path, zipped(entries))


def test_encrypted_entries_are_refused(tmp_path):
    data = bytearray(three_mf(ONE))
    for signature, flags in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        at = data.rindex(signature)
        data[at + flags] |= 1
    assert "it is encrypted" in refusal(tmp_path, bytes(data))


def test_a_packing_the_format_does_not_know_is_refused(tmp_path):
    entries = [("_rels/.rels", RELATIONS), ("3D/3dmodel.model", model_xml(ONE))]
    assert "a way that 3MF does not allow" in refusal(tmp_path, zipped(entries, method=zipfile.ZIP_LZMA))


def test_a_bomb_is_refused_before_it_is_unpacked(tmp_path):
    data = three_mf(ONE, **{"3D/bomb.model": " " * 30_000_000})
    message = refusal(tmp_path, data)
    assert "bomb.model: it unpacks to" in message
    assert "at most 200 times" in message
    assert "would unpack to" in refusal(tmp_path, data, limits=Limits(unpacked_bytes=1000))


def test_too_many_entries_are_refused(tmp_path):
    data = three_mf(ONE, **{f"extra/{k}": "" for k in range(30)})
    assert "32 files inside, at most 20 are read" in refusal(tmp_path, data, limits=Limits(zip_entries=20))
    assert len(read(tmp_path, data, limits=Limits(zip_entries=32)).corners) == 12


def test_a_package_inside_the_package_is_not_opened(tmp_path):
    inner = three_mf(ONE)
    assert "a package inside the package" in refusal(tmp_path, package({"3D/3dmodel.model": inner}))
    part = read(tmp_path, three_mf(ONE, **{"extra/inner.3mf": inner}))
    assert len(part.corners) == 12


def test_a_damaged_package_is_refused(tmp_path):
    data = three_mf(ONE)
    assert "cannot be unpacked" in refusal(tmp_path, data[:-40])
    at = data.rindex(b"PK\x03\x04") + 120
    assert "cannot be unpacked" in refusal(tmp_path, data[:at] + b"\xff\x00\xff" + data[at + 3 :])
    assert "no 3MF package" in refusal(tmp_path, b"\x00\x01\x02 nothing")


def test_a_package_that_lies_about_its_size_is_not_unpacked_further(tmp_path):
    text = model_xml(ONE)
    lying = three_mf(ONE).replace(struct.pack("<I", len(text)), struct.pack("<I", 10))
    assert "cannot be unpacked (Bad CRC-32" in refusal(tmp_path, lying)


# ---- XML


@pytest.mark.parametrize(
    "head",
    [
        '<!DOCTYPE model [<!ENTITY a "1"><!ENTITY b "&a;&a;">]>',
        '<!DOCTYPE model SYSTEM "file:///etc/passwd">',
        "<!DOCTYPE model>",
    ],
)
def test_document_types_and_entities_are_refused(tmp_path, head):
    text = model_xml(ONE).replace("?>", "?>" + head, 1)
    assert "declares a document type or entities" in refusal(tmp_path, package({"3D/3dmodel.model": text}))
    relations = '<?xml version="1.0"?>' + head + RELATIONS
    assert "declares a document type" in refusal(tmp_path, package({"3D/3dmodel.model": model_xml(ONE)}, relations))


def test_nesting_is_bounded(tmp_path):
    deep = "<x>" * 100 + "</x>" * 100
    assert "nested more than 64 deep" in refusal(tmp_path, three_mf(deep + ONE))


@pytest.mark.parametrize(
    ("resources", "build", "attributes", "said"),
    [
        (ONE, "", "", "nothing in the file is to be built"),
        (ONE, '<item objectid="7"/>', "", "object 7 is asked for and not there"),
        (ONE, "<item/>", "", "<item> has no objectid"),
        (ONE.replace('y="0.0"', "", 1), '<item objectid="1"/>', "", "line 1: <vertex> has no y"),
        (ONE.replace('y="0.0"', 'y="0,5"', 1), '<item objectid="1"/>', "", "<vertex> holds what is not a number"),
        (ONE.replace('y="0.0"', 'y="nan"', 1), '<item objectid="1"/>', "", "not finite numbers, in facet 1"),
        (
            ONE.replace('v1="0"', 'v1="8"', 1),
            '<item objectid="1"/>',
            "",
            "triangle 0 of object 1 asks for corner 8, it has 8",
        ),
        (ONE.replace('v1="0"', 'v1="-1"', 1), '<item objectid="1"/>', "", "triangle 0 of object 1 asks for corner -1"),
        (
            ONE.replace('v1="0"', f'v1="{10**30}"', 1),
            '<item objectid="1"/>',
            "",
            "<triangle> holds what is not a number",
        ),
        (ONE + ONE, '<item objectid="1"/>', "", "two objects have the id 1"),
        ('<object id="1"/>', '<item objectid="1"/>', "", "the file holds no triangles"),
        (ONE, '<item objectid="1" transform="1 0 0 0 1 0 0 0 0 0 0 0"/>', "", "flattens the part"),
        (ONE, '<item objectid="1" transform="1 0 0"/>', "", "is not twelve finite numbers"),
        (ONE, '<item objectid="1" transform="1 0 0 0 1 0 0 0 nan 0 0 0"/>', "", "is not twelve finite numbers"),
        (ONE, '<item objectid="1"/>', 'unit="parsec"', "the unit 'parsec' is none of micron"),
        (
            ONE,
            '<item objectid="1"/>',
            'requiredextensions="q" xmlns:q="urn:q"',
            "needs the extension q, which is not read",
        ),
        (ONE + "<broken>", '<item objectid="1"/>', "", "not well-formed XML"),
    ],
)
def test_what_cannot_be_used_is_refused(tmp_path, resources, build, attributes, said):
    assert said in refusal(tmp_path, three_mf(resources, build, attributes))


def test_another_kind_of_xml_is_refused(tmp_path):
    assert "no 3MF model" in refusal(tmp_path, package({"3D/3dmodel.model": "<html><body/></html>"}))


def test_extensions_that_change_no_shape_may_be_required(tmp_path):
    spaces = 'requiredextensions="s p m" xmlns:m="http://schemas.microsoft.com/3dmanufacturing/material/2015/02"'
    assert len(read(tmp_path, three_mf(ONE, attributes=spaces)).corners) == 12


def test_shapes_that_are_left_out_are_named(tmp_path):
    lattice = '<b:beamlattice xmlns:b="http://schemas.microsoft.com/3dmanufacturing/beamlattice/2017/02"/></mesh>'
    part = read(tmp_path, three_mf(ONE.replace("</mesh>", lattice)), unit="mm")
    assert "the file also holds a beamlattice, which was left out" in part.warnings


# ---- assemblies that eat memory


def assembly(levels, each=2, leaf=ONE):
    """Each object is made of `each` copies of the one before it."""
    parts = [
        f'<object id="{k + 1}"><components>' + f'<component objectid="{k}"/>' * each + "</components></object>"
        for k in range(1, levels + 1)
    ]
    return leaf + "".join(parts), f'<item objectid="{levels + 1}"/>'


def test_objects_made_of_themselves_are_refused(tmp_path):
    ring = '<object id="2"><components><component objectid="3"/></components></object>'
    ring += '<object id="3"><components><component objectid="2"/></components></object>'
    assert "composed of themselves (2 -> 3 -> 2)" in refusal(tmp_path, three_mf(ONE + ring, '<item objectid="2"/>'))


def test_assemblies_that_double_are_counted_before_they_are_placed(tmp_path):
    assert len(read(tmp_path, three_mf(*assembly(3))).corners) == 8 * 12
    assert f"{2**60 * 12} triangles" in refusal(tmp_path, three_mf(*assembly(60)))
    empty = '<object id="1"/>'
    assert f"objects are placed {2**61 - 1} times" in refusal(tmp_path, three_mf(*assembly(60, leaf=empty)))


def test_depth_is_bounded_even_where_the_lower_levels_were_seen_before(tmp_path):
    resources, _ = assembly(1500, each=1)
    build = "".join(f'<item objectid="{k}"/>' for k in range(1, 1501))
    assert "composed more than 64 deep" in refusal(tmp_path, three_mf(resources, build))
    resources, build = assembly(60, each=1)
    assert len(read(tmp_path, three_mf(resources, build)).corners) == 12


def test_triangle_and_vertex_limits(tmp_path):
    assert "at most 11 triangles" in refusal(tmp_path, three_mf(ONE), limits=Limits(triangles=11))
    assert "triangles are read" in refusal(tmp_path, three_mf(ONE), limits=Limits(vertices=7))


def test_model_parts_are_bounded(tmp_path):
    parts = {f"3D/{k}.model": model_xml(ONE, "") for k in range(10)}
    build = "".join(f'<item objectid="1" p:path="/3D/{k}.model"/>' for k in range(10))
    assert len(read(tmp_path, three_mf("", build, **parts)).corners) == 120
    assert "more than 5 model parts" in refusal(tmp_path, three_mf("", build, **parts), limits=Limits(model_parts=5))


# ---- slices


def stack_xml(layers, thickness, side, ident="5", bottom=0.0):
    ring = "".join(f'<s:vertex x="{x}" y="{y}"/>' for x, y in ((0, 0), (side, 0), (side, side), (0, side)))
    segments = "".join(f'<s:segment v2="{k}"/>' for k in (1, 2, 3, 0))
    slices = "".join(
        f'<s:slice ztop="{bottom + (k + 1) * thickness!r}"><s:vertices>{ring}</s:vertices>'
        f'<s:polygon startv="0">{segments}'
        "</s:polygon></s:slice>"
        for k in range(layers)
    )
    return f'<s:slicestack id="{ident}" zbottom="{bottom!r}">{slices}</s:slicestack>'


SLICED = one_object(CUBE * 10, CUBE_FACES, 's:slicestackid="5"')


def solid_of(stack):
    """Area times thickness, summed; areas by shapely."""
    below, total = stack.z_bottom, 0.0
    for cut in stack.slices:
        total += sum(Polygon(ring).area for ring in cut.rings) * (cut.z_top - below)
        below = cut.z_top
    return total


def test_slices_of_a_cube_are_200_squares_that_add_up_to_its_volume(tmp_path):
    # A cube of 10 mm at 0.05 mm: 200 layers of 100 mm2, 1000 mm3 (closed form).
    part = read(tmp_path, three_mf(stack_xml(200, 0.05, 10) + SLICED))
    (stack,) = part.slices
    assert len(stack.slices) == 200
    assert {round(Polygon(r).area * 1e6, 9) for s in stack.slices for r in s.rings} == {100.0}
    assert solid_of(stack) == pytest.approx(volume(part.corners_m), rel=1e-12)
    assert solid_of(stack) == pytest.approx(1e-6, rel=1e-12)


def test_slices_follow_the_build_item_in_their_plane(tmp_path):
    build = '<item objectid="1" transform="0 3 0 -3 0 0 0 0 1 50 0 7"/>'
    build += '<item objectid="1" transform="-1 0 0 0 1 0 0 0 1 0 0 0"/>'
    turned, mirrored = read(tmp_path, three_mf(stack_xml(4, 2.5, 10) + SLICED, build)).slices
    ring = turned.slices[0].rings[0] * 1e3
    assert (ring.min(axis=0).round(9).tolist(), ring.max(axis=0).round(9).tolist()) == ([20, 0], [50, 30])
    assert (turned.z_bottom, turned.slices[-1].z_top) == pytest.approx((0.007, 0.017))
    assert solid_of(turned) == pytest.approx(9e-6)
    assert Polygon(turned.slices[0].rings[0]).exterior.is_ccw
    assert Polygon(mirrored.slices[0].rings[0]).exterior.is_ccw


def test_slices_in_other_parts_are_followed(tmp_path):
    parts = {f"2D/{k}.model": model_xml(stack_xml(2, 2.5, 10, bottom=5.0 * k), "") for k in range(2)}
    refs = "".join(f'<s:sliceref slicestackid="5" slicepath="/2D/{k}.model"/>' for k in range(2))
    stack = f'<s:slicestack id="5" zbottom="0">{refs}</s:slicestack>'
    part = read(
        tmp_path, three_mf(stack + SLICED.replace("id=", 's:meshresolution="lowres" id=', 1), **parts), unit="mm"
    )
    assert [s.z_bottom for s in part.slices] == pytest.approx([0, 0.005])
    assert sum(map(solid_of, part.slices)) == pytest.approx(1e-6)
    assert part.warnings == ("the mesh of object 1 is a coarse stand-in; its slices are the real shape",)


def test_a_mesh_alone_has_no_slices(tmp_path):
    assert read(tmp_path, three_mf(ONE)).slices is None


GOOD_STACK = stack_xml(2, 5.0, 10)
CHAINED = "".join(
    f'<s:slicestack id="{a}"><s:sliceref slicestackid="{b}"/></s:slicestack>' for a, b in ((5, 6), (6, 5))
)


@pytest.mark.parametrize(
    ("stack", "build", "said"),
    [
        (GOOD_STACK.replace('id="5"', 'id="6"'), "", "slice stack 5 is asked for and not there"),
        (GOOD_STACK.replace('v2="0"', 'v2="1"', 1), "", "the outline of the slice that ends at 5 is not closed"),
        (GOOD_STACK.replace('v2="3"', 'v2="4"', 1), "", "a slice asks for corner 4, it has 4"),
        (GOOD_STACK.replace('ztop="10.0"', 'ztop="5.0"'), "", "a slice ends at 5, not above the one before it (5)"),
        (GOOD_STACK.replace('ztop="5.0"', 'ztop="nan"'), "", "a slice ends at nan"),
        (GOOD_STACK.replace('x="10"', 'x="inf"', 1), "", "a corner of a slice is not a finite number"),
        (GOOD_STACK, '<item objectid="1" transform="1 0 0 0 1 0 0 0 2 0 0 0"/>', "tilted or stretched in height"),
        (GOOD_STACK, '<item objectid="1" transform="1 0 0 0 0 1 0 -1 0 0 0 0"/>', "tilted or stretched in height"),
        (
            CHAINED,
            "",
            "points to stacks that point on",
        ),
    ],
)
def test_slices_that_break_the_rules_are_refused(tmp_path, stack, build, said):
    assert said in refusal(tmp_path, three_mf(stack + SLICED, build or '<item objectid="1"/>'))


BUILD = (
    '<?xml version="1.0" encoding="{encoding}"?><model unit="millimeter" '
    'xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02"><resources/><build/></model>'
)


def test_an_encoding_nobody_knows_is_told(tmp_path):
    path = tmp_path / "part.3mf"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("3D/3dmodel.model", BUILD.format(encoding="made-up-8"))
    with pytest.raises(InputError, match=r"part\.3mf"):
        read_part(path)


def test_an_entry_without_a_name_is_told(tmp_path):
    path = tmp_path / "part.3mf"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("n", "")
        archive.writestr("3D/3dmodel.model", BUILD.format(encoding="UTF-8"))
    # The first entry's name loses its only letter, in both places where a zip file keeps it.
    data = path.read_bytes()
    local, central = data.index(b"PK\x03\x04"), data.index(b"PK\x01\x02")
    for at, name in ((central + 28, central + 46), (local + 26, local + 30)):
        data = data[:at] + b"\0\0" + data[at + 2 : name] + data[name + 1 :]
    end = data.index(b"PK\x05\x06")
    data = (
        data[: end + 12]
        + struct.pack("<II", end - data.index(b"PK\x01\x02"), data.index(b"PK\x01\x02"))
        + data[end + 20 :]
    )
    path.write_bytes(data)
    with pytest.raises(InputError, match=r"part\.3mf"):
        read_part(path)
