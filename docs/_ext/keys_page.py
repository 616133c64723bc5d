"""Write the reference of every key of shop, stock and job files."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from vatwright.quantities import TableKey

HEAD = """# Keys of shop, stock and job files

Every key of machine, resin, recipe and job, and of what a stock file holds. The unit
stands in the key's name; what may be missing says what then stands in.
A value *with range* is a number, `{ value = 12, low = 8, high = 15 }` or `{ value = 12, sigma = 1 }`; a bare number is then
known to within the factor given. The ranges are engineering estimates that catch slipped decimal points, no source; so are the
values that stand in. What the keys mean together is on [Files](../files.md).
"""
TITLES = {
    "part": "[[part]], and [[recipe.proven.part]]",
    "job": "[job]",
    "machine.controller.rule": "a rule of [machine.controller]",
}
LISTED = ("machine", "resin", "recipe", "film", "screen", "lot", "station", "price")


def write_pages(app: Any) -> None:
    """Write the page before the build reads it."""
    out = Path(app.srcdir) / "reference" / "generated"
    out.mkdir(parents=True, exist_ok=True)
    (out / "keys.md").write_text(keys_page(), encoding="utf-8")


def keys_page() -> str:
    """Return the page as Markdown."""
    from vatwright.quantities import TABLES, Takes

    lines = [HEAD]
    for path, keys in TABLES.items():
        rows = [_row(path, key) for key in keys if key.holds not in (Takes.TABLE, Takes.TABLES)]
        if rows:
            lines += [
                f"## {_title(path)}",
                "",
                "| key | takes | missing | changes |",
                "| --- | --- | --- | --- |",
                *rows,
                "",
            ]
    return "\n".join(lines)


def _title(path: str) -> str:
    """Return how a table is headed in a file: in double brackets where there may be several."""
    from vatwright.quantities import TABLES, Takes

    outer, _, name = path.rpartition(".")
    several = path in LISTED or any(k.name == name and k.holds is Takes.TABLES for k in TABLES.get(outer, ()))
    return TITLES.get(path) or (f"[[{path}]]" if several else f"[{path}]")


def _row(path: str, key: TableKey) -> str:
    return f"| `{key.name}` | {_takes(key)} | {_missing(path, key)} | {key.changes} |"


def _takes(key: TableKey) -> str:
    from vatwright.files.fields import spelled
    from vatwright.quantities import Takes

    unit = spelled(key.unit)
    if key.words:
        one = "several of " if key.holds is Takes.WORDS else ""
        return one + ", ".join(f"`{word}`" for word in key.words)
    if not key.high:
        return {
            Takes.TEXT: "text",
            Takes.DAY: "a day, as in `2026-03-01`",
            Takes.YES_NO: "`true`, `false`",
            Takes.RULE: "a rule",
        }[key.holds]
    known = f", with range; bare: within {key.factor:.3g} times" if key.factor else ""
    whole = ", whole" if key.holds is Takes.WHOLE else ""
    return f"{key.low} to {key.high}{unit}{whole}{known}"


def _missing(path: str, key: TableKey) -> str:
    from vatwright.files.bench_numbers import exact_bench
    from vatwright.files.fields import spelled
    from vatwright.quantities import Takes

    if key.needs:
        return "must be said"
    if key.prior is not None:
        low, median, high = (float(exact_bench(v, key.unit)) for v in (key.prior.low, key.prior.value, key.prior.high))
        return f"{median:.4g} ({low:.4g} to {high:.4g}){spelled(key.unit)}"
    if key.default is not None or key.empty:
        return f"`{key.default}`" if key.default is not None else key.empty
    if key.holds is Takes.RULE:
        return "obeyed"
    found = _default(path, key.attribute)
    if isinstance(found, tuple):
        return ", ".join(f"`{word}`" for word in found)
    if isinstance(found, float):
        return f"{float(exact_bench(found, key.unit)):g}{spelled(key.unit)}"
    return f"`{found}`" if isinstance(found, int) else "not known"


def _default(path: str, attribute: str) -> object:
    """Return what the record itself takes where nobody says it, None where it takes nothing."""
    from attrs import fields

    from vatwright.records import job, machine

    records: dict[str, tuple[type, ...]] = {
        "machine": (machine.Machine,), "machine.light": (machine.Light,), "machine.motion": (machine.Motion,),
        "machine.controller": (machine.Controller,), "machine.controller.rule": (machine.Rule,),
        "job": (job.Job, job.Hands),
    }  # fmt: skip
    found = [f.default for record in records.get(path, ()) for f in fields(record) if f.name == attribute]
    return found[0] if found else None


def setup(app: Any) -> dict[str, Any]:
    """Tie the page to the build."""
    app.connect("builder-inited", write_pages)
    return {"version": "1", "parallel_read_safe": True}
