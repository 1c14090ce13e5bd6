"""One lab book file: telling it from other files, opening it, its transactions, closing it. SQLite only.

Opened for writing, the file is in write-ahead mode with `synchronous=FULL`: a commit has reached the disk
when it returns. A process killed at any moment leaves a `-wal` file beside the lab book; the next opening
folds it in. The two belong together: copy or move neither without the other while it is there.

Never open a lab book's file as plain bytes in a process that has it open: closing such a handle drops the
locks the process holds (POSIX). Should that happen all the same, the next append is refused, not lost.
"""

from __future__ import annotations

import difflib
import os
import shutil
import sqlite3
import tempfile
import threading
import weakref
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from sqlalchemy import Connection, create_engine
from sqlalchemy.pool import StaticPool

from kit.errors import RecordError
from kit.labbook import faults, schema

BUSY_TIMEOUT_S = 10.0
"""How long a call waits for another program's write before it gives up. [s]"""

BESIDE = ("-wal", "-shm", "-journal")
_MAGIC = b"SQLite format 3\x00"
_HEADER_BYTES = (
    100  # of every SQLite file; the application id stands at byte 68 (https://www.sqlite.org/fileformat.html)
)


def identify(path: Path) -> None:
    """Refuse what is not a lab book, without writing to it.

    SQLite does the looking: closing a handle of our own would drop the locks this process holds on a lab book
    it has open already, and the next program to close it would delete the `-wal` file under us.

    Raises
    ------
    RecordError   `labbook.not_found` (with the nearest names), `labbook.not_a_labbook`, `labbook.unreadable`.
    """
    if not path.exists():
        raise _not_found(path)
    if path.is_dir():
        raise RecordError(
            f"{path.name} is a folder.",
            where=str(path),
            mend="give the name of a lab book file",
            code="labbook.unreadable",
        )
    try:
        found = _application_id(path)
    except sqlite3.DatabaseError as error:
        if error.sqlite_errorname != "SQLITE_NOTADB":
            raise
        raise _not_a_labbook(path, "it is no database, or its beginning was overwritten") from error
    if found != schema.APPLICATION_ID:
        raise _not_a_labbook(path, "it is a database of another program" if path.stat().st_size else "it is empty")


def _application_id(path: Path) -> int:
    raw = connect(path, read_only=True)
    try:
        return int(raw.execute("PRAGMA application_id").fetchone()[0])
    except sqlite3.OperationalError as error:
        if not _not_allowed(error):
            raise
        return _application_id_in_header(path)
    finally:
        raw.close()


def _application_id_in_header(path: Path) -> int:
    """For a folder where SQLite cannot make the files it reads with; so nobody has the lab book open there."""
    try:
        with path.open("rb") as file:
            header = file.read(72)
    except OSError as error:
        raise RecordError(
            f"{path.name} cannot be read ({error.strerror}).",
            where=str(path),
            mend="check that you may read the file",
            code="labbook.unreadable",
        ) from error
    return int.from_bytes(header[68:72], "big") if header[:16] == _MAGIC else 0


def _not_allowed(error: sqlite3.OperationalError) -> bool:
    return error.sqlite_errorname.split("_")[1] in ("CANTOPEN", "READONLY")


def require_writable(path: Path) -> None:
    """Refuse a write-protected file or folder before anything is tried on it.

    Raises
    ------
    RecordError   `labbook.read_only`.
    """
    if not os.access(path, os.W_OK) or not os.access(path.parent, os.W_OK):
        raise RecordError(
            f"{path.name} cannot be opened for writing: the file or its folder is write-protected.",
            where=str(path),
            mend="open the lab book read-only, or copy it to a folder of your own",
            code="labbook.read_only",
        )


def connect(path: Path, *, read_only: bool) -> sqlite3.Connection:
    """A bare connection in autocommit mode that never creates the file."""
    mode = "ro" if read_only else "rw"
    return _connect_uri(f"{path.absolute().as_uri()}?mode={mode}")


def _connect_uri(uri: str) -> sqlite3.Connection:
    return sqlite3.connect(uri, uri=True, timeout=BUSY_TIMEOUT_S, isolation_level=None, check_same_thread=False)


def core_connection(raw: sqlite3.Connection) -> Connection:
    """The SQLAlchemy connection over a bare one; closing it closes both."""
    return create_engine("sqlite://", creator=lambda: raw, poolclass=StaticPool).connect()


def schema_version(raw: sqlite3.Connection) -> int:
    """The schema number in the file, 0 for a file that has none."""
    return int(raw.execute("PRAGMA user_version").fetchone()[0])


def backup(path: Path, target: Path) -> None:
    """Copy a lab book as it stands, unfinished `-wal` included, by SQLite's backup interface."""
    source = connect(path, read_only=True)
    try:
        _copy(source, target)
    finally:
        source.close()


class File:
    """An open lab book file.

    One connection, one transaction at a time. Several threads may share it: each transaction keeps the lock.

    Parameters
    ----------
    path : Path                Where the user's lab book is, for messages and for noticing that it was moved.
    raw : sqlite3.Connection   Open, tuned, in autocommit mode.
    scratch : Path, optional   A private copy's folder, removed on closing.
    """

    def __init__(self, path: Path, raw: sqlite3.Connection, *, read_only: bool, scratch: Path | None = None) -> None:
        self.path = path
        self.read_only = read_only
        self._raw = raw
        self._connection = core_connection(raw)
        self._identities = {} if read_only else _identities(path.absolute())
        self._lock = threading.RLock()
        self._depth = 0
        self._finish = weakref.finalize(self, _finish, self._connection, raw, read_only, scratch)

    @classmethod
    def open_for_writing(cls, path: Path) -> File:
        """Open an identified file, schema already current, with the settings every lab book has."""
        raw = connect(path, read_only=False)
        try:
            _tune(raw, path)
        except BaseException:
            raw.close()
            raise
        return cls(path, raw, read_only=False)

    @classmethod
    def open_for_reading(cls, path: Path) -> File:
        """Open an identified file without ever writing to it.

        SQLite needs to make two small files beside a lab book even to read it. Where the folder does not allow
        that, a closed lab book is read as it lies, one with a leftover `-wal` from a private copy of both.
        """
        raw = connect(path, read_only=True)
        try:
            raw.execute("SELECT count(*) FROM sqlite_master").fetchone()
        except sqlite3.OperationalError as error:
            raw.close()
            if not _not_allowed(error):
                raise
            return cls._open_untouchable(path)
        except BaseException:
            raw.close()
            raise
        return cls(path, raw, read_only=True)

    @classmethod
    def _open_untouchable(cls, path: Path) -> File:
        wal = path.with_name(path.name + "-wal")
        if not wal.exists() or wal.stat().st_size == 0:
            return cls(path, _connect_uri(f"{path.absolute().as_uri()}?mode=ro&immutable=1"), read_only=True)
        scratch = Path(tempfile.mkdtemp(prefix="labbook-"))
        for original in (path, wal):
            shutil.copyfile(original, scratch / original.name)
        return cls.open_private(path, scratch)

    @classmethod
    def open_private(cls, path: Path, scratch: Path) -> File:
        """Read the copy of a lab book that lies in a scratch folder, which is removed on closing."""
        return cls(path, connect(scratch / path.name, read_only=False), read_only=True, scratch=scratch)

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A read transaction: everything read inside it is of one moment. May be nested."""
        with self._held() as connection:
            if self._depth > 1:
                yield connection
                return
            connection.exec_driver_sql("BEGIN")
            try:
                yield connection
            finally:
                connection.rollback()

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """A write transaction: all of it is on the disk when the block ends, or nothing of it is stored."""
        if self.read_only:
            raise RecordError(
                "This lab book was opened read-only; nothing was stored.",
                where=str(self.path),
                mend="open it for writing",
                code="labbook.read_only",
            )
        with self._held() as connection:
            if self._depth > 1:
                raise RecordError(
                    "An entry cannot be made inside a block that reads the lab book at one moment.",
                    where=str(self.path),
                    mend="end the block first",
                    code="labbook.in_snapshot",
                )
            connection.exec_driver_sql("BEGIN IMMEDIATE")
            try:
                self._still_there()
                yield connection
                connection.commit()
            except BaseException:
                connection.rollback()
                raise

    def copy_to(self, target: Path) -> None:
        """Copy the lab book as it stands into a new file, by SQLite's backup interface."""
        with self._held():
            _copy(self._raw, target)

    def pragma(self, name: str, value: int | str | None = None) -> int | str | None:
        """Ask for a PRAGMA of this connection or set it: `max_page_count` to try a full disk, for example."""
        with self._held():
            row = self._raw.execute(f"PRAGMA {name}" if value is None else f"PRAGMA {name}={value}").fetchone()
        return None if row is None else row[0]

    def close(self) -> None:
        """Fold the `-wal` file in and let go of the file; closing twice is allowed."""
        with self._lock:
            self._finish()

    @contextmanager
    def _held(self) -> Iterator[Connection]:
        with self._lock, faults.in_words(str(self.path)):
            if not self._finish.alive:
                raise RecordError(
                    "The lab book was closed.", where=str(self.path), mend="open it again", code="labbook.closed"
                )
            self._depth += 1
            try:
                yield self._connection
            finally:
                self._depth -= 1

    def _still_there(self) -> None:
        """An entry written to a file, or a -wal, that was deleted or replaced under us would be lost with it."""
        try:
            same = all(_identity(path) == found for path, found in self._identities.items())
        except OSError:
            same = False
        if not same:
            raise RecordError(
                "The lab book file, or the -wal file beside it, was moved, deleted or replaced while it was open; "
                "nothing was stored.",
                where=str(self.path),
                mend="put the file back if it is gone, then close this lab book and open the one that is there now",
                code="labbook.moved_away",
            )


def _copy(source: sqlite3.Connection, target: Path) -> None:
    copy = sqlite3.connect(target)
    try:
        source.backup(copy)
    finally:
        copy.close()


def _tune(raw: sqlite3.Connection, path: Path) -> None:
    mode = raw.execute("PRAGMA journal_mode=WAL").fetchone()[0]
    if mode != "wal":
        raise RecordError(
            f"The folder of {path.name} does not allow the write-ahead mode that protects a lab book.",
            where=str(path),
            mend="keep the lab book on a disk of this computer, not on a network or synchronised drive",
            code="labbook.no_write_ahead",
        )
    for setting in ("synchronous=FULL", "fullfsync=ON", "foreign_keys=ON"):
        raw.execute(f"PRAGMA {setting}")
    raw.execute("SELECT count(*) FROM sqlite_master").fetchone()  # from now on the -wal file is there


def _finish(connection: Connection, raw: sqlite3.Connection, read_only: bool, scratch: Path | None) -> None:
    if not read_only:
        with suppress(sqlite3.Error):  # on a full disk or beside another reader the -wal file keeps every entry
            raw.execute("PRAGMA wal_checkpoint(PASSIVE)")
    connection.close()
    connection.engine.dispose()
    if scratch is not None:
        shutil.rmtree(scratch, ignore_errors=True)


def _identities(path: Path) -> dict[Path, tuple[int, int]]:
    """What the names of the lab book and of its -wal stand for now; both stay the same while it is open."""
    return {found: _identity(found) for found in (path, path.with_name(path.name + "-wal"))}


def _identity(path: Path) -> tuple[int, int]:
    found = os.stat(path)
    return found.st_dev, found.st_ino


def _not_found(path: Path) -> RecordError:
    if not path.parent.is_dir():
        return RecordError(
            f"The folder {path.parent} does not exist, so there is no lab book {path.name} in it.",
            where=str(path),
            mend="check the path; a relative one starts at the folder you work in",
            code="labbook.not_found",
        )
    others = sorted(other.name for other in path.parent.glob("*.labbook"))
    near = difflib.get_close_matches(path.name, others, n=5, cutoff=0.0)
    return RecordError(
        f"There is no lab book {path.name}.",
        where=str(path.parent),
        allowed=("lab books there: " + ", ".join(near)) if near else "there is no lab book in that folder",
        mend="check the name, or make a new lab book",
        code="labbook.not_found",
    )


def _not_a_labbook(path: Path, words: str) -> RecordError:
    return RecordError(
        f"{path.name} is not a lab book: {words}; it was not touched.",
        where=str(path),
        mend="check the name, or restore the lab book from a backup",
        code="labbook.not_a_labbook",
    )
