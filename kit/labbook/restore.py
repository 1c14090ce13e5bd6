"""Taking a lab book back from a backup: checked first, and nothing that is there is ever overwritten."""

from __future__ import annotations

import itertools
import os
import sqlite3
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from kit.errors import RecordError
from kit.labbook import migrate, sqlite_file
from kit.labbook.backup import STAMP, SUFFIX, beside, checked_copy, heads_of, require_labbook, written
from kit.labbook.check import BOOK, CheckReport
from kit.labbook.store import Store
from kit.labbook.times import Clock, local_now
from kit.show import Worded

_DAMAGED = ("SQLITE_NOTADB", "SQLITE_CORRUPT", "SQLITE_ERROR")  # no database any more: set aside as it lies


@dataclass(frozen=True, slots=True, repr=False)
class Restored(Worded):
    """A lab book that was taken back from a backup.

    Attributes
    ----------
    path : Path           The lab book.
    report : CheckReport  What the check of it found: nothing amiss.
    kept : Path or None   Where the lab book that was there before lies now.
    """

    path: Path
    report: CheckReport
    kept: Path | None = None

    def __str__(self) -> str:
        before = f"The lab book that was there before is kept as {self.kept}." if self.kept else ""
        return "\n".join(filter(None, [f"Restored: {self.path}", f"Checked: {self.report}", before]))


def restore(backup: str | Path, to: str | Path, *, set_aside: bool = False, clock: Clock = local_now) -> Restored:
    """Take a lab book back from a backup. The backup is checked whole before anything else is touched.

    Parameters
    ----------
    backup : str or Path   The backup; it stays as it is.
    to : str or Path       The lab book.
    set_aside : bool       Keep a lab book that is there under a dated name beside it; without it, refuse.
    clock : callable       Gives the time in that name.

    Raises
    ------
    RecordError   `labbook.exists` with what would go, `labbook.in_use`, `labbook.leftover`, `labbook.copy_amiss`,
                  `labbook.same_file`, `labbook.not_found`, `labbook.not_a_labbook`, `labbook.disk_full`.
    """
    source, to = Path(backup), Path(to)
    require_labbook(source)
    with written(to, "The restored lab book"):
        _refuse_itself(source, to)
        present = to.exists()
        if not present:
            migrate.refuse_taken(to)
        elif not set_aside:
            raise _present(to, source)
        else:
            _refuse_in_use(to)
        with checked_copy(source, to) as (draft, report):
            if present:
                _refuse_in_use(to)  # somebody may have opened it while the backup was being checked
            kept = _set_aside(to, clock().strftime(STAMP)) if present else None
            try:
                migrate.place(draft, to)
            except BaseException:
                _put_back(kept, to)
                raise
    return Restored(to, report, kept)


def _set_aside(path: Path, stamp: str) -> Path:
    """Move a lab book out of the way. The file goes first: its `-wal` without it is refused, not lost."""
    for count in itertools.count(1):
        kept = path.with_name(f"{path.stem}.set-aside.{stamp}{'' if count == 1 else f'-{count}'}{SUFFIX}")
        if not kept.exists():
            break
    os.rename(path, kept)
    for end, found in zip(sqlite_file.BESIDE, beside(path), strict=True):
        if found.exists():
            os.rename(found, kept.with_name(kept.name + end))
    return kept


def _put_back(kept: Path | None, path: Path) -> None:
    if kept is None or path.exists():
        return
    for found, end in zip(beside(kept), sqlite_file.BESIDE, strict=True):
        if found.exists():
            os.rename(found, path.with_name(path.name + end))
    os.rename(kept, path)


def _refuse_in_use(path: Path) -> None:
    """Refuse a lab book that any program has open; fold in what a killed one left. A damaged file passes."""
    sqlite_file.require_writable(path)
    raw = sqlite_file.connect(path, read_only=False)
    try:
        raw.execute("PRAGMA busy_timeout=500")
        raw.execute("PRAGMA locking_mode=EXCLUSIVE")
        raw.execute("BEGIN EXCLUSIVE")  # granted only when nobody else has the file open, reading included
        raw.execute("ROLLBACK")
        raw.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
    except sqlite3.DatabaseError as error:
        if error.sqlite_errorname.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
            raise RecordError(
                f"{path.name} is open in a notebook or another program; nothing was touched.",
                where=str(path.parent),
                mend="close it there (shut the notebook's kernel down), then restore again",
                code="labbook.in_use",
            ) from None
        if not error.sqlite_errorname.startswith(_DAMAGED):
            raise
    finally:
        raw.close()


def _present(path: Path, backup: Path) -> RecordError:
    return RecordError(
        f"There is a lab book {path.name} already; it was not touched. {_what_would_go(path, backup)}".strip(),
        where=str(path.parent),
        mend="restore to another name, or have the present one set aside under a dated name (--set-aside)",
        code="labbook.exists",
    )


def _what_would_go(path: Path, backup: Path) -> str:
    """How many entries the present lab book holds that the backup does not; empty where it holds no more."""
    try:
        present, saved = heads_of(path), heads_of(backup)
        if _beginning(path) != _beginning(backup):
            return "It is another lab book than the one that was backed up."
    except RecordError as error:
        return f"It cannot be read: {error.what}"
    more = {name: head.seq - (saved[name].seq if name in saved else 0) for name, head in present.items()}
    more = {name: count for name, count in more.items() if count > 0}
    entries = sum(more.values())
    return f"It holds {entries} more entries than the backup, in: {', '.join(more)}." if entries else ""


def _beginning(path: Path) -> str:
    """The hash of a lab book's first entry: the same for every copy of it, another one for another lab book."""
    with Store.open(path, read_only=True) as store:
        return store.read(BOOK)[0].hash


def _refuse_itself(backup: Path, to: Path) -> None:
    with suppress(OSError):
        if backup.samefile(to):
            raise RecordError(
                "The backup and the lab book are the same file; nothing was done.",
                where=str(to),
                mend="name the lab book that is to be made from the backup",
                code="labbook.same_file",
            )
