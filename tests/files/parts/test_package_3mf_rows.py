"""Plain rows read in bulk: the same numbers and the same refusals as the XML parser of the standard library gives.

The reference is Python's own expat, element by element, on the same file.
"""

from __future__ import annotations

import numpy as np
import pytest
from tests.files.part_files import CUBE, CUBE_FACES, one_object, put, three_mf

from vatwright.errors import InputError
from vatwright.files.parts import package_3mf as part_3mf
from vatwright.files.parts.mesh import read_part
from vatwright.files.parts.package_3mf_rows import TRIANGLE, VERTEX, read_rows

MESH = one_object(CUBE, CUBE_FACES)


def outcome(path):
    try:
        return read_part(path).corners.tolist()
    except InputError as fault:
        return [m.what for m in fault.mistakes]


def both_ways(path, monkeypatch):
    """What reading gives with rows in bulk, and with every element through the XML parser."""
    quick = outcome(path)
    whole = part_3mf._Reader.parse
    with monkeypatch.context() as patch:
        patch.setattr(part_3mf._Reader, "parse", lambda self, a, b, c, d, _rows=None: whole(self, a, b, c, d))
        slow = outcome(path)
    return quick, slow


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        (b'<vertex x="1" y="2" z="3"/>', [1.0, 2.0, 3.0]),
        (b"  <vertex\n\tx='-1.5' y=\"+2e-3\"\r\n z='.5' />", [-1.5, 0.002, 0.5]),
        (b'<vertex x="0.1234567890123456789" y=" 7 " z="1e300"/>', [0.1234567890123456789, 7.0, 1e300]),
    ],
)
def test_plain_rows_give_the_numbers_python_gives(row, expected):
    values, stop = read_rows(row + b"</vertices>", VERTEX)
    assert values.tolist() == [expected]
    assert stop == len(row)


@pytest.mark.parametrize(
    "row",
    [
        b'<vertex y="2" x="1" z="3"/>',
        b'<vertex x="1" y="2" z="3" w="4"/>',
        b'<vertex x="1" y="2"/>',
        b'<vertex x="1"y="2" z="3"/>',
        b'<vertex x = "1" y="2" z="3"/>',
        b'<vertexx="1" y="2" z="3"/>',
        b'<vertex x="1" y="2" z="3"></vertex>',
        b'<vertex x="1" y="&#50;" z="3"/>',
        b'<vertex x="1" y="2<" z="3"/>',
        b'<vertex x="1,5" y="2" z="3"/>',
        b'<vertex x="1_0" y="2" z="3"/>',
        b"<!-- a -->",
        b'<m:vertex x="1" y="2" z="3"/>',
        b'<vertex x="1" y="2" z="3"',
        b'<vertex x="',
        b"",
    ],
)
def test_anything_else_is_left_where_it_begins(row):
    first = b'<vertex x="1" y="1" z="1"/>'
    values, stop = read_rows(first + row, VERTEX)
    assert values.tolist() == [[1.0, 1.0, 1.0]]
    assert stop == len(first)


def test_triangles_take_property_numbers_and_whole_numbers_only():
    rows = b'<triangle v1="0" v2="1" v3="2" pid="4" p1="0" p2="1" p3="2"/><triangle v1="0" v2="1" v3="2"/>'
    values, stop = read_rows(rows, TRIANGLE)
    assert (values.tolist(), stop) == ([[0.0, 1.0, 2.0]] * 2, len(rows))
    for odd in (b'v1="1.0"', b'v1="-1"', b'v1="1e0"', b'v1=""', b'v1="1234567890123456"'):
        assert read_rows(b"<triangle " + odd + b' v2="1" v3="2"/>', TRIANGLE)[1] == 0
    assert read_rows(b'<triangle v1="0" v2="1" v3="2" v1="3"/>', TRIANGLE)[1] == 0


@pytest.mark.parametrize(
    "change",
    [
        lambda xml: xml,
        lambda xml: xml.replace("/><", "/>\n  <"),
        lambda xml: xml.replace("<vertices>", "<vertices><!-- <vertices> <vertex x='9' y='9' z='9'/> -->"),
        lambda xml: xml.replace("<vertices>", '<!-- <vertices><vertex x="9" y="9" z="9"/></vertices> --><vertices>'),
        lambda xml: xml.replace("<vertices>", "<vertices ><!-- <vertices> --> "),
        lambda xml: xml.replace("<vertices>", '<![CDATA[<vertices><vertex x="9" y="9" z="9"/>]]><vertices>'),
        lambda xml: xml.replace("<mesh>", "<metadata name='<vertices>'/><mesh>"),
        lambda xml: xml.replace("<mesh>", "<mesh xmlns='urn:else'>"),
        lambda xml: xml.replace("<vertices>", "<vertices xmlns='urn:else'>"),
        lambda xml: xml.replace('x="1', 'x="+1').replace('v1="3"', "v1='3'"),
        lambda xml: xml.replace("<triangle ", '<triangle pid="1" '),
        lambda xml: xml.replace('v1="3"', 'v1="3.0"'),
        lambda xml: xml.replace('z="1', 'z="one'),
        lambda xml: xml.replace("</vertices>", "<vertex x='1'/></vertices>"),
        lambda xml: xml.replace("</vertices>", ""),
        lambda xml: xml.replace("</triangles>", "stray text </triangles>"),
        lambda xml: xml.replace("</triangles>", "&undeclared;</triangles>"),
        lambda xml: xml[: len(xml) // 2],
    ],
)
@pytest.mark.parametrize("chunk", [1 << 20, 1000, 37])
def test_whatever_the_spelling_the_outcome_is_that_of_the_xml_parser(tmp_path, monkeypatch, change, chunk):
    monkeypatch.setattr(part_3mf, "_CHUNK", chunk)
    quick, slow = both_ways(put(tmp_path, "lamp.3mf", three_mf(change(MESH))), monkeypatch)
    plain = [w for w in slow if not (isinstance(w, str) and "well-formed" in w)]
    # Columns of a message about broken XML count what the parser was given; everything else is the same.
    assert (quick == slow) if plain == slow else ("well-formed" in quick[0])


def test_the_line_of_a_mistake_is_that_of_the_file(tmp_path):
    xml = MESH.replace("/><", "/>\n<").replace("</vertices>", "\n<vertex x='1' y='2'/></vertices>")
    path = put(tmp_path, "lamp.3mf", three_mf(xml))
    line = 1 + xml[: xml.index("<vertex x='1' y='2'/>")].count("\n")
    with pytest.raises(InputError, match=f"line {line}: ") as caught:
        read_part(path)
    assert "has no z" in str(caught.value)


def test_most_elements_of_a_large_mesh_never_reach_the_xml_parser(tmp_path, monkeypatch):
    seen = []
    start = part_3mf._ModelParser.start
    monkeypatch.setattr(part_3mf._ModelParser, "start", lambda self, *a: seen.append(a[0]) or start(self, *a))
    corners = np.random.default_rng(4).random((30_000, 3))
    faces = np.arange(30_000).reshape(-1, 3)
    part = read_part(put(tmp_path, "lamp.3mf", three_mf(one_object(corners, faces))))
    assert part.corners.reshape(-1, 3).tolist() == corners.tolist()
    assert len(seen) < 20
