"""Work cut into shares: every number once, on any number of cores, and no failure lost."""

from __future__ import annotations

import sys
from importlib import import_module
from pathlib import Path
from types import ModuleType

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


@pytest.fixture
def modules(tmp_path, monkeypatch):
    """Three modules; the first has a kernel of the second and a number of its own."""
    monkeypatch.setattr(compiled, "__file__", str(tmp_path / "compiled.py"))
    made = {name: ModuleType(name) for name in ("caller", "called", "stranger")}
    for name, module in made.items():
        module.__file__ = str(tmp_path / f"{name}.py")
        Path(module.__file__).write_text("x = 1\n", encoding="utf-8")
        monkeypatch.setitem(sys.modules, name, module)
    called = compiled.kernel(lambda: None)
    called.__module__ = "called"
    made["caller"].called, made["caller"].number = called, 1.0
    return made


@pytest.mark.parametrize("given", [False, True], ids=["beside the files", "where told"])
def test_machine_code_of_changed_kernels_lies_elsewhere(tmp_path, modules, given):
    def kept(module="caller"):
        compiled._version.cache_clear()
        config = Config(str(tmp_path / "told") if given else "")
        compiled._keep_apart(config, module)
        Path(config.CACHE_DIR).mkdir(parents=True, exist_ok=True)
        return config.CACHE_DIR

    first, stranger = kept(), kept("stranger")
    Path(modules["stranger"].__file__).write_text("x = 2\n", encoding="utf-8")
    assert kept() == first
    assert kept("stranger") != stranger
    seen = {first}
    modules["caller"].number = 2.0  # as where another module states it
    seen.add(kept())
    for n in range(8):
        Path(modules["caller" if n % 2 else "called"].__file__).write_text(f"x = {n + 3}\n", encoding="utf-8")
        seen.add(kept())
    assert len(seen) == 10
    assert len(list(Path(first).parent.glob("kernels-caller-*"))) == compiled.MOST_KEPT + 1


def test_one_folder_does_not_lie_within_another(tmp_path):
    config = Config(str(tmp_path))
    for module in ("vatwright.physics.layer_stack", "vatwright.geometry.load_path"):
        import_module(module)
        compiled._keep_apart(config, module)
        assert Path(config.CACHE_DIR).parent == tmp_path
