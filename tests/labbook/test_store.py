"""The lab book's store: what it keeps and gives back, and what it refuses.

Judges from outside: Python's own `sqlite3` and `hashlib` read what was stored, SQLite's query planner says
whether an index is used.
"""

import hashlib
import json
import shutil
import sqlite3
import threading
from collections.abc import Iterator
from datetime import datetime, timedelta, timezone
from decimal import Decimal
from pathlib import Path

import pytest

from kit.errors import RecordError
from kit.labbook import append, check, migrate, sqlite_file
from kit.labbook.store import Store
from kit.labbook.streams import GENESIS, Draft, Head

REAL_STEPS = True

START = datetime(2026, 3, 2, 9, 0, tzinfo=timezone(timedelta(hours=1)))


class Clock:
    """A clock that moves on by a minute at each look."""

    def __init__(self) -> None:
        self.now = START

    def __call__(self) -> datetime:
        self.now += timedelta(minutes=1)
        return self.now


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "linden.labbook"


@pytest.fixture
def store(path: Path) -> Iterator[Store]:
    with Store.create(path, clock=Clock(), title="Linden") as made:
        yield made


def refused(call, *arguments, **named) -> RecordError:
    """The RecordError a call raises; its text must be the one paragraph a reader sees."""
    with pytest.raises(RecordError) as caught:
        call(*arguments, **named)
    assert "\n" not in str(caught.value)
    assert str(caught.value).endswith(f"[{caught.value.code}]")
    return caught.value


def weigh(store: Store, stream: str, mass: str, **more):
    """One weighing with its derived row."""
    row = {"material": "glycerin", "mass_g_text": mass, "mass_g": Decimal(mass)}
    return store.append(stream, "weigh", {"mass_g": mass}, stream_kind="batch", project=[("weighing", row)], **more)


class TestCreate:
    def test_begins_the_book_with_its_title(self, store):
        (first,) = store.read("book")
        assert (first.seq, first.kind, first.body, first.previous) == (1, "created", {"title": "Linden"}, GENESIS)
        assert first.recorded_at == "2026-03-02T09:01:00+01:00"

    def test_leaves_only_the_lab_book(self, path):
        Store.create(path).close()
        assert [found.name for found in path.parent.iterdir()] == [path.name]

    def test_never_touches_a_file_that_is_there(self, path):
        path.write_bytes(b"my only copy")
        assert refused(Store.create, path).code == "labbook.exists"
        assert path.read_bytes() == b"my only copy"

    def test_loses_a_race_for_the_name_without_harm(self, path, monkeypatch):
        fill = migrate._fill

        def slow(draft, begin):
            fill(draft, begin)
            path.write_bytes(b"the other one was quicker")

        monkeypatch.setattr(migrate, "_fill", slow)
        assert refused(Store.create, path).code == "labbook.exists"
        assert path.read_bytes() == b"the other one was quicker"
        assert [found.name for found in path.parent.iterdir()] == [path.name]

    def test_takes_the_name_where_hard_links_are_not_offered(self, path, monkeypatch):
        def no_links(*_):
            raise PermissionError(1, "Operation not permitted")

        monkeypatch.setattr(migrate.os, "link", no_links)
        Store.create(path).close()
        assert refused(Store.create, path).code == "labbook.exists"
        with Store.open(path) as store:
            assert store.check().ok

    def test_names_the_missing_folder(self, tmp_path):
        error = refused(Store.create, tmp_path / "nowhere" / "linden.labbook")
        assert error.code == "labbook.not_found"
        assert "nowhere" in error.what

    @pytest.mark.parametrize("end", ["-wal", "-shm", "-journal"])
    def test_refuses_a_leftover_of_an_earlier_lab_book(self, path, end):
        """SQLite would replay it into the new file."""
        path.with_name(path.name + end).write_bytes(b"x")
        assert refused(Store.create, path).code == "labbook.leftover"
        assert not path.exists()

    def test_a_name_the_disk_does_not_take_is_said(self, tmp_path):
        assert refused(Store.create, tmp_path / ("x" * 300)).code == "labbook.disk_error"

    def test_a_clock_without_offset_is_refused_and_leaves_nothing(self, path):
        assert refused(Store.create, path, clock=lambda: datetime(2026, 3, 2)).code == "labbook.time"
        assert list(path.parent.iterdir()) == []


class TestOpen:
    def test_never_creates(self, path):
        error = refused(Store.open, path)
        assert error.code == "labbook.not_found"
        assert list(path.parent.iterdir()) == []

    def test_lists_the_nearest_lab_books(self, path):
        for name in ("linden2.labbook", "calendula.labbook", "linden.txt"):
            path.with_name(name).touch()
        error = refused(Store.open, path)
        assert "linden2.labbook, calendula.labbook" in error.allowed
        assert "linden.txt" not in error.allowed

    def test_names_a_missing_folder(self, tmp_path):
        assert "nowhere" in refused(Store.open, tmp_path / "nowhere" / "linden.labbook").what

    @pytest.mark.parametrize("content", [b"", b"name,mass\nglycerin,12\n" * 40, b"SQLite format 3\x00" + b"\x00" * 84])
    def test_refuses_what_is_not_a_lab_book_and_does_not_touch_it(self, path, content):
        path.write_bytes(content)
        assert refused(Store.open, path).code == "labbook.not_a_labbook"
        assert path.read_bytes() == content
        assert [found.name for found in path.parent.iterdir()] == [path.name]

    def test_refuses_the_database_of_another_program(self, path):
        with sqlite3.connect(path) as other:
            other.execute("CREATE TABLE contacts (name)")
        other.close()
        before = path.read_bytes()
        error = refused(Store.open, path)
        assert error.code == "labbook.not_a_labbook"
        assert "another program" in error.what
        assert path.read_bytes() == before

    def test_a_folder_is_not_a_lab_book(self, tmp_path):
        assert refused(Store.open, tmp_path).code == "labbook.unreadable"

    @pytest.mark.parametrize("read_only", [False, True])
    def test_a_shortened_file_is_damaged(self, path, store, read_only):
        weigh(store, "LIN-03/1", "1.50")
        store.close()
        path.write_bytes(path.read_bytes()[:9000])
        assert refused(Store.open, path, read_only=read_only).code == "labbook.damaged"

    def test_overwritten_pages_are_found_where_they_are_met(self, path, store):
        """Eight pages are overwritten: the file opens, and reading or checking that part says so."""
        for _ in range(200):
            weigh(store, "LIN-03/1", "1.50")
        store.close()
        content = bytearray(path.read_bytes())
        content[-8 * 4096 :] = b"\xff" * (8 * 4096)
        path.write_bytes(content)
        for read_only in (False, True):
            with Store.open(path, read_only=read_only) as again:
                assert refused(again.read, "LIN-03/1").code == "labbook.damaged"
                assert "labbook.damaged" in dict(again.check().problems)
                assert again.read("book")[0].kind == "created"

    def test_settings_are_those_a_lab_book_needs(self, store):
        # https://www.sqlite.org/pragma.html: synchronous 2 is FULL
        wanted = {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1, "busy_timeout": 10_000}
        assert {name: store.pragma(name) for name in wanted} == wanted
        assert store.pragma("application_id") == int.from_bytes(b"CTKB", "big")

    def test_closed_is_said(self, store):
        store.close()
        store.close()
        assert refused(store.read, "book").code == "labbook.closed"
        assert refused(weigh, store, "LIN-03/1", "1.50").code == "labbook.closed"

    def test_closing_leaves_one_file(self, path, store):
        weigh(store, "LIN-03/1", "1.50")
        assert path.with_name("linden.labbook-wal").exists()
        store.close()
        assert [found.name for found in path.parent.iterdir()] == [path.name]

    def test_write_protected_is_said(self, path, store, monkeypatch):
        store.close()
        monkeypatch.setattr(sqlite_file.os, "access", lambda *_: False)  # the tests may run as root, who may always
        assert refused(Store.open, path).code == "labbook.read_only"


class TestReadOnly:
    def test_reads_and_refuses_to_append(self, path, store):
        entry = weigh(store, "LIN-03/1", "1.50")
        with Store.open(path, read_only=True) as reader:
            assert reader.read("LIN-03/1") == (entry,)
            assert reader.read_only
            assert refused(weigh, reader, "LIN-03/1", "2.00").code == "labbook.read_only"
            assert refused(reader.append_many, [Draft("a", "b", {}, "c")]).code == "labbook.read_only"

    def test_does_not_change_a_byte_of_the_file(self, path, store):
        weigh(store, "LIN-03/1", "1.50")
        store.close()
        before = path.read_bytes()
        with Store.open(path, read_only=True) as reader:
            assert reader.check().ok
        assert path.read_bytes() == before

    def test_sees_what_a_writer_adds_meanwhile(self, path, store):
        with Store.open(path, read_only=True) as reader:
            weigh(store, "LIN-03/1", "1.50")
            assert len(reader.read("LIN-03/1")) == 1
            with reader.snapshot():
                weigh_before = reader.heads()
                weigh(store, "LIN-03/1", "2.00")
                assert reader.heads() == weigh_before
                assert len(reader.read("LIN-03/1")) == 1
            assert len(reader.read("LIN-03/1")) == 2

    def test_sqlite_itself_refuses(self, path, store):
        with Store.open(path, read_only=True) as reader, pytest.raises(RecordError) as caught:
            reader.pragma("user_version", 7)
        assert caught.value.code == "labbook.read_only"


class TestAppend:
    def test_chains_within_its_stream(self, store):
        first, second = weigh(store, "LIN-03/1", "1.50"), weigh(store, "LIN-03/1", "2.50")
        other = weigh(store, "LIN-04/1", "9.00")
        assert (first.seq, second.seq, other.seq) == (1, 2, 1)
        assert (first.previous, second.previous, other.previous) == (GENESIS, first.hash, GENESIS)
        assert store.read("LIN-03/1") == (first, second)

    def test_is_what_another_reader_finds_in_the_file_at_once(self, path, store):
        """Text and hash as stored, read with the standard library alone."""
        weigh(store, "LIN-03/1", "20.040", measured_at="2026-03-01T17:30:00-05:00")
        reader = sqlite3.connect(path)
        text, hash = reader.execute("SELECT text, hash FROM entry ORDER BY id DESC LIMIT 1").fetchone()
        reader.close()
        assert hash == hashlib.sha256(text.encode()).hexdigest()
        assert json.loads(text) == {
            "stream": "LIN-03/1",
            "seq": 1,
            "kind": "weigh",
            "body": {"mass_g": "20.040"},
            "measured_at": "2026-03-01T17:30:00-05:00",
            "recorded_at": "2026-03-02T09:02:00+01:00",
            "previous": "0" * 64,
        }

    def test_a_moment_is_kept_with_its_offset(self, store):
        assert weigh(store, "LIN-03/1", "1.50", measured_at=START).measured_at == "2026-03-02T09:00:00+01:00"

    @pytest.mark.parametrize(
        ("body", "code"), [({"mass": 1.5}, "labbook.float"), ({"a": b""}, "labbook.body"), ("text", "labbook.body")]
    )
    def test_a_bad_body_stores_nothing(self, store, body, code):
        before = store.heads()
        assert refused(store.append, "LIN-03/1", "weigh", body, stream_kind="batch").code == code
        assert store.heads() == before
        assert not store.has("LIN-03/1")
        assert weigh(store, "LIN-03/1", "1.50").seq == 1

    def test_a_bad_time_stores_nothing(self, store):
        assert refused(weigh, store, "LIN-03/1", "1.50", measured_at="2026-03-02T09:00:00").code == "labbook.time"
        assert not store.has("LIN-03/1")

    def test_a_stream_keeps_its_kind(self, store):
        weigh(store, "LIN-03/1", "1.50")
        error = refused(store.append, "LIN-03/1", "asked", {}, stream_kind="study")
        assert error.code == "labbook.stream_kind"

    def test_a_stream_kind_is_checked_against_what_another_store_wrote(self, path, store):
        with Store.open(path) as other:
            weigh(other, "LIN-03/1", "1.50")
        assert refused(store.append, "LIN-03/1", "asked", {}, stream_kind="study").code == "labbook.stream_kind"

    def test_expect_is_the_head_the_caller_believes(self, store):
        first = weigh(store, "LIN-03/1", "1.50", expect=Head(0, GENESIS))
        second = weigh(store, "LIN-03/1", "2.50", expect=(1, first.hash))
        error = refused(weigh, store, "LIN-03/1", "3.50", expect=first.head)
        assert error.code == "labbook.moved_on"
        assert "ends at entry 2, not at entry 1" in error.what
        assert store.read("LIN-03/1") == (first, second)

    def test_expect_sees_another_process(self, path, store):
        first = weigh(store, "LIN-03/1", "1.50")
        with Store.open(path) as other:
            weigh(other, "LIN-03/1", "2.00")
        assert refused(weigh, store, "LIN-03/1", "3.00", expect=first.head).code == "labbook.moved_on"
        assert weigh(store, "LIN-03/1", "3.00").seq == 3

    def test_many_are_all_or_none_across_streams(self, store):
        good = [Draft("LIN-03/1", "weigh", {"n": n}, "batch") for n in range(3)]
        good.append(Draft("book", "stream-opened", {"stream": "LIN-03/1"}, "book"))
        entries = store.append_many(good)
        assert [(entry.stream, entry.seq) for entry in entries] == [
            ("LIN-03/1", 1),
            ("LIN-03/1", 2),
            ("LIN-03/1", 3),
            ("book", 2),
        ]
        assert len({entry.recorded_at for entry in entries}) == 1
        before = store.heads()
        bad = [*good, Draft("LIN-05/1", "weigh", {}, "batch"), Draft("book", "x", {"f": 1.5}, "book")]
        assert refused(store.append_many, bad).code == "labbook.float"
        assert store.heads() == before
        assert not store.has("LIN-05/1")
        assert store.check().ok

    def test_nothing_is_appended_for_no_drafts(self, store):
        assert store.append_many([]) == []

    def test_several_threads_may_share_a_store(self, store):
        def work(name: str) -> None:
            for _ in range(25):
                weigh(store, name, "1.50")

        threads = [threading.Thread(target=work, args=(name,)) for name in ("A", "A", "B")]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert {name: head.seq for name, head in store.heads(["A", "B"]).items()} == {"A": 50, "B": 25}
        assert store.check().ok

    def test_not_inside_a_snapshot(self, store):
        with store.snapshot():
            assert refused(weigh, store, "LIN-03/1", "1.50").code == "labbook.in_snapshot"
        assert weigh(store, "LIN-03/1", "1.50").seq == 1

    def test_a_lock_held_too_long_is_said(self, path, store, monkeypatch):
        monkeypatch.setattr(sqlite_file, "BUSY_TIMEOUT_S", 0.05)
        with Store.open(path) as waiting:
            other = sqlite3.connect(path, isolation_level=None)
            other.execute("BEGIN IMMEDIATE")
            assert refused(weigh, waiting, "LIN-03/1", "1.50").code == "labbook.locked"
            other.execute("ROLLBACK")
            other.close()
            assert weigh(waiting, "LIN-03/1", "1.50").seq == 1

    def test_a_change_of_folder_is_no_move(self, tmp_path, monkeypatch):
        monkeypatch.chdir(tmp_path)
        (tmp_path / "elsewhere").mkdir()
        with Store.create("linden.labbook") as store:
            monkeypatch.chdir(tmp_path / "elsewhere")
            assert weigh(store, "LIN-03/1", "1.50").seq == 1

    @pytest.mark.skipif("os.name == 'nt'", reason="an open file cannot be moved there")
    @pytest.mark.parametrize("replaced", [False, True])
    def test_a_file_moved_away_is_noticed(self, path, store, replaced):
        path.rename(path.with_name("elsewhere.labbook"))
        if replaced:
            shutil.copy(path.with_name("elsewhere.labbook"), path)
        assert refused(weigh, store, "LIN-03/1", "1.50").code == "labbook.moved_away"


class TestProjections:
    def test_rows_carry_their_entry(self, store):
        weigh(store, "LIN-03/1", "1.50")
        weigh(store, "LIN-03/1", "20.040")
        weigh(store, "LIN-04/1", "3.00")
        rows = store.rows("weighing", stream="LIN-03/1", material="glycerin")
        assert [(row["stream"], row["seq"], row["mass_g_text"], row["mass_g"]) for row in rows] == [
            ("LIN-03/1", 1, "1.50", 1.5),
            ("LIN-03/1", 2, "20.040", 20.04),
        ]
        assert store.rows("weighing", material="water") == []
        assert len(store.rows("weighing")) == 3

    def test_none_asks_for_what_was_left_out(self, store):
        for value in (Decimal("4.59"), None):
            row = {"property": "pH", "value": value}
            store.append("LIN-03/1", "reading", {}, stream_kind="batch", project=[("reading", row)])
        assert [row["seq"] for row in store.rows("reading", value=None)] == [2]

    @pytest.mark.parametrize(
        ("table", "row", "code"),
        [
            ("nothing", {}, "labbook.column"),
            ("reading", {"propperty": "pH"}, "labbook.column"),
            ("reading", {"property": "pH", "value_text": 4.5}, "labbook.column"),
            ("reading", {"property": "pH", "value": "4.5"}, "labbook.column"),
            ("reading", {"property": "pH", "value": float("nan")}, "labbook.column"),
            ("batch", {"study": "S", "trial": "T", "number": Decimal("1.5")}, "labbook.column"),
            ("reading", {"property": "pH", "entry_id": 1}, "labbook.column"),
            ("weighing", {"material": "water"}, "labbook.row_refused"),
        ],
    )
    def test_a_row_that_does_not_fit_stores_nothing(self, store, table, row, code):
        before = store.heads()
        error = refused(store.append, "LIN-03/1", "weigh", {}, stream_kind="batch", project=[(table, row)])
        assert error.code == code
        assert store.heads() == before
        assert weigh(store, "LIN-03/1", "1.50").seq == 1

    def test_a_second_row_with_a_taken_key_stores_nothing(self, store):
        row = {"study": "LIN", "trial": "LIN-03", "number": 1}
        store.append("LIN-03/1", "start", {}, stream_kind="batch", project=[("batch", row)])
        error = refused(store.append, "LIN-03/x", "start", {}, stream_kind="batch", project=[("batch", row)])
        assert error.code == "labbook.duplicate"
        assert not store.has("LIN-03/x")

    def test_unknown_names_are_refused(self, store):
        assert "weighing" in refused(store.rows, "weighings").allowed
        assert "material" in refused(store.rows, "weighing", substance="water").allowed
        assert refused(store.rows, "entry").code == "labbook.column"


class TestReading:
    def test_an_unknown_stream_names_the_nearest(self, store):
        weigh(store, "LIN-03/1", "1.50")
        error = refused(store.read, "LIN-3/1")
        assert error.code == "labbook.no_stream"
        assert "LIN-03/1" in error.allowed

    def test_names_come_in_the_order_they_were_begun(self, store):
        for name in ("Z", "A", "M"):
            weigh(store, name, "1.50")
        store.append("LIN", "asked", {}, stream_kind="study")
        assert store.stream_names() == ["book", "Z", "A", "M", "LIN"]
        assert store.stream_names("batch") == ["Z", "A", "M"]
        assert store.has("Z")
        assert not store.has("z")

    def test_heads(self, store):
        entry = weigh(store, "LIN-03/1", "1.50")
        assert store.heads(["LIN-03/1", "never"]) == {"LIN-03/1": entry.head, "never": Head(0, GENESIS)}
        assert store.heads() == {"book": store.read("book")[-1].head, "LIN-03/1": entry.head}

    def test_streams_that_hold_no_entry_of_some_kinds(self, store):
        for name in ("A", "B", "C"):
            weigh(store, name, "1.50")
        store.append("B", "finish", {}, stream_kind="batch")
        store.append("C", "abandon", {}, stream_kind="batch")
        assert store.streams_without("batch", ["finish"]) == ["A", "C"]
        assert store.streams_without("batch", ["finish", "abandon"]) == ["A"]
        assert store.streams_without("study", ["finish"]) == []

    def test_entries_of_a_kind(self, store):
        made = [weigh(store, "B", "1.50"), weigh(store, "A", "2.50")]
        assert store.entries_of_kind("weigh") == tuple(made)
        assert store.entries_of_kind("weigh", stream_kind="study") == ()
        assert store.entries_of_kind("never") == ()

    def test_no_query_of_the_daily_work_reads_a_whole_table(self, path, store):
        """SQLite's planner is the judge: with 20,000 streams a SCAN would show at the bench."""
        reader = sqlite3.connect(path)
        chain = str(check.CHAIN.compile(compile_kwargs={"literal_binds": False}))
        for sql in (append.FIND_STREAM.sql, append.FIND_HEAD.sql, chain):
            marks = {"of": 1} if ":of" in sql else [1] * sql.count("?")
            plan = [row[3] for row in reader.execute(f"EXPLAIN QUERY PLAN {sql}", marks)]
            assert plan
            assert not [step for step in plan if step.startswith("SCAN")]
        reader.close()
