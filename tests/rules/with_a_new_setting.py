"""The tool as it would be with one more setting: a wait called ``cure_delay_s``, added in the two places that one costs.

Run as a program, in a process of its own, it writes as JSON where the new setting has arrived.
"""

from __future__ import annotations

import json
import sys
from importlib.abc import MetaPathFinder
from importlib.machinery import ModuleSpec, PathFinder, SourceFileLoader
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

TABLE_ROW = """    _key("cure_delay_s", Takes.NUMBER, **_WAIT, label="cure delay", changes="nothing but the time of a run"),
"""
RECORD_FIELD = """    cure_delay_s: float = field(default=0.0, validator=_not_negative)
"""
PLACES = {
    "vatwright.quantities": ('    _number(\n        "peel_lift_mm"', TABLE_ROW),
    "vatwright.records.process": ("    peel_lift_m: float", RECORD_FIELD),
}
"""Module: what stands behind the new line, and the line."""


class Edited(SourceFileLoader):
    """A module with one line more than its file has."""

    def get_code(self, fullname):
        before, line = PLACES[fullname]
        source = self.get_data(self.path).decode()
        if source.count(before) != 1:
            raise AssertionError(f"{before!r} is not once in {self.path}")
        return compile(source.replace(before, line + before), self.path, "exec", dont_inherit=True)


class Finder(MetaPathFinder):
    """Finds the two modules as they would be."""

    def find_spec(self, fullname, path, target=None) -> ModuleSpec | None:
        spec = PathFinder.find_spec(fullname, path, target) if fullname in PLACES else None
        if spec is not None and spec.origin is not None:
            spec.loader = Edited(fullname, spec.origin)
        return spec


BEFORE = "[recipe.body]\n"


def arrived() -> dict[str, object]:
    """Return where the setting is found."""
    from tests.golden.record import answer, workshop_in

    with TemporaryDirectory() as name:
        workshop = workshop_in(Path(name))
        shop = workshop / "shop.toml"
        text = shop.read_text(encoding="utf-8")
        shop.write_text(text.replace(BEFORE, f"{BEFORE}cure_delay_s = 7201\n"), encoding="utf-8")
        refused = mistakes(shop)
        shop.write_text(text.replace(BEFORE, f"{BEFORE}cure_delay_s = 7\n"), encoding="utf-8")
        sheet: Any = answer("carry harbour-lanterns.toml --json --without-notebook", workshop)
        return {
            "refused": refused,
            "row": [s for s in sheet["settings"] if "cure_delay" in s["name"]],
            "layers": len(sheet["layers"]["pull_N"]),
            "other_waits": next(s for s in sheet["time"]["shares"] if s["label"] == "other waits"),
            **in_files(workshop),
            **on_the_bench(workshop),
        }


def mistakes(shop: Path) -> str:
    """Return what reading a shop says is wrong."""
    from vatwright.errors import InputError
    from vatwright.files.read import read_shop

    try:
        read_shop(shop)
    except InputError as problem:
        return str(problem)
    return ""


def in_files(workshop: Path) -> dict[str, object]:
    """Return what a job and an outcome make of it."""
    from vatwright.files.outcome import outcome_of_text
    from vatwright.files.read import read_job
    from vatwright.files.write import write_job

    job = read_job(workshop / "harbour-lanterns.toml")
    said = {
        "schema": "vatwright.outcome/1", "run": "1", "at": "2026-03-01T12:00:00+00:00", "held": True, "job": "lanterns",
        "recipe": job.recipe.name, "machine": "Wren", "resin": "slate", "room_C": 18, "settings": {"body.cure_delay_s": 7},
    }  # fmt: skip
    return {
        "record_s": [p.cure_delay_s for p in (job.recipe.settings.base, job.recipe.settings.body)],  # type: ignore[attr-defined]
        "written": write_job(job).count("cure_delay_s = 7\n"),
        "outcome_s": outcome_of_text("run.json", json.dumps(said)).settings["body.cure_delay_s"],
    }


def on_the_bench(workshop: Path) -> dict[str, object]:
    """Return where pages, schemas and the reference show it."""
    from docs._ext.keys_page import keys_page
    from docs._ext.schemas import with_settings

    from vatwright.interfaces.web.shop_fields import fields_of

    schema = json.loads(Path("docs/schemas/outcome-1.schema.json").read_text(encoding="utf-8"))
    return {
        "form": [f.path for f in fields_of("recipe") if "cure_delay" in f.path],
        "schema": [
            n for n in with_settings(schema)["properties"]["settings"]["propertyNames"]["enum"] if "cure_delay" in n
        ],
        "reference": "cure_delay_s" in keys_page(),
    }


if __name__ == "__main__":
    sys.meta_path.insert(0, Finder())
    sys.stdout.write(json.dumps(arrived()) + "\n")
