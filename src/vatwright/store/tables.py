"""The tables of a notebook, the same on both databases, and the column types that make them behave the same.

What a migration has made must be what stands here: a test compares the two.
"""

from __future__ import annotations

import math
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, Any

from sqlalchemy import CheckConstraint, Column, Double, ForeignKey, Index, Integer, MetaData, Table, Text
from sqlalchemy.dialects.postgresql import TIMESTAMP
from sqlalchemy.dialects.sqlite import REAL
from sqlalchemy.types import TypeDecorator

if TYPE_CHECKING:
    from sqlalchemy.engine import Dialect
    from sqlalchemy.schema import SchemaItem
    from sqlalchemy.types import TypeEngine

HEAD = "0002"
"""The schema that this version of the program writes."""


class UtcTime(TypeDecorator[datetime]):
    """A moment, kept in UTC; a time without a zone is refused, because nobody can say which moment it is."""

    impl = Text
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        """Return what the database has for it; SQLite has nothing, so text that sorts as time does."""
        kind: TypeEngine[Any] = TIMESTAMP(timezone=True) if dialect.name == "postgresql" else Text()
        return dialect.type_descriptor(kind)

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | str | None:
        """Turn it to UTC."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"{value} has no time zone")
        moment = value.astimezone(UTC)
        return moment if dialect.name == "postgresql" else moment.isoformat(timespec="microseconds")

    def process_result_value(self, value: datetime | str | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002
        """Return it in UTC."""
        if value is None:
            return None
        return datetime.fromisoformat(value) if isinstance(value, str) else value.astimezone(UTC)


class Day(TypeDecorator[date]):
    """A day, kept as text on both databases, as ISO 8601 writes it."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: date | None, dialect: Dialect) -> str | None:  # noqa: ARG002
        """Write it."""
        return None if value is None else value.isoformat()

    def process_result_value(self, value: str | None, dialect: Dialect) -> date | None:  # noqa: ARG002
        """Read it."""
        return None if value is None else date.fromisoformat(value)


class Real(TypeDecorator[float]):
    """A float of 64 bits; what is not a finite number is refused, whatever the database would say to it."""

    impl = Double
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[float]:
        """Return the name a STRICT table of SQLite knows it by."""
        return dialect.type_descriptor(REAL() if dialect.name == "sqlite" else Double())

    def process_bind_param(self, value: float | None, dialect: Dialect) -> float | None:  # noqa: ARG002
        """Refuse what no measurement gives."""
        if value is not None and not math.isfinite(value):
            raise ValueError(f"{value} is not a finite number")
        return value


metadata = MetaData()


def _table(name: str, *columns: SchemaItem) -> Table:
    return Table(name, metadata, *columns, sqlite_strict=True)


def _key() -> Column[str]:
    return Column("name", Text, CheckConstraint("name <> ''"), primary_key=True)


def _refers(column: str, to: str) -> Column[str]:
    return Column(column, Text, ForeignKey(f"{to}.name"), nullable=False, index=True)


machine = _table("machine", _key(), Column("document", Text, nullable=False))
resin = _table("resin", _key(), Column("document", Text, nullable=False))
recipe = _table(
    "recipe", _key(), _refers("machine", "machine"), _refers("resin", "resin"), Column("document", Text, nullable=False)
)

recipe_version = _table(
    "recipe_version",
    Column("recipe", Text, primary_key=True),
    Column("saved", UtcTime, primary_key=True),
    Column("digest", Text, primary_key=True),
    Column("document", Text, nullable=False),
)
"""Every version of a recipe that was ever saved; nothing is taken out of it, not even by an undo."""

film = _table(
    "film",
    _key(),
    _refers("machine", "machine"),
    Column("material", Text, nullable=False),
    Column("fitted", Day),
    Column("removed", Day),
    Column("layers", Integer, CheckConstraint("layers >= 0"), nullable=False),
    Column("used_s", Real, CheckConstraint("used_s >= 0"), nullable=False),
)
screen = _table(
    "screen",
    _key(),
    _refers("machine", "machine"),
    Column("fitted", Day),
    Column("removed", Day),
    Column("used_s", Real, CheckConstraint("used_s >= 0"), nullable=False),
)
lot = _table(
    "lot",
    _key(),
    _refers("resin", "resin"),
    Column("left_m3", Real, CheckConstraint("left_m3 >= 0"), nullable=False),
    Column("opened", Day),
    Column("expires", Day),
)
station = _table(
    "station",
    _key(),
    Column("kind", Text, CheckConstraint("kind in ('wash', 'cure')"), nullable=False),
    Column("width_m", Real, nullable=False),
    Column("depth_m", Real, nullable=False),
    Column("height_m", Real, nullable=False),
    Column("bath_m3", Real),
    Column("solvent", Text, nullable=False),
    Column("irradiance_w_m2", Real),
)
price = _table("price", _key(), Column("amount", Real, nullable=False), Column("per", Text, nullable=False))

job = _table(
    "job",
    Column("digest", Text, primary_key=True),
    Column("name", Text, nullable=False, index=True),
    Column("recipe", Text, nullable=False),
    Column("machine", Text, nullable=False),
    Column("resin", Text, nullable=False),
    Column("noted", UtcTime, nullable=False),
    Column("document", Text, nullable=False),
    Column("parts", Text, nullable=False),
)
"""Jobs by what they hold, so that a run keeps its job as it was; `parts` lists each part file with its SHA-256."""

run = _table(
    "run",
    _key(),
    Column("at", UtcTime, nullable=False),
    Column("job", Text, nullable=False),
    Column("job_digest", Text, ForeignKey("job.digest"), index=True),
    Column("machine", Text, nullable=False),
    Column("resin", Text, nullable=False),
    Column("held", Integer, CheckConstraint("held in (0, 1)"), nullable=False),
    Column("document", Text, nullable=False),
    Column("film", Text, nullable=False, server_default=""),
    Index("ix_run_machine_resin_at", "machine", "resin", "at"),
    Index("ix_run_film", "film"),
)

change = _table(
    "change",
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("at", UtcTime, nullable=False),
    Column("what", Text, nullable=False),
    Column("undoes", Integer, ForeignKey("change.number"), unique=True),
)
"""Every change, numbered from 1 without gaps; what takes one back is a change too."""

change_row = _table(
    "change_row",
    Column("change", Integer, ForeignKey("change.number"), primary_key=True),
    Column("position", Integer, primary_key=True),
    Column("kind", Text, nullable=False),
    Column("name", Text, nullable=False),
    Column("before", Text),
    Column("after", Text),
    CheckConstraint("before is not null or after is not null"),
    Index("ix_change_row_kind_name", "kind", "name"),
)
"""What each change found and left: whole rows as JSON, nothing where there was none."""
