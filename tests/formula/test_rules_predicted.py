"""The predicted pH in a review: what is said, when nothing is, and that many at once are told the same.

The pH itself is checked against tables and phreeqc where the solver is tested; here against a worked mixture, and the
band against the sampled one of `predict_ph`, which is another way to the same number.
"""

from __future__ import annotations

import re
import subprocess
import sys
from dataclasses import replace
from decimal import Decimal
from importlib.resources import files

import pytest

from kit.formula.acid_left import acid_left_meq_per_100g
from kit.formula.composition import Composition, CompositionLine
from kit.formula.files import load_formula
from kit.formula.ph_estimate import ph_estimate
from kit.formula.predict import predict_ph
from kit.formula.rules import review
from kit.formula.rules.many import review_many
from kit.formula.rules.predicted import predicted

CITRIC = '"citric-acid", pct = "0.05"'
LACTIC = '"lactic-acid-88", pct = "0.70"'
PH = "low = 4.3\nhigh = 4.9"
NO_PH = (f'[[spec]]\nproperty = "pH"\n{PH}', '[[spec]]\nproperty = "colour"\nallowed = ["white"]')
PHENOXY = ('"phenoxyethanol", pct = "0.80"', '"propanediol", pct = "0.80"')
NAMES = ("linden", "calendula", "meadowsweet", "sage")


def _citric(pct: str) -> tuple[str, str]:
    return CITRIC, f'"citric-acid", pct = "{pct}"'


def _lactic(pct: str) -> tuple[str, str]:
    return LACTIC, f'"lactic-acid-88", pct = "{pct}"'


def _finding(formula, code):
    return next(finding for finding in formula.review().findings if finding.code == code)


def _product(library, **percents):
    lines = [CompositionLine(library.find(key.replace("_", "-")), Decimal(pct)) for key, pct in percents.items()]
    return Composition(tuple(lines))


def test_a_worked_mixture(library):
    """82.0 g of water, 0.40 of sodium benzoate, 0.10 of disodium EDTA, 0.10 of 88 % lactic acid: pH 4.49.

    Charge balance with Davies worked apart, EDTA by its constants at I = 0.1; those at I = 0 move it by 0.01. Without
    any acid it would be near 8, with all the benzoate as acid near 2.5.
    """
    composition = _product(
        library,
        water_deionised="82.0",
        sodium_benzoate="0.40",
        disodium_edta="0.10",
        lactic_acid_88="0.10",
        caprylic_capric_triglyceride="17.4",
    )
    assert predicted(composition).value == pytest.approx(4.49, abs=0.02)


# Times the acid of the formula. An amine short of acid is left out: there the sampled band bends by up to 0.3.
VARIED = [(name, more) for name in NAMES for more in ("0.5", "1", "1.5") if (name, more) != ("meadowsweet", "0.5")]


@pytest.mark.parametrize(("name", "more"), VARIED)
def test_the_band_is_that_of_the_sampled_prediction(example, name, more):
    """Carried through the charge balance here, sampled there; a band of the electrode alone would be 0.16 wide."""
    composition = example(name).composition()
    lines = [
        replace(line, pct=line.pct * Decimal(more)) if line.material.key in ("citric-acid", "lactic-acid-88") else line
        for line in composition.lines
    ]
    composition = replace(composition, lines=tuple(lines))
    found, sampled = predicted(composition), predict_ph(composition)
    assert found.value == pytest.approx(float(sampled.value), abs=0.006)
    wide = float(sampled.high - sampled.low)
    assert found.band == pytest.approx((float(sampled.low), float(sampled.high)), abs=0.01 + 0.05 * wide)
    assert wide > 0.19


# linden is predicted near 4.5 at 0.05 % of citric acid; name, example, replacements, code, severity
TOLD = [
    ("far too acid", "linden", [_citric("0.50")], "ph.predicted_outside", "caution"),
    (
        "no acid, but alkali",
        "linden",
        [(CITRIC, '"sodium-hydroxide", pct = "0.05"')],
        "ph.predicted_outside",
        "caution",
    ),
    ("a little too little acid", "linden", [_citric("0.01")], "ph.predicted_edge", "note"),
    ("a spec of its own", "linden", [(PH, "low = 4.65\nhigh = 5.0")], "ph.predicted_edge", "note"),
    ("too much acid for the amine", "meadowsweet", [_lactic("1.00")], "ph.predicted_outside", "caution"),
    ("too little acid for the amine", "meadowsweet", [_lactic("0.60")], "ph.predicted_outside", "caution"),
    ("at most", "linden", [_citric("0.01"), (PH, "high = 4.6")], "ph.predicted_outside", "caution"),
    ("at least", "linden", [_citric("0.50"), (PH, "low = 4.3")], "ph.predicted_outside", "caution"),
]


@pytest.mark.parametrize(
    ("base", "replacements", "code", "severity"), [row[1:] for row in TOLD], ids=[r[0] for r in TOLD]
)
def test_a_predicted_ph_outside_the_spec_comes_first(example, base, replacements, code, severity):
    found = example(base, *replacements).review()
    assert [item.severity for item in found.findings if item.code.startswith("ph.predicted")] == [severity]
    assert found.codes[0] == code
    assert "it may miss by" in found.findings[0].words


@pytest.mark.parametrize("name", NAMES)
def test_nothing_is_said_of_a_predicted_ph_inside_the_spec(example, name):
    assert not [code for code in example(name).review().codes if code.startswith("ph.")]


@pytest.mark.parametrize("words", [(PH, "low = 2.5"), (PH, "high = 7.0")])
def test_a_spec_of_one_side_is_held_to_that_side_only(example, words):
    assert "ph.predicted_outside" not in example("linden", words).review().codes
    assert "ph.predicted_edge" not in example("linden", words).review().codes


def test_value_and_limit_are_those_told(example):
    found = _finding(example("linden", _citric("0.50")), "ph.predicted_outside")
    assert found.limit == Decimal("4.3")
    assert f"predicted is {found.value:.2f}" in found.words
    assert found.value < 4
    assert "Not in the model: Tilia Cordata Flower Extract" in found.words


# What the finding says to add or to take out, done: the prediction then lies at the middle of the spec, 4.6 or 4.5.
DOSES = [
    ("linden", _citric("0.01"), "add about", _citric, Decimal("0.01"), 1, 4.6),
    ("linden", (PH, "low = 4.65\nhigh = 5.0"), "take out about", _citric, Decimal("0.05"), -1, 4.825),
    ("meadowsweet", _lactic("1.00"), "take out about", _lactic, Decimal("1.00"), -1, 4.5),
    ("meadowsweet", _lactic("0.60"), "add about", _lactic, Decimal("0.60"), 1, 4.5),
]


@pytest.mark.parametrize(("name", "spoiled", "verb", "at", "had", "sign", "middle"), DOSES)
def test_the_dose_told_brings_it_to_the_middle_of_the_spec(example, name, spoiled, verb, at, had, sign, middle):
    formula = example(name, spoiled)
    words = next(item.words for item in formula.review().findings if item.code.startswith("ph.predicted"))
    grams = Decimal(re.search(rf"{verb} ([\d.]+) % of (Citric|Lactic) Acid, counted pure", words)[1])
    pure = Decimal("0.88") if name == "meadowsweet" else Decimal(1)
    mended = example(name, at(f"{had + sign * grams / pure:.4f}"))
    assert float(predict_ph(mended.composition()).value) == pytest.approx(middle, abs=0.06)
    assert abs(float(predict_ph(formula.composition()).value) - middle) > 0.2


def test_lye_is_named_where_the_acid_cannot_be_less(example):
    """0.01 % of citric acid beside 0.60 % of dehydroacetic acid: taking the citric acid out is not enough."""
    more = ('"sodium-benzoate", pct = "0.20"', '"dehydroacetic-acid", pct = "0.60"')
    formula = example("linden", _citric("0.01"), more)
    words = _finding(formula, "ph.predicted_outside").words
    assert "add base, such as" in words
    lye = Decimal(re.search(r"such as ([\d.]+) % of sodium hydroxide", words)[1])
    own = replace(formula.composition().lines[0], material=formula.library.find("sodium-hydroxide"), pct=lye)
    mended = replace(formula.composition(), lines=(*formula.composition().lines, own))
    assert float(predict_ph(mended).value) == pytest.approx(4.6, abs=0.06)


def test_within_three_percent_of_equivalence_nothing_is_predicted(example):
    found = example("meadowsweet", _lactic("0.54")).review()
    assert "charge.amine_near" in found.codes
    assert not [code for code in found.codes if code.startswith("ph.predicted")]
    words = next(item.words for item in found.findings if item.code == "charge.amine_near")
    assert "within 3 % of equivalence it cannot be predicted" in words


def test_acid_of_the_cool_down_comes_too_late_for_the_wax(library):
    """Hot: 0.45 x 0.88 / 90.08 = 4.396 meq less GLDA's 0.20 x 0.38 / 351.13 = 0.216, over 5.425 of amine: 0.77.

    The cool-down brings 0.20 / 168.15 = 1.189 meq of dehydroacetic acid: 5.37 / 5.425 = 0.99. With 0.60 of lactic acid
    the hot phases hold (5.861 - 0.216) / 5.425 = 1.04 and nothing is said; nor is it when the acid is poured in hot.
    """
    base = load_formula(str(files("kit.demo") / "formulas/chamomile.toml"), library)
    found = base.change({"lactic-acid-88": "0.45 %"}).review()
    first = found.findings[0]
    assert (first.severity, first.code) == ("stop", "charge.amine_acid")
    assert float(first.value) == pytest.approx(0.7705, abs=5e-4)
    assert "0.77 equivalents of acid when the phases meet; 0.99 with the acid of the cool-down" in first.words
    assert "charge.amine_acid" not in base.change({"lactic-acid-88": "0.60 %"}).review().codes
    composition = base.change({"lactic-acid-88": "0.45 %"}).composition()
    hot = tuple(replace(line, kind="water") if line.kind == "cool-down" else line for line in composition.lines)
    assert "charge.amine_acid" not in review(replace(composition, lines=hot)).codes


def test_an_amine_without_a_molar_mass_gives_no_prediction(example):
    own = '"brassicamidopropyl-dimethylamine", pct = "2.00"'
    formula = example("meadowsweet", ('"stearamidopropyl-dimethylamine", pct = "2.00"', own))
    assert predicted(formula.composition()) is None


def test_what_is_too_dry_or_holds_no_acid_gives_no_prediction(library):
    dry = _product(library, water_deionised="20", glycerin="79.5", citric_acid="0.5")
    assert predicted(dry) is None
    assert ph_estimate(dry) is not None  # with more water there is one: that decides for others of the same lines
    assert predicted(_product(library, glycerin="99.5", citric_acid="0.5")) is None
    assert predicted(_product(library, water_deionised="97", glycerin="3")) is None


def test_constants_from_memory_are_named(example, library):
    glda = ('"disodium-edta", pct = "0.10"', '"tetrasodium-glutamate-diacetate-38", pct = "0.10"')
    words = _finding(example("linden", _citric("0.50"), glda), "ph.predicted_outside").words
    assert "From memory: Tetrasodium Glutamate Diacetate, pKa 2.6" in words


def test_where_hardly_anything_buffers_that_is_said(library):
    """Water and a pinch of acid under a spec it cannot meet."""
    composition = _product(library, water_deionised="99.9995", sodium_benzoate="0.0005")
    found = predicted(composition)
    assert "hardly buffered" in found.words()


def test_without_a_ph_spec_acid_preservatives_are_judged_at_the_predicted_ph(example):
    """Without citric acid the extract and EDTA alone hold the pH below that of benzoate: well above 5, where less than
    an eighth of it is acid, 1 / (1 + 10^(pH - 4.202)).
    """
    found = _finding(example("linden", NO_PH, _citric("0.00")), "preservation.ph")
    ph = float(re.search(r"no pH spec. At the predicted pH ([\d.]+) \(", found.words)[1])
    assert found.severity == "caution"
    assert 5.1 < ph < 5.7
    assert float(found.value) == pytest.approx(100 / (1 + 10 ** (ph - 4.202)), abs=0.1)


def test_without_a_ph_spec_a_low_predicted_ph_leaves_them_working(example):
    found = _finding(example("linden", NO_PH, PHENOXY), "preservation.acids_only")
    assert "At the predicted pH 4.5" in found.words
    assert "preservation.ph" not in example("linden", NO_PH).review().codes


def test_acids_alone_are_told_how_little_is_known_to_be_free(example):
    """At pH 4.9 17 % of benzoate is acid; oil and bilayers hold an unknown part of it, so the low end is far below."""
    words = _finding(example("linden", PHENOXY), "preservation.acids_only").words
    told = re.search(r"Sodium Benzoate ([\d.]+) to ([\d.]+) %, range too wide to choose by", words)
    low, high = map(float, told.groups())
    assert 0 < 2 * low < high <= 17


def test_benzoate_at_5_6_hardly_works(example):
    """1 / (1 + 10^(5.6 - 4.202)) = 1 / 26.0 = 3.8 %."""
    found = _finding(example("linden", (PH, "low = 5.4\nhigh = 5.6")), "preservation.ph")
    assert "is 3.8 % un-ionised" in found.words
    assert "hardly" in found.words


# Acid left for the amine, by hand and by whole protons. Lactic 88 %: 0.60 x 0.88 / 90.08 = 5.861 mmol. Dehydroacetic
# acid 0.20 / 168.15 = 1.189 mmol. Citric acid 0.10 / 192.12 = 0.5205 mmol, three protons each. Sodium hydroxide
# 0.02 / 39.997 = 0.500 taken. Tetrasodium salt of GLDA 0.20 x 0.38 / 351.13 = 0.2164 mmol, its amine (9.4) takes one
# proton. Arginine 0.20 / 174.20 = 1.148 mmol, its amino group takes one, its carboxyl has none to give. Sodium benzoate
# has nothing to give.
ACIDS = [
    ({"lactic_acid_88": "0.60"}, 5.861),
    ({"lactic_acid_88": "0.60", "dehydroacetic_acid": "0.20"}, 7.050),
    ({"lactic_acid_88": "0.60", "citric_acid": "0.10"}, 7.423),
    ({"lactic_acid_88": "0.60", "sodium_hydroxide": "0.02"}, 5.361),
    ({"lactic_acid_88": "0.60", "tetrasodium_glutamate_diacetate_38": "0.20"}, 5.645),
    ({"lactic_acid_88": "0.60", "arginine": "0.20"}, 4.713),
    ({"lactic_acid_88": "0.60", "sodium_benzoate": "0.40"}, 5.861),
]


@pytest.mark.parametrize(("parts", "meq"), ACIDS)
def test_acid_left_for_an_amine(library, parts, meq):
    composition = _product(library, water_deionised="90", stearamidopropyl_dimethylamine="2.00", **parts)
    assert float(acid_left_meq_per_100g(composition)) == pytest.approx(meq, abs=0.002)


def test_the_acid_of_a_preservative_counts_for_the_amine(library):
    """0.55 of lactic acid alone is 0.990 of 2.00 g of amine; 0.20 of dehydroacetic acid takes it clear of the edge."""
    alone = {"water_deionised": "90", "stearamidopropyl_dimethylamine": "2.00", "lactic_acid_88": "0.55"}
    assert "charge.amine_near" in review(_product(library, **alone)).codes
    both = review(_product(library, **alone, dehydroacetic_acid="0.20"))
    assert "charge.amine_counted" in both.codes


def test_lactic_acid_of_two_amounts_for_an_amidoamine(library):
    """2.00 g of the amine in 100 g: 0.556 of 88 % lactic acid is one equivalent, where nothing can be said; at 0.60 the
    charge balance, worked apart, gives pH 4.9: 0.04 g moves it by more than a unit.
    """
    alone = {"water_deionised": "90", "stearamidopropyl_dimethylamine": "2.00", "cetearyl_alcohol": "7"}
    assert predicted(_product(library, **alone, lactic_acid_88="0.55")) is None
    assert predicted(_product(library, **alone, lactic_acid_88="0.60")).value == pytest.approx(4.9, abs=0.06)


@pytest.mark.parametrize("with_spec", [True, False])
@pytest.mark.parametrize("name", NAMES)
def test_many_at_once_are_told_the_same(example, name, with_spec):
    """Acid in steps through the whole range, so that value and band pass both ends of the spec."""
    formula = example(name)
    base, made = formula.composition(), []
    acid = next(line for line in base.lines if any(part.substance.category == "acid" for part in line.material.parts))
    for step in range(1, 60):
        pct = acid.pct * step / 20
        lines = tuple(replace(line, pct=pct) if line is acid else line for line in base.lines)
        made.append(replace(base, lines=lines))
    spec = formula.spec if with_spec else ()
    together = review_many(made, spec)
    alone = [review(composition, spec).codes for composition in made]
    assert [together.codes(index) for index in range(len(made))] == alone
    if with_spec:
        assert {"ph.predicted_outside", "ph.predicted_edge"} <= {code for codes in alone for code in codes}


def test_dry_and_wet_of_the_same_lines_are_told_the_same_at_once(library, example):
    spec = example("linden").spec
    made = [
        _product(library, water_deionised=str(water), glycerin=str(99.5 - water), citric_acid="0.5")
        for water in (10, 29, 30, 31, 80)
    ]
    together = review_many(made, spec)
    assert [together.codes(index) for index in range(len(made))] == [review(item, spec).codes for item in made]
    assert together.has("ph.predicted_outside").tolist() == [False, False, True, True, True]


def test_a_review_needs_no_numpy():
    code = (
        "import sys, kit\nfrom kit.formula.files import load_formula\n"
        "from pathlib import Path\n"
        "found = load_formula(Path(kit.__file__).parent / 'demo' / 'linden.toml').review()\n"
        "sys.exit('numpy' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_a_spec_beyond_the_scale_is_told_and_does_not_stop_the_review(example):
    found = example("linden", (PH, "low = 4.3\nhigh = 15"), PHENOXY).review()
    assert {"range.ph_spec", "preservation.ph"} <= set(found.codes)
