"""`kit labbook` and `kit export`: exit codes, what is said, what is left."""

from __future__ import annotations

import json
import os
import re
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

import kit
from kit.labbook.store import Store


def dump(path: Path) -> list[str]:
    """The whole content of a database file in SQL, by SQLite's own means."""
    with closing(sqlite3.connect(path)) as raw:
        return list(raw.iterdump())


def edit(path: Path) -> None:
    """Change a typed mass in the file itself, past every guard."""
    with closing(sqlite3.connect(path, isolation_level=None)) as raw:
        raw.execute("DROP TRIGGER entry_no_update")
        changed = raw.execute("UPDATE entry SET text = replace(text, '13.80', '12.00') WHERE text LIKE '%13.80%'")
        assert changed.rowcount > 0


class TestCheck:
    def test_exits_0_when_nothing_is_amiss_while_a_notebook_has_it_open(self, run, book):
        with kit.open_labbook(book):
            code, out, err = run("labbook", "check", book)
        assert (code, err) == (0, "")
        with closing(sqlite3.connect(book)) as raw:
            (entries,) = raw.execute("SELECT count(*) FROM entry").fetchone()
        assert f"{entries} entries" in out
        assert "nothing amiss" in out

    def test_exits_1_and_names_what_was_edited(self, run, book):
        edit(book)
        code, out, _ = run("labbook", "check", book)
        assert code == 1
        assert "[labbook.edited]" in out
        assert "[labbook.unguarded]" in out

    def test_names_an_entry_that_another_program_made(self, run, book):
        """Well chained, but not of the form of its kind: a weighing without a mass."""
        with Store.open(book) as store:
            store.append("batch/LIN-03/1", "weigh", {"material": "glycerin"}, stream_kind="batch")
        code, out, err = run("labbook", "check", book)
        assert (code, err) == (1, "")
        assert "[labbook.entry_form]" in out
        assert out.count("\n") == 2  # the line of counts and this one problem

    def test_against_a_page_printed_before(self, run, book):
        code, _, err = run("write-up", book, "LIN-03")
        assert code == 0, err
        assert run("labbook", "check", book, "--against", "writeups/LIN-03.html")[0] == 0
        with closing(sqlite3.connect(book, isolation_level=None)) as raw:  # cut the tail of a batch, and tidy up
            names = [name for (name,) in raw.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")]
            for name in names:
                raw.execute(f"DROP TRIGGER {name}")
            (last,) = raw.execute(
                "SELECT max(e.id) FROM entry e JOIN stream s ON s.id = e.stream_id WHERE s.name = 'batch/LIN-03/1'"
            ).fetchone()
            raw.execute("DELETE FROM entry WHERE id = ?", (last,))
        code, out, _ = run("labbook", "check", book, "--against", "writeups/LIN-03.html")
        assert code == 1
        assert "[labbook.tail_missing]" in out

    def test_exits_2_when_it_is_no_lab_book(self, mistake, book, folder):
        assert "linden.labbook" in mistake("labbook.not_found", "labbook", "check", "lindn.labbook")
        mistake("labbook.not_a_labbook", "labbook", "check", "linden.toml")
        mistake("labbook.unreadable", "labbook", "check", folder)
        mistake("labbook.no_heads", "labbook", "check", book, "--against", "linden.toml")

    def test_says_when_it_lies_on_a_network_drive(self, run, book, monkeypatch):
        monkeypatch.setattr("kit.labbook.drive._network_kind", lambda folder: "nfs4")
        code, out, err = run("labbook", "check", book)
        assert code == 0
        assert err.startswith("Caution: ")
        assert "network drive" in err
        assert "Caution" not in out  # what is piped on holds the result only


class TestBackupAndRestore:
    def test_there_and_back(self, run, book, folder):
        with kit.open_labbook(book):
            code, out, err = run("labbook", "backup", book)
        assert code == 0, err
        (backup,) = (folder / "backups").iterdir()
        assert re.fullmatch(r"linden\.\d{4}-\d\d-\d\d_\d{6}\.labbook", backup.name)
        assert backup.name in out
        assert "nothing amiss" in out
        assert "same disk" in err
        assert dump(backup) == dump(book)
        kit.open_labbook(book).close()
        edit(book)
        spoilt = dump(book)
        code, out, err = run("labbook", "restore", backup, "--to", book, "--set-aside")
        assert (code, err) == (0, "")
        assert dump(book) == dump(backup)
        (aside,) = folder.glob("*.set-aside.*")
        assert aside.name in out
        assert dump(aside) == spoilt

    def test_refusals(self, run, mistake, book, folder):
        assert run("labbook", "backup", book, "--to", "friday.labbook")[0] == 0
        mistake("labbook.exists", "labbook", "backup", book, "--to", "friday.labbook")
        mistake("labbook.not_a_folder", "labbook", "backup", book, "--to", "linden.toml")
        mistake("labbook.not_a_labbook", "labbook", "backup", "linden.toml")
        assert "--set-aside" in mistake("labbook.exists", "labbook", "restore", "friday.labbook", "--to", book)
        mistake("labbook.same_file", "labbook", "restore", book, "--to", book)
        mistake("cli.usage", "labbook", "restore", "friday.labbook")
        with kit.open_labbook(book):
            words = mistake("labbook.in_use", "labbook", "restore", "friday.labbook", "--to", book, "--set-aside")
        assert "open in a notebook or another program" in words

    def test_a_group_without_a_command_shows_its_help(self, run):
        for group in ("labbook", "formula"):
            code, out, err = run(group)
            assert (code, err) == (0, "")
            assert "Commands:" in out


class TestExport:
    @pytest.mark.parametrize("name", ["out.json", "out", "out.zip"])
    def test_the_whole_record_comes_back(self, run, book, folder, name):
        assert run("export", book, "--to", name)[0] == 0
        code, out, err = run("labbook", "import", name, "--to", "again.labbook")
        assert (code, err) == (0, "")
        assert "every chain checked" in out
        entries = "SELECT s.name, e.seq, e.text, e.hash FROM entry e JOIN stream s ON s.id = e.stream_id ORDER BY e.id"
        with closing(sqlite3.connect(book)) as before, closing(sqlite3.connect(folder / "again.labbook")) as after:
            assert before.execute(entries).fetchall() == after.execute(entries).fetchall()

    def test_a_folder_that_is_there_gets_the_lab_books_name(self, run, book, folder):
        (folder / "exports").mkdir()
        for form, name in (("json", "linden.json"), ("xlsx", "linden.xlsx"), ("csv", "linden-csv/entries.csv")):
            assert run("export", book, "--to", "exports", "--as", form)[0] == 0
            assert (folder / "exports" / name).is_file()
        assert json.loads((folder / "exports" / "linden.json").read_text(encoding="utf-8"))["entries"]

    def test_tables_of_one_trial(self, run, book, folder):
        assert run("export", book, "--to", "one.xlsx", "--trial", "LIN-03")[0] == 0
        from openpyxl import load_workbook

        sheets = {sheet.title: list(sheet.values) for sheet in load_workbook(folder / "one.xlsx")}
        batches = {row[sheets["readings"][0].index("batch")] for row in sheets["readings"][1:]}
        assert batches == {"LIN-03/1"}

    def test_refusals(self, run, mistake, book, folder):
        assert run("export", book, "--to", "out.json")[0] == 0
        mistake("exchange.exists", "export", book, "--to", "out.json")
        mistake("cli.form", "export", book, "--to", "other", "--as", "pdf")
        mistake("cli.form", "export", book, "--to", "other.json", "--trial", "LIN-03")
        mistake("labbook.trial", "export", book, "--to", "other.xlsx", "--trial", "LIN-33")
        mistake("cli.file_missing", "export", "lindn.labbook", "--to", "other.json")
        mistake("exchange.not_an_export", "labbook", "import", "linden.toml", "--to", "again.labbook")
        mistake("exchange.missing", "labbook", "import", "gone.json", "--to", "again.labbook")
        mistake("exchange.not_empty", "labbook", "import", "out.json", "--to", book)


@pytest.mark.slow
def test_verify_says_reproduced_not_reproduced_and_not_a_bundle(run, mistake, book, folder):
    """Exit codes 0, 1 and 2. A bundle whose numbers do not follow is made by changing a number and its hash alike."""
    import hashlib
    import zipfile

    assert run("write-up", book, "LIN-03", "--bundle")[0] == 0
    bundle = folder / "writeups" / "LIN-03.zip"
    code, out, err = run("verify", bundle)
    assert (code, err) == (0, "")
    assert "reproduced" in out
    with zipfile.ZipFile(bundle) as packed:
        files = {name: packed.read(name).decode() for name in packed.namelist()}
    changed = files["notebook.ipynb"].replace("13.80", "13.90")
    assert changed != files["notebook.ipynb"]
    manifest = json.loads(files["manifest.json"])
    manifest["files"]["notebook.ipynb"] = hashlib.sha256(changed.encode()).hexdigest()
    files |= {"notebook.ipynb": changed, "manifest.json": json.dumps(manifest)}
    with zipfile.ZipFile(folder / "forged.zip", "w") as packed:
        for name, text in files.items():
            packed.writestr(name, text)
    code, out, _ = run("verify", "forged.zip")
    assert code == 1
    assert "NOT reproduced" in out
    mistake("verify.not_a_bundle", "verify", "linden.toml")
    mistake("cli.file_missing", "verify", "gone.zip")


def test_results_are_piped_on_without_cautions(book, folder):
    """As a process of its own, its output piped: the check's line and nothing else."""
    done = subprocess.run(
        [sys.executable, "-m", "kit", "labbook", "check", "linden.labbook"],
        cwd=folder,
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=120,
        check=False,
        env={**os.environ, "PYTHONPATH": str(Path(kit.__file__).parents[1])},
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.count("\n") == 1
