"""The pH of a batch: which reading stands for it, the prediction beside it, and what follows from that pH.

Referees: readings as entered here; Henderson and Hasselbalch and equivalents worked by hand; that no verdict and no
difference changes whatever is predicted.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta, timezone
from decimal import Decimal
from pathlib import Path

import pytest

import kit
from kit.formula.files import read_formula
from kit.trials.batch_ph import INSIDE, OUTSIDE, reads_undiluted
from kit.trials.tables import ph_rows

START = datetime(2026, 3, 2, 9, tzinfo=timezone(timedelta(hours=1)))
HEAD = 'name = "Rinse (invented)"\nversion = "1"\nproduct = "rinse-off hair"\n'
SPEC = '[[spec]]\nproperty = "pH"\nlow = 4.2\nhigh = 4.8\nmethod = "pH neat"\nage = "24 h"\n'
BUFFERED = HEAD + SPEC + """
[[phase]]
name = "A"
kind = "water"
line = [
  {material = "water-deionised", qs = true}, {material = "citric-acid", pct = "0.20"},
  {material = "sodium-benzoate", pct = "0.40"},
]
[[phase]]
name = "B"
kind = "oil"
line = [{material = "cetearyl-alcohol", pct = "5.00"}, {material = "behentrimonium-chloride-80", pct = "2.50"}]
"""  # fmt: skip
WITHOUT_WATER = HEAD + SPEC + """
[[phase]]
name = "B"
kind = "oil"
line = [
  {material = "cetearyl-alcohol", qs = true}, {material = "behentrimonium-chloride-80", pct = "2.50"},
  {material = "phenoxyethanol", pct = "0.80"},
]
"""  # fmt: skip
LATENT = BUFFERED.replace('{material = "citric-acid", pct = "0.20"}', '{material = "lactic-acid-88", pct = "0.30"}')


class Bench:
    """Enters batches of one formula on an invented clock."""

    def __init__(self, path: Path, formula: str = BUFFERED) -> None:
        self.now = START
        self.path = path
        self.formula = read_formula(formula, kit.load_library())
        self.book = kit.new_labbook(path, clock=lambda: self.now)
        self.book.add_instrument("PH-1", kind="pH meter")
        self.book.new_study("RIN", question="?", spec=self.formula.spec, control="RIN-01")

    def make(self, trial: str, readings: dict[float, str], *, temp: str = "25 degC", weigh: bool = True):
        """A batch with a pH at each age in hours."""
        self.now += timedelta(days=10)
        batch = self.book.start_batch(kit.plan_batch(self.formula, "400 g"), trial=trial, study="RIN", operator="b")
        for line in batch.sheet.lines if weigh else ():
            batch.weigh(line.material.key, f"{line.target_g} g", lot="L-1")
        batch.finish()
        finished = self.now
        for age, value in readings.items():
            self.now = finished + timedelta(hours=age)
            name = f"C-{trial}-{age:g}"
            self.book.calibrate(
                "PH-1", name, slope_pct=98, offset_mv=3, buffers=["1.68", "4.01", "7.00"], temp="25 degC"
            )
            batch.read_ph(value, temp=temp, instrument="PH-1", calibration=name, method="pH neat")
        return batch


def compared(bench: Bench, *trials: str, **more):
    bench.book.close()
    return kit.compare(bench.path, list(trials), **more)


def cells(comparison) -> dict[str, tuple[str, ...]]:
    return dict(ph_rows(comparison))


PREDICTED, MEASURED, UNIONISED, CHARGE = (
    "predicted pH, nine readings in ten (predicted, not tested)",
    "measured pH beside it",
    "un-ionised share of acid preservatives",
    "net charge of large ions, meq/100 g",
)


def test_the_reading_at_the_age_of_the_spec_stands_for_the_batch(tmp_path):
    bench = Bench(tmp_path / "a.labbook")
    bench.make("RIN-01", {1: "4.70", 24: "4.50", 72: "4.40"})
    (found,) = compared(bench, "RIN-01").phs.values()
    assert (found.ph, found.age) == (Decimal("4.50"), "24 h")


def test_without_a_reading_at_that_age_the_last_one_does(tmp_path):
    bench = Bench(tmp_path / "a.labbook")
    bench.make("RIN-01", {1: "4.70", 72: "4.40"})
    (found,) = compared(bench, "RIN-01").phs.values()
    assert (found.ph, found.age) == (Decimal("4.40"), "72 h")


@pytest.mark.parametrize(
    ("method", "undiluted"),
    [("pH neat", True), ("", True), ("spear, 25 °C", True), ("pH 10 % in water", False), ("pH diluted 1 to 10", False)],
)
def test_a_method_that_dilutes_is_not_what_a_prediction_speaks_of(method, undiluted):
    assert reads_undiluted(method) is undiluted


def test_shares_and_charge_are_those_at_the_measured_ph(tmp_path):
    """Benzoate, pKa 4.202, at 4.50: 1/(1+10^0.298) = 33.5 %. 2.5 % of 80 % quaternary, 404.16 g/mol: 4.95 meq/100 g."""
    bench = Bench(tmp_path / "a.labbook")
    bench.make("RIN-01", {24: "4.50"})
    told = cells(compared(bench, "RIN-01"))
    assert told[UNIONISED] == ("Sodium Benzoate 33 % at pH 4.50",)
    number, _, rest = told[CHARGE][0].partition(" ")
    assert float(number) == pytest.approx(4.95, abs=0.02) and rest == "at pH 4.50"


def test_a_reading_that_is_flagged_stands_for_nothing_and_the_prediction_says_so(tmp_path):
    bench = Bench(tmp_path / "a.labbook")
    bench.make("RIN-01", {24: "4.50"}, temp="33 degC")
    comparison = compared(bench, "RIN-01")
    told = cells(comparison)
    (found,) = comparison.phs.values()
    assert found.measured is None and found.ph == found.settled.value
    assert told[MEASURED] == ("– (no reading of the undiluted product that counts)",)
    assert told[UNIONISED][0].endswith("(predicted)") and told[CHARGE][0].endswith("(predicted)")


@pytest.mark.parametrize(("away", "says"), [("0", INSIDE), ("1.5", OUTSIDE), ("-1.2", OUTSIDE)])
def test_a_reading_is_held_against_the_band_and_judged_by_the_spec_alone(tmp_path, away, says):
    bench = Bench(tmp_path / "a.labbook")
    settled = bench.formula.predict_ph()
    reading = settled.value + Decimal(away)
    bench.make("RIN-01", {24: str(reading)})
    comparison = compared(bench, "RIN-01")
    assert cells(comparison)[MEASURED] == (f"{reading} at 24 h, {says}",)
    (arm,) = comparison.result("pH", "24 h").arms
    assert arm.verdict == ("PASS" if Decimal("4.2") <= reading <= Decimal("4.8") else "FAIL")


def test_where_acid_comes_free_the_prediction_for_the_age_of_the_reading_is_the_higher_one(tmp_path):
    """Lactic acid of 88 % holds a part of its acid back: fewer protons at 24 h than at the end, a higher pH."""
    bench = Bench(tmp_path / "a.labbook", LATENT)
    bench.make("RIN-01", {24: "4.50"})
    comparison = compared(bench, "RIN-01")
    (found,) = comparison.phs.values()
    assert found.moves and found.beside.value > found.settled.value
    assert " at 24 h, " in cells(comparison)[PREDICTED][0] and " settled" in cells(comparison)[PREDICTED][0]


def test_nothing_weighed_is_told_from_the_formula_as_meant(tmp_path):
    bench = Bench(tmp_path / "a.labbook")
    bench.make("RIN-01", {24: "4.50"}, weigh=False)
    (found,) = compared(bench, "RIN-01").phs.values()
    assert found.state == "as meant: nothing was weighed"
    assert found.settled.value == bench.formula.predict_ph().value


def test_without_water_the_reason_stands_in_every_cell_and_nothing_is_made_up(tmp_path):
    bench = Bench(tmp_path / "a.labbook", WITHOUT_WATER)
    bench.make("RIN-01", {})
    told = cells(compared(bench, "RIN-01"))
    assert told[PREDICTED][0].startswith("NOT COMPUTED: ") and len(told[PREDICTED][0]) > 20
    assert told[MEASURED] == ("– (no reading of the undiluted product that counts)",)
    assert told[UNIONISED] == told[CHARGE] == ("– (no pH)",)


def test_a_comparison_of_viscosities_alone_still_knows_the_measured_ph(tmp_path):
    bench = Bench(tmp_path / "a.labbook")
    batch = bench.make("RIN-01", {24: "4.50"})
    bench.book.add_instrument("VIS-1", kind="viscometer", constants={"disc 5": 4000})
    batch.read_viscosity(
        "19000 mPa.s", torque_pct=47.5, rpm=10, spindle="disc 5", instrument="VIS-1", temp="25 degC", method="viscosity"
    )
    comparison = compared(bench, "RIN-01", properties=["viscosity"])
    assert {result.property for result in comparison.results} == {"viscosity"}
    assert cells(comparison)[MEASURED][0].startswith("4.50 at 24 h")


def test_no_verdict_and_no_difference_rests_on_a_prediction(tmp_path):
    """Results with predictions a whole unit elsewhere are the same, number for number."""
    bench = Bench(tmp_path / "a.labbook")
    bench.make("RIN-01", {24: "4.50"})
    bench.formula = bench.formula.change({"citric-acid": "0.30 %"}, why="more")
    bench.make("RIN-02", {24: "4.30"})
    comparison = compared(bench, "RIN-01", "RIN-02")
    moved = replace(comparison)
    for found in moved.phs.values():
        object.__setattr__(found, "settled", replace(found.settled, value=found.settled.value + 1))
    assert str(moved.results_table()) == str(comparison.results_table())
    assert str(moved.verdicts_table()) == str(comparison.verdicts_table())
    assert cells(moved)[PREDICTED] != cells(comparison)[PREDICTED]
