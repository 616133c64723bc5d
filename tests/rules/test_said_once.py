"""Units are turned in one place and every sentence is in the catalogue: what is left elsewhere is counted, and may only fall.

``left_to_move.toml`` holds the counts, file by file.  Whoever moves some lowers the count; nobody may raise one, and a file
that is not in it may have none.  A factor that is no unit (a tolerance, a share) is counted too: name it as a constant.
"""

from __future__ import annotations

import ast
import tomllib
from collections import Counter
from pathlib import Path

import pytest

SOURCE = Path(__file__).parents[2] / "src" / "vatwright"
LEFT = tomllib.loads((Path(__file__).parent / "left_to_move.toml").read_text(encoding="utf-8"))
POWERS = {10.0**n for n in range(-12, 13) if abs(n) >= 3}
IN_THE_CATALOGUE = ("say", "say_many", "to_say", "to_say_many")
"""What makes of a text one that translators find: it is kept with its template and its values, and said by answers."""

SPEAKING = ("answers", "evidence", "geometry", "interfaces", "planning", "records", "services")
"""Rooms whose sentences a person reads: what they say is in the catalogue."""

WORDS = 5
"""From so many words on a text that ends with a full stop is a sentence."""


def powers_of_ten(tree: ast.AST) -> int:
    """Return how often something is multiplied or divided by a thousand, a million and so on, or by a part of one."""
    products = (n for n in ast.walk(tree) if isinstance(n, ast.BinOp) and isinstance(n.op, ast.Mult | ast.Div))
    ends = [side for n in products for side in (n.left, n.right)]
    numbers = [n.value for n in ends if isinstance(n, ast.Constant) and type(n.value) in {int, float}]
    return sum(float(value) in POWERS for value in numbers)


def sentences(tree: ast.AST) -> int:
    """Return how many sentences stand in code, docstrings, refusals and what is in the catalogue of languages aside."""
    aside = {id(n.value) for n in ast.walk(tree) if isinstance(n, ast.Expr)}
    apart = [n for n in ast.walk(tree) if isinstance(n, ast.Raise) or _name(n) in {"Mistake", *IN_THE_CATALOGUE}]
    aside |= {id(inside) for n in apart for inside in ast.walk(n)}
    aside |= {id(piece) for n in ast.walk(tree) if isinstance(n, ast.JoinedStr) for piece in n.values}
    texts = [_text(n) for n in ast.walk(tree) if id(n) not in aside]
    return sum(len(t.split()) >= WORDS and t.rstrip().endswith(".") for t in texts)


def _name(node: ast.AST) -> str:
    return node.func.id if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) else ""


def _text(node: ast.AST) -> str:
    if isinstance(node, ast.JoinedStr):
        return "".join(str(v.value) if isinstance(v, ast.Constant) else "value" for v in node.values)
    return node.value if isinstance(node, ast.Constant) and isinstance(node.value, str) else ""


def counted(counter, room: str = "") -> Counter[str]:
    """Return the count of every file of a room that has any."""
    files = sorted((SOURCE / room).rglob("*.py"))
    found = {str(p.relative_to(SOURCE)): counter(ast.parse(p.read_text(encoding="utf-8"))) for p in files}
    return Counter({name: count for name, count in found.items() if count})


@pytest.mark.parametrize(
    ("what", "found"),
    [
        ("powers_of_ten", {k: v for k, v in counted(powers_of_ten).items() if k != "units.py"}),
        ("sentences_outside_the_catalogue", sum((counted(sentences, room) for room in SPEAKING), Counter())),
    ],
)
def test_nothing_new_is_said_in_the_wrong_place(what, found):
    more = {
        name: f"{count}, not {LEFT[what].get(name, 0)}"
        for name, count in found.items()
        if count > LEFT[what].get(name, 0)
    }
    assert more == {}
    assert set(LEFT[what]) <= {str(p.relative_to(SOURCE)) for p in SOURCE.rglob("*.py")}, "files that are gone"


def test_the_counters_see_what_they_count():
    code = '''
def f(gap_m):
    """A docstring of more than five words, which is no sentence of a plan."""
    if gap_m < 0:
        raise InputError([Mistake("gap", "it lies below the film by so much.", "Read it once more, if you please.")])
    return f"The gap there is {gap_m * 1e6:.0f} um at most.", gap_m / 1000, 1e-3 * gap_m, gap_m * 10.0, "A short one."
'''
    tree = ast.parse(code)
    assert powers_of_ten(tree) == 3
    assert sentences(tree) == 1
    assert sentences(ast.parse('say("The gap there is {gap} um at most.", gap=1)')) == 0
