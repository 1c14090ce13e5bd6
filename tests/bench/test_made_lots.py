"""As made from certified lots: the parts of each lot, kept apart to the end. Every expected number is worked by hand.

Molar masses by the atomic weights of IUPAC (2021): cetyl alcohol C16H34O 242.44, stearyl alcohol C18H38O 270.49,
behentrimonium chloride C25H54ClN 404.16 g/mol.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.bench.events import Adjusted, Combined, Taken, ToppedUp, Weighed
from kit.bench.made import as_made
from kit.bench.proposed import next_version
from kit.formula.composition import Composition, CompositionLine
from kit.formula.derived import derived
from kit.formula.files import read_formula
from kit.formula.lot_blend import blend
from kit.formula.lots import Lot
from kit.formula.material import Material
from kit.formula.molar import molar_mass
from kit.formula.rules import review

D = Decimal
QUAT, QUAT_INCI, SOLVENT = "behentrimonium-chloride-80", "Behentrimonium Chloride", "Isopropyl Alcohol"
AMINE = "stearamidopropyl-dimethylamine"
LAST_DIGIT = D("0.00005")  # of the four decimals worked out by hand


def quat_lot(library, number, active):
    return library.find(QUAT).with_lot(Lot(QUAT, number, strength_pct=D(active)))


def alcohol_lot(library, number, cetyl):
    chains = {"Cetyl Alcohol": D(cetyl), "Stearyl Alcohol": 100 - D(cetyl)}
    return library.find("cetearyl-alcohol").with_lot(Lot("cetearyl-alcohol", number, chains=chains))


def weighed_from(events, key, *doses):
    """The weighings with one line replaced by portions (grams, the form as its lot has it)."""
    (old,) = [event for event in events if event.material.key == key]
    portions = [Weighed(old.material, old.phase, old.phase_kind, D(grams), as_lot) for grams, as_lot in doses]
    return [event for event in events if event is not old] + portions


def pct_of(composition, inci):
    return composition.shares()[inci].pct


def test_a_line_weighed_from_a_certified_lot(library, linden, weigh_all):
    # 10.00 g at 81.2 % in 400 g: 8.12 / 400 = 2.0300 % of quat, 1.88 / 400 = 0.4700 % of solvent. Typical, at 80 %:
    # 2.0000 and 0.5000.
    made = as_made(weighed_from(weigh_all(), QUAT, ("10.00", quat_lot(library, "B-042", "81.2"))), linden)
    assert pct_of(made.composition, QUAT_INCI) == pytest.approx(D("2.0300"), abs=LAST_DIGIT)
    assert pct_of(made.composition, SOLVENT) == pytest.approx(D("0.4700"), abs=LAST_DIGIT)
    assert (made.composition.pct(QUAT), made.composition.total) == (D("2.5000"), 100)
    assert pct_of(linden.composition(), QUAT_INCI) == 2  # as meant, untouched
    line = next(line for line in made.lines if line.material.key == QUAT)
    assert (line.lots, line.form) == ((("B-042", Fraction(10)),), library.find(QUAT))


def test_two_lots_on_one_line_are_one_line_of_their_exact_mean(library, linden, weigh_all):
    # 6.00 g x 0.812 + 4.00 g x 0.786 = 4.872 + 3.144 = 8.016 g; / 400 = 2.0040 %. The plain mean of the two contents
    # would give 10.00 x 0.799 / 400 = 1.9975 %.
    doses = (("6.00", quat_lot(library, "B-042", "81.2")), ("4.00", quat_lot(library, "B-043", "78.6")))
    made = as_made(weighed_from(weigh_all(), QUAT, *doses), linden)
    assert pct_of(made.composition, QUAT_INCI) == pytest.approx(D("2.0040"), abs=LAST_DIGIT)
    lines = [line for line in made.composition.lines if line.material.key == QUAT]
    assert [(line.pct, line.material.lot) for line in lines] == [(D("2.5000"), "B-042, B-043")]
    assert sum(part.pct for part in lines[0].material.parts) == 100
    assert made.composition.total == 100


def test_a_portion_without_a_certificate_counts_at_the_typical_value(library, linden, weigh_all):
    # 6.00 x 0.812 + 4.00 x 0.800 = 8.072 g; / 400 = 2.0180 %.
    doses = (("6.00", quat_lot(library, "B-042", "81.2")), ("4.00", None))
    made = as_made(weighed_from(weigh_all(), QUAT, *doses), linden)
    assert pct_of(made.composition, QUAT_INCI) == pytest.approx(D("2.0180"), abs=LAST_DIGIT)
    assert next(line for line in made.lines if line.material.key == QUAT).material.lot == "B-042, typical values"


def test_lots_are_kept_apart_through_a_sample(library, linden, weigh_all):
    # 10.00 g of B-042 in the 387.20 g of A and B; 200 g taken leaves 10.00 x 187.20 / 387.20 = 4.834711 g of it. 5.00 g
    # of B-043 poured in, C (12.80 g) added at the end: 187.20 + 5.00 + 12.80 = 205 g.
    # (4.834711 x 0.812 + 5.00 x 0.786) / 205 = 7.855785 / 205 = 3.8321 %. Pooled over all that was weighed (10 g and
    # 5 g) it would be 9.834711 x (8.12 + 3.93) / 15 / 205 = 3.8539 %.
    first, second = quat_lot(library, "B-042", "81.2"), quat_lot(library, "B-043", "78.6")
    events = [
        *weighed_from(weigh_all(), QUAT, ("10.00", first)),
        Combined(),
        Taken(D("200.00")),
        Adjusted(library.find(QUAT), D("5.00"), second),
    ]
    made = as_made(events, linden)
    assert pct_of(made.composition, QUAT_INCI) == pytest.approx(D("3.8321"), abs=LAST_DIGIT)
    assert made.yield_g == 205


def test_an_amine_value_gives_the_milliequivalents(library):
    # 56,110 / 157.2 = 356.93 g/mol (trade: commercial C16/C18 amidoamine is about 357). 8.00 g in 400 g is 2.00 %:
    # 2000 / 356.93 = 5.6033 meq/100 g. With the pure C18 amine, 368.64 g/mol, it would be 5.4253.
    formula = amidoamine_formula(library)
    one = library.find(AMINE).with_lot(Lot(AMINE, "A-9", amine_value=D("157.2")))
    assert meq(as_made(amine_batch(formula, ("8.00", one)), formula)) == pytest.approx(D("5.6033"), abs=LAST_DIGIT)
    assert meq(as_made(amine_batch(formula, ("8.00", None)), formula)) == pytest.approx(D("5.4253"), abs=D("0.0002"))
    # Two lots, half each; 56,110 / 150.0 = 374.07: 4 / 356.93 + 4 / 374.07 = 0.01120668 + 0.01069318 = 0.02189986 mol
    # in 400 g: 5.4750 meq/100 g. Averaging the two equivalent weights would give 2000 / 365.50 = 5.4720.
    two = library.find(AMINE).with_lot(Lot(AMINE, "A-10", amine_value=D("150.0")))
    made = as_made(amine_batch(formula, ("4.00", one), ("4.00", two)), formula)
    assert meq(made) == pytest.approx(D("5.4750"), abs=LAST_DIGIT)


def meq(made):
    return derived(made.composition).cationic_meq_per_100g


def amidoamine_formula(library):
    return read_formula(
        f"""
name = "Amidoamine base (invented)"
version = "1"
product = "rinse-off hair"
[[phase]]
name = "A"
kind = "water"
line = [ {{ material = "water-deionised", qs = true }} ]
[[phase]]
name = "B"
kind = "oil"
line = [ {{ material = "{AMINE}", pct = "2.00" }}, {{ material = "cetearyl-alcohol", pct = "4.00" }} ]
""",
        library,
    )


def amine_batch(formula, *doses):
    grams = {"water-deionised": "376.00", "cetearyl-alcohol": "16.00", AMINE: "8.00"}
    events = [
        Weighed(line.material, phase.name, phase.kind, D(grams[line.material.key]))
        for phase, line in formula.placed_lines()
    ]
    return weighed_from(events, AMINE, *doses)


def test_a_chain_split_gives_the_ratio(library, linden, weigh_all):
    # 50:50 by mass: 100 / (50/242.44 + 50/270.49) = 100 / (0.2062366 + 0.1848497) = 255.70 g/mol.
    # 5.00 % is 5000/255.70 = 19.554 mmol/100 g; the quat 2000/404.16 = 4.9485; r = 3.9515.
    # As supplied typically, 30:70: 100 / (0.1237420 + 0.2587896) = 261.42; 19.126 / 4.9485 = 3.8651.
    even = as_made(weighed_from(weigh_all(), "cetearyl-alcohol", ("20.00", alcohol_lot(library, "C-118", 50))), linden)
    assert derived(even.composition).alcohol_cationic_ratio == pytest.approx(D("3.9515"), abs=D("0.0005"))
    assert derived(linden.composition()).alcohol_cationic_ratio == pytest.approx(D("3.8651"), abs=D("0.0005"))


def test_two_chain_splits_on_one_line(library, linden, weigh_all):
    # 5.00 g of 50:50 and 15.00 g of 30:70: cetyl (2.50 + 4.50) / 20 = 35 %; 100 / (35/242.44 + 65/270.49) =
    # 100 / (0.1443656 + 0.2403046) = 259.96 g/mol; 5000/259.96 = 19.234; r = 19.234 / 4.9485 = 3.8868.
    doses = (("5.00", alcohol_lot(library, "C-118", 50)), ("15.00", alcohol_lot(library, "C-121", 30)))
    made = as_made(weighed_from(weigh_all(), "cetearyl-alcohol", *doses), linden)
    (part,) = next(line for line in made.lines if line.material.key == "cetearyl-alcohol").material.parts
    assert dict(part.substance.mixture_of) == {"Cetyl Alcohol": 35, "Stearyl Alcohol": 65}
    assert derived(made.composition).alcohol_cationic_ratio == pytest.approx(D("3.8868"), abs=D("0.0005"))


def test_one_ingredient_from_two_supply_forms_is_averaged_over_moles(library):
    # 4.00 % of a 50:50 lot, and 6.00 % of the 30:70 inside 8.00 % of a blend (75 % of it):
    # (4 + 6) / (4/255.70 + 6/261.42) = 10 / (0.0156433 + 0.0229516) = 259.10 g/mol, whichever line comes first.
    lines = (
        CompositionLine(alcohol_lot(library, "C-118", 50), D("4.00")),
        CompositionLine(library.find("behentrimonium-methosulfate-25"), D("8.00")),
    )
    for order in (lines, lines[::-1]):
        share = Composition(order).shares()["Cetearyl Alcohol"]
        assert share.pct == 10
        assert molar_mass(share.substance) == pytest.approx(D("259.10"), abs=D("0.01"))


def test_a_stock_solution_books_at_its_own_strength(library, linden, weigh_all):
    # 12.00 g of a 10.02 % solution: 1.2024 g of acid, 10.7976 g of water. Citric acid (0.20 + 1.2024) / 412 =
    # 0.3404 %; at the nominal 10 % it would be 1.40 / 412 = 0.3398 %. Water (331.80 + 10.7976) / 412 = 83.1548 %.
    solution = library.find("citric-acid-10-solution")
    lot = Lot(solution.key, "S-12", strength_pct=D("10.02"), made_on="2026-11-20", kind="made in the lab")
    made = as_made([*weigh_all(), Adjusted(solution, D("12.00"), solution.with_lot(lot))], linden)
    assert made.composition.pct("citric-acid") == pytest.approx(D("0.3404"), abs=LAST_DIGIT)
    assert made.composition.pct("water-deionised") == pytest.approx(D("83.1548"), abs=D("0.0001"))
    assert made.composition.total == 100
    assert next(line for line in made.lines if line.material.key == "citric-acid").adjuster_g == Fraction(12024, 10000)


def test_water_made_up_from_a_lot_joins_the_water_line(library, linden, weigh_all):
    water = library.find("water-deionised")
    told = water.with_lot(Lot("water-deionised", "DI-15", density=D("0.998")))
    made = as_made([*weigh_all(), ToppedUp(D("4.00"), None, told)], linden)
    lines = [line for line in made.lines if line.material.key == "water-deionised"]
    assert [line.mass_g for line in lines] == [Fraction("335.80")]  # 331.80 + 4.00
    assert lines[0].lots == (("", Fraction("331.80")), ("DI-15", Fraction(4)))


def test_the_next_version_is_of_supply_forms_as_weighed(library, linden, weigh_all):
    adjuster = library.find("lactic-acid-10-solution")
    lot = Lot(adjuster.key, "S-7", strength_pct=D("10.20"), kind="made in the lab")
    events = [
        *weighed_from(weigh_all(), QUAT, ("10.00", quat_lot(library, "B-042", "81.2"))),
        Adjusted(adjuster, D("2.00"), adjuster.with_lot(lot)),
    ]
    made = as_made(events, linden)
    proposed = next_version(linden, made, why="lactic acid carried")
    assert proposed.composition().total == 100
    # 100 x 10.00 / 402 = 2.4876: 2.49 % of the supply form, whatever the lot held
    assert proposed.composition().pct(QUAT) == D("2.49")
    assert {line.material.lot for line in proposed.composition().lines} == {""}
    assert proposed.composition().pct("lactic-acid-88") > 0


def test_rules_judge_the_lot_as_it_was(library, linden, weigh_all):
    # 25.00 g at 99.0 % in 415 g is 24.75 / 415 = 5.9639 % of behentrimonium chloride, at the typical 80 % 20.00 / 415 =
    # 4.8193 %: one is above the 5.0 % of Regulation (EC) No 1223/2009, Annex III, the other is not.
    strong = as_made(weighed_from(weigh_all(), QUAT, ("25.00", quat_lot(library, "B-9", "99.0"))), linden)
    usual = as_made(weighed_from(weigh_all(), QUAT, ("25.00", None)), linden)
    assert pct_of(strong.composition, QUAT_INCI) == pytest.approx(D("5.9639"), abs=LAST_DIGIT)
    assert "cap.quat_sum" in review(strong.composition).codes
    assert "cap.quat_sum" not in review(usual.composition).codes


@given(st.lists(st.tuples(st.integers(1, 5_000), st.integers(7_000, 9_000)), min_size=1, max_size=5), st.data())
def test_any_lots_on_a_line_leave_the_totals_exact(shelf, doses, data):
    form = next(line.material for _, line in shelf.linden.placed_lines() if line.material.key == QUAT)
    lots = [
        (form.with_lot(Lot(QUAT, f"B-{number}", strength_pct=D(active).scaleb(-2))), Fraction(mass, 100))
        for number, (mass, active) in enumerate(doses)
    ]
    if data.draw(st.booleans()):
        lots.append((form, Fraction(data.draw(st.integers(1, 5_000)), 100)))
    made = blend(form, lots)
    assert made.key == QUAT
    assert sum(part.pct for part in made.parts) == 100
    total = sum(mass for _, mass in lots)
    mean = sum(Fraction(material.parts[0].pct) * mass for material, mass in lots) / total
    assert abs(Fraction(made.parts[0].pct) - mean) <= Fraction(1, 10**12)
    assert Material.from_row(made.row()) == made
