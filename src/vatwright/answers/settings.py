"""Settings in words: what each is called, what it was and is, whether the controller obeys, and why."""

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING

from attrs import frozen

from vatwright.answers.blocks import Block, Column, Row, Source, Table, Working, said
from vatwright.answers.numbers import fixed, one_line, sentence, setting_range, setting_value
from vatwright.records.process import COUNT_SETTINGS, PHASE_SETTINGS, setting_name
from vatwright.wording import ENGLISH, in_language, language, say, to_say

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from vatwright.records.plan import Advice, CarrySheet

PHASE_TITLES = {"all": to_say("All layers"), "base": to_say("Base"), "ramp": to_say("Ramp"), "body": to_say("Body")}
OBEYS = {"yes": to_say("yes"), "shared": to_say("one value for base and body"), "no": to_say("no")}
OBEYS_SHORT = {"yes": "", "shared": to_say("one for both"), "no": to_say("not obeyed")}
"""Said beside a label: what the controller does where it does not obey base and body apart."""


@frozen
class SettingRow:
    """One setting in words; `text_to` has its unit, `span` the 90 % range in the same unit."""

    name: str
    phase: str
    label: str
    text_from: str
    text_to: str
    span: str
    honoured: str
    because: str
    surer: str
    by_hand: bool
    changed: bool
    sources: tuple[str, ...]

    @property
    def words(self) -> str:
        """What the setting is called in a sentence."""
        return setting_words(self.name)

    @property
    def value(self) -> str:
        """The advised value with its range."""
        return f"{self.text_to} ({self.span})" if self.span else self.text_to

    @property
    def obeys(self) -> str:
        """Whether the controller obeys, and who sets it where it does not."""
        return say("{obeys}, by hand", obeys=OBEYS[self.honoured]) if self.by_hand else say(OBEYS[self.honoured])


def setting_label(name: str) -> tuple[str, str]:
    """Return the phase and the label of a setting.

    Examples
    --------
    >>> setting_label("base.settle_s"), setting_label("layer_mm"), setting_label("base.layers")
    (('base', 'settle'), ('all', 'layer thickness'), ('base', 'layers'))
    """
    if name == "layer_mm":
        return "all", say("layer thickness")
    if name in COUNT_SETTINGS:
        return name.split(".", maxsplit=1)[0], say("layers")
    setting = setting_name(name)
    return setting.phase, say(setting.label)


def setting_words(name: str) -> str:
    """Return what a setting is called in a sentence.

    Examples
    --------
    >>> setting_words("base.settle_s"), setting_words("layer_mm")
    ('base settle', 'layer thickness')
    """
    phase, label = setting_label(name)
    return label if phase == "all" else in_phase(phase, label)


def in_phase(phase: str, label: str) -> str:
    """Return what is called `label` as that of the base, the ramp or the body."""
    return {
        "base": say("base {label}", label=label),
        "ramp": say("ramp {label}", label=label),
        "body": say("body {label}", label=label),
    }[phase]


NO_SETTINGS = {"chance": to_say("the chance"), "detail": to_say("how fine it prints")}
"""What a reading narrows where that is no setting."""


def narrowed_words(name: str) -> str:
    """Return what a reading or a trial narrows: a setting, the chance, or how fine a thing comes out.

    Examples
    --------
    >>> narrowed_words("body.settle_s"), narrowed_words("detail")
    ('body settle', 'how fine it prints')
    """
    return say(NO_SETTINGS[name]) if name in NO_SETTINGS else setting_words(name)


def setting_si(sheet: CarrySheet, name: str) -> float:
    """Return the advised value of a setting, not-a-number where the sheet says nothing about it."""
    return next((a.to_value for a in sheet.settings if a.name == name), math.nan)


def setting_rows(sheet: CarrySheet) -> tuple[SettingRow, ...]:
    """Return every setting in words, in the sheet's order."""
    return tuple(_setting_row(a) for a in sheet.settings)


def _setting_row(advice: Advice) -> SettingRow:
    phase, label = setting_label(advice.name)
    before, after = setting_value(advice.name, advice.from_value), setting_value(advice.name, advice.to_value)
    return SettingRow(
        advice.name, phase, label, before, after, setting_range(advice.name, advice.low, advice.high),
        advice.honoured, sentence(advice.reason), _surer(advice), advice.by_hand, before != after or advice.by_hand,
        advice.sources,
    )  # fmt: skip


def _surer(advice: Advice) -> str:
    if not advice.dominated_by:
        return ""
    narrowed = (
        say("; to narrow it, {narrowed_by}", narrowed_by=one_line(advice.narrowed_by)) if advice.narrowed_by else ""
    )
    return say(
        "Least sure here: {dominated_by}{narrowed}.", dominated_by=one_line(advice.dominated_by), narrowed=narrowed
    )


# --- the first screen: base beside body -----------------------------------------------------------------------------


def settings_in_short(sheet: CarrySheet) -> tuple[Block, ...]:
    """Return the settings that change or are not obeyed, base beside body, what they were in brackets; the rest in a line."""
    rows = {r.name: r for r in setting_rows(sheet)}
    origin = one_line(sheet.origin)
    every = not sheet.runs  # nothing is typed in yet
    shown = [r for r in (_pair(rows, *names, every=every) for names in _pairs()) if r is not None]
    if not shown:
        return said(say("Type in what ran on {origin}: nothing changes.", origin=origin), role="do")
    columns = (Column(say("set")), Column(say("base")), Column(say("body")))
    note = (
        say("In brackets: {origin}, where it differs.", origin=origin)
        if every
        else say("In brackets: on {origin}. All else stays as there.", origin=origin)
    )
    return (Table(columns=columns, rows=tuple(shown), slug="set", note=note),)


def _pairs() -> tuple[tuple[str, str, str], ...]:
    """Return what stands in one row: a label, the setting of the base and that of the body."""
    phase = ((say(s.label), s.name, s.name.replace("base.", "body.", 1)) for s in PHASE_SETTINGS if s.phase == "base")
    return (
        (say("layer thickness"), "", "layer_mm"),
        (say("base layers"), "base.layers", ""),
        (say("ramp layers"), "ramp.layers", ""),
        *phase,
    )


def _pair(rows: dict[str, SettingRow], label: str, base: str, body: str, *, every: bool) -> Row | None:
    pair = [rows.get(base), rows.get(body)]
    found = [r for r in pair if r is not None]
    if not every and not any(r.changed or r.honoured != "yes" for r in found):
        return None
    cells = [("" if r is None else _was(r)) for r in pair]
    hands = any(r.by_hand for r in found)
    odd = dict.fromkeys(say(OBEYS_SHORT[r.honoured]) for r in found if r.honoured != "yes")
    mark = say("by hand") if hands else ", ".join(odd)
    return Row((f"{label}, {mark}" if mark else label, *cells))


def _was(row: SettingRow) -> str:
    return f"{row.text_to} ({row.text_from})" if row.text_from != row.text_to else row.text_to


# --- why each value --------------------------------------------------------------------------------------------------


def how_sure(sheet: CarrySheet) -> str:
    """Return what the ranges mean."""
    covers = fixed(100.0 * sheet.confidence, 0)
    return say(
        "In brackets: what may be needed, nine times in ten. The advice, rounded to the "
        "machine's steps, is enough in {covers} % of cases.",
        covers=covers,
    )


def reasons(sheet: CarrySheet) -> tuple[Block, ...]:
    """Return what changes or has a range, with its reason, phase by phase; what is kept in a sentence."""
    columns = (
        Column(say("setting")),
        Column(one_line(sheet.origin)),
        Column(say("{target} (range)", target=one_line(sheet.target))),
        Column(say("obeyed?")),
        Column(say("because")),
    )
    told, kept = [], []
    for phase, row in _by_phase(setting_rows(sheet)):
        if row.changed or row.span or row.honoured != "yes":
            told.append(_reason(say(PHASE_TITLES[phase]), row))
        else:
            kept.append(_kept(row))
    table = Table(
        title=say("What changes, and why"), columns=columns, rows=tuple(told), slug="reasons", note=how_sure(sheet)
    )
    start = (
        say("Kept as proven on {origin}", origin=one_line(sheet.origin)) if sheet.runs else say("As in common practice")
    )
    same = f"{start}: {', '.join(kept)}." if kept else ""
    unsure = tuple(_how_sure_of(r) for r in setting_rows(sheet) if r.surer)
    return (*((table,) if told else ()), *said(same), *unsure)


def _kept(row: SettingRow) -> str:
    if row.name not in COUNT_SETTINGS:
        return f"{row.words} {row.text_to}"
    return (
        say("base of {count}", count=row.text_to) if row.phase == "base" else say("ramp of {count}", count=row.text_to)
    )


def _how_sure_of(r: SettingRow) -> Working:
    """Return what makes one value unsure, folded under its value."""
    rests = say("Sources: {sources}.", sources=", ".join(r.sources)) if r.sources else ""
    return Working(say("How sure is {words}, {value}?", words=r.words, value=r.value), said(r.surer, rests))


def _by_phase(rows: Iterable[SettingRow]) -> list[tuple[str, SettingRow]]:
    """Return the settings phase by phase, each phase where its first setting stands."""
    groups: dict[str, list[SettingRow]] = {}
    for phase, group in itertools.groupby(rows, key=lambda r: r.phase):
        groups.setdefault(phase, []).extend(group)
    return [(phase, row) for phase, group in groups.items() for row in group]


def _reason(group: str, r: SettingRow) -> Row:
    return Row((r.label, r.text_from, r.value, r.obeys, r.because), group, quiet=not r.changed)


def one_reason(sheet: CarrySheet, name: str, *, cite: Callable[[str], str]) -> tuple[Block, ...]:
    """Return why one setting has its value, how sure that is, and where it is from.

    Parameters
    ----------
    sheet : CarrySheet
        The answer.
    name : str
        Public name of the setting.
    cite : callable
        From a source's key to its citation.
    """
    row = next(r for r in setting_rows(sheet) if r.name == name)
    move = say(
        "{text_from} on {origin}, {value} on {target}.",
        text_from=row.text_from,
        origin=one_line(sheet.origin),
        value=row.value,
        target=one_line(sheet.target),
    )
    obeyed = say("Obeyed by the controller: {obeys}.", obeys=row.obeys)
    ranged = how_sure(sheet) if row.span else ""
    cited = tuple(Source(k, one_line(cite(k))) for k in row.sources)
    return (*said(f"{row.words[:1].upper()}{row.words[1:]}: {move}", row.because, obeyed, row.surer, ranged), *cited)


def setting_called(text: str, sheet: CarrySheet) -> str:
    """Return the public name of a setting by its name, its words or its label; empty where none is called so.

    A label that base and body share means the body's.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> rows = SimpleNamespace(settings=[SimpleNamespace(name=n) for n in ("base.settle_s", "body.settle_s")])
    >>> setting_called("base settle", rows), setting_called("settle", rows), setting_called("glow", rows)
    ('base.settle_s', 'body.settle_s', '')
    """
    return name_called(text, [a.name for a in sheet.settings])


def name_called(text: str, names: Iterable[str]) -> str:
    """Return which of the settings with these public names is called so, as :func:`setting_called` does."""
    wanted, names = text.strip().lower(), tuple(names)
    for reader in dict.fromkeys((language.get(), ENGLISH)):
        with in_language(reader):
            for called in ((lambda n: n), setting_words, (lambda n: setting_label(n)[1])):
                found = [n for n in names if called(n).lower() == wanted]
                if found:
                    return found[-1]
    return ""
