"""Versions: one change, who makes room, and the difference between two formulas."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.errors import FormulaError
from kit.formula.composition import Step
from kit.formula.files import read_formula
from kit.formula.formula import Formula
from kit.formula.library import load_library
from kit.formula.model import Line, Phase
from kit.formula.versions import diff, next_version, resolved
from kit.formula.writing import formula_text

LIBRARY = load_library()
# Few, so that two formulas often share a line, and one often stands twice in a phase.
KEYS = (
    "glycerin",
    "citric-acid-10-solution",
    "cetearyl-alcohol",
    "behentrimonium-chloride-80",
    "phenoxyethanol",
    "panthenol-75",
)
PHASE_NAMES = ("A", "B", "C", "D")
KINDS = ("water", "oil", "cool-down", "adjust")


@st.composite
def formulas(draw, qs=None):
    """A formula of up to four phases; water q.s. or fixed so that the total is 100."""
    places = draw(st.lists(st.tuples(st.sampled_from(PHASE_NAMES), st.sampled_from(KEYS)), max_size=8))
    hundredths = draw(st.lists(st.integers(0, 1200), min_size=len(places), max_size=len(places)))
    pcts = [Decimal(count).scaleb(-2) for count in hundredths]
    rest = 100 - sum(pcts, Decimal(0))
    marked = draw(st.booleans()) if qs is None else qs
    water = Line(LIBRARY.find("water-deionised"), None if marked else rest, qs=marked)
    phases = []
    for name in PHASE_NAMES:
        lines = [Line(LIBRARY.find(key), pct) for (phase, key), pct in zip(places, pcts, strict=True) if phase == name]
        lines = [water, *lines] if name == "A" else lines
        kind = draw(st.sampled_from(KINDS)) if name == "D" else KINDS[PHASE_NAMES.index(name)]
        if lines:
            phases.append(Phase(name, kind, tuple(lines)))
    steps = draw(
        st.lists(
            st.builds(
                Step, do=st.sampled_from(("heat", "cool")), phase=st.just("A"), temp_c=st.integers(20, 90).map(Decimal)
            ),
            max_size=2,
        )
    )
    return Formula(
        name="Invented",
        version="1",
        product="rinse-off hair",
        phases=tuple(phases),
        steps=tuple(steps),
        library=LIBRARY,
    )


@given(formulas())
@settings(max_examples=60, deadline=None)
def test_a_formula_does_not_differ_from_itself(formula):
    assert not diff(formula, formula)
    assert diff(formula, formula).apply(formula).fingerprint == formula.fingerprint


@given(formulas(), formulas())
@settings(max_examples=150, deadline=None)
def test_a_difference_applied_gives_the_other_formula(before, after):
    difference = diff(before, after)
    made = difference.apply(before)
    assert made.fingerprint == after.fingerprint
    assert bool(difference) == (before.fingerprint != after.fingerprint)
    assert not diff(made, after)


@given(formulas(), st.sampled_from(KEYS), st.integers(0, 2000), st.sampled_from(("water", "proportional")))
@settings(max_examples=150, deadline=None)
def test_a_change_keeps_the_total_and_the_old_formula(formula, key, hundredths, absorb):
    before_text, fingerprint = formula_text(formula), formula.fingerprint
    wanted = Decimal(hundredths).scaleb(-2)
    where = [place for place in resolved(formula) if place[1] == key]
    try:
        newer = formula.change(
            {f"{where[0][0]}:{key}" if where else key: f"{wanted} %"}, absorb=absorb, phase="" if where else "A"
        )
    except FormulaError as problem:
        assert problem.code == "formula.absorb"  # nothing was left to make room
        assert absorb == "proportional"
        return
    assert newer.composition().total == 100
    assert resolved(newer).get(where[0] if where else ("A", key), Decimal(0)) == wanted
    assert newer.parent == fingerprint
    assert (formula_text(formula), formula.fingerprint) == (before_text, fingerprint)


@given(formulas())
@settings(max_examples=80, deadline=None)
def test_a_saved_formula_reads_back_exactly(formula):
    again = read_formula(formula_text(formula), LIBRARY)
    assert again == formula
    assert again.fingerprint == formula.fingerprint
    assert [str(line.pct) for _, line in again.placed_lines()] == [str(line.pct) for _, line in formula.placed_lines()]


@given(formulas(qs=True))
@settings(max_examples=60, deadline=None)
def test_the_fingerprint_does_not_hang_on_how_a_number_or_a_label_is_written(formula):
    phases = tuple(
        Phase(
            phase.name,
            phase.kind,
            tuple(
                Line(line.material, None if line.qs else line.pct + Decimal("0.0000"), line.qs)
                for line in reversed(phase.lines)
            ),
        )
        for phase in formula.phases
    )
    other = Formula(
        name="Renamed", version="9", product=formula.product, phases=phases, steps=formula.steps, why="said otherwise"
    )
    assert other.fingerprint == formula.fingerprint


def test_water_takes_up_the_change_by_default(example):
    formula = example("linden")
    newer = formula.change({"cetearyl-alcohol": "6.00 %"}, why="thicker, same slip")
    # By hand: 5.00 -> 6.00 takes 1.00 from 82.95 of water.
    assert newer.composition().pct("cetearyl-alcohol") == Decimal("6.00")
    assert newer.composition().pct("water-deionised") == Decimal("81.95")
    assert (newer.version, newer.why, newer.parent) == ("2", "thicker, same slip", formula.fingerprint)
    assert formula.composition().pct("cetearyl-alcohol") == Decimal("5.00")
    table = str(diff(formula, newer))
    assert "5.00 → 6.00 %, +1.00 pp, +20 %" in table
    assert "82.95 → 81.95 %, -1.00 pp, -1 % (takes up the change)" in table
    assert "13 lines identical" in table


def test_proportional_scales_every_other_line(example):
    newer = example("linden").change({"cetearyl-alcohol": "10.00 %"}, absorb="proportional")
    # By hand: the other 95 % become 90 %, so each is multiplied by 90/95 = 0.947368...; glycerin 3.00 x that = 2.8421.
    composition = newer.composition()
    assert composition.total == 100
    assert abs(composition.pct("glycerin") - Decimal("2.8421")) <= Decimal("0.0001")
    assert abs(composition.pct("water-deionised") - Decimal("78.5842")) <= Decimal("0.0001")


def test_a_named_line_can_make_room(example):
    newer = example("linden").change({"cetearyl-alcohol": "6.00 %"}, absorb="glycerin")
    assert newer.composition().pct("glycerin") == Decimal("2.00")
    assert newer.composition().pct("water-deionised") == Decimal("82.95")


def test_taking_out_and_adding_a_line(example):
    formula = example("linden")
    without = formula.change({"hydroxyethylcellulose": "0 %"})
    assert "hydroxyethylcellulose" not in {material.key for material in without.composition().materials()}
    assert without.composition().pct("water-deionised") == Decimal("83.15")
    more = without.change({"stearyl-alcohol": "1.00 %"})
    assert [line.phase for line in more.composition().lines if line.material.key == "stearyl-alcohol"] == [
        "B"
    ]  # the oil phase suits it
    words = str(diff(formula, more))
    assert "taken out, was 0.20 %" in words
    assert "added, 1.00 %" in words


def test_a_phase_that_empties_stays_while_a_step_speaks_of_it(example, library):
    text = (
        'name = "Sage"\nversion = "1"\n[[phase]]\nname = "A"\nkind = "water"\n'
        'line = [{ material = "water-deionised", qs = true }]\n'
        '[[phase]]\nname = "D"\nkind = "adjust"\nline = [{ material = "citric-acid", pct = "0.10" }]\n'
        '[[step]]\ndo = "adjust"\nphase = "D"\n'
    )
    emptied = read_formula(text, library).change({"citric-acid": "0 %"})
    assert read_formula(formula_text(emptied), library) == emptied


def test_a_changed_way_of_making_is_a_difference(example):
    formula = example("linden")
    other = formula.with_steps(formula.steps[:-1], why="no rest")
    assert other.fingerprint != formula.fingerprint
    assert diff(formula, other)
    assert diff(formula, other).apply(formula).fingerprint == other.fingerprint
    assert "steps differ" in str(diff(formula, other))


@pytest.mark.parametrize(
    ("changes", "options", "code", "said"),
    [
        ({"cetearyl-alcohol": "6 g"}, {}, "units.wrong_kind", "6 g"),
        ({"cetearyl-alcohol": "-1 %"}, {}, "formula.value", "negative"),
        ({"cetearyl-alcohol": "6 %"}, {"absorb": "cetearyl-alcohol"}, "formula.absorb", "proportional"),
        ({"cetearyl-alcohol": "6 %"}, {"absorb": "stearyl-alcohol"}, "formula.absorb", "stearyl-alcohol"),
        ({"cetearyl-alcool": "6 %"}, {}, "material.unknown", "cetearyl-alcohol"),
        ({"sodium-hydroxide": "0.1 %"}, {}, "formula.phase", "adjust"),
        ({"cetearyl-alcohol": "101 %"}, {"absorb": "proportional"}, "formula.absorb", "make room"),
    ],
)
def test_a_change_that_cannot_be_made_says_why(example, changes, options, code, said):
    with pytest.raises(Exception, match=r"\[" + code.replace(".", r"\.") + r"\]") as caught:
        example("linden").change(changes, **options)
    assert said in str(caught.value)


def test_a_material_on_two_lines_must_be_named_with_its_phase(example):
    formula = example(
        "linden",
        (
            '{ material = "panthenol-75", pct = "0.70" },',
            '{ material = "panthenol-75", pct = "0.70" },\n  { material = "glycerin", pct = "1.00" },',
        ),
    )
    with pytest.raises(FormulaError) as caught:
        formula.change({"glycerin": "2 %"})
    assert caught.value.code == "formula.line_ambiguous"
    newer = formula.change({"C:glycerin": "2 %"})
    assert resolved(newer)[("C", "glycerin")] == 2
    assert resolved(newer)[("A", "glycerin")] == 3


def test_a_difference_is_refused_where_it_does_not_fit(example):
    formula = example("linden")
    difference = diff(formula, formula.change({"glycerin": "4 %"}))
    with pytest.raises(FormulaError) as caught:
        difference.apply(formula.change({"glycerin": "5 %"}))
    assert caught.value.code == "formula.diff_base"


def test_a_difference_reaches_a_formula_that_does_not_add_up(example):
    formula = example("linden")
    short = example(
        "linden", ('{ material = "water-deionised", qs = true }', '{ material = "water-deionised", pct = "82.75" }')
    )
    made = diff(formula, short).apply(formula)
    assert made.fingerprint == short.fingerprint
    assert made.composition().total == Decimal("99.80")


@pytest.mark.parametrize(("label", "following"), [("1", "2"), ("9", "10"), ("3b", "3b-2"), ("3b-2", "3b-3")])
def test_the_next_label(label, following):
    assert next_version(label) == following
