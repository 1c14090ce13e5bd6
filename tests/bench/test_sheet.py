"""The batch sheet: size, targets, balances, the smallest weight, findings and what is refused."""

import json
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.bench.balances import Balance, read_balances
from kit.bench.batch_size import batch_mass_g
from kit.bench.sheet import Sheet, plan_batch
from kit.errors import BatchError, UnitError
from kit.formula.files import read_formula
from kit.sources import read_data

D = Decimal


def test_four_hundred_grams_by_hand(linden, targets_g):
    sheet = plan_batch(linden, "400 g", balances=["0.01 g"])
    assert {line.material.key: line.target_g for line in sheet.lines} == targets_g
    assert sheet.batch_g == 400
    assert all(line.rounding_pp == 0 for line in sheet.lines)


def test_batch_from_packs_by_hand():
    # 24 x 250 mL x 0.975 g/mL = 5850 g; + 200 g samples + 720 g stability jars = 6770 g; / (1 - 0.04) = 7052.083 g,
    # taken up to the next 0.1 g so that the last pack is full.
    assert batch_mass_g(packs=24, fill="250 mL", density="0.975 g/mL", samples=["200 g", "720 g"], loss="4 %") == D(
        "7052.1"
    )
    # By mass no density is needed: 10 x 0.2 kg = 2000 g.
    assert batch_mass_g(packs=10, fill="0.2 kg") == 2000
    # One pack, nothing lost and no sample: its fill. A loss of 49.9 %: 250 / 0.501 = 499.002, up to 499.1 g.
    assert batch_mass_g(packs=1, fill="250 g", samples="0 g", loss="0 %") == 250
    assert batch_mass_g(packs=1, fill="250 g", loss="49.9 %") == D("499.1")


def test_a_five_percent_line_of_the_large_batch(linden):
    # 5.00 % of 7052.1 g = 352.605 g; a 0.01 g balance shows 352.60 (half to even).
    sheet = plan_batch(linden, packs=24, fill="250 mL", density="0.975 g/mL", samples="920 g", loss="4 %")
    assert sheet.target("cetearyl-alcohol") == D("352.60")


@pytest.mark.parametrize(
    ("size", "code"),
    [
        ({}, "batch.size"),
        ({"batch": "0 g"}, "batch.size"),
        ({"batch": "-5 g"}, "batch.size"),
        ({"packs": 3}, "batch.size"),
        ({"batch": "400 g", "loss": "4 %"}, "batch.size"),
        ({"packs": 0, "fill": "1 g"}, "batch.size"),
        ({"packs": "2.5", "fill": "1 g"}, "batch.size"),
        ({"packs": 3, "fill": "250 mL"}, "batch.density"),
        ({"packs": 3, "fill": "250 g", "loss": "100 %"}, "batch.loss"),
        ({"packs": 3, "fill": "250 g", "loss": "-1 %"}, "batch.loss"),
        ({"packs": 3, "fill": "250 g", "loss": "50 %"}, "batch.loss"),
        ({"packs": 3, "fill": "250 g", "samples": ["10 g", "-1 g"]}, "batch.size"),
    ],
)
def test_sizes_that_are_refused(size, code):
    with pytest.raises(BatchError) as caught:
        batch_mass_g(size.pop("batch", None), **size)
    assert caught.value.code == code


@pytest.mark.parametrize(
    ("size", "code"), [("400", "units.missing"), ("400 mL", "units.wrong_kind"), ("1,234 g", "units.ambiguous_comma")]
)
def test_sizes_that_cannot_be_read(linden, size, code):
    with pytest.raises(UnitError) as caught:
        plan_batch(linden, size)
    assert caught.value.code == code


def test_one_grouped_finding_for_the_lines_no_balance_can_weigh(linden):
    # On 0.01 g: s = 0.41 x 0.01 = 0.0041 g, 2 s / 1 % = 0.82 g. Of the fifteen lines five are below it: 0.80, 0.40,
    # 0.20, 0.40 and 0.80 g.
    sheet = plan_batch(linden, "400 g", balances=["0.01 g"])
    assert [finding.code for finding in sheet.findings] == ["weighing.below_smallest"]
    small = {"hydroxyethylcellulose", "disodium-edta", "citric-acid", "ethylhexylglycerin", "sodium-benzoate"}
    assert set(sheet.findings[0].materials) == small
    assert "0.82 g" in sheet.findings[0].words
    assert {line.material.key for line in sheet.lines if line.tolerance_g is None} == small
    assert str(sheet).count("cannot be weighed to 1 %") == 6  # five lines and the finding


def test_tolerances_are_one_percent_and_half_for_preservatives(linden):
    sheet = plan_batch(linden, "400 g", balances=["0.01 g"])
    assert sheet.line("cetearyl-alcohol").tolerance_g == D("0.20")  # 1 % of 20.00 g
    assert sheet.line("phenoxyethanol").tolerance_g == D("0.016")  # 0.5 % of 3.20 g


def test_the_coarsest_balance_that_will_do(linden):
    # 0.1 g: 8.2 g to 1 %; 0.01 g: 0.82 g (0.5 %: 1.64 g); 0.001 g: 0.082 g (0.5 %: 0.164 g).
    sheet = plan_batch(linden, "400 g", balances=["0.001 g", "0.1 g", "0.01 g"])
    divisions = {line.material.key: line.balance.division_g for line in sheet.lines}
    assert divisions["cetearyl-alcohol"] == D("0.1")  # 20.00 g
    assert divisions["panthenol-75"] == D("0.01")  # 2.80 g
    assert divisions["phenoxyethanol"] == D("0.01")  # 3.20 g at 0.5 %
    assert divisions["sodium-benzoate"] == D("0.001")  # 0.80 g at 0.5 %
    assert divisions["citric-acid"] == D("0.001")  # 0.20 g at 0.5 %
    assert sheet.findings == ()


def test_a_line_between_half_and_one_percent_gets_the_balance_limit(linden):
    # A 600 g batch: sodium benzoate 1.20 g lies between 0.82 g (1 %) and 1.64 g (0.5 %): one step, as 2 s = 0.0082 g.
    line = plan_batch(linden, "600 g", balances=["0.01 g"]).line("sodium-benzoate")
    assert line.target_g == D("1.20")
    assert line.tolerance_g == D("0.01")


def test_the_smallest_weight_itself_can_be_weighed(linden):
    # 410 g: hydroxyethylcellulose 0.82 g, the smallest weight on 0.01 g; 1 % of it, 0.0082 g, is less than the step.
    sheet = plan_batch(linden, "410 g", balances=["0.1 g", "0.01 g"])
    assert sheet.line("hydroxyethylcellulose").tolerance_g == D("0.01")
    # 820 g: 8.20 g of panthenol would be 1.0 %; 1640 g of water, 8.2 g of cetyl esters: the smallest on 0.1 g.
    coarse = plan_batch(linden, "1640 g", balances=["0.1 g", "0.01 g"])
    assert coarse.line("cetyl-esters").balance.division_g == D("0.1")
    finer = plan_batch(linden, "1639 g", balances=["0.1 g", "0.01 g"])
    assert finer.line("cetyl-esters").balance.division_g == D("0.01")


def test_one_line_alone_is_said_in_the_singular(linden):
    # 300 g on 0.001 g (0.082 g): everything above; on 0.005 g (0.41 g): citric acid 0.15, EDTA 0.30 and
    # ethylhexylglycerin 0.30 g below; at 500 g only citric acid, 0.25 g.
    words = plan_batch(linden, "500 g", balances=["0.005 g"]).findings[0].words
    assert words.startswith("1 line cannot be weighed to 1 %: Citric Acid (anhydrous) 0.250 g. The smallest weight")
    assert plan_batch(linden, "300 g", balances=["0.001 g"]).findings == ()


def test_a_line_of_zero_percent_is_no_finding(library, linden_text):
    text = linden_text.replace('material = "parfum", pct = "0.40"', 'material = "parfum", pct = "0.00"')
    sheet = plan_batch(read_formula(text, library), "400 g")
    assert sheet.target("parfum") == 0
    assert "parfum" not in sheet.findings[0].materials
    assert sheet.line("parfum").tolerance_words() == "–"


def test_lines_of_one_material_in_a_phase_are_one_line(library, linden_text):
    text = linden_text.replace(
        '{ material = "water-deionised", qs = true }',
        '{ material = "water-deionised", pct = "10" }, { material = "water-deionised", qs = true }',
    )
    sheet = plan_batch(read_formula(text, library), "400 g")
    assert sheet.target("water-deionised") == D("331.80")


def test_the_printed_sheet(linden):
    sheet = plan_batch(linden, "400 g")
    total = next(line for line in sheet.table().text().splitlines() if " total " in line)
    assert total.split() == ["total", "100.00", "400.00"]
    assert "± 0.20" in sheet.table().text()  # as many digits as the balance shows
    assert sheet.steps_table().text().splitlines()[3].split()[:7] == ["1", "combine", "A", "78,", "B", "80", "6500"]


def test_measured_repeatability_counts_where_it_is_worse(linden):
    # s = 0.03 g: smallest weight 2 x 0.03 / 1 % = 6 g.
    sheet = plan_batch(linden, "400 g", balances=[("BAL-1", "0.01 g", "0.03 g")])
    assert sheet.line("cetyl-esters").tolerance_g is None
    assert sheet.line("behentrimonium-chloride-80").tolerance_g == D("0.10")
    assert "BAL-1" in str(sheet)


def test_rounding_is_shown_in_percentage_points(linden):
    # 50 g on a 0.1 g balance: 0.05 % is 0.025 g, shown as 0.0; cetyl esters 0.25 g becomes 0.2 g (half to even).
    sheet = plan_batch(linden, "50 g", balances=["0.1 g"])
    assert sheet.target("cetyl-esters") == D("0.2")
    assert sheet.target("citric-acid") == D("0.0")
    assert sum(line.planned_pct for line in sheet.lines) == 100
    total = sum(line.target_g for line in sheet.lines)
    line = sheet.line("cetyl-esters")
    assert abs(line.planned_pct - 100 * D("0.2") / total) < D("0.0001")
    assert line.rounding_pp == line.planned_pct - D("0.50") < 0
    assert "Largest rounding" in str(sheet)


@settings(deadline=None)
@given(
    st.decimals(min_value="20", max_value="20000", places=1), st.sampled_from(["0.001 g", "0.01 g", "0.1 g", "0.05 g"])
)
def test_every_target_is_the_share_within_half_a_division(shelf, batch, division):
    sheet = plan_batch(shelf.linden, f"{batch} g", balances=[division])
    half = D(division.split()[0]) / 2
    for line in sheet.lines:
        assert abs(Fraction(line.target_g) - Fraction(batch) * Fraction(line.pct) / 100) <= Fraction(half)
        assert line.target_g % line.balance.division_g == 0
    assert sum(line.planned_pct for line in sheet.lines) == 100


@pytest.mark.parametrize(
    ("change", "code"),
    [
        (("qs = true", 'pct = "82.75"'), "formula.total"),  # 99.8 %
        (('{ material = "glycerin", pct = "3.00" }', '{ material = "glycerin", qs = true }'), "formula.qs_two"),
        (('pct = "5.00"', 'pct = "95.00"'), "formula.negative_water"),
    ],
)
def test_a_formula_that_does_not_balance_is_refused(library, linden_text, change, code):
    with pytest.raises(BatchError) as caught:
        plan_batch(read_formula(linden_text.replace(*change, 1), library), "400 g")
    assert caught.value.code == "batch.formula_stop"
    assert code in str(caught.value)


def test_lines_are_found_by_name_and_refused_in_words(linden):
    sheet = plan_batch(linden, "400 g")
    assert sheet.target("glycerine") == D("12.00")  # an alias
    with pytest.raises(BatchError) as caught:
        sheet.target("xanthan-gum")
    assert caught.value.code == "batch.line_unknown"
    assert "not on the sheet." in str(caught.value)
    with pytest.raises(BatchError) as caught:
        sheet.target("glycerin", phase="B")
    assert caught.value.code == "batch.line_unknown"
    assert "not on the sheet in phase B" in str(caught.value)


def test_a_material_in_two_phases_must_be_told_apart(library, linden_text):
    text = linden_text.replace(
        '{ material = "parfum", pct = "0.40" }',
        '{ material = "parfum", pct = "0.40" }, { material = "glycerin", pct = "1.00" }',
    )
    sheet = plan_batch(read_formula(text, library), "400 g")
    with pytest.raises(BatchError) as caught:
        sheet.target("glycerin")
    assert caught.value.code == "batch.line_ambiguous"
    assert 'phase="A"' in caught.value.mend
    assert sheet.target("glycerin", phase="C") == D("4.00")


def test_the_row_is_plain_text_and_comes_back_equal(linden):
    sheet = plan_batch(linden, "400 g", balances=[("BAL-1", "0.01 g", "0.005 g"), "0.001 g"])
    row = json.loads(json.dumps(sheet.row()))
    assert Sheet.from_row(row, linden) == sheet
    with pytest.raises(BatchError) as caught:
        Sheet.from_row(row, linden.change({"glycerin": "4 %"}))
    assert caught.value.code == "batch.sheet_formula"


def test_cautions_of_the_materials_and_those_that_always_stand(linden):
    sheet = plan_batch(linden, "400 g")
    always = {key for key, row in read_data("cautions.toml")["cautions"].items() if row["always"]}
    assert always <= set(sheet.cautions)
    assert {"eyes", "hot-wax"} <= set(sheet.cautions)  # behentrimonium chloride, cetearyl alcohol
    page = sheet._repr_html_()
    assert "challenge test" in page
    assert "6500" in page  # the steps


@pytest.mark.parametrize(
    ("balances", "code"),
    [
        ([], "weighing.balance"),
        (["0 g"], "weighing.balance"),
        ([5], "weighing.balance"),
        ([("BAL-1",)], "weighing.balance"),
        (["0.01"], "units.missing"),
    ],
)
def test_balances_that_are_refused(balances, code):
    with pytest.raises((BatchError, UnitError)) as caught:
        read_balances(balances)
    assert caught.value.code == code


def test_balances_as_rows():
    for balance in read_balances(["0.01 g", ("BAL-1", "10 mg", "0.02 g"), Balance("X", D("0.1"))]):
        assert Balance.from_row(balance.row()) == balance


def test_a_batch_below_what_the_balance_shows_is_refused(linden):
    with pytest.raises(BatchError) as caught:
        plan_batch(linden, "0.1 g", balances=["1 g"])
    assert caught.value.code == "batch.too_small"
