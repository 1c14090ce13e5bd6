"""Compositions: exact rounding to a total, expansion to INCI parts, derived numbers worked by hand."""

from __future__ import annotations

from dataclasses import FrozenInstanceError
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.formula.composition import Composition, CompositionLine, apportion, from_masses, show_pct, side_by_side
from kit.formula.derived import derived
from kit.formula.library import load_library

LIBRARY = load_library()
WATER, GLYCERIN = LIBRARY.find("water-deionised"), LIBRARY.find("glycerin")


@given(st.lists(st.fractions(min_value=0, max_value=1000), min_size=1, max_size=20), st.integers(0, 6))
def test_rounded_shares_add_up_exactly_and_none_moves_by_a_whole_unit(masses, places):
    total = sum(masses)
    if not total:
        return
    shares = [100 * mass / total for mass in masses]
    rounded = apportion(shares, Decimal(100), places)
    unit = Fraction(1, 10**places)
    assert sum(rounded) == 100
    assert all(abs(Fraction(got) - share) < unit for got, share in zip(rounded, shares, strict=True))


@given(st.lists(st.integers(0, 10**6), min_size=1, max_size=12).filter(any), st.integers(1, 50))
def test_rounding_does_not_hang_on_the_size_of_the_batch(parts, factor):
    def shares(masses):
        return [Fraction(100 * mass, sum(masses)) for mass in masses]

    assert apportion(shares(parts), Decimal(100), 4) == apportion(
        shares([part * factor for part in parts]), Decimal(100), 4
    )


def test_rounding_by_hand():
    # Thirds of 100: 33.33 each leaves 0.01, which goes to the first of equals.
    assert apportion([Fraction(100, 3)] * 3, Decimal(100), 2) == [Decimal("33.34"), Decimal("33.33"), Decimal("33.33")]
    # 16.666..., 16.666..., 66.666...: cut to 16.6 + 16.6 + 66.6 = 99.8; all lost 0.0666..., the first two get 0.1 each.
    assert apportion([Fraction(100, 6), Fraction(100, 6), Fraction(400, 6)], Decimal(100), 1) == [
        Decimal("16.7"),
        Decimal("16.7"),
        Decimal("66.6"),
    ]


def test_a_weighed_batch_becomes_percentages_that_add_up_to_100():
    # 340.00 g water + 10.30 g glycerin = 350.30 g: 97.05966... and 2.94034... %.
    masses = [
        (CompositionLine(WATER, Decimal(0), "A", "water"), Fraction("340.00")),
        (CompositionLine(GLYCERIN, Decimal(0), "A", "water"), Fraction("10.30")),
        (CompositionLine(GLYCERIN, Decimal(0), "D", "adjust"), Fraction(0)),
    ]
    made = from_masses(masses, state="made", product="rinse-off hair")
    assert [line.pct for line in made.lines] == [Decimal("97.0597"), Decimal("2.9403")]
    assert made.total == 100
    assert made.state == "made"


@given(st.lists(st.tuples(st.sampled_from(sorted(LIBRARY.materials)), st.integers(1, 10**5)), min_size=1, max_size=15))
def test_the_inci_parts_add_up_to_what_the_lines_add_up_to(weighed):
    made = from_masses(
        [(CompositionLine(LIBRARY.find(key), Decimal(0)), Fraction(mass)) for key, mass in weighed],
        state="made",
        product="rinse-off hair",
    )
    assert sum(share.pct for share in made.shares().values()) == 100
    assert (
        sum(made.content(category) for category in {share.substance.category for share in made.shares().values()})
        == 100
    )
    percents = [share.pct for share in made.shares().values()]
    assert percents == sorted(percents, reverse=True)


def test_expansion_by_hand(example):
    """Linden, the trade forms taken apart: 80 % flakes, 75 % panthenol, an extract of 3 / 50 / 46.2 / 0.5 / 0.3."""
    shares = example("linden").composition().shares()
    assert sum(share.pct for share in shares.values()) == 100
    by_hand = {
        "Behentrimonium Chloride": "2.000",  # 2.50 x 0.80
        "Isopropyl Alcohol": "0.500",  # 2.50 x 0.20
        "Panthenol": "0.525",  # 0.70 x 0.75
        "Glycerin": "3.500",  # 3.00 + 1.00 x 0.50
        "Aqua": "83.587",  # 82.95 + 0.70 x 0.25 + 1.00 x 0.462
        "Sodium Benzoate": "0.205",  # 0.20 + 1.00 x 0.005
        "Potassium Sorbate": "0.003",  # 1.00 x 0.003
    }
    assert {inci: shares[inci].pct for inci in by_hand} == {inci: Decimal(pct) for inci, pct in by_hand.items()}
    assert shares["Aqua"].brought_by == ("water-deionised", "panthenol-75", "tilia-cordata-flower-extract")


def test_derived_numbers_by_hand(example):
    """M from the formulas: C25H54ClN 404.16, C16H34O 242.44, C18H38O 270.49 g/mol.

    Cetearyl 30:70 by mass has 100 / (30/242.44 + 70/270.49) = 100 / (0.123742 + 0.258789) = 261.42 g/mol.
    """
    numbers = derived(example("linden").composition())
    assert numbers.cationic_meq_per_100g == pytest.approx(Decimal("4.949"), abs=Decimal("0.001"))  # 2000 / 404.16
    assert numbers.alcohol_cationic_ratio == pytest.approx(
        Decimal("3.865"), abs=Decimal("0.002")
    )  # 5000/261.42 = 19.126; /4.949
    assert numbers.anionic_meq_per_100g == 0
    assert numbers.fatty_alcohol_pct == 5
    assert numbers.oil_load_pct == Decimal("2.50")
    assert numbers.water_pct == Decimal("83.587")
    # (5.00 alcohol + 2.00 cationic + half of 0.50 cetyl esters) = 7.25; 7.25 / (7.25 + 83.587) = 7.981 %
    assert numbers.network_lipid_pct == pytest.approx(Decimal("7.981"), abs=Decimal("0.001"))
    with pytest.raises(FrozenInstanceError):
        numbers.water_pct = 0


def test_alcohol_inside_a_blend_counts(example):
    """Calendula: 6.00 % of a blend of 25 % quat (M 479.80) and 75 % cetearyl, and 2.00 % of cetyl alcohol.

    Cationic 1500 / 479.80 = 3.126 mmol; cetearyl 4500 / 261.42 = 17.214, cetyl 2000 / 242.44 = 8.249;
    25.463 / 3.126 = 8.145.
    With the alcohol in the blend forgotten it would be 8.249 / 3.126 = 2.64.
    """
    numbers = derived(example("calendula").composition())
    assert numbers.cationic_meq_per_100g == pytest.approx(Decimal("3.126"), abs=Decimal("0.001"))
    assert numbers.alcohol_cationic_ratio == pytest.approx(Decimal("8.145"), abs=Decimal("0.003"))
    assert numbers.fatty_alcohol_pct == Decimal("6.50")


def test_an_amine_counts_as_if_fully_neutralised(example):
    # 2.00 % of M 368.64 (C23H48N2O): 2000 / 368.64 = 5.425 meq/100 g.
    assert derived(example("meadowsweet").composition()).cationic_meq_per_100g == pytest.approx(
        Decimal("5.425"), abs=Decimal("0.001")
    )


def test_large_anions_are_counted_apart(example):
    formula = example("calendula", ('"hydroxyethylcellulose", pct = "0.20"', '"xanthan-gum", pct = "0.30"'))
    # 0.30 g at up to 1.7 meq/g = 0.51 meq/100 g; the cationic guar is a polymer and is not in the active cationic.
    numbers = derived(formula.composition())
    assert numbers.anionic_meq_per_100g == Decimal("0.51")
    assert numbers.cationic_meq_per_100g == pytest.approx(Decimal("3.126"), abs=Decimal("0.001"))


def test_what_cannot_be_computed_is_none_and_not_zero(example, library):
    formula = example("meadowsweet", ('"stearamidopropyl-dimethylamine"', '"brassicamidopropyl-dimethylamine"'))
    numbers = derived(formula.composition())  # no molar mass is known for it
    assert numbers.cationic_meq_per_100g is None
    assert numbers.alcohol_cationic_ratio is None
    water_only = Composition((CompositionLine(library.find("water-deionised"), Decimal(100)),))
    assert derived(water_only).alcohol_cationic_ratio is None
    assert derived(water_only).cationic_meq_per_100g == 0
    assert derived(water_only).network_lipid_pct == 0
    assert derived(Composition(())).network_lipid_pct is None


@pytest.mark.parametrize(
    ("pct", "text"),
    [("5", "5.00"), ("0.05", "0.05"), ("0.056", "0.056"), ("82.9467", "82.95"), ("0", "0.00"), ("-0.5", "-0.50")],
)
def test_a_percentage_is_shown_as_the_trade_writes_it(pct, text):
    assert show_pct(Decimal(pct)) == text


def test_compositions_stand_beside_one_another(example):
    meant = example("linden").composition()
    other = example("linden").change({"hydroxyethylcellulose": "0 %"}).composition()
    table = side_by_side({"meant": meant, "proposed": other})
    rows = {str(row[0]): [str(cell) for cell in row[1:]] for row in table.rows}
    assert rows["Hydroxyethylcellulose"] == ["0.20", "–"]
    assert rows["Water, deionised"] == ["82.95", "83.15"]
    assert rows["total"] == ["100.00", "100.00"]


def test_tables_show_total_and_parts(example):
    composition = example("linden").composition()
    assert str(composition).splitlines()[-1].split() == ["total", "100.00"]
    assert "Behentrimonium Chloride" in str(composition.inci_table())
    assert "<table" in composition._repr_html_()
    assert composition.pct("glycerin") == 3
    assert composition.pct("not-there") == 0


def test_what_is_done_with_the_parts_does_not_reach_the_composition():
    composition = Composition((CompositionLine(WATER, Decimal(97)), CompositionLine(GLYCERIN, Decimal(3))))
    composition.shares().clear()
    assert list(composition.shares()) == ["Aqua", "Glycerin"]
