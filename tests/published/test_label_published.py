"""The label against the law: order, thresholds and names typed here from the text that was read.

Regulation (EC) No 1223/2009, Article 19(1)(c) and (g), as quoted in public pages; 21 CFR 701.3(a) (annual edition 1996)
and (f)(2) as quoted from the FDA's labelling guide; Commission Regulation (EU) 2023/1545, OJ L 188, 27.7.2023, p. 1, in
two public transcriptions; Annex III in the European Chemicals Agency's export of 16 May 2024.
"""

from __future__ import annotations

import tomllib
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.formula.formula import Formula
from kit.formula.label import label
from kit.formula.label_allergens import find_allergen, threshold
from kit.formula.material import Allergen, Material, Part, Substance
from kit.formula.model import Line, Phase

D = Decimal
DATA = Path(__file__).resolve().parents[2] / "kit" / "data"
RINSE, LEAVE = "rinse-off hair", "leave-on hair"


def read(name: str) -> dict:
    return tomllib.loads((DATA / f"{name}.toml").read_text(encoding="utf-8"))


MARKETS = read("label")["market"]
RULE, ALLERGENS = read("allergens")["rule"], read("allergens")["allergen"]


def form(inci: str, category: str = "humectant", **more) -> Material:
    return Material(inci.lower().replace(" ", "-"), inci, (Part(Substance(inci, category), D(100)),), **more)


def fragrance(name: str = "Parfum", **allergens: str) -> Material:
    stated = tuple(Allergen(inci.replace("_", " "), D(pct)) for inci, pct in allergens.items())
    return form(name, "fragrance", allergens=stated)


def formula(*lines: tuple[Material, str], product: str = RINSE) -> Formula:
    water = Line(form("Aqua", "water"), qs=True)
    return Formula(
        "draft", "1", product, (Phase("A", "water", (water, *(Line(material, D(pct)) for material, pct in lines))),)
    )


# Order


def test_the_law_is_quoted_as_printed():
    """Art. 19(1)(g): "Ingredients in concentrations of less than 1 % may be listed in any order after those in
    concentrations of more than 1 %." 21 CFR 701.3(f)(2): "a concentration not exceeding 1% may be listed in any order
    after the listing of the ingredients present at more than 1% in descending order of predominance."
    """
    assert (
        "less than 1 % may be listed in any order after those in concentrations of more than 1 %"
        in MARKETS["EU"]["words"]
    )
    assert "not exceeding 1% may be listed in any order" in MARKETS["US"]["words"]
    assert (MARKETS["EU"]["free_limit"], MARKETS["EU"]["free_at"]) == ("1", False)
    assert (MARKETS["US"]["free_limit"], MARKETS["US"]["free_at"]) == ("1", True)
    assert "Article 19(1)(g)" in MARKETS["EU"]["law"] and "701.3" in MARKETS["US"]["law"]


def test_exactly_one_percent_is_free_in_the_us_and_not_in_the_eu():
    """EU: free is "less than 1 %"; US: free is "not exceeding 1%"."""
    one = formula((form("Glycerin"), "3"), (form("Panthenol"), "1.00"), (form("Urea"), "0.99"))
    parts = {market: {e.name: e.part for e in label(one, market=market).entries} for market in ("EU", "US")}
    assert parts["EU"] == {
        "Aqua": "1 % or more",
        "Glycerin": "1 % or more",
        "Panthenol": "1 % or more",
        "Urea": "below 1 %",
    }
    assert parts["US"] == {
        "Water": "above 1 %",
        "Glycerin": "above 1 %",
        "Panthenol": "1 % or less",
        "Urea": "1 % or less",
    }


def test_descending_by_weight_over_all_lines():
    """Art. 19(1)(g): "descending order of weight of the ingredients at the time they are added".

    Two lines of glycerin, 1.5 + 1.0 = 2.5 %, stand before urea at 2.0 %; by line they would stand after it.
    """
    found = label(formula((form("Urea"), "2.0"), (form("Glycerin"), "1.5"), (form("Glycerin"), "1.0")))
    assert found.text() == "Ingredients: Aqua, Glycerin, Urea"


def test_the_carrier_of_a_blend_adds_to_its_own_name():
    """8.00 % of a 25 % blend: 2.00 % quat and 6.00 % cetearyl alcohol; with 5.00 % added 11.00 %. Common practice."""
    quat, alcohol = (
        Substance("Behentrimonium Methosulfate", "cationic surfactant"),
        Substance("Cetearyl Alcohol", "fatty alcohol"),
    )
    blend = Material("blend", "blend", (Part(quat, D(25)), Part(alcohol, D(75), "co-emulsifier")))
    plain = Material("alcohol", "alcohol", (Part(alcohol, D(100)),))
    found = label(formula((blend, "8.00"), (plain, "5.00"), (form("Glycerin"), "7.00")))
    assert [(e.name, e.pct) for e in found.entries][1:] == [
        ("Cetearyl Alcohol", D(11)),
        ("Glycerin", D(7)),
        ("Behentrimonium Methosulfate", D(2)),
    ]
    assert found.entries[1].brought_by == ("blend", "alcohol")


def test_colourants_stand_last():
    """ "Colouring agents may be listed in any order after the other ingredients" (directive text with the same "
    "rule)."""
    found = label(formula((form("CI 19140"), "0.5"), (form("Urea"), "0.1"), (fragrance(Linalool="35"), "0.30")))
    assert found.text() == "Ingredients: Aqua, Parfum, Urea, Linalool, CI 19140"
    assert found.entries[-1].part == "colourant"


def test_perfume_is_one_word_in_each_market():
    """EU: "perfume and aromatic compositions and their raw materials shall be referred to by the terms parfum or
    aroma"; 21 CFR 701.3(a): "except that fragrance or flavor may be listed as fragrance or flavor".

    0.3 % of a perfume and 0.2 % of an essential oil used as one: 0.5 % of Parfum, before 0.4 % of urea.
    """
    lines = (
        (fragrance(Linalool="1"), "0.3"),
        (fragrance("Lavandula Angustifolia Oil", Linalool="1"), "0.2"),
        (form("Urea"), "0.4"),
    )
    assert label(formula(*lines)).names[:3] == ("Aqua", "Parfum", "Urea")
    assert label(formula(*lines), market="US").text() == "Ingredients: Water, Fragrance, Urea"


@given(st.lists(st.integers(1, 900), min_size=2, max_size=8), st.randoms())
def test_any_formula_is_ordered_whatever_the_order_of_its_lines(hundredths, random):
    """At or above 1 % no ingredient stands before a larger one, and none below 1 % before one at or above it."""
    lines = [(form(f"Ingredient {index}"), str(D(value) / 100)) for index, value in enumerate(hundredths)]
    found = label(formula(*lines))
    assert sum(entry.pct for entry in found.entries) == 100
    large = [entry.pct for entry in found.entries if entry.pct >= 1]
    assert large == sorted(large, reverse=True)
    assert [entry.pct >= 1 for entry in found.entries] == sorted((e.pct >= 1 for e in found.entries), reverse=True)
    random.shuffle(lines)
    assert label(formula(*lines)).text() == found.text()


# Allergens


def test_thresholds_of_the_law():
    """ "exceeds: 0.001 % in leave-on products, 0.01 % in rinse-off products" (Annex III)."""
    assert (D(RULE["rinse_off"]), D(RULE["leave_on"])) == (D("0.01"), D("0.001"))
    assert (threshold(RINSE), threshold(LEAVE)) == (D("0.01"), D("0.001"))
    assert "exceeds 0,001 % in leave-on products and 0,01 % in rinse-off products" in RULE["words"]


def test_thirty_five_percent_of_linalool_in_a_third_of_a_percent_of_oil():
    """0.30 % x 35 % = 0.105 %, above 0.01 %: named."""
    found = label(formula((fragrance(Linalool="35"), "0.30")))
    assert (found.allergens[0].name, found.allergens[0].pct, found.allergens[0].named) == ("Linalool", D("0.105"), True)
    assert found.text() == "Ingredients: Aqua, Parfum, Linalool"


@pytest.mark.parametrize(
    ("product", "pct", "named"),
    [
        # 0.10 % x 10 % = 0.01 %: not above 0.01 %. Binary floats give 0.1 x 10 / 100 = 0.010000000000000002 or so.
        (RINSE, "10", False),
        (RINSE, "10.001", True),
        # 0.10 % x 1 % = 0.001 %
        (LEAVE, "1", False),
        (LEAVE, "1.001", True),
        (LEAVE, "10", True),
    ],
)
def test_a_threshold_is_strict(product, pct, named):
    found = label(formula((fragrance(Linalool=pct), "0.10"), product=product))
    assert ("Linalool" in found.names) is named
    assert found.allergens[0].named is named


def test_an_allergen_is_summed_over_all_sources():
    """0.2 % x 4 % = 0.008 % from the perfume, 0.5 % x 1 % = 0.005 % from an oil: 0.013 %, though each is below "
    "0.01 %."""
    oil = form("Rosmarinus Officinalis Leaf Extract", "extract", allergens=(Allergen("Limonene", D(1)),))
    found = label(formula((fragrance(Limonene="4"), "0.2"), (oil, "0.5")))
    assert (found.allergens[0].pct, found.allergens[0].brought_by) == (D("0.013"), ("parfum", oil.key))
    assert found.names[-1] == "Limonene"


def test_an_ingredient_that_is_an_allergen_is_listed_once_and_counts():
    """Benzyl alcohol 0.009 % added as such and 0.1 % x 2 % = 0.002 % in the perfume: 0.011 %."""
    found = label(formula((form("Benzyl Alcohol", "preservative"), "0.009"), (fragrance(Benzyl_Alcohol="2"), "0.1")))
    assert found.text() == "Ingredients: Aqua, Parfum, Benzyl Alcohol"
    assert (found.allergens[0].pct, found.allergens[0].named) == (D("0.011"), True)


def test_names_of_one_entry_are_summed_under_its_name():
    """Entry 371: alpha- and beta-pinene "shall be indicated as Pinene". 0.1 % x (6 + 5) % = 0.011 %."""
    found = label(formula((fragrance(**{"Alpha-Pinene": "6", "Beta-Pinene": "5"}), "0.1")))
    assert [(item.name, item.pct, item.named) for item in found.allergens] == [("Pinene", D("0.011"), True)]


# Entry numbers as transcribed: entries 45 and 67 to 92 that are in force, and the 56 of (EU) 2023/1545.
OLD = [
    "67",
    "69",
    "70",
    "71",
    "72",
    "73",
    "74",
    "75",
    "76",
    "77",
    "78",
    "80",
    "81",
    "82",
    "84",
    "85",
    "86",
    "87",
    "88",
    "89",
    "90",
    "91",
    "92",
    "45",
]
NEW = [
    *["109", "114", "122", "124", "131", "133", "154", "157", "175", "196", "324"],
    *(str(entry) for entry in range(327, 372)),
]


def test_the_list_holds_every_entry_once():
    """ "Only 24 fragrance allergens" before, "56 additional" after (regulatory pages on the Regulation): 80."""
    assert (len(OLD), len(NEW)) == (24, 56)
    assert sorted(row["entry"] for row in ALLERGENS) == sorted([*OLD, *NEW])
    assert {row["entry"] for row in ALLERGENS if row["since"] == "2023/1545"} == set(NEW)
    names = [name.lower() for row in ALLERGENS for name in (row["name"], *row.get("covers", ()))]
    assert len(names) == len(set(names))


@pytest.mark.parametrize(
    ("entry", "name", "covered"),
    [
        # As printed: "shall be indicated as 'Citrus Aurantium Flower Oil'", 'Lemongrass Oil', and so on.
        ("70", "Citral", "Geranial"),
        ("88", "Limonene", "d-Limonene"),
        ("122", "Cedrus Atlantica Oil/Extract", "Cedrus Atlantica Wood Oil"),
        ("157", "Rose Ketones", "Alpha-Damascone"),
        ("338", "Menthol", "Menthol"),
        ("343", "Terpineol", "alpha-Terpineol"),
        ("347", "Cananga Odorata Oil/Extract", "Cananga Odorata Flower Oil"),
        ("350", "Citrus Aurantium Flower Oil", "Citrus Aurantium Amara Flower Oil"),
        ("354", "Lemongrass Oil", "Cymbopogon Citratus Leaf Oil"),
        ("360", "Lavandula Oil/Extract", "Lavandula Angustifolia Oil"),
        ("366", "Rose Flower Oil/Extract", "Rosa Damascena Flower Oil"),
        ("371", "Pinene", "Beta-Pinene"),
    ],
)
def test_grouped_names(entry, name, covered):
    found = find_allergen(covered)
    assert (found.entry, found.name) == (entry, name)


def test_what_is_prohibited_or_for_the_mouth_only_is_not_on_the_list():
    """Entry 46 is for oral products; 79 and 83 moved to Annex II (prohibited)."""
    for name in ("6-Methyl Coumarin", "Hydroxyisohexyl 3-Cyclohexene Carboxaldehyde", "Butylphenyl Methylpropional"):
        assert find_allergen(name) is None
    found = label(formula((fragrance(Butylphenyl_Methylpropional="1"), "0.1")))
    assert any("Butylphenyl Methylpropional" in note and "prohibited" in note for note in found.notes)


def test_the_dates_of_the_new_names():
    """ "may be placed on the Union market until 31 July 2026 and made available on the Union market until 31 July "
    "2028"."""
    assert (RULE["placing_until"], RULE["available_until"]) == ("2026-07-31", "2028-07-31")
    found = label(formula((fragrance(Menthol="50", Linalool="50"), "0.3")))
    note = next(note for note in found.notes if "2023/1545" in note)
    assert "Menthol" in note and "Linalool" not in note and "2026-07-31" in note and "2028-07-31" in note


def test_period_after_opening_is_a_matter_of_durability():
    """Art. 19(1)(c): a date of minimum durability is not mandatory where it exceeds 30 months; then a period after "
    "opening."""
    notes = label(formula((form("Glycerin"), "3"))).notes
    assert any("30 months or less" in note and "period after opening" in note for note in notes)
    assert not any("30 months" in note for note in label(formula((form("Glycerin"), "3")), market="US").notes)


def test_a_formaldehyde_releaser_is_told_for_the_label():
    """(EU) 2022/1181: "releases formaldehyde" above 0,001 % (10 ppm) released."""
    lines = ((form("DMDM Hydantoin", "preservative"), "0.2"),)
    assert any("releases formaldehyde" in note for note in label(formula(*lines)).notes)
    assert not any("formaldehyde" in note for note in label(formula(*lines), market="US").notes)
