"""Runs know their film by a column, so that a film's runs are found without reading every run."""

from __future__ import annotations

import json

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Add the column, fill it from the runs' own texts, and bring the rows kept by the changes along."""
    op.add_column("run", sa.Column("film", sa.Text, nullable=False, server_default=""))
    op.create_index("ix_run_film", "run", ["film"])
    connection = op.get_bind()
    run = sa.table("run", sa.column("name", sa.Text), sa.column("document", sa.Text), sa.column("film", sa.Text))
    for name, document in connection.execute(sa.select(run.c.name, run.c.document)).all():
        connection.execute(run.update().where(run.c.name == name).values(film=_film_of(document)))
    row = sa.table("change_row", *(sa.column(c) for c in ("change", "position", "kind", "before", "after")))
    for kept in connection.execute(sa.select(row).where(row.c.kind == "run")).all():
        both = {side: _with_film(getattr(kept, side)) for side in ("before", "after")}
        here = (row.c.change == kept.change) & (row.c.position == kept.position)
        connection.execute(row.update().where(here).values(both))


def _film_of(document: str) -> str:
    return str(json.loads(document).get("film", ""))


def _with_film(text: str | None) -> str | None:
    if text is None:
        return None
    values = json.loads(text)
    return json.dumps(values | {"film": _film_of(values["document"])}, sort_keys=True, ensure_ascii=False)
