"""Line numbers of keys, against the worked samples of the TOML 1.0.0 specification (toml.io, released 2021)."""

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vatwright.files.places import key_lines, line_of

# Constructs in the order of the specification's chapters; values are ours.
SAMPLE = '''# a remark = 1
bare_key-1 = "v[1]={"
"quoted.key" = 'C:\\no\\escape'
site."google.com".x = true
3.14 = [ [1, 2],
  ["a # no remark", 'b', """c
]""" ],
]
text = """
one "two" ""three""
four = 5 \\""" six"""
raw = \'\'\'
[no.table]
\'\'\'
[a.b] # remark
when = 1979-05-27T07:32:00Z
point = { x = 1, y.z = { w = [2,
  3] } }
[[fruit]]
name = "apple"
[fruit.physical]
colour = "red"
[[fruit.variety]]
name = "red delicious"
[[fruit.variety]]
name = "granny smith"
[[fruit]]
name = "banana"
[[fruit.variety]]
name = "plantain"'''

LINES = {
    ("bare_key-1",): 2,
    ("quoted.key",): 3,
    ("site", "google.com", "x"): 4,
    ("3", "14"): 5,
    ("3", "14", 0, 1): 5,
    ("3", "14", 1): 6,
    ("3", "14", 1, 2): 6,
    ("text",): 9,
    ("raw",): 12,
    ("a",): 15,
    ("a", "b", "when"): 16,
    ("a", "b", "point", "y", "z", "w", 1): 18,
    ("fruit", 0): 19,
    ("fruit", 0, "physical", "colour"): 22,
    ("fruit", 0, "variety", 1): 25,
    ("fruit", 0, "variety", 1, "name"): 26,
    ("fruit", 1, "name"): 28,
    ("fruit", 1, "variety", 0, "name"): 30,
}


@pytest.mark.parametrize("ends", ["\n", "\r\n"])
def test_each_construct_of_the_specification_is_found_on_its_line(ends):
    text = SAMPLE.replace("\n", ends)
    tomllib.loads(text)  # it is TOML
    lines = key_lines(text)
    assert {where: lines[where] for where in LINES} == LINES


def ways(value, where=()):
    yield where
    if isinstance(value, dict | list):
        for key, inner in value.items() if isinstance(value, dict) else enumerate(value):
            yield from ways(inner, (*where, key))


def test_every_value_that_the_parser_finds_has_a_line_and_no_other():
    assert set(key_lines(SAMPLE)) == set(ways(tomllib.loads(SAMPLE))) - {()}


VALUES = st.recursive(
    st.sampled_from(["1", "-2.5", "true", '"a]}#="', "'b\"'", '"""c\nd"""', "1979-05-27"]),
    lambda inner: st.lists(inner, max_size=3).map(lambda v: "[\n" + ",\n".join(v) + "]"),
    max_leaves=6,
)


@given(st.lists(VALUES, min_size=1, max_size=8))
def test_whatever_stands_before_a_key_its_line_is_found(values):
    text = "".join(f"k{n} = {v}\n" for n, v in enumerate(values))
    lines = key_lines(text)
    assert set(lines) == set(ways(tomllib.loads(text))) - {()}
    for n in range(len(values)):
        assert text.splitlines()[lines[f"k{n}",] - 1].startswith(f"k{n} =")


def test_what_has_no_line_takes_that_of_the_table_around_it():
    lines = key_lines("[job]\nto = 'x'\n")
    assert line_of(lines, ("job", "room_c")) == 1
    assert line_of(lines, ("part", 0)) == 1
