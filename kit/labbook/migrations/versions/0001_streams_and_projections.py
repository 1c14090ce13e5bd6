"""Streams, their entries, and the rows derived from them."""

import sqlalchemy as sa
from alembic import op

from kit.labbook.migrations.append_only import guard

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables, their indexes and their guards."""
    _record()
    _studies()
    _equipment_and_formulas()
    _batch_rows()


def downgrade() -> None:
    """Not offered: an older kit cannot read what a newer one wrote; the backup made before the step can."""
    raise NotImplementedError("a lab book is never taken back to an older schema")


def _record() -> None:
    op.create_table("stream", _id(), _text("name"), _text("kind"), _primary("stream"), _unique("stream", "name"))
    op.create_index("ix_stream_kind", "stream", ["kind"])
    guard("stream", ("name",))
    op.create_table(
        "entry",
        _id(),
        sa.Column("stream_id", sa.Integer(), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        _text("kind"),
        _text("text"),
        _text("hash"),
        _primary("entry"),
        _refers("entry", "stream_id", "stream"),
        _unique("entry", "stream_id", "seq"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_entry_stream_id_kind", "entry", ["stream_id", "kind"])
    guard("entry", ("stream_id", "seq"))


def _studies() -> None:
    _projection("study", _text("name"), index=["name"])
    _projection("trial", _text("study"), _text("name"), _text("formula", True), index=["study", "name"])


def _equipment_and_formulas() -> None:
    _projection("instrument", _text("name"), _text("kind"), index=["name"])
    _projection("calibration", _text("instrument"), _text("name"), index=["instrument", "name"])
    columns = (_text("fingerprint"), _text("name"), _text("version"))
    _projection("formula_version", *columns, index=["name"], unique=("fingerprint",))


def _batch_rows() -> None:
    number = sa.Column("number", sa.Integer(), nullable=False)
    columns = (_text("study"), _text("trial"), number, _text("formula", True))
    _projection("batch", *columns, index=["stream_id"], unique=("study", "trial", "number"), of_batch=True)
    mass = (_text("mass_g_text"), sa.Column("mass_g", sa.Float(), nullable=False))
    _projection("weighing", _text("material"), *mass, index=["stream_id"], of_batch=True)
    value = (sa.Column("value", sa.Float(), nullable=True), _text("value_text", True), _text("unit", True))
    columns = (_text("property"), *value, _text("measured_at", True))
    _projection("reading", *columns, index=["stream_id", "property"], of_batch=True)


def _projection(name: str, *columns, index: list[str], unique: tuple[str, ...] = (), of_batch: bool = False) -> None:
    parts = [_id(), sa.Column("entry_id", sa.Integer(), nullable=False), _refers(name, "entry_id", "entry")]
    if of_batch:
        parts += [sa.Column("stream_id", sa.Integer(), nullable=False), _refers(name, "stream_id", "stream")]
    if unique:
        parts.append(_unique(name, *unique))
    op.create_table(name, *parts, *columns, _primary(name))
    op.create_index(f"ix_{name}_{'_'.join(index)}", name, index)
    guard(name, *([unique] if unique else []))


def _id() -> sa.Column:
    return sa.Column("id", sa.Integer(), nullable=False)


def _text(name: str, nullable: bool = False) -> sa.Column:
    return sa.Column(name, sa.Text(), nullable=nullable)


def _primary(table: str) -> sa.PrimaryKeyConstraint:
    return sa.PrimaryKeyConstraint("id", name=f"pk_{table}")


def _unique(table: str, *columns: str) -> sa.UniqueConstraint:
    return sa.UniqueConstraint(*columns, name=f"uq_{table}_{'_'.join(columns)}")


def _refers(table: str, column: str, target: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint([column], [f"{target}.id"], name=f"fk_{table}_{column}")
