"""The numbers behind a finding, worked by hand, and the rules that no table row shows alone."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest

from kit.errors import MaterialError
from kit.formula.composition import Composition, CompositionLine, Step
from kit.formula.lots import Lot
from kit.formula.material import Fact, Material, Part
from kit.formula.rules import review, review_formula, review_lots
from kit.formula.water_activity import water_activity

BENZOATE = '"sodium-benzoate", pct = "0.20"'
PHENOXY, EHG = '"phenoxyethanol", pct = "0.80"', '"ethylhexylglycerin", pct = "0.10"'
BTAC = '"behentrimonium-chloride-80", pct = "2.50"'
PH = "low = 4.3\nhigh = 4.9"


def _finding(found, code: str):
    return next(finding for finding in found.findings if finding.code == code)


def _line(key: str, pct: str) -> str:
    return f'"{key}", pct = "{pct}"'


def _of(library, *contents: tuple[str, str], **kwargs) -> Composition:
    return Composition(tuple(CompositionLine(library.find(key), Decimal(pct)) for key, pct in contents), **kwargs)


# Preservation


def test_the_share_that_works_is_named_with_the_ph_and_the_constant(example):
    """pKa 4.202 (NIST SRD 46): at pH 5.6 the ion is 10^1.398 = 25.00 times the acid, so 1 / 26.00 = 3.85 %."""
    finding = _finding(example("linden", (PH, 'low = "5.4"\nhigh = "5.6"')).review(), "preservation.ph")
    assert float(finding.value) == pytest.approx(3.85, abs=0.01)
    assert finding.limit == Decimal("12.5")
    assert "At pH 5.6" in finding.words
    assert "3.8 % un-ionised (pKa 4.202)" in finding.words
    assert "That leaves Phenoxyethanol" in finding.words


def test_a_salt_and_its_acid_are_judged_alike_and_what_is_no_acid_is_not(example):
    """Potassium sorbate, pKa 4.76, at pH 5.5: 10^0.74 = 5.495, 1 / 6.495 = 15.4 %, above an eighth; at 5.8: 8.4 %."""
    sorbate = (BENZOATE, _line("potassium-sorbate", "0.20"))
    assert "preservation.ph" not in example("linden", sorbate, (PH, 'low = "5.0"\nhigh = "5.5"')).review().codes
    found = example("linden", sorbate, (PH, 'low = "5.0"\nhigh = "5.8"')).review()
    assert float(_finding(found, "preservation.ph").value) == pytest.approx(8.36, abs=0.02)


def test_humectants_at_conditioner_levels_preserve_nothing(library):
    """3 g of glycerin (92.09) in 97 of water (18.015): x_s = 0.03258 / 5.4170 = 0.006014, so a_w is about 0.994."""
    found = review(_of(library, ("water-deionised", "97"), ("glycerin", "3")))
    assert found.findings[0].code == "preservation.none"
    assert float(found.findings[0].value) == pytest.approx(0.994, abs=0.0005)


def test_at_a_water_activity_of_three_quarters_it_is_a_caution(library):
    """80 g of glycerin in 20 of water: 0.8687 and 1.1102 mol, ideal 0.561, by Norrish 0.448. 50 in 50: 0.5429 and
    2.7755 mol, ideal 0.836, by Norrish x_s = 0.1636, exp(-1.16 x 0.02678) = 0.9694, 0.811.
    """
    dry = _of(library, ("water-deionised", "20"), ("glycerin", "80"))
    assert 0.44 < water_activity(dry) < 0.57
    assert _finding(review(dry), "preservation.low_activity").severity == "caution"
    wet = _of(library, ("water-deionised", "50"), ("glycerin", "50"))
    assert _finding(review(wet), "preservation.none").severity == "stop"
    assert water_activity(_of(library, ("glycerin", "100"))) is None
    assert "preservation.none" not in review(_of(library, ("glycerin", "100"))).codes


def test_a_constant_of_norrish_is_used_where_it_is_known(library):
    """K = 1.16 at 30 g of glycerin in 55 of water: 0.8939, worked in the tests of the equation; ideal: 0.9036."""
    glycerin = library.find("glycerin")
    fact = Fact("1", "handbook", "x", value=Decimal("1.16"))
    known = replace(glycerin, parts=(Part(replace(glycerin.parts[0].substance, norrish_k=fact), Decimal(100)),))
    lines = (CompositionLine(library.find("water-deionised"), Decimal(55)), CompositionLine(known, Decimal(30)))
    assert water_activity(Composition(lines)) == pytest.approx(0.8939, abs=1e-4)


def test_a_preservative_of_unknown_constant_and_window_is_told_as_unknown(example, library):
    def blind(part):
        known = part.inci != "Sodium Benzoate"
        return part if known else replace(part, substance=replace(part.substance, pka=()))

    formula = example("linden")  # its extract brings benzoate too: it is one substance wherever it stands
    lines = []
    for line in formula.composition().lines:
        material = replace(line.material, parts=tuple(blind(part) for part in line.material.parts))
        material = replace(material, ph_window=None) if material.key == "sodium-benzoate" else material
        lines.append(replace(line, material=material))
    found = review(Composition(tuple(lines), steps=formula.steps), formula.spec)
    assert "pH window of Sodium Benzoate" in _finding(found, "facts.unknown").words


# Cationics


def test_an_esterquat_without_a_window_is_held_against_the_usual_one(example, library):
    form = library.find("dioleoylethyl-hydroxyethylmonium-methosulfate-75")
    for material, limit in ((form, "4"), (replace(form, ph_window=None), "4.5")):
        composition = Composition((CompositionLine(material, Decimal(3)),))
        finding = _finding(review(composition, example("linden").spec), "charge.esterquat_ph")
        assert (finding.value, finding.limit) == (Decimal("4.9"), Decimal(limit))


def test_the_class_of_a_cationic_may_be_stated_or_read_from_its_name(library):
    from kit.formula.charge import surfactant_class

    def classed(inci: str, category: str = "cationic surfactant", stated: str = ""):
        known = library.substances["Behentrimonium Chloride"]
        return surfactant_class(replace(known, inci=inci, category=category, surfactant_class=stated))

    assert classed("Distearyldimonium Chloride") == "dialkyl quat"
    assert classed("Distearoylethyl Dimonium Chloride") == "esterquat"
    assert classed("Behentrimonium Chloride") == "monoalkyl quat"
    assert classed("Behenamidopropyl Dimethylamine", "amine surfactant") == "amidoamine"
    assert classed("Behentrimonium Chloride", stated="dialkyl quat") == "dialkyl quat"


# HLB


def test_the_hlb_hint_is_the_mean_by_mass_and_no_verdict(example):
    """0.30 % of 16.9 and 0.20 % of 9.7: (5.07 + 1.94) / 0.50 = 14.02. The oil alone asks for 6 to 7."""
    oil = ('"caprylic-capric-triglyceride", pct = "2.50"', _line("prunus-amygdalus-dulcis-oil", "2.50"))
    first = (EHG, f"{EHG} }},\n  {{ material = {_line('laureth-23', '0.30')}")
    second = (PHENOXY, f"{PHENOXY} }},\n  {{ material = {_line('laureth-4', '0.20')}")
    finding = _finding(example("linden", oil, first, second).review(), "network.hlb_hint")
    assert finding.severity == "note"
    assert "HLB of 14.0, the oils are said to ask for 6.0 to 7.0" in finding.words
    assert finding.words.startswith("Hint")
    assert "HLB says nothing of them" in finding.words
    assert finding.limit is None


# Heat


def test_a_cool_down_phase_without_limits_of_its_own_is_still_not_added_hot(library):
    lines = (
        CompositionLine(library.find("water-deionised"), Decimal(97), "A", "water"),
        CompositionLine(library.find("glycerin"), Decimal(3), "C", "cool-down"),
    )
    for temp, told in (("61", True), ("60", False)):
        steps = (Step("heat", "A", Decimal(70)), Step("add", "C", Decimal(temp)))
        assert ("heat.cool_down" in review(Composition(lines, steps=steps)).codes) == told


# Supply forms


def test_flakes_for_a_blend_at_equal_grams(example):
    """2.50 % of 80 % flakes is 2.00 % active; 2.50 % of a solution of 29 % would be another INCI; of pure, 2.50 %."""
    parent = example("linden")
    formula = example("linden", (BTAC, _line("behentrimonium-chloride-neat", "2.50")))
    finding = _finding(review_formula(formula, parent=parent), "supply.form_changed")
    assert finding.severity == "caution"
    assert (finding.value, finding.limit) == (Decimal("2.50"), Decimal("2.00"))
    assert "For equal active take 2.00 %" in finding.words
    assert "supply.form_changed" not in review_formula(formula).codes


@pytest.mark.parametrize("pct", ["2.00", "2.30"])
def test_equal_active_or_another_amount_is_no_slip(example, pct):
    formula = example("linden", (BTAC, _line("behentrimonium-chloride-neat", pct)))
    assert "supply.form_changed" not in review_formula(formula, parent=example("linden")).codes
    composition, parent = formula.composition(), example("linden").composition()
    assert "supply.form_changed" not in review(composition, parent=parent).codes


def test_a_new_lot_strength_is_no_change_of_form(example):
    formula = example("linden")
    assert "supply.form_changed" not in review_formula(formula, parent=formula).codes


# Lots

TODAY = date(2026, 11, 25)


@pytest.fixture
def flakes(library) -> Material:
    return library.find("behentrimonium-chloride-80")  # certificate range 77 to 83 %


def _codes(found) -> set[str]:
    return {finding.code for finding in found.findings}


@pytest.mark.parametrize(
    ("active", "told"), [("77", False), ("76.9", True), ("80", False), ("83", False), ("83.1", True)]
)
def test_a_certificate_outside_the_usual_spread(flakes, active, told):
    lot = Lot(flakes.key, "B-1", {"Behentrimonium Chloride": Decimal(active)}, expiry="2027-01-01")
    found = review_lots([flakes], [lot], on=TODAY)
    assert ("lot.active_range" in _codes(found)) == told
    if told:
        assert _finding(found, "lot.active_range").value == Decimal(active)
        assert _finding(found, "lot.active_range").source == "chemlin-behentrimonium"


def test_an_expired_lot_is_a_caution_from_the_day_after(flakes):
    lot = Lot(flakes.key, "B-1", expiry="2026-11-25")
    assert "lot.expired" not in _codes(review_lots([flakes], [lot], on="2026-11-25"))
    found = review_lots([flakes], [lot], on="2026-11-26")
    assert [finding.code for finding in found.cautions] == ["lot.expired"]
    assert "lot B-1 (2026-11-25)" in found.cautions[0].words


def test_a_stock_solution_is_old_only_against_an_age_that_was_stated(library):
    acid = library.find("citric-acid")
    stock = Material(
        "stock", "Citric stock", (Part(acid.parts[0].substance, Decimal(100)),), made_from=((acid, Decimal(100)),)
    )
    lot = Lot("stock", "S-1", made_on="2026-10-26", kind="made in the lab")  # 30 days before
    assert "lot.stock_old" not in _codes(review_lots([stock], [lot], on=TODAY))
    assert "lot.stock_old" not in _codes(review_lots([stock], [lot], on=TODAY, stock_days=30))
    assert "30 days" in _finding(review_lots([stock], [lot], on=TODAY, stock_days=29), "lot.stock_old").words


def test_an_amidoamine_without_an_amine_value_and_a_form_without_a_lot(library, flakes):
    amine = library.find("stearamidopropyl-dimethylamine")
    water = library.find("water-deionised")
    without = review_lots([water, flakes, amine], [Lot(amine.key, "A-1", expiry="2027-01-01")], on=TODAY)
    assert _codes(without) == {"lot.missing", "lot.amine_value"}
    assert _finding(without, "lot.missing").materials == (flakes.key,)
    stated = Lot(amine.key, "A-1", amine_value=Decimal("152"), expiry="2027-01-01")
    assert _codes(review_lots([water, amine], [stated], on=TODAY)) == set()
    assert _codes(review_lots([amine], [Lot(amine.key, "A-2", amine_value=Decimal("152"))], on=TODAY)) == {
        "facts.unknown"
    }


def test_a_day_that_cannot_be_read_is_refused(flakes):
    with pytest.raises(MaterialError, match="YYYY-MM-DD"):
        review_lots([flakes], [], on="25.11.2026")


def test_heat_is_asked_about_where_it_may_spoil_and_not_where_heating_is_the_use(example, library):
    """Glycerin, acids and gums are heated with the water (common practice, no source); an ester bond is not."""
    assert "heat limit of Glycerin" not in " ".join(item.words for item in example("linden").review().findings)
    esterquat = library.find("distearoylethyl-dimonium-chloride-83")
    assert esterquat.heat_max is None
    swapped = example("linden").change({"behentrimonium-chloride-80": "0 %", esterquat.key: "2.00 %"}, phase="B")
    told = _finding(swapped.review(), "facts.unknown").words
    assert f"heat limit of {esterquat.name}" in told
