"""The unit a parameter's name ends in is the unit its docstring gives; formula docstrings have all their parts."""

from __future__ import annotations

import ast
import importlib.util
import re
import sys
from pathlib import Path

import pytest

import vatwright

ROOM = Path(vatwright.__file__).parent / "physics"


def _load_units_of_names():
    if "units_of_names" not in sys.modules:
        spec = importlib.util.spec_from_file_location("units_of_names", Path(__file__).with_name("units_of_names.py"))
        module = importlib.util.module_from_spec(spec)
        sys.modules["units_of_names"] = module
        spec.loader.exec_module(module)
    return sys.modules["units_of_names"]


units = _load_units_of_names()


def public_functions() -> list[tuple[str, ast.FunctionDef]]:
    """Return every public function of the physics room, with its file."""
    found = []
    for path in sorted(ROOM.glob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        found += [(path.stem, n) for n in tree.body if isinstance(n, ast.FunctionDef) and not n.name.startswith("_")]
    return found


def sections(docstring: str) -> dict[str, str]:
    """Return a numpydoc docstring's sections by title."""
    parts = re.split(r"^([A-Z][a-z]+)\n-{3,}\n", docstring, flags=re.MULTILINE)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


def entries(section: str) -> dict[str, str]:
    """Return the entries of a section: name -> text."""
    parts = re.split(r"^(\S[^\n]*?)(?: : [^\n]*)?\n(?=    )", section, flags=re.MULTILINE)
    return {
        name: one_of_many(text, i)
        for names, text in zip(parts[1::2], parts[2::2], strict=True)
        for i, name in enumerate(re.split(r",\s*", names))
    }


def one_of_many(text: str, place: int) -> str:
    """Return an entry's text with a list of units, as in ``[m, m/s]``, cut down to the one at a place."""

    def cut(match: re.Match[str]) -> str:
        units_given = match[1].split(",")
        return f"[{units_given[min(place, len(units_given) - 1)].strip()}]"

    return re.sub(r"\[([^\]]+)\]", cut, text)


def marks(text: str) -> list[str]:
    """Return what stands in square brackets, keys of sources left out."""
    return [m for m in re.findall(r"\[([^\]]+)\]", text) if ":" not in m]


FUNCTIONS = public_functions()


def test_the_room_was_found() -> None:
    assert len(FUNCTIONS) > 40


@pytest.mark.parametrize(("file", "node"), FUNCTIONS, ids=[f"{f}.{n.name}" for f, n in FUNCTIONS])
def test_parameters(file: str, node: ast.FunctionDef) -> None:
    parts = sections(ast.get_docstring(node) or "")
    documented = entries(parts.get("Parameters", ""))
    arguments = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
    names = [a.arg for a in arguments] + ([f"*{node.args.vararg.arg}"] if node.args.vararg else [])
    assert set(documented) == set(names), f"{file}.{node.name} documents other parameters than it takes"
    for argument in arguments:
        wanted = units.unit_of_name(argument.arg)
        kind = ast.unparse(argument.annotation) if argument.annotation else ""
        given = marks(documented[argument.arg])
        if wanted is not None:
            assert given, f"{file}.{node.name}: {argument.arg} has no [unit]"
            assert units.same_unit(given[0], wanted), f"{file}.{node.name}: {argument.arg} is given as [{given[0]}]"
        elif kind == "float" and not argument.arg.endswith("_pa_sn"):
            assert given, f"{file}.{node.name}: {argument.arg} has neither a unit in its name nor [1]"
            assert units.same_unit(given[0], "1"), f"{file}.{node.name}: {argument.arg} needs its unit in its name"


@pytest.mark.parametrize(("file", "node"), FUNCTIONS, ids=[f"{f}.{n.name}" for f, n in FUNCTIONS])
def test_parts_of_the_docstring(file: str, node: ast.FunctionDef) -> None:
    parts = sections(ast.get_docstring(node) or "")
    missing = {"Parameters", "Returns", "Notes", "Examples", "References"} - set(parts)
    assert not missing, f"{file}.{node.name} has no {', '.join(sorted(missing))}"
    assert re.search(r"\[[a-z]+:\w+\]", parts["References"]), f"{file}.{node.name} names no source"
    if node.returns is not None and ast.unparse(node.returns) == "float":
        given = marks(parts["Returns"])
        assert given, f"{file}.{node.name} returns a float without a unit"
        assert units.parse(given[0]) is not None


def nomenclature() -> dict[str, str]:
    """Return the nomenclature page's names with their units."""
    page = Path(__file__).parents[2] / "docs" / "nomenclature.md"
    rows = re.findall(r"^\| `(\w+)` \|[^|]*\|([^|]*)\|[^|]*\|$", page.read_text(encoding="utf-8"), re.MULTILINE)
    assert len({name for name, _ in rows}) == len(rows), "a name stands twice on the page"
    return {name: unit.strip() for name, unit in rows}


def test_nomenclature_page_has_every_name_with_its_unit() -> None:
    page = nomenclature()
    names = {
        a.arg
        for _, node in FUNCTIONS
        for a in [*node.args.args, *node.args.kwonlyargs, *([node.args.vararg] if node.args.vararg else [])]
    }
    assert not sorted(names - set(page)), "names that the page lacks"
    assert not sorted(set(page) - names), "names on the page that no formula takes"
    for name, unit in page.items():
        wanted = units.unit_of_name(name)
        assert wanted is None or units.same_unit(unit, wanted), f"{name} is given as {unit}"


def test_reading_of_names_and_marks() -> None:
    assert units.unit_of_name("viscosity_pa_s") == "Pa s"
    assert units.unit_of_name("layers") is None
    assert units.same_unit("N s/m", "kg/s")
    assert units.same_unit("m⁴", "m4")
    assert not units.same_unit("N/m", "N m")
    assert not units.same_unit("mm", "m")
