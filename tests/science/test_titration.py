"""Titration and dosing: by PHREEQC on the dosed mixture, by hand, and by what must hold between the answers."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.errors import KitError
from kit.science.acidbase import AcidSystem, solve
from kit.science.mixture import Mixture, Stock
from kit.science.titration import (
    DROP_G,
    dilution_change,
    dose_to_ph,
    drop_change,
    round_trip,
    titration_curve,
)
from tests.phreeqc_peer import Peer, PeerSystem

LACTIC = AcidSystem("Lac", (3.86,))
CITRIC = AcidSystem("Cit", (3.128, 4.761, 6.396))
BENZOIC = AcidSystem("Bnz", (4.202,))
PEER_SYSTEMS = [PeerSystem(system.name, 0, system.pka) for system in (LACTIC, CITRIC, BENZOIC)]
PKW = 13.995

# 100 g of batch with 80 g of water: 4 mmol sodium benzoate, 1 mmol lactic acid.
BATCH = Mixture(80.0, {BENZOIC: 4.0, LACTIC: 1.0}, strong_ions_mmol=4.0, mass_g=100.0)
CITRIC_10 = Stock("citric acid 10 %", 0.9, {CITRIC: 100 / 192.124})
LYE_10 = Stock("sodium hydroxide 10 %", 0.9, strong_ions_mmol_per_g=100 / 39.997)
HYDROCHLORIC = Stock("hydrochloric acid 1 mmol/g", 0.9635, strong_ions_mmol_per_g=-1.0)


@pytest.fixture(scope="module")
def peer() -> Peer:
    return Peer(PEER_SYSTEMS, PKW)


def by_phreeqc(peer: Peer, dose_g: float, lye_g: float = 0.0) -> float:
    """The batch with a dose of citric acid and one of lye, the water of both added by hand."""
    water = 80.0 + 0.9 * dose_g + 0.9 * lye_g
    totals = {"Bnz": 4.0 / water, "Lac": 1.0 / water, "Cit": dose_g * 100 / 192.124 / water}
    return peer.solve(totals, (4.0 + lye_g * 100 / 39.997) / water, 0.0)[0]


def test_the_curve_by_phreeqc(peer):
    doses = np.array([0.0, 0.05, 0.2, 0.5, 1.0, 2.0, 5.0])
    curve = titration_curve(BATCH, CITRIC_10, doses)
    assert curve.ph == pytest.approx([by_phreeqc(peer, dose) for dose in doses], abs=0.001)
    assert np.all(np.diff(curve.ph) < -0.01)
    assert curve.water_g == pytest.approx(80 + 0.9 * doses)
    single = solve({BENZOIC: 0.05, LACTIC: 0.0125}, 0.05)
    assert curve.buffer_capacity_mmol_per_ph[0] == pytest.approx(80 * single.buffer_capacity_mol_per_kg)
    assert curve.ionic_strength_mol_per_kg[0] == pytest.approx(single.ionic_strength_mol_per_kg)


def test_a_dose_and_its_check_by_phreeqc(peer):
    found = dose_to_ph(BATCH, CITRIC_10, 4.50)
    assert by_phreeqc(peer, found.dose_g) == pytest.approx(4.50, abs=0.001)
    assert found.ph_before == pytest.approx(by_phreeqc(peer, 0.0), abs=0.001)
    assert found.ph_after == pytest.approx(4.50, abs=1e-9)
    assert found.water_added_g == pytest.approx(0.9 * found.dose_g)
    assert found.offset_mmol == 0
    assert found.drops == pytest.approx(found.dose_g / 0.05)
    assert found.stock == "citric acid 10 %"
    # One drop, 0.05 g, before and after the dose.
    assert found.drop_before == pytest.approx(by_phreeqc(peer, DROP_G) - by_phreeqc(peer, 0.0), abs=2e-4)
    further = by_phreeqc(peer, found.dose_g + DROP_G) - by_phreeqc(peer, found.dose_g)
    assert found.drop_after == pytest.approx(further, abs=2e-4)
    assert found.drop_before < found.drop_after < 0  # citric acid buffers what it has made
    assert drop_change(BATCH, CITRIC_10) == pytest.approx(found.drop_before)


def test_the_water_of_the_stock_counts():
    """A stock ten times as thin, 1 %, brings ten times the water; not counting it would leave the dose the same."""
    thin = Stock("citric acid 1 %", 0.99, {CITRIC: 10 / 192.124})
    strong, weak = dose_to_ph(BATCH, CITRIC_10, 4.2), dose_to_ph(BATCH, thin, 4.2)
    assert weak.dose_g / strong.dose_g == pytest.approx(10, rel=0.06)
    assert abs(weak.dose_g / strong.dose_g - 10) > 0.05
    assert weak.water_added_g / strong.water_added_g > 10.5


def test_a_dose_up_is_the_inverse():
    """Lye is strong base alone: by hand n = S(target) - S(now), here without the stock's water."""
    lye = Stock("lye, dry", 0.0, strong_ions_mmol_per_g=25.0)
    found = dose_to_ph(BATCH, lye, 6.0)
    total = solve({BENZOIC: 0.05, LACTIC: 0.0125}, 0.05 + found.dose_g * 25 / 80)
    assert total.ph == pytest.approx(6.0, abs=1e-9)
    assert found.ph_after > found.ph_before
    assert found.drop_after > 0


def test_from_the_measured_ph(peer):
    """The batch read 0.20 higher than the model: base that nobody counted, which takes more acid."""
    model = dose_to_ph(BATCH, CITRIC_10, 4.2)
    found = dose_to_ph(BATCH, CITRIC_10, 4.2, measured_ph=model.ph_before + 0.20)
    assert found.ph_before == pytest.approx(model.ph_before + 0.20, abs=1e-9)
    assert found.ph_after == pytest.approx(4.2, abs=1e-9)
    assert found.offset_mmol > 0.05
    assert found.dose_g > 1.1 * model.dose_g
    # The offset as so much lye in the batch, by PHREEQC: it starts and ends where it should.
    water, lye = 80.0, found.offset_mmol
    start = peer.solve({"Bnz": 4 / water, "Lac": 1 / water}, (4 + lye) / water, 0.0)[0]
    assert start == pytest.approx(found.ph_before, abs=0.001)
    water += 0.9 * found.dose_g
    amounts = {"Bnz": 4 / water, "Lac": 1 / water, "Cit": found.dose_g * 100 / 192.124 / water}
    assert peer.solve(amounts, (4 + lye) / water, 0.0)[0] == pytest.approx(4.2, abs=0.001)
    lower = dose_to_ph(BATCH, CITRIC_10, 4.2, measured_ph=model.ph_before - 0.20)
    assert lower.offset_mmol < 0
    assert lower.dose_g < 0.9 * model.dose_g


def test_nothing_to_do():
    now = BATCH.solve().ph
    found = dose_to_ph(BATCH, CITRIC_10, now)
    assert found.dose_g == found.water_added_g == 0


@pytest.mark.parametrize(
    ("stock", "target", "words"),
    [
        (CITRIC_10, 6.0, ("citric acid 10 % lowers the pH", "no dose comes any nearer")),
        (CITRIC_10, 1.2, ("lowers the pH", "the nearest is pH")),
        (LYE_10, 4.0, ("raises the pH", "no dose comes any nearer")),
        (Stock("water", 1.0), 4.0, ("water",)),
    ],
)
def test_a_target_out_of_reach_says_which_way_the_stock_goes(stock, target, words):
    with pytest.raises(KitError) as refused:
        dose_to_ph(BATCH, stock, target)
    assert refused.value.code == "ph.unreachable"
    assert all(word in str(refused.value) for word in words)
    assert f"pH {target:.2f} is not on that way" in str(refused.value)


def test_a_smaller_limit_of_the_dose_is_kept():
    enough = dose_to_ph(BATCH, CITRIC_10, 4.5).dose_g
    assert dose_to_ph(BATCH, CITRIC_10, 4.5, most_g=1.01 * enough).dose_g == pytest.approx(enough, rel=1e-8)
    with pytest.raises(KitError, match="the nearest is"):
        dose_to_ph(BATCH, CITRIC_10, 4.5, most_g=0.9 * enough)


@pytest.mark.parametrize("target", [math.nan, math.inf, -3.0])
def test_a_target_that_is_none(target):
    with pytest.raises(KitError) as refused:
        dose_to_ph(BATCH, CITRIC_10, target)
    assert refused.value.code == "ph.target"


@settings(deadline=None, max_examples=40)
@given(
    st.floats(0.2, 8),
    st.floats(0.0, 5),
    st.floats(0.0, 1.0),
    st.floats(0.05, 0.95),
    st.sampled_from([CITRIC_10, LYE_10]),
)
def test_every_ph_on_the_way_is_reached(benzoate, lactic, share, part, stock):
    """A pH between those of two doses takes a dose between them."""
    batch = Mixture(80.0, {BENZOIC: benzoate, LACTIC: lactic}, benzoate * share, mass_g=100.0)
    curve = titration_curve(batch, stock, [0.0, 3.0])
    target = float(curve.ph[0] + part * (curve.ph[1] - curve.ph[0]))
    found = dose_to_ph(batch, stock, target)
    assert 0 < found.dose_g < 3
    assert found.ph_after == pytest.approx(target, abs=1e-6)


def test_round_trip_with_hydrochloric_acid_and_lye():
    """By hand: as much lye as there was hydrochloric acid, and as much sodium chloride stays.

    The salt itself ionises a little more of the acids that are there, and so does the dilution: 2 % more.
    """
    strong = round_trip(BATCH, HYDROCHLORIC, LYE_10, 4.0)
    added = strong.out.dose_g * 1.0
    assert strong.out.stock == "hydrochloric acid 1 mmol/g"
    assert strong.back.ph_after == pytest.approx(strong.out.ph_before, abs=1e-9)
    assert strong.back.dose_g * 100 / 39.997 == pytest.approx(added, rel=0.02)
    assert strong.salt_mmol == pytest.approx(added, rel=0.02)
    water = 80 + strong.water_added_g
    before = BATCH.solve().ionic_strength_mol_per_kg
    assert strong.ionic_strength_added == pytest.approx((before * 80 + added) / water - before, rel=0.02)


def test_round_trip_with_citric_acid_leaves_more_salt():
    """Trisodium citrate: at pH near 5 about 1.7 sodium a citric acid, and I counts charge by its square."""
    trip = round_trip(BATCH, CITRIC_10, LYE_10, 4.5)
    citric, sodium = trip.out.dose_g * 100 / 192.124, trip.back.dose_g * 100 / 39.997
    assert trip.out.ph_after == pytest.approx(4.5)
    assert trip.out.ph_before > 4.6
    assert 1.3 < sodium / citric < 2.3
    assert trip.salt_mmol > sodium
    assert trip.water_added_g == pytest.approx(0.9 * (trip.out.dose_g + trip.back.dose_g))
    up = round_trip(BATCH, CITRIC_10, LYE_10, 6.5)
    assert up.out.stock == LYE_10.name and up.back.stock == CITRIC_10.name
    assert up.salt_mmol > 0


def test_round_trip_from_the_measured_ph():
    trip = round_trip(BATCH, CITRIC_10, LYE_10, 4.5, measured_ph=5.0)
    assert trip.out.ph_before == pytest.approx(5.0, abs=1e-9)
    assert trip.back.ph_after == pytest.approx(5.0, abs=1e-9)


def test_neat_against_ten_percent(peer):
    """By PHREEQC on 10 g of the batch in 90 g of water: 8 + 90 g of water for a tenth of everything."""
    found = dilution_change(BATCH, 10)
    water = 8.0 + 90.0
    by_peer = peer.solve({"Bnz": 0.4 / water, "Lac": 0.1 / water}, 0.4 / water, 0.0)[0]
    assert found.neat == pytest.approx(by_phreeqc(peer, 0.0), abs=0.001)
    assert found.diluted == pytest.approx(by_peer, abs=0.001)
    assert found.change == pytest.approx(found.diluted - found.neat)
    assert found.change > 0.02  # activity coefficients rise towards 1
    assert dilution_change(BATCH, 100).change == 0
    for pct in (0.0, -1.0, 101.0):
        with pytest.raises(KitError) as refused:
            dilution_change(BATCH, pct)
        assert refused.value.code == "ph.dilution"
