"""The last few plans of this process: a quick look starts from one."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from vatwright.planning.carry.quick_look import Planned
    from vatwright.records.job import Job

KEPT_PLANS = 4
"""Plans kept for quick looks; each takes ten to thirty megabytes."""

PROMISES = 16
"""Jobs whose answer was known, so that their plan is worked out at the first look: a job and a belief each."""


class RecentPlans:
    """The last few plans, by their jobs, and how to work out those that no answer has needed yet."""

    def __init__(self) -> None:
        self._kept: list[Planned] = []
        self._promised: list[tuple[Job, Callable[[], Planned]]] = []
        self._guard = threading.Lock()

    def keep(self, plan: Planned) -> None:
        """Keep a plan; the one asked for longest ago goes when there are too many."""
        with self._guard:
            others = [p for p in self._kept if p.case.job is not plan.case.job]
            self._kept = [*others[1 - KEPT_PLANS :], plan]

    def promise(self, job: Job, make: Callable[[], Planned]) -> None:
        """Keep how to work out the plan of a job whose answer was known."""
        with self._guard:
            self._promised = [*self._promised[1 - PROMISES :], (job, make)]

    def of(self, job: Job) -> Planned | None:
        """Return the plan of this very job, where it is still kept or was promised."""
        with self._guard:
            found = next((p for p in self._kept if p.case.job is job), None)
            if found is not None:
                self._kept = [*(p for p in self._kept if p is not found), found]
                return found
            make = next((m for j, m in self._promised if j is job), None)
        if make is None:
            return None
        self.keep(made := make())
        return made


recent = RecentPlans()
