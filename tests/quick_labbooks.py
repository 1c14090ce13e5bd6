"""New lab books without working out their tables anew: most of the time that making an empty one takes.

The first of a process is made by the numbered steps as always; what they made is kept as SQL, and the following ones
are made of it. An older file is migrated as always. The tests of the file itself take no part in it.
"""

from __future__ import annotations

import pytest
from sqlalchemy import Connection

from kit.labbook import migrate

_TABLES: list[str] = []
_STEP: list[tuple] = []


@pytest.fixture(autouse=True, scope="module")
def quick_labbooks(request: pytest.FixtureRequest):
    """For every module of a folder whose conftest takes it in, unless the module sets `REAL_STEPS`."""
    with pytest.MonkeyPatch.context() as patch:
        if not getattr(request.module, "REAL_STEPS", False):
            real = migrate._upgrade
            patch.setattr(migrate, "_upgrade", lambda connection: _upgrade(connection, real))
        yield


def _upgrade(connection: Connection, real) -> None:
    if connection.exec_driver_sql("SELECT count(*) FROM sqlite_master").scalar():
        real(connection)
    elif not _TABLES:
        real(connection)
        told = connection.exec_driver_sql("SELECT sql, name FROM sqlite_master WHERE sql IS NOT NULL ORDER BY rowid")
        _TABLES.extend(sql for sql, name in told if not name.startswith("sqlite_"))  # SQLite makes its own itself
        _STEP.extend(tuple(row) for row in connection.exec_driver_sql("SELECT version_num FROM alembic_version"))
    else:
        for sql in _TABLES:
            connection.exec_driver_sql(sql)
        connection.exec_driver_sql("INSERT INTO alembic_version (version_num) VALUES (?)", _STEP[0])
        connection.exec_driver_sql(f"PRAGMA user_version={migrate.schema.VERSION}")
