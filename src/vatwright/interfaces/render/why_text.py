"""Why a print failed, for the terminal: the answer, the causes with their numbers, what tells the first two apart."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from vatwright.answers.numbers import bound, celsius, one_line, percent, plain, quantity

if TYPE_CHECKING:
    from collections.abc import Callable

    from vatwright.records.why import Figure, RankedCause, TellApart, WhySheet

COLUMNS = 100
BAR = 20
"""Width of a bar that stands for certainty."""


def why_text(sheet: WhySheet, *, cite: Callable[[str], str]) -> str:
    """Return the answer as text.

    Parameters
    ----------
    sheet : WhySheet
        What to tell.
    cite : callable
        From a source's key to its citation.
    """
    lines = _wrapped(sheet.verdict)
    lines += ["", *_wrapped(f"{one_line(sheet.job)} on {one_line(sheet.machine)}, {one_line(sheet.resin)}, "
                            f"{celsius(sheet.room_k)}. Seen: {sheet.where}. {_foretold(sheet)}")]  # fmt: skip
    lines += [line for cause in sheet.causes for line in _cause(cause)]
    lines += ["", *_telling(sheet.tell_apart, {c.cause: c.title for c in sheet.causes})]
    for title, items in (
        ("Not computed here", sheet.no_model),
        ("Assumed", sheet.assumed),
        ("Sources", tuple(f"[{key}] {cite(key)}" for key in sheet.sources)),
    ):
        if items:
            lines += ["", title, *(line for item in items for line in _wrapped(item, head="  - "))]
    return plain("\n".join(lines))


def _foretold(sheet: WhySheet) -> str:
    return f"Before the run, just this had a chance of {percent(sheet.foretold)}." if sheet.observed.events else ""


def _cause(cause: RankedCause) -> list[str]:
    bar = "#" * round(cause.chance * BAR)
    lines = ["", *_wrapped(f"{bar.ljust(BAR, '.')} {percent(cause.chance)}  {cause.title}", head="", after="    ")]
    if words := margin_words_of(cause):
        lines += _wrapped(words, head="    ")
    lines += [line for f in cause.figures for line in _wrapped(figure_words(f), head="    ")]
    for head, said in (("    for:     ", cause.speaks_for), ("    against: ", cause.speaks_against)):
        lines += [line for text in said for line in _wrapped(text, head=head)]
    minutes = f" ({cause.mend.minutes:.0f} min)" if cause.mend.minutes else ""
    return [*lines, *_wrapped(f"{cause.mend.do}{minutes}", head="    mend:    ")]


def margin_words_of(cause: RankedCause) -> str:
    """Return the margins of a cause in words, empty where it is no matter of margin."""
    if cause.margin is None:
        return ""
    believed = "" if cause.margin_believed is None else f" (believed: {cause.margin_believed:.2f})"
    return f"margin there {cause.margin:.2f}{believed}; below 1 fails"


def figure_words(figure: Figure) -> str:
    """Return a number of a cause in words."""
    low, middle, high, believed = (
        quantity(v, figure.unit, 2) for v in (figure.low, figure.middle, figure.high, figure.believed)
    )
    return f"{figure.what}: {middle} ({low} to {high}); believed: {believed}"


def _telling(tell: TellApart | None, titles: dict[object, str]) -> list[str]:
    if tell is None:
        return _wrapped("Tell apart: no single reading here separates the first two causes well enough; print a trial.")
    first, second, tip = (
        None if v is None else quantity(v, tell.unit, 2) for v in (tell.if_first, tell.if_second, tell.tip)
    )
    text = (
        f"Tell apart: {tell.reading} ({tell.minutes:.0f} min). About {first} says {titles[tell.first]}; about {second} "
    )
    text += f"says {titles[tell.second]}."
    if tip is not None:
        text += f" It tips at {tip}."
    text += f" Removes about {percent(tell.information)} of the doubt between the two."
    if tell.trial:
        text += f" A trial piece for it: vatwright trial {tell.trial}."
    return _wrapped(text)


def _wrapped(text: str, *, head: str = "", after: str | None = None) -> list[str]:
    after = " " * len(head) if after is None else after
    lines = textwrap.wrap(bound(text), COLUMNS, initial_indent=head, subsequent_indent=after)
    return [line.replace("\xa0", " ") for line in lines]
