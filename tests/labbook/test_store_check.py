"""The lab book's file under attack and over time: its guards, its check, and its migrations.

Every change is made behind the store's back with Python's own `sqlite3`; Alembic compares migrated tables with
declared ones, and a forged chain is built with `hashlib` alone.
"""

import hashlib
import json
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta, timezone
from decimal import Decimal
from pathlib import Path

import pytest

from kit.errors import RecordError
from kit.labbook import faults, migrate, schema, sqlite_file
from kit.labbook.store import Store
from kit.labbook.streams import GENESIS, Draft, verify_chain
from tests import quick_labbooks

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


class TestTables:
    def test_the_migrations_make_exactly_the_declared_tables(self, path, store):
        """Alembic's own comparison, indexes and unique keys included."""
        from alembic.autogenerate import compare_metadata
        from alembic.migration import MigrationContext

        connection = sqlite_file.core_connection(sqlite3.connect(path))
        assert compare_metadata(MigrationContext.configure(connection), schema.metadata) == []
        connection.close()
        connection.engine.dispose()

    def test_the_quick_lab_books_of_other_tests_have_these_tables_too(self, path, store, monkeypatch, tmp_path):
        """Column by column, guard by guard, in their order, as SQLite tells them."""
        asked = "SELECT type, name, tbl_name, sql FROM sqlite_master"
        told = {path.name: sqlite3.connect(path)}
        real = migrate._upgrade
        monkeypatch.setattr(migrate, "_upgrade", lambda connection: quick_labbooks._upgrade(connection, real))
        for name in ("first", "second"):
            Store.create(tmp_path / name).close()
            told[name] = sqlite3.connect(tmp_path / name)
        for wanted in (asked, "SELECT * FROM alembic_version", "PRAGMA user_version", "PRAGMA application_id"):
            first, *others = (connection.execute(wanted).fetchall() for connection in told.values())
            assert first and others == [first, first]
        for connection in told.values():
            connection.close()

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


NOW, NEXT = schema.VERSION, schema.VERSION + 1
STEP = """
from alembic import op
revision = "{next:04d}"
down_revision = "{now:04d}"
def upgrade():
    op.execute("ALTER TABLE study ADD COLUMN note TEXT")
    {then}
"""


class TestMigration:
    @pytest.fixture
    def old(self, path, store):
        """A lab book of this schema with one batch, closed."""
        weigh(store, "LIN-03/1", "1.50")
        store.close()
        return path

    @pytest.fixture
    def newer_kit(self, tmp_path_factory, monkeypatch):
        """Makes this kit one schema newer, by a real second step."""

        def install(then: str = "pass") -> None:
            steps = tmp_path_factory.mktemp("newer") / "migrations"
            shutil.copytree(Path(migrate.__file__).parent / "migrations", steps)
            (steps / "versions" / f"{NEXT:04d}_note.py").write_text(STEP.format(then=then, now=NOW, next=NEXT))
            monkeypatch.setattr(migrate, "MIGRATIONS", str(steps))
            monkeypatch.setattr(schema, "VERSION", NEXT)

        return install

    def test_a_newer_file_is_refused_and_left_alone(self, old):
        with sqlite3.connect(old) as other:
            other.execute(f"PRAGMA user_version = {NEXT}")
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
            assert store.pragma("user_version") == NEXT
            assert weigh(store, "LIN-03/1", "2.50").seq == 2
        kept = old.with_name(f"linden.schema-{NOW}.2026-03-02.labbook")
        assert sorted(found.name for found in old.parent.iterdir()) == [old.name, kept.name]
        reader = sqlite3.connect(kept)
        assert reader.execute("PRAGMA user_version").fetchone() == (NOW,)
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
        kept = old.with_name(f"linden.schema-{NOW}.2026-03-02.labbook")
        kept.write_bytes(b"an earlier backup")
        Store.open(old, clock=Clock()).close()
        assert kept.read_bytes() == b"an earlier backup"
        assert old.with_name(f"linden.schema-{NOW}.2026-03-02-2.labbook").exists()

    @pytest.mark.parametrize("then", ["op.execute('DROP TABLE no_such_table')", "raise ValueError('a bad row')"])
    def test_a_step_that_fails_leaves_the_file_as_it_was(self, old, newer_kit, monkeypatch, then):
        before = old.read_bytes()
        with monkeypatch.context():
            newer_kit(then)
            error = refused(Store.open, old, clock=Clock())
        assert error.code == "labbook.migration"
        assert f"a backup lies in linden.schema-{NOW}.2026-03-02.labbook" in error.mend
        monkeypatch.undo()
        with Store.open(old) as store:
            assert store.check().ok
        assert old.read_bytes() == before

    def test_read_only_an_older_file_is_migrated_in_a_private_copy(self, old, newer_kit):
        newer_kit()
        before = old.read_bytes()
        with Store.open(old, read_only=True, clock=Clock()) as reader:
            assert reader.pragma("user_version") == NEXT
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

    @pytest.mark.parametrize(("column", "value"), [("kind", "'void'"), ("seq", "9")])
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
