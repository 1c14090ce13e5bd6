"""The triggers that refuse to change, delete or replace a row. Used by the migrations; released text stays."""

from __future__ import annotations

from alembic import op

RULE = "The lab book is append-only"


def guard(table: str, *keys: tuple[str, ...]) -> None:
    """Refuse UPDATE, DELETE and INSERT OR REPLACE on a SQLite table.

    Parameters
    ----------
    table : str                The table.
    keys : tuples of columns   Its unique keys beside `id`. REPLACE deletes without firing a delete trigger,
                               so a row whose key is taken is refused before the insert.
    """
    if op.get_bind().dialect.name != "sqlite":
        return
    for verb, words in (("UPDATE", "changed"), ("DELETE", "deleted")):
        op.execute(
            f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} BEGIN "
            f"SELECT RAISE(ABORT, '{RULE}: a row of {table} is never {words}.'); END"
        )
    taken = " OR ".join(
        f"EXISTS (SELECT 1 FROM {table} WHERE {' AND '.join(f'{column} = NEW.{column}' for column in key)})"
        for key in (("id",), *keys)
    )
    op.execute(
        f"CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table} WHEN {taken} BEGIN "
        f"SELECT RAISE(ABORT, '{RULE}: a row of {table} is never replaced, and this one is there already'); END"
    )
