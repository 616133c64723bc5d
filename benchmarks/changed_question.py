"""What a changed question costs where another was answered: processor seconds of one process, both cores added up.

``python -m benchmarks changed`` measures and writes the section.
"""

from __future__ import annotations

import time

from attrs import evolve

from vatwright import wiring
from vatwright.records.job import Job
from vatwright.services.carry_recipe import carry_recipe

MACHINES = ("Albatross", "Heron", "Wren")

HEAD = """## A changed question

The demo job carried to each machine, then in another room and for another tolerance, in one process with its parts studied:
what somebody waits for who changes one thing on an open sheet. Processor seconds, both cores added up; "before" is the same
measured by hand, on a machine as busy, before plates were kept and holding still over one face had a curve of its own.

Before, of 9.8 s (the four questions' mean) 31 % went into the search for the least settles that keep bodies true, 15 % into
walking what hangs on what, 11 % into the settles that hands have to give and the runs that plans come to, 10 % into the base
place by place, 8 % into laying out and looking at plates that were known, the rest into a great many small things. The walks
and the plates now stand until other parts or another platform are asked for; the search takes 0.36 of what it took for the
target and 0.56 for the proven machine, to the bit the same answers.

| question | before | now |
| --- | --- | --- |"""

BEFORE_S = {
    "another room, Albatross": 12.7, "another room, Heron": 9.2, "another room, Wren": 4.8,
    "another tolerance, Albatross": 12.3,
}  # fmt: skip


def section() -> str:
    """Ask every question once and return the page's section."""
    memory = wiring.study_memory()
    demo = str(wiring.demo_folder() / "harbour-lanterns.toml")
    jobs = {machine: wiring.open_job(demo, to=machine) for machine in MACHINES}

    def processor_s(job: Job) -> float:
        began = time.process_time()
        carry_recipe(job, wiring.read_geometry, memory=memory)
        return time.process_time() - began

    for job in jobs.values():
        processor_s(job)
    asked = {f"another room, {m}": evolve(job, room_k=job.room_k - 1.5) for m, job in jobs.items()}
    asked["another tolerance, Albatross"] = evolve(jobs["Albatross"], tolerance=0.12)
    rows = [f"| {name} | {BEFORE_S[name]:.1f} s | {processor_s(job):.1f} s |" for name, job in asked.items()]
    return "\n".join([HEAD, *rows])
