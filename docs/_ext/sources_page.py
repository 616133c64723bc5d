"""Write the sources page and the reference pages from what the package itself says."""

from __future__ import annotations

import importlib
import pkgutil
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


def sources_page() -> str:
    """Return the list of sources as Markdown."""
    from vatwright.sources import all_sources

    unopened = sum(not s.at_hand for s in all_sources())
    told = (
        f"{unopened} of {len(all_sources())} were not at hand: they are cited as others cite them, and what is taken "
        "from them is checked by other means in the tests wherever that is possible."
    )
    lines = ["# Sources", "", f"Every coefficient, formula and check names one of these. {told}", ""]
    for source in sorted(all_sources(), key=lambda s: s.key):
        link = f" <{source.link}>" if source.link else ""
        lines += [f"`{source.key}`", f": {source.citation} *({source.kind})*{link} {source.note}".rstrip(), ""]
    return "\n".join(lines)


def setup(app: Any) -> dict[str, Any]:
    """Tie the pages to the build."""
    app.connect("builder-inited", write_pages)
    return {"version": "1", "parallel_read_safe": True}
