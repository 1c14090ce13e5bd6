"""Normal formulas, of which little is said; and the same spoiled in one place, which is what comes first.

What a practitioner would put first is common practice, no source; limits of law as in the tests of the limits. The
arithmetic of each number stands in the tests of the rules.
"""

from __future__ import annotations

from pathlib import Path

import pytest

import kit
from kit.formula.files import load_formula

DEMO = Path(kit.__file__).parent / "demo"
NORMAL = sorted([DEMO / "linden.toml", *(DEMO / "formulas").glob("*.toml")])


@pytest.fixture(scope="module")
def starter():
    """The starter materials alone: what a demo formula is read with."""
    return kit.load_library()


@pytest.mark.parametrize("path", NORMAL, ids=[path.stem for path in NORMAL])
def test_little_is_said_of_a_normal_formula(starter, path):
    found = load_formula(path, starter).review()
    assert {finding.severity for finding in found.findings} == {"note"}
    assert len(found.notes) <= 5
    assert found.closing.startswith("No coded limit exceeded (EU list, read 20")


@pytest.mark.parametrize("name", ["linden", "calendula", "meadowsweet", "sage"])
def test_nothing_above_a_note_is_said_of_the_examples(example, name):
    assert {finding.severity for finding in example(name).review().findings} == {"note"}


# fmt: off
# item, example, old text, new text, first code, severity
SPOILED = [
    ("0.2 % missing", "linden", '"water-deionised", qs = true', '"water-deionised", pct = "82.75"',
     "formula.total", "stop"),
    ("two q.s. lines", "sage", '"glycerin", pct = "4.00"', '"glycerin", qs = true', "formula.qs_two", "stop"),
    ("alcohol typed ten times over", "linden", '"cetearyl-alcohol", pct = "5.00"', '"cetearyl-alcohol", pct = "90.00"',
     "formula.negative_water", "stop"),
    ("too much phenoxyethanol", "calendula", '"phenoxyethanol", pct = "0.80"', '"phenoxyethanol", pct = "1.10"',
     "cap.phenoxyethanol", "stop"),
    ("too much benzyl alcohol", "meadowsweet", '"benzyl-alcohol", pct = "0.80"', '"benzyl-alcohol", pct = "1.20"',
     "cap.benzyl_alcohol", "stop"),
    # 6.50 x 0.80 = 5.20
    ("too much behentrimonium chloride", "linden", '"behentrimonium-chloride-80", pct = "2.50"',
     '"behentrimonium-chloride-80", pct = "6.50"', "cap.quat_sum", "stop"),
    # 9.00 x 0.29 = 2.61
    ("too much cetrimonium chloride", "sage", '"cetrimonium-chloride-29", pct = "3.00"',
     '"cetrimonium-chloride-29", pct = "9.00"', "cap.c16_c18_quat_sum", "stop"),
    ("xanthan for cellulose", "calendula", '"hydroxyethylcellulose", pct = "0.20"', '"xanthan-gum", pct = "0.20"',
     "charge.anionic_polymer", "stop"),
    ("sulfate for cellulose", "linden", '"hydroxyethylcellulose", pct = "0.20"',
     '"sodium-laureth-sulfate-27", pct = "1.00"', "charge.anionic_surfactant", "stop"),
    ("no acid for the amine", "meadowsweet", '"lactic-acid-88", pct = "0.70"', '"propanediol", pct = "0.70"',
     "charge.amine_acid", "stop"),
    ("acid at the equivalence", "meadowsweet", '"lactic-acid-88", pct = "0.70"', '"lactic-acid-88", pct = "0.54"',
     "charge.amine_near", "caution"),
    ("amine at pH 6.8", "meadowsweet", 'high = "4.8"', 'high = "6.8"', "charge.amine_ph", "stop"),
    # sorbate and phenoxyethanol are left: a caution
    ("sorbate at pH 6", "calendula", 'high = "4.8"', 'high = "6.0"', "preservation.ph", "caution"),
    ("an esterquat at pH 4.9", "linden", '"behentrimonium-chloride-80", pct = "2.50"',
     '"dioleoylethyl-hydroxyethylmonium-methosulfate-75", pct = "3.50"', "charge.esterquat_ph", "caution"),
    ("cool-down at 65 degC", "meadowsweet", 'temps = "38 degC"', 'temps = "65 degC"', "heat.limit", "caution"),
    ("alcohol left out by half", "meadowsweet", '"cetearyl-alcohol", pct = "4.50"', '"cetearyl-alcohol", pct = "2.00"',
     "network.ratio_low", "caution"),
    ("twice the alcohol", "linden", '"cetearyl-alcohol", pct = "5.00"', '"cetearyl-alcohol", pct = "11.00"',
     "network.alcohol_high", "caution"),
    ("fragrance ten times over", "calendula", '"parfum", pct = "0.30"', '"parfum", pct = "3.00"',
     "range.fragrance", "caution"),
    ("oil like a balm", "linden", '"caprylic-capric-triglyceride", pct = "2.50"',
     '"caprylic-capric-triglyceride", pct = "12.00"', "range.oil", "caution"),
    ("glycerin like a cough syrup", "linden", '"glycerin", pct = "3.00"', '"glycerin", pct = "20.00"',
     "range.humectant", "caution"),
    ("gum typed ten times over", "linden", '"hydroxyethylcellulose", pct = "0.20"',
     '"hydroxyethylcellulose", pct = "2.00"', "range.thickener", "caution"),
    # At pH 4.3 0.25 / 192.12 = 1.301 mmol of citric acid gives up 1.2 protons each, 1.56 meq; of 1.388 mmol of benzoate
    # 45 % takes one, 0.62 meq: the rest of the acid takes the pH far below 4.3
    ("acid typed five times over", "linden", '"citric-acid", pct = "0.05"', '"citric-acid", pct = "0.25"',
     "ph.predicted_outside", "caution"),
    ("a pH of soap", "linden", "high = 4.9", "high = 9.4", "preservation.ph", "caution"),
]
# fmt: on


@pytest.mark.parametrize(
    ("name", "old", "new", "code", "severity"), [row[1:] for row in SPOILED], ids=[row[0] for row in SPOILED]
)
def test_the_spoiling_comes_first(example, name, old, new, code, severity):
    found = example(name, (old, new)).review()
    assert found.codes[0] == code
    assert found.findings[0].severity == severity
    assert code not in example(name).review().codes or found.findings[0].severity != "note"


def test_the_oil_phase_is_too_cold(example):
    colder = ('phase = "B"\ntemps = "82 degC"', 'phase = "B"\ntemps = "45 degC"')
    found = example("linden", colder, ('B = "82 degC", after', 'B = "45 degC", after')).review()
    assert found.codes[0] == "heat.melt"


def test_nothing_preserves(example):
    found = example(
        "linden",
        ('"phenoxyethanol", pct = "0.80"', '"propanediol", pct = "0.80"'),
        ('"sodium-benzoate", pct = "0.20"', '"propanediol", pct = "0.20"'),
        ('"ethylhexylglycerin", pct = "0.10"', '"propanediol", pct = "0.10"'),
    ).review()
    assert found.codes[0] == "preservation.none"


def test_there_are_enough_of_both():
    assert len(NORMAL) >= 10
    assert len(SPOILED) >= 20
    assert len({row[4] for row in SPOILED}) >= 15
