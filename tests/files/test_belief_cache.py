"""A kept belief comes back whole or not at all."""

from __future__ import annotations

import numpy as np
import pytest
from attrs import evolve

from vatwright.evidence.belief import Belief, Unknown
from vatwright.files.belief_cache import KEPT, LessonCache, keep_belief, recall_belief


def belief(seed=1):
    samples = np.random.default_rng(seed).standard_normal((64, 3))
    return Belief(unknowns=(Unknown("stiffness", "Wren"), Unknown("cold"), Unknown("light", "Heron")), samples=samples)


def test_it_comes_back_as_it_was(tmp_path):
    keep_belief(tmp_path / "new", "k", belief())
    back = recall_belief(tmp_path / "new", "k")
    assert back.unknowns == belief().unknowns
    assert np.array_equal(back.samples, belief().samples)


@pytest.mark.parametrize("cut", [0, 10, 200, -1])
def test_a_damaged_file_is_not_believed(tmp_path, cut):
    keep_belief(tmp_path, "k", belief())
    (file,) = tmp_path.glob("*.npz")
    whole = file.read_bytes()
    file.write_bytes(whole[:cut] if cut >= 0 else whole[:-40] + bytes(40))
    assert recall_belief(tmp_path, "k") is None


def test_what_is_not_there_is_none_and_a_closed_folder_only_means_working_it_out_again(tmp_path):
    assert recall_belief(tmp_path, "missing") is None
    (tmp_path / "file").write_text("in the way")
    keep_belief(tmp_path / "file", "k", belief())
    assert recall_belief(tmp_path / "file", "k") is None


def test_old_beliefs_go(tmp_path):
    for k in range(KEPT + 5):
        keep_belief(tmp_path, f"{k:03}", belief())
    assert len(list(tmp_path.glob("belief-*.npz"))) == KEPT


def test_what_must_be_told_comes_back_with_it(tmp_path):
    keep_belief(tmp_path, "k", evolve(belief(), notes=("they disagree",)))
    assert recall_belief(tmp_path, "k").notes == ("they disagree",)


def test_a_lesson_comes_back_to_the_bit_under_its_version_alone(tmp_path):
    arrays = {"rows": np.random.default_rng(1).standard_normal((3, 4, 5)), "error": np.array(0.01)}
    LessonCache(tmp_path, version="1").keep(b"key", arrays)
    back = LessonCache(tmp_path, version="1").recall(b"key")
    assert set(back) == set(arrays)
    assert all(np.array_equal(back[name], arrays[name]) for name in arrays)
    assert LessonCache(tmp_path, version="2").recall(b"key") is None
    assert LessonCache(tmp_path, version="1").recall(b"other") is None


def test_a_lesson_that_is_not_numbers_or_not_whole_is_not_used(tmp_path):
    cache = LessonCache(tmp_path, version="1")
    cache.keep(b"key", {"rows": np.array([1.0, np.nan])})
    assert cache.recall(b"key") is None
    (file,) = (tmp_path / "lessons").glob("*.npz")
    file.write_bytes(file.read_bytes()[:50])
    assert cache.recall(b"key") is None
