"""Kept answers come back to the bit or not at all, and no file can make anything but records of this package."""

from __future__ import annotations

import json

import numpy as np
import pytest
from attrs import define

from vatwright.files.answer_cache import KEPT, _digest, keep_answer, key_of, recall_answer
from vatwright.records.learned import Believed, Disagreement, LearnSheet, MachineScore, Pull, TimesSaid
from vatwright.records.run import Quantity


def test_the_key_tells_apart_texts_their_order_and_the_version():
    keys = {
        key_of(["a", "b"], version="1"), key_of(["ab"], version="1"), key_of(["b", "a"], version="1"),
        key_of(["a", "b"], version="2"),
    }  # fmt: skip
    assert len(keys) == 4
    assert key_of(["a", "b"], version="1") in keys


def test_a_sheet_comes_back_as_it_was(tmp_path):
    sheet = LearnSheet(
        machine="Heron", resin="", runs=2, held=1,
        believed=(Believed(name="stiffness", of="Heron", unit="N_mm", before=(1.0, 2.0, 3.0), after=(1.5, 2.0, 2.5),
                           share_left=0.5, moved_by=(Pull("one", -0.3), Pull("two", 0.2))),),
        disagreements=(Disagreement(machine="Heron", what="odd", chance=0.01),),
        scores=(MachineScore(machine="Heron", classes=(), brier=0.1, base_rate=0.5, skill=0.2, reliability=0.0,
                             resolution=0.1, uncertainty=0.25, slope=(1.0, 0.5),
                             run_time=TimesSaid(low=0.9, middle=1.0, high=1.1, runs=2)),),
        notes=("a", "b"),
    )  # fmt: skip
    keep_answer(tmp_path, "learnt", "k", sheet)
    assert recall_answer(tmp_path, "learnt", "k") == sheet
    assert recall_answer(tmp_path, "learnt", "other") is None


@pytest.mark.parametrize(
    "value",
    [
        None,
        True,
        0.1,
        3,
        "\n%\u00fc",
        (),
        (1, (2.5, "a")),
        b"\x00\xff",
        {"a": (1.0,), 2: None},
        Quantity.RUN_TIME,
        Pull("one", -0.3),
    ],
)
def test_plain_values_rows_and_words_come_back(tmp_path, value):
    keep_answer(tmp_path, "x", "k", (value,))
    (back,) = recall_answer(tmp_path, "x", "k")
    assert back == value
    assert type(back) is type(value)


def test_arrays_come_back_to_the_bit(tmp_path):
    values = np.array([[0.1, np.nan, -0.0], [np.inf, 1e-320, 3.0]])
    keep_answer(tmp_path, "x", "k", (values, np.arange(3), np.float64(0.3)))
    floats, counts, one = recall_answer(tmp_path, "x", "k")
    assert floats.tobytes() == values.tobytes()
    assert counts.dtype == np.arange(3).dtype
    assert one == 0.3
    floats[0, 0] = 1.0  # and may be changed


@pytest.mark.parametrize("cut", [0, 10, 70, -1])
def test_a_damaged_file_is_no_answer(tmp_path, cut):
    keep_answer(tmp_path, "x", "k", ("settle", 3.2))
    (file,) = tmp_path.glob("x-*.json")
    whole = file.read_bytes()
    file.write_bytes(whole[:cut] if cut >= 0 else whole.replace(b"3.2", b"2.2"))
    assert recall_answer(tmp_path, "x", "k") is None


@define(frozen=True)
class Elsewhere:
    """A record that is not of the package."""

    value: int = 1


@pytest.mark.parametrize(
    "told",
    [
        ["record", "subprocess:Popen", {"args": "true"}],
        ["record", "vatwright.wiring:os.system", {}],
        ["record", "vatwright.files.answer_cache:json", {}],
        ["record", "vatwright.files.answer_cache:Path", {}],
        ["record", f"{__name__}:Elsewhere", {"value": 1}],
        ["row", "vatwright.store.notebook:DatabaseNotebook", ["sqlite:///x"]],
        ["enum", "vatwright.records.run:Quantity", "courage"],
        ["array", "|O", [1], ""],
        ["call", "print"],
    ],
)
def test_a_file_that_somebody_else_wrote_makes_nothing_but_records(tmp_path, told):
    text = json.dumps(told).encode()
    (tmp_path / "x-k.json").write_bytes(_digest(text) + b"\n" + text)
    assert recall_answer(tmp_path, "x", "k") is None


def test_what_cannot_be_kept_is_a_fault_of_ours_and_old_answers_go(tmp_path):
    with pytest.raises(TypeError, match="cannot be kept"):
        keep_answer(tmp_path, "x", "k", object())
    for k in range(KEPT + 3):
        keep_answer(tmp_path, "x", f"{k:03}", k)
    assert len(list(tmp_path.glob("x-*.json"))) == KEPT
