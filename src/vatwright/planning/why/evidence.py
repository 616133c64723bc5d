"""What speaks for a cause of failure and against it, as codes with their numbers."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vatwright.planning.why.weighed import Weighed
from vatwright.records.why import Evidence, Speaks

if TYPE_CHECKING:
    from collections.abc import Iterator

    from vatwright.planning.why.causes import Cause
    from vatwright.planning.why.worlds import Inquiry
    from vatwright.records.run import Reading

AGREES, DISAGREES = 1.5, 2.5
"""A reading within so many standard uncertainties of what a cause would show speaks for it, beyond so many against."""

MUCH_LIKELIER = 3.0
"""What was seen being so many times likelier with a cause than without is told as evidence [-]."""


def speaks_for(inq: Inquiry, cause: Cause, weighed: Weighed) -> Iterator[Evidence]:
    """Yield what speaks for a cause."""
    if weighed.margin is not None and weighed.margin_mended is not None:
        yield Evidence(code=Speaks.MENDED, numbers={"before": weighed.margin, "after": weighed.margin_mended})
    if weighed.times_likelier is not None and weighed.times_likelier >= MUCH_LIKELIER:
        yield Evidence(code=Speaks.LIKELIER, numbers={"times": weighed.times_likelier})
    known = cause.known(inq.case.job)
    if known is not None and known.code is not Speaks.SOMEBODY_READ:
        yield known
    yield from cause.told(inq, weighed)
    for reading, middle, off in weighed.readings:
        if middle is not None and off <= AGREES and reading.quantity in cause.readings:
            yield _read(reading, middle)


def speaks_against(inq: Inquiry, cause: Cause, weighed: Weighed) -> Iterator[Evidence]:
    """Yield what speaks against a cause."""
    if weighed.times_likelier is not None and weighed.times_likelier * MUCH_LIKELIER <= 1.0:
        times = 1.0 / max(weighed.times_likelier, 1e-6)
        yield Evidence(code=Speaks.UNLIKELIER, numbers={"times": times})
    known = cause.known(inq.case.job)
    if known is not None and known.code is Speaks.SOMEBODY_READ:
        yield known
    job = inq.case.job
    held = job.recipe.proof.runs - job.recipe.proof.failed
    same = {Speaks.MACHINE_HELD: job.origin == job.target, Speaks.RESIN_HELD: job.resin == job.resin_from}
    if held and cause.held is not None and same[cause.held]:
        yield Evidence(code=cause.held, numbers={"runs": float(held)})
    for reading, middle, off in weighed.readings:
        if middle is not None and off >= DISAGREES:
            yield _read(reading, middle)


def _read(reading: Reading, middle: float) -> Evidence:
    return Evidence(code=Speaks.READING, of=reading.quantity.value, numbers={"read": reading.value, "shows": middle})
