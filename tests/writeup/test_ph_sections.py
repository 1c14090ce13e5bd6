"""The pH, preservation and challenge-test sections of a write-up, and the pH line of a batch sheet.

Referees: readings and counts as entered here, the log reductions worked by hand, and what must never be said.
"""

from __future__ import annotations

import re
from datetime import datetime, timedelta, timezone
from decimal import Decimal
from pathlib import Path

import pytest

import kit
from kit.formula.files import read_formula
from kit.formula.free_preservatives import NO_PASS
from kit.show import Table
from kit.writeup.batch_sheet_report import BatchSheetReport
from kit.writeup.results_report import ResultsReport
from kit.writeup.sheet_ph import adjuster, ph_target_words
from kit.writeup.trial_report import TrialReport

START = datetime(2026, 3, 2, 9, tzinfo=timezone(timedelta(hours=1)))
HEAD = 'name = "Mallow rinse (invented)"\nversion = "1"\nproduct = "rinse-off hair"\n'
SPEC = '[[spec]]\nproperty = "pH"\nlow = 4.2\nhigh = 4.8\nmethod = "pH neat"\nage = "24 h"\n'
WATER = """
[[phase]]
name = "A"
kind = "water"
line = [
  {material = "water-deionised", qs = true}, {material = "glycerin", pct = "3.00"},
  {material = "citric-acid", pct = "0.20"},
]
"""
OIL = """
[[phase]]
name = "B"
kind = "oil"
line = [{material = "cetearyl-alcohol", pct = "5.00"}, {material = "behentrimonium-chloride-80", pct = "2.50"}]
"""
COOL = """
[[phase]]
name = "C"
kind = "cool-down"
line = [{material = "phenoxyethanol", pct = "0.80"}, {material = "sodium-benzoate", pct = "0.40"}]
"""
WHOLE = HEAD + SPEC + WATER + OIL + COOL
# CFU/g: bacteria from 5e5 to 90 and less are 3.7 log and more by day 7, yeast from 4.5e5 to 9000 1.7 log; the mould
# rises by 0.1 log to day 14 and has lost 1.2 by day 28: criterion A is met.
COUNTS = {
    "Pseudomonas aeruginosa": {0: "5e5", 7: "90", 14: "<10", 28: "<10"},
    "Staphylococcus aureus": {0: "5e5", 7: "<10", 14: "<10", 28: "<10"},
    "Escherichia coli": {0: "5e5", 7: "<10", 14: "<10", 28: "<10"},
    "Candida albicans": {0: "450000", 7: "9000", 14: "<10", 28: "<10"},
    "Aspergillus brasiliensis": {0: "300000", 14: "400000", 28: "20000"},
}


class Bench:
    """Enters batches of one formula on an invented clock."""

    def __init__(self, path: Path, formula: str = WHOLE) -> None:
        self.now = START
        self.path = path
        self.formula = read_formula(formula, kit.load_library())
        self.book = kit.new_labbook(path, clock=lambda: self.now)
        self.book.add_instrument("PH-1", kind="pH meter")
        self.book.new_study("MAL", question="?", spec=self.formula.spec, control="MAL-01")

    def make(self, trial: str, readings: dict[float, str]):
        """A batch with a pH at each age in hours."""
        self.now += timedelta(days=40)
        batch = self.book.start_batch(kit.plan_batch(self.formula, "400 g"), trial=trial, study="MAL", operator="b")
        for line in batch.sheet.lines:
            batch.weigh(line.material.key, f"{line.target_g} g", lot="L-1")
        batch.finish()
        finished = self.now
        for age, value in readings.items():
            self.now = finished + timedelta(hours=age)
            name = f"C-{trial}-{age:g}"
            self.book.calibrate("PH-1", name, slope_pct=98, offset_mv=3, buffers=["4.01", "7.00"], temp="25 degC")
            batch.read_ph(value, temp="25 degC", instrument="PH-1", calibration=name, method="pH neat")
        return batch

    def report(self, trial: str = "MAL-01") -> TrialReport:
        self.book.close()
        return TrialReport(self.path, trial)


@pytest.fixture
def bench(tmp_path):
    return Bench(tmp_path / "mallow.labbook")


def rows(block, title: str) -> list[list[str]]:
    (table,) = [part for part in block.parts if isinstance(part, Table) and part.title.startswith(title)]
    return [[str(cell) for cell in row] for row in table.rows]


# ---------------------------------------------------------------- pH


def test_predicted_stands_beside_measured_with_what_it_rests_on(bench):
    bench.make("MAL-01", {24: "4.50"})
    block = bench.report().predicted_ph()
    ((batch, predicted, measured),) = rows(block, "Predicted pH beside measured")
    value, low, high = map(float, re.match(r"([\d.]+) \(([\d.]+) to ([\d.]+)\)\nas made$", predicted).groups())
    says = "inside the band" if low <= 4.50 <= high else "OUTSIDE the band"
    assert (batch, measured) == ("MAL-01/1", f"4.50 at 24 h\n{says}")
    assert low < value < high
    told = dict(rows(block, "What the prediction rests on"))
    assert "Citric Acid: pKa" in told["rests on"] and told["cannot know"]
    assert "no difference rests on a prediction" in str(block)


def test_constants_from_memory_are_marked_as_such(tmp_path):
    """Dehydroacetic acid's 5.27 has no printed table behind it here."""
    bench = Bench(
        tmp_path / "m.labbook", WHOLE.replace('"sodium-benzoate", pct = "0.40"', '"dehydroacetic-acid", pct = "0.20"')
    )
    bench.make("MAL-01", {24: "4.50"})
    report = bench.report()
    assert (
        "Dehydroacetic Acid, pKa 5.27"
        in dict(rows(report.predicted_ph(), "What the prediction"))["from memory, to be checked"]
    )
    assert "5.27" in dict(rows(report.preservation(), "What these shares"))["from memory, to be checked"]
    assert "constants from memory" in str(report.side_by_side())


def test_a_batch_nobody_read_says_so_and_is_told_at_the_prediction(bench):
    bench.make("MAL-01", {})
    report = bench.report()
    ((_, _, measured),) = rows(report.predicted_ph(), "Predicted pH beside measured")
    assert measured == "none of the undiluted product that counts"
    assert "predicted and not measured" in str(report.charge())
    assert "predicted and not measured" in str(report.preservation())
    assert "NOT RECORDED" in str(report.drift())


@pytest.mark.parametrize(
    ("readings", "change", "says"),
    [
        ({1: "4.50", 24: "4.50", 168: "4.51"}, "+0.01", "steady"),
        ({1: "4.90", 24: "4.70", 168: "4.50"}, "−0.40", "falls by 0.40"),
        ({1: "4.90", 24: "4.70"}, "–", "only 2 ages with a reading that counts; three tell a drift"),
        ({24: "4.70"}, "–", "only 1 age with a reading that counts"),
    ],
)
def test_drift_is_told_in_words_from_three_ages_on(bench, readings, change, says):
    bench.make("MAL-01", readings)
    (row,) = [[str(cell) for cell in row] for row in bench.report().drift().rows]
    assert row[0] == "MAL-01\npH neat" and row[1] == change and says in row[2]
    assert row[2].endswith(f"Read at {', '.join({1: '1 h', 24: '24 h', 168: '7 d'}[age] for age in readings)}.")


def test_results_across_trials_have_a_row_of_drift_each(bench):
    bench.make("MAL-01", {1: "4.50", 24: "4.50", 168: "4.51"})
    bench.formula = bench.formula.change({"citric-acid": "0.30 %"}, why="more")
    bench.make("MAL-02", {1: "4.30", 24: "4.30", 168: "4.30"})
    bench.book.close()
    told = [row[0].split("\n")[0] for row in ResultsReport(bench.path).drift().rows]
    assert told == ["MAL-01", "MAL-02"]


# ---------------------------------------------------------------- preservation


def test_preservation_is_told_at_the_measured_ph_and_is_never_a_pass(bench):
    """Benzoate, pKa 4.202, at 4.50: 1/(1+10^0.298) = 33.5 % un-ionised."""
    bench.make("MAL-01", {24: "4.50"})
    block = bench.report().preservation()
    told = {row[1]: row for row in rows(block, "Preservatives free")}
    assert told["Sodium Benzoate"][0] == "4.50" and float(told["Sodium Benzoate"][3]) == pytest.approx(33.5, abs=0.1)
    low, high = map(float, told["Phenoxyethanol"][4].split(" to "))
    assert low < high <= 100
    text = str(block)
    assert NO_PASS in text and "Water activity 0.99" in text
    assert "PASS" not in text and "compliant" not in text.lower()


def test_a_product_without_water_gets_a_reason(tmp_path):
    dry = OIL.replace('{material = "cetearyl-alcohol", pct = "5.00"}', '{material = "cetearyl-alcohol", qs = true}')
    bench = Bench(tmp_path / "dry.labbook", HEAD + SPEC + dry)
    bench.make("MAL-01", {24: "4.50"})
    report = bench.report()
    ((_, predicted, _),) = rows(report.predicted_ph(), "Predicted pH beside measured")
    assert predicted.startswith("NOT COMPUTED: ") and len(predicted) > 30
    assert "nothing is said of its preservatives" in str(report.preservation()) and NO_PASS in str(
        report.preservation()
    )


# ---------------------------------------------------------------- challenge test


def test_without_a_challenge_test_a_plain_sentence_says_so(bench):
    bench.make("MAL-01", {24: "4.50"})
    report = bench.report()
    assert str(report.challenge_tests()).startswith("Challenge test: NOT RECORDED.")
    assert "nothing here shows that it is preserved" in str(report.challenge_tests())
    assert str(dict(report.stability().rows)["preservation challenge test"]) == "NOT RECORDED"


def test_a_challenge_test_shows_its_criteria_what_the_report_lacks_and_what_it_holds_for(bench):
    batch = bench.make("MAL-01", {24: "4.50"})
    batch.challenge_test(COUNTS, ph="4.50", age="21 d", laboratory="Laboratory of the south", report="R-7")
    report = bench.report()
    block = report.challenge_tests()
    organisms = {row[0]: row for row in rows(block, "Challenge test, ISO 11930: A")}
    assert len(organisms) == 5 and organisms["Pseudomonas aeruginosa"][1] == "NOT RECORDED"  # no strain was given
    said = dict(rows(block, "Report"))
    assert "Laboratory of the south" in said.values() and "NOT RECORDED" in said.values()
    scopes = dict(rows(block, "What the test of MAL-01/1 holds for"))
    assert scopes["MAL-01/1, as made, pH 4.50"].startswith("same preservative system")
    assert dict(report.stability().rows)["preservation challenge test"] == "MAL-01/1, ISO 11930: A"


def test_a_test_at_another_ph_is_of_another_formula_with_the_reason(bench):
    batch = bench.make("MAL-01", {24: "4.80"})
    batch.challenge_test(COUNTS, ph="4.50", age="21 d")
    scopes = dict(rows(bench.report().challenge_tests(), "What the test of"))
    assert scopes["MAL-01/1, as made, pH 4.80"].startswith("other formula: pH 4.50 tested, 4.80 now")


def test_the_test_of_the_control_is_told_to_be_of_another_formula_where_the_preservative_changed(bench):
    batch = bench.make("MAL-01", {24: "4.50"})
    batch.challenge_test(COUNTS, ph="4.50", age="21 d")
    bench.formula = bench.formula.change({"phenoxyethanol": "0.60 %"}, why="milder")
    bench.make("MAL-02", {24: "4.50"})
    text = str(bench.report("MAL-02").challenge_tests())
    assert text.startswith("Challenge test: NOT RECORDED.")
    assert re.search(
        r"MAL-01/1, ISO 11930: A\. MAL-02/1, pH 4\.50: other formula: Phenoxyethanol 0\.80 to 0\.60 %", text
    )


def test_a_voided_challenge_test_counts_for_nothing(bench):
    batch = bench.make("MAL-01", {24: "4.50"})
    receipt = batch.challenge_test(COUNTS, ph="4.50", age="21 d")
    batch.void(receipt.seq, why="another sample was sent")
    report = bench.report()
    text = str(report.challenge_tests())
    assert "VOID, another sample was sent" in text and "criterion" not in text.lower()
    assert str(dict(report.stability().rows)["preservation challenge test"]) == "NOT RECORDED"


# ---------------------------------------------------------------- the calibration


def test_a_calibration_shows_millivolts_slope_offset_and_its_closing_check(bench):
    """171.2 and -3.1 mV at 4.01 and 7.00: 174.3 / 2.99 / 59.16 = 98.5 % of theory."""
    batch = bench.make("MAL-01", {})
    bench.book.calibrate("PH-1", "CAL-9", buffers=["4.01", "7.00"], millivolts=["171.2", "-3.1"], temp="25 degC")
    batch.read_ph("4.50", temp="25 degC", instrument="PH-1", calibration="CAL-9", method="pH neat", age="24 h")
    bench.book.close_calibration("CAL-9", buffer="4.01", read="4.03")
    row = next(row for row in rows(bench.report().methods(), "Calibrations") if row[0] == "CAL-9")
    text = " | ".join(row)
    assert "171.2 mV" in text and "-3.1 mV" in text
    assert float(row[4]) == pytest.approx(98.5, abs=0.1)
    assert "4.01 came back as 4.03 (+0.02): within 0.05" in text


# ---------------------------------------------------------------- the batch sheet


def test_the_sheet_has_the_target_the_prediction_and_what_a_drop_does(bench):
    """The middle of 4.2 to 4.8. A drop of 10 % citric acid is 0.026 mmol in 400 g: 1.5 protons each, on 2 to 4
    mmol/100 g for each pH, make some thousandths; an acid lowers it."""
    words = ph_target_words(bench.formula.composition(), bench.formula.spec, Decimal(400))
    assert words.startswith("Target 4.5 (4.2 to 4.8). Predicted before adjusting, not measured: ")
    moved = re.search(
        r"One drop \(0\.05 g\) of Citric Acid \(10 % solution\) moves the pH by −(0\.\d+) at that pH", words
    )
    assert 0.001 < float(moved[1]) < 0.02
    assert "Acid: goggles" in words


def test_the_caution_for_a_corrosive_stands_with_the_drop(tmp_path):
    formula = read_formula(
        WHOLE.replace('"citric-acid", pct = "0.20"', '"lactic-acid-88", pct = "0.40"'), kit.load_library()
    )
    words = ph_target_words(formula.composition(), formula.spec, Decimal(400))
    assert adjuster(formula.composition()).key == "lactic-acid-10-solution"
    assert "Corrosive: goggles and gloves" in words and "fresh " in words


@pytest.mark.parametrize("formula", [HEAD + WATER + OIL, HEAD + OIL.replace('pct = "5.00"', "qs = true")])
def test_without_a_ph_spec_the_sheet_has_no_ph_target(tmp_path, formula):
    bench = Bench(tmp_path / "none.labbook", formula)
    bench.make("MAL-01", {})
    bench.book.close()
    assert "pH target" not in str(BatchSheetReport(bench.path, "MAL-01").masses())


def test_a_formula_whose_ph_cannot_be_predicted_has_its_target_and_the_reason(tmp_path):
    dry = HEAD + SPEC + OIL.replace('pct = "5.00"', "qs = true")
    formula = read_formula(dry, kit.load_library())
    words = ph_target_words(formula.composition(), formula.spec, Decimal(400))
    assert words.startswith("Target 4.5 (4.2 to 4.8). Predicted before adjusting: NOT COMPUTED, ")
