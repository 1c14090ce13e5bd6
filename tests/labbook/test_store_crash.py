"""What survives: processes killed at any moment, a full disk, a leftover -wal, two writers at once.

The judge of durability is the child's own pipe: what it said was stored before it was killed must be there,
and nothing may be half there. A full disk is a real one (a small tmpfs) where the system lets us mount it,
and SQLite's page limit everywhere.
"""

import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

import kit
from kit.errors import RecordError
from kit.labbook.store import Store

CHILD = Path(__file__).with_name("appender.py")
ENVIRONMENT = {**os.environ, "PYTHONPATH": str(Path(kit.__file__).parents[1])}


@pytest.fixture
def path(tmp_path: Path) -> Path:
    made = tmp_path / "linden.labbook"
    Store.create(made).close()
    return made


def start(path: Path, *arguments: str) -> subprocess.Popen:
    """A child appending to a lab book; its pipe is unbuffered here, so that no line read ahead gets lost."""
    command = [sys.executable, str(CHILD), str(path), *arguments]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=ENVIRONMENT, bufsize=0)


def kill_pair(path: Path, streams: tuple[str, str], chance: random.Random) -> dict[str, int]:
    """Let two children append at once, kill both at a random moment; the last number each acknowledged, by stream.

    One round in five kills without waiting for a first entry, so that opening and recovering are met as well.
    """
    children = {stream: start(path, stream) for stream in streams}
    first = {stream: b"" for stream in streams}
    if chance.random() < 0.2:
        time.sleep(chance.uniform(0.1, 0.5))
    else:
        first = {stream: child.stdout.readline() for stream, child in children.items()}
        time.sleep(chance.uniform(0.0, 0.06))
    for child in children.values():
        child.kill()
    acknowledged = {}
    for stream, child in children.items():
        rest, errors = child.communicate()
        assert b"Error" not in errors, errors.decode()
        numbers = (first[stream] + rest).rpartition(b"\n")[0].split()  # a number cut in half was not acknowledged
        acknowledged[stream] = int(numbers[-1]) if numbers else 0
    return acknowledged


def assert_whole(store: Store, stream: str, acknowledged: int) -> int:
    """Every acknowledged entry is there with its row and its twin, at most one more is; how many there are."""
    if not store.has(stream):
        assert acknowledged == 0
        return 0  # killed before its first entry
    entries = store.read(stream)
    assert acknowledged <= len(entries) <= acknowledged + 1
    assert [entry.seq for entry in entries] == list(range(1, len(entries) + 1))
    numbers = [entry.body["number"] for entry in entries]
    assert [entry.body["number"] for entry in store.read(f"{stream} twin")] == numbers
    assert [row["mass_g"] - 0.5 for row in store.rows("weighing", stream=stream)] == numbers
    return len(entries)


@pytest.mark.slow
def test_every_acknowledged_entry_survives_a_kill(path, request):
    """20 kills, 500 with --thorough; each round kills two processes that write to one lab book."""
    thorough = request.config.getoption("--thorough", default=False)
    chance = random.Random(20260302)
    stored = answered = more = 0
    for turn in range(250 if thorough else 10):
        streams = (f"left {turn}", f"right {turn}")
        acknowledged = kill_pair(path, streams, chance)
        with Store.open(path, read_only=bool(turn % 2)) as store:
            counts = [assert_whole(store, stream, acknowledged[stream]) for stream in streams]
        stored += sum(counts)
        answered += sum(acknowledged.values())
        more += sum(counts) - sum(acknowledged.values())
    assert answered > 100  # the children did append
    with Store.open(path) as store:
        report = store.check()
    assert report.ok, str(report)
    assert report.entries == 1 + 2 * stored
    print(f"{2 * (turn + 1)} kills: {answered} acknowledged entries, 0 lost, {more} stored but not yet acknowledged")


def test_two_processes_append_to_one_stream_at_once(path):
    """Both get through, no number is given twice, each sees its own numbers rise."""
    children = [start(path, "LIN-03/1", "60") for _ in range(2)]
    numbers = []
    for child in children:
        out, errors = child.communicate(timeout=120)
        assert child.returncode == 0, errors.decode()
        said = [int(number) for number in out.split()]
        assert said == sorted(said)
        numbers += said
    assert sorted(numbers) == list(range(1, 121))
    with Store.open(path) as store:
        assert len(store.read("LIN-03/1")) == 120
        assert store.check().ok


def count_from_outside(path: Path) -> int:
    """Another process opens the file for writing with the standard library alone, counts, and closes it."""
    code = (
        "import sqlite3, sys\n"
        "connection = sqlite3.connect(sys.argv[1])\n"
        "print(connection.execute('SELECT count(*) FROM entry').fetchone()[0])\n"
        "connection.close()\n"
    )
    return int(subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True, check=True).stdout)


@pytest.mark.parametrize("meanwhile", ["open", "read", "refuse"])
def test_looking_at_an_open_lab_book_does_not_give_up_its_lock(path, meanwhile):
    """Closing a second handle on a file drops the locks a process holds on it (POSIX, fcntl, F_SETLK).

    Then another process takes itself for the last one, deletes the -wal file on closing, and what the first
    one appends afterwards goes nowhere (sqlite.org/howtocorrupt.html, section 2.2).
    """
    with Store.open(path) as store:
        store.append("LIN-03/1", "weigh", {}, stream_kind="batch")
        if meanwhile == "refuse":
            with pytest.raises(RecordError):
                Store.create(path)
        else:
            Store.open(path, read_only=meanwhile == "read").close()
        assert count_from_outside(path) == 2
        store.append("LIN-03/1", "weigh", {}, stream_kind="batch")
        assert count_from_outside(path) == 3
        assert path.with_name(path.name + "-wal").exists()


@pytest.mark.skipif(os.name == "nt", reason="locks belong to the handle there")
def test_a_lock_given_up_by_other_code_refuses_the_next_append(path):
    """The same, done by a plain copy of the file in the same process: refused in words, nothing lost."""
    with Store.open(path) as store:
        store.append("LIN-03/1", "weigh", {}, stream_kind="batch")
        path.read_bytes()
        assert count_from_outside(path) == 2
        with pytest.raises(RecordError) as caught:
            store.append("LIN-03/1", "weigh", {}, stream_kind="batch")
        assert caught.value.code == "labbook.moved_away"
    with Store.open(path) as store:
        store.append("LIN-03/1", "weigh", {}, stream_kind="batch")
        assert len(store.read("LIN-03/1")) == 2
    assert count_from_outside(path) == 3


class TestLeftoverWal:
    @pytest.fixture
    def killed(self, path: Path) -> tuple[Path, int]:
        """A lab book whose writer was killed with entries still in the -wal file, and how many it acknowledged."""
        child = start(path, "LIN-03/1", "5", "hold")
        acknowledged = [int(child.stdout.readline()) for _ in range(5)]
        child.kill()
        child.communicate()
        assert self.wal_of(path).stat().st_size > 0
        return path, acknowledged[-1]

    def wal_of(self, path: Path) -> Path:
        return path.with_name(path.name + "-wal")

    def test_the_next_opening_folds_it_in(self, killed):
        path, acknowledged = killed
        with Store.open(path) as store:
            assert_whole(store, "LIN-03/1", acknowledged)
        assert not self.wal_of(path).exists()
        with Store.open(path) as store:
            assert_whole(store, "LIN-03/1", acknowledged)

    def test_entries_are_in_the_wal_and_travel_with_it(self, path, tmp_path):
        """Without its -wal a copy is older, with it whole: what the README says about copying must be true."""
        with Store.open(path) as store:
            for _ in range(3):
                store.append("LIN-03/1", "weigh", {}, stream_kind="batch")
            for folder, files in (("with", [path, self.wal_of(path)]), ("without", [path])):
                (tmp_path / folder).mkdir()
                for file in files:
                    shutil.copy(file, tmp_path / folder)
        for folder, there in (("with", True), ("without", False)):
            with Store.open(tmp_path / folder / path.name) as store:
                assert store.has("LIN-03/1") == there

    def test_is_read_without_being_folded_in(self, killed):
        path, acknowledged = killed
        before, wal = path.read_bytes(), self.wal_of(path).read_bytes()
        with Store.open(path, read_only=True) as store:
            assert_whole(store, "LIN-03/1", acknowledged)
        assert path.read_bytes() == before
        assert self.wal_of(path).read_bytes() == wal

    def test_a_wal_torn_at_its_end_loses_only_what_was_not_acknowledged(self, killed):
        path, acknowledged = killed
        with self.wal_of(path).open("ab") as wal:
            wal.write(os.urandom(3000))
        with Store.open(path) as store:
            assert_whole(store, "LIN-03/1", acknowledged)
            assert store.check().ok


def fill_up(store: Store) -> int:
    """Append until the disk is full; how many entries were acknowledged."""
    count = store.heads(["LIN-03/1"])["LIN-03/1"].seq
    row = ("reading", {"property": "pH", "value": 4.59})
    while True:
        try:
            store.append("LIN-03/1", "reading", {"note": "x" * 2000}, stream_kind="batch", project=[row])
        except RecordError as error:
            assert error.code == "labbook.disk_full", error
            assert "nothing of this call was stored" in error.what
            return count
        count += 1
        assert count < 20_000


def assert_nothing_half(store: Store, count: int) -> None:
    entries = store.read("LIN-03/1")
    assert len(entries) == count
    assert [row["seq"] for row in store.rows("reading")] == list(range(1, count + 1))
    assert store.check().ok


class TestFullDisk:
    def test_page_limit(self, path):
        with Store.open(path) as store:
            store.pragma("max_page_count", store.pragma("page_count") + 40)
            count = fill_up(store)
            assert count > 5
            assert_nothing_half(store, count)
            store.pragma("max_page_count", 1_000_000)
            store.append("LIN-03/1", "note", {}, stream_kind="batch")
            assert len(store.read("LIN-03/1")) == count + 1

    def test_a_call_that_fails_at_its_last_entry_stores_none(self, path):
        from kit.labbook.streams import Draft

        with Store.open(path) as store:
            store.pragma("max_page_count", store.pragma("page_count") + 30)
            many = [Draft("LIN-03/1", "weigh", {"note": "x" * 2000}, "batch") for _ in range(100)]
            with pytest.raises(RecordError) as caught:
                store.append_many(many)
            assert caught.value.code == "labbook.disk_full"
            assert not store.has("LIN-03/1")
            store.append_many(many[:3])
            assert len(store.read("LIN-03/1")) == 3

    @pytest.fixture
    def disk(self, tmp_path: Path) -> Iterator[Path]:
        """A real disk of 2 MB, where this user may mount one."""
        place = tmp_path / "disk"
        place.mkdir()
        if shutil.which("mount") is None or os.name != "posix":
            pytest.skip("no tmpfs here; the page limit covers the full disk")
        command = ["mount", "-t", "tmpfs", "-o", "size=2m", "tmpfs", str(place)]
        mounted = subprocess.run(command, capture_output=True, check=False)
        if mounted.returncode:
            pytest.skip("no right to mount a tmpfs; the page limit covers the full disk")
        yield place
        subprocess.run(["umount", "-l", str(place)], check=True)

    def remount(self, disk: Path, how: str) -> None:
        subprocess.run(["mount", "-o", f"remount,{how}", str(disk)], check=True)

    def test_a_real_full_disk(self, disk):
        path, ballast = disk / "linden.labbook", disk / "ballast"
        ballast.write_bytes(b"x" * 300_000)
        with Store.create(path) as store:
            count = fill_up(store)
            assert_nothing_half(store, count)
            assert fill_up(store) == count  # still full: refused again, still usable
            ballast.unlink()
            more = fill_up(store)
            assert more > count
            assert_nothing_half(store, more)
        with Store.open(path) as store:
            assert_nothing_half(store, more)

    def test_closing_on_a_full_disk_loses_nothing(self, disk):
        path = disk / "linden.labbook"
        with Store.create(path) as store:
            count = fill_up(store)
        with Store.open(path, read_only=True) as store:
            assert_nothing_half(store, count)

    def test_creating_on_a_full_disk_leaves_nothing(self, disk):
        ballast = disk / "ballast"
        with pytest.raises(OSError), ballast.open("wb") as file:
            while True:
                file.write(b"x" * 4096)
                file.flush()
        with pytest.raises(RecordError) as caught:
            Store.create(disk / "linden.labbook")
        assert caught.value.code == "labbook.disk_full"
        assert [found.name for found in disk.iterdir()] == ["ballast"]

    @pytest.mark.parametrize("leftover", [False, True])
    def test_read_only_media(self, disk, leftover, tmp_path, monkeypatch):
        """A closed lab book, and one with a leftover -wal, on a disk that does not let SQLite write anything."""
        scratch = tmp_path / "scratch"
        scratch.mkdir()
        monkeypatch.setattr(tempfile, "tempdir", str(scratch))
        path = disk / "linden.labbook"
        writer = Store.create(path)
        writer.append("LIN-03/1", "weigh", {}, stream_kind="batch")
        if leftover:
            copy = disk / "copy"
            copy.mkdir()
            for end in ("", "-wal"):
                shutil.copy(disk / f"linden.labbook{end}", copy)
            path = copy / "linden.labbook"
        writer.close()
        self.remount(disk, "ro")
        try:
            with Store.open(path, read_only=True) as store:
                assert len(store.read("LIN-03/1")) == 1
                assert store.check().ok
                assert bool(list(scratch.iterdir())) == leftover
            assert list(scratch.iterdir()) == []  # the private copy is gone
            with pytest.raises(RecordError) as caught:
                Store.open(path)
            assert caught.value.code == "labbook.read_only"
            with pytest.raises(RecordError) as caught:
                Store.create(path.with_name("new.labbook"))
            assert caught.value.code == "labbook.read_only"
        finally:
            self.remount(disk, "rw")
