"""The Cost page: what a carried job costs, what moves it, and what comes before and after its print."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.datastructures import FormData

from vatwright.answers.cost import cost_answer
from vatwright.interfaces.render.cost_json import cost_json
from vatwright.interfaces.web.carried import Carried, asked_of_carried
from vatwright.interfaces.web.desk import Desk, cite
from vatwright.interfaces.web.floor_desk import start_cost
from vatwright.interfaces.web.rendering import Page
from vatwright.wording import to_say

if TYPE_CHECKING:
    from vatwright.interfaces.web.jobs import Work


def _start(desk: Desk, of: Carried, _form: FormData) -> Work:
    return start_cost(desk, of.job, of.labels, sheet=of.carry.sheet, shop=desk.shop_of(of.carry))


PAGE = Page(
    slug="cost",
    title=to_say("Cost"),
    router=asked_of_carried(
        "cost", lambda sheet: cost_answer(sheet, cite=cite), lambda sheet: cost_json(sheet, cite=cite), _start
    ),
    offers=(to_say("What does it cost?"), to_say("A good piece with its range, resin, washing and the air.")),
)
