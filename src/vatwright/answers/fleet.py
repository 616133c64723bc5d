"""A fleet plan in words: the answer, who runs what when, what a bound is a bound on."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from vatwright.answers.blocks import Answer, Column, Figure, Part, Row, Source, Table, points, said
from vatwright.answers.numbers import duration, one_line, percent, significant
from vatwright.answers.warmth import outside
from vatwright.wording import day_in_week, say, say_many, to_say

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from datetime import datetime

    from vatwright.records.fleet import BreakEven, FleetPlan, FleetRun, MachineWork

SAME = 0.5
"""Times nearer than this are one [s]."""


RECKONED = to_say(
    "A plate's time is reckoned from one full carry of its recipe to its machine, with "
    "the settle its own layers want: carry it on its own before you run it."
)
SAFETY = to_say(
    "Wear gloves and eye protection, ventilate, and keep ignition away from wash "
    "solvent. Figures are estimates: confirm with a trial."
)


def fleet_answer(plan: FleetPlan, *, cite: Callable[[str], str]) -> Answer:
    """Return a fleet plan in words.

    Parameters
    ----------
    plan : FleetPlan
        What to tell.
    cite : callable
        From a source's key to its citation.
    """
    late = plan.warm_up is not None or any(o.late_s or o.done_s is None for o in plan.orders)
    orders = _table("orders", (say("order"), say("pieces"), say("due"), say("cured"), say("answer")), order_rows(plan))
    first = said(verdict(plan), role="refusal" if late else "verdict")
    return Answer(name="fleet", title=title(plan), blocks=(*first, orders), pages=tuple(_pages(plan, cite)))


def _pages(plan: FleetPlan, cite: Callable[[str], str]) -> Iterator[Part]:
    when = (Figure(slug="fleet-when", data=plan), _runs(plan), *points(bound_words(plan)))
    yield Part(slug="when", title=say("Who runs what when?"), blocks=when)
    yield Part(
        slug="hands", title=say("How much work is it for a person?"), blocks=(Figure(slug="fleet-hands", data=plan),)
    )
    plates = tuple(Figure(slug=f"fleet-plate-{n}", data=plate) for n, plate in enumerate(plan.plates))
    above = said(say("Seen from above, the person's side below."))
    yield Part(slug="plates", title=say("What stands on each plate?"), blocks=(*above, *plates))
    if plan.works:
        heads = (say("machine"), say("pieces"), say("run"), say("a layer"), say("pieces an hour"))
        works = _table(
            "works",
            heads,
            work_rows(plan),
            title=say("{work_title}, somebody always there", work_title=work_title(plan.works)),
        )
        even = points(break_even_words(b) for b in plan.break_even)
        yield Part(slug="worth", title=say("What is each machine worth?"), blocks=(works, *even))
    stopped = (say("{name} stands still and gets nothing.", name=one_line(name)) for name in plan.down)
    yield Part(slug="know", title=say("What else to know?"), blocks=points((*stopped, *plan.notes, RECKONED, SAFETY)))
    sources = tuple(Source(key, cite(key)) for key in plan.sources)
    yield Part(slug="sources", title=say("Where do the figures come from?"), blocks=sources)


def _table(slug: str, heads: tuple[str, ...], rows: Sequence[tuple[str, ...]], *, title: str = "") -> Table:
    return Table(slug=slug, title=title, columns=tuple(Column(h) for h in heads), rows=tuple(Row(r) for r in rows))


def _runs(plan: FleetPlan) -> Table:
    """The runs still to be seen to, with what happens to each."""
    rows = [
        (
            r.start,
            f"{r.unit}: {r.plate}",
            r.pieces,
            say("ready {ready}, off {off}, cured {cured}", ready=r.ready, off=r.off, cured=r.cured),
            r.remark,
        )
        for r in run_rows(plan)
    ]
    return _table("runs", (say("starts"), say("run"), say("pieces"), say("then"), say("remark")), rows)


class RunRow(NamedTuple):
    """One run: when, where, what, until when, and what else to know."""

    start: str
    unit: str
    plate: str
    pieces: str
    ready: str
    off: str
    cured: str
    remark: str


def moment(when: datetime) -> str:
    """Return a day and time as people say it.

    Examples
    --------
    >>> from datetime import datetime
    >>> moment(datetime(2026, 3, 2, 8, 5))
    'Mon 2 Mar 08:05'
    """
    return f"{day_in_week(when)} {when:%H:%M}"


def title(plan: FleetPlan) -> str:
    """Return the heading."""
    pieces = sum(o.pieces for o in plan.orders)
    orders, many = say_many(len(plan.orders), "{n} order", "{n} orders"), say_many(pieces, "{n} piece", "{n} pieces")
    return f"{one_line(plan.book.name)}: {orders}, {many}"


def verdict(plan: FleetPlan) -> str:
    """Return the answer first: whether all is in time, and when it is done; or that the room is at no known warmth."""
    if plan.warm_up is not None:
        return outside(plan.warm_up)
    missing = [o for o in plan.orders if o.done_s is None]
    late = [o for o in plan.orders if o.late_s > 0.0]
    end = moment(plan.book.at(plan.bounds.makespan_s))
    made = say("{plates}, all cured by {end}.", plates=say_many(len(plan.plates), "{n} plate", "{n} plates"), end=end)
    if missing:
        return say(
            "{order} cannot be made whole. {made}", order=", ".join(one_line(o.order) for o in missing), made=made
        )
    if not late:
        return say("Everything is in time: {made}", made=made)
    worst = max(late, key=lambda o: o.late_s)
    told = say("{order} comes {late} late", order=one_line(worst.order), late=duration(worst.late_s))
    others = (
        say(", and {late} late too", late=say_many(len(late) - 1, "{n} more order", "{n} more orders"))
        if len(late) > 1
        else ""
    )
    return f"{told}{others}: {made}"


def bound_words(plan: FleetPlan) -> tuple[str, ...]:
    """Return how good the plan is, and what that is measured against."""
    b = plan.bounds
    said = []
    if b.proven:
        said.append(say("For these plates the solver proved that no order of runs is less late or done sooner."))
    elif b.makespan_s - b.makespan_least_s > SAME:
        said.append(
            say(
                "No order of runs of these plates is done before {moment}: at most {gap} could be "
                "gained. That bound keeps the plates, their machines and the hours people are there; "
                "where people and stations are shared it may be out of reach.",
                moment=moment(plan.book.at(b.makespan_least_s)),
                gap=percent(b.gap),
            )
        )
    else:
        said.append(say("No order of runs of these plates is done sooner."))
    if b.lateness_s - b.lateness_least_s > SAME:
        said.append(
            say(
                "Of {lateness} of lateness at least {lateness_least} cannot be helped.",
                lateness=duration(b.lateness_s),
                lateness_least=duration(b.lateness_least_s),
            )
        )
    said.append(
        say(
            "Other plates might do better, but not before {moment}: machine time alone, day and "
            "night, pieces filling platforms without a gap.",
            moment=moment(plan.book.at(b.any_plates_s)),
        )
    )
    if b.changes:
        said.append(say("{changes} of resin.", changes=say_many(b.changes, "{n} change", "{n} changes")))
    return tuple(said)


def run_rows(plan: FleetPlan) -> list[RunRow]:
    """Return every run that is still to be seen to, by start."""
    return [run_row(plan, r) for r in plan.runs if r.cured_s > plan.now_s]


def run_row(plan: FleetPlan, run: FleetRun) -> RunRow:
    """Return one run in words."""
    at = plan.book.at
    pieces = ", ".join(f"{c.pieces} {one_line(c.part)} ({one_line(c.order)})" for c in run.pieces)
    remarks = [say("runs already")] if run.kept else []
    if run.changed:
        plate = next((p for p in plan.plates if p.name == run.plate), None)
        remarks.append(
            say("fill {resin} first", resin=one_line(plate.resin)) if plate else say("change the resin first")
        )
    if run.visits_s:
        remarks.append(say("by hand at ") + ", ".join(f"{at(v):%H:%M}" for v in run.visits_s))
    return RunRow(
        moment(at(run.start_s)),
        one_line(run.unit),
        run.plate,
        pieces,
        moment(at(run.ready_s)),
        moment(at(run.off_s)),
        moment(at(run.cured_s)),
        "; ".join(remarks),
    )


def order_rows(plan: FleetPlan) -> list[tuple[str, str, str, str, str]]:
    """Return each order: name, pieces, due, cured, and whether that is in time."""
    rows = []
    for o in plan.orders:
        due = say("whenever") if o.due_s is None else moment(plan.book.at(o.due_s))
        done = say("not whole") if o.done_s is None else moment(plan.book.at(o.done_s))
        word = say("in time") if o.done_s is not None else say("missing")
        rows.append(
            (
                one_line(o.order),
                f"{o.pieces}",
                due,
                done,
                say("{late} late", late=duration(o.late_s)) if o.late_s else word,
            )
        )
    return rows


def work_rows(plan: FleetPlan) -> list[tuple[str, str, str, str, str]]:
    """Return what a full plate of the commonest piece does on each machine."""
    return [
        (
            one_line(w.machine),
            f"{w.pieces}",
            duration(w.print_s),
            f"{significant(w.layer_s)} s",
            f"{significant(w.pieces_h)}",
        )
        for w in plan.works
    ]


def work_title(works: tuple[MachineWork, ...]) -> str:
    """Return what the rows are about."""
    return say("A full plate of {goods}", goods=one_line(works[0].goods)) if works else ""


ABOUT_FOUR = (3.0, 5.5)
"""Between these a plate's ratio is the "about four" of common practice."""


def worth_words(b: BreakEven) -> str:
    """Return how many of the smaller machine do the work of one of the larger, and why that is fewer than stand on a plate.

    Examples
    --------
    >>> from vatwright.records.fleet import BreakEven
    >>> four = BreakEven(larger="Large", smaller="Small", area=4.0, layer=1.5, run=1.4, worth=4.0 / 1.4, pieces=7)
    >>> worth_words(four).split(": ")[1].split(",")[0]
    '4.0 times as many pieces over 1.4 times as long'
    """
    large, small = one_line(b.larger), one_line(b.smaller)
    said = say(
        "Started whenever a plate is done, one {large} does the work of {worth} {small}: "
        "{area} times as many pieces over {run} times as long, since a layer lasts {layer} "
        "times as long. Started once a night on each, it does the work of {area}: then its "
        "slower layers cost nothing.",
        large=large,
        worth=significant(b.worth, 2),
        small=small,
        area=significant(b.area, 2),
        run=significant(b.run, 2),
        layer=significant(b.layer, 2),
    )
    if ABOUT_FOUR[0] <= b.area <= ABOUT_FOUR[1]:
        return say("{said} The common practice of about four compact ones for a large one is the latter.", said=said)
    return said


def break_even_words(b: BreakEven) -> str:
    """Return how two machines compare, why, and from how many pieces on the larger is never behind."""
    if b.pieces is None:
        return say(
            "{worth_words} It never gets ahead of one {smaller} for good.",
            worth_words=worth_words(b),
            smaller=one_line(b.smaller),
        )
    return say(
        "{worth_words} From {pieces} on it is never behind one {smaller}.",
        worth_words=worth_words(b),
        pieces=say_many(b.pieces, "{n} piece", "{n} pieces"),
        smaller=one_line(b.smaller),
    )
