"""The carry sheet in a terminal: 100 columns, the answer in the first screenful, the working below."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from vatwright.answers.after import after_lines, resin_lines
from vatwright.answers.numbers import bound, duration, one_line, plain, plural, sentence
from vatwright.answers.study import LAYER_COUNT_NOTE
from vatwright.interfaces.render.first_layer_words import base_lines, short_lines
from vatwright.interfaces.render.holding_words import holding_lines
from vatwright.interfaces.render.pictures.belief_plot import belief_words, shown_belief
from vatwright.interfaces.render.sheet_words import (
    cited,
    clock_unit,
    hand_cost,
    hand_steps,
    headline,
    how_sure,
    light_sentences,
    measurement_words,
    resin_sentence,
    risk_words,
    setting_rows,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from vatwright.interfaces.render.sheet_words import RiskWords, SettingRow
    from vatwright.records.plan import CarrySheet

COLUMNS = 100
SCREEN_LINES = 40
_VERDICT_LINES, _RISKS, _READINGS, _STEPS = 2, 3, 2, 5
_WIDTHS = (5, 16, 11, 22, 15)
_BOLD, _AMBER, _RESET = "\x1b[1m", "\x1b[33m", "\x1b[0m"


def carry_text(sheet: CarrySheet, *, colour: bool, cite: Callable[[str], str]) -> str:
    """Return the sheet as terminal text, no line over 100 columns.

    Parameters
    ----------
    sheet : CarrySheet
        What to show.
    colour : bool
        True on a terminal: colours the verdict word and the heads of what is to be done by hand.
    cite : callable
        From a source's key to its citation.

    Returns
    -------
    str
        The text, ending in a newline; its first 40 lines hold the whole answer.
    """
    lines = [*_screenful(sheet), "", *_working(sheet, cite)]
    text = "\n".join(plain(line).rstrip() for line in lines) + "\n"
    return _coloured(text, holds=sheet.holds) if colour else text


def _coloured(text: str, *, holds: bool) -> str:
    """Colour the verdict line and the words "By hand", nothing else."""
    head, verdict, rest = text.split("\n", 2)
    marked = f"{_BOLD}{verdict}{_RESET}" if holds else f"{_AMBER}{verdict}{_RESET}"
    return "\n".join([head, marked, rest.replace("\nBy hand", f"\n{_AMBER}By hand{_RESET}", 1)])


def _screenful(sheet: CarrySheet) -> list[str]:
    top = headline(sheet)
    lines = [_columns(top.job, top.come_from, top.go_to)]
    lines += _wrapped(top.verdict, most=_VERDICT_LINES)
    lines += _wrapped(f"{top.chance} {top.time}", most=_VERDICT_LINES)
    below = ["", *_by_hand(sheet), *_base(sheet), *_watch(sheet), *_know_more(sheet)]
    return [*lines, "", *_settings(sheet, SCREEN_LINES - len(lines) - 1 - len(below)), *below]


def _columns(job: str, come_from: str, go_to: str) -> str:
    rest = f"   {come_from}   {go_to}"
    return shortened(shortened(job, max(COLUMNS - len(rest), 24)) + rest, COLUMNS)


def shortened(text: str, width: int) -> str:
    """Return `text` cut to `width` at a word, marked with three points.

    Examples
    --------
    >>> shortened("the window is wider", 14), shortened("short", 14)
    ('the window...', 'short')
    """
    if len(text) <= width:
        return text
    cut = text[: width - 2].rsplit(" ", 1)[0] if " " in text[: width - 2] else text[: width - 3]
    return cut.rstrip(" ,;:.") + "..."


def _wrapped(text: str, *, most: int = 0, head: str = "", hang: str = "") -> list[str]:
    """Return `text` wrapped with a number kept beside its unit; cut after `most` lines where that is given."""
    lines = textwrap.wrap(bound(text), COLUMNS, initial_indent=head, subsequent_indent=hang or " " * len(head))
    if most and len(lines) > most:
        indent = hang if most > 1 else head
        left = " ".join([lines[most - 1].removeprefix(indent), *(x.strip() for x in lines[most:])])
        lines = [*lines[: most - 1], indent + shortened(left, COLUMNS - len(indent))]
    return [line.replace("\xa0", " ") for line in lines] or [head.rstrip()]


def _settings(sheet: CarrySheet, room: int) -> list[str]:
    """Return the settings that change, side by side, then those that stay in a few lines; `room` lines if it can be.

    A reason gets three lines while there is room, then two, then one; in full it stands under the first screenful.
    """
    rows = setting_rows(sheet)
    shown = [r for r in rows if r.changed or r.obeys != "yes"]
    keep = ", ".join(_kept(r) for r in rows if r not in shown)
    kept = _wrapped(keep, most=5, head="Keep       ") if keep else []
    head = _row(("", "", shortened(one_line(sheet.origin), 10), one_line(sheet.target), "does it obey?"), "because", 1)
    tables = ([*head, *_side_by_side(shown, deep), *kept] for deep in (3, 2, 1))
    return next((t for t in tables if len(t) <= room), [*head, *_side_by_side(shown, 1), *kept])


def _kept(row: SettingRow) -> str:
    value = row.text_to.split()[0] if row.label == "layers" else row.text_to
    return f"{row.phase} {row.label} {value}".removeprefix("all ")


def _side_by_side(rows: list[SettingRow], deep: int) -> list[str]:
    lines, phase = [], ""
    for row in rows:
        value = f"{row.text_to} ({row.span})" if row.span else row.text_to
        because = f"{row.because.rstrip('.')} (by hand, below)" if row.by_hand else row.because
        cells = ("" if row.phase == phase else row.phase, row.label, row.text_from, value, row.obeys_short)
        lines += _row(cells, because, deep)
        phase = row.phase
    return lines


def _row(cells: tuple[str, str, str, str, str], because: str, most: int) -> list[str]:
    left = "".join(f"{shortened(cell, width - 1):<{width}}" for cell, width in zip(cells, _WIDTHS, strict=True))
    return _wrapped(because, most=most, head=left, hang=" " * len(left))


def _by_hand(sheet: CarrySheet) -> list[str]:
    steps = hand_steps(sheet)
    if not steps:
        return []
    start, *visits = steps
    acts = [f"first set {start.what} to {start.value}"] + [f"{s.clock} {s.value}" for s in visits[:_STEPS]]
    if len(visits) > _STEPS:
        acts.append(f"{len(visits) - _STEPS} more below")
    head = f"By hand    ({clock_unit(sheet)})  "
    lines = _wrapped("   ".join(a.replace(" ", "\xa0") for a in acts), most=2, head=head, hang=" " * 11)
    if sheet.hand is not None and not sheet.hand.covers:
        lines.append(" " * 11 + "this does not give every layer what it needs: read on below")
    elif visits:
        lines.append(" " * 11 + _safest(sheet))
    return lines


def _safest(sheet: CarrySheet) -> str:
    late = min(v.late_ok_s for v in sheet.hand.visits) if sheet.hand else 0.0
    return "being late only costs time" if late == float("inf") else f"up to {duration(late, down=True)} late is safe"


def _base(sheet: CarrySheet) -> list[str]:
    if sheet.first_layer is None:
        return []
    heads = ("Base       ", " " * 11)
    return [h + shortened(text, COLUMNS - 11) for h, text in zip(heads, short_lines(sheet.first_layer), strict=True)]


def _measure(risk: RiskWords) -> str:
    return f"{risk.where}; has {risk.margin}; chance {risk.chance}" if risk.margin else risk.where


def _watch(sheet: CarrySheet) -> list[str]:
    lines = []
    for k, risk in enumerate(risk_words(sheet)[:_RISKS]):
        head = "Watch      " if k == 0 else " " * 11
        lines.append(
            head
            + shortened(
                f"{risk.where}: {risk.what.rstrip('.')}" + (f"; {risk.margin}" if risk.margin else ""), COLUMNS - 11
            )
        )
    return lines


def _know_more(sheet: CarrySheet) -> list[str]:
    lines = []
    for k, measure in enumerate(sheet.measure_next[:_READINGS]):
        head = "Know more  " if k == 0 else " " * 11
        lines.append(head + shortened(measurement_words(measure), COLUMNS - 11))
    return lines


def _working(sheet: CarrySheet, cite: Callable[[str], str]) -> list[str]:
    """Return everything under the first screenful: full reasons, hand schedule, remedies, beliefs, sources."""
    parts = [
        ("Why each setting", _reasons(setting_rows(sheet))),
        ("Hand schedule", schedule_lines(sheet) if sheet.hand else []),
        ("What could go wrong, and what to do", _risks(sheet)),
        ("Does the base hold everywhere", _bullets(base_lines(sheet.first_layer)) if sheet.first_layer else []),
        ("Do the pieces hold on to the platform", _bullets(holding_lines(sheet.holding)) if sheet.holding else []),
        ("Time", _times(sheet)),
        ("Light", _wrapped(" ".join(light_sentences(sheet)), head="  ") if sheet.light else []),
        ("Resin", _bullets((resin_sentence(sheet), *resin_lines(sheet)))),
        ("After the print", _bullets(after_lines(sheet))),
        ("To know more", _bullets(f"{measurement_words(m)} {sentence(m.how)}" for m in sheet.measure_next)),
        ("What is believed, before and after looking at what worked", _beliefs(sheet)),
        ("Assumed and open", _bullets(map(sentence, sheet.open_questions))),
        ("Wrong with the parts", _bullets(map(sentence, sheet.warnings))),
        ("Take care", _bullets([*map(sentence, sheet.cautions)])),
        ("Sources", _bullets(f"[{key}] {text}" for key, text in cited(sheet, cite))),
    ]
    lines = _wrapped(f"{how_sure(sheet)} {LAYER_COUNT_NOTE}")
    for title, body in parts:
        if body:
            lines += ["", title, *body]
    return lines


def _bullets(texts: Iterable[str]) -> list[str]:
    return [line for text in texts for line in _wrapped(text, head="  - ")]


def _reasons(rows: tuple[SettingRow, ...]) -> list[str]:
    lines = []
    for row in rows:
        if row.because or row.surer:
            head = f"  {row.phase} {row.label}: "
            says = f"{row.text_from} -> {row.text_to}. {row.because} {row.surer}"
            lines += _wrapped(says, head=head, hang="      ")
    return lines


def _risks(sheet: CarrySheet) -> list[str]:
    lines = []
    for risk in risk_words(sheet):
        lines += _wrapped(f"{risk.what} ({_measure(risk)})", head="  - ")
        lines += _wrapped(f"{risk.why} {risk.do}", head="    ")
    return lines


def _times(sheet: CarrySheet) -> list[str]:
    origin, target = (shortened(one_line(n), 20) for n in (sheet.origin, sheet.target))
    lines = [f"  {'':<16}{origin:>22}{target:>22}"]
    lines += [
        f"  {shortened(one_line(s.label), 16):<16}{duration(s.from_s):>22}{duration(s.to_s):>22}"
        for s in sheet.time.shares
    ]
    return lines


def _beliefs(sheet: CarrySheet) -> list[str]:
    texts = []
    for belief in sheet.beliefs:
        before, after, unit = shown_belief(belief)
        was, now = (belief_words(v[0], v[1], v[2], unit) for v in (before, after))
        texts.append(f"{one_line(belief.name)}: {now}, before {was}. Rests on: {one_line(str(belief.kind))}.")
    return _bullets(texts)


def schedule_lines(sheet: CarrySheet) -> list[str]:
    """Return the hand schedule as lines: when, what, to which value, and how late is safe."""
    lines = [f"  {'clock ' + clock_unit(sheet):<18}{'set':<16}{'to':<12}{'layer':<18}safe"]
    for step in hand_steps(sheet):
        lines.append(f"  {step.clock:<18}{step.what:<16}{step.value:<12}{step.layer:<18}{shortened(step.safe, 34)}")  # noqa: PERF401
    for text in hand_cost(sheet):
        lines += _wrapped(text, head="  ")
    return lines


def visits_text(sheet: CarrySheet) -> str:
    """Return the hand schedule alone, for the terminal."""
    title = f"{one_line(sheet.job)} on {one_line(sheet.target)}"
    if sheet.hand is None:
        return plain("\n".join(_wrapped(f"{title}: nothing to do by hand, the controller does it all."))) + "\n"
    visits = len(sheet.hand.visits)
    head = f"{title}: {plural(visits, 'visit')}" + (
        f" in the first {duration(sheet.hand.visits[-1].at_s)}" if visits else ""
    )
    return plain("\n".join([*_wrapped(head), "", *schedule_lines(sheet)])) + "\n"
