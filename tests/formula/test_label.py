"""How the label speaks: what is unknown, what as-made would change, how it shows itself."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from kit.errors import FormulaError
from kit.formula.composition import Composition, CompositionLine
from kit.formula.label import label
from kit.formula.label_entries import label_entries
from kit.formula.label_market import market_rules
from kit.formula.label_notes import label_notes
from kit.formula.material import Allergen, Fact, Material, Part, Substance
from kit.formula.rules import review
from kit.formula.rules.conditions import fragrance_certificate

D = Decimal


def made_of(base: Composition, **contents: str) -> Composition:
    """The composition with these keys at other contents, water taking the difference."""
    new = {key.replace("_", "-"): D(pct) for key, pct in contents.items()}
    gone = sum((pct - base.pct(key) for key, pct in new.items()), D(0))
    lines = []
    for line in base.lines:
        pct = new.get(line.material.key, line.pct)
        lines.append(replace(line, pct=pct - gone if line.material.is_water else pct))
    assert sum(line.pct for line in lines) == 100
    return Composition(tuple(lines), "made", base.product, base.steps)


def perfumed(*allergens: tuple[str, str], limit: str = "") -> Material:
    fact = Fact("%", "supplier-typical", "trade-form", high=D(limit), conditions="rinse-off") if limit else None
    return Material(
        "scent",
        "Scent of linden",
        (Part(Substance("Parfum", "fragrance"), D(100)),),
        allergens=tuple(Allergen(inci, D(pct)) for inci, pct in allergens),
        fragrance_limit=fact,
    )


def with_scent(base: Composition, scent: Material) -> Composition:
    lines = tuple(replace(line, material=scent) if line.material.key == "parfum" else line for line in base.lines)
    return replace(base, lines=lines)


def test_the_linden_label(example):
    """By hand from the lines: 0.65 % of 75 % panthenol is 0.4875 %, the quat 80 % of its line, isopropyl alcohol "
    "20 %."""
    found = label(example("linden"))
    contents = {entry.name: entry.pct for entry in found.entries}
    shares = example("linden").composition()
    quat = shares.pct("behentrimonium-chloride-80")
    assert contents["Behentrimonium Chloride"] == quat * D("0.8")
    assert contents["Isopropyl Alcohol"] == quat * D("0.2")
    assert sum(contents.values()) == 100
    assert found.names[0] == "Aqua" and found.text().startswith("Ingredients: Aqua, Cetearyl Alcohol, ")


def test_a_fragrance_without_a_declaration_is_never_silently_free_of_allergens(example):
    notes = label(example("linden")).notes
    assert any("Composition of Parfum" in note and "ask for the allergen declaration" in note for note in notes)
    assert any("Allergens not stated for Tilia Cordata Flower Extract" in note for note in notes)
    assert not any("allergen declaration" in note for note in label(example("linden"), market="US").notes)


def test_what_an_extract_brings_is_listed_and_said(example):
    found = label(example("linden"))
    assert "Potassium Sorbate" in found.names
    assert any("Potassium Sorbate" in note and "a supply form brings it" in note for note in found.notes)


def test_a_stock_solution_is_listed_by_what_it_is_made_of(library, example):
    """0.50 % of a 10 % citric acid solution: 0.05 % citric acid; nothing called a solution."""
    stock = library.find("citric-acid-10-solution")
    base = example("linden").composition()
    lines = (*base.lines[:-1], CompositionLine(stock, D("0.50"), "D", "adjust"))

    entries = {entry.name: entry for entry in label_entries(replace(base, lines=lines), market_rules("EU"))}
    assert stock.key in entries["Citric Acid"].brought_by and not any("olution" in name for name in entries)


def test_the_water_of_a_hydrate_counts_as_water(library, example):
    base = example("linden")
    citric = library.find("citric-acid-monohydrate")

    composition = base.composition()
    lines = (*composition.lines, CompositionLine(citric, D("0.10"), "D", "adjust"))
    notes = label_notes(replace(composition, lines=lines), market_rules("EU"))
    assert any("counts as water" in note and "monohydrate" in note.lower() for note in notes)
    assert any("adds up to 100.1" in note for note in notes)
    assert not any("counts as water" in note for note in label(base).notes)


def test_a_grouped_name_is_listed_beside_the_ingredient_and_said(example):
    """0.05 % of lavender oil used as an ingredient, above 0.01 %: the law groups it under one name."""
    base = example("linden").composition()
    oil = Material("lavender", "Lavender oil", (Part(Substance("Lavandula Angustifolia Oil", "active"), D(100)),))

    composition = replace(base, lines=(*base.lines, CompositionLine(oil, D("0.05"), "C", "cool-down")))
    names = [entry.name for entry in label_entries(composition, market_rules("EU"))]
    assert {"Lavandula Angustifolia Oil", "Lavandula Oil/Extract"} <= set(names)
    assert any(
        "Lavandula Oil/Extract: the name under which" in note for note in label_notes(composition, market_rules("EU"))
    )


# As made


def test_what_was_made_as_meant_changes_nothing(example):
    base = example("linden")
    assert label(base, as_made=base.composition()).as_made == (
        "As made: the label and the coded limits would be the same.",
    )
    assert label(base).as_made == ()


def test_a_change_of_order_and_of_the_line_of_one_percent(example):
    """Glycerin over the alcohol, phenoxyethanol from 0.80 to 1.02 %: over the line and over its limit of 1.0 %."""
    base = example("linden")
    made = made_of(base.composition(), glycerin="6.00", phenoxyethanol="1.02")
    words = label(base, as_made=made).as_made
    assert words[0] == "As made the order would be Glycerin, Cetearyl Alcohol; meant Cetearyl Alcohol, Glycerin."
    assert words[1] == "Phenoxyethanol crosses the line of 1 %: meant 0.80 %, made 1.02 %."
    assert len(words) == 3 and words[2].startswith("As made, Phenoxyethanol: 1.02 % as such, above the limit of 1.0 %")
    assert label(base, as_made=made).names == label(base).names  # the label itself stays that of the meant formula


def test_an_allergen_that_crosses(example):
    """0.40 % x 2.4 % = 0.0096 %; 0.44 % x 2.4 % = 0.01056 %: over 0.01 %."""
    base = example("linden")
    scent = perfumed(("Linalool", "2.4"))
    phases = tuple(
        replace(
            phase,
            lines=tuple(replace(li, material=scent) if li.material.key == "parfum" else li for li in phase.lines),
        )
        for phase in base.phases
    )
    meant = replace(base, phases=phases)
    assert meant.composition().pct("scent") == D("0.40")
    words = label(meant, as_made=made_of(meant.composition(), scent="0.44")).as_made
    assert words == ("Linalool must be named as made: meant 0.0096 %, made 0.011 %, threshold 0.01 %.",)
    back = label(replace(meant), as_made=made_of(meant.composition(), scent="0.30")).as_made
    assert back == ("As made: the label and the coded limits would be the same.",)


def test_a_content_just_below_the_line_does_not_read_like_the_line(example):
    base = example("linden")
    made = made_of(base.composition(), phenoxyethanol="0.9996")
    near = replace(base, phases=base.change({"phenoxyethanol": "0.9996"}).phases)
    row = next(row for row in label(near).table().rows if row[1] == "Phenoxyethanol")
    assert (row[2], row[3]) == ("0.9996", "below 1 %")
    assert label(near, as_made=made).as_made == label(base, as_made=base.composition()).as_made
    over = label(near, as_made=made_of(base.composition(), phenoxyethanol="1.00")).as_made
    assert over[0] == "Phenoxyethanol crosses the line of 1 %: meant 0.9996 %, made 1.00 %."


def test_what_is_missing_or_new_as_made(example):
    base = example("linden")
    composition = base.composition()
    made = made_of(composition, disodium_edta="0")
    assert label(base, as_made=made).as_made == ("As made there is no Disodium EDTA.",)


# The certificate of a fragrance


def test_the_certificate_of_a_fragrance_is_a_limit(example):
    """0.40 % against certificates of 0.30, 0.41 and 1.0 %: above, within 5 % (0.40 / 0.41 = 97.6 %), content."""
    base = example("linden").composition()
    above, near, fine = (with_scent(base, perfumed(limit=limit)) for limit in ("0.30", "0.41", "1.0"))
    stop = next(iter(fragrance_certificate(above)))
    assert (stop.severity, stop.code, stop.value, stop.limit) == (
        "stop",
        "cap.fragrance_certificate",
        D("0.40"),
        D("0.30"),
    )
    assert "Scent of linden" in stop.words and "rinse-off" in stop.words and "not of law" in stop.words
    assert [f.code for f in fragrance_certificate(near)] == ["cap.fragrance_certificate.near"]
    assert list(fragrance_certificate(fine)) == []
    assert review(above).codes.count("cap.fragrance_certificate") == 1


# Showing and refusing


def test_it_shows_itself(example):
    found = label(example("linden"))
    text, html = str(found), found._repr_html_()
    for shown in ("Ingredients: Aqua", "1 % or more", "below 1 %", "qualified person", "read 20"):
        assert shown in text and shown in html
    assert "compliant" not in text.lower()
    assert len(found.table().rows) == len(found.entries)


def test_typed_names_are_escaped(example):
    base = example("linden")
    odd = Material("odd", "<b>odd</b>", (Part(Substance("<script>x</script>", "active"), D(100)),))
    phases = (
        replace(base.phases[0], lines=(*base.phases[0].lines, replace(base.phases[0].lines[1], material=odd))),
        *base.phases[1:],
    )
    assert "<script>" not in label(replace(base, phases=phases))._repr_html_()


@pytest.mark.parametrize(
    ("words", "code"), [({"market": "JP"}, "label.market"), ({"as_made": "batch 1"}, "label.as_made")]
)
def test_what_cannot_be_used_is_refused(example, words, code):
    with pytest.raises(FormulaError) as caught:
        label(example("linden"), **words)
    assert caught.value.code == code


def test_the_method_of_a_formula(example):
    assert example("linden").label(market="US").names[0] == "Water"
