"""What `make fuzz` kept because it reached another part of a reader, and changes of it: an answer, or a refusal in words."""

from __future__ import annotations

import pytest
from benchmarks.fuzz.__main__ import kept_inputs
from benchmarks.fuzz.readers import readers
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

READERS = {r.name: r for r in readers()}


@pytest.fixture(scope="module", autouse=True)
def a_bench_of_its_own(no_trace):
    """The readers of forms name a notebook for their bench: for these tests, not for those after them."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("VATWRIGHT_STORE", "named by the first form")
        yield


@pytest.mark.parametrize("name", READERS)
def test_what_a_reader_starts_from_is_sound(name):
    for data in READERS[name].seeds():
        READERS[name].take(data)


@pytest.mark.parametrize("name", READERS)
def test_what_was_kept_is_read_or_refused(name):
    for data in kept_inputs(name):
        READERS[name].feed(data)


def edits(longest):
    place = st.integers(0, longest)
    return st.lists(st.tuples(place, st.integers(0, 16), st.binary(max_size=16)), min_size=1, max_size=5)


@pytest.mark.parametrize("name", READERS)
@given(data=st.data())
@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
def test_what_was_changed_is_read_or_refused(name, data):
    reader = READERS[name]
    found = bytearray(data.draw(st.sampled_from([*reader.seeds(), *kept_inputs(name)])))
    for at, gone, put in data.draw(edits(len(found))):
        found[at : at + gone] = put
    reader.feed(bytes(found))
