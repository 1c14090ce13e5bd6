"""Backups of a lab book: made while it is in use, and checked whole before success is said.

A backup is one file, complete in itself. It is written under a hidden scratch name, reaches the disk, is checked
against every chain and every row, and only then gets its name; no file of that name is ever overwritten. A process
killed in the middle leaves the scratch file at most, which a later backup into that folder sweeps away.
"""

from __future__ import annotations

import itertools
import os
import sqlite3
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from kit.errors import RecordError
from kit.labbook import faults, migrate, sqlite_file
from kit.labbook.check import CheckReport
from kit.labbook.drive import cautions_for
from kit.labbook.projecting import rows_of_entry
from kit.labbook.store import Store
from kit.labbook.streams import Head
from kit.labbook.times import Clock, local_now
from kit.show import Worded

SUFFIX = ".labbook"
FOLDER = "backups"
"""Where backups go when nothing else is said: a folder of this name beside the lab book."""

_STALE_S = 3600.0  # a scratch file that old belongs to a backup that was killed
STAMP = "%Y-%m-%d_%H%M%S"
_DISK = {"labbook.disk_full": "the disk is full", "labbook.read_only": "the disk or the folder is write-protected"}


@dataclass(frozen=True, slots=True, repr=False)
class Backup(Worded):
    """A backup that was made and checked.

    Attributes
    ----------
    path : Path           The backup.
    report : CheckReport  What the check of the copy found: nothing amiss.
    cautions : tuple      What is not safe about where the lab book or the backup lies, in words.
    """

    path: Path
    report: CheckReport
    cautions: tuple[str, ...] = ()

    def __str__(self) -> str:
        return "\n".join([f"Backup: {self.path}", f"Checked: {self.report}", *self.cautions])


def check_file(path: str | Path, against: Mapping[str, Head] | None = None) -> CheckReport:
    """Check a lab book file whole: the file, every chain, every row derived from them. Nothing is changed.

    Parameters
    ----------
    path : str or Path      The lab book; it may be open elsewhere.
    against : dict          Heads that must be in it, by stream name.

    Raises
    ------
    RecordError   When it cannot be read at all: `labbook.not_found`, `labbook.not_a_labbook`, `labbook.newer`,
                  `labbook.damaged`.
    """
    with Store.open(path, read_only=True) as store:
        return store.check(against, rebuild=rows_of_entry)


def back_up(labbook: str | Path, to: str | Path | None = None, *, clock: Clock = local_now) -> Backup:
    """Back a lab book up, while it is in use as well.

    Parameters
    ----------
    labbook : str or Path   The lab book.
    to : str or Path        A name that ends in .labbook, or a folder (made when missing), in which the backup is
                            named after the lab book and the time. The folder `backups` beside it when omitted.
    clock : callable        Gives the time in the name.

    Raises
    ------
    RecordError   `labbook.exists`, `labbook.not_found`, `labbook.not_a_labbook`, `labbook.disk_full`,
                  `labbook.read_only`, `labbook.not_a_folder`, `labbook.copy_amiss` when the lab book, and so the copy
                  of it, does not pass its check.
    """
    source = Path(labbook)
    require_labbook(source)
    to = source.parent / FOLDER if to is None else Path(to)
    fixed = to.suffix == SUFFIX and not to.is_dir()
    target = to if fixed else to / f"{source.stem}.{clock().strftime(STAMP)}{SUFFIX}"
    with written(to, "The backup"):
        if fixed:
            migrate.refuse_taken(target)
        else:
            _make_folder(to)
        _sweep(target.parent)
        with checked_copy(source, target) as (draft, report):
            target = _place(draft, target, fixed=fixed)
    return Backup(target, report, (*cautions_for(source.parent), *_same_disk(source, target)))


def require_labbook(path: Path) -> None:
    """Refuse what is not a lab book, as `sqlite_file.identify` does."""
    with faults.in_words(str(path)):
        sqlite_file.identify(path)


@contextmanager
def checked_copy(source: Path, target: Path) -> Iterator[tuple[Path, CheckReport]]:
    """A copy beside `target` under a scratch name, complete in one file and checked; taken away at the end."""
    heads = heads_of(source)
    draft = migrate.scratch_file(target)
    try:
        file = sqlite_file.File.open_for_reading(source)
        try:
            file.copy_to(draft)
        finally:
            file.close()
        _make_one_file(draft)
        report = check_file(draft, heads)
        if not report.ok:
            raise _amiss(source, report)
        yield draft, report
    finally:
        for leftover in (draft, *beside(draft)):
            leftover.unlink(missing_ok=True)


def heads_of(source: Path) -> dict[str, Head]:
    """Where the streams end before the copy is made: all of it must be in the copy."""
    with Store.open(source, read_only=True) as store:
        return store.heads()


def _make_one_file(draft: Path) -> None:
    """Out of write-ahead mode: a backup is read from a write-protected folder too, and nothing lies beside it."""
    raw = sqlite_file.connect(draft, read_only=False)
    try:
        raw.execute("PRAGMA synchronous=FULL")
        raw.execute("PRAGMA journal_mode=DELETE").fetchone()
    finally:
        raw.close()


def _place(draft: Path, target: Path, *, fixed: bool) -> Path:
    for count in itertools.count(1):
        named = target if count == 1 else target.with_name(f"{target.stem}-{count}{SUFFIX}")
        try:
            migrate.place(draft, named)
        except RecordError as error:
            if fixed or error.code != "labbook.exists":
                raise
            continue
        return named
    raise AssertionError("unreachable")


def _amiss(source: Path, report: CheckReport) -> RecordError:
    said = " ".join(f"{words} [{code}]" for code, words in report.problems[:3])
    more = f" And {len(report.problems) - 3} more." if len(report.problems) > 3 else ""
    return RecordError(
        f"A copy of {source.name} does not pass its check, so none was kept: {said}{more}",
        where=str(source),
        allowed="a lab book in which nothing is amiss",
        mend="run kit labbook check on it; copy the file and any -wal file beside it to a safe place as they are, and "
        "take an earlier backup",
        code="labbook.copy_amiss",
    )


@contextmanager
def written(path: Path, what: str) -> Iterator[None]:
    """Run a block; a fault of the disk it writes to says which file was meant and that none was left half."""
    try:
        yield
    except (OSError, sqlite3.Error) as error:
        raise _disk_words(faults.translate(error, str(path)), path, what) from error
    except RecordError as error:
        if error.code != "labbook.disk_full":
            raise
        raise _disk_words(error, path, what) from error


def _disk_words(error: RecordError, path: Path, what: str) -> RecordError:
    if error.code not in _DISK:
        return error
    return RecordError(
        f"{what} could not be written: {_DISK[error.code]}. Nothing else was touched, and no half file was left.",
        where=str(path),
        mend="make room there or name another disk or folder, then do it again",
        code=error.code,
    )


def _make_folder(folder: Path) -> None:
    if folder.exists() and not folder.is_dir():
        raise RecordError(
            f"{folder.name} is a file, not a folder; it was not touched.",
            where=str(folder.parent),
            allowed=f"a folder, or a new name that ends in {SUFFIX}",
            mend="name another folder",
            code="labbook.not_a_folder",
        )
    folder.mkdir(parents=True, exist_ok=True)


def _same_disk(source: Path, target: Path) -> tuple[str, ...]:
    if os.stat(source).st_dev != os.stat(target).st_dev:
        return ()
    return (
        "The backup lies on the same disk as the lab book: copy it to another disk too, for the day this one fails.",
    )


def _sweep(folder: Path) -> None:
    """Take away scratch files of backups that were killed."""
    for found in folder.glob(f".*{SUFFIX}.*.new*"):
        with suppress(OSError):
            if time.time() - found.stat().st_mtime > _STALE_S:
                found.unlink()


def beside(path: Path) -> list[Path]:
    """The files that SQLite may keep beside a lab book, in the order of `sqlite_file.BESIDE`."""
    return [path.with_name(path.name + end) for end in sqlite_file.BESIDE]
