"""What a plan can tell before it is made. Expected: t-tables, scipy's noncentral t, designs worked by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

import kit
from kit.errors import KitError
from kit.formula.files import read_formula
from kit.trials.plan_model import Batch
from kit.trials.plan_power import interval_factors, power_of
from kit.trials.plan_scatter import Scatter, read_scatter
from tests.trials.yarrow import BASE, MAKING, SERIES

# half-widths and differences found four times in five at a batch scatter of 8 %, in per cent of ln(value):
# batches on either side, degrees of freedom, half-width, difference (as a trade note prints them)
PRINTED = [(2, 2, 34, 45), (3, 4, 18, 25), (4, 6, 14, 19), (1, 10, 25, 35), (2, 10, 18, 25), (3, 10, 15, 20)]


@pytest.fixture(scope="module")
def formula():
    return read_formula(BASE, kit.load_library())


def arms(counts: dict[str, tuple[int, ...]]) -> list[Batch]:
    """Batches by version: the days each is made on."""
    return [Batch(key, key, day) for key, days in counts.items() for day in days]


@pytest.mark.parametrize(("batches", "df", "half", "found"), PRINTED)
def test_half_width_and_difference_found_as_printed(batches, df, half, found):
    width, detectable = interval_factors(Scatter(0.08, 0, ""), df, 2 / batches)
    assert round(100 * math.log(width)) == half
    assert round(100 * math.log(detectable)) == found


def test_the_difference_found_is_found_four_times_in_five():
    """The chance by scipy's noncentral t at the difference given: 0.8."""
    for df, variance in ((4, 2 / 3), (10, 2.0)):
        _, detectable = interval_factors(Scatter(0.08, 0, ""), df, variance)
        far, limit = math.log(detectable) / (0.08 * math.sqrt(variance)), stats.t.ppf(0.975, df)
        chance = stats.nct.sf(limit, df, far) + stats.nct.cdf(-limit, df, far)
        assert chance == pytest.approx(0.8, abs=1e-4)


def test_two_against_three_on_one_day_is_the_two_sample_t():
    """v = 1/2 + 1/3, df = 3: half-width 3.182 x 0.08 x sqrt(5/6)."""
    batches = arms({"control": (1, 1, 1), "other": (1, 1)})
    power = power_of(batches, (), "arms", "control", Scatter(0.08, 0, "assumed"))
    (answer,) = power.answers
    assert power.df == 3 and (answer.first, answer.second) == (2, 3)
    assert math.log(answer.half_width) == pytest.approx(3.182446 * 0.08 * math.sqrt(5 / 6), rel=1e-5)


def test_a_control_on_each_day_carries_the_day():
    """Each arm once, on its own day with a control: the difference is within the day, v = 1 + 1 of the two batches.

    Columns: control, arms a and b, one day. Four batches on two days leave no degree of freedom; the history's 10 do.
    """
    batches = arms({"control": (1, 2), "a": (1,), "b": (2,)})
    power = power_of(batches, (), "arms", "control", Scatter(0.08, 10, "known"))
    assert power.df_plan == 0 and power.df == 10
    for answer in power.answers:
        assert math.log(answer.half_width) == pytest.approx(stats.t.ppf(0.975, 10) * 0.08 * math.sqrt(2), rel=1e-6)
        assert answer.alike < answer.half_width


def test_an_arm_on_a_day_without_control_cannot_be_told_from_the_day():
    batches = arms({"control": (1, 1), "a": (1,), "b": (2,)})
    power = power_of(batches, (), "arms", "control", Scatter(0.08, 10, "known"))
    assert [answer.reason for answer in power.answers] == ["", "coincides with the day"]
    assert power.answers[1].half_width is None and power.answers[1].alike is not None
    assert any("No control on day 2" in sentence for sentence in power.cannot)


def test_nothing_repeated_and_no_history_gives_no_number():
    power = power_of(arms({"control": (1,), "a": (1,)}), (), "arms", "control", Scatter(0.08, 0, "assumed"))
    assert power.answers[0].half_width is None and power.answers[0].detectable is None
    assert "nothing is repeated" in power.answers[0].reason


def test_effects_of_a_factorial_with_three_centres(formula):
    """2 x 2 with three centres, one day: effect = mean of two less mean of two, v = 1; df = 7 - 5 = 2."""
    plan = kit.plan_variations(formula, "two-level factorial", MAKING, days=1, control=False, centre=3, history="8 %")
    answers = {answer.name: answer for answer in plan.power.answers}
    assert plan.power.df == 2
    for name in (
        "combine rpm, low to high",
        "combine minutes, low to high",
        "combine rpm × combine minutes, low to high",
    ):
        assert math.log(answers[name].half_width) == pytest.approx(4.302653 * 0.08, rel=1e-5)
    curved = answers["centre against the corners"]
    assert math.log(curved.half_width) == pytest.approx(4.302653 * 0.08 * math.sqrt(1 / 3 + 1 / 4), rel=1e-5)
    assert any("Scatter itself poorly known" in note for note in plan.power.notes)


def test_component_effects_of_a_mixture_against_least_squares(formula):
    """The variance of the predicted difference by numpy's own least squares on the planned amounts."""
    bounds = [
        "cetrimonium-chloride-29: 0 to 1.5 %",
        "behentrimonium-chloride-80: 0.5 to 2.5 %",
        "cetearyl-alcohol: 4 to 6 %",
    ]
    plan = kit.plan_variations(
        formula,
        "extreme vertices",
        bounds,
        total="7.00 % active",
        days=1,
        control=False,
        centre=2,
        history="10 % with 8 df",
    )
    x = np.array([[float(level) for _, level in plan.version(batch.version).levels] for batch in plan.batches])
    inverse = np.linalg.inv(x.T @ x)
    middle, part = x.mean(axis=0), 0
    ends = []
    for content in (x[:, part].min(), x[:, part].max()):
        end = middle * (7 - content) / (7 - middle[part])
        end[part] = content
        ends.append(end)
    step = ends[1] - ends[0]
    df = len(x) - 3 + 8
    expected = stats.t.ppf(0.975, df) * 0.10 * math.sqrt(step @ inverse @ step)
    assert plan.power.df == df
    assert math.log(plan.power.answers[part].half_width) == pytest.approx(expected, rel=1e-6)


def test_one_more_batch_is_made_where_it_buys_most(formula):
    """Four arms and one control on one day: v = 1 + 1 for each; a second control gives 1.5 for all four, any other arm

    only for itself. With a history of 10 df the control is repeated first.
    """
    plan = kit.plan_variations(formula, "levels", SERIES, days=1, repeats=1, history="8 % with 10 df")
    again = [batch for batch in plan.batches if batch.role == "repeat"]
    assert [batch.version for batch in again] == [plan.control]


def test_a_level_series_has_its_straight_line_too(formula):
    """3, 4, 5 (twice) and 6 %, one day: SS = 1.6^2 + 0.6^2 + 2 x 0.4^2 + 1.4^2 = 5.2, v = 9 / 5.2; df = 5 - 4 + 6.

    The least-squares slope: Draper and Smith (1998), Applied Regression Analysis, 3rd ed., 1.4.
    """
    levels = ["cetearyl-alcohol: 3, 4, 5, 6 %"]
    plan = kit.plan_variations(formula, "levels", levels, days=1, repeats=1, control="base", history="8 % with 6 df")
    made = [float(dict(plan.version(batch.version).levels)["cetearyl-alcohol"]) for batch in plan.batches]
    answer = plan.power.answers[-1]
    assert answer.name == "cetearyl-alcohol, 3 to 6 % by a straight line"
    spread = sum((level - sum(made) / len(made)) ** 2 for level in made)
    assert math.log(answer.half_width) == pytest.approx(stats.t.ppf(0.975, 7) * 0.08 * 3 / math.sqrt(spread), rel=1e-6)
    assert sorted(made) == [3, 4, 5, 5, 6] and spread == pytest.approx(5.2)


def test_two_levels_have_no_line_of_their_own(formula):
    plan = kit.plan_variations(formula, "levels", ["cetearyl-alcohol: 4, 5 %"], days=1, history="8 % with 6 df")
    assert not [answer for answer in plan.power.answers if "straight line" in answer.name]


def test_a_scatter_from_one_pair_is_poorly_known_however_many_batches_are_planned():
    """1 df: between sd / sqrt(5.0239) and sd / sqrt(0.00098207), the chi-squared quantiles at 0.975 and 0.025."""
    batches = arms({"control": (1, 1, 1, 1), "other": (1, 1, 1, 1)})
    notes = power_of(batches, (), "arms", "control", Scatter(0.01, 1, "known")).notes
    (told,) = [note for note in notes if "poorly known" in note]
    assert "from 1 df, 95 % between 0.45 and 32 %" in told
    assert not any("poorly" in note for note in power_of(batches, (), "arms", "control", Scatter(0.01, 5, "")).notes)


def test_arms_judged_together_have_the_intervals_of_dunnett():
    """Three arms of two and two controls, one day: df = 4 + 6 = 10; Dunnett's two-sided 5 % value for 3 arms is 2.76.

    C. W. Dunnett (1964), Biometrics 20, 482-491, the table of two-sided 5 % values at equal numbers (from memory).
    """
    batches = arms({"control": (1, 1), "a": (1, 1), "b": (1, 1), "c": (1, 1)})
    power = power_of(batches, (), "arms", "control", Scatter(0.08, 6, "known"))
    (told,) = [note for note in power.notes if "Dunnett" in note]
    assert told.endswith(f"becomes {math.exp(2.76 * 0.08):.2f}.")
    assert f"{math.exp(2.2281 * 0.08):.2f} becomes" in told


def test_a_factor_that_equals_the_day_is_said():
    """Hold 3 min on day 1 and 12 min on day 2, as once made."""
    from kit.trials.plan_factors import SETTING, Factor
    from kit.trials.plan_power import day_sentences

    hold = Factor("hold", SETTING, "min", (3, 12), True)
    made = [(1, -1, 3), (1, -1, 3), (2, 1, 12), (2, 1, 12)]
    batches = [Batch(str(at), "", day, (coded,), levels=(level,)) for at, (day, coded, level) in enumerate(made)]
    (sentence,) = day_sentences(batches, [hold], "arms")
    assert "hold coincides with the day wholly" in sentence
    crossed = [(1, -1), (1, 1), (2, -1), (2, 1)]
    mixed = [Batch(str(at), "", day, (coded,), levels=(coded,)) for at, (day, coded) in enumerate(crossed)]
    assert day_sentences(mixed, [hold], "arms") == []


@pytest.mark.parametrize(
    ("text", "sd", "df"), [("", 0.08, 0), ("12 %", 0.12, 0), ("8 % with 10 df", 0.08, 10), ("7,5 %, 6 df", 0.075, 6)]
)
def test_a_scatter_is_read(text, sd, df):
    found = read_scatter(text)
    assert (found.sd, found.df) == (pytest.approx(sd), df)


@pytest.mark.parametrize("text", ["0 %", "8", "8 % of course", "120 %"])
def test_what_is_no_scatter_is_refused(text):
    with pytest.raises(KitError) as caught:
        read_scatter(text)
    assert caught.value.code == "plan.scatter"


def test_repeated_readings_are_not_batches(formula):
    """The order of batches and the number of jars change nothing: permuting the batches leaves every answer."""
    batches = arms({"control": (1, 2), "a": (1, 2), "b": (2,)})
    straight = power_of(batches, (), "arms", "control", Scatter(0.08, 5, ""))
    turned = power_of(batches[::-1], (), "arms", "control", Scatter(0.08, 5, ""))
    widths = [{answer.name: round(answer.half_width, 12) for answer in power.answers} for power in (straight, turned)]
    assert widths[0] == widths[1]
