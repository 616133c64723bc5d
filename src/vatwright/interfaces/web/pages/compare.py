"""The Compare page: the same order on several machines, and when a larger one has paid."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from starlette.datastructures import FormData

from vatwright.answers.compare import compare_answer
from vatwright.errors import InputError
from vatwright.interfaces.render.compare_json import compare_json
from vatwright.interfaces.web.carried import Carried, asked_of_carried
from vatwright.interfaces.web.desk import Carry, Desk, cite
from vatwright.interfaces.web.floor_desk import start_compare
from vatwright.interfaces.web.rendering import Page
from vatwright.wording import to_say

if TYPE_CHECKING:
    from vatwright.interfaces.web.jobs import Work


def _start(desk: Desk, of: Carried, form: FormData) -> Work:
    machines = [str(m) for m in form.getlist("machine")]
    if not machines:
        do = to_say("Choose at least one; two or more make a comparison")
        raise InputError.one("machines", to_say("none is chosen"), do)
    return start_compare(desk, of.job, of.labels, machines)


def _of_this_shop(desk: Desk, sheets: list[Carry]) -> Mapping[str, object]:
    shop = desk.shop()
    return {"carries": [c for c in sheets if c.demo == shop.demo], "machines": shop.records.machines}


PAGE = Page(
    slug="compare",
    title=to_say("Compare"),
    router=asked_of_carried(
        "compare",
        lambda sheet: compare_answer(sheet, cite=cite),
        lambda sheet: compare_json(sheet, cite=cite),
        _start,
        _of_this_shop,
    ),
    offers=(to_say("Which machine?"), to_say("The same order side by side, and when a larger machine has paid.")),
)
