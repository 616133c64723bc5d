"""The Faster page: what of a carried job's waits is needed, and which settings to run next."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.datastructures import FormData

from vatwright.answers.trim import LEVERS, trim_answer
from vatwright.interfaces.render.trim_json import trim_json
from vatwright.interfaces.web.carried import Carried, asked_of_carried
from vatwright.interfaces.web.desk import Desk
from vatwright.interfaces.web.floor_desk import start_trim
from vatwright.interfaces.web.rendering import Page
from vatwright.wording import to_say

if TYPE_CHECKING:
    from vatwright.interfaces.web.jobs import Work


def _start(desk: Desk, of: Carried, form: FormData) -> Work:
    return start_trim(desk, of.job, of.labels, [str(name) for name in form.getlist("hold")])


PAGE = Page(
    slug="trim",
    title=to_say("Faster"),
    router=asked_of_carried("trim", trim_answer, trim_json, _start, lambda _desk, _sheets: {"levers": LEVERS}),
    offers=(to_say("How to be faster?"), to_say("What of each wait is needed, and the next settings that still hold.")),
)
