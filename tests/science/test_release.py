"""First-order release in a mixture: the pH it leads to, the quick look beside it, and what readings tell of it."""

import math

import numpy as np
import pytest

from kit.errors import KitError
from kit.science.acidbase import AcidSystem, solve
from kit.science.release import Aging, approximate_ph_change, fit_release, released_mol_per_kg

LACTIC = AcidSystem("lactic acid", (3.86,))
BENZOIC = AcidSystem("benzoic acid", (4.20,))
AMINE = AcidSystem("amidoamine", (9.2,), charge=1)
DEHYDROACETIC = AcidSystem("dehydroacetic acid", (5.27,))
GLDA = AcidSystem("GLDA", (2.6, 3.5, 5.0, 9.4))
AMMONIUM = AcidSystem("ammonium", (9.246,), charge=1)

AGES = np.array([0.02, 0.25, 1, 2, 3, 7, 14, 28.0])


def amidoamine_base(lactic_pct: float) -> Aging:
    """An invented base, per 100 g: 85.4 g of water in all, amidoamine 2.00 (368.6 g/mol), lactic acid 88 %, GLDA 0.076
    (351.1, four sodium), dehydroacetic acid 0.20 (168.15)."""
    water_kg = 0.0854
    millimoles = {
        LACTIC: 0.88 * lactic_pct / 90.08,
        AMINE: 2.00 / 368.6,
        GLDA: 0.076 / 351.1,
        DEHYDROACETIC: 0.20 / 168.15,
    }
    totals = {system: amount / water_kg for system, amount in millimoles.items()}
    return Aging(totals, {LACTIC: 1.0}, settled=True, strong_ions_mol_per_kg=4 * 0.076 / 351.1 / water_kg)


def quat_base() -> Aging:
    """Water 82.0 g, sodium benzoate 0.40 (144.1), lactic acid 0.05 mol/kg-like share: 0.10 g of 88 % lactic acid."""
    water_kg = 0.082
    totals = {BENZOIC: 0.40 / 144.1 / water_kg, LACTIC: 0.088 / 90.08 / water_kg}
    return Aging(totals, {LACTIC: 1.0}, settled=True, strong_ions_mol_per_kg=0.40 / 144.1 / water_kg)


def test_latent_lactic_acid_in_an_amidoamine_base():
    """13 % of the lactic acidity latent: 4.94 falls to 4.54 (charge balance of the base, worked apart from the kit)."""
    base = amidoamine_base(0.66)
    begin, end = base.ph(0.13 * base.most_latent_mol_per_kg, 1.0, np.array([0.0, 1000.0]))
    assert (begin, end) == pytest.approx((4.94, 4.54), abs=0.01)


def test_latent_lactic_acid_in_a_base_with_another_buffer():
    """15 % of the lactic acidity latent moves a quat base by 0.08 only (4.59 to 4.51): benzoate holds it."""
    base = quat_base()
    begin, end = base.ph(0.15 * base.most_latent_mol_per_kg, 1.0, np.array([0.0, 1000.0]))
    assert end - begin == pytest.approx(-0.08, abs=0.015)


def test_half_is_out_after_a_half_life():
    """Definition of first order: 0.5, 0.75, 0.875 after one, two and three half-lives."""
    found = released_mol_per_kg(0.02, math.log(2) / 3.0, np.array([0.0, 3.0, 6.0, 9.0]))
    assert found == pytest.approx([0.0, 0.010, 0.015, 0.0175], abs=1e-12)


def test_urea_at_38_degrees():
    """Half-life 40 years (from memory): 3 % urea, 0.4995 mol/kg, gives 2 x 0.4995 x 30 x ln 2 / (40 x 365.25) = 1.42
    mmol of ammonia per kg in 30 d; +0.08 pH at a buffer capacity of 17 mmol/kg, +0.57 at 2.5."""
    rate = math.log(2) / (40 * 365.25)
    assert 2000 * released_mol_per_kg(0.4995, rate, 30) == pytest.approx(1.42, abs=0.005)
    assert approximate_ph_change(0.4995, rate, 30, 0.017, protons_per_mol=-2) == pytest.approx(0.0836, abs=0.0005)
    assert approximate_ph_change(0.4995, rate, 30, 0.0025, protons_per_mol=-2) == pytest.approx(0.568, abs=0.003)
    whole = Aging({BENZOIC: 0.03, LACTIC: 0.02}, {AMMONIUM: 2.0}, strong_ions_mol_per_kg=0.035)
    begin, end = whole.ph(0.4995, rate, np.array([0.0, 30.0]))
    capacity = solve(whole.totals, 0.035).buffer_capacity_mol_per_kg
    assert end - begin == pytest.approx(0.00142 / capacity, rel=0.05)
    assert end > begin


def test_the_quick_look_holds_for_a_small_release_and_not_for_a_large_one():
    """Strong acid in a lactate buffer, beta by the solver: within 3 % at 0.07 pH, 0.05 pH off at 0.9 pH."""
    buffer = Aging({LACTIC: 0.1}, released_strong_ions=-1.0, strong_ions_mol_per_kg=0.06)
    capacity = solve({LACTIC: 0.1}, 0.06).buffer_capacity_mol_per_kg
    for latent, close in ((0.004, True), (0.045, False)):
        begin, end = buffer.ph(latent, 1.0, np.array([0.0, 1000.0]))
        quick = approximate_ph_change(latent, 1.0, 1000.0, capacity)
        assert quick < 0 > end - begin
        assert quick == pytest.approx(end - begin, rel=0.03) if close else abs(quick - (end - begin)) > 0.05


def test_the_curve_is_that_of_the_mixture_at_each_age():
    """Each age solved by itself with what is free then."""
    base = quat_base()
    latent = 0.15 * base.most_latent_mol_per_kg
    curve = base.ph(latent, 0.4, AGES)
    for age, ph in zip(AGES, curve, strict=True):
        free = base.totals[LACTIC] - latent * math.exp(-0.4 * age)
        assert ph == pytest.approx(solve({**base.totals, LACTIC: free}, base.strong_ions_mol_per_kg).ph, abs=1e-9)
    assert (np.diff(curve) < 0).all()


@pytest.mark.parametrize("base", [quat_base(), amidoamine_base(0.66)], ids=["quat", "amidoamine"])
def test_readings_without_noise_give_back_what_was_put_in(base):
    latent = 0.15 * base.most_latent_mol_per_kg
    found = fit_release(base, AGES, base.ph(latent, 0.4, AGES, 0.0003))
    told = (found.latent_mol_per_kg, found.rate_per_d, found.offset_mol_per_kg)
    assert told == pytest.approx((latent, 0.4, 0.0003), rel=1e-5)
    assert (found.reason, found.at_bound, found.df) == ("", (), 5)


def test_readings_with_noise_are_within_their_errors():
    """40 runs with an electrode noise of 0.01: the truth within two standard errors in at least 85 of a hundred."""
    base, rng = amidoamine_base(0.66), np.random.default_rng(62)
    latent = 0.13 * base.most_latent_mol_per_kg
    truth = base.ph(latent, 0.6, AGES)
    held = 0
    for _ in range(40):
        found = fit_release(base, AGES, truth + rng.normal(0, 0.01, AGES.size))
        assert found.residual_sd < 0.03
        held += abs(found.latent_mol_per_kg - latent) < 2 * found.latent_error
        held += abs(found.rate_per_d - 0.6) < 2 * found.rate_error
    assert held / 80 >= 0.85


def test_a_rise_in_a_mixture_that_only_sets_acid_free_says_so():
    base = quat_base()
    found = fit_release(base, AGES, 4.5 + 0.3 * (1 - np.exp(-0.5 * AGES)))
    assert "latent" in found.at_bound
    assert found.latent_error is found.rate_error is None
    assert "latent" in found.reason


def test_too_few_or_unmoved_readings_tell_nothing():
    base = quat_base()
    assert "two ages" in fit_release(base, [0, 7], [4.6, 4.5]).reason
    assert "no change" in fit_release(base, [0, 1, 7, 14], [4.60, 4.61, 4.60, 4.61]).reason
    three = fit_release(base, [0, 1, 7], [4.60, 4.56, 4.50])
    assert (three.df, three.latent_error) == (0, None)
    assert "as many unknowns" in three.reason


def test_nothing_is_set_free_out_of_nothing():
    for make in (
        lambda: Aging({BENZOIC: 0.03}),
        lambda: Aging({BENZOIC: 0.03}, {LACTIC: 1.0}, settled=True),
        lambda: quat_base().ph(1.0, 0.4, 0.0),  # more latent than there is
    ):
        with pytest.raises(KitError) as refused:
            make()
        assert refused.value.code in ("ph.release", "ph.amount")
