"""Making a lab book file, and bringing an older one to the schema of this kit.

Both run the numbered steps in `migrations/versions` through Alembic, in one transaction, without an ini file.
"""

from __future__ import annotations

import itertools
import os
import secrets
import sqlite3
from collections.abc import Callable
from contextlib import suppress
from datetime import date
from pathlib import Path

from sqlalchemy import Connection
from sqlalchemy.exc import DBAPIError

from kit.errors import RecordError
from kit.labbook import faults, schema, sqlite_file
from kit.labbook.times import Clock

MIGRATIONS = "kit.labbook:migrations"
"""Where the steps are, as a package and a folder in it, so that they are found in any installation."""


def make(path: Path, begin: Callable[[Connection], None]) -> None:
    """Make a lab book file: it appears whole, or not at all.

    Parameters
    ----------
    path : Path        Must not exist; its folder must.
    begin : callable   Writes the first entry, given the connection in its transaction.

    Raises
    ------
    RecordError   `labbook.exists`, `labbook.not_found` for the folder, `labbook.leftover`, or what the disk says.
    """
    with faults.in_words(str(path)):
        refuse_taken(path)
        draft = scratch_file(path)
        try:
            _fill(draft, begin)
            place(draft, path)
        finally:
            for leftover in (draft, *(draft.with_name(draft.name + end) for end in sqlite_file.BESIDE)):
                leftover.unlink(missing_ok=True)


def bring_up_to_date(path: Path, clock: Clock) -> Path | None:
    """Back an older lab book up beside it, then migrate it. A current one is left alone.

    Returns
    -------
    Path or None   The backup, where one was made.

    Raises
    ------
    RecordError   `labbook.newer`: written by a newer kit; it was not touched. `labbook.migration`: a step failed.
    """
    with faults.in_words(str(path)):
        raw = sqlite_file.connect(path, read_only=False)
        connection = sqlite_file.core_connection(raw)
        try:
            if is_current(sqlite_file.schema_version(raw), path):
                return None
            return _migrate(connection, raw, path, clock)
        finally:
            connection.close()
            connection.engine.dispose()


def is_current(found: int, path: Path) -> bool:
    """Whether a schema number is this kit's; False for an older one.

    Raises
    ------
    RecordError   `labbook.newer`.
    """
    if found > schema.VERSION:
        raise RecordError(
            f"{path.name} was written by a newer kit (schema {found}, this kit knows {schema.VERSION}); "
            "it was not touched.",
            where=str(path),
            mend="update the kit, then open the lab book again",
            code="labbook.newer",
        )
    return found == schema.VERSION


def place(draft: Path, path: Path) -> None:
    """Give a finished file its name without ever overwriting one that is there.

    Raises
    ------
    RecordError   `labbook.exists`: somebody else took the name meanwhile.
    """
    try:
        os.link(draft, path)
    except FileExistsError:
        raise _exists(path) from None
    except OSError:  # no hard links here: claim the name, then take it over
        try:
            path.open("xb").close()
        except FileExistsError:
            raise _exists(path) from None
        os.replace(draft, path)
    _sync_folder(path.parent)


def refuse_taken(path: Path) -> None:
    """Refuse a name that is taken, or beside which lies what may hold entries of another lab book.

    Raises
    ------
    RecordError   `labbook.exists`, `labbook.not_found` for the folder, `labbook.leftover`.
    """
    if not path.parent.is_dir():
        raise RecordError(
            f"The folder {path.parent} does not exist.",
            where=str(path),
            mend="make the folder first",
            code="labbook.not_found",
        )
    if path.exists():
        raise _exists(path)
    for end in sqlite_file.BESIDE:
        leftover = path.with_name(path.name + end)
        if leftover.exists():
            raise RecordError(
                f"{leftover.name} lies here without its lab book; it may hold entries of it.",
                where=str(path.parent),
                mend="put the lab book it belongs to back beside it, or move it to another folder",
                code="labbook.leftover",
            )


def scratch_file(path: Path) -> Path:
    """An empty, hidden file of ours in the lab book's folder: a name can only be given within one disk."""
    draft = path.with_name(f".{path.name}.{secrets.token_hex(4)}.new")
    draft.open("xb").close()
    return draft


def _fill(draft: Path, begin: Callable[[Connection], None]) -> None:
    raw = sqlite_file.connect(draft, read_only=False)
    connection = sqlite_file.core_connection(raw)
    try:
        with connection.begin():
            connection.exec_driver_sql("BEGIN IMMEDIATE")
            connection.exec_driver_sql(f"PRAGMA application_id={schema.APPLICATION_ID}")
            _upgrade(connection)
            begin(connection)
        raw.execute("PRAGMA journal_mode=WAL")
    finally:
        connection.close()
        connection.engine.dispose()


def _migrate(connection: Connection, raw: sqlite3.Connection, path: Path, clock: Clock) -> Path | None:
    with connection.begin():
        connection.exec_driver_sql("BEGIN IMMEDIATE")
        if is_current(sqlite_file.schema_version(raw), path):  # another process was quicker
            return None
        kept = _back_up_beside(path, sqlite_file.schema_version(raw), clock().date())
        try:
            _upgrade(connection)
            _check_references(connection)
        except Exception as error:
            raise _not_migrated(path, kept, error) from error
    return kept


def _not_migrated(path: Path, kept: Path, error: Exception) -> RecordError:
    known = isinstance(error, DBAPIError | sqlite3.Error | OSError)
    said = faults.translate(error).what if known else str(error)
    return RecordError(
        f"{path.name} could not be brought to the schema of this kit and was left as it was: {said}",
        where=str(path),
        mend=f"use the kit that wrote it, and report this text; a backup lies in {kept.name}",
        code="labbook.migration",
    )


def _upgrade(connection: Connection) -> None:
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", MIGRATIONS)
    config.attributes["connection"] = connection
    command.upgrade(config, f"{schema.VERSION:04d}")
    connection.exec_driver_sql(f"PRAGMA user_version={schema.VERSION}")


def _check_references(connection: Connection) -> None:
    broken = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
    if broken:
        raise ValueError(f"{len(broken)} rows would point to nothing")


def _back_up_beside(path: Path, version: int, today: date) -> Path:
    stem = f"{path.stem}.schema-{version}.{today.isoformat()}"
    draft = scratch_file(path)
    try:
        sqlite_file.backup(path, draft)
        for count in itertools.count(1):
            kept = path.with_name(f"{stem}{'' if count == 1 else f'-{count}'}{path.suffix}")
            if not kept.exists():
                place(draft, kept)
                return kept
    finally:
        draft.unlink(missing_ok=True)


def _exists(path: Path) -> RecordError:
    return RecordError(
        f"There is a file {path.name} already; it was not touched.",
        where=str(path.parent),
        mend="open it, or choose another name",
        code="labbook.exists",
    )


def _sync_folder(folder: Path) -> None:
    """Make the new name itself survive a power cut, where the system offers that."""
    with suppress(OSError, AttributeError):
        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
