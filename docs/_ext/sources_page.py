"""Write the sources page and the reference pages from what the package itself says."""

from __future__ import annotations

import importlib
import pkgutil
import sys
from pathlib import Path
from typing import Any

ROOMS = {
    "physics": "Physics: one phenomenon a file, SI in and out",
    "geometry": "Geometry kernels: arrays in and out",
    "planning": "Planning: from records to a plan",
    "records": "Records",
    "services": "Services: one function for each thing a user does",
}


def write_pages(app: Any) -> None:
    """Write docs/reference/generated before the build reads it."""
    out = Path(app.srcdir) / "reference" / "generated"
    out.mkdir(parents=True, exist_ok=True)
    for room, title in ROOMS.items():
        package = importlib.import_module(f"vatwright.{room}")
        names = sorted(m.name for m in pkgutil.iter_modules(package.__path__))
        lines = [title, "=" * len(title), ""]
        for name in names:
            module = f"vatwright.{room}.{name}"
            lines += [f"{name}", "-" * len(name), "", f".. automodule:: {module}", "   :members:", ""]
        (out / f"{room}.rst").write_text("\n".join(lines), encoding="utf-8")
    (out / "sources.md").write_text(sources_page(), encoding="utf-8")
    (out / "published.md").write_text(published_page(), encoding="utf-8")


def sources_page() -> str:
    """Return the list of sources as Markdown."""
    from vatwright.sources import all_sources

    unopened = sum(not s.at_hand for s in all_sources())
    told = (
        f"{unopened} of {len(all_sources())} were not at hand: they are cited as others cite them, and what is taken "
        "from them is checked by other means in the tests wherever that is possible."
    )
    lines = ["# Sources", "", f"Every coefficient, formula and check names one of these. {told}", ""]
    lines += ["| key | at hand | what it is | source |", "| --- | --- | --- | --- |"]
    for source in all_sources():
        link = f" <{source.link}>" if source.link else ""
        note = "" if source.note.rstrip(".").lower() == "not at hand" else f" {source.note}"
        lines.append(f"| `{source.key}` | {_yes(source.at_hand)} | {source.kind} | {source.citation}{link}{note} |")
    return "\n".join([*lines, ""])


PUBLISHED = """# Checks against published values

What others print, or a general-purpose library gives, beside what comes out here; `tests/published/checks.py` holds every
row to what is allowed, and this page is made from it. *At hand* is whether the source of the formula was opened here. Many more
checks, by closed forms, limits and other libraries, stand in the tests themselves.

| quantity | theirs | from | ours | off by | allowed | formula | at hand |
| --- | --- | --- | --- | --- | --- | --- | --- |
"""


def published_page() -> str:
    """Return the table of published checks as Markdown."""
    sys.path.insert(0, str(Path(__file__).parents[2]))
    checks = importlib.import_module("tests.published.checks").checks()
    return PUBLISHED + "".join(_published(check) for check in checks)


def _published(check: Any) -> str:
    from vatwright.sources import source

    ours = check.ours()
    cells = (
        check.quantity, f"{check.theirs:.7g}", check.read, f"{ours:.7g}", f"{abs(ours - check.theirs):.1g}",
        f"{check.allowed:.2g}", f"`{check.source}`", _yes(source(check.source).at_hand),
    )  # fmt: skip
    return f"| {' | '.join(cells)} |\n"


def _yes(at_hand: bool) -> str:
    return "yes" if at_hand else "no"


def setup(app: Any) -> dict[str, Any]:
    """Tie the pages to the build."""
    app.connect("builder-inited", write_pages)
    return {"version": "1", "parallel_read_safe": True}
