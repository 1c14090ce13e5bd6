"""The linden study, from readings to verdicts. The data are invented; every expected number is worked by hand here."""

from __future__ import annotations

import math

import pytest

import kit
from kit.labbook.snapshot import freeze
from kit.trials.results import FAIL, FLAGGED, NOT_TESTED, PASS
from tests.trials.together import chance_together

TRIALS = [f"LIN-0{number}" for number in range(1, 8)]


@pytest.fixture(scope="module")
def comparison(linden):
    return linden.compare(*TRIALS)


def arm(comparison, property: str, age: str, label: str):
    return comparison.result(property, age).arm(label)


def test_batches_of_one_version_pool_into_one_arm_whatever_their_trials_name(comparison):
    assert [found.label for found in comparison.arms] == [
        "LIN-03, LIN-06",
        "LIN-01",
        "LIN-02",
        "LIN-04",
        "LIN-05",
        "LIN-07",
    ]
    assert [batch.name for batch in comparison.control.batches] == ["LIN-03/1", "LIN-06/1"]
    assert comparison.control.is_control
    assert not any(found.is_control for found in comparison.arms[1:])


def test_a_batch_of_the_version_pools_although_its_trial_was_not_named(linden):
    found = linden.compare("LIN-04")
    assert [one.label for one in found.arms] == ["LIN-03, LIN-06", "LIN-04"]
    assert found.result("viscosity", "72 h").arms[0].n_batches == 2


def test_exactly_the_over_range_reading_is_flagged_with_its_code_and_kept_out_of_every_mean(comparison):
    flagged = [item for item in comparison.not_used if item.state == "FLAGGED"]
    assert [(item.batch, item.value, item.codes, item.age) for item in flagged] == [
        ("LIN-05/1", 40600.0, ("reading.torque_high",), "72 h")
    ]
    assert "101.5" in flagged[0].words
    found = arm(comparison, "viscosity", "72 h", "LIN-05")
    assert (found.mean, found.n_batches, found.n_readings, found.batch_values) == (None, 0, 0, ())
    assert found.flagged == tuple(flagged)
    counted = [
        value
        for result in comparison.results
        for one in result.arms
        for batch in one.batch_values
        for value in batch.values
    ]
    assert 40600.0 not in counted


def test_other_spindles_are_not_comparable_and_are_not_faults(comparison):
    apart = {(item.batch, item.value) for item in comparison.not_used if item.state == "not comparable"}
    # all of LIN-01 was read on disc 4; LIN-05 was read again at 72 h and read at 7 d on disc 6
    assert apart == {
        ("LIN-01/1", 2600.0),
        ("LIN-01/1", 4200.0),
        ("LIN-01/1", 4900.0),
        ("LIN-01/1", 5000.0),
        ("LIN-05/1", 42000.0),
        ("LIN-05/1", 43000.0),
    }
    assert {item.code for item in comparison.not_used if item.state == "not comparable"} == {"compare.spindle"}
    assert len(comparison.not_used) == 7  # six on other spindles and the flagged one: nothing else is left out


def test_every_reading_is_either_in_a_mean_or_listed_as_left_out(linden, comparison):
    recorded = sum(len(viscosities) + len(ph) for _, _, ph, viscosities, _ in linden.data.values())
    counted = sum(one.n_readings for result in comparison.results for one in result.arms)
    assert counted + len(comparison.not_used) == recorded == 43


def test_readings_of_different_age_are_never_set_against_one_another(comparison):
    # LIN-06 at 1 h (8320) stands beside LIN-03 at 1 h (8800), never beside its 24 h value (15600)
    for age, values in {
        "1 h": {8800.0, 8320.0},
        "24 h": {15600.0, 16720.0},
        "72 h": {19000.0, 20080.0},
        "7 d": {19600.0, 20400.0},
    }.items():
        control = comparison.result("viscosity", age).arms[0]
        assert {value.mean for value in control.batch_values} == values
        assert {round(value.age_h) for value in control.batch_values} == {
            {"1 h": 1, "24 h": 24, "72 h": 72, "7 d": 168}[age]
        }


@pytest.mark.parametrize(
    ("age", "first", "second"),
    [("1 h", 8800, 8320), ("24 h", 15600, 16720), ("72 h", 19000, 20080), ("7 d", 19600, 20400)],
)
def test_the_mean_of_two_batches_is_the_geometric_one(comparison, age, first, second):
    # (ln a + ln b) / 2 = ln sqrt(a b); the SD of two values on the ln scale is |ln a - ln b| / sqrt 2
    control = comparison.result("viscosity", age).arms[0]
    assert control.mean == pytest.approx(math.sqrt(first * second), rel=1e-12)
    assert control.sd_batches == pytest.approx(abs(math.log(first / second)) / math.sqrt(2), rel=1e-12)


def test_the_72_h_mean_of_the_control_in_figures(comparison):
    # 19000 x 20080 = 381520000, its root 19532.54; the arithmetic mean would be 19540
    assert comparison.result("viscosity", "72 h").arms[0].mean == pytest.approx(19532.54, abs=0.005)


def test_the_control_against_lin_04_at_72_h_worked_by_hand(comparison):
    # ln scale: ln 29600 - ln 19532.54 = 0.41569, ratio 1.5154. Scatter: two control batches only, ln(20080/19000) =
    # 0.0552853,
    # SD = 0.0552853 / sqrt 2 = 0.0390926 with 1 degree of freedom; standard error 0.0390928 x sqrt(1 + 1/2) =
    # 0.0478787;
    # as the only version: t(0.975; 1) = 12.7062: half-width 0.608357, as a factor 1.8374; 1.5154 / 1.8374 = 0.8248,
    # 1.5154 x 1.8374 = 2.7845.
    found = arm(comparison, "viscosity", "72 h", "LIN-04").difference
    assert found.kind == "ratio"
    assert found.value == pytest.approx(1.5154, abs=5e-5)
    assert (found.df, found.standard_error) == (1, pytest.approx(0.0478787, abs=5e-7))
    assert (found.low_alone, found.high_alone) == pytest.approx((0.8248, 2.7845), abs=2e-4)
    assert (found.verdict, found.code) == ("cannot be told with these batches", "cannot_tell")
    assert "1 batch, 1 reading against 2 batches, 2 readings" in found.words
    # chi-square with 1 degree of freedom, 0.975 and 0.025: 5.0239 and 0.00098207 (any printed table):
    # 3.909 / sqrt 5.0239 = 1.7, 3.909 / sqrt 0.00098207 = 125, to two digits 120
    assert "scatter itself poorly known (1 df: 3.9 % of the value, 95 % between 1.7 and 120 %)" in found.words
    assert "by itself 0.825 to 2.78" in found.words


def test_three_versions_against_one_control_hold_together(comparison):
    # LIN-02, LIN-04 and LIN-07 were read by the method at 72 h, one batch each against two
    found = arm(comparison, "viscosity", "72 h", "LIN-04").difference
    assert found.low * found.high == pytest.approx(found.value**2, rel=1e-9)
    assert found.low < found.low_alone < found.high_alone < found.high
    reach = math.log(found.half_width) / found.standard_error
    assert chance_together(reach, 1, 2, (1, 1, 1)) == pytest.approx(0.95, abs=0.001)
    assert chance_together(12.7062, 1, 2, (1, 1, 1)) == pytest.approx(0.92, abs=0.015)  # what it would be by itself
    assert "for all 3 versions together" in found.words
    result = comparison.result("viscosity", "72 h")
    assert result.multiplicity.startswith("3 versions against one control")
    assert any(note.startswith("5 versions against one control") for note in comparison.notes)


def test_ph_is_compared_by_difference(comparison):
    # control 4.60 and 4.58: mean 4.590, SD 0.02 / sqrt 2 = 0.0141421; LIN-04 4.60: +0.010;
    # as the only version 12.7062 x 0.0141421 x sqrt(1.5) = 0.220078
    found = arm(comparison, "pH", "24 h", "LIN-04").difference
    assert found.kind == "difference"
    assert found.value == pytest.approx(0.010, abs=1e-9)
    assert (found.low_alone, found.high_alone) == pytest.approx((-0.210078, 0.230078), abs=1e-6)
    assert (found.high - found.low) / 2 == pytest.approx(found.half_width, abs=1e-9)
    reach = found.half_width / (0.0141421 * math.sqrt(1.5))
    assert chance_together(reach, 1, 2, (1,) * 5) == pytest.approx(0.95, abs=0.001)


@pytest.mark.parametrize(
    ("label", "verdict", "words"),
    [
        ("LIN-03, LIN-06", PASS, "mean 19530 mPa.s inside 15000 to 25000 mPa.s, n = 2 batches, 2 readings"),
        ("LIN-01", NOT_TESTED, "spindle differs: LIN-01/1 disc 4, the method disc 5"),
        ("LIN-02", FAIL, "mean 10800 mPa.s below 15000 to 25000 mPa.s, n = 1 batch"),
        ("LIN-04", FAIL, "mean 29600 mPa.s above 15000 to 25000 mPa.s, n = 1 batch"),
        ("LIN-05", FLAGGED, "reading.torque_high"),
        ("LIN-07", PASS, "mean 20600 mPa.s inside 15000 to 25000 mPa.s, n = 1 batch"),
    ],
)
def test_verdicts_on_the_viscosity_spec(comparison, label, verdict, words):
    found = arm(comparison, "viscosity", "72 h", label)
    assert found.verdict == verdict
    assert words in found.verdict_why


def test_the_reading_on_another_spindle_is_shown_beside_the_flagged_one(comparison):
    why = arm(comparison, "viscosity", "72 h", "LIN-05").verdict_why
    assert "also shown: LIN-05/1 42000 on disc 6 not comparable (compare.spindle)" in why


def test_an_age_without_a_spec_line_has_no_verdict(comparison):
    found = comparison.result("viscosity", "24 h")
    assert found.spec is None
    assert {one.verdict for one in found.arms} == {""}


def test_the_grain_spec_is_judged_from_coded_observations(comparison):
    (grain,) = comparison.observations
    assert (grain.name, grain.age, grain.spec.allowed) == ("grain", "7 d", ("none",))
    verdicts = {one.arm_label: one.verdict for one in grain.arms}
    assert verdicts == {
        "LIN-03, LIN-06": PASS,
        "LIN-01": PASS,
        "LIN-02": PASS,
        "LIN-04": PASS,
        "LIN-05": FAIL,
        "LIN-07": PASS,
    }
    assert "LIN-05/1 grainy" in grain.arms[4].verdict_why
    assert "n = 2 batches" in grain.arms[0].verdict_why


def test_a_trial_without_a_control_of_its_day_is_told_apart(comparison):
    # LIN-03 was made on day 1, LIN-06 on day 2; LIN-07 alone on day 3
    assert "no control was made on 2026-03-04" in arm(comparison, "viscosity", "72 h", "LIN-07").difference.words
    assert arm(comparison, "viscosity", "72 h", "LIN-04").difference.words.count("no control was made") == 0
    assert any(note.startswith("LIN-07: no control was made on 2026-03-04") for note in comparison.notes)


def test_nothing_is_compared_where_the_arm_has_no_counted_reading(comparison):
    found = arm(comparison, "viscosity", "72 h", "LIN-05")
    assert found.difference is None
    assert found.difference_why.startswith("not tested: LIN-05/1 40600 on disc 5 FLAGGED (reading.torque_high)")


def test_the_order_of_the_trials_changes_no_number(linden, comparison):
    turned = linden.compare(*reversed(TRIALS), control="LIN-06")
    assert [found.label for found in turned.arms] == [
        "LIN-03, LIN-06",
        "LIN-07",
        "LIN-05",
        "LIN-04",
        "LIN-02",
        "LIN-01",
    ]
    for result in comparison.results:
        other = turned.result(result.property, result.age)
        assert {one.arm_label: one for one in result.arms} == {one.arm_label: one for one in other.arms}
        assert result.scatter == other.scatter


def test_a_snapshot_gives_the_same_comparison_as_the_lab_book(linden, comparison, tmp_path):
    import json

    path = tmp_path / "snapshot.json"
    path.write_text(json.dumps(freeze(kit.open_source(linden.book), TRIALS)), encoding="utf-8")
    frozen = kit.compare(path, TRIALS)
    assert frozen.results == comparison.results
    assert frozen.observations == comparison.observations
    assert frozen.not_used == comparison.not_used
    assert frozen.table().html() == comparison.table().html()
    assert str(frozen) == str(comparison)
    assert frozen.study == comparison.study


def test_a_snapshot_of_one_trial_gives_the_numbers_of_the_whole_book(linden, tmp_path):
    import json

    path = tmp_path / "one.json"
    path.write_text(json.dumps(freeze(kit.open_source(linden.book), ["LIN-04"])), encoding="utf-8")
    assert kit.compare(path, ["LIN-04"]).results == linden.compare("LIN-04").results


def test_scatter_and_days_are_told_for_every_version(comparison):
    rows = {(row[0], row[1]): row[2:] for row in comparison.scatter_table().rows}
    # ln(20080 / 19000) / sqrt 2 = 3.9 %, made on the first and the second day
    assert rows["viscosity, 72 h", "LIN-03,\nLIN-06"] == ("2", "2", "–", "3.9 % (ln)", "2026-03-02\n2026-03-03")
    assert rows["viscosity, 72 h", "LIN-07"] == ("1", "1", "–", "single batch", "2026-03-04")
    assert ("viscosity, 72 h", "LIN-05") not in rows  # its reading is flagged: there is no value
    assert "viscosity, 72 h: 3.9 % (ln), 1 df, itself poorly known" in comparison.scatter_table().note


def test_which_analysis_and_why_stands_under_the_verdicts(comparison):
    note = comparison.verdicts_table().note
    assert "the scatter of batches pooled over all versions: 1 degree of freedom." in note
    assert "3 versions against one control: the 95 % intervals hold for all together, by Dunnett's method." in note


def test_side_by_side_is_short_and_the_whole_sentence_stands_with_the_verdicts(comparison):
    found = arm(comparison, "viscosity", "72 h", "LIN-04").difference
    assert found.brief.split("\n") == [
        found.short.split("\n")[0],
        "cannot be told with these batches",
        f"found four times in five: a factor of {found.detectable:.3g}",
        "scatter itself poorly known",
    ]
    assert found.brief.split("\n")[2] in str(comparison.table())
    assert "1 batch, 1 reading against 2 batches, 2 readings" not in str(comparison.table())
    assert "1 batch, 1 reading against 2 batches, 2 readings" in str(comparison.verdicts_table())
    assert found.words.split(": ratio")[0] in str(comparison)
