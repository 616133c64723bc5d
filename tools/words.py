"""Bring the catalogues up to date: every text of the source is in them, new ones untranslated.  A code begins a language."""  # noqa: INP001

from __future__ import annotations

import ast
import sys
from pathlib import Path

from babel import Locale
from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_dir
from babel.messages.pofile import read_po, write_po

ROOT = Path(__file__).parents[1]
SOURCE = ROOT / "src" / "vatwright"
SHELF = SOURCE / "languages"
CALLS = {"say": (0,), "to_say": (0,), "say_many": (1, 2), "to_say_many": (1, 2)}
"""What is called to say something: where among its arguments the texts stand."""

IN_TEMPLATES = {name: tuple(n + 1 for n in places) if len(places) > 1 else None for name, places in CALLS.items()}

HEADER = (
    "# What Vatwright says, in {name}.\n"
    "# Each text stands in English with its translation beneath; what stands in {{braces}} stays as it is."
)


def gathered() -> Catalog:
    """Return every text that the source says, in the order of its files."""
    found = Catalog(project="Vatwright", charset="utf-8")
    for path in sorted(SOURCE.rglob("*.py")):
        for line, texts in _said(ast.parse(path.read_text(encoding="utf-8"))):
            found.add(texts if len(texts) > 1 else texts[0], None, [(str(path.relative_to(ROOT)), line)])
    shelves = extract_from_dir(SOURCE, [("**/templates/**.html", "jinja2")], keywords=IN_TEMPLATES)
    for file, line, texts, _, _ in sorted(shelves, key=lambda t: (t[0], t[1], str(t[2]))):
        found.add(texts, None, [(f"src/vatwright/{file}", line)])
    return found


def _said(tree: ast.AST) -> list[tuple[int, tuple[str, ...]]]:
    """Return the texts of a module, each with its line, wherever they are said: inside of other texts too."""
    calls = [
        n for n in ast.walk(tree) if isinstance(n, ast.Call) and isinstance(n.func, ast.Name) and n.func.id in CALLS
    ]
    found = []
    for call in calls:
        texts = [call.args[n] for n in CALLS[call.func.id] if n < len(call.args)]
        if texts and all(isinstance(t, ast.Constant) and isinstance(t.value, str) for t in texts):
            found.append((call.lineno, tuple(t.value for t in texts)))
    return sorted(found)


def brought_up_to_date(path: Path, texts: Catalog) -> None:
    """Write a catalogue anew: the texts of today with the translations that they had."""
    locale = Locale.parse(path.stem)
    before = read_po(path.open("rb"), locale=locale) if path.is_file() else Catalog(locale=locale)
    after = Catalog(locale=locale, project="Vatwright", charset="utf-8", fuzzy=False)
    after.header_comment = HEADER.format(name=locale.english_name)
    for message in texts:
        if message.id:
            had = before.get(message.id)
            string = had.string if had is not None and had.pluralizable == message.pluralizable else None
            after.add(message.id, string, message.locations)
    with path.open("wb") as file:
        write_po(file, after, width=120, include_lineno=False, omit_header=False)
    kept = [line for line in path.read_text(encoding="utf-8").splitlines() if not line.startswith(DATED)]
    path.write_text("\n".join(kept).rstrip() + "\n", encoding="utf-8")


DATED = ('"POT-Creation-Date', '"PO-Revision-Date', '"Last-Translator', '"Language-Team', '"Report-Msgid', '"Generated-By',
         '"Project-Id')  # fmt: skip
"""Lines of a catalogue's head that would change with every run."""


if __name__ == "__main__":
    today = gathered()
    for path in {*SHELF.glob("*.po"), *(SHELF / f"{code}.po" for code in sys.argv[1:])}:
        brought_up_to_date(path, today)
