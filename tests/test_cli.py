"""The command line: what it prints, what it writes, its exit codes, and that no error is ever a traceback."""

from __future__ import annotations

import importlib.metadata
import json
import os
import re
import shlex
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from typer.testing import CliRunner

import kit
from kit import cli

COMMANDS = (
    *("demo", "new", "lab", "review", "import", "write-up", "run", "verify", "export"),
    *("formula import", "formula label", "formula cost", "formula history"),
    *("labbook check", "labbook backup", "labbook restore", "labbook import"),
)
MAKES_FOLDERS = ("demo", "new")
# pydantic is not among them: newer releases of the command-line library bring it themselves
HEAVY = ("pandas", "sqlalchemy", "plotly", "papermill", "scipy", "numpy", "pint", "tomlkit", "rich", "IPython")
FORMULA = """
name = "Yarrow rinse (invented)"
version = "1"
[[phase]]
name = "A"
kind = "water"
line = [{material = "water-deionised", qs = true}, {material = "glycerin", pct = "4.00"}]
[[phase]]
name = "C"
kind = "cool-down"
line = [{material = "phenoxyethanol", pct = "0.80"}]
"""
HEAD = "batch;property;value;unit;measured_at;temp"


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """An empty folder to work in."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture(scope="module")
def demo(demos):
    """The demo's files, built once; tests that write take a copy."""
    return demos("linden").folder


@pytest.fixture
def book(folder, demo):
    """A copy of the demo's lab book in the working folder."""
    shutil.copy(demo / "linden.labbook", folder)
    return folder / "linden.labbook"


def run(capsys, *arguments: str) -> tuple[int, str, str]:
    """Run the command line in this process."""
    code = cli.main(list(arguments))
    return code, *capsys.readouterr()


def process(*arguments: str, cwd: Path, **options) -> subprocess.CompletedProcess:
    """Run the command line as a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "kit", *arguments],
        cwd=cwd,
        env=environment(),
        capture_output=True,
        timeout=300,
        check=False,
        **options,
    )


def environment(**more: str) -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(Path(kit.__file__).parents[1]), **more}


def is_one_paragraph(text: str, code: str) -> bool:
    """Whether the error stream holds one paragraph that ends in its stable code, and nothing of a traceback."""
    lines = [line for line in text.splitlines() if line.strip()]
    return (
        len(lines) == 1 and lines[0].startswith("kit: ") and lines[0].endswith(f"[{code}]") and "Traceback" not in text
    )


# ---------------------------------------------------------------- help and version


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help_with_an_example(command):
    shown = CliRunner().invoke(cli.application(), [*command.split(), "--help"])
    assert shown.exit_code == 0
    assert f"Example: kit {command}" in shown.output
    undescribed = [
        line for line in shown.output.splitlines() if re.fullmatch(r"\s+--[a-z-]+(, -\w)?( <?[A-Z=.]+>?)?\s*", line)
    ]
    assert not undescribed


def test_the_example_in_each_help_is_a_command_that_parses(folder, capsys):
    """Each example is run in an empty folder: it may miss its files there, but never its own options."""
    runner = CliRunner()
    for command in COMMANDS:
        if command in MAKES_FOLDERS:
            continue
        shown = runner.invoke(cli.application(), [*command.split(), "--help"]).output
        example = " ".join(re.search(r"Example: kit (.*?)\n\n", shown, re.DOTALL).group(1).split())
        code, _, err = run(capsys, *shlex.split(example))
        assert code == 2
        assert "cli.usage" not in err
        assert not err.endswith("[kit.unexpected]\n")


def test_help_lists_every_command_and_the_exit_codes(capsys):
    code, out, err = run(capsys)
    assert (code, err) == (0, "")
    assert all(re.search(rf"^  {command.split()[0]} ", out, re.MULTILINE) for command in COMMANDS)
    assert "1 something to mend was found (a stop in a review" in " ".join(out.split())


def test_version_is_that_of_the_package(capsys):
    code, out, _ = run(capsys, "--version")
    assert (code, out) == (0, f"kit {kit.__version__}\n")
    try:
        assert importlib.metadata.version("conditioner-trial-kit") == kit.__version__
    except importlib.metadata.PackageNotFoundError:
        pytest.skip("the package is not installed here")


# ---------------------------------------------------------------- review


def test_review_exits_0_without_a_stop(folder, demo, capsys):
    code, out, err = run(capsys, "review", str(demo / "linden.toml"))
    assert (code, err) == (0, "")
    assert "No coded limit exceeded" in out


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (
            ('pct = "0.80"', 'pct = "1.20"'),
            "cap.",
        ),  # phenoxyethanol: 1.0 %, Regulation (EC) No 1223/2009 Annex V entry 29
        (("qs = true", 'pct = "95.00"'), "formula.total"),  # 95.00 + 4.00 + 0.80 = 99.80
        (('pct = "4.00"', 'pct = "104.00"'), "formula."),  # 100 - 104.80: negative water
    ],
)
def test_review_exits_1_with_a_stop(folder, capsys, change, says):
    (folder / "bad.toml").write_text(FORMULA.replace(*change), encoding="utf-8")
    code, out, err = run(capsys, "review", "bad.toml")
    assert (code, err) == (1, "")
    assert re.search(rf"^STOP +{re.escape(says)}", out, re.MULTILINE)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("name = ", "formula.file_broken"),
        (FORMULA.replace("glycerin", "glycerol x"), "material.unknown"),
        (FORMULA.replace('"4.00"', '"4.00 g"'), "units.wrong_kind"),
        (FORMULA.replace("kind", "kimd", 1), "formula.key"),
        ("", "formula.empty"),
    ],
)
def test_review_exits_2_when_the_file_cannot_be_read(folder, capsys, text, code):
    (folder / "bad.toml").write_text(text, encoding="utf-8")
    exit_code, out, err = run(capsys, "review", "bad.toml")
    assert (exit_code, out) == (2, "")
    assert is_one_paragraph(err, code)


def test_review_of_what_is_no_formula_file(folder, demo, capsys):
    assert is_one_paragraph(run(capsys, "review", "nothing.toml")[2], "formula.file_missing")
    assert is_one_paragraph(run(capsys, "review", str(demo / "linden.labbook"))[2], "cli.not_a_formula")
    assert is_one_paragraph(run(capsys, "review", ".")[2], "formula.file_missing")


def test_review_takes_materials_of_ones_own(folder, capsys):
    (folder / "mine.toml").write_text(
        '[[material]]\nkey = "glycerin-own"\nname = "Glycerin from next door"\n'
        'parts = [{inci = "Glycerin", pct = "100", kind = "supplier-typical", source = "common-practice"}]\n',
        encoding="utf-8",
    )
    (folder / "own.toml").write_text(FORMULA.replace('"glycerin"', '"glycerin-own"'), encoding="utf-8")
    assert is_one_paragraph(run(capsys, "review", "own.toml")[2], "material.unknown")
    assert run(capsys, "review", "own.toml", "--materials", "mine.toml")[0] == 0


def test_review_loads_nothing_heavy_and_the_module_alone_not_even_its_parser(demo):
    code = (
        "import json, sys, kit.cli\nalone = 'typer' in sys.modules\n"
        f"code = kit.cli.main(['review', {str(demo / 'linden.toml')!r}])\n"
        f"print(json.dumps([code, alone, [name for name in {HEAVY!r} if name in sys.modules]]))"
    )
    done = subprocess.run([sys.executable, "-c", code], env=environment(), capture_output=True, text=True, check=True)
    assert json.loads(done.stdout.splitlines()[-1]) == [0, False, []]


# ---------------------------------------------------------------- import


def test_import_shows_first_and_records_when_told(book, folder, capsys):
    (folder / "in.csv").write_text(f"{HEAD}\nLIN-03/1;pH;4,61;;2026-05-13 14:20;25,0 degC\n", encoding="utf-8")
    shown = CliRunner().invoke(cli.application(), ["import", str(book), "in.csv"], input="n\n")
    assert shown.exit_code == 0
    assert "1 new" in shown.output
    assert "Nothing was recorded." in shown.output
    assert not _values(book, "4.61", "LIN-03/1")
    taken = CliRunner().invoke(cli.application(), ["import", str(book), "in.csv"], input="y\n")
    assert "1 row recorded in LIN-03/1" in taken.output
    assert _values(book, "4.61", "LIN-03/1") == 1
    code, out, _ = run(capsys, "import", str(book), "in.csv", "--yes")
    assert code == 0
    assert "nothing added" in out
    assert _values(book, "4.61", "LIN-03/1") == 1


def _values(book: Path, value: str, batch: str) -> int:
    return sum(str(reading.value) == value for reading in kit.open_source(book).batch(batch).readings)


def test_import_passes_every_option_on(book, folder, capsys):
    (folder / "in.csv").write_text(
        "batch|property|value|measured_at|temp\nLIN-04/1|viscosity|29,600|2026-05-15 10:00|25\n", encoding="utf-8"
    )
    options = ["--decimal-mark", ",", "--delimiter", "bar", "--method", "viscosity", "--declare", "storage=25 degC",
               "--unit", "temp=degC", "--unit", "value=Pa.s", "--timezone", "+00:00", "--yes"]  # fmt: skip
    code, out, err = run(capsys, "import", str(book), "in.csv", *options)
    assert (code, err) == (0, "")
    assert "shown, not tested" in out
    reading = kit.open_source(book).batch("LIN-04/1").readings[-1]
    assert (reading.value, reading.temp_c, reading.storage, reading.method) == (
        29600,
        25,
        "25 degC",
        "viscosity",
    )  # 29.600 Pa.s
    assert reading.measured_at == "2026-05-15T10:00:00+00:00"
    assert {"method", "storage", "spindle"} <= reading.declared


def test_import_of_a_bad_row_stores_nothing_and_says_which(book, folder, capsys):
    rows = "LIN-03/1;pH;4,61;;2026-05-13 14:20;25,0 degC\nLIN-33/1;pH;4,62;;2026-05-13 14:21;25,0 degC\n"
    (folder / "in.csv").write_text(f"{HEAD}\n{rows}", encoding="utf-8")
    before = book.read_bytes()
    code, out, err = run(capsys, "import", str(book), "in.csv", "--yes")
    assert code == 2
    assert "REFUSED" in out
    assert is_one_paragraph(err, "import.refused")
    assert "row 3, batch: there is no batch 'LIN-33/1'" in err
    assert not _values(book, "4.61", "LIN-03/1")
    assert book.read_bytes() == before


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (("import", "in.csv", "linden.labbook"), "cli.order"),
        (("import", "nothing.labbook", "in.csv"), "labbook.not_found"),
        (("import", "in.toml", "in.csv"), "labbook.not_a_labbook"),
        (("import", "linden.labbook", "nothing.csv"), "import.file_missing"),
        (("import", "linden.labbook", "linden.labbook"), "import.not_text"),
        (("import", "linden.labbook", "in.csv", "--declare", "temp"), "cli.name_value"),
        (("import", "linden.labbook", "in.csv", "--unit", "temp=degC", "--unit", "temp=K"), "cli.name_value"),
        (("import", "linden.labbook", "in.csv", "--decimal-mark", "x"), "import.decimal_mark"),
        (("import", "linden.labbook", "in.csv", "--colour", "red"), "cli.usage"),
        (("import", "linden.labbook"), "cli.usage"),
        (("imprt", "linden.labbook"), "cli.usage"),
        (("write-up", "nothing.labbook", "LIN-03"), "cli.file_missing"),
        (("write-up", "in.toml", "LIN-03"), "labbook.not_a_labbook"),
        (("write-up", "linden.labbook", "LIN-33"), "labbook.trial"),
        (("run", "compare_version", "--source", "linden.labbook"), "template.unknown"),
        (("run", "compare_versions", "--source", "nothing.labbook", "--set", "trials=LIN-03"), "cli.file_missing"),
        (
            ("run", "compare_versions", "--source", "linden.labbook", "--set", "trails=LIN-03"),
            "template.parameter_unknown",
        ),
        (("run", "compare_versions", "--source", "linden.labbook"), "template.parameter_missing"),
        (("run", "compare_versions", "--source", "linden.labbook", "--set", "trials"), "cli.name_value"),
        (("run", "in.toml", "--source", "linden.labbook"), "template."),
        (("run", "compare_versions"), "cli.usage"),
        (("demo", "."), "demo.exists"),
        (("demo", "new", "--study", "oak"), "demo.study"),
    ],
)
def test_a_mistake_is_one_paragraph_with_its_code_and_changes_nothing(book, folder, capsys, arguments, code):
    (folder / "in.csv").write_text(f"{HEAD}\nLIN-03/1;pH;4,61;;2026-05-13 14:20;25,0 degC\n", encoding="utf-8")
    (folder / "in.toml").write_text(FORMULA, encoding="utf-8")
    before = contents(folder)
    exit_code, _, err = run(capsys, *arguments)
    assert exit_code == 2
    found = re.search(r"\[([a-z_.]+)\]$", err.strip()).group(1)
    assert found == code or (code.endswith(".") and found.startswith(code))
    assert is_one_paragraph(err, found)
    assert contents(folder) == before


def contents(folder: Path) -> dict[str, bytes]:
    """Every file with its bytes, apart from what SQLite lays beside a lab book even to read it."""
    return {path.name: path.read_bytes() for path in folder.iterdir() if not path.name.endswith(("-wal", "-shm"))}


# ---------------------------------------------------------------- write-up, run, demo


def test_write_up_and_run_write_pages_from_a_folder_of_ones_own(book, folder, capsys):
    code, out, err = run(
        capsys, "write-up", "linden.labbook", "LIN-06", "--to", "pages", "--against", "LIN-04", "--bundle"
    )
    assert (code, err) == (0, "")
    assert {path.name for path in (folder / "pages").iterdir()} == {
        "LIN-06.html",
        "LIN-06.ipynb",
        "LIN-06.snapshot.json",
        "LIN-06.zip",
    }
    assert str(Path("pages", "LIN-06.html")) in out
    page = (folder / "pages" / "LIN-06.html").read_text(encoding="utf-8")
    assert "LIN-06" in page
    assert "LIN-04" in page
    code, out, err = run(
        capsys,
        "run",
        "compare_versions",
        "--source",
        "linden.labbook",
        "--set",
        "trials=LIN-03,LIN-05",
        "--to",
        "pages",
    )
    assert (code, err) == (0, "")
    first = (folder / "pages" / "compare_versions.html").read_text(encoding="utf-8")
    assert "40600" in first.replace(",", "").replace(" ", "")  # the reading over range is shown
    shutil.copy(Path(kit.__file__).parents[1] / "templates" / "compare_versions.ipynb", folder / "own.ipynb")
    snapshot = folder / "pages" / "compare_versions.snapshot.json"
    code, out, err = run(
        capsys,
        "run",
        "own.ipynb",
        "--source",
        str(snapshot),
        "--set",
        "trials=LIN-03,LIN-05",
        "--name",
        "again",
        "--to",
        "pages",
    )
    assert (code, err) == (0, "")
    assert (folder / "pages" / "again.html").read_text(encoding="utf-8") == first


@pytest.mark.slow
def test_demo_tells_the_story_and_leaves_pages_that_open_offline(folder):
    done = process("demo", cwd=folder, text=True, encoding="utf-8")
    assert (done.returncode, done.stderr) == (0, "")
    told = done.stdout
    assert told.count("not a recipe to use on people") >= 2
    assert re.search(r"^material +meant, % w/w +made, % w/w +proposed, % w/w$", told, re.MULTILINE)
    totals = re.search(r"^total +(\S+) +(\S+) +(\S+)$", told, re.MULTILINE).groups()
    assert totals == ("100.00", "100.00", "100.00")
    assert re.search(r"^viscosity, 72 h +LIN-03, LIN-06 .* PASS +the control$", told, re.MULTILINE)
    assert re.search(r"^viscosity, 72 h +LIN-04 .* FAIL +differs: ratio 1\.5", told, re.MULTILINE)
    for name in ("LIN-03.html", "LIN-03-LIN-04.html"):
        page = folder / "kit-demo" / "writeups" / name
        assert str(Path("kit-demo", "writeups", name)) in told
        assert page.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
        assert page.stat().st_size < 1_000_000
    before = {path: path.stat().st_mtime_ns for path in (folder / "kit-demo").rglob("*")}
    again = process("demo", cwd=folder, text=True)
    assert again.returncode == 2
    assert is_one_paragraph(again.stderr, "demo.exists")
    assert {path: path.stat().st_mtime_ns for path in (folder / "kit-demo").rglob("*")} == before


# ---------------------------------------------------------------- when things go wrong outside


def test_a_fault_of_the_kit_is_one_paragraph_and_its_details_are_kept(
    folder, demo, capsys, monkeypatch, tmp_path_factory
):
    logs = tmp_path_factory.mktemp("logs")
    monkeypatch.setattr("tempfile.tempdir", str(logs))
    monkeypatch.setattr("kit.formula.files.load_formula", lambda *_: 1 // 0)
    code, out, err = run(capsys, "review", str(demo / "linden.toml"))
    assert (code, out) == (2, "")
    assert is_one_paragraph(err, "kit.unexpected")
    assert "ZeroDivisionError" in err
    (log,) = logs.iterdir()
    assert str(log) in err
    assert "Traceback" in log.read_text(encoding="utf-8")


def test_when_not_even_a_log_can_be_kept_it_is_said(folder, demo, capsys, monkeypatch):
    monkeypatch.setattr("tempfile.tempdir", str(folder / "gone"))
    monkeypatch.setattr("kit.formula.files.load_formula", lambda *_: 1 // 0)
    _, _, err = run(capsys, "review", str(demo / "linden.toml"))
    assert is_one_paragraph(err, "kit.unexpected")
    assert "could not be kept" in err


def test_a_file_that_may_not_be_read_is_said_plainly(folder, demo, capsys, monkeypatch):
    def locked(*_):
        raise PermissionError(13, "Permission denied", "linden.toml")

    monkeypatch.setattr("kit.formula.files.load_formula", locked)
    code, _, err = run(capsys, "review", str(demo / "linden.toml"))
    assert code == 2
    assert is_one_paragraph(err, "kit.file")
    assert "linden.toml: Permission denied" in err


def test_ctrl_c_at_the_question_records_nothing(book, folder):
    """Sent to a real process that waits for an answer; where the system has no such signal, its like is raised."""
    if os.name == "nt":
        pytest.skip("this system sends the interrupt to the whole console")
    (folder / "in.csv").write_text(f"{HEAD}\nLIN-03/1;pH;4,61;;2026-05-13 14:20;25,0 degC\n", encoding="utf-8")
    command = [sys.executable, "-m", "kit", "import", "linden.labbook", "in.csv"]
    pipe = subprocess.PIPE
    with subprocess.Popen(command, cwd=folder, env=environment(), stdin=pipe, stdout=pipe, stderr=pipe) as waiting:
        while b"How the file was read" not in waiting.stdout.readline():
            assert waiting.poll() is None
        time.sleep(1)
        waiting.send_signal(signal.SIGINT)
        _, err = waiting.communicate(timeout=60)
    assert waiting.returncode == 130
    assert b"Traceback" not in err
    assert b"stopped" in err
    assert not _values(book, "4.61", "LIN-03/1")


@pytest.mark.parametrize("stop", [KeyboardInterrupt, EOFError])
def test_an_interrupt_anywhere_is_said_and_not_a_traceback(folder, demo, capsys, monkeypatch, stop):
    def stopped(*_):
        raise stop

    monkeypatch.setattr("kit.formula.files.load_formula", stopped)
    code, _, err = run(capsys, "review", str(demo / "linden.toml"))
    assert code == 130
    assert "stopped" in err
    assert "Traceback" not in err


def test_a_reader_that_goes_away_is_no_error(folder, demo):
    """`kit review ... | head`: the exit code is still that of the review."""
    command = [sys.executable, "-m", "kit", "review", str(demo / "linden.toml")]
    with subprocess.Popen(
        command, cwd=folder, env=environment(), stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as done:
        done.stdout.close()
        err = done.stderr.read()
    assert done.returncode == 0
    assert err == b""


def test_letters_a_terminal_cannot_show_are_replaced(folder):
    (folder / "umlaut.toml").write_text(FORMULA.replace("Yarrow", "Schafgärbe ≈"), encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "kit", "review", "umlaut.toml"],
        cwd=folder,
        env=environment(PYTHONIOENCODING="ascii", PYTHONUTF8="0"),
        capture_output=True,
        check=False,
    )
    assert done.returncode == 0
    assert done.stderr == b""
    assert b"Schafg?rbe ?" in done.stdout
