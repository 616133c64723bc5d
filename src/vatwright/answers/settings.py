"""Settings in words: what each is called, what it was and is, whether the controller obeys, and why."""

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING

from attrs import frozen

from vatwright.answers.blocks import Block, Column, Row, Source, Table, Working, said
from vatwright.answers.numbers import fixed, one_line, sentence, setting_range, setting_value
from vatwright.records.process import COUNT_SETTINGS, PHASE_SETTINGS, setting_name

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from vatwright.records.plan import Advice, CarrySheet

PHASE_TITLES = {"all": "All layers", "base": "Base", "ramp": "Ramp", "body": "Body"}
OBEYS = {"yes": "yes", "shared": "one value for base and body", "no": "no"}
OBEYS_SHORT = {"yes": "", "shared": "one for both", "no": "not obeyed"}
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
        return self.label if self.phase == "all" else f"{self.phase} {self.label}"

    @property
    def value(self) -> str:
        """The advised value with its range."""
        return f"{self.text_to} ({self.span})" if self.span else self.text_to

    @property
    def obeys(self) -> str:
        """Whether the controller obeys, and who sets it where it does not."""
        return f"{OBEYS[self.honoured]}, by hand" if self.by_hand else OBEYS[self.honoured]


def setting_label(name: str) -> tuple[str, str]:
    """Return the phase and the label of a setting.

    Examples
    --------
    >>> setting_label("base.settle_s"), setting_label("layer_mm"), setting_label("base.layers")
    (('base', 'settle'), ('all', 'layer thickness'), ('base', 'layers'))
    """
    if name == "layer_mm":
        return "all", "layer thickness"
    if name in COUNT_SETTINGS:
        return name.split(".", maxsplit=1)[0], "layers"
    setting = setting_name(name)
    return setting.phase, setting.label


def setting_words(name: str) -> str:
    """Return what a setting is called in a sentence.

    Examples
    --------
    >>> setting_words("base.settle_s"), setting_words("layer_mm")
    ('base settle', 'layer thickness')
    """
    phase, label = setting_label(name)
    return label if phase == "all" else f"{phase} {label}"


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
    narrowed = f"; to narrow it, {one_line(advice.narrowed_by)}" if advice.narrowed_by else ""
    return f"Least sure here: {one_line(advice.dominated_by)}{narrowed}."


# --- the first screen: base beside body -----------------------------------------------------------------------------


def settings_in_short(sheet: CarrySheet) -> tuple[Block, ...]:
    """Return the settings that change or are not obeyed, base beside body, what they were in brackets; the rest in a line."""
    rows = {r.name: r for r in setting_rows(sheet)}
    origin = one_line(sheet.origin)
    every = not sheet.runs  # nothing is typed in yet
    shown = [r for r in (_pair(rows, *names, every=every) for names in _pairs()) if r is not None]
    if not shown:
        return said(f"Type in what ran on {origin}: nothing changes.", role="do")
    columns = (Column("set"), Column("base"), Column("body"))
    note = (
        f"In brackets: {origin}, where it differs." if every else f"In brackets: on {origin}. All else stays as there."
    )
    return (Table(columns=columns, rows=tuple(shown), slug="set", note=note),)


def _pairs() -> tuple[tuple[str, str, str], ...]:
    """Return what stands in one row: a label, the setting of the base and that of the body."""
    phase = ((s.label, s.name, s.name.replace("base.", "body.", 1)) for s in PHASE_SETTINGS if s.phase == "base")
    return (
        ("layer thickness", "", "layer_mm"), ("base layers", "base.layers", ""), ("ramp layers", "ramp.layers", ""), *phase
    )  # fmt: skip


def _pair(rows: dict[str, SettingRow], label: str, base: str, body: str, *, every: bool) -> Row | None:
    pair = [rows.get(base), rows.get(body)]
    found = [r for r in pair if r is not None]
    if not every and not any(r.changed or r.honoured != "yes" for r in found):
        return None
    cells = [("" if r is None else _was(r)) for r in pair]
    hands = any(r.by_hand for r in found)
    odd = dict.fromkeys(OBEYS_SHORT[r.honoured] for r in found if r.honoured != "yes")
    mark = "by hand" if hands else ", ".join(odd)
    return Row((f"{label}, {mark}" if mark else label, *cells))


def _was(row: SettingRow) -> str:
    return f"{row.text_to} ({row.text_from})" if row.text_from != row.text_to else row.text_to


# --- why each value --------------------------------------------------------------------------------------------------


def how_sure(sheet: CarrySheet) -> str:
    """Return what the ranges mean."""
    covers = fixed(100.0 * sheet.confidence, 0)
    return (
        "In brackets: what may be needed, nine times in ten. The advice, rounded to the machine's steps, is enough in "
        f"{covers} % of cases."
    )


def reasons(sheet: CarrySheet) -> tuple[Block, ...]:
    """Return what changes or has a range, with its reason, phase by phase; what is kept in a sentence."""
    columns = (
        Column("setting"), Column(one_line(sheet.origin)), Column(f"{one_line(sheet.target)} (range)"), Column("obeyed?"),
        Column("because"),
    )  # fmt: skip
    told, kept = [], []
    for phase, row in _by_phase(setting_rows(sheet)):
        if row.changed or row.span or row.honoured != "yes":
            told.append(_reason(PHASE_TITLES[phase], row))
        else:
            counted = row.name in COUNT_SETTINGS
            kept.append(f"{row.phase} of {row.text_to}" if counted else f"{row.words} {row.text_to}")
    table = Table(
        title="What changes, and why", columns=columns, rows=tuple(told), slug="reasons", note=how_sure(sheet)
    )
    start = f"Kept as proven on {one_line(sheet.origin)}" if sheet.runs else "As in common practice"
    same = f"{start}: {', '.join(kept)}." if kept else ""
    unsure = tuple(_how_sure_of(r) for r in setting_rows(sheet) if r.surer)
    return (*((table,) if told else ()), *said(same), *unsure)


def _how_sure_of(r: SettingRow) -> Working:
    """Return what makes one value unsure, folded under its value."""
    rests = f"Sources: {', '.join(r.sources)}." if r.sources else ""
    return Working(f"How sure is {r.words}, {r.value}?", said(r.surer, rests))


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
    move = f"{row.text_from} on {one_line(sheet.origin)}, {row.value} on {one_line(sheet.target)}."
    obeyed = f"Obeyed by the controller: {row.obeys}."
    ranged = how_sure(sheet) if row.span else ""
    cited = tuple(Source(k, one_line(cite(k))) for k in row.sources)
    return (*said(f"{row.words.capitalize()}: {move}", row.because, obeyed, row.surer, ranged), *cited)


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
    for called in ((lambda n: n), setting_words, (lambda n: setting_label(n)[1])):
        found = [n for n in names if called(n) == wanted]
        if found:
            return found[-1]
    return ""
