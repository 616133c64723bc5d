"""Bring the catalogues up to date: every text of the source is in them, new ones untranslated.  A code begins a language."""  # noqa: INP001

from __future__ import annotations

import sys
from pathlib import Path

from babel import Locale
from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_dir
from babel.messages.pofile import read_po, write_po

ROOT = Path(__file__).parents[1]
SOURCE = ROOT / "src" / "vatwright"
SHELF = SOURCE / "languages"
CALLS = {"say": None, "to_say": None, "say_many": (2, 3), "to_say_many": (2, 3)}
FILES = [("**.py", "python"), ("**/templates/**.html", "jinja2")]
HEADER = (
    "# What Vatwright says, in {name}.\n"
    "# Each text stands in English with its translation beneath; what stands in {{braces}} stays as it is."
)


def gathered() -> Catalog:
    """Return every text that the source says, in the order of its files."""
    found = Catalog(project="Vatwright", charset="utf-8")
    texts = sorted(
        extract_from_dir(SOURCE, FILES, keywords=CALLS, options_map={"**.html": {"trimmed": "true"}}),
        key=lambda t: (t[0], t[1]),
    )
    for file, line, message, notes, context in texts:
        found.add(message, None, [(f"src/vatwright/{file}", line)], auto_comments=notes, context=context)
    return found


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
