"""Anions against cationics at the highest pH the spec allows: there a carboxylate carries most and an amine least."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from kit.formula.composition import Composition, CompositionLine
from kit.formula.material import Fact
from kit.formula.rules import review
from kit.formula.rules.many import review_many

HEC = '"hydroxyethylcellulose", pct = "0.20"'
PH = "low = 4.3\nhigh = 4.9"
CLASH = "charge.anionic_surfactant"


def _with_soft_anion(example, pct: str, *more, pka: str = "") -> tuple[Composition, tuple]:
    """Linden with a carboxylate of M 357.5, 25 % in water: 1.00 % of it brings 0.699 meq to 4.949 of cationic."""
    formula = example("linden", (HEC, f'{HEC} }},\n  {{ material = "sodium-cocoyl-glutamate-25", pct = "{pct}"'), *more)
    constant = (Fact("1", "measured", "common-practice", Decimal(pka)),) if pka else ()
    return _stated(formula.composition(), constant), formula.spec


def _stated(composition: Composition, constant: tuple[Fact, ...]) -> Composition:
    lines = []
    for line in composition.lines:
        parts = tuple(
            replace(part, substance=replace(part.substance, pka=constant))
            if part.inci == "Sodium Cocoyl Glutamate"
            else part
            for part in line.material.parts
        )
        lines.append(CompositionLine(replace(line.material, parts=parts), line.pct, line.phase, line.kind))
    return replace(composition, lines=tuple(lines))


def _clash(composition, spec):
    return next((item for item in review(composition, spec).findings if item.code == CLASH), None)


def test_without_a_constant_it_is_counted_whole_and_that_is_said(example):
    """0.699 / 4.949 = 0.141, above 0.1."""
    found = _clash(*_with_soft_anion(example, "1.00"))
    assert float(found.value) == pytest.approx(0.1413, abs=2e-4)
    assert "at pH 4.9, the highest the spec allows; Sodium Cocoyl Glutamate counted as fully charged" in found.words


# pKa 4.9: half of 0.699 meq at pH 4.9, ratio 0.0706; all but a hundredth at 6.9, 0.140; at 5.9 ten elevenths, 0.128.
@pytest.mark.parametrize(("high", "ratio"), [("4.9", None), ("5.9", 0.1284), ("6.9", 0.1399)])
def test_a_carboxylate_counts_as_far_as_it_is_ionised_at_the_upper_end_of_the_spec(example, high, ratio):
    composition, spec = _with_soft_anion(example, "1.00", (PH, f"low = 4.3\nhigh = {high}"), pka="4.9")
    found = _clash(composition, spec)
    assert (found is None) == (ratio is None)
    if ratio is not None:
        assert float(found.value) == pytest.approx(ratio, abs=2e-4)
        assert f"at pH {high}, the highest the spec allows)" in found.words


def test_without_a_ph_spec_it_is_counted_whole(example):
    composition, _ = _with_soft_anion(example, "1.00", pka="4.9")
    found = _clash(composition, ())
    assert float(found.value) == pytest.approx(0.1413, abs=2e-4)
    assert "no pH in the spec; Sodium Cocoyl Glutamate counted as fully charged" in found.words


def test_an_amine_counts_as_far_as_it_is_protonated(library, example):
    """2.00 of amine, pKa 9.4: 5.425 meq, at pH 9.4 half of it, against 270 / 376.48 = 0.717 of a sulfate."""
    keys = {"water-deionised": "90", "stearamidopropyl-dimethylamine": "2.00", "sodium-laureth-sulfate-27": "1.00"}
    composition = Composition(tuple(CompositionLine(library.find(key), Decimal(pct)) for key, pct in keys.items()))
    low, high = ((replace(example("linden").spec[0], high=Decimal(top)),) for top in ("4.9", "9.4"))
    assert float(_clash(composition, low).value) == pytest.approx(0.717 / 5.425, abs=3e-4)
    assert float(_clash(composition, high).value) == pytest.approx(0.717 / 2.7126, abs=6e-4)


def test_many_at_once_are_told_the_same(example):
    composition, spec = _with_soft_anion(example, "1.00", pka="4.9")
    made = []
    for step in range(1, 40):
        lines = tuple(
            replace(line, pct=Decimal(step) / 10) if line.material.key == "sodium-cocoyl-glutamate-25" else line
            for line in composition.lines
        )
        made.append(replace(composition, lines=lines))
    together = review_many(made, spec)
    assert [together.codes(index) for index in range(len(made))] == [review(item, spec).codes for item in made]
    assert 0 < together.has(CLASH).sum() < len(made)
