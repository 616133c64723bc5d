"""What a formula's own docstring says: title, equation, symbols, range and sources, as text for a reader.

A formula is stated once, beside the code that computes it.  The order is that of numpydoc: "Return the ...", the equation
as ``.. math::``, Parameters (meaning, symbol as ``:math:``, unit in brackets), Notes whose first paragraph says where it
holds, References with the keys of the sources.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from functools import cache
from inspect import cleandoc

from attrs import frozen

from vatwright.errors import InputError
from vatwright.wording import to_say

_SECTION = re.compile(r"^([A-Z][a-z]+)\n-{3,}\n", re.MULTILINE)
_ENTRY = re.compile(r"^\*?(\w+) : [^\n]*\n((?:    [^\n]*(?:\n|$))+)", re.MULTILINE)
_SYMBOL = re.compile(r",? :math:`([^`]+)`")
_EQUATION = re.compile(r"^\.\. math:: (.*?)(?:\n\n|\Z)", re.MULTILINE | re.DOTALL)
_KEY = re.compile(r"\[([a-z]+:\w+)\]")
_ROLE = re.compile(r":\w+:`([^`]+)`|``([^`]+)``")

ANY, ZERO, ABOVE = "any", "0 or above", "above 0"


@frozen(kw_only=True)
class Parameter:
    """One parameter as the docstring has it: meaning, symbol in plain text, unit mark, and which signs it may have."""

    meaning: str
    symbol: str
    unit: str
    sign: str


@frozen(kw_only=True)
class FormulaText:
    """What a docstring says about its formula."""

    title: str
    equation: str
    result: str
    unit: str
    parameters: Mapping[str, Parameter]
    validity: str
    sources: tuple[str, ...]


@cache
def stated(function: Callable[..., object]) -> FormulaText:
    """Return what a function's docstring says.

    Raises
    ------
    InputError
        When there are no docstrings: the interpreter was told to leave them out.

    Examples
    --------
    >>> from vatwright.physics.squeeze_film import disc_torsion
    >>> said = stated(disc_torsion)
    >>> said.equation, said.parameters["radius_m"].meaning, said.sources
    ('J = pi R^4 / 2', 'radius of the disc', ('saintvenant:1855',))
    """
    if function.__doc__ is None:
        raise InputError.one(
            "calc",
            to_say("the formulas' own texts were left out of the program"),
            to_say("Start Python without -OO, or with -O"),
        )
    head, *rest = _SECTION.split(cleandoc(function.__doc__))
    sections = {title: text.strip("\n") for title, text in zip(rest[::2], rest[1::2], strict=True)}
    equation = _EQUATION.search(head + "\n\n")
    shown = plain(equation[1]) if equation else ""
    returned = sections["Returns"]
    symbol = _SYMBOL.search(returned)
    return FormulaText(
        title=_title(head),
        equation=shown,
        result=plain(symbol[1]) if symbol else re.split(r" (?:=|<=|~) ", shown)[0],
        unit=_unit(returned),
        parameters={name: _parameter(text) for name, text in _ENTRY.findall(sections["Parameters"])},
        validity=_prose(sections["Notes"].partition("\n\n")[0]),
        sources=tuple(dict.fromkeys(_KEY.findall(sections["References"]))),
    )


def _title(head: str) -> str:
    """Return the first sentence as a title."""
    text = re.sub(r"^Return (the )?", "", _prose(head.partition("\n\n")[0])).rstrip(".")
    return text[0].upper() + text[1:]


def _unit(text: str) -> str:
    """Return the first mark in brackets."""
    found = re.search(r"\[([^\]:]+)\]", text)
    return found[1] if found else "1"


def _parameter(text: str) -> Parameter:
    """Return a parameter's entry in its parts."""
    text = " ".join(text.split())
    symbol = _SYMBOL.search(text)
    meaning = _prose(_SYMBOL.sub("", text.partition(" [")[0]))
    unit = _unit(text)
    sign = ANY if unit == "K" or "may be negative" in text else ZERO if "may be zero" in text else ABOVE
    if not meaning.startswith("Young"):
        meaning = meaning[0].lower() + meaning[1:]
    return Parameter(meaning=meaning, symbol=plain(symbol[1]) if symbol else "", unit=unit, sign=sign)


def _prose(text: str) -> str:
    """Return a paragraph on one line, without marks."""
    return " ".join(_ROLE.sub(lambda m: m[1] or m[2], text).split())


# --- equations -----------------------------------------------------------------------------------------------------------

_COMMANDS = {
    "quad": " ", "le": " <= ", "ge": " >= ", "sim": " ~ ", "approx": " ~ ", "left": "", "right": "", "bar": "", "dot": "",
    "sum": " sum over ", "Delta": " Delta ", "infty": " infinity", "nabla": " grad ", "cdot": " x ",
}  # fmt: skip
_FUNCTIONS = frozenset({"ln", "exp", "sin", "cos", "tan", "tanh", "min", "max", "sqrt"})
_TOKEN = re.compile(r"\\([A-Za-z]+)|\\([,;!\[\]{} ])|([A-Za-z0-9.]+|\s+|.)", re.DOTALL)


def plain(latex: str) -> str:
    r"""Return an equation as it is typed on one line.

    Examples
    --------
    >>> plain(r"t = \frac{3 \mu J}{2 F}\left(\frac{1}{h_2^2} - \frac{1}{h_1^2}\right)")
    't = (3 mu J)/(2 F) (1/h2^2 - 1/h1^2)'
    >>> plain(r"z = s \tan\theta_c"), plain(r"Ca^{2/3}"), plain(r"e^{-z/D_p}")
    ('z = s tan(theta_c)', 'Ca^(2/3)', 'exp(-z/Dp)')
    """
    text = _read(list(_TOKEN.findall(latex)))
    text = re.sub(r"\s+", " ", text).strip()
    for pattern, instead in (
        (r"\( ", "("),
        (r" ([),;\]^_])", r"\1"),
        (r"\[ ", "["),
        (r"(?<=[\w)]) (?=\^)", ""),
        (r"\be\^\(", "exp("),
    ):
        text = re.sub(pattern, instead, text)
    return re.sub(r"(?<![A-Za-z])([A-Za-z])_(\w)(?!\w)|(?<=[A-Za-z])_(\d)(?!\w)", r"\1\2\3", text)


def _read(tokens: list[tuple[str, str, str]]) -> str:
    """Return the text of all tokens."""
    out = ""
    while tokens:
        out += _next(tokens, out)
    return out


def _next(tokens: list[tuple[str, str, str]], before: str) -> str:
    """Return the text of the next piece: a group, a command with what it takes, or a character."""
    command, space, other = tokens.pop(0)
    if command:
        return _command(command, tokens, before)
    if space:
        return {"{": "{", "}": "}", "!": ""}.get(space, " ")
    if other == "{":
        return _read(_group(tokens))
    if other in "^_":
        return _raised(other, tokens, before)
    return other


def _command(command: str, tokens: list[tuple[str, str, str]], before: str) -> str:
    """Return a command's text."""
    gap = "" if before[-1:] in {"", "(", "[", "/", "^", "_", "-", " "} else " "
    if command == "frac":
        over, under = _bracketed(_argument(tokens), r"[-+ ]"), _bracketed(_argument(tokens), r"[-+ /]|\d[A-Za-z]")
        return f"{gap}{over}/{under} "
    if command in {"text", "mathrm"}:
        return f" {_argument(tokens)} "
    if command in _FUNCTIONS:
        return f"{gap}{command}{_taken(tokens)}"
    return _COMMANDS.get(command, f"{gap}{command}")


def _taken(tokens: list[tuple[str, str, str]]) -> str:
    """Return what a function is taken of, in brackets where the equation has none."""
    while tokens and (tokens[0][1] or tokens[0][2].isspace()):
        tokens.pop(0)
    if not tokens or tokens[0][2] in {"(", "[", "^"} or tokens[0][0] == "left":
        return ""
    atom = _next(tokens, "").strip()
    while tokens and tokens[0][2] == "_":
        atom += _next(tokens, atom)
    return f"({atom})"


def _raised(mark: str, tokens: list[tuple[str, str, str]], before: str) -> str:
    """Return an exponent or an index."""
    if tokens[0][2] == "{":
        text = _argument(tokens).strip()
    else:
        if len(tokens[0][2]) > 1:  # only the first character belongs to the mark
            first, rest = tokens[0][2][0], tokens[0][2][1:]
            tokens[0] = ("", "", rest)
            return mark + first
        text = _next(tokens, "").strip()
    if mark == "_":
        return ("" if before.endswith(("over ", "over")) else "_") + text
    return f"^{text}" if re.fullmatch(r"\w+|\d+\.\d+", text) else f"^({text})"


def _argument(tokens: list[tuple[str, str, str]]) -> str:
    """Return the next group or piece as text."""
    while tokens[0][2].isspace():
        tokens.pop(0)
    return _next(tokens, "").strip()


def _group(tokens: list[tuple[str, str, str]]) -> list[tuple[str, str, str]]:
    """Take the tokens up to the closing brace."""
    depth = 1
    inside: list[tuple[str, str, str]] = []
    while True:
        token = tokens.pop(0)
        depth += (token[2] == "{") - (token[2] == "}")
        if not depth:
            return inside
        inside.append(token)


def _bracketed(text: str, needs: str) -> str:
    """Return text in brackets where it is more than one factor."""
    return f"({text})" if re.search(needs, text) else text


# --- the working ---------------------------------------------------------------------------------------------------------

_KNOWN = _FUNCTIONS | {"pi"}
_PIECE = re.compile(r"(\s*)([A-Za-z]\w*|\d+(?:\.\d+)?|\S)")


def worked(equation: str, result: str, values: Mapping[str, str]) -> str:
    """Return an equation with the numbers put in, ready for what comes out: inside it where it is short, else beside it.

    Parameters
    ----------
    equation, result : str
        Equation in plain text, and the symbol of what comes out.
    values : mapping of str to str
        Symbol -> number with unit.

    Examples
    --------
    >>> worked("J = pi R^4 / 2", "J", {"R": "10 mm"})
    'J = pi R^4 / 2 = pi (10 mm)^4 / 2'
    >>> worked("1/k = 1/k1 + 1/k2", "k", {"k1": "2 N/mm", "k2": "3 N/mm"})
    '1/k = 1/k1 + 1/k2; k1 = 2 N/mm, k2 = 3 N/mm: k'
    """
    left, *right = re.split(r" (?:=|<=|~) ", equation)
    if left == result and len(right) == 1 and "," not in equation:
        names = {piece for _, piece in _PIECE.findall(right[0]) if piece[0].isalpha()} - _KNOWN
        if names == set(values):
            return f"{equation} = {_put_in(right[0], values)}"
    listed = ", ".join(f"{symbol} = {value}" for symbol, value in values.items())
    return f"{equation}; {listed}: {result}"


def _put_in(text: str, values: Mapping[str, str]) -> str:
    """Return an expression with numbers for its symbols; what stands side by side is multiplied with an x."""
    out, before, filled = "", "", False
    pieces = _PIECE.findall(text)
    for (space, piece), (_, after) in zip(pieces, [*pieces[1:], ("", "")], strict=True):
        shown = values.get(piece, piece)
        if " " in shown and (after == "^" or before == "^"):
            shown = f"({shown})"
        operand = piece[0].isalnum() or piece in "(["
        if operand and (before[:1].isalnum() or before in {")", "]"}) and before not in _FUNCTIONS:
            space = " x " if filled or (piece in values and shown[0] != "(") else space
        out += space + shown
        filled = piece in values or (filled and (piece == "^" or before == "^"))
        before = piece
    return out
