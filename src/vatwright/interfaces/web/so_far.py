"""The sheet so far: what a set-up that is still being told would carry, worked out beside the questions and kept nowhere."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from vatwright import wiring
from vatwright.errors import InputError
from vatwright.interfaces.web.forms import CarryAsked, JobAsked, PartAsked, in_bench_words
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Mapping

    from vatwright.interfaces.web.desk import Desk
    from vatwright.interfaces.web.jobs import Work
    from vatwright.records.plan import CarrySheet
    from vatwright.records.progress import Progress

KIND = "so far"


def work_out_so_far(desk: Desk, tables: Mapping[str, Any], job: JobAsked, part: PartAsked) -> Work:
    """Return the work on a sheet for tables of a shop that nobody has kept yet; the same tables are not worked out twice.

    Raises
    ------
    InputError
        With every mistake of the tables, in the words of the page.
    """
    opened, labels = desk.opened(CarryAsked(job=job, part=[part]), within=tables)
    known = desk.work.latest(KIND, opened)
    if known is not None:
        return known

    def task(told: Progress) -> CarrySheet:
        try:
            return wiring.carry_job(opened, notebook=False, progress=told)
        except InputError as problem:
            raise in_bench_words(problem, labels, "what you said") from problem

    work = desk.work.start(KIND, to_say("The sheet so far"), task)
    work.about = opened
    return work
