"""What pyproject.toml asks for is imported somewhere in src, what src imports is asked for, and extras can be missing."""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from pathlib import Path

import pytest

from vatwright.errors import InputError
from vatwright.extras import EXTRAS, require_extra

ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]

IMPORT_NAMES = {"pillow": "PIL", "distributed": "dask"}
"""What a distribution is imported as, where that is not its own name."""

IMPORTED_FOR_US = {
    "python-multipart": ("fastapi", "request.form("),
    "psycopg": ("sqlalchemy", "postgresql+psycopg"),
}
"""Which library imports it, and the words in src that make it do so."""

BROUGHT_BY = {"starlette": "fastapi", "pydantic_core": "pydantic"}
"""What is imported and comes with another of the dependencies: the two are released together."""


def named(requirements):
    return {re.match(r"[A-Za-z0-9_.-]+", text).group().lower() for text in requirements}


def everything_asked_for():
    extras = PROJECT["optional-dependencies"]
    return named(PROJECT["dependencies"]) | {name for extra in extras.values() for name in named(extra)}


def imported():
    found = set()
    for path in (ROOT / "src").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                found |= {alias.name.partition(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
                found.add(node.module.partition(".")[0])
    return found - set(sys.stdlib_module_names) - {"vatwright"}


def test_every_dependency_is_imported():
    source = "".join(path.read_text(encoding="utf-8") for path in (ROOT / "src").rglob("*.py"))
    there = imported()
    for name in everything_asked_for():
        by, words = IMPORTED_FOR_US.get(name, (IMPORT_NAMES.get(name, name), ""))
        assert by in there, f"nothing in src imports {name}"
        assert words in source, f"nothing in src makes {by} import {name}"


def test_every_import_is_a_dependency():
    asked = {IMPORT_NAMES.get(name, name) for name in everything_asked_for()}
    assert {name for name in imported() if BROUGHT_BY.get(name, name) not in asked} == set()


def test_extras_are_those_of_the_project():
    extras = PROJECT["optional-dependencies"]
    assert {extra: named(asked) for extra, asked in extras.items()} == {extra: {name} for extra, name in EXTRAS.items()}


@pytest.mark.parametrize("extra", EXTRAS)
def test_a_missing_extra_is_named_with_what_to_type(monkeypatch, extra):
    require_extra(extra, "this")
    monkeypatch.setitem(sys.modules, EXTRAS[extra], None)
    with pytest.raises(
        InputError, match=rf"this: .*{EXTRAS[extra]}.*not installed\. .*pip install 'vatwright\[{extra}\]'\."
    ):
        require_extra(extra, "this")


@pytest.mark.parametrize(
    ("extra", "words"),
    [
        ("orders", ["fleet", "orders.toml"]),
        ("cluster", ["fleet", "orders.toml", "--dask", "tcp://127.0.0.1:1"]),
        ("postgres", ["learn", "--store", "postgresql+psycopg://ann@127.0.0.1:1/shop"]),
    ],
)
def test_a_command_without_its_extra_says_so_at_once(monkeypatch, capsys, extra, words):
    from vatwright.interfaces.cli.main import outcome
    from vatwright.wiring import demo_folder

    monkeypatch.chdir(demo_folder())
    monkeypatch.setitem(sys.modules, EXTRAS[extra], None)
    assert outcome(words) == 2
    assert f"pip install 'vatwright[{extra}]'" in capsys.readouterr().err
