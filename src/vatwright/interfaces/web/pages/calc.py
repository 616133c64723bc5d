"""The Calc page: one formula at a time, with its working, where it holds and where it is from."""

from __future__ import annotations

import itertools

from fastapi import HTTPException, Request
from starlette.responses import Response

from vatwright.answers.numbers import significant
from vatwright.errors import InputError
from vatwright.interfaces.web.rendering import Page, bench_router, mistakes_of, render
from vatwright.services.calculate import FORMULAS, calculate
from vatwright.services.formula import unit_text
from vatwright.wording import to_say

router = bench_router("calc")

DIGITS = 5


@router.get("")
def formulas(request: Request) -> Response:
    """List every formula by subject."""
    groups = [(k, list(g)) for k, g in itertools.groupby(FORMULAS.values(), key=lambda f: f.subject)]
    return render(request, "calc_list.html", {"groups": groups})


@router.get("/{name}")
def formula(request: Request, name: str) -> Response:
    """Show one formula, and its answer where the arguments are given in the address."""
    found = FORMULAS.get(name)
    if found is None:
        raise HTTPException(404, to_say("There is no formula of that name; the list has them all."))
    query = request.query_params
    said = {a.name: query.get(a.name, f"{found.defaults[a.name]:g}" if a.name in found.defaults else "")
            for a in found.arguments}  # fmt: skip
    shown = {"formula": found, "said": said, "unit": unit_text(found.unit), "answer": None, "mistakes": []}
    if not any(query.get(a.name) for a in found.arguments):
        return render(request, "calc_formula.html", shown)
    try:
        answer = calculate(name, [f"{key}={text.strip()}" for key, text in said.items() if text.strip()])
    except InputError as problem:
        return render(request, "calc_formula.html", shown | {"mistakes": mistakes_of(problem)}, status=422)
    value = significant(answer.value, DIGITS)
    return render(request, "calc_formula.html", shown | {"answer": answer, "value": value})


PAGE = Page(
    slug="calc",
    title=to_say("Calc"),
    router=router,
    offers=(to_say("Work out one formula"), to_say("Squeeze, peel, cure, resin, moves: with units and working.")),
)
