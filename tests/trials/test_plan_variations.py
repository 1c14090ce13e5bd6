"""Plans of trials: every formula balances, limits are kept, days carry a control.

Expected: compositions worked by hand from the percentages typed; the limit of the law; counts that follow from the
layouts (Myers, Montgomery and Anderson-Cook (2009), Response Surface Methodology, 3rd ed.).
"""

from __future__ import annotations

from decimal import Decimal

import pytest

import kit
from kit.errors import KitError
from kit.formula.files import read_formula
from tests.trials.yarrow import ALCOHOL, BASE, BTAC, CTAC, MAKING, SERIES


@pytest.fixture(scope="module")
def formula():
    return read_formula(BASE, kit.load_library())


@pytest.fixture(scope="module")
def series(formula):
    return kit.plan_variations(formula, "levels", SERIES, days=2, seed=7)


@pytest.fixture(scope="module")
def mixture(formula):
    """Three lines share 7.00 % of active matter between bounds; six corners follow by hand, as 7 - x - y = z."""
    bounds = [f"{CTAC}: 0 to 1.5 %", f"{BTAC}: 0.5 to 2.5 %", f"{ALCOHOL}: 4 to 6 %"]
    return kit.plan_variations(formula, "extreme vertices", bounds, total="7.00 % active", days=2, centre=2)


def levels_of(plan, label: str) -> dict[str, Decimal]:
    return next(dict(version.levels) for version in plan.versions if version.label == label)


def codes(problem) -> str:
    return problem.value.code


def test_a_unit_that_is_in_the_name_is_not_said_twice(formula):
    plan = kit.plan_variations(formula, "two-level factorial", MAKING, days=2, control=False)
    heads = [factor.head for factor in plan.factors]
    assert heads == ["combine rpm", "combine minutes, min"]
    (told,) = [words for words in plan.power.cannot if "interaction" in words]
    assert "combine rpm × combine minutes" in told  # as the table of what it can tell names it


# ---------------------------------------------------------------- balance


@pytest.mark.parametrize("layout", ["levels", "extreme vertices", "two-level factorial"])
def test_every_formula_adds_up_exactly(formula, series, mixture, layout):
    plan = {
        "levels": lambda: series,
        "extreme vertices": lambda: mixture,
        "two-level factorial": lambda: kit.plan_variations(formula, layout, MAKING, days=2),
    }[layout]()
    for version in plan.versions:
        assert version.formula.composition().total == Decimal(100)


def test_water_takes_up_each_level(formula, series):
    """The base has 5.00 % alcohol and 100 - 15.15 = 84.85 % water; one point more alcohol is one point less water."""
    assert formula.qs_pct == Decimal("84.85")
    for version in series.versions:
        alcohol = version.formula.composition().pct(ALCOHOL)
        assert version.formula.qs_pct == Decimal("84.85") - (alcohol - Decimal("5.00"))
        assert version.formula.composition().pct("glycerin") == Decimal("3.00")


def test_proportional_scales_every_other_line(formula):
    """7.00 % alcohol leaves 93 of 95 parts to the others: glycerin 3.00 x 93/95 = 2.9368 %."""
    plan = kit.plan_variations(formula, "levels", ["cetearyl-alcohol: 5.00, 7.00 %"], absorb="proportional", days=1)
    (more,) = [version for version in plan.versions if "7.00" in version.label]
    assert float(more.formula.composition().pct("glycerin")) == pytest.approx(3 * 93 / 95, abs=0.0051)
    assert more.formula.composition().total == 100


def test_the_corners_of_a_mixture_in_grams_of_trade_material(mixture):
    """Corners by hand; trade grams are active / 0.29 and / 0.80, to 0.01 %, ties to even."""
    found = {
        tuple(float(level) for _, level in version.levels): tuple(
            str(version.formula.composition().pct(key)) for key in (CTAC, BTAC, ALCOHOL)
        )
        for version in mixture.versions
        if version.label.startswith("point")
    }
    expected = {
        (0.0, 1.0, 6.0): ("0", "1.25", "6.00"),
        (0.0, 2.5, 4.5): ("0", "3.12", "4.50"),
        (0.5, 0.5, 6.0): ("1.72", "0.62", "6.00"),
        (0.5, 2.5, 4.0): ("1.72", "3.12", "4.00"),
        (1.5, 0.5, 5.0): ("5.17", "0.62", "5.00"),
        (1.5, 1.5, 4.0): ("5.17", "1.88", "4.00"),
    }
    assert {key: tuple(map(float, value)) for key, value in found.items()} == {
        key: tuple(map(float, value)) for key, value in expected.items()
    }
    middle = [version for version in mixture.versions if version.label == "centre"]
    assert [float(level) for _, level in middle[0].levels] == pytest.approx([4 / 6, 8.5 / 6, 29.5 / 6], abs=1e-4)


def test_a_swap_at_equal_active_and_at_equal_mass(formula):
    """5.00 % at equal mass stays 5.00 %; 1.88 % of 80 % flakes are 1.504 % active, in another form 1.504 / 0.29."""
    plan = kit.plan_variations(
        formula,
        "swaps",
        ["cetyl-alcohol for cetearyl-alcohol at equal mass", f"{CTAC} for {BTAC} at equal active mass"],
        days=1,
    )
    mass, active = [version for version in plan.versions if version.label != "control"]
    assert mass.formula.composition().pct("cetyl-alcohol") == Decimal("5.00")
    assert mass.formula.composition().pct(ALCOHOL) == 0
    assert float(active.formula.composition().pct(CTAC)) == pytest.approx(1.72 + 1.88 * 80 / 29, abs=0.0051)
    assert plan.judged == "arms"


# ---------------------------------------------------------------- order


def test_every_day_has_its_control_and_every_level_is_made(formula, series):
    control = series.control
    assert control == formula.fingerprint
    assert {batch.day for batch in series.batches if batch.version == control} == {1, 2}
    made = {series.version(batch.version).formula.composition().pct(ALCOHOL) for batch in series.batches}
    assert made == {Decimal(level) for level in (3, 4, 5, 6, 7)}
    assert len(series.batches) == 6  # five levels, the control's own serving as one of its two
    assert [batch.order for batch in series.batches] == list(range(1, 7))


def test_the_same_seed_gives_the_same_order_and_another_seed_another(formula, series):
    again = kit.plan_variations(formula, "levels", SERIES, days=2, seed=7)
    assert again.row() == series.row()
    orders = {
        tuple(batch.version for batch in kit.plan_variations(formula, "levels", SERIES, days=2, seed=seed).batches)
        for seed in range(1, 6)
    }
    assert len(orders) > 1


def test_dates_stand_for_days(formula):
    plan = kit.plan_variations(formula, "levels", SERIES, days=["2026-03-02", "2026-03-04"])
    assert {plan.date(batch.day) for batch in plan.batches} == {"2026-03-02", "2026-03-04"}


def test_repeats_are_added(formula, series):
    more = kit.plan_variations(formula, "levels", SERIES, days=2, seed=7, repeats=2)
    assert len(more.batches) == len(series.batches) + 2
    assert sum(batch.role == "repeat" for batch in more.batches) == 2


def test_the_batches_of_a_hot_base_stay_on_one_day_and_share_its_hot_lines(formula):
    plan = kit.plan_variations(
        formula, "split plot", ["cetearyl-alcohol: 4.00, 6.00 %", "parfum: 0.20, 0.40, 0.60 %"], days=2, runs=2
    )
    assert len(plan.batches) == 2 * 2 * 3
    bases = {}
    for batch in plan.batches:
        bases.setdefault(batch.base, []).append(batch)
    assert len(bases) == 4
    for parts in bases.values():
        assert len({batch.day for batch in parts}) == 1
        assert len({plan.version(batch.version).formula.composition().pct(ALCOHOL) for batch in parts}) == 1


def test_a_hot_base_is_divided_and_the_water_that_is_missing_goes_in_cold(formula):
    """400 g parts with 0.20 and 0.60 % perfume: 0.40 % of 400 g = 1.60 g more water in the first."""
    plan = kit.plan_variations(formula, "split plot", ["parfum: 0.20, 0.60 %"], days=1, runs=1)
    from kit.trials.plan_bases import bases_table

    rows = {row[2]: row for row in bases_table(plan).rows}
    assert rows["parfum 0.20 %"][4] == "1.60" and rows["parfum 0.60 %"][4] == "0.00"
    # hot: all but phase C, whose perfume is 0.60 there: 100 - 1.72 - 0.80 - 0.10 - 0.60 = 96.78 % of 400 g
    assert rows["parfum 0.60 %"][3] == rows["parfum 0.20 %"][3] == "387.12"


# ---------------------------------------------------------------- layouts


@pytest.mark.parametrize(
    ("layout", "factors", "more", "batches"),
    [
        ("two-level factorial", MAKING, {"centre": 3, "control": "centre"}, 4 + 3),
        ("central composite", MAKING, {"centre": 3, "control": "centre"}, 4 + 4 + 3),
        ("Box-Behnken", [*MAKING, "phase B temperature: 75 to 85 degC"], {"centre": 3, "control": "centre"}, 12 + 3),
        ("two-level fraction", [*MAKING, "cool minutes: 20 to 60 min"], {"centre": 0, "control": False}, 4),
    ],
)
def test_layouts_have_their_number_of_batches(formula, layout, factors, more, batches):
    plan = kit.plan_variations(formula, layout, factors, days=2, **more)
    assert len(plan.batches) == batches
    assert not plan.stopped


def test_a_half_fraction_shows_what_it_cannot_tell_apart(formula):
    factors = [*MAKING, "cool minutes: 20 to 60 min"]
    plan = kit.plan_variations(formula, "two-level fraction", factors, days=1, control=False, centre=0)
    assert "resolution III" in plan.design
    assert any("combine rpm = " in alias for alias in plan.aliases)
    assert any("Cannot be told apart" in sentence for sentence in plan.limits())


def test_a_phase_temperature_is_set_where_it_is_heated_and_where_it_is_poured(formula):
    plan = kit.plan_variations(formula, "levels", ["phase B temperature: 75, 82, 85 degC"], days=1)
    hot = next(version.formula for version in plan.versions if "85" in version.label)
    heat, combine = hot.steps[1], hot.steps[2]
    assert heat.temp_c == 85 and dict(combine.temps_c) == {"A": 78, "B": 85}
    assert hot.composition().total == 100


def test_a_lattice_stands_above_its_lower_bounds(formula):
    """Of 7.00 % active 2.5 % are free above 0 / 0.5 / 4.0; the lattice of degree 2 has six points, three at corners."""
    bounds = [f"{CTAC}: 0 to 2.5 %", f"{BTAC}: 0.5 to 3.0 %", f"{ALCOHOL}: 4.0 to 6.5 %"]
    plan = kit.plan_variations(
        formula, "simplex lattice", bounds, total="7.00 % active", days=1, control=False, centre=0
    )
    found = {tuple(float(level) for _, level in version.levels) for version in plan.versions}
    assert {(2.5, 0.5, 4.0), (0.0, 3.0, 4.0), (0.0, 0.5, 6.5), (1.25, 1.75, 4.0)} <= found
    assert len(found) == 6


def test_a_d_optimal_design_of_two_factors_takes_the_corners(formula):
    """Four runs for mean, two effects and their product: the corners have the greatest determinant."""
    plan = kit.plan_variations(
        formula,
        "D-optimal",
        ["combine rpm: 4000, 9000 rpm", "combine minutes: 3, 12 min"],
        runs=4,
        days=1,
        control=False,
    )
    corners = {tuple(float(level) for _, level in plan.version(batch.version).levels) for batch in plan.batches}
    assert corners == {(4000.0, 3.0), (4000.0, 12.0), (9000.0, 3.0), (9000.0, 12.0)}


def test_a_mixture_is_crossed_with_the_making(formula, mixture):
    bounds = [f"{CTAC}: 0 to 1.5 %", f"{BTAC}: 0.5 to 2.5 %", f"{ALCOHOL}: 4 to 6 %", "combine rpm: 4000 to 9000"]
    plan = kit.plan_variations(
        formula, "mixture and process", bounds, total="7.00 % active", days=4, control=False, centre=1
    )
    assert len(plan.batches) == (6 + 1) * 2
    for batch in plan.batches:
        levels = dict(plan.version(batch.version).levels)
        assert sum(levels[name] for name in (CTAC, BTAC, ALCOHOL)) == pytest.approx(7, abs=0.001)
        assert levels["combine rpm"] in (4000, 9000)


# ---------------------------------------------------------------- limits


def test_a_design_over_the_limit_of_the_law_is_shown_and_tightened(formula):
    """Cetrimonium chloride in a rinse-off conditioner: 2.5 % (Regulation (EC) No 1223/2009 Annex III, 286 (a))."""
    bounds = [f"{CTAC}: 0 to 3.0 %", f"{BTAC}: 0.5 to 2.5 %", f"{ALCOHOL}: 3.5 to 6 %"]
    as_asked = kit.plan_variations(formula, "extreme vertices", bounds, total="7.00 % active", days=2, repair=False)
    assert as_asked.stopped and any("cap.c16_c18_quat_sum" in words for words in as_asked.findings())
    plan = kit.plan_variations(formula, "extreme vertices", bounds, total="7.00 % active", days=2)
    assert not plan.stopped
    (moved,) = plan.tightened
    assert (moved.factor, moved.side, moved.was, moved.now) == (CTAC, "upper", "3.0 % active", "2.50 % active")
    assert "2.5 %" in str(moved) and moved.points
    most = max(dict(version.levels).get(CTAC, 0) for version in plan.versions)
    assert most == Decimal("2.50")


def test_a_level_over_a_limit_becomes_the_limit(formula):
    """Phenoxyethanol: 1.0 % (Annex V, 29)."""
    plan = kit.plan_variations(formula, "levels", ["phenoxyethanol: 0.60, 0.80, 1.20 %"], days=1)
    (moved,) = plan.tightened
    assert (moved.was, moved.now) == ("1.20 %", "1.00 %")
    assert {level for version in plan.versions for _, level in version.levels} == {
        Decimal("0.60"),
        Decimal("0.80"),
        Decimal("1.00"),
    }


def test_levels_that_leave_no_water_are_tightened_too(formula):
    plan = kit.plan_variations(formula, "levels", ["glycerin: 3 to 95 %"], days=1, runs=3)
    assert plan.tightened and all(version.formula.qs_pct >= 0 for version in plan.versions)


def test_what_a_swap_breaks_cannot_be_tightened_and_is_said(formula):
    """Phenoxyethanol in place of 3.00 % glycerin makes 3.80 %, over 1.0 % (Annex V, 29)."""
    plan = kit.plan_variations(formula, "swaps", ["phenoxyethanol for glycerin at equal mass"], days=1)
    assert len(plan.stopped) == 1 and not plan.tightened
    assert "STOPPED: phenoxyethanol for glycerin" in plan.words
    assert any(words.startswith("STOP ") for words in plan.findings())


# ---------------------------------------------------------------- materials


def test_materials_are_the_sum_over_all_batches_with_the_loss(formula):
    """Alcohol 3, 4, 5, 5, 6, 7 % of 400 g are 120 g, less 5 % loss 120 / 0.95 = 126.3158, rounded up."""
    plan = kit.plan_variations(
        formula, "levels", SERIES, days=2, seed=7, loss="5 %", stock={ALCOHOL: "100 g", "glycerin": "1 kg"}
    )
    needs = {need.key: need for need in plan.needs}
    assert needs[ALCOHOL].grams == Decimal("126.4") and needs[ALCOHOL].short_g == Decimal("26.4")
    assert needs["glycerin"].grams == Decimal("75.8") and needs["glycerin"].short_g == 0  # 6 x 12 g / 0.95 = 75.79
    assert needs["parfum"].short_g is None
    assert "SHORT: by 26.4 g" in str(plan.materials_table())


# ---------------------------------------------------------------- what is refused


@pytest.mark.parametrize(
    ("layout", "factors", "more", "code"),
    [
        ("ladder", SERIES, {}, "plan.layout"),
        ("levels", ["cetearyl-alcohol"], {}, "plan.factor"),
        ("levels", ["cetearyl-alcohol: 5.00 %"], {}, "plan.factors"),
        ("levels", ["cetearyl-alcohol: 5.00, 5.00 %"], {}, "plan.levels"),
        ("levels", ["cetearyl-alcohol: 7 to 3 %"], {}, "plan.levels"),
        ("levels", ["glycerin: -1, 3 %"], {}, "plan.levels"),
        ("levels", ["combine pressure: 1, 2"], {}, "material.unknown"),
        ("levels", ["heat rpm: 100, 200 rpm"], {}, "plan.setting"),
        ("levels", SERIES, {"days": 40}, "design.capacity"),
        ("levels", SERIES, {"days": ["2026-03-04", "2026-03-02"]}, "plan.days"),
        ("levels", SERIES, {"batch": "0 g"}, "plan.batch_size"),
        ("levels", SERIES, {"history": "200 %"}, "plan.scatter"),
        ("levels", SERIES, {"control": "centre"}, "plan.control"),
        ("levels", SERIES, {"repeats": -1}, "plan.count"),
        ("swaps", ["cetyl-alcohol"], {}, "plan.swap"),
        ("extreme vertices", [f"{CTAC}: 0 to 1 %", f"{ALCOHOL}: 4 to 6 %"], {}, "plan.total"),
        ("extreme vertices", [f"{CTAC}: 0 to 1 %", f"{ALCOHOL}: 4 to 6 %"], {"total": "20 %"}, "design.infeasible"),
        ("two-level factorial", SERIES, {}, "plan.factors"),
        ("split plot", ["cetearyl-alcohol: 4, 6 %"], {}, "plan.factors"),
        ("split plot", ["parfum: 0.2, 0.4 %"], {"absorb": "proportional"}, "plan.split"),
    ],
)
def test_what_cannot_be_planned_is_refused_in_words(formula, layout, factors, more, code):
    with pytest.raises(KitError) as caught:
        kit.plan_variations(formula, layout, factors, **more)
    assert codes(caught) == code
    assert caught.value.mend


def test_a_base_that_does_not_add_up_is_refused():
    short = BASE.replace("qs = true", 'pct = "80.00"')
    with pytest.raises(KitError) as caught:
        kit.plan_variations(read_formula(short, kit.load_library()), "levels", SERIES)
    assert codes(caught) == "plan.balance"


def test_a_plan_shows_itself_in_words_and_in_html(series):
    assert "Order of making" in str(series) and "What this plan can tell" in str(series)
    assert series._repr_html_().count("<table") >= 5
    assert "seed 7" in series.words
