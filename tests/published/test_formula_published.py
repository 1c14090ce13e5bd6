"""The review and the composition against law text, published arithmetic and independent molar masses.

Law: Regulation (EC) No 1223/2009, Annex III entries 286 and 287 (inserted by Regulation (EU) No 866/2014 as corrected,
OJ L 254, 28.8.2014, p. 39) and Annex V entries 1, 4, 29, 34. "Maximum concentration": a content equal to it is allowed.
Molar masses: molmass (IUPAC atomic weights), from the molecular formula typed beside each. Dilution:
(Q1)(C1) = (Q2)(C2), USP General Chapter <1160> Pharmaceutical Calculations (formula from memory).
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from molmass import Formula as MolecularFormula

from kit.formula.charge import acid_groups, cationic_meq_per_100g
from kit.formula.composition import Composition, CompositionLine, from_masses
from kit.formula.derived import derived
from kit.formula.library import load_library
from kit.formula.material import Material, Part
from kit.formula.molar import known_molar_mass, molar_mass
from kit.formula.rules import review

LIBRARY = load_library()


def _neat(inci: str, pct: str) -> CompositionLine:
    """A line of the pure substance, so that percentage and active content are the same."""
    return CompositionLine(Material(inci, inci, (Part(LIBRARY.substances[inci], Decimal(100)),)), Decimal(pct))


def _product(product: str, *contents: tuple[str, str]) -> Composition:
    lines = [_neat(inci, pct) for inci, pct in contents]
    rest = 100 - sum(line.pct for line in lines)
    return Composition((CompositionLine(LIBRARY.find("water-deionised"), rest), *lines), product=product)


def _exceeded(composition: Composition) -> set[str]:
    return {finding.code for finding in review(composition).stops if finding.code.startswith("cap.")}


CTAC, STAC, BTAC = "Cetrimonium Chloride", "Steartrimonium Chloride", "Behentrimonium Chloride"
RINSE, LEAVE = "rinse-off hair", "leave-on hair"

# product, contents, codes of the limits exceeded. The law's number itself is allowed; one hundredth more is not.
LAW = [
    (RINSE, [(CTAC, "2.50")], set()),  # entry 286 (a): 2.5 %
    (RINSE, [(CTAC, "2.51")], {"cap.c16_c18_quat_sum"}),
    (RINSE, [(STAC, "2.51")], {"cap.c16_c18_quat_sum"}),
    (RINSE, [(CTAC, "1.25"), (STAC, "1.25")], set()),  # individual or sum
    (RINSE, [(CTAC, "1.25"), (STAC, "1.26")], {"cap.c16_c18_quat_sum"}),
    (RINSE, [(BTAC, "5.00")], set()),  # entry 287 (a): 5.0 %
    (RINSE, [(BTAC, "5.01")], {"cap.quat_sum"}),
    (RINSE, [(CTAC, "2.50"), (BTAC, "2.50")], set()),
    (RINSE, [(CTAC, "2.00"), (BTAC, "3.50")], {"cap.quat_sum"}),  # 5.5 together, each alone within
    (RINSE, [(CTAC, "2.51"), (BTAC, "2.50")], {"cap.c16_c18_quat_sum", "cap.quat_sum"}),
    (LEAVE, [(CTAC, "1.00")], set()),  # entry 286 (b): 1.0 %
    (LEAVE, [(CTAC, "1.01")], {"cap.c16_c18_quat_sum_leave_on"}),
    # Entry 44 of Annex V (0.1 % as the preservative) must not be held against a conditioner that uses them otherwise.
    (RINSE, [(CTAC, "0.50")], set()),
    # Annex V entry 1, as acid: rinse-off 2.5 %, leave-on 0.5 %.
    (RINSE, [("Benzoic Acid", "2.50")], set()),
    (RINSE, [("Benzoic Acid", "2.51")], {"cap.benzoic_acid"}),
    (LEAVE, [("Benzoic Acid", "0.51")], {"cap.benzoic_acid_leave_on"}),
    # Entry 4, as acid: 0.6 %.
    (RINSE, [("Sorbic Acid", "0.60")], set()),
    (RINSE, [("Sorbic Acid", "0.61")], {"cap.sorbic_acid"}),
    # Entries 29 and 34: 1.0 %.
    (RINSE, [("Phenoxyethanol", "1.00")], set()),
    (RINSE, [("Phenoxyethanol", "1.01")], {"cap.phenoxyethanol"}),
    (RINSE, [("Benzyl Alcohol", "1.01")], {"cap.benzyl_alcohol"}),
]


@pytest.mark.parametrize(("product", "contents", "codes"), LAW)
def test_limits_of_law(product, contents, codes):
    assert _exceeded(_product(product, *contents)) == codes


@pytest.mark.parametrize(
    ("salt", "salt_formula", "acid", "acid_formula", "product", "limit", "code"),
    [
        ("Sodium Benzoate", "C7H5NaO2", "Benzoic Acid", "C7H6O2", RINSE, "2.5", "cap.benzoic_acid"),
        ("Sodium Benzoate", "C7H5NaO2", "Benzoic Acid", "C7H6O2", LEAVE, "0.5", "cap.benzoic_acid_leave_on"),
        ("Potassium Sorbate", "C6H7KO2", "Sorbic Acid", "C6H8O2", RINSE, "0.6", "cap.sorbic_acid"),
    ],
)
def test_a_salt_is_held_against_its_limit_as_the_acid(salt, salt_formula, acid, acid_formula, product, limit, code):
    """w(acid) = w(salt) M(acid) / M(salt). Without the conversion the first row would already stop."""
    del acid
    most = (
        float(limit) * MolecularFormula(salt_formula).mass / MolecularFormula(acid_formula).mass
    )  # 2.950, 0.590, 0.804 %
    assert most > float(limit) * 1.15
    below, above = (f"{most * factor:.4f}" for factor in (0.999, 1.001))
    assert _exceeded(_product(product, (salt, below))) == set()
    assert _exceeded(_product(product, (salt, above))) == {code}


def test_acid_and_salt_of_one_preservative_add_up():
    # 1.50 % of acid leaves 1.00 % as acid for the salt: 1.00 x 144.10 / 122.12 = 1.180 %.
    assert _exceeded(_product(RINSE, ("Benzoic Acid", "1.50"), ("Sodium Benzoate", "1.17"))) == set()
    assert _exceeded(_product(RINSE, ("Benzoic Acid", "1.50"), ("Sodium Benzoate", "1.19"))) == {"cap.benzoic_acid"}


@pytest.mark.parametrize(("strength", "raw_g"), [("80", "10.0"), ("70", "11.429"), ("50", "16.0"), ("25", "32.0")])
def test_active_content_of_a_trade_form(strength, raw_g):
    """2.0 % active in 400 g takes 400 x 2.0 / strength: 10.0, 11.429, 16.0, 32.0 g.

    8.0 g of each, taken as pure, would give 1.6, 1.4, 1.0 and 0.5 %.
    """
    form = Material(
        "quat",
        "quat",
        (
            Part(LIBRARY.substances[BTAC], Decimal(strength)),
            Part(LIBRARY.substances["Isopropyl Alcohol"], 100 - Decimal(strength), "carrier"),
        ),
    )
    grams = Fraction(raw_g)
    made = from_masses(
        [
            (CompositionLine(LIBRARY.find("water-deionised"), Decimal(0)), 400 - grams),
            (CompositionLine(form, Decimal(0)), grams),
        ],
        state="made",
        product=RINSE,
    )
    assert abs(made.shares()[BTAC].pct - 2) < Decimal("0.0002")  # 11.429 is rounded to 0.0005 g, 0.0001 % of 400 g
    carrier = 2 * (100 - Decimal(strength)) / Decimal(strength)
    assert abs(made.shares()["Isopropyl Alcohol"].pct - carrier) < Decimal("0.0002")


def test_an_adjuster_dilutes_the_batch_it_goes_into():
    """500 g + 3.2 g of 20 % acid: 503.2 g, acid 0.64 / 503.2 = 0.1272 %, the rest x 500 / 503.2 = 0.993641."""
    acid = Material(
        "acid-20",
        "acid, 20 %",
        (Part(LIBRARY.substances["Lactic Acid"], Decimal(20)), Part(LIBRARY.substances["Aqua"], Decimal(80), "water")),
    )
    glycerin = LIBRARY.find("glycerin")
    made = from_masses(
        [
            (CompositionLine(LIBRARY.find("propanediol"), Decimal(0)), Fraction(485)),
            (CompositionLine(glycerin, Decimal(0)), Fraction(15)),
            (CompositionLine(acid, Decimal(0)), Fraction("3.2")),
        ],
        state="made",
        product=RINSE,
    )
    assert abs(made.shares()["Lactic Acid"].pct - Decimal("0.1272")) < Decimal("0.00005")
    assert abs(made.pct("glycerin") / 3 - Decimal("0.993641")) < Decimal(
        "0.00002"
    )  # 3.00 % before; percentages keep 4 decimals
    assert made.total == 100


@pytest.mark.parametrize(
    ("inci", "formula", "charge"),
    [
        (CTAC, "C19H42ClN", 1),
        (STAC, "C21H46ClN", 1),
        (BTAC, "C25H54ClN", 1),
        ("Behentrimonium Methosulfate", "C26H57NO4S", 1),
        ("Stearamidopropyl Dimethylamine", "C23H48N2O", 1),
    ],
)
def test_charge_of_a_cationic(inci, formula, charge):
    """meq/100 g = 1000 x % x z / M. The lightest and the heaviest of these differ by half: the tolerance is 0.02 %."""
    expected = 1000 * 2.0 * charge / MolecularFormula(formula).mass
    assert float(cationic_meq_per_100g(_product(RINSE, (inci, "2.00")))) == pytest.approx(expected, rel=2e-4)


def test_protons_given_up_to_an_amine():
    """Lactic acid (pKa 3.86): one. Citric acid (3.13, 4.76, 6.40; NIST SRD 46): two, the third is held above pH 5."""
    assert [acid_groups(LIBRARY.substances[name]) for name in ("Lactic Acid", "Citric Acid")] == [1, 2]


def test_mean_molar_mass_of_a_chain_mixture():
    """Moles add: 30 g of C16H34O and 70 g of C18H38O are 100 g of mean M 100 / (30/M16 + 70/M18) = 261.4 g/mol.

    The mean of the two masses by weight would be 262.1: the tolerance of 0.05 keeps them apart.
    """
    c16, c18 = (MolecularFormula(formula).mass for formula in ("C16H34O", "C18H38O"))
    assert float(molar_mass(LIBRARY.substances["Cetearyl Alcohol"])) == pytest.approx(
        100 / (30 / c16 + 70 / c18), abs=0.05
    )
    assert known_molar_mass("Cetearyl Alcohol") == molar_mass(LIBRARY.substances["Cetearyl Alcohol"])
    assert known_molar_mass("Cetyl Esters") is None


def test_ratio_of_the_complex_of_one_quaternary_and_three_alcohols():
    """The complex completes at 3 mol of alcohol to 1 mol of single-chain quaternary: Fukushima et al. 1986, J. Soc.
    Cosmet. Chem. Japan 20:103 (abstract). Here cetyl alcohol and steartrimonium chloride: 3 x 242.44 g to 348.05 g.
    """
    stac, c16 = (MolecularFormula(formula).mass for formula in ("C21H46ClN", "C16H34O"))
    alcohol = f"{2.0 * 3 * c16 / stac:.4f}"  # 4.1795 %
    found = derived(_product(RINSE, (STAC, "2.0"), ("Cetyl Alcohol", alcohol))).alcohol_cationic_ratio
    assert float(found) == pytest.approx(3, abs=0.001)  # by weight it would be 2.09
