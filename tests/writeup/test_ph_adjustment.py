"""How much acid or base: doses, one drop, a titrated sample brought to the batch, refusals in words.

Referees: a charge balance with Davies coefficients written here and solved by `scipy.optimize.brentq`; arithmetic
worked by hand beside the checks; the plain `papermill` command; two runs against each other.
"""

from __future__ import annotations

import json
import math
import re
import subprocess
import sys
from decimal import Decimal
from pathlib import Path

import pytest
from scipy.optimize import brentq

import kit
from kit.cli import main
from kit.errors import KitError
from kit.labbook.snapshot import freeze
from kit.sources import read_data
from kit.writeup import run
from kit.writeup.canonical import canonical_text
from kit.writeup.ph_report import PhReport
from kit.writeup.ph_report_sample import read_sample, sample_block

ROOT = Path(kit.__file__).parents[1]
CITRIC, HYDROXIDE = "Citric Acid (10 % solution)", "Sodium Hydroxide (10 % solution)"
BUFFERED = """
name = "Buffered water (invented)"
version = "1"
product = "rinse-off hair"
[[phase]]
name = "A"
kind = "water"
line = [
  {material = "water-deionised", qs = true},
  {material = "glycerin", pct = "10.00"},
  {material = "citric-acid", pct = "0.20"},
  {material = "sodium-benzoate", pct = "0.40"},
]
"""


@pytest.fixture(scope="module")
def buffered(tmp_path_factory):
    path = tmp_path_factory.mktemp("buffered") / "buffered.toml"
    path.write_text(BUFFERED, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def report(demo, buffered):
    """100 g of the buffered water, read as 4.10, to be brought to 4.60 or to 3.80 by citric acid or hydroxide."""
    return PhReport(
        demo.labbook, formula_file=str(buffered), target=4.6, measured=4.1, size="400 g",
        stocks=["citric acid 10 %", "sodium hydroxide 10 %"],
    )  # fmt: skip


# ---------------------------------------------------------------- the referee: a charge balance of its own

PKA_CITRIC, PKA_BENZOIC = (3.128, 4.761, 6.396), (4.202,)
CITRIC_MOLAR, BENZOATE_MOLAR, HYDROXIDE_MOLAR = 192.124, 144.103, 39.997  # g/mol, from the atomic masses


def mean_charge(h: float, pka: tuple[float, ...], gamma) -> tuple[float, float]:
    """Mean negative charge of an acid, and the mean square of it; `gamma(z)` is an activity coefficient."""
    terms, k = [1.0], 1.0
    for step, value in enumerate(pka, start=1):
        k *= 10**-value
        terms.append(k / h**step / gamma(step))
    total = sum(terms)
    return (
        sum(z * term for z, term in enumerate(terms)) / total,
        sum(z * z * term for z, term in enumerate(terms)) / total,
    )


def referee(citric: float, benzoate: float, strong: float, ph: float) -> float:
    """Charge left over at a pH, concentrations in mol/kg water, strong ions positive as sodium. [mol/kg]"""
    h, strength = 10**-ph, 0.03
    for _ in range(60):
        root = math.sqrt(strength)

        def gamma(z: int, root: float = root, strength: float = strength) -> float:
            return 10 ** (-0.509 * z * z * (root / (1 + root) - 0.3 * strength))

        citrate, citrate2 = mean_charge(h, PKA_CITRIC, gamma)
        benzoic, benzoic2 = mean_charge(h, PKA_BENZOIC, gamma)
        proton, hydroxide = h / gamma(1), 1e-14 / h / gamma(1)
        strength = 0.5 * (citric * citrate2 + benzoate * benzoic2 + abs(strong) + proton + hydroxide)
    return strong + proton - hydroxide - citric * citrate - benzoate * benzoic


def dose_by_referee(start: float, target: float, citric_g: float, alkali_g: float) -> float:
    """Grams of a stock solution that brings 400 g of the buffered water from a measured pH to the target.

    Water of the 400 g: 89.40 % = 357.6 g. Citric acid 0.80 g = 4.164 mmol; benzoate 1.60 g = 11.103 mmol. The strong
    ions are what makes the start the measured pH.
    """
    water, citric, benzoate = 0.3576, 0.80 / CITRIC_MOLAR, 1.60 / BENZOATE_MOLAR
    strong = brentq(lambda ions: referee(citric / water, benzoate / water, ions, start), -0.2, 0.2) * water

    def left(dose: float) -> float:
        wet = water + dose * (1 - citric_g - alkali_g) / 1000
        acid = citric + dose * citric_g / CITRIC_MOLAR
        return referee(acid / wet, benzoate / wet, (strong + dose * alkali_g / HYDROXIDE_MOLAR) / wet, target)

    return brentq(left, 0, 60)


def row(table, name: str) -> dict[str, str]:
    (found,) = [one for one in table.rows if str(one[0]) == name]
    return dict(zip(table.columns, map(str, found), strict=True))


# ---------------------------------------------------------------- doses


def test_the_dose_of_base_is_that_of_an_independent_charge_balance(report):
    wanted = dose_by_referee(4.1, 4.6, 0.0, 0.1)
    told = row(report.doses().parts[0], HYDROXIDE)
    assert wanted == pytest.approx(1.9, abs=1.0)  # it is a dose of grams, not of nothing
    assert float(told["g to the batch"]) == pytest.approx(wanted, abs=0.02)
    assert float(told["g per 100 g"]) == pytest.approx(wanted / 4, abs=0.005)
    assert float(told["first 70 %, g"]) == pytest.approx(0.7 * wanted, abs=0.015)
    assert float(told["water it brings, g"]) == pytest.approx(0.9 * wanted, abs=0.02)
    assert told["pH after all"] == "4.60" and 4.1 < float(told["pH after that"]) < 4.6


def test_the_dose_of_acid_is_that_of_an_independent_charge_balance(demo, buffered):
    found = PhReport(
        demo.labbook, formula_file=str(buffered), target=3.8, measured=4.1, size="400 g", stocks=["citric acid 10 %"]
    )
    wanted = dose_by_referee(4.1, 3.8, 0.1, 0.0)
    assert wanted > 1
    assert float(row(found.doses().parts[0], CITRIC)["g to the batch"]) == pytest.approx(wanted, rel=0.005)


def test_a_stock_that_leads_away_says_so_and_has_no_dose(report):
    block = report.doses()
    assert row(block.parts[0], CITRIC)["g to the batch"] == "none"
    assert f"{CITRIC} lowers the pH, and the target 4.60 lies above" in str(block)


def test_one_drop_is_that_of_an_independent_charge_balance(report):
    """0.05 g of 10 % hydroxide are 0.125 mmol to 400 g."""
    water, citric, benzoate = 0.3576, 0.80 / CITRIC_MOLAR, 1.60 / BENZOATE_MOLAR
    strong = brentq(lambda ions: referee(citric / water, benzoate / water, ions, 4.1), -0.2, 0.2) * water
    wet = water + 0.045 / 1000
    after = brentq(lambda ph: referee(citric / wet, benzoate / wet, (strong + 0.005 / HYDROXIDE_MOLAR) / wet, ph), 3, 6)
    now = row(report.steepness(), "now")
    told = float(now[f"0.05 g of {HYDROXIDE}"].replace("−", "-"))
    assert 0.01 < after - 4.1 < 0.1
    assert told == pytest.approx(after - 4.1, abs=0.0051)
    assert now[f"0.05 g of {CITRIC}"].startswith("−")


def test_a_batch_at_its_target_is_left_alone(demo, buffered):
    given = {"formula_file": str(buffered), "stocks": ["citric acid 10 %"], "size": "400 g"}
    near = PhReport(demo.labbook, target=4.0, measured=4.09, **given)
    assert "within 0.1 of the target: leave it as it is" in str(near.doses())
    far = PhReport(demo.labbook, target=4.0, measured=4.3, **given)
    assert "leave it as it is" not in str(far.doses())


@pytest.mark.parametrize(("target", "told"), [(4.2, True), (4.3, False), (4.9, False), (5.0, True)])
def test_a_target_outside_the_spec_is_said(demo, target, told):
    """The linden study judges pH by 4.3 to 4.9, ends included."""
    found = PhReport(demo.labbook, trial="LIN-03", target=target, stocks=["citric acid 10 %"], size="400 g")
    assert ("lies outside the spec, pH 4.3 to 4.9" in str(found.doses())) is told


def test_a_prediction_about_the_target_asks_for_a_reading_first(demo, buffered):
    given = {"formula_file": str(buffered), "stocks": ["citric acid 10 %"], "size": "400 g"}
    found = PhReport(demo.labbook, target=4.0, **given).prediction
    inside = PhReport(demo.labbook, target=float(found.value), **given)
    outside = PhReport(demo.labbook, target=float(found.low) - 0.5, **given)
    assert "read the pH first" in str(inside.doses())
    assert "read the pH first" not in str(outside.doses())


def test_readings_of_the_lab_teach_the_prediction(demo):
    """LIN-07/1 was read as 4.58 at 24 h; LIN-04/1 and LIN-06/1 as 4.60 and 4.58."""
    given = {"batch": "LIN-07/1", "stocks": ["citric acid 10 %"], "size": "400 g"}
    before = PhReport(demo.labbook, **given).prediction
    report = PhReport(demo.labbook, **given, learn_from=["LIN-04", "LIN-06"])
    after = report.prediction
    assert after.low <= Decimal("4.58") <= after.high
    assert after.high - after.low < Decimal("0.7") * (before.high - before.low)
    assert after.value > before.value  # both were read above what is predicted untaught
    assert "LIN-06/1, reading at 24 h: pH 4.58" in str(report.predicted())


def test_going_too_far_and_back_leaves_salt_and_water(report):
    (table,) = report.overshoot().parts
    below, above = table.rows
    assert (below[0], above[0]) == ("4.40", "4.80")
    assert CITRIC in below[1] and HYDROXIDE in below[2]
    assert HYDROXIDE in above[1] and CITRIC in above[2]
    assert all(one[4].startswith("+") and float(one[4]) > 0.1 and float(one[3]) > 0.1 for one in table.rows)


def test_the_curve_starts_at_the_measured_ph_and_passes_the_target_at_the_dose(report):
    figure = report.curve()
    named = {one["name"]: one for one in figure.traces}
    assert (named["now 4.10 (measured)"]["x"], named["now 4.10 (measured)"]["y"]) == (
        [0.0],
        [pytest.approx(4.1, abs=1e-6)],
    )
    assert named["whole dose to the target 4.60"]["x"][0] == pytest.approx(dose_by_referee(4.1, 4.6, 0, 0.1), abs=0.02)
    assert named[CITRIC]["y"][-1] < 4.1 < named[HYDROXIDE]["y"][-1]


# ---------------------------------------------------------------- a sample titrated at the bench

PAIRS = ["0 g: 5.60", "0.10 g = 5.20", "0,20 g 4.90", [0.40, 4.50]]


def test_doses_to_a_sample_are_brought_to_the_batch():
    """400 g are 20 times 20 g. 4.60 lies 3/4 of the way from 4.90 (0.20 g) to 4.50 (0.40 g): 0.35 g, so 7.00 g."""
    sample = read_sample("20 g", CITRIC, PAIRS)
    assert sample.scaled(Decimal(400)) == ((0.0, 5.6), (2.0, 5.2), (4.0, 4.9), (8.0, 4.5))
    assert sample.dose_g(Decimal("4.6")) == Decimal("0.35")
    block = sample_block(sample, Decimal(400), Decimal("4.6"))
    assert "7.00 g of Citric Acid (10 % solution) to the batch lead to 4.60" in str(block)
    assert [one[2] for one in block.parts[0].rows] == ["0.00", "2.00", "4.00", "8.00"]
    # −0.40 over 2.00 g, −0.30 over 2.00 g, −0.40 over 4.00 g to the batch.
    assert [one[3] for one in block.parts[0].rows] == ["–", "−0.20", "−0.15", "−0.10"]
    assert "take 0.950 of each dose" in block.parts[0].note  # 380 g of 400 g are left


def test_nothing_is_drawn_out_beyond_the_readings():
    sample = read_sample("20 g", CITRIC, PAIRS)
    assert sample.dose_g(Decimal("4.4")) is None
    assert "do not reach the target 4.40" in str(sample_block(sample, Decimal(400), Decimal("4.4")))


@pytest.mark.parametrize(
    ("sample", "pairs"),
    [
        ("", PAIRS),
        ("20 g", ["0.10 g: 5.20"]),
        ("20 g", ["0.10 g: 5.20", "0.10 g: 5.10"]),
        ("20 g", ["0.10: 5.20", "0.20: 5.10"]),
        ("20 g", ["0.10 g: 5.20", "a drop: 5.10"]),
        ("20 g", ["0.10 g: 5.20", "0.20 g: 51.0"]),
        ("0 g", PAIRS),
    ],
)
def test_a_sample_that_cannot_be_read_is_refused(sample, pairs):
    with pytest.raises(KitError) as caught:
        read_sample(sample, CITRIC, pairs)
    assert caught.value.code == "ph.sample"


# ---------------------------------------------------------------- the page


@pytest.fixture(scope="module")
def chamomile(demo, page, tmp_path_factory):
    """The page of an amidoamine formula, as the command writes it."""
    to = tmp_path_factory.mktemp("chamomile")
    formula = ROOT / "kit" / "demo" / "formulas" / "chamomile.toml"
    given = (
        f"formula_file={formula}", "size=400 g", "measured=4.95", "target=4.6", "sample=20 g",
        "sample_titration=0 g: 4.95,0.05 g: 4.86,0.10 g: 4.78",
    )  # fmt: skip
    pairs = [part for text in given for part in ("--set", text)]
    assert main(["run", "ph_adjustment", "--source", str(demo.labbook), *pairs, "--to", str(to), "--name", "page"]) == 0
    return page.read(to / "page.html")


def test_the_page_shows_what_it_is_about(chamomile):
    told = {one[0]: one[1] for one in chamomile.table("What this is about")[1:]}
    assert told["mass in the vessel"] == "400 g (as given)"
    assert told["pH now"] == "4.95, measured (as given)"
    assert told["stock solutions"] == f"{CITRIC}, {HYDROXIDE}"
    assert told["spec"].startswith("pH ")


def test_the_target_is_the_middle_of_the_spec(demo):
    """The linden study judges pH by 4.3 to 4.9: the middle is 4.6."""
    found = PhReport(demo.labbook, trial="LIN-03", stocks=["citric acid 10 %"], size="400 g")
    assert found.target == Decimal("4.6")


def test_the_page_has_its_figures_with_their_numbers(chamomile):
    for title in ("How much acid or base, and what does one drop do?", "How much is un-ionised at this pH?"):
        assert f". {title}" in chamomile.text
    assert chamomile.source.count('class="numbers"') == len(chamomile.figures) == 3
    (bench,) = [one for one in chamomile.figures[0]["data"] if one["name"] == "read at the bench"]
    assert bench["x"] == pytest.approx([0.0, 1.0, 2.0])  # 400 g / 20 g = 20 times the dose to the sample
    (label,) = re.findall(r'id="fig-1" role="img" aria-label="([^"]*)"', chamomile.source)
    assert label.startswith("pH 4.95 now (measured); one drop (0.05 g) of Citric Acid")


def test_the_amine_and_its_cliff_are_there(chamomile):
    (rows,) = [rows for title, rows in chamomile.tables.items() if title.startswith("Neutralisation of Stearamido")]
    low, as_stated, high = rows[1:]
    # More amine for the same acid: less of it is neutralised, and the pH is higher.
    assert float(low[2]) > float(as_stated[2]) > float(high[2])
    assert float(low[3]) < float(as_stated[3]) < float(high[3])


def test_constants_from_memory_show_as_such_beside_doses_curves_and_forms(chamomile):
    """The chelator's four constants and that of dehydroacetic acid are from memory; benzoic acid's is not."""
    chelator, acid = "Tetrasodium Glutamate Diacetate, pKa 2.6, 3.5, 5.0, 9.4", "Dehydroacetic Acid"
    told = re.findall(r"Figure [123]\. .*?(?=Numbers of figure [123])", chamomile.text, re.DOTALL)
    assert len(told) == 3
    assert f"memory: {chelator}; {acid}, pKa 5.27" in told[0]
    assert f"From memory, to be checked: pKa of {acid} 5.27." in told[1]
    assert f"From memory, to be checked: pKa of {acid} 5.27." in told[2]
    doses = chamomile.text[chamomile.text.index("Dose to pH") :][:2500]
    assert f"rests on constants from memory: {chelator}" in doses and "Benzoate" not in doses


def test_a_fresh_reading_is_held_against_the_prediction_of_its_age(demo):
    """CHA-02: 5.86 fresh and 5.20 after 7 d by itself, with concentrated lactic acid."""
    formula = str(ROOT / "kit" / "demo" / "formulas" / "chamomile.toml")
    asked = {"formula_file": formula, "measured": 4.96, "target": 4.5, "stocks": ["lactic acid 10 %"]}
    settled, fresh = (PhReport(demo.labbook, **asked, measured_age=age) for age in ("", "1 h"))
    assert 0.2 < float(fresh.prediction.value - settled.prediction.value) < 0.6
    assert "at an age of 1 h" in str(fresh.identity())
    assert "OUTSIDE" in str(settled.predicted()) and "OUTSIDE" not in str(fresh.predicted())
    assert "give its age" in str(settled.doses()) and "by itself" in str(fresh.doses())
    with pytest.raises(KitError) as problem:
        PhReport(demo.labbook, **{**asked, "measured": None}, measured_age="1 h")
    assert problem.value.code == "ph.measured"


def test_it_is_never_a_pass_and_cautions_are_printed(chamomile):
    known = read_data("cautions.toml")["cautions"]
    assert "No computed number replaces a challenge test." in chamomile.text
    assert not re.search(r"\b(?:PASS|pass(?:es|ed)?|compliant)\b", chamomile.text.replace("passes the target", ""))
    for key in ("corrosive", "alkali", "acid", "eyes", "preservation"):
        assert known[key]["text"] in chamomile.text, key
    first = [one[0] for one in chamomile.table("Cautions for whoever adjusts")[1:]]
    assert first[0] == "Corrosive"


@pytest.mark.browser
def test_axe_finds_nothing_serious(chamomile, chromium, tmp_path):
    sync_api = pytest.importorskip("playwright.sync_api")
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    path = tmp_path / "page.html"
    path.write_text(chamomile.source, encoding="utf-8")
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
        opened = browser.new_page(viewport={"width": 390, "height": 900})
        opened.goto(path.as_uri())
        opened.wait_for_selector('body[data-ready="true"]')
        found = axe.Axe().run(opened).response
        wide = opened.evaluate("document.documentElement.scrollWidth")
        browser.close()
    assert len(found["passes"]) > 10  # it did look
    assert [one["id"] for one in found["violations"] if one["impact"] in {"serious", "critical"}] == []
    assert wide <= 390


def test_no_path_of_this_machine_is_on_the_page(chamomile):
    assert str(ROOT) not in chamomile.source


# ---------------------------------------------------------------- however it is run


def outputs(notebook: Path) -> list[dict]:
    cells = json.loads(notebook.read_text(encoding="utf-8"))["cells"]
    found = [output["data"] for cell in cells for output in cell.get("outputs", ())]
    return [{kind: "".join(text) if isinstance(text, list) else text for kind, text in one.items()} for one in found]


@pytest.mark.slow
def test_papermill_the_runner_and_the_command_give_the_same_outputs(demo, tmp_path):
    out = tmp_path / "plain.ipynb"
    command = [sys.executable, "-m", "papermill", str(ROOT / "templates" / "ph_adjustment.ipynb"), str(out)]
    given = ["-p", "source", str(demo.labbook), "-p", "batch", "LIN-03/1"]
    done = subprocess.run([*command, *given], cwd=tmp_path, capture_output=True, text=True, timeout=300, check=False)
    assert done.returncode == 0, done.stderr[-2000:]
    arguments = ["run", "ph_adjustment", "--source", str(demo.labbook), "--set", "batch=LIN-03/1"]
    assert main([*arguments, "--to", str(tmp_path), "--name", "page"]) == 0
    assert outputs(out) == outputs(tmp_path / "page.ipynb")
    assert len(outputs(out)) >= 12
    (tmp_path / "page.snapshot.json").rename(tmp_path / "snapshot.json")
    again = kit.run_template("ph_adjustment", {"source": "snapshot.json", "batch": "LIN-03/1"}, workdir=tmp_path)
    assert canonical_text(again.notebook) == (tmp_path / "page.ipynb").read_text(encoding="utf-8")


def test_a_snapshot_tells_what_the_lab_book_tells(demo, tmp_path):
    snapshot = tmp_path / "linden.json"
    with kit.open_source(demo.labbook) as source:
        snapshot.write_text(json.dumps(freeze(source, ["LIN-03"])), encoding="utf-8")
    told = [PhReport(source, batch="LIN-03/1", stocks=["citric acid 10 %"]) for source in (demo.labbook, str(snapshot))]
    assert str(told[0].identity()) == str(told[1].identity())
    assert str(told[0].doses()) == str(told[1].doses())


def test_a_batch_starts_from_its_last_reading_that_counts(demo):
    """LIN-03/1 was read as 4.59, 4.60 and 4.60 at 7 d."""
    found = PhReport(demo.labbook, batch="LIN-03/1", stocks=["citric acid 10 %"])
    assert found.subject.measured_ph == Decimal("4.60")
    assert found.now_how == "measured" and "as made" in found.subject.title


def test_wrong_parameters_are_refused_before_a_kernel_starts(demo, monkeypatch):
    def started(*_args, **_kwargs):
        raise AssertionError("a kernel was started")

    monkeypatch.setattr(run, "KernelProcess", started)
    for parameters, code in (
        ({"target": "4.6"}, "template.parameter_type"),
        ({"stocks": "citric acid 10 %"}, "template.parameter_type"),
        ({"sample_titration": [[0.1, 5.2]]}, "template.parameter_type"),
        ({"measured": float("nan")}, "template.parameter_type"),
        ({"goal": 4.6}, "template.parameter_unknown"),
    ):
        with pytest.raises(KitError) as caught:
            kit.run_template("ph_adjustment", {"source": str(demo.labbook), "trial": "LIN-03", **parameters})
        assert caught.value.code == code


@pytest.mark.parametrize(
    ("given", "code"),
    [
        ({}, "ph.nothing"),
        ({"trial": "LIN-03", "batch": "LIN-04/1"}, "ph.two_subjects"),
        ({"trial": "LIN-33"}, "labbook.trial"),
        ({"batch": "LIN-03/9"}, "labbook.batch"),
        ({"trial": "LIN-03", "target": 15}, "ph.target"),
        ({"trial": "LIN-03", "measured": -1.0}, "ph.measured"),
        ({"trial": "LIN-03", "size": "400"}, "units.missing"),
        ({"trial": "LIN-03", "size": "0 g"}, "ph.size"),
        ({"trial": "LIN-03", "stocks": []}, "ph.no_stock"),
        ({"trial": "LIN-03", "stocks": ["glycerin"]}, "ph.stock"),
        ({"trial": "LIN-03", "stocks": ["unobtainium 10 %"]}, "material.unknown"),
        ({"trial": "LIN-03", "sample_titration": ["0 g: 5.6", "0.1 g: 5.4"]}, "ph.sample"),
    ],
)
def test_what_is_asked_for_wrongly_is_refused_in_words(demo, given, code):
    with pytest.raises(KitError) as caught:
        report = PhReport(demo.labbook, **{"stocks": ["citric acid 10 %"], **given})
        report.doses()
    assert caught.value.code == code
    assert "\n" not in str(caught.value)


def test_without_a_spec_a_target_must_be_named(demo, buffered):
    with pytest.raises(KitError) as caught:
        PhReport(demo.labbook, formula_file=str(buffered), stocks=["citric acid 10 %"])
    assert caught.value.code == "ph.target"
