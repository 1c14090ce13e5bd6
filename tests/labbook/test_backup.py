"""Backups and taking them back: what is in them, what is refused, and what a fault leaves behind.

What a copy holds is judged by SQLite's own dump of both files, not by the kit: equal dumps, equal contents.
"""

from __future__ import annotations

import os
import random
import shutil
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing
from datetime import datetime, timedelta, timezone
from pathlib import Path

import pytest

import kit
from kit.errors import RecordError
from kit.labbook import migrate, sqlite_file
from kit.labbook.backup import back_up, check_file
from kit.labbook.restore import restore
from kit.labbook.store import Store

REAL_STEPS = True
CHILD = Path(__file__).with_name("backer.py")
ENVIRONMENT = {**os.environ, "PYTHONPATH": str(Path(kit.__file__).parents[1])}


def noon() -> datetime:
    return datetime(2026, 5, 4, 12, 0, 7, tzinfo=timezone(timedelta(hours=2)))


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A lab book with a dozen entries and derived rows, in a folder with a blank and an umlaut in its name."""
    made = tmp_path / "Hübsches Labor" / "linden.labbook"
    made.parent.mkdir()
    with Store.create(made, title="Linden") as store:
        append(store, 12)
    return made


def append(store: Store, count: int) -> None:
    for number in range(count):
        row = {"material": "glycerin", "mass_g_text": f"{number}.50", "mass_g": number + 0.5}
        store.append("LIN-03/1", "weigh", {"material": "glycerin", "mass_g": f"{number}.50", "number": number},
                     stream_kind="batch", project=[("weighing", row)])  # fmt: skip


def dump(path: Path) -> list[str]:
    """The whole content of a database file in SQL, by SQLite's own means, whatever lies in its -wal included."""
    with closing(sqlite3.connect(path)) as raw:
        return list(raw.iterdump())


def contents(folder: Path) -> dict[str, bytes]:
    """Every file with its bytes, apart from what SQLite lays beside a lab book even to read it."""
    files = [path for path in folder.iterdir() if path.is_file() and not path.name.endswith(("-wal", "-shm"))]
    return {path.name: path.read_bytes() for path in files}


def refused(code: str, call, *arguments, **named) -> RecordError:
    with pytest.raises(RecordError) as caught:
        call(*arguments, **named)
    assert caught.value.code == code, caught.value
    assert caught.value.mend
    return caught.value


class TestBackup:
    def test_holds_everything_while_the_lab_book_is_open(self, path):
        with Store.open(path) as store:
            append(store, 3)
            assert path.with_name("linden.labbook-wal").stat().st_size > 0  # entries that are not in the file itself
            made = back_up(path, clock=noon)
            assert dump(made.path) == dump(path)
            append(store, 1)  # the lab book goes on
        assert made.path == path.parent / "backups" / "linden.2026-05-04_120007.labbook"
        assert [item.name for item in made.path.parent.iterdir()] == [made.path.name]  # one file, complete in itself
        assert (made.report.ok, made.report.entries) == (True, 16)  # the first entry, 12 and 3

    def test_is_read_where_nothing_can_be_written_beside_it(self, path):
        """In write-ahead mode SQLite would need to make two files beside it (https://www.sqlite.org/wal.html)."""
        made = back_up(path).path
        with closing(sqlite3.connect(f"{made.as_uri()}?mode=ro&immutable=1", uri=True)) as raw:
            assert raw.execute("PRAGMA journal_mode").fetchone()[0] == "delete"
            assert raw.execute("SELECT count(*) FROM entry").fetchone()[0] == 13

    def test_two_in_one_second_have_two_names(self, path, tmp_path):
        names = [back_up(path, tmp_path / "kept", clock=noon).path.name for _ in range(3)]
        assert len(set(names)) == 3
        assert all(check_file(tmp_path / "kept" / name).ok for name in names)

    def test_a_name_of_ones_own(self, path, tmp_path):
        made = back_up(path, tmp_path / "friday.labbook")
        assert made.path == tmp_path / "friday.labbook"
        before = contents(tmp_path)
        refused("labbook.exists", back_up, path, tmp_path / "friday.labbook")
        assert contents(tmp_path) == before

    def test_a_crashed_lab_book_is_backed_up_with_its_wal(self, path, tmp_path):
        child = _child("append", str(path), "LIN-04/1", "5")
        for _ in range(5):
            child.stdout.readline()
        child.kill()
        child.communicate()
        assert path.with_name("linden.labbook-wal").exists()
        made = back_up(path, tmp_path / "kept").path
        with Store.open(made, read_only=True) as store:
            assert len(store.read("LIN-04/1")) == 5

    def test_says_when_it_lies_on_the_same_disk(self, path):
        assert any("same disk" in words for words in back_up(path).cautions)

    @pytest.mark.parametrize(
        ("spoil", "code"),
        [
            (lambda path: path.write_bytes(b""), "labbook.not_a_labbook"),
            (lambda path: path.write_text("batch,property,value\n"), "labbook.not_a_labbook"),
            (lambda path: path.unlink(), "labbook.not_found"),
        ],
    )
    def test_of_what_is_no_lab_book_is_refused(self, path, tmp_path, spoil, code):
        spoil(path)
        refused(code, back_up, path, tmp_path / "kept")
        assert not (tmp_path / "kept").exists()

    def test_of_a_lab_book_that_was_edited_is_refused(self, path, tmp_path):
        """A good backup must not be pushed out by copies of a spoilt book."""
        edit_behind_its_back(path)
        error = refused("labbook.copy_amiss", back_up, path, tmp_path / "kept")
        assert "labbook.edited" in error.what
        assert list((tmp_path / "kept").iterdir()) == []

    def test_into_a_file_in_place_of_a_folder_is_refused(self, path, tmp_path):
        (tmp_path / "kept").write_text("a note", encoding="utf-8")
        refused("labbook.not_a_folder", back_up, path, tmp_path / "kept")
        assert (tmp_path / "kept").read_text(encoding="utf-8") == "a note"

    def test_into_a_write_protected_folder(self, path, tmp_path, monkeypatch):
        def protected(*_):
            raise PermissionError(13, "Permission denied")

        monkeypatch.setattr(migrate, "scratch_file", protected)
        assert "write-protected" in refused("labbook.read_only", back_up, path, tmp_path / "kept").what

    def test_scratch_files_of_killed_backups_are_swept_away_later(self, path, tmp_path):
        kept = tmp_path / "kept"
        kept.mkdir()
        old, young, foreign = (
            kept / ".linden.labbook.0a1b2c3d.new",
            kept / ".linden.labbook.9f.new",
            kept / ".notes.new",
        )
        for file in (old, young, foreign):
            file.touch()
        os.utime(old, (time.time() - 7200,) * 2)
        os.utime(foreign, (time.time() - 7200,) * 2)
        back_up(path, kept)
        assert (old.exists(), young.exists(), foreign.exists()) == (False, True, True)


def edit_behind_its_back(path: Path) -> None:
    """Change one letter of one entry in the file itself, past every guard."""
    with closing(sqlite3.connect(path, isolation_level=None)) as raw:
        raw.execute("DROP TRIGGER entry_no_update")
        raw.execute("UPDATE entry SET text = replace(text, '3.50', '4.50') WHERE text LIKE '%3.50%'")


def scribble(path: Path) -> None:
    """Write over the last entry's text, as a bad sector would."""
    data = path.read_bytes()
    start = data.rfind(b'"mass_g"')
    assert start > 0
    with path.open("r+b") as file:
        file.seek(start - 40)
        file.write(b"\x5a" * 60)


class TestFullDisk:
    def test_leaves_no_half_file_and_says_which_disk(self, path, tmp_path, monkeypatch):
        def full(self, target: Path) -> None:
            target.write_bytes(path.read_bytes()[:4096])
            error = sqlite3.OperationalError("database or disk is full")
            error.sqlite_errorname = "SQLITE_FULL"
            raise error

        monkeypatch.setattr(sqlite_file.File, "copy_to", full)
        error = refused("labbook.disk_full", back_up, path, tmp_path / "kept")
        assert "The backup could not be written: the disk is full" in error.what
        assert list((tmp_path / "kept").iterdir()) == []
        before = contents(path.parent)
        refused("labbook.disk_full", restore, path, tmp_path / "again.labbook")
        assert not (tmp_path / "again.labbook").exists()
        assert contents(path.parent) == before

    @pytest.fixture
    def disk(self, tmp_path: Path) -> Iterator[Path]:
        """A real disk of 64 kB, where this user may mount one."""
        place = tmp_path / "disk"
        place.mkdir()
        if shutil.which("mount") is None or os.name != "posix":
            pytest.skip("no tmpfs here; the simulated fault covers the full disk")
        command = ["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(place)]
        if subprocess.run(command, capture_output=True, check=False).returncode:
            pytest.skip("no right to mount a tmpfs; the simulated fault covers the full disk")
        yield place
        subprocess.run(["umount", "-l", str(place)], check=True)

    def test_a_real_one(self, path, disk):
        with Store.open(path) as store:
            append(store, 400)
        assert path.stat().st_size > 65_536
        refused("labbook.disk_full", back_up, path, disk)
        assert list(disk.iterdir()) == []
        refused("labbook.disk_full", restore, path, disk / "linden.labbook")
        assert list(disk.iterdir()) == []


class TestKilled:
    def test_a_killed_backup_leaves_no_half_file(self, path, tmp_path, thorough):
        """6 kills, 60 with --thorough, while another process appends: whatever has a backup's name is whole."""
        kept, chance = tmp_path / "kept", random.Random(20260504)
        writer = _child("append", str(path), "LIN-05/1")
        finished = 0
        try:
            for number in range(60 if thorough else 6):
                child = _child("backup", str(path), str(kept))
                if number % 2:
                    child.stdout.readline()
                time.sleep(chance.uniform(0.0, 0.4))
                child.kill()
                finished += child.communicate()[0].count(b"done") + number % 2
        finally:
            writer.kill()
            writer.communicate()
        backups = list(kept.glob("*.labbook"))
        assert len(backups) >= finished > 0
        for backup in backups[:40]:
            assert check_file(backup).ok
        assert check_file(path).ok

    def test_a_killed_restore_loses_neither_book_nor_backup(self, path, tmp_path, thorough):
        backup = back_up(path, tmp_path / "kept").path
        with Store.open(path) as store:
            append(store, 5)
        newer = dump(path)
        chance = random.Random(4)
        for _ in range(40 if thorough else 5):
            child = _child("restore", str(backup), str(path))
            time.sleep(chance.uniform(0.2, 0.9))
            child.kill()
            child.communicate()
        assert check_file(backup).ok
        books = [path, *path.parent.glob("*.set-aside.*.labbook")]
        assert newer in [dump(book) for book in books if book.exists()]
        assert all(check_file(book).ok for book in books if book.exists())


class TestRestore:
    @pytest.fixture
    def backup(self, path, tmp_path) -> Path:
        """A backup after which the lab book grew by two entries."""
        made = back_up(path, tmp_path / "kept", clock=noon).path
        with Store.open(path) as store:
            append(store, 2)
        return made

    def test_to_a_new_name(self, backup, tmp_path):
        made = restore(backup, tmp_path / "again.labbook")
        assert dump(made.path) == dump(backup)
        with Store.open(made.path) as store:  # it is a lab book like any other
            append(store, 1)
            assert store.check().ok

    def test_over_a_lab_book_is_refused_and_says_what_would_go(self, backup, path):
        before = contents(path.parent)
        error = refused("labbook.exists", restore, backup, path)
        assert "2 more entries than the backup, in: LIN-03/1" in error.what
        assert contents(path.parent) == before

    def test_over_another_lab_book_says_so(self, backup, tmp_path):
        other = tmp_path / "sage.labbook"
        Store.create(other).close()
        assert "another lab book" in refused("labbook.exists", restore, backup, other).what

    def test_keeps_the_present_one_aside_whole(self, backup, path):
        newer = dump(path)
        made = restore(backup, path, set_aside=True, clock=noon)
        assert dump(path) == dump(backup)
        assert made.kept == path.parent / "linden.set-aside.2026-05-04_120007.labbook"
        assert dump(made.kept) == newer
        again = restore(backup, path, set_aside=True, clock=noon)
        assert again.kept != made.kept
        assert dump(made.kept) == newer

    def test_keeps_what_a_killed_process_left_in_the_wal(self, backup, path):
        child = _child("append", str(path), "LIN-04/1", "5")
        for _ in range(5):
            child.stdout.readline()
        child.kill()
        child.communicate()
        kept = restore(backup, path, set_aside=True).kept
        with Store.open(kept, read_only=True) as store:
            assert len(store.read("LIN-04/1")) == 5
        assert dump(path) == dump(backup)

    @pytest.mark.parametrize("read_only", [False, True], ids=["written", "only read"])
    def test_over_a_lab_book_open_in_this_process_is_refused(self, backup, path, read_only):
        with Store.open(path, read_only=read_only) as store:
            refused("labbook.in_use", restore, backup, path, set_aside=True)
            assert len(store.read("LIN-03/1")) == 14
            if not read_only:
                append(store, 1)
        assert check_file(path).ok
        assert list(path.parent.glob("*set-aside*")) == []

    def test_over_a_lab_book_open_in_another_process_is_refused(self, backup, path):
        child = _child("append", str(path), "LIN-04/1", "3")
        try:
            for _ in range(3):
                child.stdout.readline()
            refused("labbook.in_use", restore, backup, path, set_aside=True)
        finally:
            child.kill()
            child.communicate()
        with Store.open(path) as store:
            assert len(store.read("LIN-04/1")) == 3
        restore(backup, path, set_aside=True)  # now that it is closed

    @pytest.mark.parametrize("where", [0, 40, 5000], ids=["its name", "its header", "a page"])
    def test_over_a_damaged_lab_book_keeps_the_damaged_one(self, backup, path, where):
        with path.open("r+b") as file:
            file.seek(where)
            file.write(b"\xff" * 60)
        damaged = path.read_bytes()
        kept = restore(backup, path, set_aside=True).kept
        assert kept.read_bytes() == damaged
        assert dump(path) == dump(backup)

    @pytest.mark.parametrize(
        ("spoil", "code"),
        [
            (edit_behind_its_back, "labbook.copy_amiss"),
            (lambda backup: os.truncate(backup, backup.stat().st_size // 2), ""),
            (scribble, ""),
            (lambda backup: backup.write_bytes(b""), "labbook.not_a_labbook"),
            (lambda backup: backup.write_bytes(b"PK\x03\x04 a zip archive"), "labbook.not_a_labbook"),
            (lambda backup: backup.unlink(), "labbook.not_found"),
        ],
        ids=["edited", "cut in half", "overwritten", "empty", "another file", "gone"],
    )
    def test_of_a_spoilt_backup_is_refused_before_anything_is_touched(self, backup, path, spoil, code):
        spoil(backup)
        before = contents(path.parent)
        with pytest.raises(RecordError) as caught:
            restore(backup, path, set_aside=True)
        assert caught.value.code == code or (
            not code and caught.value.code in ("labbook.copy_amiss", "labbook.damaged")
        )
        assert contents(path.parent) == before

    def test_beside_a_leftover_wal_is_refused(self, backup, tmp_path):
        """SQLite would fold another lab book's -wal into the restored file."""
        (tmp_path / "again.labbook-wal").write_bytes(b"entries of another book")
        refused("labbook.leftover", restore, backup, tmp_path / "again.labbook")
        assert (tmp_path / "again.labbook-wal").read_bytes() == b"entries of another book"

    def test_onto_itself_is_refused(self, backup):
        before = backup.read_bytes()
        refused("labbook.same_file", restore, backup, backup, set_aside=True)
        assert backup.read_bytes() == before

    def test_into_a_folder_that_is_not_there(self, backup, tmp_path):
        refused("labbook.not_found", restore, backup, tmp_path / "nowhere" / "linden.labbook")

    def test_that_fails_at_its_end_puts_the_present_one_back(self, backup, path, monkeypatch):
        newer = dump(path)

        def stop(*_):
            raise KeyboardInterrupt

        monkeypatch.setattr(migrate, "place", stop)
        with pytest.raises(KeyboardInterrupt):
            restore(backup, path, set_aside=True)
        assert dump(path) == newer
        assert list(path.parent.glob("*set-aside*")) == []
        assert list(path.parent.glob(".*.new*")) == []


def _child(*arguments: str) -> subprocess.Popen:
    """A child process; its pipe is unbuffered here, so that no line read ahead gets lost."""
    command = [sys.executable, str(CHILD), *arguments]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, env=ENVIRONMENT, bufsize=0)
