"""The acid-base solver against PHREEQC on random mixtures and by its own balances; alone and in arrays; refusals."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.errors import KitError
from kit.science import acidbase_inverse, acidbase_iteration
from kit.science.acidbase import AcidSystem, solve, strong_ions_for_ph
from kit.science.acidbase_input import read_input
from kit.science.activity import HELD_AT, debye_hueckel_slope, log10_activity_coefficient
from kit.science.water_ionisation import pkw
from tests.phreeqc_peer import Peer, PeerSystem

LACTIC = AcidSystem("Lac", (3.86,))
CITRIC = AcidSystem("Cit", (3.128, 4.761, 6.396))
BENZOIC = AcidSystem("Bnz", (4.202,))
AMIDOAMINE = AcidSystem("Amd", (9.0,), charge=1)
EDTA = AcidSystem("Edt", (2.16, 3.119, 6.273, 10.948))
ARGININE = AcidSystem("Arg", (1.823, 8.991, 13.8), charge=2)
SORBIC = AcidSystem("Sor", (4.76,))
CONDITIONER = (LACTIC, CITRIC, BENZOIC, AMIDOAMINE, EDTA, ARGININE, SORBIC)
# Lowest and highest total of each. [mol/kg water]
AMOUNTS = ((1e-3, 0.1), (5e-4, 0.03), (5e-3, 0.05), (3e-3, 0.08), (5e-4, 0.005), (1e-3, 0.02), (2e-3, 0.03))
MIXTURES = 600


def conditioners(count: int, seed: int = 5):
    """Random conditioner-like mixtures: some acids missing, sodium of the salts, lye or hydrochloric acid on top."""
    drawn = np.random.default_rng(seed)
    totals = {
        system: np.exp(drawn.uniform(np.log(low), np.log(high), count)) * (drawn.random(count) > 0.35)
        for system, (low, high) in zip(CONDITIONER, AMOUNTS, strict=True)
    }
    strong = totals[BENZOIC] + totals[SORBIC] + 2 * totals[EDTA] + drawn.uniform(-0.02, 0.03, count)
    return totals, strong, drawn


def one_of(totals: dict, strong, index: int) -> tuple[dict, float]:
    return {system: float(amount[index]) for system, amount in totals.items()}, float(strong[index])


@pytest.mark.parametrize(("temp_c", "count"), [(25.0, MIXTURES), (5.0, 120), (45.0, 120), (90.0, 120)])
def test_phreeqc_gives_the_same_ph(temp_c, count):
    """Same constants, Davies on both sides; what is PHREEQC's own is told in `tests/phreeqc_peer.py`."""
    totals, strong, _ = conditioners(count, seed=int(temp_c))
    found = solve(totals, strong, temp_c)
    peer = Peer([PeerSystem(system.name, system.charge, system.pka) for system in CONDITIONER], pkw(temp_c))
    furthest, strength_apart = 0.0, 0.0
    for index in range(count):
        amounts, net = one_of(totals, strong, index)
        by_name = {system.name: amount for system, amount in amounts.items()}
        ph, strength, _ = peer.solve(by_name, max(net, 0.0), max(-net, 0.0), temp_c)
        furthest = max(furthest, abs(found.ph[index] - ph))
        strength_apart = max(strength_apart, abs(found.ionic_strength_mol_per_kg[index] - strength))
    print(f"{count} mixtures at {temp_c:g} degC: largest pH difference {furthest:.5f}, of I {strength_apart:.1e}")
    assert furthest < 0.005
    assert strength_apart < 5e-4
    assert np.ptp(found.ph) > 5
    assert abs(found.ph - solve(totals, strong, temp_c, activity="ideal").ph).max() > 0.2  # what activity is worth
    assert abs(found.charge_residual_mol_per_kg).max() < 1e-12
    assert found.mass_residual_mol_per_kg.max() < 1e-14


def test_twice_and_in_another_order_it_is_the_same_to_the_last_bit_and_alone_to_rounding():
    totals, strong, drawn = conditioners(MIXTURES)
    together, again = solve(totals, strong), solve(totals, strong)
    assert np.array_equal(together.ph, again.ph)
    order = drawn.permutation(MIXTURES)
    shuffled = solve({system: amount[order] for system, amount in totals.items()}, strong[order])
    assert np.array_equal(shuffled.ph, together.ph[order])
    for index in range(0, MIXTURES, 3):  # one number and many take other machine instructions: a last bit may differ
        alone = solve(*one_of(totals, strong, index))
        assert isinstance(alone.ph, float)
        assert alone.ph == pytest.approx(together.ph[index], abs=1e-13)
        assert alone.ionic_strength_mol_per_kg == pytest.approx(together.ionic_strength_mol_per_kg[index], rel=1e-12)
        assert alone.buffer_capacity_mol_per_kg == pytest.approx(together.buffer_capacity_mol_per_kg[index], rel=1e-12)
        for name, forms in alone.species.items():
            found = [together.species[name][charge][index] for charge in forms]
            assert list(forms.values()) == pytest.approx(found, rel=1e-12, abs=1e-20)


def test_many_temperatures_in_one_call():
    heated = AcidSystem("Tea", (7.762,), charge=1, enthalpy_kj_mol=(33.6,))
    temps = np.linspace(5, 90, 18)
    together = solve({heated: 0.1, CITRIC: 0.01}, -0.03, temps)
    alone = [solve({heated: 0.1, CITRIC: 0.01}, -0.03, float(temp_c)).ph for temp_c in temps]
    assert together.ph == pytest.approx(alone, abs=1e-12)
    assert np.all(np.diff(together.ph) < 0)  # an amine buffer grows more acid as it warms
    assert together.notes == ("enthalpy not known, pKa kept at every temperature: Cit",)


def test_a_shifted_constant_is_that_constant():
    shifted = AcidSystem("Cit", tuple(value + 0.1 for value in CITRIC.pka))
    amine = AcidSystem("Amd", (8.7,), charge=1)
    expected = [solve({shifted: 0.02, amine: 0.03}).ph, solve({CITRIC: 0.02, amine: 0.03}).ph]
    found = solve({CITRIC: 0.02, AMIDOAMINE: 0.03}, pka_shifts={CITRIC: [0.1, 0.0], AMIDOAMINE: -0.3}).ph
    assert found == pytest.approx(expected, abs=1e-12)
    assert expected[0] - expected[1] > 0.05
    needed = strong_ions_for_ph({CITRIC: 0.02, AMIDOAMINE: 0.03}, 4.0, pka_shifts={CITRIC: 0.1, AMIDOAMINE: -0.3})
    assert needed == pytest.approx(strong_ions_for_ph({shifted: 0.02, amine: 0.03}, 4.0), abs=1e-14)


def test_shapes_broadcast():
    found = solve({LACTIC: np.array([[0.1], [0.2]]), BENZOIC: 0.01}, [0.0, 0.02, 0.05], [25.0, 25.0, 40.0])
    assert found.ph.shape == found.buffer_capacity_mol_per_kg.shape == found.species["Bnz"][-1].shape == (2, 3)
    assert found.ph[1, 2] == pytest.approx(solve({LACTIC: 0.2, BENZOIC: 0.01}, 0.05, 40.0).ph, abs=1e-12)
    assert solve({LACTIC: np.array([])}, 0.0).ph.shape == (0,)


@st.composite
def any_systems(draw, most: int = 10) -> list[AcidSystem]:
    """Up to ten systems of one to six steps, from an acid to the conjugate of a diamine or triamine.

    Their constants hold at zero ionic strength or at that of a table, at any temperature, with and without enthalpies.
    """
    found = []
    for number in range(draw(st.integers(0, most))):
        pka = sorted(draw(st.lists(st.floats(-2, 14), min_size=1, max_size=6)))
        charge = draw(st.integers(0, min(3, len(pka))))
        strength, told_at = draw(st.sampled_from([0.0, 0.1, 0.5])), draw(st.sampled_from([20.0, 25.0, 37.0]))
        enthalpy = tuple(draw(st.lists(st.floats(-60, 60), min_size=len(pka), max_size=len(pka))))
        hydrogen = draw(st.sampled_from(["activity", "concentration"]))
        known = draw(st.booleans())
        found.append(
            AcidSystem(
                f"system {number}", tuple(pka), charge, strength, told_at, enthalpy if known else (), hydrogen=hydrogen
            )
        )
    return found


AMOUNT = st.one_of(st.just(0.0), st.floats(1e-9, 1e-3), st.floats(0.0, 5.0))
NET_CHARGE = st.one_of(st.just(0.0), st.floats(-1e-3, 1e-3), st.floats(-5.0, 5.0))
TEMPERATURE = st.floats(5, 90)
ACTIVITY = st.sampled_from(["davies", "debye-hueckel", "ideal"])


def charges_left(found, systems, strong: float, temp_c: float, activity: str) -> float:
    """Charge balance from the concentrations of the answer alone, the coefficients worked out anew."""
    log_gamma = log10_activity_coefficient(found.ionic_strength_mol_per_kg, 1, activity, temp_c=temp_c)
    hydrogen = 10 ** (-found.ph - log_gamma)
    hydroxide = 10 ** (found.ph - pkw(temp_c) - log_gamma)
    forms = (found.species[system.name] for system in systems)
    return strong + hydrogen - hydroxide + sum(charge * amount for form in forms for charge, amount in form.items())


@settings(deadline=None, max_examples=150)
@given(any_systems(), st.data(), NET_CHARGE, TEMPERATURE, ACTIVITY)
def test_every_mixture_has_a_ph(systems, data, strong, temp_c, activity):
    totals = {system: data.draw(AMOUNT) for system in systems}
    spectators = data.draw(st.floats(0, 5))
    found = solve(totals, strong, temp_c, activity, spectators)
    values = (found.ph, found.ionic_strength_mol_per_kg, found.buffer_capacity_mol_per_kg)
    assert all(map(math.isfinite, values))
    assert abs(found.charge_residual_mol_per_kg) < 1e-9
    assert found.mass_residual_mol_per_kg < 1e-9
    assert abs(charges_left(found, systems, strong, temp_c, activity)) < 1e-9
    counted = sum(charge**2 * amount for form in found.species.values() for charge, amount in form.items())
    assert 2 * found.ionic_strength_mol_per_kg >= (counted + abs(strong) + spectators) * (1 - 1e-9)
    said = any("kept as they are at 0.5" in note for note in found.notes)
    assert said == (found.ionic_strength_mol_per_kg > HELD_AT and activity != "ideal")
    many = solve(
        {system: np.array([total]) for system, total in totals.items()}, [strong], temp_c, activity, spectators
    )
    assert many.ph[0] == pytest.approx(found.ph, abs=1e-10)


@settings(deadline=None, max_examples=80)
@given(any_systems(), st.data(), TEMPERATURE, ACTIVITY)
def test_strong_base_raises_the_ph(systems, data, temp_c, activity):
    """Never lower, and higher where the base is more than rounding of what is there."""
    totals = {system: data.draw(AMOUNT) for system in systems}
    strong = np.sort(np.array(data.draw(st.lists(st.floats(-5, 5), min_size=2, max_size=6))))
    rising = np.diff(solve(totals, strong, temp_c, activity).ph)
    assert np.all(rising >= -1e-7)
    assert np.all(rising[np.diff(strong) > 1e-3] > 0)


@pytest.mark.parametrize("activity", ["davies", "debye-hueckel", "ideal"])
def test_strong_base_raises_the_ph_of_conditioners(activity):
    totals, strong, _ = conditioners(300, seed=7)
    columns = {system: amount[:, None] for system, amount in totals.items()}
    found = solve(columns, strong[:, None] + np.linspace(0, 0.1, 40), 25.0, activity)
    assert np.all(np.diff(found.ph, axis=1) > 0)
    assert np.all(found.buffer_capacity_mol_per_kg > 0)


@settings(deadline=None, max_examples=60)
@given(any_systems(6), st.data(), NET_CHARGE, TEMPERATURE)
def test_the_order_of_the_systems_does_not_matter(systems, data, strong, temp_c):
    totals = {system: data.draw(AMOUNT) for system in systems}
    shuffled = dict(data.draw(st.permutations(list(totals.items()))))
    one, other = solve(totals, strong, temp_c), solve(shuffled, strong, temp_c)
    # Charges of mol/kg that cancel to the last digits leave rounding behind, which a weak buffer turns into pH.
    rounding = 1e-13 * (1 + abs(strong) + 6 * sum(totals.values())) / one.buffer_capacity_mol_per_kg
    assert other.ph == pytest.approx(one.ph, abs=1e-10 + abs(rounding))


def test_buffer_capacity_is_the_slope_of_the_inverse():
    """By central differences of the inverse, activity included, on both sides of no net charge."""
    totals, strong, _ = conditioners(200, seed=9)
    found = solve(totals, strong)
    step = 1e-5
    above, below = (strong_ions_for_ph(totals, found.ph + sign * step) for sign in (1, -1))
    away = abs(strong) > 1e-4  # at zero net charge the ionic strength has a corner
    slope = (above - below) / (2 * step)
    assert found.buffer_capacity_mol_per_kg[away] == pytest.approx(slope[away], rel=1e-5)
    ideal = solve(totals, strong, activity="ideal").buffer_capacity_mol_per_kg
    assert abs(ideal / found.buffer_capacity_mol_per_kg - 1).max() > 0.02


@pytest.mark.parametrize("activity", ["davies", "debye-hueckel", "ideal"])
def test_the_inverse_is_exact(activity):
    totals, strong, _ = conditioners(MIXTURES, seed=11)
    found = solve(totals, strong, 37.0, activity, 0.05)
    again = strong_ions_for_ph(totals, found.ph, 37.0, activity, 0.05)
    assert abs(again - strong).max() < 1e-12
    assert isinstance(strong_ions_for_ph({LACTIC: 0.1}, 4.0), float)
    assert strong_ions_for_ph({LACTIC: 0.1}, [4.0, 5.0]).shape == (2,)
    assert strong_ions_for_ph({LACTIC: np.array([[0.1], [0.2]])}, [4.0, 5.0]).shape == (2, 2)


def test_bisection_finds_the_same(monkeypatch):
    """What Newton's method leaves is solved by nested bisection: here it is given one step only."""
    totals, strong, _ = conditioners(40, seed=13)
    found = solve(totals, strong)
    needed = strong_ions_for_ph(totals, 5.0)
    monkeypatch.setattr(acidbase_iteration, "MOST_STEPS", 1)
    monkeypatch.setattr(acidbase_inverse, "MOST_STEPS", 1)
    assert solve(totals, strong).ph == pytest.approx(found.ph, abs=1e-10)
    assert solve(*one_of(totals, strong, 3)).ph == pytest.approx(found.ph[3], abs=1e-10)
    assert strong_ions_for_ph(totals, 5.0) == pytest.approx(needed, abs=1e-12)


def test_newton_needs_bisection_hardly_ever():
    """Over extremes, from ten polyprotic systems at 5 mol/kg to pure water, it converges by itself."""
    drawn = np.random.default_rng(17)
    left = 0
    for _ in range(12):
        systems = [
            AcidSystem(f"system {number}", tuple(np.sort(drawn.uniform(-2, 14, drawn.integers(1, 7)))), number % 3)
            for number in range(drawn.integers(0, 11))
            if number % 3 < 2
        ]
        totals = {system: 10 ** drawn.uniform(-8, 0.7, 500) for system in systems}
        problem = read_input(totals, drawn.uniform(-5, 5, 500), 25.0, "davies", 0.0).problem()
        left += np.count_nonzero(~acidbase_iteration.iterate_arrays(problem)[1])
    assert left <= 6  # of 6000


def test_conditional_constants_meet_at_their_ionic_strength():
    """By the definition of a constant, from the concentrations of an answer.

    A mixed constant is a_H [A-]/[HA], one in concentrations [H+][A-]/[HA]: at an ionic strength of 0.1 made by a salt
    both must come out as they were put in, whatever the solver did with them in between.
    """
    for hydrogen in ("activity", "concentration"):
        acid = AcidSystem("acid", (4.0, 6.0), 0, 0.1, hydrogen=hydrogen)
        strong = 1e-5
        found = solve({acid: 1e-5}, strong, spectators_z2_mol_per_kg=0.2 - strong)
        assert found.ionic_strength_mol_per_kg == pytest.approx(0.1, abs=3e-5)
        gamma = 10 ** log10_activity_coefficient(0.1, 1)
        h = 10**-found.ph / (gamma if hydrogen == "concentration" else 1)
        forms = found.species["acid"]
        constants = [-math.log10(h * forms[-1] / forms[0]), -math.log10(h * forms[-2] / forms[-1])]
        assert constants == pytest.approx([4.0, 6.0], abs=3e-4)
    # To zero ionic strength by hand: A x (root 0.1 / (1 + root 0.1) - 0.03) = 0.2103 A = 0.1072, times 1, 3.
    mixed = AcidSystem("acid", (4.0, 6.0), 0, 0.1).pka_at()
    assert mixed == pytest.approx([4.1072, 6.3216], abs=0.0005)
    plain = AcidSystem("acid", (4.0, 6.0), 0, 0.1, hydrogen="concentration").pka_at()
    assert plain == pytest.approx([4.2144, 6.4288], abs=0.0005)
    assert AcidSystem("amine", (9.0,), 1, 0.1).pka_at()[0] == pytest.approx(9.0 - 0.1072, abs=0.0005)
    assert AcidSystem("acid", (4.0, 6.0), 0, 0.1).pka_at(activity="ideal") == (4.0, 6.0)


def test_activity_models_differ_as_they_should():
    lactate = {LACTIC: 0.1}
    davies, extended, ideal = (solve(lactate, 0.05, activity=name).ph for name in ("davies", "debye-hueckel", "ideal"))
    assert ideal > davies > extended  # Davies's last term gives back a part
    root = math.sqrt(0.05)
    assert davies - extended == pytest.approx(0.3 * debye_hueckel_slope(25.0) * 0.0502, abs=3e-4)
    assert ideal - extended == pytest.approx(debye_hueckel_slope(25.0) * root / (1 + root), abs=2e-3)


def test_salt_counts_in_the_ionic_strength_only():
    plain, salted = solve({LACTIC: 0.1}, 0.05), solve({LACTIC: 0.1}, 0.05, spectators_z2_mol_per_kg=0.2)
    rise = salted.ionic_strength_mol_per_kg - plain.ionic_strength_mol_per_kg
    assert rise == pytest.approx(0.1, abs=1e-4)
    assert plain.ph - salted.ph == pytest.approx(0.04, abs=0.02)  # an acid buffer grows more acid
    amine = {AMIDOAMINE: 0.1}
    assert solve(amine, -0.05, spectators_z2_mol_per_kg=0.2).ph > solve(amine, -0.05).ph


def test_above_the_range_of_davies_a_note_says_so():
    assert solve({LACTIC: 0.1}, 0.05).notes == ()
    above = solve({LACTIC: 2.0}, 1.0).notes
    assert above == (
        "ionic strength 1 mol/kg: the Davies equation holds to 0.5; activity coefficients are kept as they are at 0.5",
    )
    assert "holds to 0.1" in solve({LACTIC: 0.5}, 0.25, activity="debye-hueckel").notes[0]
    assert solve({LACTIC: 2.0}, 1.0, activity="ideal").notes == ()
    high, higher = (solve({LACTIC: 2.0}, 1.0, spectators_z2_mol_per_kg=salt).ph for salt in (0.0, 4.0))
    assert high == higher


def test_what_a_system_says():
    assert CITRIC.says == (
        "Cit: pKa 3.128 / 4.761 / 6.396 at zero ionic strength and 25 °C; enthalpy not known, kept at every temperature"
    )
    warm = AcidSystem("acid", (4.0,), 0, 0.1, 20.0, (1.0,), (-100.0,))
    assert warm.says == (
        "acid: pKa 4 at ionic strength 0.1 mol/kg and 20 °C; changes with temperature by its enthalpy and heat capacity"
    )
    assert AcidSystem("acid", (4.0,), enthalpy_kj_mol=(1.0,)).says.endswith("by its enthalpy, taken as constant")
    assert AcidSystem("acid", 4.0) == AcidSystem("acid", [4.0])
    assert len({AcidSystem("acid", (4.0,)), AcidSystem("acid", (4.0,)), AcidSystem("acid", (4.0,), 1)}) == 2


@pytest.mark.parametrize(
    ("call", "code", "words"),
    [
        (lambda: solve({LACTIC: -0.1}), "ph.amount", "Lac"),
        (lambda: solve({LACTIC: math.nan}), "ph.amount", "nan"),
        (lambda: solve({LACTIC: [0.1, math.inf]}), "ph.amount", "inf"),
        (lambda: solve({LACTIC: 21.0}), "ph.amount", "0 to 20"),
        (lambda: solve({LACTIC: "much"}), "ph.amount", "much"),
        (lambda: solve({LACTIC: 0.1}, 21.0), "ph.amount", "strong ions"),
        (lambda: solve({LACTIC: 0.1}, spectators_z2_mol_per_kg=-0.1), "ph.amount", "spectators"),
        (lambda: solve({LACTIC: 0.1}, temp_c=101.0), "ph.temperature", "101"),
        (lambda: solve({LACTIC: 0.1}, temp_c=[25.0, -1.0]), "ph.temperature", "-1"),
        (lambda: solve({LACTIC: 0.1}, activity="pitzer"), "ph.activity", "davies"),
        (lambda: solve({LACTIC: 0.1, AcidSystem("Lac", (3.9,)): 0.1}), "ph.name", "Lac"),
        (lambda: solve({"lactic": 0.1}), "ph.name", "lactic"),
        (lambda: solve({LACTIC: [0.1, 0.2]}, [0.0, 0.1, 0.2]), "ph.shape", "broadcast"),
        (lambda: strong_ions_for_ph({LACTIC: 0.1}, 16.0), "ph.target", "-1 to 15"),
        (lambda: strong_ions_for_ph({LACTIC: 0.1}, [4.0, math.nan]), "ph.target", "nan"),
        (lambda: AcidSystem("acid", ()), "ph.system", "1 to 8"),
        (lambda: AcidSystem("acid", (1.0,) * 9), "ph.system", "1 to 8"),
        (lambda: AcidSystem("acid", (math.nan,)), "ph.system", "nan"),
        (lambda: AcidSystem("acid", ("four",)), "ph.system", "four"),
        (lambda: AcidSystem("acid", (4.0,), charge=0.5), "ph.system", "0.5"),
        (lambda: AcidSystem("acid", (4.0,), ionic_strength_mol_per_kg=-1), "ph.system", "ionic strength"),
        (lambda: AcidSystem("acid", (4.0,), temp_c=120), "ph.system", "120"),
        (lambda: AcidSystem("acid", (4.0,), enthalpy_kj_mol=(1.0, 2.0)), "ph.system", "enthalpy"),
        (lambda: AcidSystem("acid", (4.0,), hydrogen="both"), "ph.system", "both"),
    ],
)
def test_refusals(call, code, words):
    with pytest.raises(KitError) as refused:
        call()
    assert refused.value.code == code
    assert words in str(refused.value)
