"""A name means one thing: what a reader learnt about it in one file holds in every other."""

from __future__ import annotations

import ast
from collections import defaultdict
from pathlib import Path

ROOT = Path(__file__).parents[2]
TREES = {path: ast.parse(path.read_text()) for path in sorted((ROOT / "src").rglob("*.py"))}


def _classes(trees) -> dict[str, set[str]]:
    """Every public class at the top of a file, with the files that have one of that name."""
    found = defaultdict(set)
    for path, tree in trees.items():
        for node in tree.body:
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                found[node.name].add(str(path))
    return found


def test_no_class_name_has_two_meanings():
    assert {name: files for name, files in _classes(TREES).items() if len(files) > 1} == {}


def test_a_second_class_of_a_name_would_be_found():
    twice = {Path("a.py"): ast.parse("class Plan: ..."), Path("b.py"): ast.parse("class Plan: ...")}
    assert _classes(twice)["Plan"] == {"a.py", "b.py"}
