"""The batch sheet: on paper before the batch, and as the batch stands while it is made.

Referees: grams and tolerances worked by hand beside each check; the plain `papermill` command; Chromium's own printing.
"""

from __future__ import annotations

import json
import math
import re
import subprocess
import sys
from pathlib import Path

import pytest

import kit
from kit.cli import main
from kit.errors import KitError
from kit.sources import read_data
from kit.writeup.batch_sheet_report import BatchSheetReport
from kit.writeup.canonical import canonical_text
from kit.writeup.short_cautions import SHORT
from kit.writeup.tip_speed import tip_speed_m_s

ROOT = Path(kit.__file__).parents[1]
# 400 g x % / 100, rounded to 0.01 g; tolerance 1 %, preservatives and acids 0.5 %, in whole steps of 0.01 g.
WEIGH = {
    "Water, deionised": ("331.80", "± 3.31"),
    "Glycerin": ("12.00", "± 0.12"),
    "Hydroxyethylcellulose": ("0.80", "not to 1 % *"),
    "Disodium EDTA (dihydrate)": ("0.40", "not to 1 % *"),
    "Citric Acid (anhydrous)": ("0.20", "not to 1 % *"),
    "Cetearyl Alcohol (30:70)": ("20.00", "± 0.20"),
    "Behentrimonium Chloride (80 %)": ("10.00", "± 0.10"),
    "Caprylic/Capric Triglyceride": ("10.00", "± 0.10"),
    "Cetyl Esters": ("2.00", "± 0.02"),
    "Panthenol (75 % in water)": ("2.80", "± 0.02"),
    "Tilia Cordata Flower Extract": ("4.00", "± 0.04"),
    "Phenoxyethanol": ("3.20", "± 0.01"),
    "Ethylhexylglycerin": ("0.40", "not to 1 % *"),
    "Sodium Benzoate": ("0.80", "not to 1 % *"),
    "Parfum": ("1.60", "± 0.01"),
}


def outputs(notebook: Path) -> list[dict]:
    cells = json.loads(notebook.read_text(encoding="utf-8"))["cells"]
    found = [output["data"] for cell in cells for output in cell.get("outputs", ())]
    return [{kind: "".join(text) if isinstance(text, list) else text for kind, text in one.items()} for one in found]


def refused(parameters: dict, source: object) -> str:
    with pytest.raises(KitError) as caught:
        kit.run_template("batch_sheet", {"source": str(source), **parameters})
    assert "\n" not in str(caught.value)
    return caught.value.code


def refused_within(source: object, **given) -> str:
    """What the page's own class says, without a kernel: what it raises in a cell is what the runner hands on."""
    with pytest.raises(KitError) as caught:
        BatchSheetReport(source, **given).steps()
    assert "\n" not in str(caught.value)
    return caught.value.code


def run_page(page, labbook, folder: Path, *given: str, name: str = "page"):
    """The page that `kit run` writes."""
    pairs = [part for text in given for part in ("--set", text)]
    assert main(["run", "batch_sheet", "--source", str(labbook), *pairs, "--to", str(folder), "--name", name]) == 0
    return page.read(folder / f"{name}.html")


# ---------------------------------------------------------------- on paper


def test_targets_and_tolerances_are_those_worked_by_hand(sheet, page):
    rows = page.read(sheet.page).table("Weigh")[1:]
    assert {row[1]: (row[4], row[5]) for row in rows if row[0]} == WEIGH
    # Phase A 86.30 %, B 10.50 %, C 3.20 % of 400 g.
    assert {row[1]: (row[3], row[4]) for row in rows if not row[0]} == {
        "phase A together": ("86.30", "345.20"),
        "phase B together": ("10.50", "42.00"),
        "phase C together": ("3.20", "12.80"),
        "total": ("100.00", "400.00"),
    }
    assert {cell for row in rows for cell in row[6:]} == {""}  # to be filled in by hand
    # Twice 0.41 divisions is 1 % of 0.82 g on a 0.01 g balance: USP <41>, with 1 % in place of 0.10 %.
    assert "cannot be weighed to 1 %: finer balance or stock solution" in page.read(sheet.page).text
    assert "0.82 g" in page.read(sheet.page).text


def test_the_heading_names_the_trial_the_version_and_the_size(demo, sheet, page):
    head, row = page.read(sheet.page).table("Batch sheet")
    told = dict(zip(head, row, strict=True))
    with kit.open_source(demo.labbook) as source:
        fingerprint = source.trial("LIN-03").formula.fingerprint
    assert told["trial"] == "LIN-03" and told["size"] == "400 g"
    assert told["version fingerprint"] == fingerprint[:16]
    assert told["date"] == told["operator"] == told["checked by"] == ""


def test_steps_have_targets_tip_speed_and_blanks(sheet, page):
    """25 mm at 6500 rpm: pi x 0.025 m x 108.33 1/s = 8.508 m/s."""
    rows = page.read(sheet.page).table("Do")[1:]
    assert [row[1] for row in rows] == [
        "disperse A", "heat A", "heat B", "combine", "cool", "add C", "adjust", "rest"
    ]  # fmt: skip
    combine = [cell.replace("\u00a0", " ") for cell in rows[3]]
    assert combine[2] == "A 78 °C, B 80 °C, after 76 °C, 6500 rpm (8.5 m/s at the tip), 4 min"
    assert re.findall(r"(A|B|after) _+ °C", combine[4]) == ["A", "B", "after"]
    assert "_ rpm" in combine[4] and "_ min" in combine[4]
    assert "tip" not in rows[4][2]  # the stirrer is another tool


@pytest.mark.parametrize(("rpm", "mm", "wanted"), [(4000, 25, 5.236), (9000, 25, 11.781), (3000, 50, 7.854)])
def test_tip_speed_by_hand(rpm, mm, wanted):
    """pi x diameter x turns a second: 3.14159 x 0.025 x 66.667, x 150; 3.14159 x 0.050 x 50."""
    assert math.isclose(tip_speed_m_s(rpm, mm), wanted, abs_tol=5e-4)


def test_masses_are_an_equation_to_fill_in(sheet, page):
    """Phases A and B by the plan: 345.20 + 42.00 g. What is called water is the weighed less all that was found."""
    rows = {row[0]: row[1].replace("\u00a0", " ") for row in page.read(sheet.page).table("Make up")[1:]}
    bare = re.sub(r"_+", "_", " ".join(rows["water make-up"].split()))
    assert bare.startswith(
        "A + B by the plan 387.20 g; as weighed _ g − found back _ g − samples out _ g − net _ g = _ g not found back"
    )
    assert re.sub(r"_+", "_", rows["gross"]) == "gross _ g − tare _ g = net _ g"
    told = ("gross", "found back", "water make-up", "pH target", "pH in process", "end of making", "cleaning")
    assert tuple(rows) == told
    assert rows["pH target"].startswith("Target 4.6 (4.3 to 4.9). Predicted before adjusting, not measured: 4.")


def test_methods_and_limits_are_those_of_the_study(sheet, page):
    rows = {row[0]: row for row in page.read(sheet.page).table("Read")[1:]}
    assert rows["pH"][1:4] == ["24 h", "4.3 to 4.9", "pH neat: 25 ± 1 degC"]
    assert rows["viscosity, mPa.s"][1:4] == [
        "72 h", "15000 to 25000 mPa.s", "viscosity: disc 5, 10 rpm, 60 s, 25 ± 0.5 degC, 100 mL jar"
    ]  # fmt: skip
    assert "torque" in rows["viscosity, mPa.s"][5] and "calibration" in rows["pH"][5]
    assert rows["grain"][1:4] == ["7 d", "none", "look and note the word"]


def test_every_caution_has_short_words_and_those_of_the_sheet_are_printed(demo, sheet, page):
    known = read_data("cautions.toml")["cautions"]
    assert set(SHORT) == set(known)
    text = page.read(sheet.page).text
    with kit.open_source(demo.labbook) as source:
        keys = source.batch("LIN-03/1").sheet.cautions
    assert {"hot-wax", "eyes", "preservation", "rotor-stator"} <= set(keys)
    for key in keys:
        assert SHORT[key] in text and known[key]["text"] in text


# ---------------------------------------------------------------- printed


sync_api = pytest.importorskip("playwright.sync_api")
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-sync"]


@pytest.fixture(scope="module")
def engine(chromium):
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=ARGUMENTS)
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def printed(engine):
    """A function that prints a page and gives the PDF, with what was asked of the network."""

    def pdf(file: Path, paper: str) -> tuple[bytes, list[str]]:
        context, asked = engine.new_context(), []
        opened = context.new_page()
        opened.on("request", lambda request: asked.append(request.url))
        opened.goto(file.as_uri())
        made = opened.pdf(format=paper, print_background=False)
        context.close()
        return made, [url for url in asked if url != file.as_uri()]

    return pdf


def pages_in(pdf: bytes) -> int:
    return len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf))


@pytest.mark.browser
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_a_formula_of_fifteen_lines_is_one_sheet_of_paper(sheet, printed, paper):
    pdf, asked = printed(sheet.page, paper)
    assert pages_in(pdf) == 1
    assert asked == []


@pytest.mark.browser
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_balances_of_the_last_batch_fit_on_one_sheet_too(demo, page, printed, tmp_path, paper):
    run_page(page, demo.labbook, tmp_path, "trial=LIN-03")
    assert pages_in(printed(tmp_path / "page.html", paper)[0]) == 1


DEMOS = sorted((Path(kit.__file__).parent / "demo" / "formulas").glob("*.toml"))


LONGEST = sorted(DEMOS, key=lambda path: path.read_text(encoding="utf-8").count("material ="))[-4:]


@pytest.mark.browser
@pytest.mark.slow
@pytest.mark.parametrize("formula", DEMOS, ids=[path.stem for path in DEMOS])
def test_every_demo_formula_fits_on_one_sheet_of_either_paper(demo, page, printed, tmp_path, formula, thorough):
    """By default the four longest; `--thorough` prints them all: a shorter one has fewer lines on the same sheet."""
    if not thorough and formula not in LONGEST:
        pytest.skip("a shorter formula; --thorough prints it as well")
    run_page(page, demo.labbook, tmp_path, f"formula_file={formula}", "trial=DEM-01", "size=400 g")
    for paper in ("A4", "Letter"):
        assert pages_in(printed(tmp_path / "page.html", paper)[0]) == 1, paper


LONG = """
name = "Long formula (invented)"
version = "1"
product = "rinse-off hair"
[[phase]]
name = "A"
kind = "water"
line = [{{material = "water-deionised", qs = true}}]
{phases}
"""


@pytest.mark.browser
def test_a_longer_formula_goes_on_with_its_head_and_breaks_no_line(demo, page, printed, tmp_path):
    """Sixty more phases of one line: the head of the table comes again on the next sheet (as Chromium lays it out)."""
    phases = "\n".join(
        f'[[phase]]\nname = "P{number}"\nkind = "cool-down"\nline = [{{material = "glycerin", pct = "0.50"}}]'
        for number in range(60)
    )
    (tmp_path / "long.toml").write_text(LONG.format(phases=phases), encoding="utf-8")
    run_page(page, demo.labbook, tmp_path, f"formula_file={tmp_path / 'long.toml'}", "trial=LNG-01", "size=1 kg")
    pdf, _ = printed(tmp_path / "page.html", "A4")
    assert pages_in(pdf) >= 3
    (tmp_path / "long.pdf").write_bytes(pdf)
    try:
        done = subprocess.run(
            ["pdftotext", "-layout", str(tmp_path / "long.pdf"), "-"], capture_output=True, text=True, check=True
        )
    except (OSError, subprocess.CalledProcessError):
        pytest.skip("no pdftotext here")
    sheets = done.stdout.split("\f")
    assert "tolerance, g" in sheets[0] and "tolerance, g" in sheets[1]


@pytest.mark.browser
def test_axe_finds_nothing_serious_on_a_sheet(sheet, engine):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    opened = engine.new_page()
    opened.goto(sheet.page.as_uri())
    found = axe.Axe().run(opened).response
    opened.close()
    assert len(found["passes"]) > 10  # it did look
    assert [one["id"] for one in found["violations"] if one["impact"] in {"serious", "critical"}] == []


# ---------------------------------------------------------------- however it is run


@pytest.mark.slow
def test_papermill_the_runner_and_the_command_give_the_same_outputs(demo, page, tmp_path):
    out = tmp_path / "plain.ipynb"
    command = [sys.executable, "-m", "papermill", str(ROOT / "templates" / "batch_sheet.ipynb"), str(out)]
    given = ["-p", "source", str(demo.labbook), "-p", "trial", "LIN-03"]
    done = subprocess.run([*command, *given], cwd=tmp_path, capture_output=True, text=True, timeout=300, check=False)
    assert done.returncode == 0, done.stderr[-2000:]
    run_page(page, demo.labbook, tmp_path, "trial=LIN-03")
    assert outputs(out) == outputs(tmp_path / "page.ipynb")
    (tmp_path / "page.snapshot.json").rename(tmp_path / "snapshot.json")
    again = kit.run_template("batch_sheet", {"source": "snapshot.json", "trial": "LIN-03"}, workdir=tmp_path)
    assert canonical_text(again.notebook) == (tmp_path / "page.ipynb").read_text(encoding="utf-8")


def test_a_formula_file_makes_a_sheet_before_anything_is_recorded(demo, page, tmp_path):
    """An empty lab book, the file by its path: 2 kg of the linden base are five times the grams of 400 g."""
    kit.new_labbook(tmp_path / "new.labbook").close()
    made = run_page(
        page, tmp_path / "new.labbook", tmp_path, f"formula_file={demo.formula}", "trial=SGE-01", "size=2 kg",
        "balances=0.1 g,BAL-2 0.001 g", "head_diameter=50 mm",
    )  # fmt: skip
    rows = {row[1]: row for row in made.table("Weigh")[1:]}
    # On 0.1 g the smallest for 1 % is 8.2 g (16.4 g for a preservative): glycerin 60 g goes there, EDTA 2 g does not.
    assert (rows["Glycerin"][4], rows["Glycerin"][5]) == ("60.0", "± 0.6 (0.1 g)")
    assert rows["Disodium EDTA (dihydrate)"][4:6] == ["2.000", "± 0.020 (BAL-2)"]
    assert rows["total"][4] == "2000.00"
    assert "6500 rpm (17.0 m/s at the tip)" in made.text.replace("\u00a0", " ")  # pi x 0.050 x 108.33 = 17.02
    assert made.table("Read")[1][2] == "4.3 to 4.9"  # no study: the spec of the file
    written = (tmp_path / "page.html").read_text(encoding="utf-8") + (tmp_path / "page.ipynb").read_text(
        encoding="utf-8"
    )
    assert str(tmp_path) not in written and str(demo.formula.parent) not in written


def test_what_is_asked_for_wrongly_is_refused_in_words(demo, tmp_path, capsys):
    book, formula = demo.labbook, str(demo.formula)
    assert refused({}, book) == refused_within(book) == "sheet.nothing"
    assert refused_within(book, trial="LIN-33") == "labbook.trial"
    assert refused_within(book, trial="LIN-03", number=2) == "sheet.number"
    assert refused_within(book, trial="LIN-04", formula_file=formula) == "sheet.two_formulas"
    assert refused_within(book, trial="NEW-01", formula_file=formula) == "sheet.size"
    assert refused_within(book, trial="LIN-03", size="400") == "units.missing"
    assert refused_within(book, trial="LIN-03", head_diameter="25 g") == "units.wrong_kind"
    assert refused({"trial": "LIN-03", "number": "1"}, book) == "template.parameter_type"
    assert refused({"trial": "LIN-03", "balance": "0.01 g"}, book) == "template.parameter_unknown"
    arguments = ["run", "batch_sheet", "--source", str(book), "--set", f"formula_file={tmp_path / 'no.toml'}"]
    assert main([*arguments, "--to", str(tmp_path)]) == 2
    assert "template.file_missing" in capsys.readouterr().err


# ---------------------------------------------------------------- while the batch is made


@pytest.fixture
def started(labbook):
    """A second batch of the control, three lines weighed: one within, one over, one that cannot be judged to 1 %."""
    with kit.open_labbook(labbook) as book:
        sheet = kit.plan_batch(book.trial("LIN-03").formula, "400 g", balances=["0.01 g"])
        batch = book.start_batch(sheet, trial="LIN-03", number=2, operator="bench 7")
        batch.weigh("water-deionised", "331.90 g", lot="DI-1")
        batch.weigh("glycerin", "12.60 g", lot="G-1")
        batch.weigh("disodium-edta", "0.40 g")
        yield labbook, book, batch


def states(made) -> dict[str, list[str]]:
    return {row[1]: row for row in made.table("LIN-03/2: weighed so far")[1:]}


def test_a_started_batch_shows_what_was_weighed_and_what_is_missing(started, page, tmp_path):
    labbook, _, _ = started
    made = run_page(page, labbook, tmp_path, "trial=LIN-03", "number=2")
    rows = states(made)
    assert rows["Water, deionised"][4:] == ["331.90", "DI-1", "within"]  # 0.10 g of 3.31 g
    assert rows["Glycerin"][4:] == ["12.60", "G-1", "over by 0.60 g, not answered yet"]
    assert rows["Disodium EDTA (dihydrate)"][4:] == ["0.40", "lot NOT RECORDED", "not judged"]
    assert {name for name, row in rows.items() if row[6] == "to weigh"} == set(WEIGH) - {
        "Water, deionised", "Glycerin", "Disodium EDTA (dihydrate)"
    }  # fmt: skip
    assert rows["total"][4] == "344.90"  # 331.90 + 12.60 + 0.40
    stages = {row[0]: row[1] for row in made.table("LIN-03/2: where it stands")[1:]}
    assert stages["lines weighed"].startswith("3 of 15 lines; missing: Hydroxyethylcellulose (A)")
    assert stages["phases combined"] == stages["gross mass"] == stages["end of making"] == "missing"
    assert "bench 7" in made.table("Batch LIN-03/2 as it stands")[1]


def test_targets_grow_when_the_answer_was_to_make_the_others_bigger(started, page, tmp_path):
    """12.60 / 12.00 = 1.05: cetearyl alcohol 20.00 becomes 21.00 g, water 331.80 becomes 348.39 g and is short now."""
    labbook, _, batch = started
    batch.rescale("glycerin", why="actives stay in proportion")
    rows = states(run_page(page, labbook, tmp_path, "trial=LIN-03", "number=2"))
    assert rows["Cetearyl Alcohol (30:70)"][2] == "21.00"
    assert rows["Water, deionised"][2] == "348.39"
    assert rows["Water, deionised"][6] == "under by 16.49 g"
    assert rows["Glycerin"][6] == "within"


def test_a_finished_batch_lists_nothing_as_missing(demo, page, tmp_path):
    """LIN-03/1 as entered: glycerin 13.80 g for 12.00 g, accepted with a reason."""
    made = run_page(page, demo.labbook, tmp_path, "trial=LIN-03", "number=1")
    rows = {row[1]: row for row in made.table("LIN-03/1: weighed so far")[1:]}
    assert rows["Glycerin"][6].startswith("over by 1.80 g, accepted: humectant only")
    stages = made.table("LIN-03/1: where it stands")[1:]
    assert stages[0][1] == "all 15 lines" and "missing" not in {row[1] for row in stages}
    assert any("4.60" in row[2] for row in made.table("All readings")[1:])
