"""A kept belief comes back whole or not at all."""

from __future__ import annotations

import numpy as np
import pytest

from vatwright.evidence.belief import Belief, Unknown
from vatwright.jobfiles.belief_cache import KEPT, belief_key, keep_belief, recall_belief


def belief(seed=1):
    samples = np.random.default_rng(seed).standard_normal((64, 3))
    return Belief(unknowns=(Unknown("stiffness", "Wren"), Unknown("cold"), Unknown("light", "Heron")), samples=samples)


def test_it_comes_back_as_it_was(tmp_path):
    keep_belief(tmp_path / "new", "k", belief())
    back = recall_belief(tmp_path / "new", "k")
    assert back.unknowns == belief().unknowns
    assert np.array_equal(back.samples, belief().samples)


def test_the_key_tells_apart_texts_their_order_and_the_version():
    keys = {
        belief_key(["a", "b"], version="1"), belief_key(["ab"], version="1"), belief_key(["b", "a"], version="1"),
        belief_key(["a", "b"], version="2"),
    }  # fmt: skip
    assert len(keys) == 4
    assert belief_key(["a", "b"], version="1") in keys


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
