"""A working folder as a formulator finds it: what is in it works as it stands, and nothing of theirs is overwritten."""

from __future__ import annotations

import errno
import json
import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

import kit
from kit.errors import KitError
from kit.labbook.backup import check_file
from kit.workfolder import new
from kit.workfolder.new import file_stem, new_folder, study_name

NAMES = ["Sage rinse", "Grüne Minze", 'Say "soft"', "back\\slash", "50 % less", "<b>bold</b>", "花", "con"]


@pytest.fixture
def made(tmp_path):
    return new_folder(tmp_path / "Grüner Ordner mit Leerzeichen", name="Sage rinse")


def test_holds_what_the_page_says(made):
    """Every path in the table of the page is there, and every file that is there is under one of them."""
    page = made.page.read_text(encoding="utf-8")
    named = re.findall(r"^\| `([^`]+)` \|", page, re.MULTILINE)
    assert len(named) == 8
    assert all((made.folder / name).exists() for name in named)
    tops = {Path(name).parts[0] for name in named}
    assert {path.name for path in made.folder.iterdir()} == tops | {"README.md"}
    assert "@" not in page.replace("sage-rinse.labbook", "")


def test_the_page_shows_the_usual_cautions(made):
    page = made.page.read_text(encoding="utf-8")
    for words in (
        "corrosive",
        "damage eyes",
        "rotor-stator",
        "preservation",
        "safety data sheets",
        "local",
        "qualified",
    ):
        assert words in page.partition("## Cautions")[2]


@pytest.mark.parametrize("name", NAMES)
def test_the_formula_is_read_under_any_name_and_has_no_stop(tmp_path, name):
    made = new_folder(tmp_path / "folder", name=name)
    table = tomllib.loads(made.formula.read_text(encoding="utf-8"))
    assert table["name"] == name
    assert "not a recipe to use on people" in made.formula.read_text(encoding="utf-8")
    formula = kit.load_formula(made.formula, kit.load_library(made.materials.parent))
    assert formula.review().ok
    assert formula.composition().total == 100
    json.loads(made.study.read_text(encoding="utf-8"))


def test_the_formula_is_predicted_in_its_own_spec_and_its_review_says_nothing_of_ph(made):
    """A starter that warns of its own pH teaches people to read past warnings.

    By hand at pH 4.55 and I = 0.03 (Davies: 3.86 becomes 3.79; 3.13, 4.76, 6.40 become 3.06, 4.55, 6.05): 0.50 % of
    60 % sodium lactate (112.06 g/mol) is 2.68 mmol in 100 g, 15 % of it has taken a proton, 0.40 mmol; 0.05 % of citric
    acid (192.12) is 0.26 mmol and has given up 1.50 each, 0.39 mmol. What one gave the other took.
    """
    formula = kit.load_formula(made.formula, kit.load_library(made.materials.parent))
    found = formula.predict_ph()
    assert float(found.value) == pytest.approx(4.55, abs=0.05)
    assert float(found.low) >= 4.2
    told = {finding.code for finding in formula.review().findings}
    assert told
    assert not any(code.startswith(("ph.", "preservation.")) for code in told)


def test_the_study_asks_what_ph_to_expect_and_how_much_acid(made):
    cells = {cell["id"]: cell["source"] for cell in json.loads(made.study.read_text(encoding="utf-8"))["cells"]}
    order = list(cells)
    assert order.index("review") < order.index("predict") < order.index("make") < order.index("dose")
    formula = kit.load_formula(made.formula, kit.load_library(made.materials.parent))
    shown = []
    for measured in ("", "4.95"):
        typed = cells["dose"].replace('MEASURED = ""', f'MEASURED = "{measured}"')
        exec(typed, {"formula": formula, "SIZE": "400 g", "display": shown.append})  # the cell as it stands
    (answer,) = shown  # nothing without a measured pH
    assert (str(answer.measured), str(answer.target)) == ("4.95", "4.5")
    assert answer.dose_g > 0
    assert float(answer.ph_after) == pytest.approx(4.5, abs=0.01)


@pytest.mark.parametrize(
    ("name", "stem", "study"),
    [
        ("Sage rinse", "sage-rinse", "SAG"),
        ("Grüne Minze", "grüne-minze", "GRU"),
        ("a/b\\c:d", "a-b-c-d", "ABC"),  # what a file name cannot hold on one system or another
        ("con", "con-formula", "CON"),  # names of devices on Windows
        ("花", "花", "STU"),
        ("!!", "formula", "STU"),
    ],
)
def test_names_of_files_and_trials(name, stem, study):
    assert (file_stem(name), study_name(name)) == (stem, study)


def test_the_lab_book_is_empty_whole_and_closed(made):
    assert [path.name for path in made.folder.glob("*.labbook*")] == ["sage-rinse.labbook"]
    assert check_file(made.labbook).entries == 1  # that it was made


def test_every_example_of_the_materials_file_works_once_it_is_switched_on(made):
    text = made.materials.read_text(encoding="utf-8")
    assert tomllib.loads(text) == {}  # as it stands, nothing in it does anything
    made.materials.write_text(re.sub(r"(?m)^#(?=\S)", "", text), encoding="utf-8")
    library = kit.load_library(made.materials.parent)
    assert library.find("RM-0107").key == "cetearyl-alcohol"
    assert library.materials["cetearyl-alcohol"].parts  # a house code changes nothing else
    assert str(library.materials["behentrimonium-chloride-80"].active_range.low) == "79.0"
    assert str(library.prices["cetearyl-alcohol"].per_kg) == "4.20"
    assert sum(part.pct for part in library.find("RM-0231").parts) == 100
    assert library.find("sodium-benzoate-20-solution").made_from


def test_the_columns_of_the_readings_are_understood(made):
    """A file of this header alone is refused for want of a row, not for a column; a foreign column is named."""
    columns = made.folder / "readings" / "columns.csv"
    with kit.open_labbook(made.labbook) as book:
        with pytest.raises(KitError) as caught:
            book.import_readings(columns)
        assert caught.value.code == "import.empty"
        columns.write_text(columns.read_text(encoding="utf-8").replace("torque_pct", "shoe size"), encoding="utf-8")
        with pytest.raises(KitError) as caught:
            book.import_readings(columns)
        assert "shoe size" in str(caught.value)


@pytest.mark.slow
def test_the_study_runs_from_top_to_bottom_and_never_doubles_an_entry(made):
    """Run whole by the plain papermill command: without a trial's name nothing at all is recorded, with it once."""
    pytest.importorskip("ipykernel")
    counts = []
    for trial in ("", "SAG-01", "SAG-01"):
        command = [sys.executable, "-m", "papermill", "study.ipynb", "out.ipynb", "-p", "TRIAL", trial, "-k", "python3"]
        done = subprocess.run(command, cwd=made.folder, capture_output=True, text=True, timeout=300, check=False)
        assert done.returncode == 0, done.stderr[-3000:]
        counts.append(check_file(made.labbook).entries)
        with kit.open_source(made.labbook) as source:
            assert source.studies() == (["SAG"] if trial else [])
    assert counts[0] == 1 < counts[1] == counts[2]


def test_the_notebooks_of_the_kit_are_there_as_they_are_shipped(made, root):
    shipped = sorted((root / "notebooks").glob("*.ipynb"))
    assert [path.name for path in made.notebooks] == [path.name for path in shipped]
    assert all(one.read_bytes() == other.read_bytes() for one, other in zip(made.notebooks, shipped, strict=True))


def test_the_study_is_kept_without_outputs_and_with_stable_names(root):
    notebook = json.loads((root / "kit" / "workfolder" / "study.ipynb").read_text(encoding="utf-8"))
    assert notebook["metadata"]["kernelspec"]["name"] == "python3"
    assert not any(cell.get("outputs") or cell.get("execution_count") for cell in notebook["cells"])
    names = [cell["id"] for cell in notebook["cells"]]
    assert len(set(names)) == len(names)
    assert all(re.fullmatch(r"[a-z][a-z-]{1,20}", name) for name in names)


class TestRefused:
    def refuse(self, code: str, folder: Path, **named) -> KitError:
        with pytest.raises(KitError) as caught:
            new_folder(folder, **named)
        assert caught.value.code == code
        return caught.value

    def test_a_folder_that_holds_anything(self, tmp_path):
        (tmp_path / "notes.txt").write_text("mine", encoding="utf-8")
        assert "notes.txt" in self.refuse("folder.not_empty", tmp_path).where
        assert [path.name for path in tmp_path.iterdir()] == ["notes.txt"]

    def test_a_file(self, tmp_path):
        (tmp_path / "sage").write_text("mine", encoding="utf-8")
        self.refuse("folder.cannot_make", tmp_path / "sage")
        assert (tmp_path / "sage").read_text(encoding="utf-8") == "mine"

    @pytest.mark.parametrize("name", ["two\nlines", "\x00", "x" * 81])
    def test_a_name_that_no_file_can_hold(self, tmp_path, name):
        self.refuse("folder.name", tmp_path / "sage", name=name)
        assert not (tmp_path / "sage").exists()

    @pytest.mark.parametrize("was_there", [True, False])
    def test_a_full_disk_leaves_the_folder_as_it_was(self, tmp_path, monkeypatch, was_there):
        folder = tmp_path / "sage"
        if was_there:
            folder.mkdir()

        def full(source, target):
            raise OSError(errno.ENOSPC, "No space left on device")

        monkeypatch.setattr(shutil, "copyfile", full)
        assert "No space left" in self.refuse("folder.cannot_make", folder).what
        assert folder.exists() == was_there
        assert not was_there or list(folder.iterdir()) == []

    def test_an_interrupt_leaves_the_folder_as_it_was(self, tmp_path, monkeypatch):
        def stop(*_, **__):
            raise KeyboardInterrupt

        monkeypatch.setattr(new, "new_labbook", stop)
        with pytest.raises(KeyboardInterrupt):
            new_folder(tmp_path / "sage")
        assert not (tmp_path / "sage").exists()


def test_what_is_unsafe_about_the_place_is_said(tmp_path, monkeypatch):
    monkeypatch.setattr(new, "cautions_for", lambda folder, probe: (f"{Path(folder).name}, {probe}",))
    assert new_folder(tmp_path / "sage").cautions == ("sage, True",)
