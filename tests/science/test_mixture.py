"""Amounts in a batch and what a stock solution adds to them, by hand."""

from __future__ import annotations

import numpy as np
import pytest

from kit.errors import KitError
from kit.science.acidbase import AcidSystem, solve
from kit.science.mixture import Mixture, Stock

LACTIC = AcidSystem("lactic acid", (3.86,))
CITRIC = AcidSystem("citric acid", (3.128, 4.761, 6.396))


def test_amounts_become_concentrations_in_the_water():
    """4 mmol in 80 g of water are 0.05 mol/kg, whatever the batch weighs."""
    mixture = Mixture(80.0, {LACTIC: 4.0}, 2.0, 1.6, mass_g=100.0)
    assert mixture.totals_mol_per_kg() == {LACTIC: 0.05}
    assert mixture.solve() == solve({LACTIC: 0.05}, 0.025, spectators_z2_mol_per_kg=0.02)
    assert Mixture(80.0, {}).mass_g == 80.0


def test_a_dose_adds_its_water_and_its_contents():
    mixture = Mixture(80.0, {LACTIC: 4.0}, 2.0, 0.5, mass_g=100.0)
    stock = Stock("mixed", 0.8, {LACTIC: 0.3, CITRIC: 0.2}, 0.1, 0.4)
    dosed = mixture.plus(stock, 5.0)
    assert dosed.water_g == pytest.approx(84.0)
    assert dosed.mass_g == pytest.approx(105.0)
    assert dict(dosed.totals_mmol) == pytest.approx({LACTIC: 5.5, CITRIC: 1.0})
    assert dosed.strong_ions_mmol == pytest.approx(2.5)
    assert dosed.spectators_z2_mmol == pytest.approx(2.5)
    assert mixture.totals_mmol == {LACTIC: 4.0}


@pytest.mark.parametrize(
    ("there", "added", "net", "salt"),
    [
        # Sodium 3 mmol, chloride 1 mmol: net +2, and 1 mmol of sodium chloride, whose n z^2 are 2.
        (3.0, -1.0, 2.0, 2.0),
        (1.0, -3.0, -2.0, 2.0),
        (-1.0, 1.0, 0.0, 2.0),
        (1.0, 1.0, 2.0, 0.0),
    ],
)
def test_ions_of_opposite_sign_stay_as_salt(there, added, net, salt):
    dosed = Mixture(100.0, {}, there).plus(Stock("strong", 0.0, strong_ions_mmol_per_g=added), 1.0)
    assert dosed.strong_ions_mmol == net
    assert dosed.spectators_z2_mmol == salt
    # Half the sum of n z^2 is what all ions together give.
    assert 0.5 * (abs(net) + salt) == 0.5 * (abs(there) + abs(added))


def test_a_dilution_takes_the_whole_batch():
    """10 %: 100 g of batch with 80 g of water in 900 g more."""
    diluted = Mixture(80.0, {LACTIC: 4.0}, mass_g=100.0).diluted(10)
    assert (diluted.water_g, diluted.mass_g) == (980.0, 1000.0)
    assert diluted.totals_mmol == {LACTIC: 4.0}


def test_many_batches_at_once():
    water, lactic = np.array([80.0, 60.0]), np.array([4.0, 6.0])
    many = Mixture(water, {LACTIC: lactic}, np.array([2.0, -1.0]), mass_g=100.0)
    found = many.plus(Stock("acid", 0.9, {CITRIC: 0.5}), 1.0).diluted(50).solve().ph
    for index in range(2):
        one = Mixture(float(water[index]), {LACTIC: float(lactic[index])}, [2.0, -1.0][index], mass_g=100.0)
        alone = one.plus(Stock("acid", 0.9, {CITRIC: 0.5}), 1.0).diluted(50).solve().ph
        assert found[index] == pytest.approx(alone, abs=1e-13)


def test_at_the_measured_ph():
    measured = Mixture(80.0, {LACTIC: 4.0}, mass_g=100.0).at_measured_ph(3.778)
    # Half neutralised at pH 3.78: 0.1 mol/kg of lactic acid would be; here 0.05, by the same share and less activity.
    assert measured.solve().ph == pytest.approx(3.778, abs=1e-9)
    assert 1.8 < measured.strong_ions_mmol < 2.0
    assert Mixture(80.0, {LACTIC: 4.0}, 2.0).at_measured_ph(2.0).strong_ions_mmol < 0


def test_shifts_of_constants_go_along():
    plain = Mixture(80.0, {LACTIC: 4.0}, 2.0)
    shifted = Mixture(80.0, {LACTIC: 4.0}, 2.0, pka_shifts={LACTIC: 0.2})
    other = Mixture(80.0, {AcidSystem("lactic acid", (4.06,)): 4.0}, 2.0)
    assert shifted.solve().ph == pytest.approx(other.solve().ph, abs=1e-12)
    assert shifted.solve().ph - plain.solve().ph == pytest.approx(0.2, abs=0.01)
    stock = Stock("water", 1.0)
    assert shifted.plus(stock, 5.0).solve().ph == pytest.approx(other.plus(stock, 5.0).solve().ph, abs=1e-12)
    assert shifted.diluted(10).solve().ph == pytest.approx(other.diluted(10).solve().ph, abs=1e-12)
    assert shifted.at_measured_ph(4.5).strong_ions_mmol == pytest.approx(other.at_measured_ph(4.5).strong_ions_mmol)


@pytest.mark.parametrize("water_g", [0.0, -1.0, float("nan"), np.array([80.0, 0.0])])
def test_no_ph_without_water(water_g):
    with pytest.raises(KitError) as refused:
        Mixture(water_g, {LACTIC: 4.0})
    assert refused.value.code == "ph.water"
