"""Make ``0001.sqlite``: a small notebook as the first schema had it.

Run once, when that schema was the newest: ``python tests/store/old_schemas/make_0001.py``.  It uses nothing but the
migration itself and plain SQL, and the texts below are those of that time.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
from contextlib import closing
from pathlib import Path

from alembic.migration import MigrationContext
from alembic.operations import Operations
from alembic.script import ScriptDirectory
from sqlalchemy import create_engine

import vatwright.store

HERE = Path(__file__).parent
APPLICATION_ID = 0x56545752

MACHINE = """[[machine]]
name = "Wren"
height_mm = 165
stiffness_N_mm = { value = 240, sigma = 40 }

[machine.platform]
width_mm = 150
depth_mm = 92
"""
RESIN = """[[resin]]
name = "slate"
viscosity = [
  { temperature_c = 25, viscosity_mPa_s = 250 },
]
"""
RECIPE = """[[recipe]]
name = "slate on Wren"
machine = "Wren"
resin = "slate"
layer_mm = 0.05
base_layers = 4

[recipe.base]
exposure_s = 30
settle_s = 30

[recipe.body]
exposure_s = 2.6
settle_s = SETTLE
peel_lift_mm = 2
peel_speed_mm_s = 1
clear_speed_mm_s = 3
return_speed_mm_s = 3

[recipe.proven]
runs = 3
room_c = 22
load = { pieces = 6, piece_area_mm2 = 400, height_mm = 10 }
"""
JOB = f"""[job]
name = "bishops"
recipe = "slate on Wren"
to = "Wren"
room_c = 18

[[part]]
file = "/workshop/bishop.stl"
unit = "mm"
count = 4

{MACHINE}
{RESIN}
{RECIPE.replace("SETTLE", "2")}"""
RUN = {
    "schema": "vatwright.outcome/1", "run": "bishops, first try", "at": "2026-02-03T09:30:00+01:00", "held": False,
    "job": "bishops", "recipe": "slate on Wren", "machine": "Wren", "resin": "slate", "room_C": 18,
    "settings": {"body.settle_s": 4.5}, "events": [{"what": "layer_split", "layer": 412}],
    "readings": [{"quantity": "first_layer_um", "value": 62, "sigma": 15, "at": {}}], "film": "Wren, film 7",
}  # fmt: skip
"""Its film is known to its text alone: the column for it came with schema 0002."""


def rows():
    """Every row, as (table, values)."""
    digest = hashlib.sha256(JOB.encode()).hexdigest()
    run = json.dumps(RUN, ensure_ascii=False)
    saved = "2026-02-01T08:00:00.000000+00:00"
    noted = "2026-02-03T20:00:00.000000+00:00"
    recipe = {"name": "slate on Wren", "machine": "Wren", "resin": "slate", "document": RECIPE.replace("SETTLE", "2")}
    film = {"name": "Wren, film 7", "machine": "Wren", "material": "FEP", "fitted": "2026-01-12", "removed": None,
            "layers": 21400, "used_s": 345600.0}  # fmt: skip
    run_row = {"name": RUN["run"], "at": "2026-02-03T08:30:00.000000+00:00", "job": "bishops", "job_digest": digest,
               "machine": "Wren", "resin": "slate", "held": 0, "document": run}  # fmt: skip
    job = {"digest": digest, "name": "bishops", "recipe": "slate on Wren", "machine": "Wren", "resin": "slate",
           "noted": noted, "document": JOB, "parts": json.dumps([["/workshop/bishop.stl", None]])}  # fmt: skip
    kept = [
        (1, "machine", {"name": "Wren", "document": MACHINE}), (1, "resin", {"name": "slate", "document": RESIN}),
        (1, "recipe", recipe), (1, "film", film), (2, "job", job), (2, "run", run_row),
    ]  # fmt: skip
    for _, table, values in kept:
        yield table, values
    for settle, at in (("1.5", "2026-01-15T08:00:00.000000+00:00"), ("2", saved)):
        document = RECIPE.replace("SETTLE", settle)
        yield "recipe_version", {
            "recipe": "slate on Wren", "saved": at, "digest": hashlib.sha256(document.encode()).hexdigest(),
            "document": document,
        }  # fmt: skip
    yield "change", {"number": 1, "at": saved, "what": "add shop.toml", "undoes": None}
    yield "change", {"number": 2, "at": noted, "what": "run bishops, first try", "undoes": None}
    for position, (change, kind, values) in enumerate(kept):
        text = json.dumps(values, sort_keys=True, ensure_ascii=False)
        name = values.get("digest") or values["name"]
        yield "change_row", {
            "change": change, "position": position, "kind": kind, "name": name, "before": None, "after": text
        }  # fmt: skip


def make_schema(connection):
    """Make the tables of the first schema through an SQLAlchemy connection."""
    script = ScriptDirectory(str(Path(vatwright.store.__file__).with_name("migrations")))
    context = MigrationContext.configure(connection)
    with Operations.context(context):
        script.get_revision("0001").module.upgrade()
        context.stamp(script, "0001")


def main():
    """Make the file anew."""
    path = HERE / "0001.sqlite"
    path.unlink(missing_ok=True)
    engine = create_engine(f"sqlite:///{path}")
    with engine.begin() as connection:
        make_schema(connection)
    engine.dispose()
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute(f"PRAGMA application_id={APPLICATION_ID}")
        for table, values in rows():
            marks = ", ".join("?" * len(values))
            statement = f"INSERT INTO {table} ({', '.join(values)}) VALUES ({marks})"  # noqa: S608 - our own names
            connection.execute(statement, tuple(values.values()))
        connection.commit()
        connection.execute("PRAGMA page_size=512")
        connection.execute("VACUUM")


if __name__ == "__main__":
    main()
