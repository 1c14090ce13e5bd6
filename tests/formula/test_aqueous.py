"""From a composition to its water: amounts worked by hand from molar masses, charges and formulas."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest

import kit
from kit.errors import KitError, MaterialError
from kit.formula.aqueous import (
    GROUPS_PER_CAPACITY,
    GROUPS_PKA,
    aqueous,
    groups_system,
    stock_of,
    system_of,
    water_pct,
)
from kit.formula.aqueous_chemistry import chemistry_of, counter_charges, elements, protons_carried
from kit.formula.composition import Composition, CompositionLine
from kit.formula.lots import Lot
from kit.formula.predict import predict_ph
from kit.formula.substance import Substance

LIBRARY = kit.load_library()


def composition(library=LIBRARY, **pcts: str) -> Composition:
    """A composition from keys with underscores for hyphens."""
    return Composition(
        tuple(CompositionLine(library.find(key.replace("_", "-")), Decimal(pct)) for key, pct in pcts.items())
    )


def substance(inci: str, category: str, **fields) -> Substance:
    """A lab's own substance, with a molar mass of 100 g/mol and constants at zero ionic strength."""
    pka = [
        {"value": value, "unit": "1", "kind": "handbook", "source": "own", "conditions": "25 degC, I = 0"}
        for value in fields.pop("pka", ())
    ]
    mass = {"value": "100", "unit": "g/mol", "kind": "handbook", "source": "own"}
    return Substance.read({"inci": inci, "category": category, "molar_mass": mass, "pka": pka, **fields})


def amounts(mixture) -> dict[str, float]:
    return {system.name: float(np.ravel(total)[0]) for system, total in mixture.totals_mmol.items()}


# Protons a formula unit still carries, counted on its structural formula: Na2H2EDTA has two of the four that its
# constants speak of, Na4GLDA none, benzoate none, citric acid three; an amine as free base has lost its one; arginine
# as the zwitterion has lost the proton of its carboxyl and that of one of its two nitrogens' conjugate acids.
@pytest.mark.parametrize(
    ("inci", "carried", "sodium"),
    [
        ("Citric Acid", 3, 0),
        ("Lactic Acid", 1, 0),
        ("Sodium Lactate", 0, 1),
        ("Disodium EDTA", 2, 2),
        ("Tetrasodium Glutamate Diacetate", 0, 4),
        ("Sodium Benzoate", 0, 1),
        ("Potassium Sorbate", 0, 1),
        ("Benzoic Acid", 1, 0),
        ("Sodium Dehydroacetate", 0, 1),
        ("Dehydroacetic Acid", 1, 0),
        ("Stearamidopropyl Dimethylamine", 0, 0),
        ("Behenamidopropyl Dimethylamine", 0, 0),
        ("Arginine", 1, 0),
        ("Niacinamide", 0, 0),
        ("Betaine", 0, 0),
        ("Gluconolactone", 1, 0),
    ],
)
def test_the_protons_of_a_formula_unit_follow_from_its_formula(inci, carried, sodium):
    found = chemistry_of(LIBRARY.substances[inci])
    assert found.role == "modelled"
    assert protons_carried(found.chemistry) == carried
    assert found.chemistry.strong_charge == sodium


def test_every_substance_with_a_constant_states_the_charge_of_its_protonated_form():
    with_constants = [row for row in LIBRARY.substances.values() if row.pka]
    assert len(with_constants) >= 18
    assert [row.inci for row in with_constants if row.protonated_charge is None] == []
    ranged = [row.inci for row in with_constants if any(fact.value is None for fact in row.pka)]
    assert [row.inci for row in with_constants if chemistry_of(row).role != "modelled"] == ranged


def test_the_formula_is_read_atom_by_atom():
    assert elements("C9H9NNa4O8") == {"C": 9, "H": 9, "N": 1, "Na": 4, "O": 8}
    assert elements("") == {}


def test_counter_ions_stated_go_before_the_formula():
    salt = substance("Arginine HCl", "base", pka=["1.82", "8.99", "12.48"], protonated_charge=2, counter_ions=["Cl-"])
    assert counter_charges(salt) == (-1,)
    assert protons_carried(chemistry_of(salt).chemistry) == 2  # HCl has given its proton to the base
    magnesium = substance("Magnesium Sulfate", "salt", counter_ions=["Mg^2+", "SO4^2-"])
    chemistry = chemistry_of(magnesium).chemistry
    assert (chemistry.strong_charge, chemistry.spectator_z2) == (0, 8)  # 1 x 4 + 1 x 4
    calcium = chemistry_of(substance("Calcium Chloride", "salt", counter_ions=["Ca^2+", "2 Cl-"])).chemistry
    assert (calcium.strong_charge, calcium.spectator_z2) == (0, 6)


@pytest.mark.parametrize(
    ("inci", "role"),
    [
        ("Glycerin", "neutral"),
        ("Cetyl Alcohol", "neutral"),
        ("Phenoxyethanol", "neutral"),
        ("Behentrimonium Chloride", "cancels"),
        ("Behentrimonium Methosulfate", "cancels"),
        ("Polyquaternium-10", "cancels"),
        ("Sodium Laureth Sulfate", "cancels"),
        ("Hydrolyzed Oat Protein", "unmodelled"),
        ("Tilia Cordata Flower Extract", "unmodelled"),
        ("Xanthan Gum", "unmodelled"),
        ("Carbomer", "unmodelled"),
        ("Sodium Phytate", "unmodelled"),
        ("Amodimethicone", "unmodelled"),
        ("Hydroxypropyl Starch Phosphate", "unmodelled"),
        ("Sodium Hydroxide", "modelled"),
    ],
)
def test_each_class_has_its_role_with_a_reason(inci, role):
    found = chemistry_of(LIBRARY.substances[inci])
    assert (found.role, bool(found.why)) == (role, True)


def test_every_starter_substance_has_a_role_and_only_what_must_be_is_left_out():
    roles = {inci: chemistry_of(row).role for inci, row in LIBRARY.substances.items()}
    left_out = {inci for inci, role in roles.items() if role in ("unmodelled", "decisive")}
    classes = {LIBRARY.substances[inci].category for inci in left_out}
    assert classes == {"extract", "protein", "chelator", "anionic polymer", "starch", "silicone"}
    assert "decisive" not in roles.values()


def test_a_formula_recorded_before_the_chemistry_was_stated_is_read_with_todays():
    """Rows of an older record know no `acid_base` and no `protonated_charge`; the kit's own are completed."""
    new_fields = ("acid_base", "protonated_charge", "crystal_water")
    for inci, row in LIBRARY.substances.items():
        old = Substance.read({name: value for name, value in row.row().items() if name not in new_fields})
        assert chemistry_of(old) == chemistry_of(row), inci
    stranger = Substance.read({"inci": "Glycerin", "category": "humectant", "origin": "own.toml"})
    assert chemistry_of(stranger).role == "unmodelled"


@pytest.mark.parametrize(
    ("own", "why"),
    [
        (substance("Own Acid", "acid"), "no acid constants"),
        (substance("Own Base", "base", pka=["9.0"]), "protonated_charge"),
        (substance("Own Acid", "acid", pka=["3.0"], formula="C3H2Na3O2"), "do not fit together"),
    ],
)
def test_an_acid_or_base_without_its_chemistry_is_decisive(own, why):
    found = chemistry_of(own)
    assert found.role == "decisive"
    assert why in found.why


def test_a_preservative_of_unknown_chemistry_is_unmodelled_not_neutral():
    assert chemistry_of(substance("Own Preservative", "preservative")).role == "unmodelled"
    assert chemistry_of(substance("Own Preservative", "preservative", acid_base="none")).role == "neutral"


def test_constants_carry_the_conditions_they_are_printed_with():
    glda = chemistry_of(LIBRARY.substances["Tetrasodium Glutamate Diacetate"]).chemistry
    assert (glda.ionic_strength, glda.hydrogen, glda.kind) == (0.1, "activity", "memory")
    citric = chemistry_of(LIBRARY.substances["Citric Acid"]).chemistry
    assert (citric.ionic_strength, citric.temp_c, citric.kind, citric.conditions_known) == (0.0, 25.0, "handbook", True)
    assert not chemistry_of(LIBRARY.substances["Potassium Sorbate"]).chemistry.conditions_known
    assert chemistry_of(LIBRARY.substances["Niacinamide"]).chemistry.temp_c == 20.0
    assert chemistry_of(LIBRARY.substances["Sodium Lactate"]).chemistry.temp_c == 25.0  # printed at 22.5 and at 25


def test_amounts_of_a_salt_an_acid_and_a_chelator():
    """Sodium benzoate 0.40 % / 144.103 = 2.7758 mmol; Na2EDTA 2 aq 0.10 / 372.24 = 0.26864; lactic 0.88 x 0.10 / 90.078
    = 0.97693 mmol in 100 g; sodium 2.7758 + 2 x 0.26864 = 3.3131; water 82.0 + 0.012 + 0.26864 x 2 x 18.015 / 1000.
    """
    mixed = composition(water_deionised="82.0", sodium_benzoate="0.40", disodium_edta="0.10", lactic_acid_88="0.10")
    mixture = aqueous(mixed).mixture()
    expected = {"Sodium Benzoate": 2.7758, "Disodium EDTA": 0.26864, "Lactic Acid": 0.97693}
    assert amounts(mixture) == pytest.approx(expected, rel=1e-4)
    assert mixture.strong_ions_mmol == pytest.approx(3.3131, rel=1e-4)
    assert mixture.water_g == pytest.approx(82.0217, abs=1e-4)
    assert mixture.mass_g == 100.0


def test_a_batch_is_the_same_water_many_times_over():
    water = aqueous(composition(water_deionised="82.0", sodium_benzoate="0.40"))
    assert water.mixture(400.0).strong_ions_mmol == pytest.approx(4 * 2.7758, rel=1e-4)
    assert water.mixture(400.0).solve().ph == pytest.approx(water.mixture().solve().ph, abs=1e-12)


def test_a_printed_buffer_of_benzoate_edetate_and_lactic():
    """Printed for this mixture: pH 4.49, ionic strength 0.044, about 1.7 mmol/100 g per pH, 4.56 in a 10 % dilution.

    With the constants of the starter materials, which for EDTA hold at zero ionic strength, 0.01 is the difference.
    """
    mixed = composition(water_deionised="82.0", sodium_benzoate="0.40", disodium_edta="0.10", lactic_acid_88="0.10")
    mixture = aqueous(mixed).mixture()
    found = mixture.solve()
    assert found.ph == pytest.approx(4.49, abs=0.012)
    assert found.ionic_strength_mol_per_kg == pytest.approx(0.044, abs=0.0005)
    assert found.buffer_capacity_mol_per_kg * mixture.water_g == pytest.approx(1.7, abs=0.05)
    diluted = mixture.diluted(10).solve().ph
    assert diluted - found.ph == pytest.approx(0.07, abs=0.01)


def test_citric_acid_as_the_monohydrate_is_less_acid_and_some_water():
    """1.00 % of the monohydrate is 0.9143 % of acid, 4.759 mmol/100 g, and 0.0857 % of water."""
    mixed = composition(water_deionised="90.0", citric_acid_monohydrate="1.00")
    assert amounts(aqueous(mixed).mixture()) == pytest.approx({"Citric Acid": 4.759}, rel=1e-3)
    assert float(water_pct(mixed)) == pytest.approx(90.0857, abs=1e-4)


def test_waters_of_all_supply_forms_count():
    """Sorbitol 70 %: 0.30 x 10; PQ-7: 0.902 x 5; GLDA 38 %: 0.62 x 1."""
    mixed = composition(
        water_deionised="80", sorbitol_70="10", polyquaternium_7_9="5", tetrasodium_glutamate_diacetate_38="1"
    )
    assert float(water_pct(mixed)) == pytest.approx(80 + 3 + 4.51 + 0.62)


def test_the_preservative_inside_an_extract_counts():
    """1.00 % of extract with 0.5 % sodium benzoate and 0.3 % potassium sorbate: 0.0347 and 0.01997 mmol/100 g."""
    found = amounts(aqueous(composition(water_deionised="90", tilia_cordata_flower_extract="1.00")).mixture())
    assert found["Sodium Benzoate"] == pytest.approx(0.03470, rel=1e-3)
    assert found["Potassium Sorbate"] == pytest.approx(0.01997, rel=1e-3)


def test_the_amine_value_of_a_lot_sets_its_equivalent_weight():
    """56,110 / 157.2 = 356.93 g/mol: 2.00 % are 5.603 mmol/100 g, with the pure C18 amide of 368.64 only 5.425."""
    amine = LIBRARY.find("stearamidopropyl-dimethylamine")
    lot = amine.with_lot(Lot(amine.key, "A-7", amine_value=Decimal("157.2")))
    for material, mmol in ((amine, 5.425), (lot, 5.603)):
        lines = (
            CompositionLine(LIBRARY.find("water-deionised"), Decimal(90)),
            CompositionLine(material, Decimal("2.00")),
        )
        water = aqueous(Composition(lines))
        assert amounts(water.mixture())["Stearamidopropyl Dimethylamine"] == pytest.approx(mmol, rel=5e-4)
        assert system_of(material.parts[0].substance, water.solutes[0].chemistry).charge == 1
    sds = [
        next(item.sd for item in aqueous(Composition((lines[0], line))).unknowns if item.what == "assay")
        for line in (CompositionLine(amine, Decimal(2)), CompositionLine(lot, Decimal(2)))
    ]
    assert sds[1] < sds[0] / 2  # the certificate is worth something


def test_the_assay_of_a_lot_overrules_the_typical_one():
    lactic = LIBRARY.find("lactic-acid-88")
    lot = lactic.with_lot(Lot(lactic.key, "L-1", strength_pct=Decimal("90.2")))
    lines = (CompositionLine(LIBRARY.find("water-deionised"), Decimal(90)), CompositionLine(lot, Decimal("1.00")))
    assert amounts(aqueous(Composition(lines)).mixture())["Lactic Acid"] == pytest.approx(902 / 90.07794, rel=1e-6)


def test_two_lots_of_one_form_on_two_lines_add_up():
    lactic = LIBRARY.find("lactic-acid-88")
    lot = lactic.with_lot(Lot(lactic.key, "L-1", strength_pct=Decimal("80")))
    lines = (
        CompositionLine(LIBRARY.find("water-deionised"), Decimal(90)),
        CompositionLine(lactic, Decimal("1.00")),
        CompositionLine(lot, Decimal("1.00")),
    )
    assert amounts(aqueous(Composition(lines)).mixture())["Lactic Acid"] == pytest.approx(1680 / 90.07794, rel=1e-6)


def test_quats_cancel_and_are_named():
    mixed = composition(water_deionised="90", behentrimonium_methosulfate_25="6", citric_acid="0.1")
    water = aqueous(mixed)
    assert water.cancelled == ("Behentrimonium Methosulfate",)
    assert water.mixture().strong_ions_mmol == 0
    assert set(amounts(water.mixture())) == {"Citric Acid"}


def test_what_is_not_in_the_model_is_listed_with_its_share_and_reason():
    mixed = composition(water_deionised="90", hydrolyzed_oat_protein_20="1.00", xanthan_gum="0.3", citric_acid="0.1")
    told = [str(item) for item in aqueous(mixed).unmodelled]
    assert told[0].startswith("Hydrolyzed Oat Protein (20 % in water) (1.00 %): ")
    assert told[1].startswith("Xanthan Gum (0.3 %): ")
    names = {item.name for item in aqueous(mixed).unknowns}
    assert {"acidity of hydrolyzed-oat-protein-20", "buffering of hydrolyzed-oat-protein-20"} <= names
    assert {"acidity of xanthan-gum", "offset of the base", "pka of Citric Acid", "assay of citric-acid"} <= names


def test_constants_from_memory_are_named():
    water = aqueous(composition(water_deionised="90", dehydroacetic_acid="0.2", citric_acid="0.1"))
    assert water.memory == ("Dehydroacetic Acid, pKa 5.27",)


def test_too_little_water_is_refused():
    with pytest.raises(KitError) as caught:
        aqueous(composition(water_deionised="20", glycerin="80"))
    assert caught.value.code == "ph.water"


def test_latent_acid_only_where_a_fresh_reading_is_asked_for():
    mixed = composition(water_deionised="90", lactic_acid_88="1.00", gluconolactone="0.5")
    latent = {None: [], 24.0: [item for item in aqueous(mixed, age_h=24.0).unknowns if item.what == "latent"]}
    assert [item for item in aqueous(mixed).unknowns if item.what == "latent"] == latent[None]
    assert [item.subject for item in latent[24.0]] == ["lactic-acid-88", "gluconolactone"]
    fresh = [item for item in aqueous(mixed, age_h=0.0).unknowns if item.what == "latent"]
    assert fresh[0].mean == pytest.approx(0.12)
    assert latent[24.0][0].mean < fresh[0].mean
    aged = composition(water_deionised="90", lactic_acid_10_solution="5.8")
    assert [item for item in aqueous(aged, age_h=1.0).unknowns if item.what == "latent"] == []


def test_one_acid_with_two_sets_of_constants_is_not_guessed():
    """Two supply forms of lactic acid, one with a pKa of its own: nothing says which holds, and the name is one."""
    kept = LIBRARY.find("lactic-acid-88")
    acid = kept.parts[0]
    substance = replace(acid.substance, pka=(replace(acid.substance.pka[0], value=Decimal("3.70")),))
    own = replace(
        kept, key="lactic-own", name="Own lactic", parts=(replace(acid, substance=substance), *kept.parts[1:])
    )
    pcts = ((LIBRARY.find("water-deionised"), 97), (kept, 2), (own, 1))
    mixed = Composition(tuple(CompositionLine(material, Decimal(pct)) for material, pct in pcts))
    assert [item.name for item in aqueous(mixed).decisive] == ["Own lactic"]
    assert "Own lactic (1 %): Lactic Acid: its constants differ" in predict_ph(mixed).reason
    assert predict_ph(Composition(mixed.lines[:2])).is_known


def test_half_of_what_is_bound_is_free_after_a_half_life():
    """Of concentrated lactic acid 12 % at first and 48 h for half of it, of the lactone 90 % and 4 h."""
    mixed = composition(water_deionised="90", lactic_acid_88="1.00", gluconolactone="0.5")
    for age_h, lactic, lactone in ((0.0, 0.12, 0.9), (4.0, 0.12 * 2 ** (-1 / 12), 0.45), (48.0, 0.06, 0.9 / 4096)):
        found = {item.subject: item.mean for item in aqueous(mixed, age_h=age_h).unknowns if item.what == "latent"}
        assert found == pytest.approx({"lactic-acid-88": lactic, "gluconolactone": lactone})


def test_how_far_a_constant_or_an_assay_may_be_off():
    """A handbook constant 0.03; of a preservative acid beside oil 0.10 more in squares, 0.1044. A printed assay range
    of 98.5 to 101 holds nine lots in ten: 1.25 / 1.6449 = 0.76 %."""
    sds = {
        oil: {item.name: item.sd for item in aqueous(composition(water_deionised="90", **parts)).unknowns}
        for oil, parts in (
            (False, {"sodium_benzoate": "0.4", "citric_acid": "0.2"}),
            (True, {"sodium_benzoate": "0.4", "citric_acid": "0.2", "squalane": "1"}),
        )
    }
    assert [sds[oil]["pka of Sodium Benzoate"] for oil in (False, True)] == pytest.approx([0.03, 0.1044], abs=1e-4)
    assert [sds[oil]["pka of Citric Acid"] for oil in (False, True)] == pytest.approx([0.03, 0.03])
    printed = LIBRARY.find("disodium-edta").active_range
    edta = aqueous(composition(water_deionised="90", disodium_edta="0.1")).unknowns
    sd = next(item.sd for item in edta if item.name == "assay of disodium-edta")
    assert (printed.low, printed.high) == (Decimal("98.5"), Decimal(101))
    assert sd == pytest.approx(0.0125 / 1.6449, rel=1e-3)


def test_what_a_blend_brings_beside_the_bound_acid_is_free():
    """75 % of the lactone with 25 % of sodium benzoate: nine tenths of the lactone are still closed at first, and all
    of the benzoate is dissolved: 1.00 x 0.25 / 144.10 = 1.735 mmol, with as much sodium."""
    lactone, benzoate = (LIBRARY.find(key) for key in ("gluconolactone", "sodium-benzoate"))
    parts = (replace(lactone.parts[0], pct=Decimal(75)), replace(benzoate.parts[0], pct=Decimal(25)))
    blend = replace(lactone, key="lactone-blend", name="Lactone blend", parts=parts)
    mixed = Composition(
        (CompositionLine(LIBRARY.find("water-deionised"), Decimal(99)), CompositionLine(blend, Decimal(1)))
    )
    water = aqueous(mixed, age_h=0.0)
    found = amounts(water.mixtures(guess(water, latent=0.9)))
    assert found["Gluconolactone"] == pytest.approx(0.1 * 750 / 178.14)
    assert found["Sodium Benzoate"] == pytest.approx(250 / 144.103169)


def guess(water, **changed: float) -> np.ndarray:
    """One guess of the unknowns: their means, with some changed by the first word of their name."""
    theta = water.mean_and_covariance[0].copy()
    for index, item in enumerate(water.unknowns):
        theta[index] = changed.get(item.what, theta[index])
    return theta[None, :]


def test_each_unknown_moves_the_amounts_it_speaks_of():
    """Acidity 0.5 meq/g on 1 g: 0.5 meq less strong base; offset 2 meq/kg on 90.3 g of water: 0.18 meq less; a latent
    tenth of lactic acid is a tenth less of it; assay 1.05 is 5 % more of acid, and of the sodium of its salt.
    """
    mixed = composition(water_deionised="90", lactic_acid_88="1.00", hydrolyzed_oat_protein_20="1.00")
    water = aqueous(mixed, age_h=1.0)
    means = water.mixtures(guess(water))
    lactic = 880 / 90.07794
    before = amounts(water.mixtures(guess(water, latent=0.0)))["Lactic Acid"]
    assert before == pytest.approx(lactic)
    assert amounts(water.mixtures(guess(water, latent=0.1)))["Lactic Acid"] == pytest.approx(0.9 * lactic)
    assert amounts(water.mixtures(guess(water, latent=0.0, assay=1.05)))["Lactic Acid"] == pytest.approx(1.05 * lactic)
    more_acid = water.mixtures(guess(water, acidity=0.5))
    assert (more_acid.strong_ions_mmol - means.strong_ions_mmol)[0] == pytest.approx(-0.5)
    more_offset = water.mixtures(guess(water, offset=2.0))
    moved = (more_offset.strong_ions_mmol - means.strong_ions_mmol)[0]
    assert moved == pytest.approx(-2.0 * float(water.water_pct) / 1000)
    shifted = water.mixtures(guess(water, pka=0.2)).pka_shifts
    assert [float(shift[0]) for shift in shifted.values()] == [0.2] * len(shifted)


def test_more_acidity_lowers_the_ph_and_buffering_holds_it():
    mixed = composition(
        water_deionised="90", citric_acid="0.05", sodium_benzoate="0.20", hydrolyzed_oat_protein_20="1.00"
    )
    water = aqueous(mixed)
    ph = lambda **changed: float(water.mixtures(guess(water, **changed)).solve().ph[0])  # noqa: E731
    assert ph(acidity=0.1) < ph() - 0.05
    assert ph(offset=1.0) < ph() - 0.05
    drop = ph(buffering=0.0) - ph(buffering=0.0, acidity=0.3)
    assert 0 < ph(buffering=0.5) - ph(buffering=0.5, acidity=0.3) < 0.8 * drop


def test_the_pair_of_groups_buffers_as_much_as_is_said():
    """Two groups of pKa 4.0 and 5.2, stepwise. By hand at pH 4.6: shares of the forms 0.1668, 0.6664, 0.1668, so the
    variance of the charge is 0.3336 and the capacity ln 10 x 0.3336 = 0.768 mol per mol and pH.
    """
    a, b = 10 ** (4.6 - GROUPS_PKA[0]), 10 ** (9.2 - sum(GROUPS_PKA))
    shares = np.array([1, a, b]) / (1 + a + b)
    variance = (shares * np.array([0, 1, 4])).sum() - (shares * np.array([0, 1, 2])).sum() ** 2
    assert (shares * np.array([0, 1, 2])).sum() == pytest.approx(1.0, abs=1e-9)  # half neutralised at pH 4.6
    assert GROUPS_PER_CAPACITY * np.log(10) * variance == pytest.approx(1.0, abs=0.01)
    assert groups_system().pka == GROUPS_PKA


def test_buffering_alone_moves_no_ph_at_four_point_six():
    """The groups come half neutralised: at pH 4.6 they neither give nor take, on either side they hold against it."""
    water = aqueous(composition(water_deionised="95", citric_acid="0.02", hydrolyzed_oat_protein_20="2.00"))
    bare, held = (water.mixtures(guess(water, buffering=capacity)) for capacity in (0.0, 0.05))
    taken = {
        ph: float((held.at_measured_ph(ph).strong_ions_mmol - held.strong_ions_mmol)[0])
        - float((bare.at_measured_ph(ph).strong_ions_mmol - bare.strong_ions_mmol)[0])
        for ph in (4.1, 4.6, 5.1)
    }
    assert taken[4.6] == pytest.approx(0, abs=0.012)  # of 0.13 mmol of pairs; activities move it by so much
    assert taken[4.1] == pytest.approx(-0.05, abs=0.012)  # 2 g x 0.05 meq/g per pH x 0.5 pH
    assert taken[5.1] == pytest.approx(0.05, abs=0.012)


def test_a_negative_share_or_buffering_counts_as_none():
    water = aqueous(composition(water_deionised="90", lactic_acid_88="1", hydrolyzed_oat_protein_20="1"), age_h=1.0)
    mixture = water.mixtures(guess(water, latent=-0.2, buffering=-0.3))
    assert amounts(mixture)["Lactic Acid"] == pytest.approx(880 / 90.07794)
    assert amounts(mixture)[groups_system().name] == 0


def test_many_guesses_at_once_are_each_the_guess_alone():
    water = aqueous(composition(water_deionised="90", citric_acid="0.1", sodium_benzoate="0.2", carbomer="0.1"))
    rng = np.random.default_rng(3)
    mean, covariance = water.mean_and_covariance
    theta = rng.multivariate_normal(mean, covariance, size=7)
    together = water.mixtures(theta).solve().ph
    alone = [float(water.mixtures(row[None, :]).solve().ph[0]) for row in theta]
    assert together.tolist() == alone


def test_a_stock_solution_brings_its_acid_and_its_water():
    """10 % citric acid: 0.1 / 192.1235 mol/g = 0.5205 mmol/g, 0.9 g of water; 10 % sodium hydroxide: 2.5002 mmol/g."""
    citric = stock_of(LIBRARY.find("citric acid 10 %"))
    assert {system.name: value for system, value in citric.totals_mmol_per_g.items()} == pytest.approx(
        {"Citric Acid": 0.52050}, rel=1e-4
    )
    assert (citric.water_g_per_g, citric.strong_ions_mmol_per_g) == (pytest.approx(0.9), 0.0)
    lye = stock_of(LIBRARY.find("sodium hydroxide 10 %"))
    assert lye.strong_ions_mmol_per_g == pytest.approx(2.50018, rel=1e-4)
    assert dict(lye.totals_mmol_per_g) == {}
    arginine = stock_of(LIBRARY.find("arginine"))
    assert arginine.water_g_per_g == 0


@pytest.mark.parametrize("key", ["glycerin", "water-deionised", "sodium-phytate-50", "behentrimonium-chloride-80"])
def test_what_brings_no_acid_and_no_base_is_no_stock(key):
    with pytest.raises(KitError) as caught:
        stock_of(LIBRARY.find(key))
    assert caught.value.code == "ph.stock"


def test_a_labs_own_file_states_the_new_fields(tmp_path):
    text = """
[[substance]]
inci = "Sodium PCA"
category = "humectant"
formula = "C5H6NNaO3"
protonated_charge = 0
molar_mass = { value = "151.1", unit = "g/mol", kind = "handbook", source = "own" }
pka = [ { value = "3.3", unit = "1", kind = "handbook", source = "own", conditions = "25 degC, I = 0" } ]

[[substance]]
inci = "Own Salt"
category = "salt"
counter_ions = ["Mg^2+", "2 Cl-"]
crystal_water = 6
molar_mass = { value = "203.3", unit = "g/mol", kind = "handbook", source = "own" }

[[material]]
key = "own-salts"
name = "Own salts"
parts = [
    { inci = "Sodium PCA", pct = "50", kind = "supplier-typical", source = "own" },
    { inci = "Own Salt", pct = "50", kind = "supplier-typical", source = "own" },
]
"""
    (tmp_path / "own.toml").write_text(text, encoding="utf-8")
    library = kit.load_library(tmp_path)
    mixed = composition(library, water_deionised="90", own_salts="2.00")
    mixture = aqueous(mixed).mixture()
    assert mixture.strong_ions_mmol == pytest.approx(1000 / 151.1)
    assert mixture.spectators_z2_mmol == pytest.approx(6 * 1000 / 203.3)
    assert mixture.water_g == pytest.approx(90 + 6 * 18.01528 / 203.3)
    for own in (library.substances["Sodium PCA"], library.substances["Own Salt"]):
        assert Substance.read(own.row()) == own


@pytest.mark.parametrize("ions", ['"Na+"', '["sodium"]', '["2Na+"]', "[2]"])
def test_counter_ions_that_cannot_be_read_are_refused(tmp_path, ions):
    text = f'[[substance]]\ninci = "Own"\ncategory = "salt"\ncounter_ions = {ions}\n'
    (tmp_path / "own.toml").write_text(text, encoding="utf-8")
    with pytest.raises(MaterialError) as caught:
        kit.load_library(tmp_path)
    assert caught.value.code == "material.file"
