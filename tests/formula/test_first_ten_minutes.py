"""What a practitioner tries in the first ten minutes, as far as it concerns the formula: each gets its answer and code.

Arithmetic stands beside each row; the linden example is 82.95 / 3.00 / 0.20 / 0.10 / 0.05 | 5.00 / 2.50 / 2.50 / 0.50 |
0.70 / 1.00 / 0.80 / 0.10 / 0.20 / 0.40. Limits that are no law are common practice, no source.
"""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest

from kit.bench.sheet import plan_batch
from kit.errors import FormulaError, KitError
from kit.formula.lots import Lot
from kit.formula.prices import Price
from kit.formula.rules import review_formula, review_lots

WATER = '{ material = "water-deionised", qs = true }'
BTAC = '"behentrimonium-chloride-80", pct = "2.50"'
HEC = '"hydroxyethylcellulose", pct = "0.20"'
LACTIC = '"lactic-acid-88", pct = "0.70"'
EDTA_LINE = '{ material = "disodium-edta", pct = "0.10" },'
PARFUM = '"parfum", pct = "0.40"'
MORE_CTAC = f'{HEC} }},\n  {{ material = "cetrimonium-chloride-neat", pct = "2.00"'

# item, example, what is changed in its text, first code, severity, words of the answer
ANSWERS = [
    # 82.75 in place of 82.95 of water
    ("99.8 % formula", "linden", [(WATER, '{ material = "water-deionised", pct = "82.75" }')], "formula.total", "stop",
     ("99.80 %", "0.20 % too little")),
    ("two q.s. lines", "linden", [('"glycerin", pct = "3.00"', '"glycerin", qs = true')], "formula.qs_two", "stop",
     ("2 lines are q.s.", "Give all but one its percentage")),
    # 82.95 + 3.00 - 87.00 = -1.05
    ("negative water", "linden", [('"glycerin", pct = "3.00"', '"glycerin", pct = "87.00"')],
     "formula.negative_water", "stop", ("-1.05 %", "101.05 %")),
    # 6.00 x 0.75 = 4.50, and 2.00 of cetyl alcohol beside it
    ("a blend that hides cetearyl alcohol", "calendula", [], "network.blend_alcohol", "note", ("4.50 %", "6.50 %")),
    # pKa 4.202: 1 / (1 + 10^1.398) = 3.85 %
    ("benzoate at pH 5.6", "linden", [("high = 4.9", "high = 5.6")], "preservation.ph", "caution",
     ("At pH 5.6", "3.8 % un-ionised", "lower the pH")),
    # Regulation (EC) No 1223/2009 Annex III entry 287: 5.0 % as a sum; 2.00 + 3.50
    ("CTAC 2 with BTAC 3.5", "linden", [(BTAC, '"behentrimonium-chloride-neat", pct = "3.50"'), (HEC, MORE_CTAC)],
     "cap.quat_sum", "stop", ("5.50 % as the chloride", "limit of 5.0 %")),
    ("xanthan with a quat", "linden", [(HEC, '"xanthan-gum", pct = "0.30"')], "charge.anionic_polymer", "stop",
     ("Xanthan Gum 0.30 %", "strings", "nonionic or cationic thickener")),
    # amine 2.00 / 368.64 = 5.425 meq; acid 0.55 x 0.88 / 90.08 = 5.373, without a chelator: 0.990. 0.60 gives 5.862,
    # and disodium EDTA its third proton, 0.10 / 372.24 = 0.269: 1.130
    ("lactic 0.55 for the amidoamine", "meadowsweet", [(LACTIC, LACTIC.replace("0.70", "0.55")), (EDTA_LINE, "")],
     "charge.amine_near", "caution", ("0.990 equivalents", "within 3 % of equivalence it cannot be predicted")),
    ("lactic 0.60 for the amidoamine", "meadowsweet", [(LACTIC, LACTIC.replace("0.70", "0.60"))],
     "charge.amine_counted", "note", ("1.130 equivalents",)),
    # 4.00 in place of 0.40
    ("a slip of the decimal", "linden", [(PARFUM, PARFUM.replace("0.40", "4.00"))], "range.fragrance", "caution",
     ("Fragrance: 4.00 %", "slip of the decimal")),
]  # fmt: skip


@pytest.mark.parametrize(("item", "name", "changes", "code", "severity", "words"), ANSWERS, ids=[a[0] for a in ANSWERS])
def test_the_review_answers(example, item, name, changes, code, severity, words):
    del item
    found = example(name, *changes).review()
    finding = next(finding for finding in found.findings if finding.code == code)
    assert finding.severity == severity
    for said in words:
        assert said.lower() in finding.words.lower()
    if severity != "note":
        assert found.findings[0].code == code


def test_a_composition_with_two_qs_lines_is_refused(example):
    with pytest.raises(FormulaError) as refused:
        example("linden", ('"glycerin", pct = "3.00"', '"glycerin", qs = true')).composition()
    assert refused.value.code == "formula.qs_two"


def test_eighty_per_cent_flakes_are_not_two_per_cent_of_active(example):
    """2.50 x 0.80 = 2.00 % of the chloride and 0.50 % of isopropyl alcohol. The pure form at 2.50 % is 2.50 %."""
    formula = example("linden")
    shares = formula.composition().shares()
    assert shares["Behentrimonium Chloride"].pct == Decimal("2.00")
    assert shares["Isopropyl Alcohol"].pct == Decimal("0.50")
    swapped = example("linden", (BTAC, '"behentrimonium-chloride-neat", pct = "2.50"'))
    found = review_formula(swapped, parent=formula)
    finding = next(finding for finding in found.findings if finding.code == "supply.form_changed")
    assert finding.severity == "caution"
    assert "from 2.00 % to 2.50 %" in finding.words


def test_alcohol_raised_from_five_to_six_takes_water_and_costs_more(example):
    """82.95 - 1.00 = 81.95 of water. At 4.20 EUR/kg for the alcohol and 0.10 for water, a kilogram costs
    10 g x 4.20 - 10 g x 0.10 = 0.041 EUR more. Materials without a price leave the difference what it is.
    """
    cost = pytest.importorskip("kit.formula.cost").cost
    before = example("linden")
    after = before.change({"cetearyl-alcohol": "6.00 %"}, why="thicker")
    assert before.composition().pct("water-deionised") == Decimal("82.95")
    assert after.composition().pct("water-deionised") == Decimal("81.95")
    assert after.composition().total == 100
    prices = {
        key: Price(key, Decimal(per_kg), "EUR", "2026-11-01")
        for key, per_kg in (("cetearyl-alcohol", "4.20"), ("water-deionised", "0.10"))
    }
    dearer = cost(after, prices).materials_per_kg - cost(before, prices).materials_per_kg
    assert dearer == Decimal("0.041")


def test_a_missing_lot_is_named(library):
    forms = [library.find(key) for key in ("cetearyl-alcohol", "phenoxyethanol", "water-deionised")]
    found = review_lots(forms, [Lot("phenoxyethanol", "P-7", expiry="2027-06-30")], on=date(2026, 11, 25))
    assert found.codes == ("lot.missing",)
    assert "Cetearyl Alcohol" in found.findings[0].words
    assert found.findings[0].materials == ("cetearyl-alcohol",)


@pytest.mark.parametrize(("typed", "pct"), [("0,40", "0.40"), ("0,4", "0.4")])
def test_a_decimal_comma_is_read(example, typed, pct):
    formula = example("linden", (PARFUM, f'"parfum", pct = "{typed}"'))
    assert formula.composition().pct("parfum") == Decimal(pct)


def test_a_comma_before_three_digits_is_refused(example):
    with pytest.raises(KitError) as refused:
        example("linden", (PARFUM, '"parfum", pct = "0,400"'))
    assert refused.value.code == "units.ambiguous_comma"


def test_a_line_of_0_05_per_cent_on_a_balance_of_0_01_g(example):
    """400 g x 0.0005 = 0.20 g. USP <41>: the smallest weight to 1 % is 2 x 0.41 x 0.01 / 0.01 = 0.82 g."""
    sheet = plan_batch(example("linden"), "400 g", balances=["0.01 g"])
    finding = next(finding for finding in sheet.findings if finding.code == "weighing.below_smallest")
    assert finding.severity == "caution"
    assert "citric-acid" in finding.materials
    assert "0.82 g" in finding.words
    assert next(line for line in sheet.lines if line.material.key == "citric-acid").target_g == Decimal("0.20")


def test_scaled_to_seven_kilograms(example):
    """5.00 % of 7000 g is 350 g; together the lines are 7000 g, to half of the last figure of each of the 15."""
    sheet = plan_batch(example("linden"), "7 kg", balances=["0.01 g", "0.1 g"])
    grams = {line.material.key: line.target_g for line in sheet.lines}
    assert grams["cetearyl-alcohol"] == Decimal("350.0")
    assert grams["citric-acid"] == Decimal("3.50")
    assert abs(sum(grams.values()) - 7000) <= Decimal("0.75")
