"""What costs rest on beyond prices: money, a person's minutes, what machines use and how long their parts last; one form."""

from __future__ import annotations

import hashlib
import json
import threading
import tomllib
from collections.abc import Mapping, Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any, NamedTuple

from fastapi import Request
from fastapi.concurrency import run_in_threadpool
from starlette.responses import Response

from vatwright import wiring
from vatwright.errors import InputError, StaleError
from vatwright.files.atomic import write_bytes_atomically
from vatwright.files.cost_file import read_costs
from vatwright.files.read import Given
from vatwright.files.toml import toml_text
from vatwright.interfaces.web.cost_fields import cost_groups, cost_labels, cost_words, in_order, without_empty
from vatwright.interfaces.web.desk import Desk
from vatwright.interfaces.web.forms import in_bench_words
from vatwright.interfaces.web.rendering import bench_router, desk_of, form_of, mistakes_of, render, said_in, see
from vatwright.interfaces.web.shop_fields import SIGMA, Field, both_in, heard_in, merged, typed_in
from vatwright.wording import to_say

router = bench_router()

REMARK = "What costs rest on beyond prices; the bench wrote it.  The unit of a number stands in its key."
_one_writer = threading.Lock()


class _Kept(NamedTuple):
    """The cost file that counts here: where it is, its text, and whether the form may change it."""

    path: Path
    text: str
    writable: bool

    @property
    def revision(self) -> str:
        return hashlib.sha256(self.text.encode()).hexdigest()


def _kept(desk: Desk) -> _Kept:
    shop = desk.shop()
    fixed = shop.demo or desk.opened_file
    path = Path(shop.path).parent / wiring.COSTS_NAME if fixed else wiring.costs_path(desk.settings.store)
    return _Kept(path, path.read_text(encoding="utf-8") if path.is_file() else "", not fixed)


def _form(desk: Desk, kept: _Kept) -> tuple[dict[str, Any], list[Field]]:
    """Return the table of the cost file in the order of the form, and the form's fields."""
    machines = [m.name for m in desk.shop().records.machines]
    raw = tomllib.loads(kept.text, parse_float=Decimal)
    return in_order(raw, machines), [f for group in cost_groups(machines) for f in group.fields]


@router.get("/costs")
def costs(request: Request, field: str = "", of: str = "", kept: str = "") -> Response:
    """Show the form; the field that was asked for stands marked."""
    return _show(request, asked=(field, of), done=bool(kept))


def _show(
    request: Request,
    *,
    said: Mapping[str, str] | None = None,
    asked: tuple[str, str] = ("", ""),
    mistakes: Sequence[tuple[str, str, str]] = (),
    both: Sequence[tuple[str, str, str]] = (),
    done: bool = False,
    status: int = 200,
) -> Response:
    desk = desk_of(request)
    kept = _kept(desk)
    machines = [m.name for m in desk.shop().records.machines]
    table, fields = _form(desk, kept)
    now = typed_in(fields, table)
    shown = {
        "groups": cost_groups(machines), "said": now | dict(said or {}), "was": json.dumps(now), "sigma": SIGMA,
        "revision": kept.revision, "file": kept.path, "writable": kept.writable, "mistakes": mistakes, "both": both,
        "asked": f"machine.{machines.index(asked[1])}.{asked[0]}" if asked[1] in machines else asked[0], "done": done,
    }  # fmt: skip
    return render(request, "shop_costs.html", shown, status=status)


@router.post("/costs")
async def keep(request: Request) -> Response:
    """Keep what the form says."""
    desk, form = desk_of(request), await form_of(request)
    said = {k.removeprefix("v."): v for k, v in form.items() if isinstance(v, str) and k.startswith("v.")}
    try:
        await run_in_threadpool(_keep, desk, said, said_in(form, "revision"))
    except StaleError as problem:
        return await run_in_threadpool(_stale, request, said, said_in(form, "was"), mistakes_of(problem))
    except InputError as problem:
        return await run_in_threadpool(_show, request, said=said, mistakes=mistakes_of(problem), status=422)
    return see("/shop/costs?kept=1")


def _keep(desk: Desk, said: Mapping[str, str], revision: str) -> None:
    with _one_writer:
        kept = _kept(desk)
        if not kept.writable:
            raise InputError.one(
                to_say("this change"),
                to_say("cannot be made here"),
                to_say("Write it in {path}, it is read again", path=kept.path),
            )
        if kept.revision != revision:
            raise StaleError.one(
                to_say("these costs"),
                to_say("were changed meanwhile, in another tab"),
                to_say("Nothing of this form was kept"),
            )
        table, fields = _form(desk, kept)
        found, mistakes = heard_in(fields, table, said)
        found = without_empty(found)
        try:
            read_costs(Given("these costs", found, cost_labels()))
        except InputError as problem:
            told = in_bench_words(problem, cost_words(), "these costs").mistakes
            mistakes += [m for m in told if not any(other.where in str(m) for other in mistakes)]
        if mistakes:
            raise InputError(mistakes)
        kept.path.parent.mkdir(parents=True, exist_ok=True)
        write_bytes_atomically(kept.path, toml_text({"#": REMARK, **found}).encode())


def _stale(request: Request, said: Mapping[str, str], was: str, told: Sequence[tuple[str, str, str]]) -> Response:
    """Show what another tab kept beside what this form says."""
    desk = desk_of(request)
    table, fields = _form(desk, _kept(desk))
    now = typed_in(fields, table)
    try:
        before = {str(k): str(v) for k, v in dict(json.loads(was or "{}")).items()}
    except (ValueError, TypeError, RecursionError):
        before = {}
    both = both_in(fields, said, now)
    return _show(request, said=merged(before, said, now), mistakes=told, both=both, status=409)
