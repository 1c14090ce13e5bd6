"""How the review speaks: order, words, the closing sentence, what it says of what it cannot know."""

from __future__ import annotations

from dataclasses import FrozenInstanceError, replace
from decimal import Decimal

import pytest

from kit.formula.composition import Composition, CompositionLine
from kit.formula.rules import Finding, Review, review
from kit.formula.rules.heat import exposures

BTAC = '"behentrimonium-chloride-80", pct = "2.50"'
HEC = '"hydroxyethylcellulose", pct = "0.20"'
PHENOXY = '"phenoxyethanol", pct = "0.80"'
BENZOATE = '"sodium-benzoate", pct = "0.20"'
EHG = '"ethylhexylglycerin", pct = "0.10"'
GLYCERIN = '"glycerin", pct = "3.00"'


def _line(key: str, pct: str) -> str:
    return f'"{key}", pct = "{pct}"'


def _also(old: str, key: str, pct: str) -> tuple[str, str]:
    """A further line beside an old one."""
    return old, f"{old} }},\n  {{ material = {_line(key, pct)}"


def test_a_finding_says_what_the_number_the_limit_and_what_to_do(example):
    found = example(
        "linden", (BTAC, _line("behentrimonium-chloride-neat", "3.5")), _also(HEC, "cetrimonium-chloride-neat", "2.0")
    ).review()
    worst = found.findings[0]
    assert worst.code == "cap.quat_sum"
    assert worst.limit == Decimal("5.0")
    assert set(worst.materials) == {"behentrimonium-chloride-neat", "cetrimonium-chloride-neat"}
    for said in ("5.50 % as the chloride", "limit of 5.0 %", "Annex III entry 287", "Lower it"):
        assert said in worst.words
    assert worst.source == "cpr-annex-iii-866-2014"
    assert found.closing.startswith("Coded limits exceeded: 1 (EU list, read 20")


def test_a_number_just_past_its_limit_does_not_read_like_the_limit(example):
    found = example("linden", (PHENOXY, _line("phenoxyethanol", "1.0001"))).review()
    assert "1.0001 %" in found.stops[0].words


def test_the_closing_sentence_names_what_rests_on_memory_and_what_is_not_coded(example):
    leave_on = example("linden", ('product = "rinse-off hair"', 'product = "leave-on hair"')).review()
    assert (
        "from memory, not read in the law text: Cetrimonium, steartrimonium and behentrimonium chloride together, "
        "leave-on" in leave_on.closing
    )
    bath = review(replace(example("linden").composition(), product="bath"))
    assert bath.closing.startswith("No limit of law is coded for the product type 'bath'")


def test_two_qs_lines_stop_the_review_and_say_that_nothing_else_was_checked(example):
    found = example("linden", (GLYCERIN, '"glycerin", qs = true'), (PHENOXY, _line("phenoxyethanol", "5.00"))).review()
    assert found.codes == ("formula.qs_two",)
    assert "No coded limit was checked" in found.closing


def test_what_an_extract_brings_for_itself_does_not_preserve_the_product(example):
    formula = example(
        "linden",
        (PHENOXY, _line("propanediol", "0.80")),
        (BENZOATE, _line("propanediol", "0.20")),
        (EHG, _line("propanediol", "0.10")),
    )
    assert formula.composition().shares()["Sodium Benzoate"].pct > 0
    assert formula.review().findings[0].code == "preservation.none"
    assert "challenge test" in formula.review().findings[0].words


def test_a_composition_as_made_is_judged_like_one_as_meant(example):
    formula = example("linden")
    over = Composition(
        tuple(
            replace(line, pct=Decimal("1.05")) if line.material.key == "phenoxyethanol" else line
            for line in formula.composition().lines
        ),
        "made",
        steps=formula.steps,
    )
    found = review(over, formula.spec)
    assert "cap.phenoxyethanol" in found.codes
    assert "the composition as made" in str(found)
    assert "range.ph_window" not in found.codes


def test_lines_that_cannot_be_judged_are_gathered_in_one_note(example):
    formula = example(
        "linden",
        ('phase = "C"\ntemps = "40 degC"', 'phase = "C"'),
        ('do = "cool"\ntemps = "40 degC"', 'do = "note"'),
        ('{ A = "78 degC", B = "82 degC", after = "77 degC" }', "{}"),
        ('temps = "78 degC"', ""),
        ('temps = "82 degC"', ""),
        ('temps = "25 degC"', ""),
    )
    unknown = [finding for finding in formula.review().findings if finding.code == "facts.unknown"]
    assert len(unknown) == 1
    assert "no step gives a temperature for phase B" in unknown[0].words
    assert "no step gives a temperature for phase C" in unknown[0].words
    assert not {"heat.limit", "heat.melt"} & set(formula.review().codes)


def test_a_missing_molar_mass_is_never_taken_for_zero(example):
    found = example(
        "meadowsweet",
        ('"stearamidopropyl-dimethylamine"', '"brassicamidopropyl-dimethylamine"'),
        ("[[step]]", "[[step]]"),
    ).review()
    unknown = next(finding for finding in found.findings if finding.code == "facts.unknown")
    assert "fatty alcohol:cationic (molar mass among Brassicamidopropyl Dimethylamine)" in unknown.words
    assert "whether the acid neutralises the amine" in unknown.words
    assert not {"network.ratio_low", "network.ratio_high"} & set(found.codes)


def test_temperatures_are_followed_through_the_steps(example):
    seen = {
        phase: [int(exposure.temp_c) for exposure in course]
        for phase, course in exposures(example("linden").composition()).items()
    }
    assert max(seen["A"]) == 78
    assert max(seen["B"]) == 82
    assert max(seen["C"]) == 40
    together = {
        phase: [int(exposure.temp_c) for exposure in course]
        for phase, course in exposures(example("sage").composition()).items()
    }
    assert (max(together["A"]), max(together["B"]), max(together["C"])) == (78, 80, 40)


def test_a_negative_line_that_is_not_water_has_its_own_code(example):
    lines = tuple(
        replace(line, pct=Decimal("-1.00")) if line.material.key == "glycerin" else line
        for line in example("linden").composition().lines
    )
    assert "formula.negative_line" in review(Composition(lines)).codes


def test_the_review_shows_itself_and_is_frozen(example):
    found = example("linden", (PHENOXY, _line("phenoxyethanol", "1.20"))).review()
    assert str(found).startswith("Review of Linden daily conditioner, version 1: 1 stop, 1 caution, 2 notes")
    assert str(found).index("STOP") < str(found).index("CAUTION") < str(found).index("NOTE")
    assert max(len(line) for line in str(found).splitlines()) <= 110
    assert "<table" in found._repr_html_()
    assert "STOP" in found._repr_html_()
    with pytest.raises(FrozenInstanceError):
        found.findings = ()
    with pytest.raises(FrozenInstanceError):
        found.findings[0].severity = "note"
    with pytest.raises(ValueError, match="severity"):
        Finding("alarm", "x.y", "words")


def test_typed_text_in_a_finding_is_shown_and_not_obeyed(library):
    water = replace(library.find("water-deionised"), name="<script>alert(1)</script>")
    found = review(
        Composition((CompositionLine(water, Decimal(-5)), CompositionLine(library.find("glycerin"), Decimal(105))))
    )
    assert "<script>" in str(found)
    assert "<script>" not in found._repr_html_()


def test_the_weightiest_stop_comes_first():
    findings = (
        Finding("note", "facts.memory", "a"),
        Finding("stop", "cap.a", "b", value=Decimal("1.1"), limit=Decimal(1)),
        Finding("stop", "cap.b", "c", value=Decimal(2), limit=Decimal(1)),
        Finding("stop", "formula.total", "d"),
        Finding("caution", "heat.limit", "e"),
    )
    assert Review("x", findings).codes == ("formula.total", "cap.b", "cap.a", "heat.limit", "facts.memory")
    assert str(Review("x", ())) == "Review of x: no stop, no caution, no note"
