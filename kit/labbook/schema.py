"""The tables of a lab book, as SQLAlchemy Core sees them today.

`stream` and `entry` hold the record. The other tables are projections: rows derived from an entry and stored
in the same transaction, so that a query need not read texts. The entry is the truth, a projection a finding
aid. Nothing is ever updated or deleted: the triggers made by the migrations refuse it.

A change here needs a numbered step in `migrations/versions`; a test compares the two.
"""

from __future__ import annotations

from sqlalchemy import (
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
)

APPLICATION_ID = 0x43544B42
"""Written into the header of the SQLite file ("CTKB"): tells a lab book from any other database."""

VERSION = 2
"""The newest schema this kit knows; also the number of the last migration and SQLite's `user_version`."""

_NAMES = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s",
    "pk": "pk_%(table_name)s",
}
metadata = MetaData(naming_convention=_NAMES)


def _id() -> Column:
    return Column("id", Integer, primary_key=True)


def _text(name: str, nullable: bool = False) -> Column:
    return Column(name, Text, nullable=nullable)


def _entry() -> Column:
    return Column("entry_id", ForeignKey("entry.id"), nullable=False)


def _stream() -> Column:
    return Column("stream_id", ForeignKey("stream.id"), nullable=False)


stream = Table("stream", metadata, _id(), _text("name"), _text("kind"), UniqueConstraint("name"), Index(None, "kind"))

# The running number is never given twice: a hole in it, or an end below it, shows rows that were deleted.
entry = Table(
    "entry",
    metadata,
    _id(),
    _stream(),
    Column("seq", Integer, nullable=False),
    _text("kind"),
    _text("text"),
    _text("hash"),
    UniqueConstraint("stream_id", "seq"),
    Index(None, "stream_id", "kind"),
    sqlite_autoincrement=True,
)

study = Table("study", metadata, _id(), _entry(), _text("name"), Index(None, "name"))

trial = Table(
    "trial",
    metadata,
    _id(),
    _entry(),
    _text("study"),
    _text("name"),
    _text("formula", True),
    Index(None, "study", "name"),
)

batch = Table(
    "batch",
    metadata,
    _id(),
    _entry(),
    _stream(),
    _text("study"),
    _text("trial"),
    Column("number", Integer, nullable=False),
    _text("formula", True),
    UniqueConstraint("study", "trial", "number"),
    Index(None, "stream_id"),
    Index(None, "study", "formula"),
)

instrument = Table("instrument", metadata, _id(), _entry(), _text("name"), _text("kind"), Index(None, "name"))

calibration = Table(
    "calibration", metadata, _id(), _entry(), _text("instrument"), _text("name"), Index(None, "instrument", "name")
)

formula_version = Table(
    "formula_version",
    metadata,
    _id(),
    _entry(),
    _text("fingerprint"),
    _text("name"),
    _text("version"),
    UniqueConstraint("fingerprint"),
    Index(None, "name"),
)

weighing = Table(
    "weighing",
    metadata,
    _id(),
    _entry(),
    _stream(),
    _text("material"),
    _text("mass_g_text"),
    Column("mass_g", Float, nullable=False),
    Index(None, "stream_id"),
)

reading = Table(
    "reading",
    metadata,
    _id(),
    _entry(),
    _stream(),
    _text("property"),
    Column("value", Float, nullable=True),
    _text("value_text", True),
    _text("unit", True),
    _text("measured_at", True),
    Index(None, "stream_id", "property"),
)

PROJECTIONS = {
    table.name: table for table in (study, trial, batch, instrument, calibration, formula_version, weighing, reading)
}
"""Tables a caller may fill beside an entry; every one has `entry_id`, those of a batch `stream_id` too."""

GUARDED = (stream.name, entry.name, *PROJECTIONS)
"""Tables whose rows are never changed, deleted or replaced."""
