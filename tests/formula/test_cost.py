"""Cost: every sum worked by hand; an unknown price is never zero. All prices are invented."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.errors import KitError, MaterialError
from kit.formula.cost import cost
from kit.formula.files import read_formula
from kit.formula.library import load_library
from kit.formula.prices import Price, latest_prices

PRICES = """
[[price]]
material = "cetearyl-alcohol"
per_kg = "4.20"
currency = "EUR"
date = "2026-11-01"
supplier = "invented"
[[price]]
material = "BTAC 80 %"
per_kg = 18.00
currency = "EUR"
date = 2026-09-15
[[price]]
material = "glycerin"
per_kg = "1.60"
currency = "EUR"
date = "2026-10-01"
[[price]]
material = "water-deionised"
per_kg = "0.02"
currency = "EUR"
date = "2026-11-01"
"""
FORMULA = """
name = "Invented"
version = "1"
[[phase]]
name = "A"
kind = "water"
line = [{ material = "water-deionised", qs = true }, { material = "glycerin", pct = "3.00" }]
[[phase]]
name = "B"
kind = "oil"
line = [{ material = "cetearyl-alcohol", pct = "5.00" }, { material = "behentrimonium-chloride-80", pct = "2.50" }]
"""


@pytest.fixture
def priced(tmp_path):
    """A library with these prices, some places of their text replaced."""

    def load(*replacements: tuple[str, str], more: str = ""):
        text = PRICES + more
        for old, new in replacements:
            assert old in text
            text = text.replace(old, new, 1)
        path = tmp_path / "prices.toml"
        path.write_text(text, encoding="utf-8")
        return load_library(path)

    return load


def test_the_cost_of_a_kilogram_by_hand(priced):
    """Water 100 - 10.50 = 89.50 %.

    5.00 x 4.20 = 21.00; 2.50 x 18.00 = 45.00; 3.00 x 1.60 = 4.80; 89.50 x 0.02 = 1.79; sum 72.59, /100 = 0.7259.
    """
    made = read_formula(FORMULA, priced()).cost()
    assert made.per_kg == Decimal("0.7259")
    assert made.currency == "EUR"
    assert made.is_known
    shares = {line.material.key: round(share, 1) for line, share in made.top(2)}
    # 0.45 / 0.7259 = 61.99 %; 0.21 / 0.7259 = 28.93 %.
    assert shares == {"behentrimonium-chloride-80": Decimal("62.0"), "cetearyl-alcohol": Decimal("28.9")}
    assert made.oldest.date == "2026-09-15"
    assert "2026-09-15" in str(made)
    assert "0.73 EUR/kg" in str(made)
    assert "<table" in made._repr_html_()


def test_loss_pack_batch_and_extras_by_hand(priced):
    made = read_formula(FORMULA, priced()).cost(
        loss="4 %", batch="5 kg", fill="250 mL", density="0.98 g/mL", per_pack={"bottle": "0.32 EUR"},
        per_batch={"labour": "40 EUR"},
    )  # fmt: skip
    # A batch of 5 kg: 5 x 0.7259 = 3.6295, + 40 = 43.6295 for 5 x 0.96 = 4.8 kg filled: 9.089479... a kg.
    assert made.batch == Decimal("43.6295")
    assert made.per_kg == pytest.approx(Decimal("43.6295") / Decimal("4.8"), rel=Decimal("1e-20"))
    # A pack: 250 mL x 0.98 = 245 g; 0.245 x 9.0894792 = 2.2269224, + 0.32 = 2.5469224.
    assert made.pack_kg == Decimal("0.245")
    assert made.pack == pytest.approx(Decimal("2.5469224"), abs=Decimal("0.0000001"))
    by_mass = read_formula(FORMULA, priced()).cost(fill="245 g")
    assert by_mass.pack == Decimal("0.7259") * Decimal("0.245")


def test_an_unknown_price_stays_unknown(priced):
    text = FORMULA.replace('"cetearyl-alcohol"', '"cetyl-alcohol"')
    made = read_formula(text, priced()).cost()
    assert made.unknown == ("cetyl-alcohol",)
    assert made.per_kg == Decimal("0.5159")  # 0.7259 - 0.21
    assert "at least 0.52 EUR/kg (1 line without a price: cetyl-alcohol)" in str(made)
    nothing = read_formula(text, load_library()).cost()
    assert nothing.per_kg is None
    assert "not known" in str(nothing)


def test_a_stock_solution_costs_what_it_is_mixed_from(priced):
    more = '[[price]]\nmaterial = "lactic-acid-88"\nper_kg = "5.00"\ncurrency = "EUR"\ndate = "2026-11-01"\n'
    text = FORMULA.replace(
        '{ material = "glycerin", pct = "3.00" }', '{ material = "lactic-acid-10-solution", pct = "2.00" }'
    )
    made = read_formula(text, priced(more=more)).cost()
    line = next(line for line in made.lines if line.material.key == "lactic-acid-10-solution")
    # A kg of solution: 0.1136 x 5.00 + 0.8864 x 0.02 = 0.568 + 0.017728 = 0.585728; 2 % of it 0.01171456.
    assert line.per_kg == Decimal("0.01171456")


def test_a_composition_that_was_made_has_its_own_cost(priced):
    formula = read_formula(FORMULA, priced())
    richer = formula.change({"cetearyl-alcohol": "6.00 %"}).composition()
    # One point of alcohol for one of water: + 0.042 - 0.0002 = 0.7677.
    assert cost(richer, formula.library.prices).per_kg == Decimal("0.7677")


@given(st.lists(st.integers(1, 10_000), min_size=4, max_size=4), st.integers(1, 99))
def test_cost_grows_with_price_and_with_loss(cents, loss):
    keys = ("water-deionised", "glycerin", "cetearyl-alcohol", "behentrimonium-chloride-80")
    prices = {
        key: Price(key, Decimal(cent).scaleb(-2), "EUR", "2026-11-01") for key, cent in zip(keys, cents, strict=True)
    }
    formula = read_formula(FORMULA, load_library())
    made = formula.cost(prices=prices)
    pcts = (Decimal("89.50"), Decimal("3.00"), Decimal("5.00"), Decimal("2.50"))
    assert made.per_kg == sum(pct * prices[key].per_kg for key, pct in zip(keys, pcts, strict=True)) / 100
    assert formula.cost(prices=prices, loss=f"{loss} %").per_kg * (100 - loss) == pytest.approx(
        made.per_kg * 100, rel=Decimal("1e-20")
    )


@pytest.mark.parametrize(
    ("replacements", "options", "code", "said"),
    [
        ([('"EUR"', '"USD"')], {}, "cost.currency", "USD: cetearyl-alcohol"),
        ([], {"per_pack": {"bottle": "0.32 USD"}}, "cost.currency", "USD: bottle"),
        ([], {"per_pack": {"bottle": "0.32"}}, "units.missing", "currency"),
        ([], {"fill": "250 mL"}, "cost.density", "density"),
        ([], {"fill": "250"}, "units.missing", "250"),
        ([], {"loss": "100 %"}, "cost.value", "100"),
        ([], {"per_batch": {"labour": "40 EUR"}}, "cost.value", "batch"),
    ],
)
def test_what_cannot_be_costed_says_why(priced, replacements, options, code, said):
    with pytest.raises(KitError) as caught:
        read_formula(FORMULA, priced(*replacements)).cost(**options)
    assert caught.value.code == code
    assert said in str(caught.value)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('currency = "EUR"\n', "", "'currency' is missing"),
        ('"EUR"', '"euro"', "three capital letters"),
        ('"4.20"', '"-4.20"', "negative"),
        ('"2026-11-01"', '"1.11.2026"', "YYYY-MM-DD"),
        ('supplier = "invented"', 'suplier = "x"', "supplier"),
    ],
)
def test_a_wrong_price_names_its_row(priced, old, new, said):
    with pytest.raises(MaterialError) as caught:
        priced((old, new))
    assert said in str(caught.value)
    assert "prices.toml, price 1 (cetearyl-alcohol)" in str(caught.value)


def test_a_price_of_an_unknown_material_names_the_nearest(priced):
    with pytest.raises(MaterialError) as caught:
        priced(('"cetearyl-alcohol"', '"cetearyl alcool"'))
    assert caught.value.code == "material.unknown"
    assert "cetearyl-alcohol" in str(caught.value)


def test_the_youngest_price_counts_and_two_of_one_day_are_refused():
    old, new = (Price("x", Decimal(pct), "EUR", day) for pct, day in (("5", "2025-01-01"), ("4", "2026-01-01")))
    assert latest_prices([new, old])["x"] is new
    with pytest.raises(MaterialError) as caught:
        latest_prices([new, Price("x", Decimal(9), "EUR", "2026-01-01")])
    assert caught.value.code == "material.price"
