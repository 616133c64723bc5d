"""The first schema.

Written out and not taken from `tables`, which goes on changing.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from vatwright.store.tables import Day, Real, UtcTime

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the tables."""
    for name in ("machine", "resin"):
        _table(name, _key(), sa.Column("document", sa.Text, nullable=False))
    _table(
        "recipe", _key(), _refers("machine", "machine"), _refers("resin", "resin"),
        sa.Column("document", sa.Text, nullable=False),
    )  # fmt: skip
    _table(
        "recipe_version",
        sa.Column("recipe", sa.Text, primary_key=True),
        sa.Column("saved", UtcTime, primary_key=True),
        sa.Column("digest", sa.Text, primary_key=True),
        sa.Column("document", sa.Text, nullable=False),
    )
    _stock()
    _runs()
    _changes()
    for table, *columns in (
        ("recipe", "machine"), ("recipe", "resin"), ("film", "machine"), ("screen", "machine"), ("lot", "resin"),
        ("job", "name"), ("run", "job_digest"), ("run", "machine", "resin", "at"), ("change_row", "kind", "name"),
    ):  # fmt: skip
        op.create_index(f"ix_{'_'.join((table, *columns))}", table, columns)


def _stock() -> None:
    _table(
        "film", _key(), _refers("machine", "machine"), sa.Column("material", sa.Text, nullable=False),
        *(sa.Column(day, Day) for day in ("fitted", "removed")), _not_negative("layers", sa.Integer()),
        _not_negative("used_s", Real()),
    )  # fmt: skip
    _table(
        "screen",
        _key(),
        _refers("machine", "machine"),
        *(sa.Column(day, Day) for day in ("fitted", "removed")),
        _not_negative("used_s", Real()),
    )
    _table(
        "lot", _key(), _refers("resin", "resin"), _not_negative("left_m3", Real()), sa.Column("opened", Day),
        sa.Column("expires", Day),
    )  # fmt: skip
    _table(
        "station", _key(),
        sa.Column("kind", sa.Text, sa.CheckConstraint("kind in ('wash', 'cure')"), nullable=False),
        *(sa.Column(f"{side}_m", Real, nullable=False) for side in ("width", "depth", "height")),
        sa.Column("bath_m3", Real), sa.Column("solvent", sa.Text, nullable=False), sa.Column("irradiance_w_m2", Real),
    )  # fmt: skip
    _table("price", _key(), sa.Column("amount", Real, nullable=False), sa.Column("per", sa.Text, nullable=False))


def _runs() -> None:
    _table(
        "job",
        sa.Column("digest", sa.Text, primary_key=True),
        *(sa.Column(c, sa.Text, nullable=False) for c in ("name", "recipe", "machine", "resin")),
        sa.Column("noted", UtcTime, nullable=False),
        *(sa.Column(c, sa.Text, nullable=False) for c in ("document", "parts")),
    )
    _table(
        "run", _key(),
        sa.Column("at", UtcTime, nullable=False),
        sa.Column("job", sa.Text, nullable=False),
        sa.Column("job_digest", sa.Text, sa.ForeignKey("job.digest")),
        *(sa.Column(c, sa.Text, nullable=False) for c in ("machine", "resin")),
        sa.Column("held", sa.Integer, sa.CheckConstraint("held in (0, 1)"), nullable=False),
        sa.Column("document", sa.Text, nullable=False),
    )  # fmt: skip


def _changes() -> None:
    _table(
        "change",
        sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("at", UtcTime, nullable=False),
        sa.Column("what", sa.Text, nullable=False),
        sa.Column("undoes", sa.Integer, sa.ForeignKey("change.number"), unique=True),
    )
    _table(
        "change_row",
        sa.Column("change", sa.Integer, sa.ForeignKey("change.number"), primary_key=True),
        sa.Column("position", sa.Integer, primary_key=True),
        *(sa.Column(c, sa.Text, nullable=False) for c in ("kind", "name")),
        *(sa.Column(c, sa.Text) for c in ("before", "after")),
        sa.CheckConstraint("before is not null or after is not null"),
    )


def _table(name: str, *columns: sa.schema.SchemaItem) -> None:
    op.create_table(name, *columns, sqlite_strict=True)


def _key() -> sa.Column[str]:
    return sa.Column("name", sa.Text, sa.CheckConstraint("name <> ''"), primary_key=True)


def _refers(column: str, to: str) -> sa.Column[str]:
    return sa.Column(column, sa.Text, sa.ForeignKey(f"{to}.name"), nullable=False)


def _not_negative(column: str, kind: sa.types.TypeEngine[float] | sa.types.TypeEngine[int]) -> sa.Column[float]:
    return sa.Column(column, kind, sa.CheckConstraint(f"{column} >= 0"), nullable=False)
