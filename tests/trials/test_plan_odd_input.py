"""Plans asked for wrongly, or oddly. Expected: worked by hand beside the check, or what a person reads in the text."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest
from scipy import stats

import kit
from kit.errors import KitError
from tests.trials.yarrow import BASE, MAKING

ALCOHOL = "cetearyl-alcohol"
SCATTER = "8 % with 10 df"


@pytest.fixture(scope="module")
def formula(tmp_path_factory):
    path = tmp_path_factory.mktemp("yarrow") / "yarrow.toml"
    path.write_text(BASE, encoding="utf-8")
    return kit.load_formula(path)


def refused(formula, layout: str, factors, **asked) -> KitError:
    with pytest.raises(KitError) as caught:
        kit.plan_variations(formula, layout, factors, **asked)
    return caught.value


def straight(plan):
    (found,) = (answer for answer in plan.power.answers if "straight line" in answer.name)
    return found


def by_hand(levels, low: float, high: float) -> float:
    """exp(t s (high - low) / sqrt(sum of squares of the levels about their mean)), s = 0.08 with 10 df."""
    mean = math.fsum(levels) / len(levels)
    squares = math.fsum((level - mean) ** 2 for level in levels)
    return math.exp(stats.t.ppf(0.975, 10) * 0.08 * (high - low) / math.sqrt(squares))


def test_a_straight_line_is_told_between_the_levels_that_were_asked(formula):
    """The base, 5 %, is the control beyond them: it helps the line and does not lengthen the question."""
    plan = kit.plan_variations(formula, "levels", [f"{ALCOHOL}: 6.00, 6.50, 7.00 %"], history=SCATTER)
    found = straight(plan)
    assert found.name == "cetearyl-alcohol, 6.00 to 7.00 % by a straight line"
    assert found.half_width == pytest.approx(by_hand((5, 6, 6.5, 7), 6, 7), rel=1e-6)
    assert found.half_width == pytest.approx(1.128, abs=0.001)  # between 5 and 7 % it would be 1.27


def test_a_control_of_another_formula_stands_on_no_line(formula):
    """It has 5 % of the alcohol and no cellulose: what it says of the alcohol is not known."""
    other = formula.change({"hydroxyethylcellulose": "0 %"}, why="another control")
    plan = kit.plan_variations(formula, "levels", [f"{ALCOHOL}: 4.00, 6.00, 7.00 %"], control=other, history=SCATTER)
    assert straight(plan).half_width == pytest.approx(by_hand((4, 6, 7), 4, 7), rel=1e-6)
    assert plan.versions[0].levels == ()


@pytest.mark.parametrize("typed", ["3-7 %", "3 - 7 %", "3,00–7,00 %", "3.00 to 7.00 %"])
def test_a_range_with_a_dash_is_a_range(formula, typed):
    plan = kit.plan_variations(formula, "levels", [f"{ALCOHOL}: {typed}"], runs=3)
    assert plan.factors[0].levels == (Decimal("3.00"), Decimal("5.00"), Decimal("7.00"))


@pytest.mark.parametrize(
    ("layout", "factors", "asked", "code"),
    [
        ("levels", None, {}, "plan.factor"),
        ("levels", 5, {}, "plan.factor"),
        ("levels", {ALCOHOL: []}, {}, "plan.levels"),
        ("D-optimal", {ALCOHOL: [], "glycerin": "2 to 4 %"}, {}, "plan.levels"),
        ("D-optimal", {ALCOHOL: ["5 %"], "glycerin": "2 to 4 %"}, {}, "plan.factors"),
        ("split plot", {ALCOHOL: ["5 %"], "parfum": "0.2, 0.4 %"}, {}, "plan.factors"),
        ("levels", [f"{ALCOHOL}: 3 to 7 %"], {"runs": "x"}, "plan.count"),
        ("levels", [f"{ALCOHOL}: 3 to 7 %"], {"runs": 0}, "plan.count"),
        ("D-optimal", MAKING, {"runs": 7.5}, "plan.count"),
        ("D-optimal", MAKING, {"order": 3}, "plan.count"),
        ("D-optimal", MAKING, {"order": "x"}, "plan.count"),
        ("simplex lattice", [f"{ALCOHOL}: 4 to 6 %"], {"degree": "q"}, "plan.count"),
        ("levels", [f"{ALCOHOL}: 3, 4 %"], {"history": "8"}, "plan.scatter"),
        ("levels", [f"{ALCOHOL}: 3, 4 %"], {"history": 0.08}, "plan.scatter"),
        ("levels", [f"{ALCOHOL}: 3, 4 %"], {"stock": {ALCOHOL: "-1 kg"}}, "plan.stock"),
        ("swaps", 5, {}, "plan.swap"),
    ],
)
def test_what_cannot_be_planned_is_refused_in_words(formula, layout, factors, asked, code):
    assert refused(formula, layout, factors, **asked).code == code


def test_one_text_does_for_a_list_of_one(formula):
    swap = "isopropyl-myristate for isopropyl-palmitate at equal mass"
    assert [version.label for version in kit.plan_variations(formula, "swaps", swap).versions] == ["control", swap]
    three = [*MAKING, f"{ALCOHOL}: 3 to 7 %"]
    generator = "cetearyl-alcohol = combine rpm:combine minutes"
    plan = kit.plan_variations(formula, "two-level fraction", three, generators=generator, stock=f"{ALCOHOL}: 1 kg")
    assert "2^(3-1)" in plan.design and plan.on_hand == ((ALCOHOL, Decimal(1000)),)


def test_a_factor_whose_name_holds_another_is_judged_between_bases_alone(formula):
    """Cetyl esters go into the hot oil, "cetyl" is no factor of the cool-down: names are compared whole."""
    from kit.trials.plan_power_split import _factors_of

    assert _factors_of("hydroxyethyl-urea × combine rpm, low to high") == ["hydroxyethyl-urea", "combine rpm"]
    assert _factors_of("curvature in urea") == ["urea"]
    plan = kit.plan_variations(formula, "split plot", [f"{ALCOHOL}: 4, 6 %", "parfum: 0.2, 0.4 %"], history=SCATTER)
    assert [answer.name for answer in plan.power.answers] == [
        "cetearyl-alcohol, low to high (between bases)",
        "parfum, low to high (within a base)",
        "cetearyl-alcohol × parfum, low to high (within a base)",
    ]


def test_the_parts_of_a_plan_tell_themselves_in_words(formula):
    plan = kit.plan_variations(formula, "levels", [f"{ALCOHOL}: 4.00, 6.00 %"], history=SCATTER)
    assert repr(plan.factors[0]) == "cetearyl-alcohol: 4.00, 6.00 %"
    assert repr(plan.power.scatter) == "8 % with 10 df, as stated"
    for one in (plan.batches[0], plan.versions[0], plan.power, plan.power.answers[0], plan.needs[0]):
        assert repr(one) == str(one) and type(one).__name__ not in repr(one)


def test_a_form_that_stands_in_two_phases_is_told_line_by_line(tmp_path):
    """3 % in phase A is varied; 1 % in phase C stays, and is no part of what is weighed for A."""
    split = '{material = "glycerin", pct = "1.00"}, {material = "phenoxyethanol"'
    (tmp_path / "two.toml").write_text(BASE.replace('{material = "phenoxyethanol"', split), encoding="utf-8")
    plan = kit.plan_variations(kit.load_formula(tmp_path / "two.toml"), "levels", ["A:glycerin: 2, 3, 4 %"])
    assert sorted(row[1] for row in plan.versions_table().rows) == ["2.00", "3.00", "4.00"]
