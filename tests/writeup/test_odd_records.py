"""Write-ups of records that are not like the examples: nothing read, one batch, no control, odd names, many versions.

What must come out is worked by hand from what is entered here; the words are checked because a wrong one would mislead.
"""

from __future__ import annotations

import json
import re
from datetime import datetime, timedelta, timezone
from itertools import pairwise
from pathlib import Path

import pytest

import kit
from kit import cli
from kit.formula.files import read_formula
from kit.writeup.batch_sheet_report import BatchSheetReport
from kit.writeup.comparison_report import ComparisonReport
from kit.writeup.results_report import ResultsReport
from kit.writeup.trial_report import TrialReport
from kit.writeup.write_up import file_stem

HEAD = 'name = "Odd rinse (invented)"\nversion = "1"\nproduct = "rinse-off hair"\n'
SPEC = '[[spec]]\nproperty = "pH"\nlow = 4.2\nhigh = 4.8\nmethod = "pH neat"\nage = "24 h"\n'
LINES = '{material = "water-deionised", qs = true}, {material = "glycerin", pct = "4.00"}'
WATER = f'[[phase]]\nname = "A"\nkind = "water"\nline = [{LINES}]\n'
OIL = '[[phase]]\nname = "B"\nkind = "oil"\nline = [{material = "cetearyl-alcohol", pct = "5.00"}]\n'
ODD = ("Über Probe 1", "Süß & <b>2")
SECTIONS = (
    "identity", "cautions", "formula", "figures_made", "materials", "label", "making", "figure_cooling", "deviations",
    "methods", "readings", "results", "predicted_ph", "drift", "charge", "preservation", "challenge_tests",
    "side_by_side", "observations", "stability", "history",
)  # fmt: skip


class Bench:
    """Enters batches on an invented clock."""

    def __init__(self, path: Path) -> None:
        self.now = datetime(2026, 3, 2, 9, tzinfo=timezone(timedelta(hours=1)))
        self.book = kit.new_labbook(path, clock=lambda: self.now)
        self.book.add_instrument("PH-1", kind="pH meter")
        self.book.calibrate("PH-1", "C1", slope_pct=98, offset_mv=3, buffers=["4.01", "7.00"], temp="25 degC")
        self.base = read_formula(HEAD + SPEC + WATER + OIL, kit.load_library())

    def make(self, study: str, trial: str, glycerin: str = "", ph: tuple[str, ...] = (), temp: str = "25 degC") -> None:
        """A batch with its pH at 24 h."""
        formula = self.base.change({"glycerin": glycerin}, why="more", version=glycerin) if glycerin else self.base
        batch = self.book.start_batch(kit.plan_batch(formula, "400 g"), trial=trial, study=study, operator="b")
        for line in batch.sheet.lines:
            batch.weigh(line.material.key, f"{line.target_g} g", lot="L-1")
        batch.combine(temps={"A": "78 degC", "B": "80 degC", "after": "76 degC"}, order="oil into water")
        batch.finish()
        self.now += timedelta(hours=24)
        for number, value in enumerate(ph):
            batch.read_ph(value, temp=temp, instrument="PH-1", calibration="C1", replicate=str(number))
        self.now += timedelta(hours=1)


@pytest.fixture(scope="module")
def record(tmp_path_factory) -> Path:
    """A lab book of odd studies."""
    path = tmp_path_factory.mktemp("odd") / "odd.labbook"
    bench = Bench(path)
    study = bench.book.new_study
    study("NONE", question="nothing read", spec=bench.base.spec, control="NONE-01")
    bench.make("NONE", "NONE-01")
    study("LONE", question="no control", spec=bench.base.spec)
    bench.make("LONE", "LONE-01", ph=("4.50", "4.52"))
    study("REF", question="bought", spec=bench.base.spec, reference_product="Bought rinse, lot 7")
    bench.make("REF", "REF-01", ph=("4.50",))
    study("WARM", question="all read warm", spec=bench.base.spec, control="WARM-01")
    bench.make("WARM", "WARM-01", ph=("4.50",), temp="33 degC")
    bench.make("WARM", "WARM-02", "5 %", ph=("4.40",), temp="33 degC")
    study("Grüne Studie", question="odd names", spec=bench.base.spec, control=ODD[0])
    bench.make("Grüne Studie", ODD[0], ph=("4.50",))
    bench.make("Grüne Studie", ODD[1], "5 %", ph=("4.40",))
    study("EIGHT", question="eight versions", spec=bench.base.spec, control="EIGHT-0")
    for number in range(8):
        bench.make("EIGHT", f"EIGHT-{number}", f"{4 + number}.5 %", ph=(f"4.{40 + number}", f"4.{42 + number}"))
    bench.book.close()
    return path


@pytest.mark.parametrize("trial", ["NONE-01", "LONE-01", "REF-01", "WARM-02", *ODD, "EIGHT-7"])
def test_every_section_of_a_write_up_stands(record, trial):
    report = TrialReport(record, trial)
    for section in SECTIONS:
        shown = getattr(report, section)()
        for part in shown if isinstance(shown, list) else [shown]:
            assert str(part).strip()
            html = part._repr_html_() if hasattr(part, "_repr_html_") else ""
            assert "<b>2" not in html
    for property in ("pH", "viscosity"):
        assert str(report.figure_at_spec_age(property))
        assert str(report.figure_over_age(property))


def test_a_trial_alone_without_a_control_is_not_called_one(record):
    """Its mean, 4.51, is that of 4.50 and 4.52."""
    report = TrialReport(record, "LONE-01")
    table = str(report.side_by_side())
    assert "(control)" not in table
    assert re.search(r"PASS: mean 4\.510? inside 4\.2 to 4\.8", table)
    assert "not tested: there is no control beside it" in str(report.results())
    assert "no control is named" in str(report.figure_at_spec_age("pH"))
    assert "(control)" not in str(report.figure_over_age("pH"))
    assert re.search(r"control +NOT RECORDED", str(report.identity()))


def test_the_control_that_a_study_names_is_called_one_when_it_is_alone_too(record):
    assert "NONE-01 (control)" in str(TrialReport(record, "NONE-01").side_by_side())


def test_a_bought_product_is_named_as_the_control_with_its_composition_unknown(record):
    report = TrialReport(record, "REF-01")
    assert re.search(
        r"control +Bought rinse, lot 7, bought: composition unknown, no batch here", str(report.identity())
    )
    assert "(control)" not in str(report.side_by_side())


def test_the_results_of_a_study_with_one_version_and_no_control_are_shown(record):
    report = ResultsReport(record, "LONE")
    assert "PASS" in str(report.verdicts())
    assert (len(report.figures_at_age()), len(report.figures_over_age())) == (1, 0)  # read at one age only


def test_where_nothing_was_read_no_reading_is_said_to_be_in_a_mean(record):
    report = ResultsReport(record, "NONE")
    assert "There is no reading." in str(report.not_used())
    assert (report.figures_at_age(), report.figures_over_age(), report.figures_by_day()) == ([], [], [])
    assert "NOT TESTED" in str(report.verdicts())
    assert "There is no reading." in str(TrialReport(record, "NONE-01").results())


def test_where_every_reading_is_flagged_there_is_no_mean_and_no_pass(record):
    report = ComparisonReport(record, ["WARM-01", "WARM-02"])
    for arm in report.comparison.result("pH", "24 h").arms:
        assert (arm.verdict, arm.mean, arm.n_batches) == ("FLAGGED", None, 0)
        assert "33 degC" in arm.verdict_why
    assert "PASS" not in str(report.results())
    assert "0 batches in the means" in str(report.figures()[0])


def test_eight_versions_have_the_means_of_what_was_entered(record):
    """4.40 and 4.42 give 4.41, and so on by 0.01 up to 4.48; nine are refused."""
    names = [f"EIGHT-{number}" for number in range(8)]
    report = ComparisonReport(record, names)
    means = [arm.mean for arm in report.comparison.result("pH", "24 h").arms]
    assert means[0] == pytest.approx(4.41, abs=1e-9)
    assert all(after - before == pytest.approx(0.01, abs=1e-9) for before, after in pairwise(means))
    assert [len(figure.table.rows) for figure in report.figures()[:1]] == [8]
    text = str(report.results())
    assert all(f"{4.41 + number / 100:.2f}" in text for number in range(8))


def test_a_formula_of_two_phases_without_steps_has_a_sheet(record):
    report = BatchSheetReport(record, "NONE-01")
    assert "The formula holds no steps: write them down as they are done." in str(report.steps())
    assert "A + B by the plan 400.00 g" in str(report.masses())


# ---------------------------------------------------------------- the command


def run(record: Path, folder: Path, *arguments: str) -> dict:
    """Run a template by the command; the snapshot it wrote."""
    assert cli.main(["run", *arguments, "--source", str(record), "--to", str(folder), "--name", "page"]) == 0
    return json.loads((folder / "page.snapshot.json").read_text(encoding="utf-8"))


def test_a_sheet_of_a_formula_file_freezes_no_trial(record, tmp_path):
    path = tmp_path / "rinse.toml"
    path.write_text(HEAD + WATER + OIL, encoding="utf-8")
    frozen = run(record, tmp_path, "batch_sheet", "--set", f"formula_file={path}", "--set", "size=400 g")
    assert (frozen["trials"], frozen["studies"]) == ({}, [])
    assert "Cetearyl Alcohol" in (tmp_path / "page.html").read_text(encoding="utf-8")


def test_a_page_of_one_study_freezes_the_trials_of_that_study(record, tmp_path):
    frozen = run(record, tmp_path, "trial_results", "--set", "study=Grüne Studie")
    assert frozen["trials"] == {"Grüne Studie": sorted(ODD)}


def test_a_trial_with_signs_that_file_systems_refuse_is_written_under_a_name_they_take(record, tmp_path):
    assert cli.main(["write-up", str(record), ODD[1], "--to", str(tmp_path)]) == 0
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        f"Süß & _b_2.{ending}" for ending in ("html", "ipynb", "snapshot.json")
    ]
    assert "<b>2" not in (tmp_path / "Süß & _b_2.html").read_text(encoding="utf-8")


def test_a_file_s_name_is_never_empty_nor_too_long():
    assert file_stem(". .") == "page"
    assert len(file_stem("-".join(["LIN-03"] * 100))) == 120


def test_what_was_read_at_one_age_only_has_no_figure_over_age(demos):
    """Wet combing of the calendula study was read at 7 d and at no other age; pH at 1 h and 7 d."""
    made = demos("calendula")
    titles = [figure.title for figure in ResultsReport(made.labbook).figures_over_age()]
    assert titles == ["How does pH develop with age?", "How does viscosity develop with age?"]
    titles = [figure.title for figure in ComparisonReport(made.labbook, made.compared).figures()]
    assert [title for title in titles if "combing" in title] == [
        "Wet-combing force at 7 d: which version is inside the spec?"
    ]
