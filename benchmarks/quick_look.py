"""How quick a look is: one thing changed on the demo job's sheet, against the full carry of the same change.

The parts are studied before anything is measured.  ``python -m benchmarks.quick_look`` prints the rows.
"""

from __future__ import annotations

import statistics
import time
from typing import TYPE_CHECKING

from attrs import evolve

from benchmarks.rounds import Row
from vatwright import wiring
from vatwright.services.carry_recipe import carry_recipe, look_quickly

if TYPE_CHECKING:
    from collections.abc import Callable

    from vatwright.records.job import Job

ROUNDS = 5


def _seconds(task: Callable[[], object]) -> float:
    began = time.perf_counter()
    task()
    return time.perf_counter() - began


def _rooms(job: Job, first: int, count: int) -> list[Job]:
    """The job in rooms that nothing was asked of yet, so that nothing kept answers for them."""
    return [evolve(job, room_k=job.room_k + 0.5 * (first + n)) for n in range(count)]


def rows() -> list[Row]:
    """Rows of the benchmark table: our time, and that of the full carry in the same process."""
    job = wiring.open_job(str(wiring.demo_folder() / "harbour-lanterns.toml"))
    memory = wiring.study_memory()

    def carried(task: Job) -> object:
        return carry_recipe(task, wiring.read_geometry, memory=memory)

    carried(job)
    full_s = statistics.median(_seconds(lambda t=task: carried(t)) for task in _rooms(job, 1, 3))
    again_s = statistics.median(_seconds(lambda: carried(job)) for _ in range(3))
    look_quickly(job, changed=_rooms(job, 4, 1)[0])
    sheet = look_quickly(job)
    if sheet is None:  # the job was carried above
        raise RuntimeError("the plan of the demo job is not kept")
    body = sheet.before.settings.body
    room_s = statistics.median(_seconds(lambda t=t: look_quickly(job, changed=t)) for t in _rooms(job, 5, ROUNDS))
    found = [Row("quick look: another room", room_s, full_s, "the full carry, parts studied")]
    for label, name, value in (
        ("another body settle", "body.settle_s", body.settle_s),
        ("another rise", "body.clear_lift_mm", body.clear_lift_m),
        ("another speed of return", "body.return_speed_mm_s", body.return_speed_m_s),
        ("another exposure", "body.exposure_s", body.exposure_s),
    ):
        scaled = [{name: value * (0.80 + 0.05 * n)} for n in range(ROUNDS)]
        taken_s = statistics.median(_seconds(lambda v=v: look_quickly(job, values=v)) for v in scaled)
        found.append(Row(f"quick look: {label}", taken_s, full_s, "the full carry, parts studied"))
    hands = [evolve(job, hands=evolve(job.hands, visits=n)) for n in (0, 1, 2, 3, 5)]
    hands_s = statistics.median(_seconds(lambda t=t: look_quickly(job, changed=t)) for t in hands)
    found.append(Row("quick look: other visits", hands_s, full_s, "the full carry, parts studied"))
    found.append(Row("the same carry again", again_s, full_s, "in another room"))
    return found


if __name__ == "__main__":
    for row in rows():
        print(
            f"{row.step:36s} {row.ours_s * 1e3:8.0f} ms   {row.rival} {row.theirs_s * 1e3:8.0f} ms  {row.ratio:5.1f}x"
        )
