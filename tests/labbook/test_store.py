"""The lab book's store: what it keeps, what it refuses, and what its check finds.

Judges from outside: Python's own `sqlite3` reads and tampers with the file behind the store's back, SQLite's
query planner says whether an index is used, Alembic compares migrated tables with declared ones, and hashes
are computed with `hashlib`.
"""

import hashlib
import json
import shutil
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta, timezone
from decimal import Decimal
from pathlib import Path

import pytest

from kit.errors import RecordError
from kit.labbook import append, check, faults, migrate, schema, sqlite_file
from kit.labbook.store import Store
from kit.labbook.streams import GENESIS, Draft, Head, verify_chain

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


@contextmanager
def behind_its_back(path: Path) -> Iterator[sqlite3.Connection]:
    """A bare connection with the guards removed and foreign keys off, as somebody with a database browser."""
    connection = sqlite3.connect(path, isolation_level=None)
    for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        connection.execute(f"DROP TRIGGER {name}")
    try:
        yield connection
    finally:
        connection.close()


def guards_aside(report) -> list[tuple[str, str]]:
    """Problems other than the removed guards, which every tampering here brings with it."""
    return [problem for problem in report.problems if problem[0] != "labbook.unguarded"]


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
        "body, code", [({"mass": 1.5}, "labbook.float"), ({"a": b""}, "labbook.body"), ("text", "labbook.body")]
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
        "table, row, code",
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


class TestTables:
    def test_the_migrations_make_exactly_the_declared_tables(self, path, store):
        """Alembic's own comparison, indexes and unique keys included."""
        from alembic.autogenerate import compare_metadata
        from alembic.migration import MigrationContext

        connection = sqlite_file.core_connection(sqlite3.connect(path))
        assert compare_metadata(MigrationContext.configure(connection), schema.metadata) == []
        connection.close()
        connection.engine.dispose()

    def test_every_table_refuses_change_removal_and_replacement(self, path, store):
        """Each table gets a row first: a guard on an empty table could not fail."""
        rows = {
            "study": {"name": "LIN"},
            "trial": {"study": "LIN", "name": "LIN-03"},
            "batch": {"study": "LIN", "trial": "LIN-03", "number": 1},
            "instrument": {"name": "PH-1", "kind": "pH meter"},
            "calibration": {"instrument": "PH-1", "name": "CAL-07"},
            "formula_version": {"fingerprint": "f", "name": "Linden", "version": "1"},
            "weighing": {"material": "water", "mass_g_text": "1.50", "mass_g": 1.5},
            "reading": {"property": "pH"},
        }
        store.append("X", "x", {}, stream_kind="batch", project=list(rows.items()))
        other = sqlite3.connect(path, isolation_level=None)
        tables = {name for (name,) in other.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
        assert tables - {"alembic_version", "sqlite_sequence"} == set(schema.GUARDED) == {"stream", "entry", *rows}
        for table in schema.GUARDED:
            before = other.execute(f"SELECT * FROM {table}").fetchall()
            assert before
            for change in (
                f"UPDATE {table} SET id = id",
                f"DELETE FROM {table}",
                f"INSERT OR REPLACE INTO {table} SELECT * FROM {table}",
            ):
                with pytest.raises(sqlite3.IntegrityError, match="append-only") as caught:
                    other.execute(change)
                wanted = "labbook.duplicate" if "REPLACE" in change else "labbook.append_only"
                assert faults.translate(caught.value).code == wanted
            assert other.execute(f"SELECT * FROM {table}").fetchall() == before
        other.close()


STEP = """
from alembic import op
revision = "0002"
down_revision = "0001"
def upgrade():
    op.execute("ALTER TABLE study ADD COLUMN note TEXT")
    {then}
"""


class TestMigration:
    @pytest.fixture
    def old(self, path, store):
        """A lab book of schema 1 with one batch, closed."""
        weigh(store, "LIN-03/1", "1.50")
        store.close()
        return path

    @pytest.fixture
    def newer_kit(self, tmp_path_factory, monkeypatch):
        """Makes this kit one schema newer, by a real second step."""

        def install(then: str = "pass") -> None:
            steps = tmp_path_factory.mktemp("newer") / "migrations"
            shutil.copytree(Path(migrate.__file__).parent / "migrations", steps)
            (steps / "versions" / "0002_note.py").write_text(STEP.format(then=then))
            monkeypatch.setattr(migrate, "MIGRATIONS", str(steps))
            monkeypatch.setattr(schema, "VERSION", 2)

        return install

    def test_a_newer_file_is_refused_and_left_alone(self, old):
        with sqlite3.connect(old) as other:
            other.execute("PRAGMA user_version = 2")
        other.close()
        before = old.read_bytes()
        for read_only in (False, True):
            assert refused(Store.open, old, read_only=read_only).code == "labbook.newer"
        assert old.read_bytes() == before

    def test_an_older_file_is_backed_up_then_migrated(self, old, newer_kit, tmp_path_factory):
        before = old.read_bytes()
        newer_kit()
        with Store.open(old, clock=Clock()) as store:
            assert store.check().ok
            assert store.pragma("user_version") == 2
            assert weigh(store, "LIN-03/1", "2.50").seq == 2
        kept = old.with_name("linden.schema-1.2026-03-02.labbook")
        assert sorted(found.name for found in old.parent.iterdir()) == [old.name, kept.name]
        reader = sqlite3.connect(kept)
        assert reader.execute("PRAGMA user_version").fetchone() == (1,)
        copy = tmp_path_factory.mktemp("copy") / "before.labbook"
        copy.write_bytes(before)
        original = sqlite3.connect(copy)
        assert list(reader.iterdump()) == list(original.iterdump())
        reader.close()
        original.close()

    def test_opening_again_makes_no_second_backup(self, old, newer_kit):
        newer_kit()
        for _ in range(2):
            Store.open(old, clock=Clock()).close()
        assert len(list(old.parent.iterdir())) == 2

    def test_a_backup_never_overwrites_one(self, old, newer_kit):
        newer_kit()
        kept = old.with_name("linden.schema-1.2026-03-02.labbook")
        kept.write_bytes(b"an earlier backup")
        Store.open(old, clock=Clock()).close()
        assert kept.read_bytes() == b"an earlier backup"
        assert old.with_name("linden.schema-1.2026-03-02-2.labbook").exists()

    @pytest.mark.parametrize("then", ["op.execute('DROP TABLE no_such_table')", "raise ValueError('a bad row')"])
    def test_a_step_that_fails_leaves_the_file_as_it_was(self, old, newer_kit, monkeypatch, then):
        before = old.read_bytes()
        with monkeypatch.context():
            newer_kit(then)
            error = refused(Store.open, old, clock=Clock())
        assert error.code == "labbook.migration"
        assert "a backup lies in linden.schema-1.2026-03-02.labbook" in error.mend
        monkeypatch.undo()
        with Store.open(old) as store:
            assert store.check().ok
        assert old.read_bytes() == before

    def test_read_only_an_older_file_is_migrated_in_a_private_copy(self, old, newer_kit):
        newer_kit()
        before = old.read_bytes()
        with Store.open(old, read_only=True, clock=Clock()) as reader:
            assert reader.pragma("user_version") == 2
            assert len(reader.read("LIN-03/1")) == 1
            assert refused(weigh, reader, "LIN-03/1", "2.50").code == "labbook.read_only"
        assert old.read_bytes() == before
        assert not list(old.parent.glob("*schema-1*"))


class TestCheck:
    """Every change is made with the guards removed, then read back through the store."""

    @pytest.fixture
    def book(self, path, store):
        """Three batches of four weighings, named in the book's own stream; closed."""
        for name in ("LIN-03/1", "LIN-04/1", "LIN-05/1"):
            store.append_many(
                [Draft(name, "start", {}, "batch"), Draft("book", "stream-opened", {"stream": name}, "book")]
            )
            for mass in ("1.50", "2.50", "3.50"):
                weigh(store, name, mass)
        self.printed = store.heads()
        store.close()
        return path

    def tamper(self, path: Path, *statements: str) -> None:
        with behind_its_back(path) as other:
            for statement in statements:
                other.execute(statement)

    def find(self, path: Path, against=None, **more) -> list[tuple[str, str]]:
        with Store.open(path, read_only=True) as store:
            return guards_aside(store.check(against, **more))

    def test_a_whole_book_has_nothing_amiss(self, book):
        with Store.open(book) as store:
            report = store.check(self.printed)
        assert report.ok
        assert (report.streams, report.entries) == (4, 16)
        assert str(report) == "16 entries in 4 streams: nothing amiss."

    def test_removed_guards_are_named(self, book):
        self.tamper(book)
        with Store.open(book) as store:
            report = store.check()
        assert not report.ok
        assert len(report.problems) == 3 * len(schema.GUARDED)
        assert all(code == "labbook.unguarded" for code, _ in report.problems)

    def test_an_edited_value(self, book):
        self.tamper(book, "UPDATE entry SET text = replace(text, '2.50', '2.60') WHERE stream_id = 3")
        ((code, words),) = self.find(book)
        assert code == "labbook.edited"
        assert 'Stream "LIN-04/1", entry 3' in words
        with Store.open(book) as store:
            assert refused(store.read, "LIN-04/1").code == "labbook.edited"
            assert refused(store.entries_of_kind, "weigh").code == "labbook.edited"
            assert len(store.read("LIN-03/1")) == 4  # the others can still be read

    @pytest.mark.parametrize("text", ["'{'", "'{}'", "x'00ff'", "CAST(x'ff' AS TEXT)", "5"])
    def test_a_text_that_is_none_any_more(self, book, text):
        self.tamper(book, f"UPDATE entry SET text = {text} WHERE stream_id = 3 AND seq = 2")
        ((code, _),) = self.find(book)
        assert code in ("labbook.edited", "labbook.damaged")
        with Store.open(book) as store:
            assert refused(store.read, "LIN-04/1").code == code

    @pytest.mark.parametrize("column, value", [("kind", "'void'"), ("seq", "9")])
    def test_an_edited_column_beside_the_text(self, book, column, value):
        self.tamper(book, f"UPDATE entry SET {column} = {value} WHERE stream_id = 3 AND seq = 4")
        assert [code for code, _ in self.find(book)] == ["labbook.edited"]

    def test_an_entry_removed_from_the_middle(self, book):
        self.tamper(book, "DELETE FROM weighing", "DELETE FROM entry WHERE stream_id = 3 AND seq = 2")
        found = dict(self.find(book))
        assert "Entry 2 is missing: entry 3 comes after entry 1" in found["labbook.gap"]
        assert "1 entry is gone from the lab book, number 9" in found["labbook.deleted"]

    def test_an_entry_removed_with_its_row_left_behind(self, book):
        self.tamper(book, "DELETE FROM entry WHERE stream_id = 3 AND seq = 2")
        assert "labbook.orphan" in dict(self.find(book))

    def test_two_entries_swapped(self, book):
        self.tamper(
            book,
            "UPDATE entry SET seq = 99 WHERE stream_id = 3 AND seq = 2",
            "UPDATE entry SET seq = 2 WHERE stream_id = 3 AND seq = 3",
            "UPDATE entry SET seq = 3 WHERE stream_id = 3 AND seq = 99",
        )
        assert [code for code, _ in self.find(book)] == ["labbook.reordered"]

    def test_an_entry_moved_to_another_stream(self, book):
        self.tamper(book, "UPDATE entry SET stream_id = 2, seq = 5 WHERE stream_id = 3 AND seq = 4")
        found = dict(self.find(book))
        assert "LIN-04/1" in found["labbook.wrong_stream"]
        assert "stands in another stream than its entry" in found["labbook.projection"]

    def test_a_cut_tail_shows_against_the_printed_head(self, book):
        self.tamper(
            book,
            "DELETE FROM weighing WHERE entry_id > 14",
            "DELETE FROM entry WHERE id > 14",
            "UPDATE sqlite_sequence SET seq = 14",
        )
        assert self.find(book) == []  # tidied up, it is a whole shorter book
        ((code, words),) = self.find(book, self.printed)
        assert code == "labbook.tail_missing"
        assert 'A tail of 2 entries is missing from the stream "LIN-05/1"' in words
        assert "printed at entry 4, the lab book ends at entry 2" in words

    def test_a_cut_tail_that_was_not_tidied_up_shows_by_itself(self, book):
        self.tamper(book, "DELETE FROM weighing WHERE entry_id > 14", "DELETE FROM entry WHERE id > 14")
        ((code, words),) = self.find(book)
        assert code == "labbook.deleted"
        assert "2 entries are gone from the lab book, numbers 15 to 16" in words

    def test_a_deleted_batch(self, book):
        statements = [f"DELETE FROM {table} WHERE stream_id = 3" for table in ("weighing", "entry")]
        self.tamper(book, *statements, "DELETE FROM stream WHERE id = 3")
        found = self.find(book, self.printed)
        assert [code for code, _ in found] == ["labbook.deleted"] * 2 + ["labbook.stream_gone"] * 2
        assert 'The stream "LIN-04/1" is gone: entry 3 of the lab book opened it.' in found[2][1]
        assert 'The stream "LIN-04/1" is gone: the write-up was printed when it had 4 entries.' in found[3][1]

    def test_a_batch_emptied(self, book):
        self.tamper(book, "DELETE FROM weighing WHERE stream_id = 3", "DELETE FROM entry WHERE stream_id = 3")
        assert "lost all its entries" in dict(self.find(book, self.printed))["labbook.stream_gone"]
        with Store.open(book) as store:
            assert refused(store.read, "LIN-04/1").code == "labbook.stream_gone"

    def test_a_rebuilt_chain_shows_against_the_printed_head(self, book):
        """The forger's case: changed text, fitting hashes; only the printed head tells."""
        with behind_its_back(book) as other:
            previous = GENESIS
            for key, text in other.execute("SELECT id, text FROM entry WHERE stream_id = 3 ORDER BY seq").fetchall():
                fields = json.loads(text.replace("2.50", "2.60")) | {"previous": previous}
                forged = json.dumps(fields, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
                previous = hashlib.sha256(forged.encode()).hexdigest()
                other.execute("UPDATE entry SET text = ?, hash = ? WHERE id = ?", (forged, previous, key))
        assert self.find(book) == []
        ((code, words),) = self.find(book, self.printed)
        assert code == "labbook.other_head"
        assert 'Entry 4 of the stream "LIN-04/1"' in words

    def test_derived_rows_are_compared_with_what_the_entries_say(self, book):
        def rebuild(entry):
            mass = entry.body.get("mass_g")
            return (
                [("weighing", {"material": "glycerin", "mass_g_text": mass, "mass_g": Decimal(mass)})] if mass else []
            )

        assert self.find(book, rebuild=rebuild) == []
        self.tamper(
            book,
            "UPDATE weighing SET mass_g = 2.6 WHERE stream_id = 3 AND mass_g = 2.5",
            "DELETE FROM weighing WHERE stream_id = 4 AND mass_g = 1.5",
        )
        assert self.find(book) == []  # what an entry means is not known here without `rebuild`
        found = self.find(book, rebuild=rebuild)
        assert [code for code, _ in found] == ["labbook.projection"] * 2
        assert 'entry 3 of the stream "LIN-04/1"' in found[0][1]
        assert 'entry 2 of the stream "LIN-05/1"' in found[1][1]

    def test_printed_heads_of_a_shorter_time_ago_still_fit(self, book):
        with Store.open(book) as store:
            weigh(store, "LIN-04/1", "9.00")
            assert store.check(self.printed).ok
            assert verify_chain(store.read("LIN-04/1"), "LIN-04/1").seq == 5
