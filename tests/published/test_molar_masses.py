"""Molar masses of the fact files against the formulas beside them.

Reference: the PyPI library molmass (C. Gohlke), which sums the IUPAC standard atomic weights. The printed values come
from other tables, whose atomic weights differ in the third decimal: 0.02 g/mol covers that for the heaviest substance
here (752 g/mol) and is fifty times smaller than one hydrogen atom, the smallest slip a formula can hold.
"""

from __future__ import annotations

import tomllib
from decimal import Decimal
from pathlib import Path

import pytest
from molmass import Formula

DATA = Path(__file__).resolve().parents[2] / "kit" / "data"
SUBSTANCES = {
    row["inci"]: row for row in tomllib.loads((DATA / "substances.toml").read_text(encoding="utf-8"))["substance"]
}
WITH_FORMULA = {inci: row for inci, row in SUBSTANCES.items() if "formula" in row}
TOLERANCE = 0.02


def mass(formula: str) -> float:
    return Formula(formula).mass


@pytest.mark.parametrize("inci", WITH_FORMULA)
def test_the_printed_molar_mass_is_that_of_its_formula(inci):
    row = WITH_FORMULA[inci]
    assert row["molar_mass"]["unit"] == "g/mol"
    assert float(row["molar_mass"]["value"]) == pytest.approx(mass(row["formula"]), abs=TOLERANCE)


def test_formulas_are_written_in_hill_order():
    """Carbon, hydrogen, then the other elements by letter; by letter throughout without carbon (E. A. Hill, 1900)."""
    assert len(WITH_FORMULA) > 45
    assert {
        inci: row["formula"] for inci, row in WITH_FORMULA.items() if Formula(row["formula"]).formula != row["formula"]
    } == {}


def test_a_formula_always_has_its_molar_mass():
    assert [inci for inci, row in WITH_FORMULA.items() if "molar_mass" not in row] == []
    assert {inci for inci, row in SUBSTANCES.items() if "molar_mass" in row} - set(WITH_FORMULA) == {
        "Caprylic/Capric Triglyceride",
        "Simmondsia Chinensis Seed Oil",
    }


# Structure formulas typed from the systematic names, so that a formula copied wrongly does not agree with itself.
BY_STRUCTURE = {
    "Behentrimonium Chloride": "CH3(CH2)21N(CH3)3Cl",  # docosyl(trimethyl)azanium chloride
    "Steartrimonium Chloride": "CH3(CH2)17N(CH3)3Cl",
    "Cetrimonium Chloride": "CH3(CH2)15N(CH3)3Cl",
    "Behentrimonium Methosulfate": "CH3(CH2)21N(CH3)3CH3OSO3",  # methyl sulfate salt
    "Stearamidopropyl Dimethylamine": "CH3(CH2)16CONH(CH2)3N(CH3)2",
    "Cetyl Alcohol": "CH3(CH2)15OH",
    "Stearyl Alcohol": "CH3(CH2)17OH",
    "Behenyl Alcohol": "CH3(CH2)21OH",
    "Disodium EDTA": "(CH2)2N2(CH2COOH)2(CH2COONa)2(H2O)2",  # the dihydrate
    "Citric Acid": "HOC(COOH)(CH2COOH)2",
    "Lactic Acid": "CH3CH(OH)COOH",
    "Sodium Benzoate": "C6H5COONa",
    "Benzoic Acid": "C6H5COOH",
    "Potassium Sorbate": "CH3CHCHCHCHCOOK",
    "Sorbic Acid": "CH3CHCHCHCHCOOH",
    "Dehydroacetic Acid": "C5H2O3(CH3)(COCH3)",  # 3-acetyl-6-methylpyran-2,4(3H)-dione
    "Phenoxyethanol": "C6H5OCH2CH2OH",
    "Benzyl Alcohol": "C6H5CH2OH",
    "Ethylhexylglycerin": "C8H17OCH2CH(OH)CH2OH",  # 3-(2-ethylhexyloxy)propane-1,2-diol
    "Caprylyl Glycol": "CH3(CH2)5CH(OH)CH2OH",  # octane-1,2-diol
    "Panthenol": "HOCH2C(CH3)2CH(OH)CONH(CH2)3OH",
    "Isopropyl Myristate": "CH3(CH2)12COOCH(CH3)2",
    "Sodium Laureth Sulfate": "CH3(CH2)11(OCH2CH2)2OSO3Na",  # two ethoxy units
    "Propanediol": "HO(CH2)3OH",
    "Butylene Glycol": "CH3CH(OH)CH2CH2OH",
    "Glycerin": "HOCH2CH(OH)CH2OH",
    "Isopropyl Alcohol": "(CH3)2CHOH",
    "Propylene Glycol": "CH3CH(OH)CH2OH",
    "Sorbitol": "HOCH2(CHOH)4CH2OH",
    "Urea": "CO(NH2)2",
    "Betaine": "(CH3)3NCH2COO",  # inner salt
    "Malic Acid": "HOOCCH2CH(OH)COOH",
    "Sodium Lactate": "CH3CH(OH)COONa",
    "Gluconolactone": "OCO(CHOH)3CHCH2OH",  # ring: oxygen, carbonyl, three carbinols, the last carbon with its arm
    "Arginine": "H2NC(NH)NH(CH2)3CH(NH2)COOH",
    "Tetrasodium Glutamate Diacetate": "NaOOC(CH2)2CH(COONa)N(CH2COONa)2",
    "Distearyldimonium Chloride": "(CH3(CH2)17)2N(CH3)2Cl",
    "Distearoylethyl Dimonium Chloride": "(CH3(CH2)16COOCH2CH2)2N(CH3)2Cl",
    "Dipalmitoylethyl Hydroxyethylmonium Methosulfate": "(CH3(CH2)14COOCH2CH2)2N(CH3)(CH2CH2OH)CH3OSO3",
    "Behenamidopropyl Dimethylamine": "CH3(CH2)20CONH(CH2)3N(CH3)2",
    "Cetyl Palmitate": "CH3(CH2)14COO(CH2)15CH3",
    "Glyceryl Stearate": "CH3(CH2)16COOCH2CH(OH)CH2OH",
    "Isopropyl Palmitate": "CH3(CH2)14COOCH(CH3)2",
    "Squalane": "(CH3)2CH(CH2)3CH(CH3)(CH2)3CH(CH3)(CH2)4CH(CH3)(CH2)3CH(CH3)(CH2)3CH(CH3)2",
    "Niacinamide": "C5H4NCONH2",
    "Menthol": "C6H9(CH3)(OH)CH(CH3)2",
    "Sodium Dehydroacetate": "C5HO3Na(CH3)(COCH3)",
}


@pytest.mark.parametrize("inci", BY_STRUCTURE)
def test_the_formula_is_that_of_the_structure(inci):
    assert Formula(SUBSTANCES[inci]["formula"]).formula == Formula(BY_STRUCTURE[inci]).formula
    assert float(SUBSTANCES[inci]["molar_mass"]["value"]) == pytest.approx(mass(BY_STRUCTURE[inci]), abs=TOLERANCE)


def test_the_monohydrate_of_citric_acid_holds_its_water_by_molar_mass():
    """192.124 / (192.124 + 18.015) = 0.91427: 91.43 % acid and 8.57 % water, to the last digit printed."""
    rows = {row["key"]: row for row in tomllib.loads((DATA / "materials.toml").read_text(encoding="utf-8"))["material"]}
    parts = {part["inci"]: Decimal(part["pct"]) for part in rows["citric-acid-monohydrate"]["parts"]}
    acid = 100 * mass("C6H8O7") / mass("C6H8O7(H2O)")
    assert float(parts["Citric Acid"]) == pytest.approx(acid, abs=0.005)
    assert float(parts["Aqua"]) == pytest.approx(100 - acid, abs=0.005)


def test_mean_molar_mass_of_cetearyl_alcohol():
    """Means of a mixture by weight add as reciprocals: 100 / (30 / 242.44 + 70 / 270.49) = 261.42 g/mol.

    The null model, the mean weighted by mass, gives 262.08 and lies outside the tolerance.
    """
    shares = {part["inci"]: Decimal(part["pct"]) for part in SUBSTANCES["Cetearyl Alcohol"]["mixture_of"]}
    printed = {inci: Decimal(SUBSTANCES[inci]["molar_mass"]["value"]) for inci in shares}
    mean = 100 / sum(share / printed[inci] for inci, share in shares.items())
    assert float(mean) == pytest.approx(100 / (30 / mass("C16H34O") + 70 / mass("C18H38O")), abs=TOLERANCE)
    assert shares == {"Cetyl Alcohol": 30, "Stearyl Alcohol": 70}
