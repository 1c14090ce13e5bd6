"""Charge at a pH against arithmetic by hand, Henderson-Hasselbalch and what is known of each kind of ion.

Molar masses: behentrimonium chloride 404.16, stearamidopropyl dimethylamine 368.64, sodium laureth sulfate 376.48,
sodium benzoate 144.10, lactic acid 90.08, disodium EDTA dihydrate 372.24 g/mol, from their formulas.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from kit.errors import FormulaError, UnitError
from kit.formula.charge import cationic_meq_per_100g
from kit.formula.charge_at_ph import charge_at_ph, charged_share
from kit.formula.composition import Composition, CompositionLine
from kit.formula.material import Fact

HEC = '"hydroxyethylcellulose", pct = "0.20"'
BTAC = '"behentrimonium-chloride-80", pct = "2.50"'


def _line(found, inci):
    return next(line for line in found.lines if line.inci == inci)


def _ion(found, inci):
    return next(ion for ion in found.counter_ions if ion.inci == inci)


def _fact(value=None, low=None, high=None, kind="estimated"):
    numbers = {name: Decimal(text) for name, text in (("value", value), ("low", low), ("high", high)) if text}
    return Fact("1", kind, "common-practice", **numbers)


def _stated(formula, inci, **facts):
    """The composition of a formula with some facts of one ingredient stated anew."""
    lines = []
    for line in formula.composition().lines:
        parts = tuple(
            replace(part, substance=replace(part.substance, **facts)) if part.inci == inci else part
            for part in line.material.parts
        )
        lines.append(CompositionLine(replace(line.material, parts=parts), line.pct, line.phase, line.kind))
    return Composition(tuple(lines))


def _product(library, **percents):
    """A composition of starter materials, underscores for hyphens, in water."""
    lines = [CompositionLine(library.find(key.replace("_", "-")), Decimal(pct)) for key, pct in percents.items()]
    rest = 100 - sum(line.pct for line in lines)
    return Composition((CompositionLine(library.find("water-deionised"), rest), *lines))


def test_a_quaternary_carries_its_charge_at_any_ph(example):
    """2.50 g of 80 % flakes: 2000 / 404.16 = 4.949 meq, without its chloride, which would cancel it."""
    for ph in ("3", "4.5", "9"):
        found = charge_at_ph(example("linden").composition(), ph)
        assert float(found.cation.low) == pytest.approx(4.949, abs=0.001)
        assert found.cation == found.net
        assert found.anion == (0, 0)
        assert found.ratio == (0, 0)
    assert any("halide" in words for words in found.words())


def test_an_amidoamine_is_a_cation_as_far_as_it_is_protonated(library):
    """2.00 g: 2000 / 368.64 = 5.425 meq. pKa 9.4: all at 4.5, 10/11 at 8.4, half at 9.4, 1/11 at 10.4."""
    composition = _product(library, stearamidopropyl_dimethylamine="2.00")
    for ph, share in (("4.5", 1), ("8.4", 10 / 11), ("9.4", 1 / 2), ("10.4", 1 / 11)):
        found = charge_at_ph(composition, ph)
        assert float(found.cation.low) == pytest.approx(5.425 * share, abs=0.002)
        assert found.of_strength("amine") == found.net
    assert float(cationic_meq_per_100g(composition)) == pytest.approx(5.425, abs=0.001)
    assert "charged bilayer" in " ".join(found.words())


def test_an_amine_of_unknown_pka_is_counted_whole_and_that_is_said(example):
    own = '"brassicamidopropyl-dimethylamine", pct = "2.00"'
    formula = example("meadowsweet", ('"stearamidopropyl-dimethylamine", pct = "2.00"', own))
    found = charge_at_ph(formula.composition(), "9.4")
    line = _line(found, "Brassicamidopropyl Dimethylamine")
    assert line.charged == (1, 1)
    assert line.meq is None
    assert found.unknown == ("Brassicamidopropyl Dimethylamine",)
    assert "pKa not known, counted as fully protonated" in line.remark
    assert "Not known, and missing in the sums: Brassicamidopropyl Dimethylamine" in " ".join(found.words())


def test_a_polymer_of_a_range_gives_a_range(library):
    """0.30 g of xanthan at 1.0 to 1.7 meq/g: 0.30 to 0.51 meq, negative; guar 0.20 g at 0.6 to 1.0: 0.12 to 0.20."""
    found = charge_at_ph(
        _product(library, xanthan_gum="0.30", guar_hydroxypropyltrimonium_chloride="0.20"), Decimal("4.5")
    )
    assert _line(found, "Xanthan Gum").meq == (Decimal("-0.51"), Decimal("-0.30"))
    assert _line(found, "Guar Hydroxypropyltrimonium Chloride").meq == (Decimal("0.12"), Decimal("0.20"))
    assert found.net == (Decimal("-0.39"), Decimal("-0.10"))
    assert [float(end) for end in found.ratio] == pytest.approx([0.30 / 0.20, 0.51 / 0.12])
    assert "pKa not known, counted as fully ionised" in _line(found, "Xanthan Gum").remark


def test_carbomer_is_hardly_ionised_where_conditioners_are(library):
    """0.20 g of 12.4 to 13.9 meq/g, pKa 5.5 to 6.5. At pH 4.5 1 / (1 + 10^2) = 0.0099 to 1 / (1 + 10^1) = 0.0909 of it:
    0.0246 to 0.253 meq, where full ionisation would be 2.5 to 2.8.
    """
    found = charge_at_ph(_product(library, carbomer="0.20"), "4.5")
    assert [float(end) for end in found.anion] == pytest.approx([-0.2527, -0.0246], abs=3e-4)
    assert "polycation" in " ".join(found.words())


def test_a_polymer_of_one_stated_density(example):
    """0.30 g at 1.5 meq/g: 0.45 meq of anion."""
    formula = example("calendula", (HEC, '"xanthan-gum", pct = "0.30"'))
    density = Fact("meq/g", "measured", "common-practice", Decimal("-1.5"))
    found = charge_at_ph(_stated(formula, "Xanthan Gum", charge_density=density), "4.5")
    assert found.anion == (Decimal("-0.45"), Decimal("-0.45"))


@pytest.mark.parametrize(("ph", "share"), [("3.5", 1 / 11), ("4.5", 1 / 2), ("5.5", 10 / 11)])
def test_a_carboxylate_is_an_anion_as_far_as_it_is_ionised(example, ph, share):
    """1.00 g of 25 % of M 357.5: 0.6993 meq; with a pKa of 4.5 a half of it at 4.5, 1/11 one unit below."""
    formula = example("linden", (HEC, f'{HEC} }},\n  {{ material = "sodium-cocoyl-glutamate-25", pct = "1.00"'))
    found = charge_at_ph(_stated(formula, "Sodium Cocoyl Glutamate", pka=(_fact("4.5"),)), ph)
    assert found.anion.low == found.anion.high
    assert float(found.anion.low) == pytest.approx(-0.6993 * share, abs=2e-4)
    assert float(found.ratio.low) == pytest.approx(0.6993 * share / 4.949, abs=1e-4)


def test_a_constant_known_as_a_range_widens_the_charge(example):
    """pKa 4.0 to 5.0 at pH 4.5: 1 / (1 + 10^0.5) = 0.2403 to 1 / (1 + 10^-0.5) = 0.7597 of 0.6993 meq."""
    formula = example("linden", (HEC, f'{HEC} }},\n  {{ material = "sodium-cocoyl-glutamate-25", pct = "1.00"'))
    found = charge_at_ph(_stated(formula, "Sodium Cocoyl Glutamate", pka=(_fact(low="4.0", high="5.0"),)), "4.5")
    assert [float(end) for end in found.anion] == pytest.approx([-0.6993 * 0.7597, -0.6993 * 0.2403], abs=2e-4)


def test_far_below_its_pka_a_carboxylic_acid_has_about_no_charge(example):
    formula = example("linden", (HEC, f'{HEC} }},\n  {{ material = "sodium-cocoyl-glutamate-25", pct = "1.00"'))
    found = charge_at_ph(_stated(formula, "Sodium Cocoyl Glutamate", pka=(_fact("6.5"),)), "4.5")
    assert float(found.anion.low) == pytest.approx(-0.6993 / 101, abs=1e-4)
    assert "about no charge" in _line(found, "Sodium Cocoyl Glutamate").remark
    assert "0.00" not in str(found.anion.words())  # it is small, not nothing


def test_a_sulfate_is_a_hard_anion_at_any_ph(library):
    """1.00 g of 27 %: 270 / 376.48 = 0.717 meq against 2000 / 404.16 = 4.949: ratio 0.145."""
    composition = _product(library, behentrimonium_chloride_80="2.50", sodium_laureth_sulfate_27="1.00")
    for ph in (2, 4.5, "9"):
        found = charge_at_ph(composition, ph)
        assert float(found.of_strength("hard anion").low) == pytest.approx(-0.717, abs=0.001)
        assert float(found.ratio.low) == pytest.approx(0.145, abs=0.001)
        assert float(found.net.low) == pytest.approx(4.949 - 0.717, abs=0.002)
        assert found.of_strength("soft anion") == (0, 0)


def test_an_anion_without_a_class_is_taken_as_the_hard_one(example):
    formula = example("linden", (HEC, f'{HEC} }},\n  {{ material = "sodium-cocoyl-glutamate-25", pct = "1.00"'))
    found = charge_at_ph(_stated(formula, "Sodium Cocoyl Glutamate", charge_strength=""), "4.5")
    line = _line(found, "Sodium Cocoyl Glutamate")
    assert line.strength == "hard anion"
    assert "class not stated, taken as a hard anion" in line.remark


def test_a_thickener_with_a_few_anionic_groups_is_named_as_unknown(library):
    found = charge_at_ph(_product(library, hydroxypropyl_starch_phosphate="2.00"), "4.5")
    assert found.unknown == ("Hydroxypropyl Starch Phosphate",)
    assert found.anion == (0, 0)
    assert found.ratio is None
    assert "no cation" in found.words()[0]


# At pH 4.5. Benzoate 200 / 144.10 = 1.388 mmol, 1 / (1 + 10^(4.202 - 4.5)) = 0.6651 ionised: -0.923 meq.
# Citric acid 50 / 192.12 = 0.2603 mmol: forms 1 : 10^1.372 : 10^1.111 : 10^-0.785 = 1 : 23.55 : 12.91 : 0.1641, sum
# 37.63, mean (23.55 + 25.82 + 0.492) / 37.63 = 1.3253: -0.345. EDTA 100 / 372.24 = 0.2686 mmol, nearly all H2Y2-:
# forms against H2Y: H3Y 10^(3.119 - 4.5) = 0.0416, H4Y 0.0002, HY 10^(4.5 - 6.273) = 0.0169; mean -1.977: -0.531.
COUNTER_IONS = [
    ("Sodium Benzoate", -0.6651, -0.923),
    ("Citric Acid", -1.3253, -0.345),
    ("Disodium EDTA", -1.977, -0.531),
]


@pytest.mark.parametrize(("inci", "charge", "meq"), COUNTER_IONS)
def test_small_counter_ions_stand_apart_with_their_charge(library, inci, charge, meq):
    composition = _product(
        library,
        behentrimonium_chloride_80="2.50",
        sodium_benzoate="0.20",
        citric_acid="0.05",
        disodium_edta="0.10",
    )
    found = charge_at_ph(composition, "4.5")
    ion = _ion(found, inci)
    assert float(ion.charge) == pytest.approx(charge, abs=1e-3)
    assert float(ion.meq) == pytest.approx(meq, abs=1e-3)
    assert found.anion == (0, 0)
    assert "bind loosely" in found.counter_table().note


def test_constants_from_memory_show_as_such(library):
    composition = _product(
        library, tetrasodium_glutamate_diacetate_38="0.20", lactic_acid_88="0.10", dehydroacetic_acid="0.20"
    )
    found = charge_at_ph(composition, "4.5")
    assert "from memory" in _ion(found, "Tetrasodium Glutamate Diacetate").remark
    assert "from memory" in found.counter_table().note
    assert _ion(found, "Lactic Acid").remark == ""


def test_a_counter_ion_of_unknown_molar_mass_is_not_zero(library):
    ion = _ion(charge_at_ph(_product(library, sodium_phytate_50="0.20"), "4.5"), "Sodium Phytate")
    assert ion.charge == -6
    assert ion.meq is None
    assert "hard anion" in ion.remark


def test_a_protein_is_left_out_and_that_is_said(library):
    found = charge_at_ph(_product(library, hydrolyzed_oat_protein_20="1.00"), "4.5")
    assert found.lines == ()
    assert "Charges of both signs, not known and left out: Hydrolyzed Oat Protein" in " ".join(found.words())


def test_without_a_ph_the_upper_end_of_the_spec_is_taken(example):
    assert example("linden").charge().ph == Decimal("4.9")
    assert example("linden").charge(ph="4.5").ph == Decimal("4.5")
    with pytest.raises(FormulaError) as caught:
        replace(example("linden"), spec=()).charge()
    assert caught.value.code == "charge.ph"


@pytest.mark.parametrize("ph", ["-1", "14.5", 40])
def test_a_ph_outside_the_scale_is_refused(library, ph):
    with pytest.raises(FormulaError) as caught:
        charge_at_ph(_product(library, sodium_benzoate="0.20"), ph)
    assert caught.value.code == "charge.ph"


def test_a_ph_that_is_no_number_is_refused(library):
    with pytest.raises(UnitError):
        charge_at_ph(_product(library, sodium_benzoate="0.20"), "mild")


def test_another_class_is_refused(library):
    with pytest.raises(ValueError, match="firm"):
        charge_at_ph(_product(library, sodium_benzoate="0.20"), 5).of_strength("firm")


def test_the_table_names_lines_classes_and_sums(library):
    composition = _product(library, behentrimonium_chloride_80="2.50", xanthan_gum="0.30")
    table = charge_at_ph(composition, "4.5", title="a trial").table()
    cells = {row[0]: row[-1] for row in table.rows}
    assert cells == {
        "Behentrimonium Chloride": "4.95",
        "Xanthan Gum": "-0.51 to -0.30",
        "all of class quaternary": "4.95",
        "all of class soft anion": "-0.51 to -0.30",
        "cation": "4.95",
        "anion": "-0.51 to -0.30",
        "net": "4.44 to 4.65",
        "anion : cation, eq/eq": "0.061 to 0.103",
    }
    assert table.title == "Charge of a trial at pH 4.5"


def test_the_result_shows_itself_in_a_notebook_and_in_a_terminal(example):
    found = example("linden").charge()
    assert "Small counter-ions" in found._repr_html_()
    assert "Small counter-ions" in str(found)
    assert repr(found) == str(found)


def test_the_share_of_a_quaternary_is_whole(library):
    quat = library.find("behentrimonium-chloride-80").parts[0].substance
    assert charged_share(quat, Decimal(12)) == (1, 1)


def test_a_small_cation_has_its_sign(library):
    """Arginine 0.50 g / 174.20 = 2.870 mmol, pKa 1.82 / 8.99 / 12.48, +2 when fully protonated: +1 at pH 5.4."""
    ion = _ion(charge_at_ph(_product(library, arginine="0.50"), "5.4"), "Arginine")
    assert float(ion.charge) == pytest.approx(1, abs=0.001)
    assert float(ion.meq) == pytest.approx(2.870, abs=0.005)


def test_a_constant_without_the_charge_it_starts_from_gives_no_charge(library):
    composition = _product(library, arginine="0.50")
    lines = []
    for line in composition.lines:
        parts = tuple(
            replace(part, substance=replace(part.substance, protonated_charge=None)) for part in line.material.parts
        )
        lines.append(CompositionLine(replace(line.material, parts=parts), line.pct))
    ion = _ion(charge_at_ph(Composition(tuple(lines)), "5.4"), "Arginine")
    assert ion.charge is None
    assert ion.meq is None
