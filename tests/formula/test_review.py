"""How the review speaks: order, words, the closing sentence, what it says of what it cannot know."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import FrozenInstanceError, replace
from decimal import Decimal
from pathlib import Path

import pytest

import kit
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


def test_the_closing_sentence_names_what_rests_on_memory_and_what_is_not_coded(example, monkeypatch):
    from kit.formula.rules import caps

    from_memory = tuple(replace(cap, kind="memory") if cap.code == "cap.quat_sum" else cap for cap in caps.caps())
    monkeypatch.setattr(caps, "caps", lambda: from_memory)
    told = example("linden").review().closing
    assert f"from memory, not read in the law text: {_title('cap.quat_sum', from_memory)}" in told
    bath = review(replace(example("linden").composition(), product="bath"))
    assert bath.closing.startswith("No limit of law is coded for the product type 'bath'")


def _title(code: str, limits) -> str:
    return next(cap.title for cap in limits if cap.code == code)


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


def test_a_limit_that_cannot_be_worked_out_is_a_caution_and_not_a_pass(library):
    """Sodium benzoate without a molar mass cannot be held against a limit as the acid."""
    benzoate = library.find("sodium-benzoate")
    part = replace(benzoate.parts[0], substance=replace(benzoate.parts[0].substance, molar_mass=None))
    lines = (
        CompositionLine(library.find("water-deionised"), Decimal("97.00")),
        CompositionLine(replace(benzoate, parts=(part,)), Decimal("3.00")),
    )
    found = review(Composition(lines))
    assert "cap.unchecked" in [finding.code for finding in found.cautions]
    assert "not checked: Benzoic acid and sodium benzoate" in found.closing


def test_an_anionic_of_unknown_charge_is_a_caution_and_not_a_pass(library, example):
    sulfate = library.find("sodium-laureth-sulfate-27")
    parts = tuple(replace(part, substance=replace(part.substance, molar_mass=None)) for part in sulfate.parts)
    lines = (*example("linden").composition().lines, CompositionLine(replace(sulfate, parts=parts), Decimal("1.00")))
    cautions = {finding.code: finding for finding in review(Composition(lines)).cautions}
    assert "not known" in cautions["charge.anionic_surfactant"].words


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


def test_a_phase_added_without_a_temperature_meets_the_batch_as_it_was_last_known(example):
    no_cooling = ('do = "cool"\ntemps = "40 degC"', 'do = "note"\ntemps = "20 degC"')  # a note cools nothing
    added = ('phase = "C"\ntemps = "40 degC"', 'phase = "C"')
    unknown_after = ('B = "82 degC", after = "77 degC"', 'B = "82 degC"')
    for replacements, temp in (((no_cooling, added), 77), ((no_cooling, added, unknown_after), 82), ((added,), 40)):
        course = exposures(example("linden", *replacements).composition())["C"]
        assert max(exposure.temp_c for exposure in course) == temp


def test_a_ph_below_a_window_is_told_like_one_above_it(example):
    found = example("linden", ("low = 4.3\nhigh = 4.9", 'low = "2.8"\nhigh = "4.0"')).review()
    finding = next(finding for finding in found.findings if finding.code == "range.ph_window")
    assert "Behentrimonium Chloride (80 %) (pH 3 to 7)" in finding.words  # its window starts at 3
    assert "Sodium Benzoate" not in finding.words
    assert (finding.value, finding.limit) == (Decimal("2.8"), Decimal("3"))


def test_a_negative_line_that_is_not_water_has_its_own_code(example):
    lines = tuple(
        replace(line, pct=Decimal("-1.00")) if line.material.key == "glycerin" else line
        for line in example("linden").composition().lines
    )
    assert "formula.negative_line" in review(Composition(lines)).codes


def test_the_review_shows_itself_and_is_frozen(example):
    found = example("linden", (PHENOXY, _line("phenoxyethanol", "1.20"))).review()
    assert str(found).startswith("Review of Linden daily conditioner, version 1: 1 stop, 1 caution, 1 note")
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


def test_the_sources_are_printed_with_their_citation(example):
    found = example("linden", (PHENOXY, _line("phenoxyethanol", "1.20"))).review()
    assert "Source: cpr-annex-v" in str(found)
    assert "cpr-annex-v: Regulation (EC) No 1223/2009, Annex V" in str(found)
    assert "common practice:" not in str(found)  # it is no document
    assert "Regulation (EC) No 1223/2009, Annex V" in found._repr_html_()
    two = Finding("note", "acid.x", "words", source="vu-2005; common practice, no source")
    assert two.sources == ("vu-2005", "common practice")
    own = Review("x", (Finding("note", "range.use", "words", source="our-binder"),))
    assert "our-binder: named in the lab's own materials file" in " ".join(str(own).split())


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


def test_a_review_loads_nothing_heavy():
    """Reading and reviewing a formula file is a matter of a tenth of a second only while this holds."""
    program = (
        "import sys, kit; kit.load_formula(sys.argv[1]).review(); "
        "print(*sorted({'numpy', 'pandas', 'pint', 'pydantic', 'scipy', 'sqlalchemy', 'tomlkit'} & set(sys.modules)))"
    )
    path = Path(__file__).parent / "examples" / "linden.toml"
    ran = subprocess.run(
        [sys.executable, "-c", program, str(path)],
        cwd=Path(kit.__file__).parents[1],
        capture_output=True,
        text=True,
        check=True,
    )
    assert ran.stdout.strip() == ""
