"""Work cut into shares: every number once, on any number of cores, and no failure lost."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from vatwright import compiled
from vatwright.compiled import on_one_core, side_by_side


@pytest.fixture(params=[1, 2, 5], ids=lambda cores: f"{cores} cores")
def _cores(request, monkeypatch):
    monkeypatch.setattr(compiled, "_cores", lambda: request.param)


def add_one(first, last, marks):
    marks[first:last] += 1


@pytest.mark.usefixtures("_cores")
@pytest.mark.parametrize("count", [0, 1, 2, 3, 17])
def test_shares_hold_each_number_once(count):
    marks = np.zeros(20, dtype=int)
    side_by_side(add_one, count, marks)
    assert marks.tolist() == [1] * count + [0] * (20 - count)


@pytest.mark.parametrize("at", [0, 16])
@pytest.mark.usefixtures("_cores")
def test_a_share_that_fails_is_told(at):
    def fail(first, last):
        if first <= at < last:
            raise MemoryError

    with pytest.raises(MemoryError):
        side_by_side(fail, 17)


def test_on_one_core_it_is_one_call(monkeypatch):
    monkeypatch.setattr(compiled, "_cores", lambda: 4)
    calls = []
    with on_one_core():
        side_by_side(lambda first, last: calls.append((first, last)), 9)
    assert calls == [(0, 9)]
    side_by_side(lambda first, last: calls.append((first, last)), 9)
    assert sorted(calls[1:]) == [(0, 2), (2, 4), (4, 6), (6, 9)]


class Config:
    """What of the compiler's settings counts here."""

    def __init__(self, folder):
        self.CACHE_DIR = folder


@pytest.mark.parametrize("given", [False, True], ids=["beside the files", "where told"])
def test_machine_code_of_other_kernels_lies_elsewhere(tmp_path, monkeypatch, given):
    monkeypatch.setattr(compiled, "__file__", str(tmp_path / "compiled.py"))
    kernels, others = tmp_path / "kernels.py", tmp_path / "others.py"

    def kept():
        config = Config(str(tmp_path / "told") if given else "")
        compiled._keep_apart.__wrapped__(config)
        Path(config.CACHE_DIR).mkdir(parents=True, exist_ok=True)
        return config.CACHE_DIR

    kernels.write_text("x = 1\n@kernel\ndef f(): ...\n")
    others.write_text("y = 1\n")
    first = kept()
    others.write_text("y = 2\n")
    assert kept() == first
    seen = {first}
    for n in range(8):
        kernels.write_text(f"x = {n + 2}\n@kernel\ndef f(): ...\n")
        seen.add(kept())
    assert len(seen) == 9
    assert len(list(Path(first).parent.glob("kernels-*"))) == compiled.MOST_KEPT + 1
