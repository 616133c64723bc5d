"""The carry sheet in words: on the first screen all that one does, and the reasons on named pages one step away."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vatwright.answers.after import after_lines, resin_lines
from vatwright.answers.base import base_blocks, base_holds, short_lines
from vatwright.answers.blocks import (
    Answer,
    Block,
    Column,
    Entry,
    Figure,
    Finding,
    Heading,
    Ledger,
    Part,
    Row,
    Sentence,
    Source,
    Table,
    points,
    said,
)
from vatwright.answers.hands import by_hand_in_short, schedule
from vatwright.answers.holding import holding_lines
from vatwright.answers.numbers import (
    celsius,
    duration,
    fixed,
    margin_words,
    one_line,
    percent,
    percent_range,
    resin_volume,
    sentence,
    setting_value,
    share_words,
    significant,
)
from vatwright.answers.part_changes import change_blocks, change_sentence, slow_sentence
from vatwright.answers.resin_state import old_lot_sentences, run_warmth_sentences, shear_sentences
from vatwright.answers.settings import narrowed_words, reasons, setting_words, settings_in_short
from vatwright.answers.study import LAYER_COUNT_NOTE
from vatwright.answers.trim import about, experience_sentences, trimmed_sentence
from vatwright.answers.upkeep import due_sentences
from vatwright.answers.warmth import no_chance, outside, warming_ledger
from vatwright.wording import say, say_many, to_say

if TYPE_CHECKING:
    from collections.abc import Callable

    from vatwright.records.plan import CarrySheet, Measurement, NotedRuns, Risk

CLOSE_UP = 60
"""How many layers the close-up of the start shows; common practice: demands fall off over the first tens of layers."""

WATCHED = 2
LINE = 60
"""Characters of a name in a heading; common practice."""

NO_READING = to_say("No single reading would change the advice.")


def carry_answer(sheet: CarrySheet, *, cite: Callable[[str], str]) -> Answer:
    """Return a carry sheet in words.

    Parameters
    ----------
    sheet : CarrySheet
        What to tell of.
    cite : callable
        From a source's key to its citation.
    """
    return Answer(name="carry", title=job_title(sheet), blocks=first_screen(sheet), pages=_parts(sheet, cite))


def carry_on_paper(sheet: CarrySheet, *, cite: Callable[[str], str]) -> Answer:
    """Return a carry sheet for paper: what stands on the first screen of a terminal stands in full under its headings."""
    parts = {p.slug: p for p in _parts(sheet, cite)}
    order = (*(s for s in ("hand", "why") if s in parts), *(s for s in parts if s not in {"hand", "why"}))
    warmth = () if sheet.warm_up is None else (warming_ledger(sheet.warm_up),)
    blocks = (*lead(sheet), *warmth, *said(way(sheet), role="note"))
    title = say("Carry sheet: {job_title}", job_title=job_title(sheet))
    return Answer(name="carry", title=title, blocks=blocks, pages=tuple(parts[s] for s in order))


def _parts(sheet: CarrySheet, cite: Callable[[str], str]) -> tuple[Part, ...]:
    """Return the named pages of a sheet that have anything to say; where its warmth refuses it, sources."""
    if sheet.warm_up is not None:
        return (_sources_part(sheet, cite),)
    parts = (
        Part("why", say("Why each value?"), reasons(sheet), say("Why")),
        Part("hand", say("What do I do by hand?"), schedule(sheet), say("By hand")),
        Part("risks", say("What could go wrong?"), _risks(sheet), say("Risks")),
        Part("base", say("Does the base hold everywhere?"), _base(sheet), say("Base")),
        Part("holding", say("Do the pieces hold on to the platform?"), _holding(sheet), say("Holding")),
        Part("layers", say("Does every layer get what it needs?"), _layers(sheet), say("Layers"), appendix=True),
        Part("time", say("Where does the time go?"), _time(sheet), say("Time"), appendix=True),
        Part("after", say("Resin, what comes after the print, and care"), _after(sheet), say("After")),
        _sources_part(sheet, cite),
    )
    return tuple(p for p in parts if p.blocks)


def _sources_part(sheet: CarrySheet, cite: Callable[[str], str]) -> Part:
    title = say("What is assumed, and what is it based on?")
    return Part("sources", title, _sources(sheet, cite), say("Sources"), appendix=True)


# --- the first screen ------------------------------------------------------------------------------------------------


def job_title(sheet: CarrySheet) -> str:
    """Return the heading of a sheet."""
    return say(
        "{in_short}, {pieces}, to {in_short_2}",
        in_short=_in_short(one_line(sheet.job)),
        pieces=say_many(sheet.pieces, "{n} piece", "{n} pieces"),
        in_short_2=_in_short(one_line(sheet.target)),
    )


def _in_short(name: str) -> str:
    """Return a name, one of more than a line cut at a word: its beginning tells which it is."""
    return name if len(name) <= LINE else f"{name[:LINE].rsplit(' ', 1)[0]}..."


def first_screen(sheet: CarrySheet) -> tuple[Block, ...]:
    """Return verdict, chance, time, what to set, what to do by hand, what to watch, what to read; or how to get it warm."""
    if sheet.warm_up is not None:
        return (*lead(sheet), warming_ledger(sheet.warm_up), *said(way(sheet), role="note"))
    return (*lead(sheet), *settings_in_short(sheet), _ledger(sheet), *said(way(sheet), role="note"))


def lead(sheet: CarrySheet) -> tuple[Sentence, ...]:
    """Return the change to the parts that beats waiting, the verdict, chance and time; no chance where none was checked."""
    answer = Sentence(verdict(sheet), "verdict" if sheet.holds else "refusal")
    if sheet.warm_up is not None:
        return (answer, *said(no_chance(sheet.warm_up)))
    change = sheet.part_changes[0] if sheet.part_changes else None
    return (
        *(said(change_sentence(change), role="do") if change is not None and change.worth else ()),
        *(said(slow_sentence(sheet.slow_face), role="do") if sheet.slow_face is not None else ()),
        answer,
        Sentence(
            f"{chance_sentence(sheet)} {time_sentence(sheet)}" if sheet.worth_starting else chance_sentence(sheet)
        ),
        *said(trimmed_sentence(sheet.trimmed, sheet), *experience_sentences(sheet.experience)),
        *(() if sheet.noted is None else said(noted_sentence(sheet.noted))),
    )


def verdict(sheet: CarrySheet) -> str:
    """Return the answer in a sentence or two."""
    return sentence(sheet.verdict) if sheet.warm_up is None else outside(sheet.warm_up)


def way(sheet: CarrySheet) -> str:
    """Return from what to where."""
    if not sheet.runs:
        start = (
            say("From common practice")
            if sheet.recipe == sheet.origin
            else say("From {recipe} (never run)", recipe=one_line(sheet.recipe))
        )
        return say(
            "{start} to {target}, {resin}, {room}.",
            start=start,
            target=one_line(sheet.target),
            resin=one_line(sheet.resin),
            room=celsius(sheet.room_k),
        )
    held = sheet.runs - sheet.failed
    proof = (
        say("{runs} held", runs=say_many(sheet.runs, "{n} run", "{n} runs"))
        if not sheet.failed
        else say("{held} of {runs} held", held=held, runs=say_many(sheet.runs, "{n} run", "{n} runs"))
    )
    resin = "" if sheet.resin.lower() in sheet.recipe.lower() else f"{one_line(sheet.resin)}, "
    start = say(
        "From {recipe} ({proof}, {room_from})",
        recipe=one_line(sheet.recipe),
        proof=proof,
        room_from=celsius(sheet.room_from_k),
    )
    return say(
        "{start} to {target}, {resin}{room}.",
        start=start,
        target=one_line(sheet.target),
        resin=resin,
        room=celsius(sheet.room_k),
    )


def chance_sentence(sheet: CarrySheet) -> str:
    """Return the chance that a run holds, with its range."""
    success = sheet.success
    return say(
        "Chance that it holds: {mean} ({low}).",
        mean=percent(success.mean),
        low=percent_range(success.low, success.high),
    )


def noted_sentence(noted: NotedRuns) -> str:
    """Return how many runs of the notebook are weighed in, and how good the sheets for this machine have been.

    Examples
    --------
    >>> from vatwright.records.plan import NotedRuns
    >>> noted_sentence(NotedRuns(runs=9, machine="Heron", ran=4, held=3, said=0.91, said_of=4))
    '9 noted runs are weighed in: on Heron 3 of 4 held, where 91 % had been said.'
    """
    head = say_many(noted.runs, "{n} noted run is weighed in", "{n} noted runs are weighed in")
    if not noted.ran:
        return say("{head}, none of them on {machine}.", head=head, machine=one_line(noted.machine))
    told = "" if noted.said is None else say(", where {said} had been said", said=percent(noted.said))
    some = (
        "" if noted.said is None or noted.said_of == noted.ran else say(" of {said_of} of them", said_of=noted.said_of)
    )
    return say(
        "{head}: on {machine} {held} of {ran} held{told}{some}.",
        head=head,
        machine=one_line(noted.machine),
        held=noted.held,
        ran=noted.ran,
        told=told,
        some=some,
    )


def time_sentence(sheet: CarrySheet) -> str:
    """Return how long it takes on both machines."""
    run, origin = sheet.time, one_line(sheet.origin)
    pieces = say("all {pieces}", pieces=sheet.pieces) if sheet.pieces > 1 else say("the piece")
    here = say(
        "{to} for {pieces} on {to_plates}",
        to=duration(run.to_s),
        pieces=pieces,
        to_plates=say_many(run.to_plates, "{n} plate", "{n} plates"),
    )
    if run.from_plates == 0:
        return say("{here} ({origin} cannot take them).", here=here, origin=origin)
    return say(
        "{here} ({origin}: {from_} on {from_plates}).",
        here=here,
        origin=origin,
        from_=duration(run.from_s),
        from_plates=say_many(run.from_plates, "{n} plate", "{n} plates"),
    )


def _ledger(sheet: CarrySheet) -> Ledger:
    entries = [
        Entry(say("By hand"), by_hand_in_short(sheet)),
        *(Entry(say("Watch") if k == 0 else "", said(watch_sentence(r))) for k, r in enumerate(sheet.risks[:WATCHED])),
    ]
    if sheet.first_layer is not None and not base_holds(sheet.first_layer):
        entries.insert(1, Entry(say("Base"), said(*short_lines(sheet.first_layer))))
    if any(lot.only for lot in sheet.old_lots):
        entries.append(Entry(say("Lot"), said(*old_lot_sentences(sheet.old_lots))))
    if sheet.squeeze_shear is not None:
        entries.append(Entry(say("Resin"), said(*shear_sentences(sheet)[:1])))
    due = due_sentences(sheet.upkeep, now=True)
    if due:
        entries.append(Entry(say("Upkeep"), said(*due)))
    if sheet.measure_next:
        entries.append(Entry(say("Measure"), said(measurement_words(sheet.measure_next[0]))))
    if sheet.cautions:
        entries.append(Entry(say("Take care"), said(sentence(sheet.cautions[0]))))
    return Ledger(tuple(entries))


# --- what could go wrong ---------------------------------------------------------------------------------------------


def watch_sentence(risk: Risk) -> str:
    """Return a risk in a line or two: where, what, and what to do."""
    what = sentence(risk.what)
    placed = risk.layer < 0 or what.startswith(where(risk))
    return f"{what} {sentence(risk.do)}" if placed else f"{where(risk)}: {what} {sentence(risk.do)}"


def where(risk: Risk) -> str:
    """Return the place of a risk in the run."""
    return say("Layer {layer}", layer=risk.layer) if risk.layer >= 0 else say("The whole run")


def risk_measure(risk: Risk) -> str:
    """Return where a risk is, and how likely and how much there is to spare where that can be said.

    Examples
    --------
    >>> from vatwright.records.plan import Risk
    >>> risk_measure(Risk(what="It splits.", layer=120, margin=1.34, chance=0.18, why="", do=""))
    'layer 120; goes wrong in 18 % of runs; a typical run has 34 % to spare'
    """
    wrong = say("layer {layer}", layer=risk.layer) if risk.layer >= 0 else say("the whole run")
    if risk.chance is not None:
        wrong = say("{place}; goes wrong in {chance} of runs", place=wrong, chance=percent(risk.chance))
    if risk.margin is None:
        return wrong
    margin = margin_words(risk.margin)
    if risk.margin < 1.0:
        return say("{wrong}; a typical run is {margin}", wrong=wrong, margin=margin)
    return say("{wrong}; a typical run has {margin}", wrong=wrong, margin=margin)


def _risks(sheet: CarrySheet) -> tuple[Block, ...]:
    found: list[Block] = [
        Finding(what=sentence(r.what), measure=risk_measure(r), margin=r.margin, why=sentence(r.why), do=sentence(r.do))
        for r in sheet.risks
    ]
    parts = points(map(sentence, sheet.warnings), "caution")
    readings = points(f"{measurement_words(m)} {sentence(m.how)}" for m in sheet.measure_next) or said(NO_READING)
    return (
        *(found or said(say("Nothing stands out."))),
        *((Heading(say("Wrong with the parts")), *parts) if parts else ()),
        Heading(say("What would make this surer?")),
        *readings,
        *_ladder(sheet),
        *change_blocks(sheet.part_changes),
    )


def _ladder(sheet: CarrySheet) -> tuple[Block, ...]:
    """Return readings and trials in the order that is worth most for its effort."""
    rows = tuple(
        Row(
            (
                sentence(step.what).rstrip("."),
                duration(60.0 * step.minutes),
                resin_volume(step.resin_m3) if step.resin_m3 else say("none"),
                say(
                    "{narrowed}, by {share_left}",
                    narrowed=narrowed_words(step.setting),
                    share_left=share_words(1.0 - step.share_left),
                ),
                about(step.saves_s),
            )
        )
        for step in sheet.ladder
    )
    columns = tuple(
        map(Column, (say("do"), say("takes"), say("resin"), say("cuts the range of"), say("may save a run")))
    )
    note = say("Saved is an estimate: what knowing better spares on average, in waits and failed runs.")
    table = Table(
        title=say("Readings and trials; first what saves most for its effort"),
        columns=columns,
        rows=rows,
        slug="ladder",
        note=note,
    )
    return (table,) if rows else ()


def measurement_words(measure: Measurement) -> str:
    """Return one reading worth taking, and what it would do.

    Examples
    --------
    >>> from vatwright.records.plan import Measurement
    >>> measurement_words(Measurement(reading="read the dial under 5 kg", setting="body.settle_s", share_left=0.5,
    ...     minutes=2.0, how="Hang it on the arm"))
    'Read the dial under 5 kg (2 min): cuts the range of body settle by half.'
    """
    reading = sentence(measure.reading).rstrip(".")
    minutes = duration(60.0 * measure.minutes)
    cut = share_words(1.0 - measure.share_left)
    return say(
        "{reading} ({minutes}): cuts the range of {setting} by {cut}.",
        reading=reading,
        minutes=minutes,
        setting=setting_words(measure.setting),
        cut=cut,
    )


# --- the other pages -------------------------------------------------------------------------------------------------


def _base(sheet: CarrySheet) -> tuple[Block, ...]:
    return base_blocks(sheet.first_layer) if sheet.first_layer else ()


def _holding(sheet: CarrySheet) -> tuple[Block, ...]:
    if sheet.holding is None:
        return ()
    return (*points(holding_lines(sheet.holding)), Figure(slug="holding", data=sheet.holding))


def _layers(sheet: CarrySheet) -> tuple[Block, ...]:
    layers = len(sheet.layers.clock_s)
    start = min(CLOSE_UP, layers)
    spans = [(0, start), *([(start, layers)] if layers > start + 1 else [])]
    figures = [Figure(slug=f"{what}-{a}", data=(sheet, a, b)) for a, b in spans for what in ("settle", "thickness")]
    return (
        *said(LAYER_COUNT_NOTE, role="note"),
        *figures,
        Figure(slug="platform", data=sheet),
        Figure(slug="pull", data=sheet),
        *said(*light_sentences(sheet)),
    )


def _time(sheet: CarrySheet) -> tuple[Block, ...]:
    columns = (Column(say("time spent on")), Column(one_line(sheet.origin)), Column(one_line(sheet.target)))
    rows = tuple(Row((one_line(s.label), duration(s.from_s), duration(s.to_s))) for s in sheet.time.shares)
    piece = say(
        "{per_piece_to} a piece on {target}",
        per_piece_to=duration(sheet.time.per_piece_to_s),
        target=one_line(sheet.target),
    )
    before = (
        say(
            ", {per_piece_from} on {origin}",
            per_piece_from=duration(sheet.time.per_piece_from_s),
            origin=one_line(sheet.origin),
        )
        if sheet.time.from_plates
        else ""
    )
    table = Table(title=say("Where the time of all pieces goes"), columns=columns, rows=rows, slug="time-table")
    return (*said(time_sentence(sheet), f"{piece}{before}."), table, Figure(slug="time", data=sheet), *_peeled(sheet))


def _peeled(sheet: CarrySheet) -> tuple[Block, ...]:
    """Return what half and twice the peel speed cost and save; nothing where the controller takes none."""
    if len({t.peel_speed_m_s for t in sheet.peel_trade}) <= 1:
        return ()
    columns = (
        Column(say("body peels at")),
        Column(say("lift")),
        Column(say("hardest pull")),
        Column(say("all pieces")),
        Column(say("chance to hold")),
    )
    rows = tuple(
        Row((
            setting_value("body.peel_speed_mm_s", t.peel_speed_m_s), setting_value("body.peel_lift_mm", t.lift_m),
            f"{significant(t.pull_n, 2)} N", duration(t.to_s), percent(t.mean),
        ))
        for t in sheet.peel_trade
    )  # fmt: skip
    return (
        Table(title=say("What another peel speed would cost and save"), columns=columns, rows=rows, slug="peel-speeds"),
    )


def _after(sheet: CarrySheet) -> tuple[Block, ...]:
    after = points(after_lines(sheet))
    return (
        *points(
            (resin_sentence(sheet), *resin_lines(sheet), *old_lot_sentences(sheet.old_lots), *shear_sentences(sheet))
        ),
        *points((*run_warmth_sentences(sheet), *due_sentences(sheet.upkeep))),
        *((Heading(say("After the print")), *after) if after else ()),
        Heading(say("Take care")),
        *points(map(sentence, sheet.cautions), "caution"),
    )


def resin_sentence(sheet: CarrySheet) -> str:
    """Return how much resin to pour and what it is made of."""
    need = sheet.resin_need
    return say(
        "Pour {pour}: {parts} for the parts, {drag_out} leaves with them, {pool} keeps the pool deep enough.",
        pour=resin_volume(need.pour_m3),
        parts=resin_volume(need.parts_m3),
        drag_out=resin_volume(need.drag_out_m3),
        pool=resin_volume(need.pool_m3),
    )


def light_sentences(sheet: CarrySheet) -> tuple[str, ...]:
    """Return how much light a body layer gets on both machines and how deep it prints through; empty where not known."""
    light = sheet.light
    if light is None:
        return ()
    a, b = one_line(sheet.origin), one_line(sheet.target)
    least, most, through = (
        (fixed(getattr(light, f"from_{name}") * times, places), fixed(getattr(light, f"to_{name}") * times, places))
        for name, times, places in (("least_j_m2", 0.1, 1), ("most_j_m2", 0.1, 1), ("through_m", 1e6, 0))
    )
    doses = say(
        "{least} mJ/cm² where it is dimmest ({least_2}) and {most} mJ/cm² where it is brightest ({most_2})",
        least=least[1],
        least_2=least[0],
        most=most[1],
        most_2=most[0],
    )
    return (
        say("Under the parts a body layer on {b} gets {doses}; in brackets: on {a}.", b=b, doses=doses, a=a),
        say(
            "At the brightest spot many layers cure at most {through} µm beyond an overhang ({through_2} µm).",
            through=through[1],
            through_2=through[0],
        ),
    )


def _sources(sheet: CarrySheet, cite: Callable[[str], str]) -> tuple[Block, ...]:
    open_ = points(map(sentence, sheet.open_questions)) or said(say("Nothing stays open."))
    beliefs: tuple[Block, ...] = tuple(Figure(slug=f"belief-{k}", data=(b, k)) for k, b in enumerate(sheet.beliefs))
    cited = tuple(Source(one_line(k), one_line(cite(k))) for k in source_keys(sheet))
    return (
        *open_,
        *((Heading(say("What is believed, before and after looking at what worked")), *beliefs) if beliefs else ()),
        Heading(say("Sources")),
        *cited,
    )


def source_keys(sheet: CarrySheet) -> tuple[str, ...]:
    """Return the key of every source of the sheet, each once, in the order of first use."""
    keys = [*sheet.sources, *(k for a in sheet.settings for k in a.sources), *(b.source for b in sheet.beliefs)]
    return tuple(k for k in dict.fromkeys(keys) if k)
