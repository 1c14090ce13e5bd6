"""Versions: one change, who makes room, and the difference between two formulas."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.errors import FormulaError
from kit.formula.composition import Step
from kit.formula.diffs import parts_table
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


HOLD_BACK = """
name = "Hold-back"
version = "1"
[[phase]]
name = "A"
kind = "water"
line = [
  { material = "water-deionised", qs = true },
  { material = "glycerin", pct = "1.00", why = "to wet the gum" },
  { material = "water-deionised", pct = "10.00", why = "held back, cold" },
  { material = "glycerin", pct = "2.00" },
]
[[phase]]
name = "C"
kind = "cool-down"
line = [{ material = "water-deionised", pct = "5.00" }, { material = "phenoxyethanol", pct = "0.80" }]
"""


def shown(formula):
    return [(phase.name, line.material.key, str(line.pct), line.why) for phase, line in formula.placed_lines()]


def test_lines_of_one_material_stay_lines_of_their_own():
    formula = read_formula(HOLD_BACK, LIBRARY)
    # By hand: 100 - 1 - 10 - 2 - 5 - 0.80 = 81.20 of q.s. water.
    assert formula.qs_pct == Decimal("81.20")
    assert read_formula(formula_text(formula), LIBRARY) == formula
    newer = formula.change({"phenoxyethanol": "0.90 %"})
    assert newer.qs_pct == Decimal("81.10")
    assert [row for row in shown(newer) if row[1] != "phenoxyethanol"] == [
        row for row in shown(formula) if row[1] != "phenoxyethanol"
    ]
    assert diff(formula, newer).apply(formula).fingerprint == newer.fingerprint


def test_one_of_several_lines_is_named_by_its_number():
    formula = read_formula(HOLD_BACK, LIBRARY)
    newer = formula.change({"A:water-deionised#2": "12.00 %", "A:glycerin#1": "1.50 %"}, absorb="phenoxyethanol")
    # The held-back water is 2.00 up, glycerin 0.50: phenoxyethanol would fall to -1.70, which the review says. Water
    # q.s. is then 100 - 12 - 1.5 - 2 - 5 + 1.70 = 81.20, as before.
    assert [row[2] for row in shown(newer)] == ["None", "1.50", "12.00", "2.00", "5.00", "-1.70"]
    assert newer.qs_pct == Decimal("81.20")
    total = formula.change({"A:glycerin": "4.00 %"})  # without a number: the sum, the larger line takes the difference
    assert [row[2] for row in shown(total) if row[1] == "glycerin"] == ["1.00", "3.00"]
    for name in ("A:glycerin#3", "A:water-deionised#1", "A:glycerin#x"):
        with pytest.raises(FormulaError) as caught:
            formula.change({name: "1 %"})
        assert caught.value.code == "formula.line_number"


def test_proportional_scales_each_of_several_lines():
    newer = read_formula(HOLD_BACK, LIBRARY).change({"phenoxyethanol": "10.72 %"}, absorb="proportional")
    # By hand: (100 - 10.72) / (100 - 0.80) = 89.28 / 99.20 = 0.9, so 10.00 -> 9.00, 1.00 -> 0.90, 81.20 -> 73.08.
    pcts = [line.pct for _, line in newer.placed_lines()]
    assert pcts[1:5] == [Decimal("0.9"), Decimal("9"), Decimal("1.8"), Decimal("4.5")]
    assert newer.qs_pct == Decimal("73.08")
    assert newer.composition().total == 100


@given(formulas(qs=False), st.integers(1, 4000))
@settings(max_examples=100, deadline=None)
def test_proportional_is_the_equation_of_the_trade(formula, hundredths):
    """w_new = w_old (100 - w_i') / (100 - w_i) for every other line, to the rounding of the fourth decimal."""
    wanted = Decimal(hundredths).scaleb(-2)
    newer = formula.change({"stearyl-alcohol": f"{wanted} %"}, absorb="proportional", phase="A")
    before, after = resolved(formula), resolved(newer)
    for place, pct in before.items():
        assert abs(after.get(place, Decimal(0)) - pct * (100 - wanted) / 100) <= Decimal("0.0002")
    assert newer.composition().total == 100


def test_the_difference_says_how_room_was_made(example):
    base = example("linden")
    by = {
        absorb: str(diff(base, base.change({"cetearyl-alcohol": "6.00 %"}, absorb=absorb)))
        for absorb in ("water", "proportional", "glycerin")
    }
    assert "water takes up the change;" not in by["proportional"]
    assert "water takes up the change" in by["water"].splitlines()[-1]
    assert "all other lines scaled alike" in by["proportional"].splitlines()[-1]
    assert "glycerin takes up the change" in by["glycerin"].splitlines()[-1]
    again = read_formula(formula_text(base.change({"glycerin": "2 %"}, absorb="proportional")), LIBRARY)
    assert again.absorbed_by == "proportional"
    # Between versions that are not parent and child nothing is said about it.
    assert "scaled" not in str(diff(example("linden", ('"0.80"', '"0.90"')), again))


def test_a_name_may_hold_a_colon_of_its_own(example):
    newer = example("linden").change({"Cetearyl Alcohol (30:70)": "6.00 %"})
    assert newer.composition().pct("cetearyl-alcohol") == 6


def test_a_change_of_supply_form_at_equal_active_mass(example):
    """2.00 % of active from 80 % flakes is 2.50 %; from a 25 % blend 8.00 %, with 6.00 % of cetearyl alcohol."""
    formula = example("linden")
    newer = formula.swap(
        "behentrimonium-methosulfate-25",
        for_="behentrimonium-chloride-80",
        at="equal active mass",
        why="blend in stock",
    )
    composition = newer.composition()
    assert composition.pct("behentrimonium-methosulfate-25") == Decimal("8.00")
    assert composition.pct("behentrimonium-chloride-80") == 0
    assert composition.pct("water-deionised") == Decimal("77.45")  # 82.95 - 5.50
    shares = composition.shares()
    assert shares["Behentrimonium Methosulfate"].pct == Decimal("2.00")
    assert shares["Cetearyl Alcohol"].pct == Decimal("11.00")  # the 5.00 of its own and 6.00 of the blend
    assert (newer.why, newer.parent, newer.absorbed_by) == ("blend in stock", formula.fingerprint, "water")
    assert [line.material.key for line in newer.phase("B").lines][1] == "behentrimonium-methosulfate-25"
    rows = {str(row[0]): str(row[3]) for row in parts_table(formula, newer).rows}
    assert rows["Cetearyl Alcohol"] == "+6.00 pp"
    assert rows["Isopropyl Alcohol"] == "-0.50 pp"


def test_a_change_of_supply_form_at_equal_moles(example):
    newer = example("linden").swap(
        "behentrimonium-methosulfate-25", for_="behentrimonium-chloride-80", at="equal active moles"
    )
    # 2.00 x 479.80 / 404.16 = 2.37430 % of the methosulfate; / 0.25 = 9.4972 %. By mass it would be 8.00.
    assert newer.composition().pct("behentrimonium-methosulfate-25") == pytest.approx(
        Decimal("9.4972"), abs=Decimal("0.0005")
    )
    assert "equal active moles" in newer.why
    assert newer.composition().total == 100


def test_the_same_active_needs_no_basis(example):
    newer = example("calendula").swap("behentrimonium-methosulfate-50", for_="behentrimonium-methosulfate-25")
    assert newer.composition().pct("behentrimonium-methosulfate-50") == Decimal("3.00")  # 6.00 x 25 / 50


def test_a_form_already_there_takes_the_other_in(example):
    formula = example("calendula").change({"behentrimonium-methosulfate-50": "1.00 %"}, phase="B")
    newer = formula.swap("behentrimonium-methosulfate-50", for_="behentrimonium-methosulfate-25")
    assert newer.composition().pct("behentrimonium-methosulfate-50") == Decimal("4.00")


@pytest.mark.parametrize(
    ("new", "old", "options", "code", "said"),
    [
        (
            "behentrimonium-methosulfate-25",
            "behentrimonium-chloride-80",
            {},
            "formula.swap_active",
            "equal active moles",
        ),
        (
            "behentrimonium-methosulfate-25",
            "behentrimonium-chloride-80",
            {"at": "equal"},
            "formula.swap_active",
            "moles",
        ),
        ("behentrimonium-methosulfate-25", "stearyl-alcohol", {}, "formula.swap_line", "not in the formula"),
        ("glycerin", "water-deionised", {}, "formula.swap_line", "q.s."),
        ("glycerin", "glycerin", {}, "formula.swap_line", "both forms"),
        ("hydroxyethylcellulose", "glycerin", {"at": "equal active moles"}, "formula.swap_active", "molar mass"),
    ],
)
def test_a_swap_that_is_not_clear_says_why(example, new, old, options, code, said):
    with pytest.raises(FormulaError) as caught:
        example("linden").swap(new, for_=old, **options)
    assert caught.value.code == code
    assert said in str(caught.value)
