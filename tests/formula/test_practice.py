"""Formulas as a practitioner would type them, right and wrong, and what has to be said of each.

Numbers are worked by hand beside the check; what a practitioner would put is common practice, no source.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from kit.errors import FormulaError, MaterialError
from kit.formula.composition import Composition, CompositionLine
from kit.formula.files import read_formula
from kit.formula.library import load_library
from kit.formula.rules import Review, review
from kit.formula.rules.many import review_many

BTAC, CETEARYL = ("behentrimonium-chloride-80", "2.50"), ("cetearyl-alcohol", "5.00")
PHENOXY = ("phenoxyethanol", "0.80")


@pytest.fixture(scope="module")
def starter():
    """The starter materials alone."""
    return load_library()


def made(starter, *contents: tuple[str, str], product: str = "rinse-off hair") -> Composition:
    """A composition of these lines, the rest water; phases and steps are of no account here."""
    rest = 100 - sum(Decimal(pct) for _, pct in contents)
    lines = [("water-deionised", str(rest)), *contents]
    return Composition(tuple(CompositionLine(starter.find(key), Decimal(pct)) for key, pct in lines), product=product)


def found(starter, *contents: tuple[str, str], product: str = "rinse-off hair") -> Review:
    return review(made(starter, *contents, product=product))


def only(reviewed: Review, code: str):
    (finding,) = [finding for finding in reviewed.findings if finding.code == code]
    return finding


def test_a_conditioner_without_a_cationic_is_asked_about(starter):
    """A cream of wax and nonionic emulsifier conditions little; a gum with a charge is not a cationic surfactant."""
    cream = found(starter, CETEARYL, ("glyceryl-stearate", "1.00"), PHENOXY)
    assert only(cream, "network.no_cationic").severity == "caution"
    gum = only(found(starter, ("polyquaternium-10", "0.30"), PHENOXY), "network.no_cationic")
    assert "only a polymer (Polyquaternium-10)" in gum.words and gum.materials == ("polyquaternium-10",)
    assert "network.no_cationic" not in found(starter, BTAC, CETEARYL, PHENOXY).codes
    assert "network.no_cationic" not in found(starter, CETEARYL, PHENOXY, product="leave-on hair").codes
    assert "network.no_cationic" not in review(Composition(())).codes


def test_a_starch_in_its_own_range_is_not_called_stringy(starter):
    """Hydroxypropyl starch phosphate is used at 1 to 4 %, gums at tenths: 2 % of one is usual, of the other not."""
    starch = found(starter, BTAC, CETEARYL, PHENOXY, ("hydroxypropyl-starch-phosphate", "2.00"))
    assert starch.cautions == () and "charge.weak_thickener" in starch.codes
    gum = found(starter, BTAC, CETEARYL, PHENOXY, ("hydroxyethylcellulose", "2.00"))
    assert [finding.code for finding in gum.cautions] == ["range.thickener"]


def test_an_alkaline_chelator_takes_acid_from_the_amine(starter):
    """2.00 of stearamidopropyl dimethylamine (368.64): 5.425 meq. 0.60 x 0.88 of lactic acid (90.078): 5.862 mmol,
    1.0804 equivalents. 0.50 x 0.38 of the tetrasodium salt (351.13): 0.541 mmol, one proton each to the amine (9.4), so
    5.321 are left, 0.981.
    """
    amine, acid = ("stearamidopropyl-dimethylamine", "2.00"), ("lactic-acid-88", "0.60")
    without = only(found(starter, amine, acid, CETEARYL, PHENOXY), "charge.amine_counted")
    assert float(without.value) == pytest.approx(1.0804, abs=3e-4)
    chelated = found(starter, amine, acid, CETEARYL, PHENOXY, ("tetrasodium-glutamate-diacetate-38", "0.50"))
    assert float(only(chelated, "charge.amine_near").value) == pytest.approx(0.9807, abs=5e-4)
    none = found(starter, amine, CETEARYL, PHENOXY, ("tetrasodium-glutamate-diacetate-38", "0.50"))
    words = only(none, "charge.amine_acid").words
    assert "meets no acid that is left over" in words and "0.000 equivalents" in words


@pytest.mark.parametrize(
    ("key", "pct", "code"),
    [
        ("parfum", "3.00", "range.fragrance"),
        ("glycerin", "20.00", "range.humectant"),
        ("disodium-edta", "0.60", "range.chelator"),
        ("caprylic-capric-triglyceride", "12.00", "range.oil"),
        ("hydroxyethylcellulose", "2.00", "range.thickener"),
    ],
)
def test_one_slip_is_told_once(starter, key, pct, code):
    """One material far above what all of its kind together may be: one caution about it, not three."""
    name = starter.find(key).name
    about = [
        finding
        for finding in found(starter, BTAC, CETEARYL, PHENOXY, (key, pct)).findings
        if finding.code.startswith("range.") and (finding.code == code or pct in finding.words or name in finding.words)
    ]
    assert [finding.code for finding in about] == [code]
    assert "slip of the decimal" in about[0].words


def test_what_is_above_its_own_range_only_is_told_there(starter):
    """Parfum to 1.0, all fragrance to 1.5: 1.2 of one is above the first, 0.9 + 0.7 of two above the second."""
    one = found(starter, BTAC, CETEARYL, PHENOXY, ("parfum", "1.20"))
    assert "range.use" in one.codes and "range.fragrance" not in one.codes
    two = found(starter, BTAC, CETEARYL, PHENOXY, ("parfum", "0.90"), ("lavandula-angustifolia-oil", "0.70"))
    assert "range.fragrance" in two.codes and "range.use" not in two.codes


def test_water_is_judged_over_all_sources_only(starter):
    """98 % of water in a leave-on spray is no slip of the decimal, and 41 % of it does not "do little"."""
    spray = found(starter, ("polyquaternium-10", "0.30"), PHENOXY, product="leave-on hair")
    assert "range.use" not in spray.codes
    dry = found(starter, BTAC, CETEARYL, PHENOXY, ("glycerin", "50.00"))
    assert only(dry, "range.water").value == Decimal("41.70")
    assert not any("Water, deionised" in finding.words for finding in dry.findings)


def test_no_share_of_a_network_is_told_where_there_is_no_water(starter):
    """85 of glycerin on 7 of the rest leave 8 of water; 95 leave less than none, and 100 % of nothing is no number."""
    lines = [("glycerin", "95.00"), BTAC, CETEARYL, PHENOXY]
    over = found(starter, *lines)
    assert over.findings[0].code == "formula.negative_water"
    assert "network.lipid_high" not in over.codes


def test_what_is_on_the_list_as_an_ingredient_is_not_called_unnamed(starter):
    """Benzyl alcohol at 0.01 % of a rinse-off product is at the threshold, not above it, and an ingredient all the
    same; limonene at 0.003 % (1 % of 0.30 % of lavender oil) is on no list.
    """
    more = (
        '    { material = "benzyl-alcohol", pct = "0.01" },\n'
        '    { material = "lavandula-angustifolia-oil", pct = "0.30" },\n'
    )
    text = FORMULA.format(pct='"3.00"').removesuffix("]\n") + more + "]\n"
    label = read_formula(text, starter).label()
    shown = {str(row[0]): str(getattr(row[3], "text", row[3])) for row in label.allergen_table().rows}
    assert "Benzyl Alcohol" in label.names and "Limonene" not in label.names
    assert shown["Benzyl Alcohol"] == "listed as an ingredient"
    assert shown["Limonene"] == "not named"
    assert shown["Linalool"] == "named"


def test_a_condition_does_not_repeat_its_own_name(starter):
    wheat = found(starter, BTAC, CETEARYL, PHENOXY, ("hydrolyzed-wheat-protein-25", "1.00"))
    assert only(wheat, "cap.wheat_peptides").words.startswith("Hydrolyzed Wheat Protein: the mean molar mass")


def test_many_at_once_say_the_same_of_all_of_these(starter):
    """Every case above and its neighbours on both sides of each bound, in one call and one by one."""
    grids = {
        "parfum": ("0.90", "1.00", "1.01", "1.50", "1.51", "3.00"),
        "hydroxyethylcellulose": ("0.80", "0.81", "1.00", "1.01", "2.00"),
        "glycerin": ("8.00", "8.01", "15.00", "15.01", "20.00"),
        "caprylic-capric-triglyceride": ("6.00", "6.01", "10.00", "10.01", "12.00"),
        "disodium-edta": ("0.20", "0.21", "0.50", "0.51"),
        "cetearyl-alcohol": ("8.00", "8.01", "10.00", "10.01"),
        "sodium-benzoate": ("0.50", "2.94", "2.95", "2.951"),
    }
    compositions = [
        made(starter, BTAC, ("cetyl-alcohol", "4.00"), PHENOXY, (key, pct))
        for key, pcts in grids.items()
        for pct in pcts
    ]
    together = review_many(compositions)
    for index, composition in enumerate(compositions):
        assert together.codes(index) == review(composition).codes


FORMULA = """
name = "t"
version = "1"
[[phase]]
name = "A"
kind = "water"
line = [
    {{ material = "water-deionised", qs = true }},
    {{ material = "glycerin", pct = {pct} }},
]
"""


@pytest.mark.parametrize("pct", ["1e400", '"1e9"', '"99999999999999999999"', '"1001"', "-1"])
def test_a_number_that_is_no_percentage_is_refused(starter, pct):
    with pytest.raises(FormulaError) as caught:
        read_formula(FORMULA.format(pct=pct), starter)
    assert caught.value.code == "formula.value" and "glycerin" in caught.value.where


def test_a_slip_of_one_place_is_left_to_the_review(starter):
    assert "formula.negative_water" in read_formula(FORMULA.format(pct='"300"'), starter).review().codes


def test_a_line_that_cannot_take_up_a_change_is_told_what_can(starter):
    formula = read_formula(FORMULA.format(pct='"3.00"'), starter)
    with pytest.raises(FormulaError) as caught:
        formula.change({"glycerin": "4.00"}, absorb="magic")
    assert caught.value.code == "formula.absorb" and '"water", "proportional"' in caught.value.allowed


def test_a_fact_that_overrules_with_no_number_names_its_row(tmp_path):
    for table in (
        '[[substance]]\ninci = "Glycerin"\n'
        'molar_mass = { value = "abc", unit = "g/mol", kind = "memory", source = "x" }\n',
        '[practice.humectant]\nuse_range = { high = "x", unit = "%", kind = "memory", source = "x" }\n',
    ):
        path = tmp_path / "own.toml"
        path.write_text(table, encoding="utf-8")
        with pytest.raises(MaterialError) as caught:
            load_library(path)
        assert caught.value.code == "material.file"
        assert "Glycerin" in caught.value.where or "humectant" in caught.value.where
