"""Amines against their acids, by hand and by PHREEQC."""

from __future__ import annotations

import numpy as np
import pytest

from kit.errors import KitError
from kit.science.acidbase import AcidSystem
from kit.science.mixture import Mixture
from kit.science.neutralisation import amine_balance
from tests.phreeqc_peer import Peer, PeerSystem

AMIDOAMINE = AcidSystem("Amd", (9.0,), charge=1)
LACTIC = AcidSystem("Lac", (3.86,))
CITRIC = AcidSystem("Cit", (3.128, 4.761, 6.396))
BENZOIC = AcidSystem("Bnz", (4.202,))
DEHYDROACETIC = AcidSystem("Dha", (5.27,))
EDTA = AcidSystem("Edt", (2.16, 3.119, 6.273, 10.948))
GLDA = AcidSystem("Gld", (2.6, 3.5, 5.0, 9.4), ionic_strength_mol_per_kg=0.1)
ARGININE = AcidSystem("Arg", (1.82, 8.99, 12.48), charge=2)
GLYCINE = AcidSystem("Gly", (2.35, 9.778), charge=1)
PYRIDINE = AcidSystem("Pyr", (5.23,), charge=1)
SALICYLIC = AcidSystem("Sal", (2.98, 13.6))


@pytest.mark.parametrize(
    ("others", "strong", "acid"),
    [
        ({LACTIC: 4.0}, 0.0, 4.0),
        ({CITRIC: 2.0}, 0.0, 6.0),  # all three protons are held less firmly than by the amine
        ({SALICYLIC: 3.0}, 0.0, 3.0),  # its phenol holds the second one more firmly
        ({BENZOIC: 3.0}, 3.0, 0.0),  # sodium benzoate: no acid at all
        ({BENZOIC: 3.0, LACTIC: 4.0}, 3.0, 4.0),
        ({LACTIC: 4.0}, 1.0, 3.0),  # 1 mmol of lye
        ({}, -5.0, 5.0),  # hydrochloride
        ({GLDA: 1.0, LACTIC: 6.0}, 4.0, 5.0),  # its tetrasodium salt takes one proton
        ({EDTA: 1.0, LACTIC: 4.0}, 2.0, 5.0),  # its disodium salt gives up one
        ({ARGININE: 1.0, LACTIC: 6.0}, 0.0, 5.0),  # takes one, though its amino group holds it less firmly (8.99)
        ({GLYCINE: 2.0}, 0.0, 0.0),  # its carboxyl has given its proton to its own amine
    ],
)
def test_acid_equivalents(others, strong, acid):
    found = amine_balance(Mixture(80.0, {AMIDOAMINE: 5.0, **others}, strong), AMIDOAMINE)
    assert found.acid_mmol == pytest.approx(acid)
    assert found.degree == pytest.approx(acid / 5.0)


@pytest.mark.parametrize(("lactic", "near"), [(4.8, False), (4.86, True), (5.0, True), (5.14, True), (5.2, False)])
def test_within_three_percent_of_equivalence_it_cannot_be_predicted(lactic, near):
    found = amine_balance(Mixture(80.0, {AMIDOAMINE: 5.0, LACTIC: lactic}), AMIDOAMINE)
    assert found.near is near
    assert ("within 3 % of equivalence it cannot be predicted" in str(found)) is near
    assert found.ph_less < found.ph < found.ph_more


@pytest.mark.parametrize(
    ("others", "strong"),
    [
        ({LACTIC: 5.0}, 0.0),
        ({CITRIC: 1.7}, 0.0),
        ({BENZOIC: 3.0, CITRIC: 1.7}, 3.0),
        ({DEHYDROACETIC: 1.2, LACTIC: 4.5}, 0.0),
        ({GLDA: 1.0, LACTIC: 6.0}, 4.0),
        ({GLDA: 1.0, CITRIC: 2.5}, 4.0),
        ({EDTA: 0.3, CITRIC: 1.7}, 0.6),
        ({ARGININE: 1.0, CITRIC: 2.2}, 0.0),
    ],
)
def test_equivalence_is_where_the_ph_is_steepest_in_the_amine(others, strong):
    """Whatever the acids: the largest slope of pH on the logarithm of the amine lies within 1 % of a degree of 1."""
    amine = AcidSystem("Amd", (9.4,), charge=1)
    amounts = np.linspace(3.0, 8.0, 4001)
    ph = Mixture(90.0, {**others, amine: amounts}, strong).solve().ph
    steepest = amounts[np.gradient(ph, np.log(amounts)).argmax()]
    assert amine_balance(Mixture(90.0, {**others, amine: float(steepest)}, strong), amine).degree == pytest.approx(
        1, abs=0.01
    )


def test_the_jump_by_phreeqc():
    """2.00 g of an amidoamine (5.43 mmol) with 0.556 g of 88 % lactic acid (5.432 mmol) in 82 g of water."""
    peer = Peer([PeerSystem("Amd", 1, (9.0,)), PeerSystem("Lac", 0, (3.86,))], 13.995)
    found = amine_balance(Mixture(82.0, {AMIDOAMINE: 5.43, LACTIC: 5.432}, mass_g=100.0), AMIDOAMINE)
    expected = [peer.solve({"Amd": 5.43 * part / 82, "Lac": 5.432 / 82}, 0.0, 0.0)[0] for part in (0.97, 1.0, 1.03)]
    assert [found.ph_less, found.ph, found.ph_more] == pytest.approx(expected, abs=0.002)
    assert found.ph_more - found.ph_less > 2
    # With 8 % of acid over it the same 3 % move it by a fifth of that.
    over = amine_balance(Mixture(82.0, {AMIDOAMINE: 5.43, LACTIC: 5.862}, mass_g=100.0), AMIDOAMINE)
    assert over.ph_more - over.ph_less < 0.5
    assert str(over).startswith("Amd is neutralised to 108%; pH 4.")


def test_shifts_of_constants_go_along():
    mixture = Mixture(82.0, {AMIDOAMINE: 5.43, LACTIC: 4.0}, pka_shifts={AMIDOAMINE: 0.2})
    plain = Mixture(82.0, {AMIDOAMINE: 5.43, LACTIC: 4.0})
    assert amine_balance(mixture, AMIDOAMINE).ph - amine_balance(plain, AMIDOAMINE).ph == pytest.approx(0.2, abs=0.001)


@pytest.mark.parametrize("amine", [LACTIC, GLYCINE, AcidSystem("none of it", (9.0,), charge=1), PYRIDINE])
def test_what_is_no_amine_of_the_batch(amine):
    with pytest.raises(KitError) as refused:
        amine_balance(Mixture(80.0, {AMIDOAMINE: 5.0, LACTIC: 4.0, GLYCINE: 1.0, PYRIDINE: 1.0}), amine)
    assert refused.value.code == "ph.amine"
    assert amine.name in str(refused.value)
