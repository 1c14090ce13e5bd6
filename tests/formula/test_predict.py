"""The predicted pH: value, band, what it rests on, and when there is none."""

from __future__ import annotations

import math
from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest
from scipy import optimize

import kit
from kit.errors import KitError, UnitError
from kit.formula.acid_left import acid_left_meq_per_100g
from kit.formula.aqueous import aqueous
from kit.formula.composition import Composition, CompositionLine
from kit.formula.knowledge import Knowledge, LearnedReading
from kit.formula.ph_words import is_near_equivalence, neutralisation
from kit.formula.predict import (
    AFTER_TITRATION,
    BEFORE_TITRATION,
    CONCENTRATED,
    HARDLY_BUFFERED,
    NOT_NEAR_EQUIVALENCE,
    predict_ph,
)
from kit.formula.rules import limits
from kit.science.ionisation import unionised_fraction

LIBRARY = kit.load_library()


def composition(library=LIBRARY, **pcts: str) -> Composition:
    """A composition from keys with underscores for hyphens."""
    lines = (CompositionLine(library.find(key.replace("_", "-")), Decimal(pct)) for key, pct in pcts.items())
    return Composition(tuple(lines))


def amidoamine(lactic: str) -> Composition:
    """2.00 g of stearamidopropyl dimethylamine in a plain network, with lactic acid 88 %."""
    water = str(Decimal("93.00") - Decimal(lactic))
    return composition(
        water_deionised=water, stearamidopropyl_dimethylamine="2.00", lactic_acid_88=lactic, cetearyl_alcohol="5.00"
    )


QUAT = {
    "water_deionised": "83.00",
    "glycerin": "3.00",
    "behentrimonium_chloride_80": "2.50",
    "cetearyl_alcohol": "5.00",
    "sodium_benzoate": "0.40",
    "citric_acid": "0.20",
}


def charge_balance_ph(acids, strong: float) -> float:
    """An own charge balance with Davies coefficients at 25 degC, by nested brentq: another way to the same number.

    `acids` are (mol/kg, constants at zero ionic strength, charge of the protonated form).
    """

    def log_gamma(strength: float, charge: int) -> float:
        root = math.sqrt(strength)
        return -0.509 * charge**2 * (root / (1 + root) - 0.3 * strength)

    def forms(ph: float, strength: float):
        for total, constants, charge in acids:
            logs = [0.0]
            for step, constant in enumerate(constants):
                high, low = charge - step, charge - step - 1
                logs.append(logs[-1] + ph - constant + log_gamma(strength, high) - log_gamma(strength, low))
            weights = 10 ** (np.array(logs) - max(logs))
            yield from zip(range(charge, charge - len(logs), -1), total * weights / weights.sum(), strict=True)

    def sums(ph: float, strength: float) -> tuple[float, float]:
        free = 10 ** -log_gamma(strength, 1)
        hydrogen, hydroxide = 10**-ph * free, 10 ** (ph - 13.995) * free
        pairs = [*forms(ph, strength), (1, hydrogen), (-1, hydroxide)]
        return sum(z * c for z, c in pairs) + strong, 0.5 * (sum(z * z * c for z, c in pairs) + abs(strong))

    def at(strength: float) -> float:
        return optimize.brentq(lambda ph: sums(ph, strength)[0], 0, 14, xtol=1e-12)

    strength = optimize.brentq(lambda guess: sums(at(guess), guess)[1] - guess, 1e-9, 1.0, xtol=1e-14)
    return at(strength)


def test_a_quat_with_benzoate_and_citric_acid_by_an_own_charge_balance():
    """By hand in 83.00 g of water: benzoate and its sodium 0.40 / 144.103 mol, citric acid 0.20 / 192.1235 mol."""
    benzoate, citric = (1000 * grams / mass / 83.00 for grams, mass in ((0.40, 144.103), (0.20, 192.1235)))
    expected = charge_balance_ph([(benzoate, (4.202,), 0), (citric, (3.128, 4.761, 6.396), 0)], benzoate)
    found = predict_ph(composition(**QUAT))
    assert float(found.value) == pytest.approx(expected, abs=0.006)
    assert 4.0 < expected < 4.6
    assert found.low < found.value < found.high


def test_an_amidoamine_by_an_own_charge_balance():
    """2.00 / 368.64 mol of amine of pKa 9.4 and 0.66 x 0.88 / 90.078 of lactic acid in 92.34 + 0.0792 g of water."""
    amine, lactic = 2000 / 368.64 / 92.4192, 660 * 0.88 / 90.07794 / 92.4192
    expected = charge_balance_ph([(amine, (9.4,), 1), (lactic, (3.86,), 0)], 0.0)
    assert float(predict_ph(amidoamine("0.66")).value) == pytest.approx(expected, abs=0.006)


def test_four_hundredths_of_a_gram_of_lactic_move_an_amidoamine_by_a_unit_and_a_half():
    """2.00 g of amine are 5.43 meq, 0.555 g of lactic acid 88 %. Printed: 0.556 g gives pH 6.4, 0.60 g pH 4.9."""
    at_equivalence, clear = (predict_ph(amidoamine(grams)) for grams in ("0.556", "0.60"))
    assert float(at_equivalence.value) == pytest.approx(6.4, abs=0.15)
    assert float(clear.value) == pytest.approx(4.88, abs=0.06)
    assert float(at_equivalence.value - clear.value) == pytest.approx(1.5, abs=0.15)


def test_near_the_equivalence_of_an_amine_it_says_that_it_cannot_predict():
    """Within 3 % of 5.43 meq, 0.540 to 0.572 g; the value is still there, with its band: 3 % of amine value either way
    move 0.556 g from pH 5.3 to 7.6 (printed), so the band is wider than that.
    """
    found = predict_ph(amidoamine("0.556"))
    assert found.reason == NOT_NEAR_EQUIVALENCE
    assert any("within 3 % of its equivalence" in note for note in found.notes)
    assert found.low < Decimal("5.3") and found.high > Decimal("7.6")
    for grams, near in (("0.530", False), ("0.542", True), ("0.570", True), ("0.580", False)):
        assert (predict_ph(amidoamine(grams)).reason == NOT_NEAR_EQUIVALENCE) == near, grams
    short = predict_ph(amidoamine("0.45"))
    assert any("acid for 81 % of the amine only" in note for note in short.notes)  # 0.45 / 0.555


def test_an_alkaline_chelator_and_a_second_acid_count_in_the_equivalence():
    """In the chamomile formula 0.55 g of lactic acid are clear of it: dehydroacetic acid brings 1.19 meq, GLDA costs
    0.2."""
    formula = kit.load_formula(str(kit.__path__[0]) + "/demo/formulas/chamomile.toml", LIBRARY)
    clear, near = (formula.change({"lactic-acid-88": grams}).predict_ph() for grams in ("0.55", "0.45"))
    assert clear.reason == BEFORE_TITRATION
    assert near.reason == NOT_NEAR_EQUIVALENCE
    assert float(near.high - near.low) > 1.5


def test_citric_acid_takes_an_amine_to_its_equivalence_with_three_protons():
    """2.00 / 368.64 = 5.425 mmol of amine want 1.808 mmol of citric acid, 0.3474 g: the cliff. With 0.45 g, as many
    protons as a third more, it is clear of it, and with 0.30 g 86 % are met.
    """
    amine = {"stearamidopropyl_dimethylamine": "2.00", "cetearyl_alcohol": "5.00"}
    at, clear, short = (
        predict_ph(composition(water_deionised="92.6", citric_acid=grams, **amine))
        for grams in ("0.3474", "0.45", "0.30")
    )
    assert at.reason == NOT_NEAR_EQUIVALENCE
    assert clear.reason == BEFORE_TITRATION
    assert any("acid for 86 % of the amine only" in note for note in short.notes)


@pytest.mark.parametrize(
    "parts",
    [
        {"lactic_acid_88": "0.50"},
        {"citric_acid": "0.30", "sodium_benzoate": "0.40"},
        {"lactic_acid_88": "0.40", "dehydroacetic_acid": "0.20"},
        {"lactic_acid_88": "0.60", "tetrasodium_glutamate_diacetate_38": "0.30", "disodium_edta": "0.10"},
        {"citric_acid": "0.40", "arginine": "0.20", "niacinamide": "1.00"},
        {"malic_acid": "0.40", "gluconolactone": "0.30", "sodium_hydroxide": "0.05"},
    ],
)
def test_the_review_and_the_prediction_count_one_acid_for_an_amine(parts):
    found = composition(water_deionised="90", stearamidopropyl_dimethylamine="2.00", **parts)
    by_review = float(acid_left_meq_per_100g(found)) / (2000 / 368.64002)
    assert neutralisation(aqueous(found)) == pytest.approx(by_review, rel=1e-9)
    assert (Decimal("1") - 3 / Decimal(100), 1 + 3 / Decimal(100)) == (limits.AMINE_SHORT, limits.AMINE_ENOUGH)
    assert [is_near_equivalence(degree) for degree in (0.969, 0.97, 1.03, 1.031)] == [False, True, True, False]


@pytest.mark.parametrize(
    ("parts", "says"),
    [
        ({"water_deionised": "100"}, "carbon dioxide of the air alone moves it"),
        ({"squalane": "100"}, "0.0 % of water"),
        ({"citric_acid": "100"}, "0.0 % of water"),
        ({"lactic_acid_88": "100"}, "12.0 % of water"),
        ({"water_deionised": "40", "sodium_hydroxide": "60"}, "37.5"),  # mol/kg: 60 / 39.997 / 0.04
        ({"water_deionised": "99", "sodium_phytate_50": "1"}, "no acid, no base, no buffer"),
        ({"water_deionised": "99", "sodium_benzoate": "0.4", "citric_acid": "-0.2"}, "0 % or more: Citric Acid"),
        ({"water_deionised": "99", "citric_acid": "NaN"}, "0 % or more: Citric Acid"),
        ({}, "0.0 % of water"),
    ],
)
def test_what_has_no_predicted_ph_says_why(parts, says):
    found = predict_ph(composition(**parts))
    assert not found.is_known
    assert says in found.reason


@pytest.mark.parametrize(
    ("parts", "ph"),
    [
        # 34 g of 88 % in 66 g: 3.32 mol in 0.7008 kg of water, 4.74 mol/kg: (3.86 - lg 4.74) / 2 = 1.59
        ({"water_deionised": "66", "lactic_acid_88": "34"}, 1.59),
        ({"water_deionised": "95", "betaine": "5"}, 7.75),  # 13.995 / 2 + lg(1 + 0.4493 / 10^-1.84) / 2 = 7.75
    ],
)
def test_odd_compositions_have_one_all_the_same(parts, ph):
    found = predict_ph(composition(**parts))
    assert float(found.value) == pytest.approx(ph, abs=0.02)
    assert found.low <= found.value <= found.high
    assert any("carbon dioxide" in item for item in found.cannot_know)


def test_beyond_half_a_mole_a_kilogram_it_says_that_it_does_not_know():
    """5 g of lye in 95 g of water: 1.316 mol/kg."""
    found = predict_ph(composition(water_deionised="95", sodium_hydroxide="5"))
    assert found.reason == CONCENTRATED
    assert found.ionic_strength_mol_per_kg == pytest.approx(1.316, abs=0.001)
    assert predict_ph(composition(water_deionised="99", sodium_hydroxide="1")).reason == BEFORE_TITRATION  # 0.253


def test_the_band_holds_its_value_whatever_is_mixed():
    """200 mixtures of what the library knows: low <= value <= high, finite, and the same when asked again."""
    random = np.random.default_rng(5)
    known = [
        "citric-acid", "lactic-acid-88", "malic-acid", "gluconolactone", "sodium-hydroxide-10-solution", "arginine",
        "sodium-benzoate", "potassium-sorbate", "dehydroacetic-acid", "disodium-edta", "betaine", "niacinamide",
        "tetrasodium-glutamate-diacetate-38", "stearamidopropyl-dimethylamine", "hydrolyzed-wheat-protein-25",
        "tilia-cordata-flower-extract", "carbomer", "behentrimonium-chloride-80", "cetearyl-alcohol",
    ]  # fmt: skip
    widths = []
    for _ in range(200):
        parts = {key: f"{10 ** random.uniform(-2, 0.5):.3f}" for key in random.choice(known, 5, replace=False)}
        found = composition(water_deionised="85", **{key.replace("-", "_"): pct for key, pct in parts.items()})
        age = random.choice([None, 1.0, 24.0, 168.0])
        told = predict_ph(found, age_h=age)
        if told.is_known:
            assert told.low <= told.value <= told.high, (parts, age, str(told))
            assert str(predict_ph(found, age_h=age)) == str(told)
            widths.append(float(told.high - told.low))
    assert len(widths) > 150
    assert min(widths) >= 0.16  # the scatter of a reading alone is 2 x 1.645 x 0.05


def test_the_band_is_widest_at_the_equivalence_of_an_amine():
    widths = {}
    for grams in ("0.40", "0.48", "0.556", "0.62", "0.80"):
        found = predict_ph(amidoamine(grams))
        widths[grams] = found.high - found.low
    assert widths["0.40"] < widths["0.48"] < widths["0.556"] > widths["0.62"] > widths["0.80"]
    assert widths["0.556"] > 3 * widths["0.80"]


def test_benzoate_at_ph_five_point_six_hardly_works():
    """By the constant alone 1 / (1 + 10^(5.6 - 4.202)) = 3.8 % is un-ionised; at this ionic strength, where the
    constant is 4.202 less 0.07 to 0.1, about 3.2 %."""
    water = aqueous(composition(water_deionised="85", sodium_benzoate="0.50", citric_acid="0.073"))
    mixture = water.mixture()
    found = mixture.at_measured_ph(5.6).solve()
    forms = found.species["Sodium Benzoate"]
    share = forms[0] / (forms[0] + forms[-1])
    assert found.ph == pytest.approx(5.6, abs=1e-9)
    assert 0.028 < share < 0.040
    assert share < unionised_fraction(5.6, 4.202) < 0.04


def test_the_answer_tells_what_it_rests_on():
    found = predict_ph(
        composition(**QUAT, tetrasodium_glutamate_diacetate_38="0.20", hydrolyzed_rice_protein_20="1.00")
    )
    assert "Citric Acid: pKa 3.128, 4.761, 6.396 (handbook; I = 0, 25 °C)" in found.rests_on
    assert "Tetrasodium Glutamate Diacetate: pKa 2.6, 3.5, 5.0, 9.4 (from memory; I = 0.1, 25 °C)" in found.rests_on
    assert any("cancel: Behentrimonium Chloride" in text for text in found.rests_on)
    assert found.memory == ("Tetrasodium Glutamate Diacetate, pKa 2.6, 3.5, 5.0, 9.4",)
    left_out = "Hydrolyzed Rice Protein (20 % in water) (1.00 %): the library holds no acid constants of it"
    assert found.unmodelled == (left_out,)
    assert any("flakes" in text for text in found.cannot_know)
    assert found.reason == BEFORE_TITRATION
    # sodium of benzoate and GLDA, 2.776 + 4 x 0.2164 mmol in 83.9 g of water; anions of one charge only as much again
    assert 3.642 / 83.9 < found.ionic_strength_mol_per_kg < 1.4 * 3.642 / 83.9
    assert str(found).startswith(f"predicted pH: {found.value} ({found.low} to {found.high}; before any titration")
    assert "rests on constants from memory" in str(found)


def test_it_shows_itself_as_tables_and_in_html():
    found = predict_ph(composition(**QUAT))
    assert "nine readings in ten between" in found.details()
    assert "<table" in found._repr_html_() and "Rests on" in found._repr_html_()
    assert "Cannot know" in found.details()


@pytest.mark.parametrize(
    ("pcts", "why"),
    [
        ({"glycerin": "80", "water_deionised": "10"}, "too little"),
        ({"water_deionised": "90", "glycerin": "10"}, "no acid, no base, no buffer"),
    ],
)
def test_what_cannot_be_computed_says_why(pcts, why):
    found = predict_ph(composition(**pcts))
    assert found.value is found.low is found.high is None
    assert not found.is_known
    assert why in found.reason
    assert str(found).startswith("predicted pH: NOT COMPUTED (")
    assert "NOT COMPUTED" in found._repr_html_()


def test_an_acid_without_constants_stops_the_prediction_and_is_named(tmp_path):
    text = """
[[substance]]
inci = "Own Acid"
category = "acid"

[[material]]
key = "own-acid"
name = "Own acid"
parts = [ { inci = "Own Acid", pct = "100", kind = "supplier-typical", source = "own" } ]
"""
    (tmp_path / "own.toml").write_text(text, encoding="utf-8")
    library = kit.load_library(tmp_path)
    found = predict_ph(composition(library, **QUAT, own_acid="0.1"))
    assert found.value is None
    assert "Own acid (0.1 %): Own Acid" in found.reason


def test_a_formula_with_hardly_a_buffer_says_so():
    found = predict_ph(composition(water_deionised="90", behentrimonium_chloride_80="3", sodium_lactate_60="0.02"))
    assert found.reason == HARDLY_BUFFERED
    assert found.high - found.low > Decimal("1.2")


def test_two_times_the_same_and_the_order_of_lines_does_not_matter():
    mixed = composition(**QUAT)
    turned = replace(mixed, lines=mixed.lines[::-1])
    assert predict_ph(mixed) == predict_ph(mixed)
    first, second = predict_ph(mixed), predict_ph(turned)
    assert first.value == second.value
    assert float(abs(first.low - second.low)) <= 0.02


def test_the_band_is_that_of_a_large_random_sample():
    """100,000 draws with numpy against the fixed sample, tails of 5 % each; the standard error there is below 0.005."""
    found = predict_ph(composition(**QUAT, hydrolyzed_rice_protein_20="1.00"))
    water = aqueous(composition(**QUAT, hydrolyzed_rice_protein_20="1.00"))
    rng = np.random.default_rng(11)
    theta = rng.multivariate_normal(*water.mean_and_covariance, size=100_000)
    readings = water.mixtures(theta).solve().ph + rng.normal(0, 0.05, 100_000)
    low, high = np.quantile(readings, (0.05, 0.95))
    assert float(found.low) == pytest.approx(low, abs=0.012)
    assert float(found.high) == pytest.approx(high, abs=0.012)


def test_the_band_is_not_symmetric_above_an_equivalence():
    """Past the equivalence on the acid side the way up is long and the way down short."""
    found = predict_ph(amidoamine("0.58"))
    assert found.high - found.value > 3 * (found.value - found.low)


def test_fresh_lactic_acid_reads_higher_and_comes_down():
    formula = kit.load_formula(str(kit.__path__[0]) + "/demo/formulas/chamomile.toml", LIBRARY)
    settled, week, day, fresh = (formula.predict_ph(age=age).value for age in (None, "7 d", "24 h", "1 h"))
    assert settled < week < day < fresh
    assert 0.2 < float(fresh - settled) < 0.6
    assert any("bound in Lactic Acid (88 %)" in text for text in formula.predict_ph().cannot_know)
    aged = formula.change({"lactic-acid-88": "0", "lactic-acid-10-solution": "5.80"}, phase="A").predict_ph()
    assert not any("bound" in text for text in aged.cannot_know)


def test_another_temperature_keeps_the_constants_and_says_so():
    found = kit.load_formula(str(kit.__path__[0]) + "/demo/linden.toml", LIBRARY).predict_ph(temp="40 degC")
    assert any("enthalpy not known" in note for note in found.notes)
    with pytest.raises(UnitError):
        kit.load_formula(str(kit.__path__[0]) + "/demo/linden.toml", LIBRARY).predict_ph(age="24")


def test_an_age_before_making_is_refused():
    with pytest.raises(KitError) as caught:
        kit.load_formula(str(kit.__path__[0]) + "/demo/linden.toml", LIBRARY).predict_ph(age="-1 h")
    assert caught.value.code == "ph.age"


def test_any_mixture_of_the_library_has_a_band_or_a_reason(thorough):
    """Random compositions of two to twelve supply forms, from traces to far too much."""
    rng = np.random.default_rng(17)
    materials, computed = list(LIBRARY), 0
    count = 1500 if thorough else 150
    for _ in range(count):
        chosen = rng.choice(len(materials), size=rng.integers(2, 13), replace=False)
        lines = [CompositionLine(materials[index], Decimal(f"{10 ** rng.uniform(-3, 1):.4f}")) for index in chosen]
        rest = max(Decimal(0), 100 - sum(line.pct for line in lines))
        found = predict_ph(Composition((CompositionLine(LIBRARY.find("water"), rest), *lines)))
        if not found.is_known:
            assert found.reason
            continue
        computed += 1
        assert all(math.isfinite(float(number)) for number in (found.value, found.low, found.high))
        assert Decimal(-1) < found.low < found.high < Decimal(15)
        assert found.high - found.low >= Decimal("0.15")  # 2 x 1.645 x 0.05 of a reading alone
    assert computed > count / 2


def knowing(titrated: bool, **means: float) -> Knowledge:
    names = tuple(name.replace("_", " ") for name in means)
    what = "titration, 0.30 g citric acid 10 % on 20 g" if titrated else "reading"
    reading = LearnedReading("LIN-01/1", 7, "24 h", 4.6, 0.1, 0.01, what)
    small = tuple(tuple(0.0001 * (row == column) for column in range(len(names))) for row in range(len(names)))
    return Knowledge(names, tuple(means.values()), small, (reading,))


def test_what_was_learned_moves_the_value_and_narrows_the_band():
    mixed = composition(**QUAT)
    before = predict_ph(mixed)
    learned = predict_ph(mixed, knowing=knowing(False, offset_of_the_base=-1.0))
    assert learned.value > before.value  # less acid
    assert learned.high - learned.low < before.high - before.low
    assert learned.reason.startswith("learned from 1 reading")
    assert predict_ph(mixed, knowing=knowing(True, offset_of_the_base=-1.0)).reason == AFTER_TITRATION
    assert any("1 readings" in text or "readings of the lab" in text for text in learned.rests_on)


def test_knowledge_of_something_else_changes_nothing():
    mixed = composition(**QUAT)
    assert predict_ph(mixed, knowing=knowing(True, acidity_of_parfum=1.0)).value == predict_ph(mixed).value
    assert predict_ph(mixed, knowing=knowing(True, acidity_of_parfum=1.0)).reason == BEFORE_TITRATION
