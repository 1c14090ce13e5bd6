"""Responses fitted from the record: the invented green tea mixture and the invented nettle process study.

The two tables are the invented studies as they were laid down before the code, typed here by hand. What is expected was
worked from them by hand or by statsmodels; levels as made are worked here from what was weighed.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import statsmodels.api as sm

import kit
from kit.errors import KitError
from kit.trials.response_effects import factor_effects

CTAC, BTAC, ALCOHOL = PARTS = ("cetrimonium-chloride-29", "behentrimonium-chloride-80", "cetearyl-alcohol")
BOUNDS = {CTAC: "0 to 1.5 %", BTAC: "0.5 to 2.5 %", ALCOHOL: "4 to 6 %"}
STRENGTH = np.array([0.29, 0.80, 1.0])
LOW, TOTAL = np.array([0, 0.5, 4.0]), 7.0
# trial: active cetrimonium, behentrimonium, alcohol; supply forms of the same %; viscosity at 72 h mPa.s
TEA = {
    "TEA-01": ((0, 1, 6), (0.00, 1.25, 6.00), 23960),
    "TEA-02": ((0, 2.5, 4.5), (0.00, 3.12, 4.50), 18840),
    "TEA-03": ((0.5, 0.5, 6), (1.72, 0.62, 6.00), 19320),
    "TEA-04": ((0.5, 2.5, 4), (1.72, 3.12, 4.00), 11520),
    "TEA-05": ((1.5, 0.5, 5), (5.17, 0.62, 5.00), 10200),
    "TEA-06": ((1.5, 1.5, 4), (5.17, 1.88, 4.00), 6800),
    "TEA-07": ((0.75, 1.25, 5), (2.59, 1.56, 5.00), 15600),
    "TEA-08": ((0.75, 1.25, 5), (2.59, 1.56, 5.00), 15480),
}
CONFIRMED = ("TEA-09", (0.5, 1.5, 5), 16400)

# trial: rpm, minutes, viscosity at 72 h mPa.s; NET-02 once deaerated
NET = {
    "NET-01": (4000, 3, 13800),
    "NET-02": (9000, 3, 15920),
    "NET-03": (4000, 12, 15120),
    "NET-04": (9000, 12, 11600),
    "NET-05": (6500, 7, 16400),
    "NET-06": (6500, 7, 15800),
    "NET-07": (6500, 7, 16880),
}
PROCESS = ("combine rpm", "combine minutes")


@pytest.fixture(scope="module")
def tea_book(demos):
    with kit.open_source(demos("green-tea").labbook) as opened:
        yield opened


@pytest.fixture(scope="module")
def tea(tea_book):
    """On levels as made, the confirming batch kept back."""
    return kit.fit_response(tea_book, "TEA", "viscosity", "72 h", BOUNDS, model="linear", without=["TEA-09"])


@pytest.fixture(scope="module")
def tea_meant(tea_book):
    return kit.fit_response(
        tea_book, "TEA", "viscosity", "72 h", BOUNDS, model="linear", without=["TEA-09"], levels="meant", days="none"
    )


@pytest.fixture(scope="module")
def net_book(demos):
    with kit.open_source(demos("nettle").labbook) as opened:
        yield opened


@pytest.fixture(scope="module")
def net(net_book):
    """The batches cooled in air."""
    return kit.fit_response(net_book, "NET", "viscosity", "72 h", PROCESS, without=["NET-08"])


def pseudo(levels, total: float = TOTAL) -> np.ndarray:
    """L-pseudocomponents by shares: (x - L) / (total - sum of L), of levels scaled to the total."""
    given = np.atleast_2d(np.asarray(levels, dtype=float))
    scaled = given * total / given.sum(axis=1, keepdims=True)
    return (scaled - LOW) / (total - LOW.sum())


def printed_fit():
    """The linear blend of ln viscosity by statsmodels on the printed active percents."""
    active = [row[0] for row in TEA.values()]
    return sm.OLS(np.log([row[2] for row in TEA.values()]), pseudo(active)).fit()


def weighed_level(book, batch: str) -> list[float]:
    """Active percents as made, by a balance on paper of what was weighed.

    Phase B lost what was found back in its beaker; the mass at the end is the net at the gross weighing, the water made
    up, and phase C.
    """
    weighed, phase, back, net, made_up = {}, {}, 0.0, 0.0, 0.0
    for event in book.batch(batch).events:
        kind = type(event).__name__
        if kind == "Weighed":
            key = event.material.key
            weighed[key] = weighed.get(key, 0.0) + float(event.mass_g)
            phase[key] = event.phase
        elif kind == "WeighedBack":
            assert event.phase == "B"
            back += float(event.mass_g)
        elif kind == "Gross":
            net = float(event.net_g)
        elif kind == "ToppedUp":
            made_up += float(event.mass_g)
    sums = {name: sum(mass for key, mass in weighed.items() if phase[key] == name) for name in "ABC"}
    whole = net + made_up + sums["C"]
    kept = 1 - back / sums["B"]
    grams = [weighed.get(CTAC, 0.0), weighed[BTAC] * kept, weighed[ALCOHOL] * kept]
    assert phase[BTAC] == phase[ALCOHOL] == "B" and phase.get(CTAC, "C") == "C"
    return [100 * mass * share / whole for mass, share in zip(grams, STRENGTH, strict=True)]


# ---------------------------------------------------------------- green tea: the mixture


def test_the_arithmetic_of_the_invented_study():
    """Laid down: 4,660 / 15,600 / 29,600 at the pseudo-vertices, SD 10 %, R2 0.96, TEA-09 in 12,000 to 20,900."""
    fit = printed_fit()
    assert np.exp(fit.params) == pytest.approx([4660, 15600, 29600], rel=3e-3)
    assert math.sqrt(fit.mse_resid) == pytest.approx(0.10, abs=0.005)
    seen = np.log([row[2] for row in TEA.values()])
    assert 1 - fit.ssr / ((seen - seen.mean()) ** 2).sum() == pytest.approx(0.96, abs=0.005)
    told = fit.get_prediction(pseudo([CONFIRMED[1]])).summary_frame()
    low, high = math.exp(told["obs_ci_lower"].iloc[0]), math.exp(told["obs_ci_upper"].iloc[0])
    assert (low, high) == (pytest.approx(12000, rel=5e-3), pytest.approx(20900, rel=5e-3))
    assert low < CONFIRMED[2] < high


def test_on_levels_as_meant_the_record_gives_the_study_back(tea_meant):
    """Supply forms are rounded to 0.01 %, so that 1.25 active is 1.248: half a percent in the vertices."""
    vertices = dict(tea_meant.pseudo_vertices())
    assert [vertices[part] for part in PARTS] == pytest.approx([4660, 15600, 29600], rel=5e-3)
    assert tea_meant.model.residual_sd == pytest.approx(0.102, abs=1e-3)
    assert tea_meant.model.df == 5
    assert f"{tea_meant.model.r2:.2f}" == "0.96"
    (low,), (high,) = (getattr(tea_meant.predict([CONFIRMED[1]]), side) for side in ("new_low", "new_high"))
    assert (low, high) == (pytest.approx(12000, rel=6e-3), pytest.approx(20900, rel=6e-3))
    # the same numbers by statsmodels on the supply forms of the printed table
    forms = np.array([row[1] for row in TEA.values()]) * STRENGTH
    total = forms.sum(axis=1).mean()
    other = sm.OLS(np.log([row[2] for row in TEA.values()]), pseudo(forms, total)).fit()
    found = {item.term.name: item for item in tea_meant.model.coefficients}
    assert [found[part].estimate for part in PARTS] == pytest.approx(list(other.params), rel=1e-9)
    assert [found[part].standard_error for part in PARTS] == pytest.approx(list(other.bse), rel=1e-9)
    assert tea_meant.model.residual_sd == pytest.approx(math.sqrt(other.mse_resid), rel=1e-9)


def test_levels_are_those_as_made(tea, tea_book):
    """What stays in the beaker of the melt takes 3 to 5 % off the alcohol; nothing is lost of the cetrimonium."""
    for batch in (*tea.batches, *tea.data.held_out):
        by_hand = weighed_level(tea_book, batch.batch)
        assert batch.levels == pytest.approx(by_hand, abs=6e-5)
        assert batch.meant != pytest.approx(by_hand, abs=0.02)
        assert 0.95 < batch.levels[2] / batch.meant[2] < 0.975
    assert "on levels as made" in tea.words


def test_the_fit_on_levels_as_made_is_that_of_statsmodels_on_what_was_weighed(tea, tea_book):
    made = [weighed_level(tea_book, f"{trial}/1") for trial in TEA]
    total = (np.array([row[1] for row in TEA.values()]) * STRENGTH).sum(axis=1).mean()
    other = sm.OLS(np.log([row[2] for row in TEA.values()]), pseudo(made, total)).fit()
    found = {item.term.name: item for item in tea.model.coefficients}
    assert [found[part].estimate for part in PARTS] == pytest.approx(list(other.params), abs=2e-4)
    assert [found[part].standard_error for part in PARTS] == pytest.approx(list(other.bse), rel=1e-3)
    assert tea.model.residual_sd == pytest.approx(math.sqrt(other.mse_resid), rel=1e-3)
    # richer in cetrimonium than meant, so that its vertex is thicker: 5,000 in place of 4,660
    vertices = dict(tea.pseudo_vertices())
    assert [vertices[part] for part in PARTS] == pytest.approx(list(np.exp(other.params)), rel=3e-4)
    assert vertices[CTAC] == pytest.approx(5000, rel=5e-3)
    # within the error of the coefficient of what was meant
    for part, meant in zip(PARTS, (4660, 15600, 29600), strict=True):
        assert abs(math.log(vertices[part] / meant)) < found[part].standard_error


def test_the_confirming_batch_lies_inside_the_interval_of_a_new_batch(tea):
    (held,) = tea.data.held_out
    assert (held.batch, held.value) == ("TEA-09/1", 16400)
    told = tea.predict([held.levels])
    assert (told.new_low[0], told.new_high[0]) == (pytest.approx(12000, rel=0.012), pytest.approx(20900, rel=0.012))
    assert told.new_low[0] < held.value < told.new_high[0]
    assert told.low[0] < told.mean[0] < told.high[0]
    assert told.outside == ("",)
    (row,) = tea.held_out_table().rows
    assert row[0] == "TEA-09/1" and "inside" in str(row[4])
    assert "The interval of one new batch is 1.3 times as wide as the spec" in tea.words


def test_a_mixture_counts_by_its_shares_and_a_level_may_be_named(tea):
    """Twice the amounts are the same mixture; by name or by place is the same."""
    once = tea.predict([(0.5, 1.5, 5.0)])
    assert tea.predict([(1.0, 3.0, 10.0)]).mean[0] == pytest.approx(once.mean[0], rel=1e-12)
    assert tea.predict({ALCOHOL: 5, CTAC: 0.5, BTAC: 1.5}).mean[0] == pytest.approx(once.mean[0], rel=1e-12)
    with pytest.raises(KitError) as told:
        tea.predict({ALCOHOL: 5, CTAC: 0.5})
    assert told.value.code == "response.levels"
    # all cetrimonium is beyond what was made
    assert tea.predict([(2.5, 0.5, 4.0)]).outside[0] != ""


def test_parts_rise_while_the_others_keep_their_proportions(tea):
    """Cox's direction by hand: ln ratio = b (end - start), in the coordinates of the linear blend."""
    made = np.array([batch.levels for batch in tea.batches])
    b = np.array([tea.model.coefficient(part).estimate for part in PARTS])
    middle = made.mean(axis=0)
    total = np.mean([sum(batch.meant) for batch in tea.batches])
    for place, effect in enumerate(factor_effects(tea, 2)):
        rest = [i for i in range(3) if i != place]
        ends = []
        for level in (made[:, place].min(), made[:, place].max()):
            point = middle.copy()
            point[place] = level
            point[rest] *= (middle.sum() - level) / middle[rest].sum()
            ends.append(pseudo([point], total)[0])
        assert math.log(effect.change) == pytest.approx(float(b @ (ends[1] - ends[0])), rel=1e-9)
        assert effect.low < effect.change < effect.high
    assert [math.log(effect.change) > 0 for effect in factor_effects(tea, 2)] == [False, False, True]


def test_days_as_blocks_are_those_of_statsmodels(tea_book, tea):
    found = kit.fit_response(
        tea_book, "TEA", "viscosity", "72 h", BOUNDS, model="linear", without=["TEA-09"], days="blocks"
    )
    made = [batch.levels for batch in found.batches]
    total = np.mean([sum(batch.meant) for batch in found.batches])
    second = [1.0 if batch.day == "2026-08-04" else 0.0 for batch in found.batches]
    columns = np.column_stack([pseudo(made, total), second])
    other = sm.OLS(np.log([batch.value for batch in found.batches]), columns).fit()
    first, last = (found.model.block_effects[day] for day in ("2026-08-03", "2026-08-04"))
    assert last - first == pytest.approx(float(other.params[3]), rel=1e-7)
    assert first + last == pytest.approx(0, abs=1e-12)
    assert found.model.df == other.df_resid == 4
    assert "days are blocks" in found.day_effect
    # left alone they are not taken out, as nothing is shown: F of the day by the same fit
    assert tea.model.block_effects == {}
    assert f"p = {other.pvalues[3]:.2g}" in tea.day_effect and "No day effect is shown" in tea.day_effect


def test_repeats_are_the_two_makings_of_one_version(tea):
    """TEA-07 and TEA-08, though their levels as made differ: half the squared ln ratio, 1 degree of freedom."""
    lack = tea.model.lack_of_fit
    assert (lack.pure_df, lack.df) == (1, 4)
    assert lack.pure_squares == pytest.approx(math.log(15600 / 15480) ** 2 / 2, rel=1e-9)
    assert "few: that scatter is itself poorly known" in tea.words


def test_the_kit_chooses_among_the_blends_by_aicc(tea_book):
    """By hand of the linear one: n ln(RSS/n) + 2 k + 2 k (k + 1) / (n - k - 1) with k = 4. Larger take too many."""
    found = kit.fit_response(tea_book, "TEA", "viscosity", "72 h", BOUNDS, without=["TEA-09"])
    assert found.choice.name == "linear"
    squares = found.model.residual_sd**2 * 5
    assert found.model.aicc == pytest.approx(8 * math.log(squares / 8) + 8 + 2 * 4 * 5 / 3, rel=1e-9)
    named = {tried.name: tried.why_not for tried in found.choice.tried}
    assert list(named) == ["linear", "quadratic", "special cubic", "full cubic"]
    assert "batches" in named["quadratic"] and "10 coefficients" in named["full cubic"]


# ---------------------------------------------------------------- nettle: the process


def logs(*trials: str) -> float:
    return sum(math.log(NET[trial][2]) for trial in trials) / len(trials)


def test_effects_of_the_process_by_hand(net):
    """Laid down: speed -6 %, time -11 %, interaction -19 %, needs > 15 % at t of 2 df, curvature +17 % with t 6.1."""
    found = net.two_level()
    slow_short, fast_short, slow_long, fast_long = (logs(f"NET-0{place}") for place in (1, 2, 3, 4))
    centre = [math.log(NET[trial][2]) for trial in ("NET-05", "NET-06", "NET-07")]
    mean = sum(centre) / 3
    sd = math.sqrt(sum((value - mean) ** 2 for value in centre) / 2)
    speed = (fast_short + fast_long - slow_short - slow_long) / 2
    time = (slow_long + fast_long - slow_short - fast_short) / 2
    both = (slow_short + fast_long - fast_short - slow_long) / 2
    effects = {one.name: one for one in found.effects}
    assert list(effects) == ["combine rpm", "combine minutes", "combine rpm * combine minutes"]
    for name, by_hand, percent in (
        ("combine rpm", speed, -6),
        ("combine minutes", time, -11),
        ("combine rpm * combine minutes", both, -18.5),
    ):
        assert effects[name].effect == pytest.approx(by_hand, rel=1e-9)
        assert effects[name].change_pct == pytest.approx(percent, abs=0.5)
        # the error of a difference of two means of two
        assert effects[name].standard_error == pytest.approx(sd, rel=1e-9)
        assert effects[name].needed == pytest.approx(4.303 * sd, rel=1e-4)
        assert effects[name].needed_pct == pytest.approx(15.3, abs=0.1)
    assert [effects[name].is_shown for name in effects] == [False, False, True]
    # the interaction was laid down as -19 %; worked from the table of the study it is -18.45 %
    assert 100 * math.expm1(both) == pytest.approx(-18.45, abs=0.01)
    assert (found.sd, found.df, found.corners, found.centres) == (pytest.approx(0.033, abs=2e-4), 2, 4, 3)
    curved = mean - (slow_short + fast_short + slow_long + fast_long) / 4
    assert found.curvature.effect == pytest.approx(curved, rel=1e-9)
    assert found.curvature.change_pct == pytest.approx(17, abs=0.5)
    assert found.curvature.t == pytest.approx(6.1, abs=0.02)
    assert found.curvature.t == pytest.approx(curved / (sd * math.sqrt(1 / 3 + 1 / 4)), rel=1e-9)
    assert found.curvature.is_shown is True


def test_the_table_of_effects_says_what_is_shown_and_what_goes_with_the_day(net):
    table = net.two_level_table()
    rows = {row[0]: [str(cell) for cell in row[1:]] for row in table.rows}
    assert rows["combine rpm"][0] == "-5.9 %" and rows["combine rpm"][3] == "not shown"
    assert rows["combine minutes"][0] == "-10.7 %"
    assert rows["combine minutes"][3] == "not shown; mixed with the day"
    assert rows["combine rpm * combine minutes"][0] == "-18.5 %"
    assert rows["combine rpm * combine minutes"][3] == "shown"
    assert rows["curvature"][0] == "+16.7 %" and rows["curvature"][3] == "shown"
    assert rows["combine rpm"][1] == "above 15.3 %"
    assert "3.3 % with 2 df: itself poorly known" in table.note
    assert "cannot say which factor bends" in table.note


def test_the_hold_time_goes_with_the_day_and_it_is_said(net):
    """3 min only on the first day, 12 only on the second; the centre on all three."""
    assert net.with_day == ("combine minutes",)
    (note,) = [note for note in net.notes if "coincides with the day" in note]
    assert note.startswith("combine minutes coincides with the day")
    assert "3 only on 2026-07-06" in note and "12 only on 2026-07-07" in note
    assert "correlation" in note and note in str(net)


def test_flagged_readings_stay_out_and_are_listed(net):
    """19,800 was read of a jar full of air; once deaerated 15,920 counts. NET-05 was swept through other speeds."""
    values = {batch.trial: batch.value for batch in net.batches}
    assert values == {trial: row[2] for trial, row in NET.items()}
    assert {batch.trial: batch.levels for batch in net.batches} == {trial: row[:2] for trial, row in NET.items()}
    flagged = [item for item in net.data.left_out if item.code == "reading.air"]
    assert [(item.batch, item.value, item.state) for item in flagged] == [("NET-02/1", 19800, "FLAGGED")]
    assert sum(item.batch == "NET-05/1" for item in net.data.left_out) == 12
    listed = [tuple(map(str, row)) for row in net.unused_table().rows]
    assert ("NET-02/1", "reading 19800", "FLAGGED (reading.air)") in listed
    assert "19800" in str(net)


def test_bending_cannot_be_told_from_one_centre_and_a_poor_model_is_called_poor(net):
    """Of R2 0.20 and lack of fit against the centres: F and p by hand from the residual squares of the linear model."""
    rows = np.array([(1, (rpm - 6500) / 2500, (minutes - 7.5) / 4.5) for rpm, minutes, _ in NET.values()])
    other = sm.OLS(np.log([row[2] for row in NET.values()]), rows).fit()
    assert [c.estimate for c in net.model.coefficients] == pytest.approx(list(other.params), rel=1e-9)
    assert net.model.r2 == pytest.approx(other.rsquared, rel=1e-9)
    centre = np.log([NET[trial][2] for trial in ("NET-05", "NET-06", "NET-07")])
    pure = float(((centre - centre.mean()) ** 2).sum())
    lack = net.model.lack_of_fit
    assert lack.f == pytest.approx((other.ssr - pure) / 2 / (pure / 2), rel=1e-8)
    # of 2 and 2 degrees of freedom p = 1 / (1 + F)
    assert lack.p == pytest.approx(1 / (1 + lack.f), rel=1e-9)
    assert "Lack of fit is shown: the model misses by more than batches scatter" in net.words
    assert "predicted R² below 0" in net.words
    named = {tried.name: tried.why_not for tried in net.choice.tried}
    assert "combine rpm^2 and combine minutes^2 cannot be told apart" in named["quadratic"]


def test_a_batch_made_in_another_way_is_named_whether_it_counts_or_not(net, net_book):
    (kept_back,) = [note for note in net.notes if note.startswith("NET-08/1")]
    assert "minutes from combining to 40 °C 13, of most 41" in kept_back and "kept back" in kept_back
    (row,) = net.held_out_table().rows
    assert row[0] == "NET-08/1" and "OUTSIDE" in str(row[4])
    every = kit.fit_response(net_book, "NET", "viscosity", "72 h", PROCESS, model="linear")
    (counted,) = [note for note in every.notes if note.startswith("NET-08/1")]
    assert 'leave it out with without=["NET-08"]' in counted
    assert len(every.batches) == 8


def test_at_an_age_at_which_a_batch_was_not_read_it_is_listed_and_not_fitted(net_book):
    found = kit.fit_response(net_book, "NET", "viscosity", "24 h", PROCESS, model="linear", without=["NET-08"])
    assert [(item.batch, item.why) for item in found.data.unused] == [("NET-02/1", "not read at this age")]
    assert "NET-02" not in {batch.trial for batch in found.batches}


# ---------------------------------------------------------------- where there is no answer


@pytest.mark.parametrize(
    ("trials", "said"),
    [
        (("NET-05", "NET-06", "NET-07"), "combine minutes is the same in every batch"),
        (("NET-05", "NET-06", "NET-07"), "combine rpm is the same in every batch"),
        (("NET-01", "NET-02"), "2 batches for 3 coefficients: at least 3 different settings are needed"),
        (("NET-01", "NET-02"), "combine minutes is the same in every batch"),
    ],
)
def test_batches_that_allow_no_model_give_a_reason_and_no_number(net_book, trials, said):
    found = kit.fit_response(net_book, "NET", "viscosity", "72 h", PROCESS, model="linear", trials=trials)
    assert not found.is_fitted
    assert said in found.reason
    assert "NOT FITTED" in found.words and found.reason in str(found)
    assert found.model.coefficients == () and found.model.sd is None and found.two_level_table() is None
    with pytest.raises(KitError) as told:
        found.predict([(6500, 7)])
    assert told.value.code == "model.not_fitted"


def test_as_many_coefficients_as_batches_give_no_error(net_book):
    trials = ("NET-01", "NET-03", "NET-05")
    found = kit.fit_response(net_book, "NET", "viscosity", "72 h", PROCESS, model="linear", trials=trials)
    assert found.is_fitted and "nothing is left to tell the scatter" in found.reason
    assert all(c.standard_error is None and c.p is None for c in found.model.coefficients)
    assert "No errors" in found.words
    assert found.predict([(4000, 3)]).new_low is None
    assert {str(row[3]) for row in found.effects_table().rows} == {"no interval"}


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"property": "foam"}, "response.property"),
        ({"age": "90 d"}, "response.property"),
        ({"factors": ("combine torque",)}, "response.factor"),
        ({"factors": ()}, "response.factors"),
        ({"factors": ("combine rpm", "combine rpm")}, "response.factors"),
        ({"model": "septic"}, "response.model"),
        ({"mixture": ("glycerin",)}, "response.mixture"),
        ({"trials": ("NET-77",)}, "response.trial"),
        ({"without": ("NET-77",)}, "response.trial"),
        ({"days": "weeks"}, "response.days"),
        ({"levels": "weighed"}, "response.levels"),
    ],
)
def test_what_cannot_be_asked_is_refused_in_words(net_book, change, code):
    asked = {"property": "viscosity", "age": "72 h", "factors": PROCESS, **change}
    with pytest.raises(KitError) as told:
        kit.fit_response(net_book, "NET", **asked)
    assert told.value.code == code


def test_it_shows_itself_in_words_and_tables(tea, net):
    for found in (tea, net):
        for text in (repr(found), found._repr_html_()):
            assert "Response(" not in text and "Coefficient(" not in text and "nan" not in text
    assert "as mPa.s" in str(tea) and "% w/w active" in str(tea)
    assert "Parts of the mixture are L-pseudocomponents of their total" in str(tea)
    assert "Coded -1 to 1: combine rpm 4000 to 9000 rpm, combine minutes 3 to 12 min" in str(net)


def test_a_batch_whose_every_reading_is_left_out_gives_the_reason_and_no_number(demos):
    with kit.open_source(demos("linden").labbook) as book:
        found = kit.fit_response(book, "LIN", "viscosity", "72 h", ("cetearyl-alcohol",), trials=("LIN-05",))
    assert not found.is_fitted and found.batches == ()
    # read on a spindle at its end and, in range, on another than the method's
    assert "LIN-05/1: 40600 FLAGGED (reading.torque_high)" in found.reason
    assert "42000 not comparable (compare.spindle)" in found.reason
    assert "NOT FITTED" in str(found) and "LIN-05/1" in str(found.unused_table())
