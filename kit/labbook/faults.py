"""What SQLite says, in a formulator's words: one code, one sentence and one cure a kind of fault."""

from __future__ import annotations

import errno
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from sqlalchemy.exc import DBAPIError

from kit.errors import RecordError

_NOTHING = "nothing of this call was stored and the lab book is as it was"


@dataclass(frozen=True, slots=True)
class _Fault:
    code: str
    what: str
    mend: str


# By primary result code of SQLite (https://www.sqlite.org/rescode.html); the longest matching name wins.
_FAULTS = {
    "SQLITE_FULL": _Fault(
        "disk_full",
        f"The disk is full: {_NOTHING}",
        "free some space on that disk, then make the entry again; the open lab book can still be used",
    ),
    "SQLITE_BUSY": _Fault(
        "locked",
        f"Another program has kept the lab book locked for too long: {_NOTHING}",
        "let the other notebook or program finish or close it, then make the entry again",
    ),
    "SQLITE_READONLY": _Fault(
        "read_only",
        f"The lab book cannot be written to: {_NOTHING}",
        "check that you may write to the file and to its folder, or open the lab book read-only",
    ),
    "SQLITE_NOTADB": _Fault(
        "not_a_labbook",
        "The file is not a lab book: it is no SQLite database, or its beginning was overwritten",
        "check the name, or restore the lab book from a backup",
    ),
    "SQLITE_CORRUPT": _Fault(
        "damaged",
        "The lab book file is damaged: parts of it no longer fit together",
        "copy the file and any -wal file beside it to a safe place first, then restore the last backup",
    ),
    "SQLITE_CANTOPEN": _Fault(
        "cannot_open",
        "The lab book, or the -wal and -shm files kept beside it, cannot be opened",
        "check that you may read and write in that folder, or open the lab book read-only",
    ),
    "SQLITE_IOERR": _Fault(
        "disk_error",
        "The disk reported an error while the lab book was read or written; do not count on the last entry",
        "check the disk, cable or network drive and the file name, then open the lab book again and look at its end",
    ),
    "SQLITE_CONSTRAINT_TRIGGER": _Fault(
        "append_only",
        f"The lab book is append-only: {_NOTHING}",
        "correct an entry with a correction, take it back with a void that gives the reason",
    ),
    "SQLITE_CONSTRAINT_UNIQUE": _Fault(
        "duplicate",
        f"The lab book holds a row with this key already: {_NOTHING}",
        "reopen what is there in place of making it a second time",
    ),
    "SQLITE_CONSTRAINT": _Fault(
        "row_refused",
        f"A row does not fit the lab book's tables: {_NOTHING}",
        "fill every column that must not be empty",
    ),
    "SQLITE_NOMEM": _Fault(
        "no_memory", f"The computer ran out of memory: {_NOTHING}", "close other programs, then try again"
    ),
    "SQLITE_TOOBIG": _Fault(
        "too_big",
        f"The entry is larger than one entry can be: {_NOTHING}",
        "keep long data in a file of its own and note its name and hash",
    ),
    "SQLITE_PROTOCOL": _Fault(
        "locked",
        f"The lock of the lab book could not be had: {_NOTHING}",
        "move the lab book off the network or synchronised folder, then try again",
    ),
    "SQLITE_INTERRUPT": _Fault("interrupted", f"The call was interrupted: {_NOTHING}", "make the entry again"),
}
_FAULTS["SQLITE_LOCKED"] = _FAULTS["SQLITE_BUSY"]

_BY_ERRNO = {
    errno.ENOSPC: "SQLITE_FULL",
    getattr(errno, "EDQUOT", errno.ENOSPC): "SQLITE_FULL",  # not on every system
    errno.EROFS: "SQLITE_READONLY",
    errno.EACCES: "SQLITE_READONLY",
    errno.EPERM: "SQLITE_READONLY",
}

ALREADY = "this one is there already"
"""How the trigger ends that refuses a second row with a taken key."""


def translate(error: Exception, where: str = "") -> RecordError:
    """The `RecordError` for an error of SQLite, of SQLAlchemy over it, or of the file system under it.

    Parameters
    ----------
    error : sqlite3.Error, sqlalchemy.exc.DBAPIError or OSError
    where : str   The file, for the reader.
    """
    original = error.orig if isinstance(error, DBAPIError) else error
    said = (original.strerror or "") if isinstance(original, OSError) else str(original).rstrip(".")
    name = _name_of(original, said)
    fault = _lookup(name)
    if fault is None:
        what = f"The lab book could not be used: SQLite says {said!r} ({name})"
        mend = "run the check of the lab book; if it finds nothing, report this text"
        return RecordError(what, where=where, mend=mend, code="labbook.sqlite")
    detail = f" ({said})" if fault.code in ("append_only", "duplicate", "row_refused", "disk_error") else ""
    return RecordError(fault.what + detail, where=where, mend=fault.mend, code=f"labbook.{fault.code}")


@contextmanager
def in_words(where: str = "") -> Iterator[None]:
    """Run a block so that every fault of the database or the disk leaves it as a `RecordError`."""
    try:
        yield
    except (DBAPIError, sqlite3.Error, OSError) as error:
        raise translate(error, where) from error


def _lookup(name: str) -> _Fault | None:
    while name not in _FAULTS:
        name, cut, _ = name.rpartition("_")
        if not cut:
            return None
    return _FAULTS[name]


def _name_of(error: BaseException | None, said: str) -> str:
    """The result code of SQLite, or the one that says the same where the fault came from elsewhere."""
    if isinstance(error, OSError):
        return _BY_ERRNO.get(error.errno or 0, "SQLITE_IOERR")
    name = getattr(error, "sqlite_errorname", None)
    if name == "SQLITE_CONSTRAINT_TRIGGER" and said.endswith(ALREADY):
        return "SQLITE_CONSTRAINT_UNIQUE"
    if name is None and "Could not decode to UTF-8" in said:  # raised by Python's driver, without a code
        return "SQLITE_CORRUPT"
    return name or type(error).__name__
