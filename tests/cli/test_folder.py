"""`kit new` and `kit lab`: what is said; what is laid out is tested where it is made. The way of one day is walked."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from datetime import datetime, timedelta
from pathlib import Path

import pytest

import kit
from kit.bench.sheet import plan_batch
from kit.workfolder import lab


def test_new_says_what_is_where_and_what_comes_next(run, mistake, folder):
    code, out, err = run("new", "Grüne Minze", "--name", "Green mint")
    assert (code, err) == (0, "")
    for name in ("green-mint.toml", "green-mint.labbook", "study.ipynb", "README.md"):
        assert (folder / "Grüne Minze" / name).is_file()
        assert name in out
    assert 'cd "Grüne Minze"' in out
    mistake("folder.not_empty", "new", "Grüne Minze")
    mistake("folder.cannot_make", "new", Path("Grüne Minze", "README.md"))
    mistake("folder.name", "new", "other", "--name", "x" * 200)
    mistake("cli.usage", "new")


def test_the_commands_it_names_are_commands_that_work(run, folder, monkeypatch):
    """Every line after "Next:" and every command of the page is run as it stands, `kit lab` excepted."""
    _, out, _ = run("new", "mint")
    monkeypatch.chdir(folder / "mint")
    page = Path("README.md").read_text(encoding="utf-8")
    named = re.findall(r"^ +(?:kit|.* -m kit) (.+)$", out.partition("Next:")[2] + page, re.MULTILINE)
    assert len(named) >= 5
    for command in dict.fromkeys(named):
        if command.startswith("lab") and not command.startswith("labbook"):
            continue
        code, _, err = run(*command.split())
        missing = "readings/yours.csv" in command or "write-up" in command  # no readings and no trial yet
        assert code == (2 if missing else 0), (command, err)
        assert "cli.usage" not in err


def test_lab_passes_its_options_on(run, folder, monkeypatch):
    given = {}
    monkeypatch.setattr(lab, "open_lab", lambda place, **named: given.update(named, place=place))
    assert run("lab", folder, "--no-browser", "--port", "9000")[0] == 0
    assert (given["place"], given["port"], given["browser"]) == (folder, 9000, False)
    assert run("lab")[0] == 0
    assert (given["place"], given["port"], given["browser"]) == (Path(), None, True)


def test_lab_says_its_errors_in_one_paragraph(mistake, folder):
    (folder / "sage.toml").write_text("", encoding="utf-8")
    mistake("lab.not_a_folder", "lab", "gone")
    mistake("lab.not_a_folder", "lab", "sage.toml")
    mistake("lab.port", "lab", folder, "--port", "80")
    mistake("cli.usage", "lab", folder, "--port", "many")


@pytest.mark.slow
def test_from_an_empty_folder_to_a_compared_pair_and_a_page(run, folder, monkeypatch):
    """kit new, the formula edited, two batches, a file of readings, a comparison, a write-up: outside the checkout."""
    assert run("new", "sage", "--name", "Sage")[0] == 0
    monkeypatch.chdir(folder / "sage")
    formula_file = Path("sage.toml")
    edited = formula_file.read_text(encoding="utf-8").replace('"5.00"', '"4.50"')
    formula_file.write_text(edited, encoding="utf-8")
    assert run("review", formula_file, "--materials", "materials")[0] == 0
    formula = kit.load_formula(formula_file)
    thicker = formula.change({"cetearyl-alcohol": "6.00 %"}, why="thicker")
    with kit.open_labbook("sage.labbook") as book:
        book.new_study("SAG", question="Does 6 % thicken it?", spec=formula.spec, control="SAG-01")
        book.add_instrument("PH-1", kind="pH meter")
        for trial, version in (("SAG-01", formula), ("SAG-02", thicker)):
            batch = book.start_batch(plan_batch(version, "400 g"), trial=trial, operator="bench 1")
            for line in batch.sheet.lines:
                batch.weigh(line.material.key, f"{line.target_g} g", lot="A-17")
            batch.combine(
                temps={"A": "79 degC", "B": "81 degC", "after": "77 degC"},
                order="oil into water",
                rpm=6500,
                minutes=4,
            )
            batch.add("C", temp="38 degC")
            batch.finish()
    later = (datetime.now().astimezone() + timedelta(hours=24)).strftime("%Y-%m-%d %H:%M")
    rows = [f"SAG-0{number}/1,pH,4.5{number},{later},25.0 degC,PH-1" for number in (1, 2)]
    text = "\n".join(["batch,property,value,measured_at,temp,instrument", *rows]) + "\n"
    Path("readings", "ph.csv").write_text(text, encoding="utf-8")
    code, out, err = run("import", "sage.labbook", Path("readings", "ph.csv"), "--yes")
    assert (code, err) == (0, ""), out
    assert "2 rows recorded" in out
    code, _, err = run("run", "compare_versions", "--source", "sage.labbook", "--set", "trials=SAG-01,SAG-02")
    assert (code, err) == (0, "")
    code, _, err = run("write-up", "sage.labbook", "SAG-02", "--against", "SAG-01", "--to", "writeups")
    assert (code, err) == (0, "")
    assert {path.name for path in Path("writeups").glob("*.html")} == {"SAG-02.html", "compare_versions.html"}
    page = Path("writeups", "SAG-02.html").read_text(encoding="utf-8")
    assert "4.51" in page
    assert "4.52" in page


def test_new_as_a_process_of_its_own_piped(folder):
    done = subprocess.run(
        [sys.executable, "-m", "kit", "new", "Mäuschen"],
        cwd=folder,
        capture_output=True,
        timeout=120,
        check=False,
        env={**os.environ, "PYTHONPATH": str(Path(kit.__file__).parents[1]), "PYTHONIOENCODING": "ascii"},
    )
    assert (done.returncode, done.stderr) == (0, b"")
    assert b"M?uschen" in done.stdout  # what the terminal cannot show is replaced, not fatal
    assert (folder / "Mäuschen" / "mäuschen.labbook").is_file()
